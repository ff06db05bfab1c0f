//! A document as a tree in which every reader marks what it took: what is left over is kept as extras.
//!
//! Digits never become text: they are read into numbers as the parser meets them.

use std::borrow::Cow;
use std::cell::{Cell, OnceCell};

use ecgkeep_format::{Error, Kind, Limits, Place, Result};
use quick_xml::Reader;
use quick_xml::events::Event;

use crate::attributes::{self, Attribute};
use crate::constants::{FEWEST_ELEMENTS, MOST_DEPTH, XML};
use crate::digits::Digits;
use crate::encoding::check_chars;

const NONE: u32 = u32::MAX;

/// One document.
pub(crate) struct Document<'a> {
    pub(crate) file: &'a str,
    text: &'a str,
    elements: Vec<Element<'a>>,
    attributes: Vec<Attribute<'a>>,
    digits: Vec<Cell<Digits>>,
    line_ends: OnceCell<Vec<usize>>,
    /// What the root element's name is bound to.
    pub(crate) namespace: Option<Cow<'a, str>>,
}

struct Element<'a> {
    /// The local name.
    name: &'a str,
    text: Cow<'a, str>,
    start: usize,
    end: usize,
    parent: u32,
    first: u32,
    next: u32,
    first_attribute: u32,
    attributes: u32,
    digits: u32,
    /// Whether its namespace is another one than the root's.
    foreign: bool,
    taken: Cell<bool>,
    text_taken: Cell<bool>,
}

/// An element that is still open while the document is read.
struct Open<'a> {
    element: u32,
    last: u32,
    bindings: usize,
    text: Text<'a>,
}

impl<'a> Document<'a> {
    /// Reads a whole document, checking that it is well formed.
    /// # Errors
    /// [`Kind::Malformed`], [`Kind::Truncated`], [`Kind::Limit`]; [`Kind::Unsupported`] for a DOCTYPE.
    pub(crate) fn read(file: &'a str, text: &'a str, limits: &Limits) -> Result<Document<'a>> {
        let mut builder = Builder {
            document: Document {
                file,
                text,
                elements: Vec::new(),
                attributes: Vec::new(),
                digits: Vec::new(),
                line_ends: OnceCell::new(),
                namespace: None,
            },
            open: Vec::new(),
            bindings: Vec::new(),
            samples_left: usize::try_from(limits.samples).unwrap_or(usize::MAX),
            text_bytes: limits.text_bytes,
            most_elements: FEWEST_ELEMENTS + text.len() / 100,
        };
        let mut reader = Reader::from_str(text);
        reader.config_mut().check_comments = false;
        loop {
            let event =
                reader.read_event().map_err(|error| builder.syntax(&error, reader.error_position()))?;
            let end = usize::try_from(reader.buffer_position()).unwrap_or(text.len());
            match event {
                Event::Start(tag) => {
                    builder.start(end - tag.len() - 2, tag.len(), tag.name().0.len(), end)?
                }
                Event::Empty(tag) => {
                    builder.start(end - tag.len() - 3, tag.len(), tag.name().0.len(), end)?;
                    builder.end(end)?;
                }
                Event::End(_) => builder.end(end)?,
                Event::Text(part) => builder.text(part.into_inner(), false, end)?,
                Event::CData(part) => builder.text(part.into_inner(), true, end)?,
                Event::GeneralRef(reference) => builder.reference(&reference, end)?,
                Event::DocType(_) => {
                    return Err(builder
                        .error(Kind::Unsupported, "a document type declaration is refused", end)
                        .remedy("remove the DOCTYPE; an aECG document needs none"));
                }
                Event::Comment(_) | Event::PI(_) | Event::Decl(_) => {}
                Event::Eof => break,
            }
        }
        builder.finish()
    }

    /// The root element, taken.
    pub(crate) fn root(&self) -> Node<'_> {
        let root = Node { document: self, index: 0 };
        root.element().taken.set(true);
        root
    }

    /// The line of a byte, counted from 1.
    pub(crate) fn line(&self, byte: usize) -> u64 {
        let ends = self.line_ends.get_or_init(|| {
            self.text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at).collect()
        });
        ends.partition_point(|end| *end < byte) as u64 + 1
    }
}

struct Builder<'a> {
    document: Document<'a>,
    open: Vec<Open<'a>>,
    bindings: Vec<(&'a str, Cow<'a, str>)>,
    samples_left: usize,
    text_bytes: usize,
    most_elements: usize,
}

impl<'a> Builder<'a> {
    fn error(&self, kind: Kind, what: impl Into<String>, at: usize) -> Error {
        let place = Place::file(self.document.file).line(self.document.line(at));
        let path = match self.open.last() {
            Some(open) => Node { document: &self.document, index: open.element }.path(),
            None => String::new(),
        };
        Error::new(kind, what).at(if path.is_empty() { place } else { place.part(path) })
    }

    fn malformed(&self, what: impl Into<String>, at: usize) -> Error {
        self.error(Kind::Malformed, what, at).clause("XML 1.0, 2.1")
    }

    fn syntax(&self, error: &quick_xml::Error, at: u64) -> Error {
        let kind = match error {
            quick_xml::Error::Syntax(_) => Kind::Truncated,
            _ => Kind::Malformed,
        };
        let at = usize::try_from(at).unwrap_or(usize::MAX);
        self.error(kind, format!("not well-formed {XML}: {error}"), at)
    }

    fn start(&mut self, start: usize, tag_bytes: usize, name_bytes: usize, end: usize) -> Result<()> {
        let text = self.document.text;
        let tag = &text[start + 1..start + 1 + tag_bytes];
        let (qualified, rest) = tag.split_at(name_bytes);
        if self.open.is_empty() && !self.document.elements.is_empty() {
            return Err(self.malformed("a second root element", start));
        }
        if self.open.len() >= MOST_DEPTH {
            let what = format!("elements are nested more than {MOST_DEPTH} deep");
            return Err(self.error(Kind::Limit, what, start));
        }
        if self.document.elements.len() >= self.most_elements {
            return Err(self.error(Kind::Limit, format!("more than {} elements", self.most_elements), start));
        }
        let first_attribute = index(self.document.attributes.len());
        let parsed = attributes::parse(rest, self.text_bytes, &mut self.document.attributes);
        parsed.map_err(|error| {
            let kind = error.kind();
            self.error(kind, error.what(), start)
        })?;
        let bindings = self.bindings.len();
        for attribute in &self.document.attributes[first_attribute as usize..] {
            if let Some(prefix) = attribute.declares() {
                self.bindings.push((prefix, attribute.value.clone()));
            }
        }
        let (prefix, name) = qualified.split_once(':').unwrap_or(("", qualified));
        let bound = self.bindings.iter().rev().find(|binding| binding.0 == prefix).map(|binding| &binding.1);
        let bound = bound.filter(|name| !name.is_empty());
        let foreign = match self.open.last() {
            None => {
                self.document.namespace = bound.cloned();
                false
            }
            Some(_) => bound != self.document.namespace.as_ref(),
        };
        let element = index(self.document.elements.len());
        let parent = self.open.last().map_or(NONE, |open| open.element);
        let digits = if name == "digits" && !foreign {
            self.document.digits.push(Cell::default());
            index(self.document.digits.len() - 1)
        } else {
            NONE
        };
        self.document.elements.push(Element {
            name,
            text: Cow::Borrowed(""),
            start,
            end,
            parent,
            first: NONE,
            next: NONE,
            first_attribute,
            attributes: index(self.document.attributes.len()) - first_attribute,
            digits,
            foreign,
            taken: Cell::new(false),
            text_taken: Cell::new(false),
        });
        if let Some(open) = self.open.last_mut() {
            match open.last {
                NONE => self.document.elements[parent as usize].first = element,
                last => self.document.elements[last as usize].next = element,
            }
            open.last = element;
        }
        self.open.push(Open { element, last: NONE, bindings, text: Text::default() });
        Ok(())
    }

    fn end(&mut self, end: usize) -> Result<()> {
        let Some(open) = self.open.pop() else {
            return Err(self.malformed("an end tag without a start tag", end));
        };
        self.bindings.truncate(open.bindings);
        let element = &mut self.document.elements[open.element as usize];
        element.end = end;
        element.text = open.text.finish();
        if let Some(digits) = self.document.digits.get_mut(element.digits as usize) {
            digits.get_mut().finish();
        }
        Ok(())
    }

    fn text(&mut self, part: Cow<'a, str>, verbatim: bool, end: usize) -> Result<()> {
        let Some(open) = self.open.last_mut() else {
            if part.trim_matches(is_blank).is_empty() && !verbatim {
                return Ok(());
            }
            return Err(self.malformed("text outside the root element", end));
        };
        let digits = self.document.elements[open.element as usize].digits;
        if let Some(digits) = self.document.digits.get_mut(digits as usize) {
            let digits = digits.get_mut();
            let before = digits.samples.len();
            digits.push(part.as_bytes(), self.samples_left);
            self.samples_left = self.samples_left.saturating_sub(digits.samples.len() - before);
            return if digits.is_too_long() {
                let what = "more samples than the limit allows";
                Err(self.error(Kind::Limit, what, end).remedy("raise the limit of samples"))
            } else {
                Ok(())
            };
        }
        if part.trim_matches(is_blank).is_empty() && open.text.is_empty() && !verbatim {
            return Ok(());
        }
        let checked = check_chars(&part);
        if part.len() + open.text.len() > self.text_bytes {
            return Err(self.error(
                Kind::Limit,
                format!("a text of more than {} bytes", self.text_bytes),
                end,
            ));
        }
        if let Err(error) = checked {
            return Err(self.malformed(error.what(), end));
        }
        if let Some(open) = self.open.last_mut() {
            open.text.push(part, verbatim);
        }
        Ok(())
    }

    fn reference(&mut self, name: &str, end: usize) -> Result<()> {
        let c = attributes::resolve(name).map_err(|error| self.malformed(error.what(), end))?;
        self.text(Cow::Owned(c.to_string()), true, end)
    }

    fn finish(self) -> Result<Document<'a>> {
        let end = self.document.text.len();
        if !self.open.is_empty() {
            return Err(self.error(Kind::Truncated, "the document ends inside an element", end));
        }
        if self.document.elements.is_empty() {
            return Err(self.malformed("no root element", end));
        }
        Ok(self.document)
    }
}

fn index(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(NONE)
}

fn is_blank(c: char) -> bool {
    matches!(c, ' ' | '\t' | '\n' | '\r')
}

/// The text of one element as it grows; blanks around it are layout unless a reference or CDATA says otherwise.
#[derive(Default)]
struct Text<'a> {
    text: Cow<'a, str>,
    /// Bytes from the start that must not be trimmed.
    kept: usize,
}

impl<'a> Text<'a> {
    fn is_empty(&self) -> bool {
        self.text.is_empty()
    }

    fn len(&self) -> usize {
        self.text.len()
    }

    fn push(&mut self, part: Cow<'a, str>, verbatim: bool) {
        // XML 1.0, 2.11: a line ends with one line feed
        let mut part = match part {
            Cow::Borrowed(text) if !text.contains('\r') || (verbatim && text.len() == 1) => {
                Cow::Borrowed(text)
            }
            Cow::Owned(text) if text == "\r" => Cow::Owned(text),
            text => Cow::Owned(text.replace("\r\n", "\n").replace('\r', "\n")),
        };
        if self.text.is_empty() {
            if !verbatim {
                part = match part {
                    Cow::Borrowed(text) => Cow::Borrowed(text.trim_start_matches(is_blank)),
                    Cow::Owned(text) => Cow::Owned(text.trim_start_matches(is_blank).to_owned()),
                };
            }
            self.text = part;
        } else {
            self.text.to_mut().push_str(&part);
        }
        if verbatim {
            self.kept = self.text.len();
        }
    }

    fn finish(self) -> Cow<'a, str> {
        let kept = self.kept;
        let end = |text: &str| kept + text[kept..].trim_end_matches(is_blank).len();
        match self.text {
            Cow::Borrowed(text) => Cow::Borrowed(&text[..end(text)]),
            Cow::Owned(mut text) => {
                text.truncate(end(&text));
                Cow::Owned(text)
            }
        }
    }
}

/// An element of a [`Document`].
#[derive(Clone, Copy)]
pub(crate) struct Node<'d> {
    document: &'d Document<'d>,
    index: u32,
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
