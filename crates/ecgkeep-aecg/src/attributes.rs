//! Attributes of one start tag, and the references that may stand in them.

use std::borrow::Cow;
use std::cell::Cell;

use ecgkeep_format::{Error, Kind, Result};

use crate::constants::{MOST_ATTRIBUTES, STRUCTURAL_ATTRIBUTES, XML};
use crate::encoding::{check_chars, is_xml_char};

/// One attribute.
pub(crate) struct Attribute<'a> {
    /// The name with its prefix.
    pub(crate) name: &'a str,
    /// The value, references resolved.
    pub(crate) value: Cow<'a, str>,
    /// Whether a reader took it.
    pub(crate) taken: Cell<bool>,
}

impl<'a> Attribute<'a> {
    /// The name without its prefix.
    pub(crate) fn local(&self) -> &'a str {
        self.name.rsplit(':').next().unwrap_or(self.name)
    }

    /// The prefix that the attribute binds to a namespace; empty for the default one.
    pub(crate) fn declares(&self) -> Option<&'a str> {
        match self.name.strip_prefix("xmlns")? {
            "" => Some(""),
            rest => rest.strip_prefix(':'),
        }
    }

    /// Whether it is a statement of the source that nobody took.
    pub(crate) fn is_left(&self) -> bool {
        !self.taken.get() && self.declares().is_none() && !STRUCTURAL_ATTRIBUTES.contains(&self.local())
    }
}

/// Reads what follows the name in a start tag.
/// # Errors
/// [`Kind::Malformed`] and [`Kind::Limit`], without a place.
pub(crate) fn parse<'a>(mut rest: &'a str, most_bytes: usize, into: &mut Vec<Attribute<'a>>) -> Result<()> {
    let malformed = |what: &str| Error::new(Kind::Malformed, format!("not well-formed {XML}: {what}"));
    let first = into.len();
    loop {
        let trimmed = rest.trim_start_matches([' ', '\t', '\n', '\r']);
        if trimmed.is_empty() {
            return Ok(());
        }
        if trimmed.len() == rest.len() {
            return Err(malformed("no blank between attributes"));
        }
        let (name, after) =
            trimmed.split_once('=').ok_or_else(|| malformed("an attribute without a value"))?;
        let (name, after) = (name.trim_end(), after.trim_start());
        if name.is_empty() || name.contains([' ', '\t', '\n', '\r', '"', '\'', '<']) {
            return Err(malformed("an attribute without a proper name"));
        }
        let quote = after.chars().next().filter(|c| matches!(c, '"' | '\''));
        let quote = quote.ok_or_else(|| malformed("the value of an attribute is not quoted"))?;
        let (value, after) =
            after[1..].split_once(quote).ok_or_else(|| malformed("the value of an attribute has no end"))?;
        if value.len() > most_bytes {
            return Err(Error::new(Kind::Limit, format!("an attribute of more than {most_bytes} bytes")));
        }
        if into[first..].iter().any(|attribute| attribute.name == name) {
            return Err(malformed(&format!("the attribute {name} stands twice")));
        }
        if into.len() - first >= MOST_ATTRIBUTES {
            return Err(Error::new(
                Kind::Limit,
                format!("more than {MOST_ATTRIBUTES} attributes in one tag"),
            ));
        }
        into.push(Attribute { name, value: resolve_value(value)?, taken: Cell::new(false) });
        rest = after;
    }
}

/// The value of an attribute: references resolved, line ends and tabs as blanks (XML 1.0, 3.3.3).
fn resolve_value(value: &str) -> Result<Cow<'_, str>> {
    check_chars(value)?;
    if !value.contains(['&', '<', '\t', '\n', '\r']) {
        return Ok(Cow::Borrowed(value));
    }
    let mut resolved = String::with_capacity(value.len());
    let mut rest = value;
    while let Some(at) = rest.find(['&', '<', '\t', '\n', '\r']) {
        resolved.push_str(&rest[..at]);
        match rest.as_bytes()[at] {
            b'&' => {
                let (name, after) = rest[at + 1..]
                    .split_once(';')
                    .ok_or_else(|| Error::new(Kind::Malformed, "a bare & in an attribute"))?;
                resolved.push(resolve(name)?);
                rest = after;
            }
            b'<' => return Err(Error::new(Kind::Malformed, "a bare < in an attribute")),
            _ => {
                resolved.push(' ');
                let both = rest[at..].starts_with("\r\n");
                rest = &rest[at + if both { 2 } else { 1 }..];
            }
        }
    }
    resolved.push_str(rest);
    Ok(Cow::Owned(resolved))
}

/// The character that `&name;` stands for: one of the five of XML, or one by number.
/// # Errors
/// [`Kind::Malformed`], without a place: entities are never declared, for a DOCTYPE is refused.
pub(crate) fn resolve(name: &str) -> Result<char> {
    let number = |digits: &str, radix| {
        let plain = digits.bytes().all(|byte| byte.is_ascii_hexdigit());
        u32::from_str_radix(digits, radix).ok().filter(|_| plain).and_then(char::from_u32)
    };
    let found = match name {
        "lt" => Some('<'),
        "gt" => Some('>'),
        "amp" => Some('&'),
        "apos" => Some('\''),
        "quot" => Some('"'),
        _ => match name.strip_prefix('#') {
            Some(digits) => match digits.strip_prefix('x') {
                Some(digits) => number(digits, 16),
                None => number(digits, 10),
            },
            None => None,
        },
    };
    found.filter(|c| is_xml_char(*c)).ok_or_else(|| {
        let shown: String = name.chars().take(20).collect();
        Error::new(Kind::Malformed, format!("the reference &{shown}; is not declared or not a character"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(tag: &str) -> Result<Vec<(String, String)>> {
        let mut into = Vec::new();
        parse(tag, 100, &mut into)?;
        Ok(into.iter().map(|a| (a.name.to_owned(), a.value.clone().into_owned())).collect())
    }

    #[test]
    fn values_are_resolved_and_normalised() {
        let found = values(" a='1' b = \"x&amp;&#x41;&#10;\ty'\"").unwrap();
        assert_eq!(found, [("a".into(), "1".into()), ("b".into(), "x&A\n y'".into())]);
    }

    #[test]
    fn what_is_not_well_formed_is_refused() {
        for tag in
            [" a", " a=1", " a='1", " a='1'b='2'", " a='1' a='2'", " a='<'", " a='&x;'", " a='&#0;'", " ='1'"]
        {
            assert_eq!(values(tag).unwrap_err().kind(), Kind::Malformed, "{tag}");
        }
        let many: String = (0..70).map(|n| format!(" a{n}=''")).collect();
        assert_eq!(values(&many).unwrap_err().kind(), Kind::Limit);
    }
}
