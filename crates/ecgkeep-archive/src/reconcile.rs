//! What should have been filed against what was: orders, or the recording device's own log.

use std::collections::{BTreeMap, BTreeSet};

use ecgkeep_format::{Error, Kind, Place, Result};
use ecgkeep_recording::CivilTime;
use serde::{Deserialize, Serialize};

use crate::query::folded;

/// One recording that is expected: whatever the list says of it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Expected {
    /// Order (accession) number.
    #[serde(deserialize_with = "said")]
    pub order: Option<String>,
    /// Sequence number that the device gave.
    #[serde(deserialize_with = "said")]
    pub sequence: Option<String>,
    /// Recording device: its name, serial number, or both, as far as the list has it.
    #[serde(deserialize_with = "said")]
    pub device: Option<String>,
    /// An identifier of the patient.
    #[serde(deserialize_with = "said")]
    pub identifier: Option<String>,
    /// When it was recorded, as far as the list says.
    #[serde(deserialize_with = "time")]
    pub time: CivilTime,
    /// Its line in the list, from 1; 0 where it stands in none.
    #[serde(skip)]
    pub line: u64,
}

/// One recording that was filed, newest revision.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FiledRecording {
    /// Key.
    pub key: String,
    /// Order number.
    pub order: Option<String>,
    /// Sequence number.
    pub sequence: Option<String>,
    /// Device on one line.
    pub device: Option<String>,
    /// Identifiers of the patient.
    pub identifiers: Vec<String>,
    /// When it was recorded.
    pub start: CivilTime,
    /// When it was filed, in seconds since 1970.
    pub filed_at: Option<i64>,
}

/// What a comparison showed. Entries of the list are named by their number, from 1, in it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Reconciled {
    /// Entries with exactly one recording.
    pub matched: Vec<Matched>,
    /// Entries without one.
    pub missing: Vec<usize>,
    /// Entries with several.
    pub duplicate: Vec<Duplicate>,
    /// Recordings that several entries mean: all of these entries are matched, by one recording.
    pub repeated: Vec<Repeated>,
    /// Keys filed in the time of the list that no entry asks for.
    pub unexpected: Vec<String>,
    /// Sequence numbers that neither the list nor the archive has, between ones that they have.
    pub gaps: Vec<Gap>,
}

/// An entry and its recording.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Matched {
    /// Number of the entry.
    pub entry: usize,
    /// Key of the recording.
    pub key: String,
    /// Seconds from recording to filing; `None` where one of them is not known to a second and an offset.
    pub delay_seconds: Option<i64>,
}

/// An entry and its recordings.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Duplicate {
    /// Number of the entry.
    pub entry: usize,
    /// Keys of the recordings.
    pub keys: Vec<String>,
}

/// A recording and its entries.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Repeated {
    /// Key of the recording.
    pub key: String,
    /// Numbers of the entries.
    pub entries: Vec<usize>,
}

/// Sequence numbers that are missing, the first and the last.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Gap {
    /// The device, as the archive or the list has it; empty where neither names one.
    pub device: String,
    /// The first number missing.
    pub first: u64,
    /// The last.
    pub last: u64,
}

/// Recording and list may be this far apart where nothing but patient and time connects them: clocks of a device and
/// of a list of orders differ by minutes (common practice, no source).
const CLOCKS_APART_SECONDS: i64 = 15 * 60;

const COLUMNS: &[&str] = &["order", "sequence", "device", "identifier", "time"];

/// Reads a list: CSV whose first line names the columns `order`, `sequence`, `device`, `identifier`, `time`, as many of
/// them as it has, in any order; or the same as JSON objects, one a line.
/// # Errors
/// [`Kind::Malformed`] with the line, which is not repeated.
pub fn parse_expected(name: &str, text: &str) -> Result<Vec<Expected>> {
    let wrong = |line: u64, what: &str| {
        Error::malformed(Place::file(name).line(line), what)
            .remedy("columns or members are order, sequence, device, identifier, time (ISO 8601); at least one filled")
    };
    let mut list = Vec::new();
    if text.trim_start().starts_with('{') {
        for (number, line) in (1..).zip(text.lines()).filter(|(_, line)| !line.trim().is_empty()) {
            list.push((
                number,
                serde_json::from_str(line).map_err(|_| wrong(number, "not an expected recording"))?,
            ));
        }
    } else {
        let text = text.trim_start_matches('\u{feff}');
        let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
        let headers = reader.headers().map_err(|_| wrong(1, "not a list of columns"))?.clone();
        if let Some((number, _)) = (1..).zip(&headers).find(|(_, header)| !COLUMNS.contains(header)) {
            return Err(wrong(1, &format!("column {number} has no name that is known")));
        }
        for record in reader.records() {
            let line = |error: &csv::Error| error.position().map_or(1, csv::Position::line);
            let record = record.map_err(|error| wrong(line(&error), "not a line of the columns named"))?;
            let number = record.position().map_or(1, csv::Position::line);
            let entry = record.deserialize(Some(&headers));
            list.push((number, entry.map_err(|_| wrong(number, "not an expected recording"))?));
        }
    }
    match list.iter().find(|(_, entry)| *entry == Expected::default()) {
        Some((number, _)) => Err(wrong(*number, "an entry that says nothing")),
        None if list.is_empty() => {
            Err(Error::new(Kind::Malformed, "a list without an entry").at(Place::file(name)))
        }
        None => Ok(list.into_iter().map(|(line, entry)| Expected { line, ..entry }).collect()),
    }
}

/// Holds a list against what was filed.
#[must_use]
pub fn reconcile(expected: &[Expected], filed: &[FiledRecording]) -> Reconciled {
    let mut result = Reconciled::default();
    let mut asked_for = BTreeSet::new();
    let index = Index::of(filed);
    for (number, entry) in (1..).zip(expected) {
        let found = index.matching(entry);
        asked_for.extend(found.iter().map(|filed| filed.key.as_str()));
        match found.as_slice() {
            [] => result.missing.push(number),
            [one] => {
                let delay_seconds =
                    one.filed_at.zip(exact_second(&one.start)).map(|(filed, start)| filed - start);
                result.matched.push(Matched { entry: number, key: one.key.clone(), delay_seconds });
            }
            several => result.duplicate.push(Duplicate {
                entry: number,
                keys: several.iter().map(|filed| filed.key.clone()).collect(),
            }),
        }
    }
    let mut entries_of: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for matched in &result.matched {
        entries_of.entry(&matched.key).or_default().push(matched.entry);
    }
    result.repeated = entries_of
        .into_iter()
        .filter(|(_, entries)| entries.len() > 1)
        .map(|(key, entries)| Repeated { key: key.to_owned(), entries })
        .collect();
    let of_list = span(expected.iter().filter_map(|entry| entry.time.seconds()).chain(
        // A list without times is as long as the recordings it names.
        filed.iter().filter(|one| asked_for.contains(one.key.as_str())).filter_map(|one| one.start.seconds()),
    ));
    let in_time = |one: &&FiledRecording| match (of_list, one.start.seconds()) {
        (Some((first, last)), Some(start)) => (first..=last).contains(&start),
        _ => false,
    };
    let within: Vec<&FiledRecording> = filed.iter().filter(in_time).collect();
    result.unexpected = within
        .iter()
        .filter(|one| !asked_for.contains(one.key.as_str()))
        .map(|one| one.key.clone())
        .collect();
    result.gaps =
        gaps(expected, filed.iter().filter(|one| asked_for.contains(one.key.as_str())).chain(within));
    result
}

/// Recordings by what a list may name.
struct Index<'a> {
    by_order: BTreeMap<String, Vec<&'a FiledRecording>>,
    by_sequence: BTreeMap<String, Vec<&'a FiledRecording>>,
    by_identifier: BTreeMap<String, Vec<&'a FiledRecording>>,
    all: &'a [FiledRecording],
}

impl<'a> Index<'a> {
    fn of(all: &'a [FiledRecording]) -> Index<'a> {
        let mut index = Index {
            by_order: BTreeMap::new(),
            by_sequence: BTreeMap::new(),
            by_identifier: BTreeMap::new(),
            all,
        };
        for one in all {
            if let Some(order) = &one.order {
                index.by_order.entry(folded(order)).or_default().push(one);
            }
            if let Some(sequence) = &one.sequence {
                index.by_sequence.entry(folded(sequence)).or_default().push(one);
            }
            for identifier in &one.identifiers {
                index.by_identifier.entry(folded(identifier)).or_default().push(one);
            }
        }
        index
    }

    /// The recordings that an entry may mean: everything that both name must agree; an order number, or a sequence
    /// number (with its device), or patient and time, must be among it.
    fn matching(&self, entry: &Expected) -> Vec<&'a FiledRecording> {
        let of = |map: &BTreeMap<String, Vec<&'a FiledRecording>>, text: &str| {
            map.get(&folded(text)).cloned().unwrap_or_default()
        };
        let some: Vec<&FiledRecording> = match entry {
            Expected { order: Some(order), .. } => of(&self.by_order, order),
            Expected { sequence: Some(sequence), .. } => of(&self.by_sequence, sequence),
            Expected { identifier: Some(identifier), .. } => of(&self.by_identifier, identifier),
            _ => self.all.iter().collect(),
        };
        some.into_iter().filter(|one| agrees(entry, one)).collect()
    }
}

fn agrees(entry: &Expected, filed: &FiledRecording) -> bool {
    let same = |a: &Option<String>, b: &Option<String>| match (a, b) {
        (Some(a), Some(b)) => folded(a) == folded(b),
        _ => true,
    };
    let device = match (&entry.device, &filed.device) {
        (Some(a), Some(b)) => folded(b).contains(&folded(a)),
        _ => true,
    };
    let patient = entry.identifier.as_ref().is_none_or(|identifier| {
        filed.identifiers.is_empty() || filed.identifiers.iter().any(|own| folded(own) == folded(identifier))
    });
    // A number settles which recording is meant; only without one does the time.
    let is_numbered = (entry.order.is_some() && filed.order.is_some())
        || (entry.sequence.is_some() && filed.sequence.is_some());
    let time = match (entry.time.seconds(), filed.start.seconds()) {
        (Some(expected), Some(start)) if is_numbered => (expected - start).abs() <= 86_400,
        (Some(expected), Some(start)) => (expected - start).abs() <= CLOCKS_APART_SECONDS,
        _ => is_numbered || entry.identifier.is_some(),
    };
    same(&entry.order, &filed.order) && same(&entry.sequence, &filed.sequence) && device && patient && time
}

/// A time as a second of UTC, where it is given to a second and with an offset.
fn exact_second(time: &CivilTime) -> Option<i64> {
    time.offset_minutes?;
    time.time?.second()?;
    time.seconds()
}

fn span(seconds: impl Iterator<Item = i64>) -> Option<(i64, i64)> {
    seconds.fold(None, |span, one| match span {
        None => Some((one, one)),
        Some((first, last)) => Some((first.min(one), last.max(one))),
    })
}

/// Numbers missing in the sequence of each device.
fn gaps<'a>(expected: &[Expected], filed: impl Iterator<Item = &'a FiledRecording>) -> Vec<Gap> {
    let number = |text: &Option<String>| text.as_deref().and_then(|text| text.trim().parse::<u64>().ok());
    let mut seen: BTreeMap<String, BTreeSet<u64>> = BTreeMap::new();
    let of_archive: Vec<&FiledRecording> = filed.collect();
    for one in &of_archive {
        if let Some(number) = number(&one.sequence) {
            seen.entry(one.device.clone().unwrap_or_default()).or_default().insert(number);
        }
    }
    for entry in expected {
        let Some(number) = number(&entry.sequence) else { continue };
        let named = entry.device.clone().unwrap_or_default();
        // The list may name a device in other words than the recordings do.
        let device = seen.keys().find(|device| folded(device).contains(&folded(&named))).cloned();
        seen.entry(device.unwrap_or(named)).or_default().insert(number);
    }
    let mut gaps = Vec::new();
    for (device, numbers) in seen {
        let between = numbers.iter().zip(numbers.iter().skip(1)).filter(|(a, b)| **b > **a + 1);
        gaps.extend(between.map(|(a, b)| Gap { device: device.clone(), first: a + 1, last: b - 1 }));
    }
    gaps
}

/// An empty cell says nothing.
fn said<'de, D: serde::Deserializer<'de>>(from: D) -> std::result::Result<Option<String>, D::Error> {
    let text = Option::<String>::deserialize(from)?;
    Ok(text.map(|text| text.trim().to_owned()).filter(|text| !text.is_empty()))
}

fn time<'de, D: serde::Deserializer<'de>>(from: D) -> std::result::Result<CivilTime, D::Error> {
    let text = Option::<String>::deserialize(from)?.unwrap_or_default();
    match text.trim() {
        "" => Ok(CivilTime::default()),
        text => text.parse().map_err(serde::de::Error::custom),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filed(key: &str, sequence: u32, order: &str, time: &str) -> FiledRecording {
        let start: CivilTime = time.parse().unwrap();
        FiledRecording {
            key: key.into(),
            order: Some(order.into()),
            sequence: Some(sequence.to_string()),
            device: Some("Fenwright Instruments, FW 12R, FW-00718".into()),
            identifiers: vec![format!("LM-{sequence}")],
            filed_at: start.seconds().map(|start| start + 90),
            start,
        }
    }

    #[test]
    fn missing_unexpected_duplicate_gaps_and_delay_are_each_said() {
        let archive = [
            filed("a", 101, "O-1", "2026-03-02T08:00:00+01:00"),
            filed("b", 102, "O-2", "2026-03-02T09:00:00+01:00"),
            filed("c", 102, "O-2", "2026-03-02T09:00:05+01:00"),
            filed("d", 104, "O-9", "2026-03-02T09:30:00+01:00"),
            filed("late", 900, "O-8", "2026-03-05T09:30:00+01:00"),
        ];
        let list = "sequence,order,time,device\n101,O-1,2026-03-02T08:01+01:00,FW-00718\n\
            102,O-2,2026-03-02T09:00+01:00,FW-00718\n103,O-3,,FW-00718\n107,,2026-03-02T11:00+01:00,fw-00718\n";
        let expected = parse_expected("list.csv", list).unwrap();
        let result = reconcile(&expected, &archive);
        assert_eq!(result.matched, [Matched { entry: 1, key: "a".into(), delay_seconds: Some(90) }]);
        assert_eq!(result.duplicate, [Duplicate { entry: 2, keys: vec!["b".into(), "c".into()] }]);
        assert_eq!(result.missing, [3, 4]);
        assert_eq!(result.unexpected, ["d"]);
        let device = "Fenwright Instruments, FW 12R, FW-00718".to_owned();
        assert_eq!(result.gaps, [Gap { device, first: 105, last: 106 }]);
    }

    #[test]
    fn an_order_that_is_listed_twice_is_not_two_recordings() {
        let archive = [filed("a", 5, "O-1", "2026-03-02T08:00:00+01:00")];
        let list = parse_expected("list.csv", "order\nO-1\nO-2\no-1\n").unwrap();
        let result = reconcile(&list, &archive);
        assert_eq!(result.repeated, [Repeated { key: "a".into(), entries: vec![1, 3] }]);
        assert_eq!((result.matched.len(), result.missing.as_slice()), (2, [2].as_slice()));
        assert_eq!(list.iter().map(|entry| entry.line).collect::<Vec<_>>(), [2, 3, 4]);
    }

    #[test]
    fn patient_and_time_do_where_there_is_no_number() {
        let archive = [filed("a", 5, "O-1", "2026-03-02T08:00:00+01:00")];
        let of = |line: &str| reconcile(&parse_expected("-", line).unwrap(), &archive);
        assert_eq!(of(r#"{"identifier":"lm-5","time":"2026-03-02T08:10+01:00"}"#).matched.len(), 1);
        assert_eq!(of(r#"{"identifier":"LM-5","time":"2026-03-02T08:20+01:00"}"#).missing, [1]);
        assert_eq!(of(r#"{"identifier":"LM-6","time":"2026-03-02T08:00+01:00"}"#).missing, [1]);
        assert_eq!(of(r#"{"order":"O-1","identifier":"LM-6"}"#).missing, [1], "the order of another patient");
    }

    #[test]
    fn a_wrong_list_is_refused_by_line_and_not_repeated() {
        for (text, line) in [
            ("order,time\nO-1,2026-03-02\nO-2,Tallowfield\n", 3),
            ("order\nO-1\n\"\"\n", 3),
            ("{\"order\":\"1\"}\n{\"patient\":\"Tallowfield\"}", 2),
            ("order,name\n1,Tallowfield\n", 1),
        ] {
            let error = parse_expected("l", text).unwrap_err();
            assert_eq!(error.place().line, Some(line), "{text}: {error}");
            assert!(!error.to_string().contains("Tallow"), "{error}");
        }
        assert!(parse_expected("l", "order\n").is_err());
    }
}
