//! How long the journal is and what its root is, in the text form of C2SP tlog-checkpoint.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use ecgkeep_format::{Error, Kind, Result};

use crate::note::{Note, Signer};
use crate::tree::Hash;

/// A statement about the first `size` lines of the journal of one archive.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checkpoint {
    /// Which journal: the archive's origin line.
    pub origin: String,
    /// How many lines.
    pub size: u64,
    /// The root of their tree.
    pub root: Hash,
}

impl Checkpoint {
    /// The note, signed where there is a signer.
    #[must_use]
    pub fn note(&self, signer: Option<&Signer>) -> Note {
        let Checkpoint { origin, size, root } = self;
        let text = format!("{origin}\n{size}\n{}\n", BASE64.encode(root));
        let note = Note { text, signatures: Vec::new() };
        match signer {
            Some(signer) => note.signed(signer),
            None => note,
        }
    }

    /// Reads the text of a note; lines after the third are extensions and passed over.
    /// # Errors
    /// [`Kind::Malformed`].
    pub fn of(note: &Note) -> Result<Checkpoint> {
        let malformed = |what: &str| Error::new(Kind::Malformed, what).clause("C2SP tlog-checkpoint");
        let mut lines = note.text.lines();
        let (Some(origin), Some(size), Some(root)) = (lines.next(), lines.next(), lines.next()) else {
            return Err(malformed("a checkpoint has an origin, a number of lines and a root"));
        };
        let number: Option<u64> = size.parse().ok();
        let size = number
            .filter(|number| number.to_string() == size)
            .ok_or_else(|| malformed("the number of lines is a plain decimal number"))?;
        let root = BASE64.decode(root).ok().and_then(|root| root.try_into().ok());
        let root = root.ok_or_else(|| malformed("the root is the base64 of 32 bytes"))?;
        if origin.is_empty() {
            return Err(malformed("the origin is empty"));
        }
        Ok(Checkpoint { origin: origin.to_owned(), size, root })
    }

    /// Reads a checkpoint with its note.
    /// # Errors
    /// [`Kind::Malformed`].
    pub fn parse(text: &str) -> Result<(Checkpoint, Note)> {
        let note = Note::parse(text)?;
        Ok((Checkpoint::of(&note)?, note))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example in the text of c2sp.org/tlog-checkpoint (from memory; its signatures are of keys that we lack).
    const EXAMPLE: &str = "example.com/behind-the-sofa\n\
        20852163\n\
        CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\
        \n\
        — example.com/behind-the-sofa Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=\n";

    #[test]
    fn the_published_example_is_read() {
        let (checkpoint, note) = Checkpoint::parse(EXAMPLE).unwrap();
        assert_eq!(
            (checkpoint.origin.as_str(), checkpoint.size),
            ("example.com/behind-the-sofa", 20_852_163)
        );
        assert_eq!(note.signatures.len(), 1);
        assert!(EXAMPLE.starts_with(&checkpoint.note(None).written()));
    }

    #[test]
    fn what_is_no_checkpoint_is_refused() {
        for wrong in [
            EXAMPLE.replace("20852163", "020852163"),
            EXAMPLE.replace("20852163", "-1"),
            EXAMPLE.replace("CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=", "CsUY"),
            "origin\n5\n\n".to_owned(),
        ] {
            assert!(Checkpoint::parse(&wrong).is_err(), "{wrong}");
        }
    }
}
