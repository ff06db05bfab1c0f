//! Which lead: a reference identifier of ISO/IEEE 11073, a number of its partition 2, or a name.

use ecgkeep_recording::{Code, Lead};

use crate::constants::{LEAD, MDC, PARTITION_2};
use crate::emit::Emitter;
use crate::node::Node;
use crate::notes::Notes;
use crate::values;

/// Which lead a code names, and the source's own label of it.
pub(crate) fn read(code: Node<'_>, notes: &Notes) -> Option<(Lead, Option<String>)> {
    let Some(name) = code.peek("code") else {
        let name = code.attribute("displayName")?.to_owned();
        let label = values::coded(code).text;
        if code.peek("nullFlavor") == Some("OTH") {
            code.attribute("nullFlavor");
        }
        return Some((Lead::Other(name), label));
    };
    let is_private = code.peek("codeSystem").is_some_and(|system| system != MDC);
    let squeezed: String = name.chars().filter(|c| !c.is_whitespace() && *c != '+').collect();
    let number = name.trim().parse::<u32>().ok().and_then(|code| code.checked_sub(PARTITION_2));
    let lead = match number.and_then(|number| u16::try_from(number).ok()) {
        Some(number) if !is_private => Lead::from_number(number),
        _ => match Lead::from_name(&squeezed) {
            Lead::Other(_) => Lead::Other(name.to_owned()),
            known => known,
        },
    };
    let is_reference = name.get(..LEAD.len()).is_some_and(|start| start.eq_ignore_ascii_case(LEAD));
    if number.is_none() && !is_reference {
        notes.departure(code, "a lead that is not named by a reference identifier MDC_ECG_LEAD_");
    } else if lead.reference_id().is_some_and(|reference| number.is_none() && reference != name) {
        notes.departure(code, "a lead that is not spelled as its reference identifier");
    }
    code.attribute("code");
    if !is_private {
        code.attribute("codeSystem");
        if code.peek("codeSystemName") == Some("MDC") {
            code.attribute("codeSystemName");
        }
    }
    if !matches!(lead, Lead::Other(_)) {
        // what its code is called adds nothing to a lead of the standard
        code.attribute("displayName");
    }
    let label = code.child("originalText").map(|text| text.text().to_owned());
    Some((lead, label))
}

/// Writes a lead's code; a second signal of one lead is written by name, for a set holds each code once.
pub(crate) fn write(out: &mut Emitter<'_>, lead: &Lead, label: Option<&str>, again: bool) {
    let value = match lead {
        Lead::Numbered(number) if Lead::from_number(*number) == *lead => {
            Some((PARTITION_2 + u32::from(*number)).to_string())
        }
        // a reference identifier that the table of leads does not hold
        Lead::Other(name) if name.starts_with(LEAD) && Lead::from_name(name) == *lead => Some(name.clone()),
        lead => lead.reference_id(),
    };
    let name = lead.name();
    let code = Code { system: MDC.to_owned(), value: value.clone().unwrap_or_default(), meaning: None };
    let attributes = match value {
        Some(_) if !again => values::code_attributes(&code),
        _ => vec![("nullFlavor", "OTH"), ("displayName", name.as_str())],
    };
    out.with("code", &attributes, true, |out| out.text("originalText", label));
}
