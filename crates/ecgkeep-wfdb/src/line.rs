//! One line of a header: its place, its words, what is wrong with them.

use ecgkeep_format::{Error, Note, Place, Weight};

use crate::constants::SHOWN;

/// What the user can do about a header that breaks the rules.
pub(crate) const CORRECT_IT: &str = "correct the header or ask for the file again";

/// A line of a header file and where its notes go.
pub(crate) struct Line<'a> {
    /// The file and line.
    pub(crate) place: Place,
    /// The clause that rules it.
    pub(crate) clause: &'static str,
    /// The line without its line ending.
    pub(crate) text: &'a str,
}

impl Line<'_> {
    /// A departure that the line was read in spite of.
    pub(crate) fn departure(&self, notes: &mut Vec<Note>, text: impl Into<String>) {
        self.note(Weight::Departure, notes, text);
    }

    /// A note of any weight at the line.
    pub(crate) fn note(&self, weight: Weight, notes: &mut Vec<Note>, text: impl Into<String>) {
        notes.push(Note { clause: Some(self.clause), ..Note::new(weight, self.place.clone(), text) });
    }

    /// The field `what` says `found` where `expected` was.
    pub(crate) fn wrong(&self, what: &str, found: &str, expected: &str) -> Error {
        self.malformed(format!("the {what} is {}, expected {expected}", shown(found)))
    }

    /// Anything else that is wrong with the line.
    pub(crate) fn malformed(&self, what: impl Into<String>) -> Error {
        Error::malformed(self.place.clone(), what).clause(self.clause).remedy(CORRECT_IT)
    }
}

/// A word of a file in quotes, cut where it is long.
pub(crate) fn shown(word: &str) -> String {
    match word.char_indices().nth(SHOWN) {
        Some((end, _)) => format!("{:?}...", &word[..end]),
        None => format!("{word:?}"),
    }
}

/// The first word of a text and the rest behind the blanks; `None` where only blanks are left.
pub(crate) fn word(text: &str) -> Option<(&str, &str)> {
    let text = text.trim_start_matches([' ', '\t']);
    if text.is_empty() {
        return None;
    }
    let end = text.find([' ', '\t']).unwrap_or(text.len());
    Some((&text[..end], text[end..].trim_start_matches([' ', '\t'])))
}

/// Whether a word begins as a number does.
pub(crate) fn looks_numeric(word: &str) -> bool {
    let unsigned = word.strip_prefix(['-', '+']).unwrap_or(word);
    unsigned.strip_prefix('.').unwrap_or(unsigned).starts_with(|c: char| c.is_ascii_digit())
}
