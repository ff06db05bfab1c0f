//! The mirror of the tree: elements are written in order, empty ones vanish, extras go back to their paths.

use std::collections::HashMap;

use ecgkeep_recording::Extra;

use crate::constants::{NAMESPACE, ORDER, XSI};
use crate::encoding::is_xml_char;
use crate::extras::Item;

/// A document as it grows.
pub(crate) struct Emitter<'a> {
    out: String,
    path: String,
    open: Vec<Open<'a>>,
    /// Extras by the path of the element that they go into.
    extras: HashMap<&'a str, Vec<Item<'a>>>,
}

struct Open<'a> {
    /// Bytes of `path` before this element's step.
    path: usize,
    /// The order of its children, where the tree is known.
    order: &'static [&'static str],
    /// Extras that still have to be put into it.
    extras: Vec<Item<'a>>,
    /// How many children of each name were written.
    children: Vec<(&'static str, u32)>,
}

impl<'a> Emitter<'a> {
    /// A document into which those of `extras` that came from aECG go back.
    pub(crate) fn new(extras: &'a [Extra]) -> Emitter<'a> {
        let mut by_path: HashMap<&str, Vec<Item<'_>>> = HashMap::new();
        for (path, item) in extras.iter().filter_map(Item::of) {
            by_path.entry(path).or_default().push(item);
        }
        let out = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>".to_owned();
        Emitter { out, path: String::new(), open: Vec::new(), extras: by_path }
    }

    /// The root element and all that `body` writes into it.
    pub(crate) fn document(mut self, root: &'static str, body: impl FnOnce(&mut Emitter<'a>)) -> String {
        let attributes =
            [("xmlns", NAMESPACE), ("xmlns:xsi", XSI), ("classCode", "OBS"), ("moodCode", "EVN")];
        self.with(root, &attributes, true, body);
        self.out.push('\n');
        self.out
    }

    /// An element that is left out where `body` writes nothing and no extra belongs into it.
    pub(crate) fn optional(&mut self, name: &'static str, body: impl FnOnce(&mut Emitter<'a>)) {
        self.with(name, &[], false, body);
    }

    /// An element that is written even where it is empty.
    pub(crate) fn required(&mut self, name: &'static str, body: impl FnOnce(&mut Emitter<'a>)) {
        self.with(name, &[], true, body);
    }

    /// An element with attributes and nothing in it.
    pub(crate) fn leaf(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        self.with(name, attributes, true, |_| ());
    }

    /// An element with a text in it; left out where there is no text.
    pub(crate) fn text(&mut self, name: &'static str, text: Option<&str>) {
        if let Some(text) = text {
            self.with(name, &[], true, |out| out.content(text));
        }
    }

    /// An element for which the source has no value; the one that an extra states, if any.
    pub(crate) fn null(&mut self, name: &'static str) {
        self.with(name, &[("nullFlavor", "NI")], true, |_| ());
    }

    /// The general form: `keep` says whether the element is written where `body` writes nothing.
    pub(crate) fn with(
        &mut self,
        name: &'static str,
        attributes: &[(&str, &str)],
        keep: bool,
        body: impl FnOnce(&mut Emitter<'a>),
    ) {
        self.extras_before(Some(name));
        let start = self.out.len();
        let ordinal = self.count(name);
        let path_before = self.path.len();
        self.path.push('/');
        self.path.push_str(name);
        if ordinal > 1 {
            self.path.push_str(&format!("[{ordinal}]"));
        }
        self.new_line(self.open.len());
        self.out.push('<');
        self.out.push_str(name);
        let extras = self.extras.remove(self.path.as_str()).unwrap_or_default();
        // an extra that says why there is no value is better than saying nothing
        let stated = |name: &str| {
            extras.iter().any(|item| matches!(item, Item::Attribute("", own, _) if *own == name))
        };
        for (attribute, value) in attributes {
            if *attribute != "nullFlavor" || !stated(attribute) {
                self.attribute(attribute, value);
            }
        }
        let mut has_extra = false;
        for (number, item) in extras.iter().enumerate() {
            let Item::Attribute(namespace, attribute, value) = item else { continue };
            let same = |item: &Item<'_>| matches!(item, Item::Attribute(space, own, _) if space == namespace && own == attribute);
            if extras[..number].iter().any(same) {
                continue;
            }
            if !namespace.is_empty() {
                self.attribute(&format!("xmlns:n{number}"), namespace);
                self.attribute(&format!("n{number}:{attribute}"), value);
            } else if *attribute == "nullFlavor" || attributes.iter().all(|(own, _)| own != attribute) {
                self.attribute(attribute, value);
            }
            has_extra = true;
        }
        let order = ORDER.iter().find(|row| row.0 == name).map_or([].as_slice(), |row| row.1);
        self.open.push(Open { path: path_before, order, extras, children: Vec::new() });
        self.out.push('>');
        let inside = self.out.len();
        body(self);
        self.extras_before(None);
        let path = self.open.pop().map_or(0, |open| open.path);
        if self.out.len() > inside {
            if self.out.ends_with('>') && self.out.as_bytes().get(inside) == Some(&b'\n') {
                self.new_line(self.open.len());
            }
            self.out.push_str("</");
            self.out.push_str(name);
            self.out.push('>');
        } else if keep || has_extra {
            self.out.truncate(inside - 1);
            self.out.push_str("/>");
        } else {
            self.out.truncate(start);
            self.uncount(name);
        }
        self.path.truncate(path);
    }

    /// Text inside the element that is open.
    pub(crate) fn content(&mut self, text: &str) {
        let blank = |c: char| matches!(c, ' ' | '\t' | '\n');
        let inner_start = text.len() - text.trim_start_matches(blank).len();
        let inner_end = inner_start + text[inner_start..].trim_end_matches(blank).len();
        for (at, c) in text.char_indices() {
            // blanks at the ends would be taken for layout
            self.escape(c, at < inner_start || at >= inner_end);
        }
    }

    /// Whole numbers inside the element that is open.
    pub(crate) fn digits(&mut self, samples: impl Iterator<Item = i32>) {
        crate::digits::write(samples, &mut self.out);
    }

    fn attribute(&mut self, name: &str, value: &str) {
        self.out.push(' ');
        self.out.push_str(name);
        self.out.push_str("=\"");
        for c in value.chars() {
            self.escape(c, c != ' ');
        }
        self.out.push('"');
    }

    fn escape(&mut self, c: char, blanks: bool) {
        match c {
            '&' => self.out.push_str("&amp;"),
            '<' => self.out.push_str("&lt;"),
            '>' => self.out.push_str("&gt;"),
            '"' => self.out.push_str("&quot;"),
            '\r' => self.out.push_str("&#13;"),
            ' ' if blanks => self.out.push_str("&#32;"),
            '\t' if blanks => self.out.push_str("&#9;"),
            '\n' if blanks => self.out.push_str("&#10;"),
            c if is_xml_char(c) => self.out.push(c),
            _ => self.out.push(char::REPLACEMENT_CHARACTER),
        }
    }

    fn new_line(&mut self, depth: usize) {
        self.out.push('\n');
        self.out.extend(std::iter::repeat_n(' ', depth));
    }

    /// Puts the extras of the open element that belong before a child of this name, or all that are left.
    fn extras_before(&mut self, name: Option<&str>) {
        let depth = self.open.len();
        let Some(open) = self.open.last_mut().filter(|open| !open.extras.is_empty()) else { return };
        let rank = |name: &str| open.order.iter().position(|own| *own == name);
        let before = name.map(|name| rank(name).unwrap_or(0));
        let (now, later) = std::mem::take(&mut open.extras).into_iter().partition(|item| {
            let own = match item {
                Item::Element(address, _) => rank(address),
                Item::Text(..) | Item::Attribute(..) => None,
            };
            before.is_none_or(|before| own.is_some_and(|own| own < before))
        });
        open.extras = later;
        let now: Vec<Item<'_>> = now;
        for item in now {
            match item {
                Item::Element(_, text) => {
                    self.new_line(depth);
                    self.out.push_str(text);
                }
                Item::Text(text) => self.content(text),
                Item::Attribute(..) => {}
            }
        }
    }

    fn count(&mut self, name: &'static str) -> u32 {
        let Some(parent) = self.open.last_mut() else { return 1 };
        match parent.children.iter_mut().find(|(own, _)| *own == name) {
            Some((_, count)) => {
                *count += 1;
                *count
            }
            None => {
                parent.children.push((name, 1));
                1
            }
        }
    }

    fn uncount(&mut self, name: &str) {
        if let Some(parent) = self.open.last_mut()
            && let Some((_, count)) = parent.children.iter_mut().find(|(own, _)| *own == name)
        {
            *count -= 1;
        }
    }
}

/// Whether XML can hold a text word for word.
pub(crate) fn is_storable(text: &str) -> bool {
    text.chars().all(is_xml_char)
}
