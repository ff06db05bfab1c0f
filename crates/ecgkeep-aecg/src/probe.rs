//! Recognising a document by its root element.

use ecgkeep_format::Match;
use quick_xml::NsReader;
use quick_xml::events::Event;
use quick_xml::name::ResolveResult;

use crate::constants::{NAMESPACE, ROOT};
use crate::encoding::decode_head;

/// Certain where the root is `AnnotatedECG` in the namespace of HL7 V3, likely where it has that name elsewhere.
pub(crate) fn probe(name: &str, head: &[u8]) -> Match {
    let decoded = decode_head(head);
    let text = decoded.trim_start_matches(|c: char| c.is_whitespace() || c == '\u{FEFF}');
    let mut reader = NsReader::from_str(text);
    while let Ok((namespace, event)) = reader.read_resolved_event() {
        match event {
            Event::Start(tag) | Event::Empty(tag) => {
                let is_ours = tag.local_name().as_ref() == ROOT;
                return match namespace {
                    _ if !is_ours => Match::No,
                    ResolveResult::Bound(namespace) if namespace.0 == NAMESPACE => Match::Certain,
                    _ => Match::Likely,
                };
            }
            Event::Decl(_) | Event::Comment(_) | Event::PI(_) | Event::DocType(_) => {}
            Event::Text(text) if text.trim().is_empty() => {}
            _ => break,
        }
    }
    // the root lies beyond the bytes shown, or the file is none of XML
    let is_xml = text.starts_with('<');
    match name.rsplit_once('.') {
        Some((_, ending)) if ending.eq_ignore_ascii_case("xml") && (is_xml || head.is_empty()) => {
            Match::ByName
        }
        Some((_, ending)) if ending.eq_ignore_ascii_case("aecg") => Match::ByName,
        _ => Match::No,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_element_decides() {
        let document = "<?xml version='1.0'?><!-- a --><AnnotatedECG xmlns='urn:hl7-org:v3'><id/>";
        assert_eq!(probe("x", document.as_bytes()), Match::Certain);
        assert_eq!(probe("x", b"<h:AnnotatedECG xmlns:h='urn:hl7-org:v3'/>"), Match::Certain);
        let utf16: Vec<u8> =
            format!("\u{FEFF}{document}").encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(probe("x", &utf16), Match::Certain);
        assert_eq!(probe("x.xml", b"<AnnotatedECG><id/>"), Match::Likely);
        assert_eq!(probe("x.xml", b"<html xmlns='urn:hl7-org:v3'>"), Match::No);
        assert_eq!(probe("x.xml", b"<?xml version='1.0'?><!-- a long comment"), Match::ByName);
        assert_eq!(probe("x.xml", b"not xml"), Match::No);
        assert_eq!(probe("x.hea", b"x 12 500"), Match::No);
    }
}
