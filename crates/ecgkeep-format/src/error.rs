//! The one error type: whose fault, where, which clause, what to do.

use std::fmt;

/// A result with the error of this crate.
pub type Result<T> = std::result::Result<T, Error>;

/// What went wrong and whose fault it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Kind {
    /// The input breaks the rules of its format.
    Malformed,
    /// The input ends too early.
    Truncated,
    /// No format recognises the input, or two do equally well.
    Unrecognised,
    /// The format is known, this part of it is not supported.
    Unsupported,
    /// The target cannot carry the recording, or something would be lost and losses were refused.
    Refused,
    /// A checksum does not match: something was altered.
    Altered,
    /// Reading or writing failed: missing file, permission, disk full, target exists.
    Io,
    /// A limit was reached.
    Limit,
    /// The caller asked for something that makes no sense.
    Usage,
    /// A fault of ecgkeep itself.
    Internal,
}

/// Where in the input.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// The file, by the name its [`Source`](crate::Source) gives it.
    pub file: Option<String>,
    /// The part: `section 6`, `signal 3`, an element path.
    pub part: Option<String>,
    /// The line, counted from 1.
    pub line: Option<u64>,
    /// The byte, counted from 0.
    pub byte: Option<u64>,
}

impl Place {
    /// A file as a whole.
    #[must_use]
    pub fn file(name: impl Into<String>) -> Place {
        Place { file: Some(name.into()), ..Place::default() }
    }

    /// The same place, narrowed to a line counted from 1.
    #[must_use]
    pub fn line(mut self, line: u64) -> Place {
        self.line = Some(line);
        self
    }

    /// The same place, narrowed to a byte counted from 0.
    #[must_use]
    pub fn byte(mut self, byte: u64) -> Place {
        self.byte = Some(byte);
        self
    }

    /// The same place, narrowed to a part.
    #[must_use]
    pub fn part(mut self, part: impl Into<String>) -> Place {
        self.part = Some(part.into());
        self
    }

    /// Whether nothing is known of the place.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Place::default()
    }
}

impl fmt::Display for Place {
    /// `r.scp, section 6, byte 1043`; empty where nothing is known.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let line = self.line.map(|line| format!("line {line}"));
        let byte = self.byte.map(|byte| format!("byte {byte}"));
        let parts: Vec<String> =
            [self.file.clone(), line, self.part.clone(), byte].into_iter().flatten().collect();
        f.write_str(&parts.join(", "))
    }
}

/// An error of reading, writing or checking, one word wide.
///
/// Its text is one line: place, what is wrong, clause, cause, and after a semicolon what to do.
pub struct Error(Box<Inner>);

struct Inner {
    kind: Kind,
    place: Place,
    what: String,
    clause: Option<&'static str>,
    remedy: Option<String>,
    cause: Option<Box<dyn std::error::Error + Send + Sync>>,
}

impl Error {
    /// An error of this kind; `what` is a lower-case fragment without a full stop.
    #[must_use]
    pub fn new(kind: Kind, what: impl Into<String>) -> Error {
        Error(Box::new(Inner {
            kind,
            place: Place::default(),
            what: what.into(),
            clause: None,
            remedy: None,
            cause: None,
        }))
    }

    /// [`Kind::Malformed`] at a place.
    #[must_use]
    pub fn malformed(place: Place, what: impl Into<String>) -> Error {
        Error::new(Kind::Malformed, what).at(place)
    }

    /// The same error with the parts of the place that it did not know yet.
    #[must_use]
    pub fn at(mut self, place: Place) -> Error {
        let own = std::mem::take(&mut self.0.place);
        self.0.place = Place {
            file: own.file.or(place.file),
            part: own.part.or(place.part),
            line: own.line.or(place.line),
            byte: own.byte.or(place.byte),
        };
        self
    }

    /// The same error within a larger part: `within("lead V3")`.
    #[must_use]
    pub fn within(mut self, part: impl Into<String>) -> Error {
        let outer = part.into();
        self.0.place.part = Some(match self.0.place.part.take() {
            Some(inner) => format!("{outer}, {inner}"),
            None => outer,
        });
        self
    }

    /// The same error with the clause of the standard that is broken.
    #[must_use]
    pub fn clause(mut self, clause: &'static str) -> Error {
        self.0.clause = Some(clause);
        self
    }

    /// The same error with what the user can do.
    #[must_use]
    pub fn remedy(mut self, remedy: impl Into<String>) -> Error {
        self.0.remedy = Some(remedy.into());
        self
    }

    /// The same error with its cause.
    #[must_use]
    pub fn because(mut self, cause: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Error {
        self.0.cause = Some(cause.into());
        self
    }

    /// Whose fault.
    #[must_use]
    pub fn kind(&self) -> Kind {
        self.0.kind
    }

    /// Where.
    #[must_use]
    pub fn place(&self) -> &Place {
        &self.0.place
    }

    /// What is wrong, without place, clause, cause and remedy.
    #[must_use]
    pub fn what(&self) -> &str {
        &self.0.what
    }

    /// What the user can do, if there is something.
    #[must_use]
    pub fn what_to_do(&self) -> Option<&str> {
        self.0.remedy.as_deref()
    }

    /// The clause of the standard that is broken, if one is.
    #[must_use]
    pub fn broken_clause(&self) -> Option<&'static str> {
        self.0.clause
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Inner { kind: _, place, what, clause, remedy, cause } = &*self.0;
        if !place.is_empty() {
            write!(f, "{place}: ")?;
        }
        f.write_str(what)?;
        if let Some(clause) = clause {
            write!(f, " ({clause})")?;
        }
        if let Some(cause) = cause {
            write!(f, ": {cause}")?;
        }
        if let Some(remedy) = remedy {
            write!(f, "; {remedy}")?;
        }
        Ok(())
    }
}

impl fmt::Debug for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}: {self}", self.0.kind)
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        self.0.cause.as_ref().map(|cause| &**cause as &(dyn std::error::Error + 'static))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_says_where_what_which_clause_and_what_to_do() {
        let error = Error::malformed(Place::file("r.hea").line(2), "the gain is not a number: 20o")
            .within("signal 1")
            .clause("header(5), signal line")
            .remedy("correct the header or ask for the file again");
        assert_eq!(
            error.to_string(),
            "r.hea, line 2, signal 1: the gain is not a number: 20o (header(5), signal line); correct the header or ask for the file again"
        );
        assert_eq!(size_of::<Error>(), size_of::<usize>());
    }

    #[test]
    fn the_inner_place_is_kept_when_an_outer_one_is_added() {
        let error = Error::malformed(Place::default().byte(7), "bad").at(Place::file("a").byte(1));
        assert_eq!(error.to_string(), "a, byte 7: bad");
    }
}
