//! A document as a tree in which every reader marks what it took: what is left over is kept as extras.
//!
//! Digits never become text: they are read into numbers as the parser meets them.

use std::borrow::Cow;
use std::cell::Cell;

use ecgkeep_format::{Error, Kind, Limits, Place, Result};
use quick_xml::Reader;
use quick_xml::events::Event;

use crate::attributes::{self, Attribute};
use crate::constants::{BYTES_PER_ELEMENT, FEWEST_ELEMENTS, MOST_BINDINGS, MOST_DEPTH, NAMESPACE_BYTES, XML};
use crate::digits::Digits;
use crate::encoding::check_chars;
use crate::node::Node;
use crate::text::{Text, is_blank};

/// No element: the end of a list, the parent of the root.
pub(crate) const NONE: u32 = u32::MAX;

/// One document.
pub(crate) struct Document<'a> {
    pub(crate) file: &'a str,
    pub(crate) text: &'a str,
    pub(crate) elements: Vec<Element<'a>>,
    pub(crate) attributes: Vec<Attribute<'a>>,
    pub(crate) digits: Vec<Cell<Digits>>,
    /// A byte and its line, to count on from.
    line_at: Cell<(usize, u64)>,
    /// What the root element's name is bound to.
    pub(crate) namespace: Option<Cow<'a, str>>,
}

/// One element; its relatives are numbers in the document's list, [`NONE`] where there is none.
pub(crate) struct Element<'a> {
    /// The local name.
    pub(crate) name: &'a str,
    pub(crate) text: Cow<'a, str>,
    pub(crate) start: usize,
    pub(crate) end: usize,
    pub(crate) parent: u32,
    pub(crate) first: u32,
    pub(crate) next: u32,
    pub(crate) first_attribute: u32,
    pub(crate) attributes: u32,
    pub(crate) digits: u32,
    /// Whether its namespace is another one than the root's.
    pub(crate) foreign: bool,
    pub(crate) taken: Cell<bool>,
    pub(crate) text_taken: Cell<bool>,
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
                line_at: Cell::new((0, 1)),
                namespace: None,
            },
            open: Vec::new(),
            bindings: Vec::new(),
            samples_left: usize::try_from(limits.samples).unwrap_or(usize::MAX),
            text_bytes: limits.text_bytes,
            most_elements: FEWEST_ELEMENTS + text.len() / BYTES_PER_ELEMENT,
            most_attributes: 2 * FEWEST_ELEMENTS + 2 * text.len() / BYTES_PER_ELEMENT,
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
        Node { document: self, index: 0 }.take()
    }

    /// The line of a byte, counted from 1.
    pub(crate) fn line(&self, byte: usize) -> u64 {
        let byte = byte.min(self.text.len());
        let (from, line) = match self.line_at.get() {
            known if known.0 <= byte => known,
            _ => (0, 1),
        };
        let passed = self.text.as_bytes()[from..byte].iter().filter(|byte| **byte == b'\n').count();
        let line = line + passed as u64;
        self.line_at.set((byte, line));
        line
    }
}

struct Builder<'a> {
    document: Document<'a>,
    open: Vec<Open<'a>>,
    bindings: Vec<(&'a str, Cow<'a, str>)>,
    samples_left: usize,
    text_bytes: usize,
    most_elements: usize,
    most_attributes: usize,
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
        if self.document.attributes.len() > self.most_attributes {
            let what = format!("more than {} attributes", self.most_attributes);
            return Err(self.error(Kind::Limit, what, start));
        }
        let bindings = self.bindings.len();
        for attribute in &self.document.attributes[first_attribute as usize..] {
            let Some(prefix) = attribute.declares() else { continue };
            if self.bindings.len() == MOST_BINDINGS || attribute.value.len() > NAMESPACE_BYTES {
                let what = format!("more than {MOST_BINDINGS} namespaces, or one of {NAMESPACE_BYTES} bytes");
                return Err(self.error(Kind::Limit, what, start));
            }
            self.bindings.push((prefix, attribute.value.clone()));
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
