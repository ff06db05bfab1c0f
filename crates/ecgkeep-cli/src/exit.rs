//! Exit codes.

use std::process::ExitCode;

use ecgkeep::format::{Error, Kind};

/// How a command, or one input of it, ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Done; what was noticed or is not kept stands on standard error.
    Done = 0,
    /// Done, and the answer is no.
    No = 1,
    /// Wrong usage.
    Usage = 2,
    /// Input malformed or truncated.
    Malformed = 3,
    /// Format or feature unknown or not supported.
    Unsupported = 4,
    /// Refused: something would be lost, or the target cannot carry the recording.
    Refused = 5,
    /// A checksum does not match.
    Altered = 6,
    /// Could not read or write.
    Io = 7,
    /// A limit was reached.
    Limit = 8,
    /// A fault of ecgkeep itself.
    Internal = 101,
}

/// What each code means, as the help and the README print it.
pub const MEANINGS: &[(Exit, &str)] = &[
    (Exit::Done, "done; what was noticed or is not kept stands on standard error"),
    (
        Exit::No,
        "only from check (a FAIL), compare (a difference), archive find (nothing) and archive reconcile (a recording is \
         missing): done, and the answer is no",
    ),
    (Exit::Usage, "wrong usage"),
    (Exit::Malformed, "input malformed or truncated"),
    (Exit::Unsupported, "format or feature unknown or not supported"),
    (Exit::Refused, "refused: something would be lost, or the target cannot carry the recording"),
    (Exit::Altered, "a checksum does not match: file, bundle or archive altered"),
    (Exit::Io, "could not read or write: missing file, permission, disk full, target exists"),
    (Exit::Limit, "a limit was reached"),
];

/// What the code of a run over several inputs is.
pub const SEVERAL: &str = "With several inputs the gravest decides, in the order 6, 7, 3, 8, 4, 5, 1, 0; 2 stops before any \
                           work; 101 is a fault of ecgkeep.";

/// From the gravest to the least; with several inputs the gravest decides.
const GRAVEST_FIRST: &[Exit] = &[
    Exit::Internal,
    Exit::Altered,
    Exit::Io,
    Exit::Malformed,
    Exit::Limit,
    Exit::Unsupported,
    Exit::Refused,
    Exit::No,
];

impl Exit {
    /// The exit that an error asks for.
    pub fn of(error: &Error) -> Exit {
        match error.kind() {
            Kind::Malformed | Kind::Truncated => Exit::Malformed,
            Kind::Unrecognised | Kind::Unsupported => Exit::Unsupported,
            Kind::Refused => Exit::Refused,
            Kind::Altered => Exit::Altered,
            Kind::Io => Exit::Io,
            Kind::Limit => Exit::Limit,
            Kind::Usage => Exit::Usage,
            _ => Exit::Internal,
        }
    }

    /// The graver of two.
    pub fn or(self, other: Exit) -> Exit {
        if self == Exit::Usage || other == Exit::Usage {
            return Exit::Usage;
        }
        GRAVEST_FIRST.iter().copied().find(|exit| *exit == self || *exit == other).unwrap_or(Exit::Done)
    }

    /// The number.
    pub fn code(self) -> u8 {
        self as u8
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> ExitCode {
        ExitCode::from(exit.code())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_gravest_of_several_inputs_decides() {
        assert_eq!(Exit::Io.or(Exit::Altered), Exit::Altered);
        assert_eq!(Exit::Malformed.or(Exit::Io), Exit::Io);
        assert_eq!(Exit::Done.or(Exit::No), Exit::No);
        assert_eq!(Exit::Done.or(Exit::Done), Exit::Done);
        assert_eq!(Exit::Refused.or(Exit::Unsupported), Exit::Unsupported);
        let order = GRAVEST_FIRST[1..].iter().chain([&Exit::Done]).map(|exit| exit.code().to_string());
        assert!(SEVERAL.contains(&format!("order {};", order.collect::<Vec<_>>().join(", "))));
    }
}
