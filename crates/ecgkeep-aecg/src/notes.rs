//! What a reader noticed, each kind of thing once.

use std::cell::RefCell;
use std::collections::HashSet;

use ecgkeep_format::{Note, Weight};

use crate::constants::{MOST_NOTES, TREE};
use crate::node::Node;

/// The notes of one reading.
#[derive(Default)]
pub(crate) struct Notes {
    list: RefCell<Vec<Note>>,
    said: RefCell<HashSet<String>>,
}

impl Notes {
    /// The document departs from the published tree at this element.
    pub(crate) fn departure(&self, node: Node<'_>, text: impl Into<String>) {
        self.push(Weight::Departure, node, text.into());
    }

    /// Something at this element was not taken into the model.
    pub(crate) fn not_taken(&self, node: Node<'_>, text: impl Into<String>) {
        self.push(Weight::NotTaken, node, text.into());
    }

    fn push(&self, weight: Weight, node: Node<'_>, text: String) {
        let mut said = self.said.borrow_mut();
        if said.len() > MOST_NOTES {
            return;
        }
        let text =
            if said.len() == MOST_NOTES { "more departures, which are not listed".to_owned() } else { text };
        if said.insert(text.clone()) {
            let note = Note::new(weight, node.place(), text);
            self.list.borrow_mut().push(Note { clause: Some(TREE), ..note });
        }
    }

    /// The notes, in the order in which they were made.
    pub(crate) fn into_list(self) -> Vec<Note> {
        self.list.into_inner()
    }
}
