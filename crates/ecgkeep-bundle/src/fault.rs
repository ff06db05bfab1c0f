//! What is wrong with a bag.

use std::fmt;

/// One thing that is wrong, or hazardous, in a bag.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// The member it is about, by its path inside the bag; `None` for the bag as a whole.
    pub member: Option<String>,
    /// What kind of fault.
    pub kind: FaultKind,
    /// What is wrong: a lower-case fragment without a full stop.
    pub what: String,
    /// The clause that is broken.
    pub clause: &'static str,
}

/// The kinds of faults.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum FaultKind {
    /// A digest, a CRC-32 or a deflate stream does not match: the content was altered.
    Altered,
    /// A file that is required or listed is not there.
    Missing,
    /// A file is there that no manifest lists.
    Unlisted,
    /// A tag file breaks a rule of BagIt or of the profile.
    Malformed,
    /// A digest, an encoding or a version that this reader does not know: not checked.
    Unchecked,
    /// The bag is valid, and yet another reader may refuse or misread it.
    Hazard,
}

impl Fault {
    /// A fault of one member.
    pub(crate) fn of(
        member: impl Into<String>,
        kind: FaultKind,
        what: impl Into<String>,
        clause: &'static str,
    ) -> Fault {
        Fault { member: Some(member.into()), kind, what: what.into(), clause }
    }

    /// A fault of the bag as a whole.
    pub(crate) fn of_bag(kind: FaultKind, what: impl Into<String>, clause: &'static str) -> Fault {
        Fault { member: None, kind, what: what.into(), clause }
    }
}

impl fmt::Display for Fault {
    /// `data/original/1.dat: altered: its sha512 is ... (RFC 8493, 3)`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Fault { member, kind, what, clause } = self;
        if let Some(member) = member {
            write!(f, "{member}: ")?;
        }
        write!(f, "{kind}: {what} ({clause})")
    }
}

impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            FaultKind::Altered => "altered",
            FaultKind::Missing => "missing",
            FaultKind::Unlisted => "not listed",
            FaultKind::Malformed => "malformed",
            FaultKind::Unchecked => "not checked",
            FaultKind::Hazard => "hazard",
        })
    }
}
