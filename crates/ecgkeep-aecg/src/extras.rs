//! What the source holds and the model does not name: kept with its path, and put back there.
//!
//! The address of an extra is the path of the element that holds it, then the name of the item: an element
//! (`/AnnotatedECG/confidentialityCode`, the value its XML), an attribute (`/AnnotatedECG/id/@displayable`, the
//! value its text), or stray text (`/AnnotatedECG/text()`). In a path the second and further elements of one name
//! carry their number; the last step carries none, so that an extra keeps its address whatever else is written
//! before it.

use std::collections::HashMap;

use ecgkeep_format::Limits;
use ecgkeep_recording::{Extra, ExtraValue};

use crate::document::Document;
use crate::node::Node;

/// Every item below `root` that no reader took, in the order of the document.
pub(crate) fn gather(document: &Document<'_>) -> Vec<Extra> {
    let root = document.root();
    let mut extras = Vec::new();
    gather_in(document, root, &format!("/{}", root.name()), &mut extras);
    extras
}

fn gather_in(document: &Document<'_>, node: Node<'_>, path: &str, extras: &mut Vec<Extra>) {
    let mut push = |step: &str, text: String| {
        extras.push(Extra {
            format: crate::ABOUT.id.to_owned(),
            address: format!("{path}/{step}"),
            value: ExtraValue::Text(text),
        });
    };
    for attribute in node.attributes().iter().filter(|attribute| attribute.is_left()) {
        let name = match attribute.name.split_once(':') {
            Some((prefix, local)) if prefix != "xml" => format!("@{{{}}}{local}", bound(node, prefix)),
            _ => format!("@{}", attribute.name),
        };
        push(&name, attribute.value.clone().into_owned());
    }
    if let Some(text) = node.text_left() {
        push("text()", text.to_owned());
    }
    let mut counts: HashMap<&str, u32> = HashMap::new();
    for child in node.all() {
        let count = counts.entry(child.name()).or_default();
        *count += 1;
        if child.is_taken() {
            let step = match *count {
                1 => format!("{path}/{}", child.name()),
                count => format!("{path}/{}[{count}]", child.name()),
            };
            gather_in(document, child, &step, extras);
        } else {
            extras.push(Extra {
                format: crate::ABOUT.id.to_owned(),
                address: format!("{path}/{}", child.name()),
                value: ExtraValue::Text(self_contained(document, child)),
            });
        }
    }
}

/// The namespace that a prefix is bound to at an element; empty where it is not bound.
fn bound<'d>(node: Node<'d>, prefix: &str) -> &'d str {
    let mut here = Some(node);
    while let Some(node) = here {
        if let Some(found) = node.attributes().iter().find(|own| own.declares() == Some(prefix)) {
            return &found.value;
        }
        here = node.parent();
    }
    ""
}

/// An element's XML with the namespace bindings that it inherits and another document would not give it.
fn self_contained(document: &Document<'_>, node: Node<'_>) -> String {
    let source = node.source();
    let own = |prefix: &str| node.attributes().iter().any(|own| own.declares() == Some(prefix));
    let mut declarations = String::new();
    let default = bound(node, "");
    if !own("") && default != document.namespace.as_deref().unwrap_or_default() {
        declarations.push_str(&declaration("xmlns", default));
    }
    let mut seen: Vec<&str> = Vec::new();
    let mut here = node.parent().filter(|_| source.contains(':'));
    while let Some(ancestor) = here {
        for prefix in ancestor.attributes().iter().filter_map(|attribute| attribute.declares()) {
            let is_used = !prefix.is_empty() && source.contains(&format!("{prefix}:"));
            if is_used && !own(prefix) && !seen.contains(&prefix) && prefix != "xsi" {
                seen.push(prefix);
                declarations.push_str(&declaration(&format!("xmlns:{prefix}"), bound(node, prefix)));
            }
        }
        here = ancestor.parent();
    }
    let name_end = source.find([' ', '\t', '\n', '\r', '/', '>']).unwrap_or(source.len());
    format!("{}{declarations}{}", &source[..name_end], &source[name_end..])
}

fn declaration(name: &str, namespace: &str) -> String {
    let escaped = namespace.replace('&', "&amp;").replace('<', "&lt;").replace('"', "&quot;");
    format!(" {name}=\"{escaped}\"")
}

/// An extra that can be put back.
pub(crate) enum Item<'a> {
    /// An element: name, XML word for word.
    Element(&'a str, &'a str),
    /// An attribute: namespace (empty for none), name, value.
    Attribute(&'a str, &'a str, &'a str),
    /// Stray text.
    Text(&'a str),
}

impl<'a> Item<'a> {
    /// The path of the element that an extra goes into, and what goes there. `None` for an extra of another format,
    /// and for one that would not be well-formed XML at its address.
    pub(crate) fn of(extra: &'a Extra) -> Option<(&'a str, Item<'a>)> {
        let ExtraValue::Text(text) = &extra.value else { return None };
        if extra.format != crate::ABOUT.id {
            return None;
        }
        if let Some((path, name)) = extra.address.split_once("/@") {
            let (namespace, local) = match name.strip_prefix('{') {
                Some(rest) => rest.split_once('}')?,
                None => ("", name),
            };
            let plain = local.strip_prefix("xml:").filter(|_| namespace.is_empty()).unwrap_or(local);
            return (is_name(plain) && plain != "xmlns")
                .then_some((path, Item::Attribute(namespace, local, text)));
        }
        let (path, step) = extra.address.rsplit_once('/')?;
        if step == "text()" {
            return Some((path, Item::Text(text)));
        }
        let parsed = Document::read("", text, &Limits::default()).ok()?;
        (parsed.root().name() == step).then_some((path, Item::Element(step, text)))
    }
}

fn is_name(name: &str) -> bool {
    let is_inner = |c: char| c.is_alphanumeric() || matches!(c, '_' | '-' | '.');
    name.starts_with(|c: char| c.is_alphabetic() || c == '_') && name.chars().all(is_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn extras(text: &str, take: &[&'static str]) -> Vec<(String, String)> {
        let document = Document::read("r", text, &Limits::default()).unwrap();
        document.root().descend(take);
        let text = |value| match value {
            ExtraValue::Text(text) => text,
            ExtraValue::Bytes(_) => String::new(),
        };
        gather(&document).into_iter().map(|extra| (extra.address, text(extra.value))).collect()
    }

    #[test]
    fn what_nobody_took_keeps_its_path() {
        let document =
            "<r xmlns='urn:hl7-org:v3'><a/><a><b note='x' classCode='OBS'>stray<c>1</c></b></a></r>";
        let second = "<a><b note='x' classCode='OBS'>stray<c>1</c></b></a>";
        assert_eq!(extras(document, &["a"]), [("/r/a".to_owned(), second.to_owned())]);
        let document = document.replace("<a/>", "");
        assert_eq!(
            extras(&document, &["a", "b"]),
            [("/r/a/b/@note", "x"), ("/r/a/b/text()", "stray"), ("/r/a/b/c", "<c>1</c>")]
                .map(|(address, text)| (address.to_owned(), text.to_owned()))
        );
    }

    #[test]
    fn an_extra_brings_its_namespaces_along() {
        let document = "<h:r xmlns:h='urn:hl7-org:v3' xmlns:p='urn:x?a&amp;b' xmlns='urn:d'><h:a p:k='1'/><q><p:z/></q></h:r>";
        assert_eq!(
            extras(document, &["a"]),
            [
                ("/r/a/@{urn:x?a&b}k".to_owned(), "1".to_owned()),
                ("/r/q".to_owned(), "<q xmlns=\"urn:d\" xmlns:p=\"urn:x?a&amp;b\"><p:z/></q>".to_owned()),
            ]
        );
    }

    #[test]
    fn an_extra_that_is_no_element_is_not_put_back() {
        let extra = |address: &str, text: &str| Extra {
            format: "aecg".into(),
            address: address.into(),
            value: ExtraValue::Text(text.into()),
        };
        assert!(Item::of(&extra("/AnnotatedECG/x", "<x/>")).is_some());
        for (address, text) in
            [("/A/x", "<y/>"), ("/A/x", "<x>"), ("/A/x", "<x/><x/>"), ("/A/@a b", ""), ("x", "<x/>")]
        {
            assert!(Item::of(&extra(address, text)).is_none(), "{address} {text}");
        }
    }
}
