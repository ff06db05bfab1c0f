//! The small data types: PQ (a quantity), II (an identifier), CD and CE (a code), EN (a name). Reader and writer of
//! each stand side by side.

use ecgkeep_recording::{Code, Coded, Exact, Identifier, MOST_DIGITS, Person, PersonName, Quantity};

use crate::constants::SYSTEM_NAMES;
use crate::emit::Emitter;
use crate::node::Node;

/// The decimal text of a value, rounded to 18 significant digits where it is no shorter decimal.
pub(crate) fn decimal(value: Exact) -> String {
    if let Some(text) = value.to_short_decimal() {
        return text;
    }
    for places in (0..=30).rev() {
        if let Some((text, _)) = value.to_decimal(places)
            && significant(&text) <= MOST_DIGITS
        {
            return text;
        }
    }
    // more than 18 digits before the point
    let whole = value.to_decimal(0).map_or_else(|| "0".to_owned(), |(text, _)| text);
    let kept = MOST_DIGITS + usize::from(whole.starts_with('-'));
    format!("{:0<width$}", &whole[..kept.min(whole.len())], width = whole.len())
}

fn significant(text: &str) -> usize {
    let digits: String = text.chars().filter(char::is_ascii_digit).collect();
    digits.trim_start_matches('0').trim_end_matches('0').len()
}

/// The value that [`decimal`] writes.
pub(crate) fn rounded(value: Exact) -> Exact {
    decimal(value).parse().unwrap_or(value)
}

/// The nearest whole number, halves away from zero; `None` where it does not fit.
pub(crate) fn nearest(value: Exact) -> Option<i64> {
    value.to_decimal(0)?.0.parse().ok()
}

/// Reads a decimal number, without the blanks around it. No ratio: XML has none.
pub(crate) fn number(text: &str) -> Option<Exact> {
    let text = text.trim();
    if text.contains('/') { None } else { text.parse().ok() }
}

/// Reads a PQ; the unit is empty where the source gives none. Nothing is taken where it is no number.
pub(crate) fn quantity(node: Node<'_>) -> Option<Quantity> {
    let value = number(node.peek("value")?)?;
    node.attribute("value");
    Some(Quantity { value, unit: node.attribute("unit").unwrap_or_default().to_owned() })
}

/// Writes a PQ.
pub(crate) fn write_quantity(out: &mut Emitter<'_>, name: &'static str, typed: bool, value: &Quantity) {
    let text = decimal(value.value);
    let mut attributes = vec![("value", text.as_str())];
    if !value.unit.is_empty() {
        attributes.push(("unit", &value.unit));
    }
    if typed {
        attributes.insert(0, ("xsi:type", "PQ"));
    }
    out.leaf(name, &attributes);
}

/// Whether a text is an object identifier or a UUID, as `root` and `codeSystem` want.
pub(crate) fn is_unique_id(text: &str) -> bool {
    let arcs = text.split('.').count();
    let is_oid =
        arcs >= 4 && text.split('.').all(|arc| !arc.is_empty() && arc.bytes().all(|b| b.is_ascii_digit()));
    let groups: Vec<usize> = text.split('-').map(str::len).collect();
    let is_uuid = groups == [8, 4, 4, 4, 12] && text.bytes().all(|b| b.is_ascii_hexdigit() || b == b'-');
    is_oid || is_uuid
}

/// Reads an II: `extension` is the identifier and `root` or `assigningAuthorityName` who assigned it; a `root` alone
/// is the identifier. `None` for one that states neither.
pub(crate) fn identifier(node: Node<'_>) -> Option<Identifier> {
    silence(node);
    let root = node.attribute("root").map(str::to_owned);
    let Some(extension) = node.attribute("extension") else {
        return root.map(|value| Identifier { value, ..Identifier::default() });
    };
    let assigner = root.or_else(|| node.attribute("assigningAuthorityName").map(str::to_owned));
    Some(Identifier { value: extension.to_owned(), assigner, kind: None })
}

/// Writes an II; its kind is said by the place where it stands.
pub(crate) fn write_identifier(out: &mut Emitter<'_>, id: &Identifier) {
    match &id.assigner {
        None if is_unique_id(&id.value) => out.leaf("id", &[("root", &id.value)]),
        None => out.leaf("id", &[("extension", &id.value)]),
        Some(root) if is_unique_id(root) => out.leaf("id", &[("root", root), ("extension", &id.value)]),
        Some(name) => out.leaf("id", &[("extension", &id.value), ("assigningAuthorityName", name)]),
    }
}

/// Takes a `nullFlavor` that says no more than that there is no information; any other stays an extra.
pub(crate) fn silence(node: Node<'_>) {
    if node.peek("nullFlavor") == Some("NI") {
        node.attribute("nullFlavor");
    }
}

/// Reads a CD or CE. Text without a code, and what a code's system calls it, keep their places.
pub(crate) fn coded(node: Node<'_>) -> Coded {
    let mut coded = Coded { text: None, codes: code(node).into_iter().collect() };
    if let Some(text) = node.child("originalText") {
        coded.text = Some(text.text().to_owned());
    }
    for translation in node.waiting("translation") {
        if let Some(code) = code(translation) {
            translation.take();
            coded.codes.push(code);
        }
    }
    if coded.is_empty() {
        silence(node);
    } else if coded.codes.is_empty() && node.peek("nullFlavor") == Some("OTH") {
        node.attribute("nullFlavor");
    }
    coded
}

fn code(node: Node<'_>) -> Option<Code> {
    let value = node.attribute("code")?.to_owned();
    let meaning = node.attribute("displayName").map(str::to_owned);
    let system = match node.attribute("codeSystem") {
        Some(system) => {
            let known = SYSTEM_NAMES.iter().find(|row| row.0 == system).map(|row| row.1);
            if known.is_some() && node.peek("codeSystemName") == known {
                node.attribute("codeSystemName");
            }
            system
        }
        None => node.attribute("codeSystemName").unwrap_or_default(),
    };
    Some(Code { system: system.to_owned(), value, meaning })
}

/// Writes a CD or CE; nothing where nothing is stated.
pub(crate) fn write_coded(out: &mut Emitter<'_>, name: &'static str, kind: Option<&str>, coded: &Coded) {
    let mut attributes = kind.map(|kind| ("xsi:type", kind)).into_iter().collect::<Vec<_>>();
    let (first, further) = match coded.codes.split_first() {
        Some((first, further)) => {
            attributes.extend(code_attributes(first));
            (Some(first), further)
        }
        None => (None, [].as_slice()),
    };
    if first.is_none() && coded.text.is_none() {
        return;
    }
    if first.is_none() {
        attributes.push(("nullFlavor", "OTH"));
    }
    out.with(name, &attributes, true, |out| {
        out.text("originalText", coded.text.as_deref());
        for code in further {
            out.leaf("translation", &code_attributes(code));
        }
    });
}

/// The attributes of a code.
pub(crate) fn code_attributes(code: &Code) -> Vec<(&str, &str)> {
    let mut attributes = vec![("code", code.value.as_str())];
    if is_unique_id(&code.system) {
        attributes.push(("codeSystem", &code.system));
        if let Some((_, name)) = SYSTEM_NAMES.iter().find(|row| row.0 == code.system) {
            attributes.push(("codeSystemName", name));
        }
    } else if !code.system.is_empty() {
        attributes.push(("codeSystemName", &code.system));
    }
    if let Some(meaning) = &code.meaning {
        attributes.push(("displayName", meaning));
    }
    attributes
}

/// Writes a code element that the tree fixes.
pub(crate) fn write_code(out: &mut Emitter<'_>, system: &str, value: &str) {
    let code = Code { system: system.to_owned(), value: value.to_owned(), meaning: None };
    out.leaf("code", &code_attributes(&code));
}

/// Reads an EN: parts, text, or text beside parts.
pub(crate) fn name(node: Node<'_>) -> PersonName {
    silence(node);
    let mut name = PersonName::default();
    let stated = |text: &str| (!text.is_empty()).then(|| text.to_owned());
    name.text = stated(node.text());
    let mut given = Vec::new();
    for (count, part) in node.children("given").enumerate() {
        silence(part);
        match (count, stated(part.text())) {
            (0, first) => name.given = first,
            (_, further) => given.extend(further),
        }
    }
    name.middle = (!given.is_empty()).then(|| given.join(" "));
    let mut families = node.waiting("family");
    for slot in [&mut name.family, &mut name.second_family] {
        if let Some(part) = families.next().map(Node::take) {
            silence(part);
            *slot = stated(part.text());
        }
    }
    for (slot, part) in [(&mut name.prefix, "prefix"), (&mut name.suffix, "suffix")] {
        *slot = node.child(part).and_then(|part| stated(part.text()));
    }
    name
}

/// Writes an EN; nothing where nothing is stated.
pub(crate) fn write_name(out: &mut Emitter<'_>, name: &PersonName) {
    let PersonName { text, family, second_family, given, middle, prefix, suffix } = name;
    out.optional("name", |out| {
        if let Some(text) = text {
            out.content(text);
        }
        out.text("prefix", prefix.as_deref());
        // a second part is known by its place, so the first must not be missing
        for (part, first, second) in [("given", given, middle), ("family", family, second_family)] {
            match (first, second) {
                (None, Some(_)) => out.null(part),
                _ => out.text(part, first.as_deref()),
            }
            out.text(part, second.as_deref());
        }
        out.text("suffix", suffix.as_deref());
    });
}

/// Reads a person: `id` here, `name` in `assignedPerson` or in the element itself.
pub(crate) fn person(node: Node<'_>) -> Person {
    let id = node.child("id").and_then(identifier);
    let name = node.descend(&["assignedPerson", "name"]).map(name).unwrap_or_default();
    Person { name, id }
}

/// Writes what [`person`] reads.
pub(crate) fn write_person(out: &mut Emitter<'_>, person: &Person) {
    if let Some(id) = &person.id {
        write_identifier(out, id);
    }
    out.optional("assignedPerson", |out| write_name(out, &person.name));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_that_is_no_short_decimal_is_rounded_to_18_digits() {
        for (numerator, denominator, text) in [
            (1, 3, "0.333333333333333333"),
            (-2000, 3, "-666.666666666666667"),
            (5, 4, "1.25"),
            (1, 360, "0.00277777777777777778"),
            (10i128.pow(20) + 7, 1, "100000000000000000000"),
            (-(10i128.pow(20)) - 7, 1, "-100000000000000000000"),
        ] {
            let value = Exact::ratio(numerator, denominator).unwrap();
            assert_eq!(decimal(value), text);
            assert!(text.parse::<Exact>().is_ok());
        }
    }

    #[test]
    fn object_identifiers_and_uuids_are_told_from_other_texts() {
        assert!(is_unique_id("2.16.840.1.113883.6.24"));
        assert!(is_unique_id("61d1a24f-b47e-41aa-ae95-f8ac302f4eeb"));
        for text in ["", "1.2", "12345", "SCP-ECG", "1..2.3", "LM-204417", "61d1a24f-b47e-41aa-ae95"] {
            assert!(!is_unique_id(text), "{text}");
        }
    }

    #[test]
    fn only_decimals_are_numbers() {
        assert_eq!(number(" -1.50 "), "-1.5".parse().ok());
        assert_eq!(number("1/3"), None);
        assert_eq!(number(""), None);
    }
}
