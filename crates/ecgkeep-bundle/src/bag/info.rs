//! `bag-info.txt`: labels and values in order (RFC 8493, 2.2.2).

use super::declaration::Version;
use super::text::lines;
use crate::{Fault, FaultKind};

const CLAUSE: &str = "RFC 8493, 2.2.2";

/// The label of octets and files of the payload.
pub(crate) const OXUM: &str = "Payload-Oxum";
/// The label of the day on which the bag was made.
pub(crate) const BAGGING_DATE: &str = "Bagging-Date";

/// Reserved labels that should not be repeated.
const ONCE: &[&str] = &[BAGGING_DATE, "Bag-Size", "Bag-Group-Identifier", "Bag-Count"];

/// The labels and values in the order of the file; a value folded over lines keeps its line breaks, not its indents.
pub(crate) fn read(
    name: &str,
    text: &str,
    version: Version,
    faults: &mut Vec<Fault>,
) -> Vec<(String, String)> {
    let mut info: Vec<(String, String)> = Vec::new();
    let mut fault = |kind, what: String| faults.push(Fault::of(name, kind, what, CLAUSE));
    for (number, line) in (1..).zip(lines(text)) {
        if line.trim().is_empty() {
            fault(version.forbidden_since_1_0(), format!("line {number} is blank"));
        } else if line.starts_with([' ', '\t']) {
            match info.last_mut() {
                Some((_, value)) => {
                    value.push('\n');
                    value.push_str(line.trim_start_matches([' ', '\t']));
                }
                None => fault(FaultKind::Malformed, format!("line {number} continues no other")),
            }
        } else if let Some((label, value)) = line.split_once(':') {
            let rest = value.strip_prefix([' ', '\t']);
            if label.trim() != label || rest.is_none() {
                let what = format!("line {number} is not a label, a colon, one space or tab, a value");
                fault(version.forbidden_since_1_0(), what);
            }
            info.push((label.trim().to_owned(), rest.unwrap_or(value).to_owned()));
        } else {
            fault(FaultKind::Malformed, format!("line {number} has no colon"));
        }
    }
    check_reserved(name, &info, version, faults);
    info
}

/// The reserved labels: how often, and in which form.
fn check_reserved(name: &str, info: &[(String, String)], version: Version, faults: &mut Vec<Fault>) {
    let mut fault = |kind, what: String| faults.push(Fault::of(name, kind, what, CLAUSE));
    if values(info, OXUM).count() > 1 {
        fault(version.forbidden_since_1_0(), format!("{OXUM} is repeated"));
    }
    for oxum in values(info, OXUM).filter(|oxum| parse_oxum(oxum).is_none()) {
        fault(FaultKind::Malformed, format!("{OXUM} is not OCTETS.FILES: {oxum:?}"));
    }
    for label in ONCE.iter().filter(|label| values(info, label).count() > 1) {
        fault(FaultKind::Hazard, format!("{label} is repeated"));
    }
    for date in values(info, BAGGING_DATE).filter(|date| !is_date(date.trim())) {
        fault(FaultKind::Hazard, format!("{BAGGING_DATE} is not YYYY-MM-DD: {date:?}"));
    }
}

/// The values of a label, upper or lower case.
pub(crate) fn values<'a>(info: &'a [(String, String)], label: &str) -> impl Iterator<Item = &'a str> {
    info.iter().filter(move |(own, _)| own.eq_ignore_ascii_case(label)).map(|(_, value)| value.as_str())
}

/// Octets and files of a Payload-Oxum.
pub(crate) fn parse_oxum(value: &str) -> Option<(u64, u64)> {
    let (octets, files) = value.trim().split_once('.')?;
    let number = |digits: &str| {
        let is_number = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
        if is_number { digits.parse().ok() } else { None }
    };
    Some((number(octets)?, number(files)?))
}

/// Whether this has the form YYYY-MM-DD, month and day in their ranges.
pub(crate) fn is_date(text: &str) -> bool {
    let bytes = text.as_bytes();
    let has_form = bytes.len() == 10
        && bytes.iter().enumerate().all(|(index, byte)| match index {
            4 | 7 => *byte == b'-',
            _ => byte.is_ascii_digit(),
        });
    let within = |range: std::ops::Range<usize>, most: u8| {
        text.get(range).and_then(|digits| digits.parse::<u8>().ok()).is_some_and(|n| (1..=most).contains(&n))
    };
    has_form && within(5..7, 12) && within(8..10, 31)
}

/// `bag-info.txt` of a bundle. Labels and values are checked already.
pub(crate) fn write(info: &[(String, String)]) -> Vec<u8> {
    let mut text = String::new();
    for (label, value) in info {
        text.push_str(label);
        text.push_str(": ");
        text.push_str(value);
        text.push('\n');
    }
    text.into_bytes()
}
