//! One element, and what of it was taken.

use std::cell::Cell;

use ecgkeep_format::{Error, Place};

use crate::attributes::Attribute;
use crate::digits::Digits;
use crate::document::{Document, Element, NONE};

/// An element of a [`Document`].
#[derive(Clone, Copy)]
pub(crate) struct Node<'d> {
    pub(crate) document: &'d Document<'d>,
    pub(crate) index: u32,
}

impl<'d> Node<'d> {
    fn element(self) -> &'d Element<'d> {
        &self.document.elements[self.index as usize]
    }

    fn at(self, index: u32) -> Option<Node<'d>> {
        (index != NONE).then_some(Node { document: self.document, index })
    }

    /// The local name.
    pub(crate) fn name(self) -> &'d str {
        self.element().name
    }

    /// All child elements, none of them taken by this.
    pub(crate) fn all(self) -> impl Iterator<Item = Node<'d>> {
        std::iter::successors(self.at(self.element().first), |node| node.at(node.element().next))
    }

    /// The child elements of this name that nobody took yet, none of them taken by this.
    pub(crate) fn waiting(self, name: &'static str) -> impl Iterator<Item = Node<'d>> {
        self.all().filter(move |node| {
            let element = node.element();
            element.name == name && !element.foreign && !element.taken.get()
        })
    }

    /// The first child element of this name that nobody took yet, not taken by this.
    pub(crate) fn find(self, name: &'static str) -> Option<Node<'d>> {
        self.waiting(name).next()
    }

    /// The first child element of this name that nobody took yet, taken.
    pub(crate) fn child(self, name: &'static str) -> Option<Node<'d>> {
        self.find(name).map(Node::take)
    }

    /// The child elements of this name, taken.
    pub(crate) fn children(self, name: &'static str) -> impl Iterator<Item = Node<'d>> {
        self.waiting(name).map(Node::take)
    }

    /// The element at the end of a path of child elements, all taken.
    pub(crate) fn descend(self, path: &[&'static str]) -> Option<Node<'d>> {
        path.iter().try_fold(self, |node, name| {
            let found = node.all().find(|child| child.name() == *name && !child.element().foreign)?;
            Some(found.take())
        })
    }

    /// The same element, taken.
    pub(crate) fn take(self) -> Node<'d> {
        self.element().taken.set(true);
        self
    }

    /// Gives the element with all that is in it back: it becomes an extra.
    pub(crate) fn release(self) {
        self.element().taken.set(false);
    }

    /// Whether both are the same element.
    pub(crate) fn is(self, other: Node<'_>) -> bool {
        self.index == other.index
    }

    /// Whether somebody took it.
    pub(crate) fn is_taken(self) -> bool {
        self.element().taken.get()
    }

    /// The value of an attribute, taken; the prefix of its name does not matter.
    pub(crate) fn attribute(self, name: &str) -> Option<&'d str> {
        let attribute = self.attributes().iter().find(|attribute| attribute.local() == name)?;
        attribute.taken.set(true);
        Some(&attribute.value)
    }

    /// The value of an attribute, not taken by this.
    pub(crate) fn peek(self, name: &str) -> Option<&'d str> {
        let attribute = self.attributes().iter().find(|attribute| attribute.local() == name)?;
        Some(&attribute.value)
    }

    pub(crate) fn attributes(self) -> &'d [Attribute<'d>] {
        let element = self.element();
        let first = element.first_attribute as usize;
        &self.document.attributes[first..first + element.attributes as usize]
    }

    /// The element's own text without the blanks around it, taken; empty where there is none.
    pub(crate) fn text(self) -> &'d str {
        self.element().text_taken.set(true);
        &self.element().text
    }

    /// The element's own text where nobody took it.
    pub(crate) fn text_left(self) -> Option<&'d str> {
        let element = self.element();
        (!element.text_taken.get() && !element.text.is_empty()).then_some(&*element.text)
    }

    /// The numbers of a `digits` element; they can be had once.
    pub(crate) fn digits(self) -> Option<Digits> {
        self.document.digits.get(self.element().digits as usize).map(Cell::take)
    }

    /// The element as it stands in the document.
    pub(crate) fn source(self) -> &'d str {
        let element = self.element();
        &self.document.text[element.start..element.end]
    }

    pub(crate) fn parent(self) -> Option<Node<'d>> {
        self.at(self.element().parent)
    }

    /// The path from the root; the second and further elements of a name carry their number: `/a/b[2]`.
    pub(crate) fn path(self) -> String {
        let Some(parent) = self.parent() else { return format!("/{}", self.name()) };
        let until = parent.all().take_while(|sibling| sibling.index <= self.index);
        let ordinal = until.filter(|sibling| sibling.name() == self.name()).count();
        let path = parent.path();
        match ordinal {
            0 | 1 => format!("{path}/{}", self.name()),
            _ => format!("{path}/{}[{ordinal}]", self.name()),
        }
    }

    /// Where the element stands.
    pub(crate) fn place(self) -> Place {
        Place::file(self.document.file).line(self.document.line(self.element().start)).part(self.path())
    }

    /// [`Kind::Malformed`] at this element.
    pub(crate) fn malformed(self, what: impl Into<String>) -> Error {
        Error::malformed(self.place(), what)
    }
}
