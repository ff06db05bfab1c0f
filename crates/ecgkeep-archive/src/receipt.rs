//! A line of the journal, its inclusion path and a checkpoint in one text: C2SP tlog-proof.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use ecgkeep_format::{Error, Kind, Result};

use crate::checkpoint::Checkpoint;
use crate::note::Note;
use crate::tree::{self, Hash};

/// The first line (c2sp.org/tlog-proof; its form from memory).
const FIRST_LINE: &str = "c2sp.org/tlog-proof@v1";

/// What shows that a line is in a journal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Receipt {
    /// The line's index.
    pub index: u64,
    /// The path from its leaf to the root.
    pub path: Vec<Hash>,
    /// The checkpoint, with its signatures.
    pub checkpoint: Note,
}

impl Receipt {
    /// The text.
    #[must_use]
    pub fn written(&self) -> String {
        let Receipt { index, path, checkpoint } = self;
        let path: String = path.iter().map(|hash| BASE64.encode(hash) + "\n").collect();
        format!("{FIRST_LINE}\nindex {index}\n{path}\n{}", checkpoint.written())
    }

    /// Reads a receipt.
    /// # Errors
    /// [`Kind::Malformed`].
    pub fn parse(text: &str) -> Result<Receipt> {
        let malformed = |what: &str| Error::new(Kind::Malformed, what).clause("C2SP tlog-proof");
        let (head, checkpoint) = text
            .split_once("\n\n")
            .ok_or_else(|| malformed("a receipt has an empty line before its checkpoint"))?;
        let mut lines = head.lines();
        if lines.next() != Some(FIRST_LINE) {
            return Err(malformed("not a receipt: its first line is another"));
        }
        let index = lines.find(|line| !line.starts_with("extra "));
        let index = index.and_then(|line| line.strip_prefix("index ")?.parse().ok());
        let index = index.ok_or_else(|| malformed("a receipt names the index of its line"))?;
        let path = lines.map(|line| BASE64.decode(line).ok()?.try_into().ok());
        let path =
            path.collect::<Option<_>>().ok_or_else(|| malformed("a hash is the base64 of 32 bytes"))?;
        Ok(Receipt { index, path, checkpoint: Note::parse(checkpoint)? })
    }

    /// The checkpoint that this line, given without its line feed, is proven to be under. Whether a key signed it is
    /// another question: [`Note::signers`].
    /// # Errors
    /// [`Kind::Malformed`] for a checkpoint that is none; [`Kind::Altered`] where the path does not lead to its root.
    pub fn proves(&self, line: &[u8]) -> Result<Checkpoint> {
        let checkpoint = Checkpoint::of(&self.checkpoint)?;
        let root = tree::root_of_inclusion(tree::leaf(line), self.index, checkpoint.size, &self.path);
        if root == Some(checkpoint.root) {
            return Ok(checkpoint);
        }
        Err(Error::new(
            Kind::Altered,
            format!("the receipt does not lead from line {} to its root", self.index),
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn receipt(index: u64) -> Receipt {
        let leaves: Vec<Hash> = (0..11_u8).map(|i| tree::leaf(&[i])).collect();
        let root = tree::root(&leaves[..], 0..11).unwrap();
        let checkpoint = Checkpoint { origin: "larkmoor/ecg".into(), size: 11, root }.note(None);
        Receipt { index, path: tree::inclusion(&leaves[..], index, 11).unwrap(), checkpoint }
    }

    #[test]
    fn a_receipt_proves_its_line_and_no_other() {
        for index in 0..11_u8 {
            let text = receipt(index.into()).written();
            let read = Receipt::parse(&text).unwrap();
            assert_eq!(read.written(), text);
            assert_eq!(read.proves(&[index]).unwrap().size, 11);
            assert_eq!(read.proves(&[index + 1]).unwrap_err().kind(), Kind::Altered);
            let elsewhere = Receipt { index: u64::from(index) + 1, ..read };
            assert!(elsewhere.proves(&[index]).is_err());
        }
    }

    #[test]
    fn what_is_no_receipt_is_refused() {
        let good = receipt(3).written();
        for wrong in [
            good.replace("@v1", "@v2"),
            good.replace("index 3", "index three"),
            good.replacen("=\n", "\n", 1),
            good.split_once("\n\n").unwrap().0.to_owned(),
        ] {
            assert!(Receipt::parse(&wrong).is_err(), "{wrong}");
        }
    }
}
