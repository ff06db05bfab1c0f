//! What a reader noticed.

use std::fmt;

use crate::Place;

/// How much a [`Note`] weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Weight {
    /// Something of the source was not taken into the model.
    NotTaken,
    /// The source departs from its standard, and was read all the same.
    Departure,
    /// The source is damaged: a failed checksum, a cut or unverifiable stretch.
    Damage,
}

impl fmt::Display for Weight {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Weight::NotTaken => "not taken",
            Weight::Departure => "departure",
            Weight::Damage => "damage",
        })
    }
}

/// Something a reader noticed on the way; it travels beside the recording.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// How much it weighs.
    pub weight: Weight,
    /// Where.
    pub place: Place,
    /// What, as a lower-case fragment.
    pub text: String,
    /// The clause of the standard concerned.
    pub clause: Option<&'static str>,
}

impl Note {
    /// A note without a clause.
    #[must_use]
    pub fn new(weight: Weight, place: Place, text: impl Into<String>) -> Note {
        Note { weight, place, text: text.into(), clause: None }
    }
}

impl fmt::Display for Note {
    /// `departure: r.hea, line 3: …`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.weight)?;
        if !self.place.is_empty() {
            write!(f, "{}: ", self.place)?;
        }
        f.write_str(&self.text)?;
        if let Some(clause) = self.clause {
            write!(f, " ({clause})")?;
        }
        Ok(())
    }
}
