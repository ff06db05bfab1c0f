//! The comment lines of a header as a whole: our own, and other people's, which are kept word for word.

use std::collections::BTreeMap;

use ecgkeep_format::{Limits, Note};
use ecgkeep_recording::{
    Acquisition, CivilTime, Extra, ExtraValue, Measurement, Quantity, Sex, Statement, Subject,
};

use crate::constants::ID;
use crate::header::{Comment, Where};
use crate::info::{Hear, Say, Side, take_apart};
use crate::keys::{
    self, AGE, DATETIME, LeadLines, PLAIN_AGE, PLAIN_SEX, SEX, UTC_OFFSET, VERSION, VERSION_KEY,
};
use crate::line::shown;

/// What the comment lines say.
#[derive(Debug, Default)]
pub(crate) struct Told {
    /// The patient.
    pub(crate) subject: Subject,
    /// The making of the recording, but for its start.
    pub(crate) acquisition: Acquisition,
    /// Date and time of the start.
    pub(crate) datetime: Option<CivilTime>,
    /// Offset from UTC where no time goes with it.
    pub(crate) utc_offset: Option<i16>,
    /// Measurements.
    pub(crate) measurements: Vec<Measurement>,
    /// Statements.
    pub(crate) statements: Vec<Statement>,
    /// Extras.
    pub(crate) extras: Vec<Extra>,
    /// One entry per signal of the header.
    pub(crate) leads: Vec<LeadLines>,
    /// What is said of the waveforms.
    pub(crate) waves: Vec<keys::WaveLines>,
    /// Whether the annotation files `marks` and `leadmarks` are ours.
    pub(crate) own_annotations: bool,
    /// Marks that their annotations cannot hold.
    pub(crate) marks: Vec<keys::MarkLines>,
}

impl Told {
    /// Everything of the table but age and sex, in the order of the lines.
    fn walk(&mut self, side: &mut impl Side) {
        keys::subject(side, &mut self.subject);
        side.item(DATETIME, &mut self.datetime);
        side.item(UTC_OFFSET, &mut self.utc_offset);
        keys::acquisition(side, &mut self.acquisition);
        keys::measurements(side, &mut self.measurements);
        keys::statements(side, &mut self.statements);
        keys::waves(side, &mut self.waves);
        if side.may_speak(keys::LEAD) {
            for (index, lead) in self.leads.iter_mut().enumerate() {
                keys::lead(side, index + 1, lead);
            }
        }
        keys::extras(side, &mut self.extras);
        keys::own_annotations(side, &mut self.own_annotations);
        keys::marks(side, &mut self.marks);
    }

    /// Reads the comments of a header with so many signals.
    pub(crate) fn read(file: &str, comments: &[Comment], signals: usize, notes: &mut Vec<Note>) -> Told {
        let mut hear = Hear::new(file, comments);
        let mut told = Told::default();
        told.leads.resize_with(signals, LeadLines::default);
        if !hear.lacks("") {
            told.walk(&mut hear);
        }
        let mut version = None::<String>;
        hear.item(VERSION_KEY, &mut version);
        let mut own = Stated::default();
        own.hear(&mut hear);
        let version_line = hear.line_of(VERSION_KEY);
        let (used, heard) = hear.into_used();
        notes.extend(heard);
        let mut is_used = vec![false; comments.len()];
        used.into_iter().for_each(|index| is_used[index] = true);
        let foreign =
            || comments.iter().zip(&is_used).filter(|(_, used)| !**used).map(|(comment, _)| comment);
        if let (Some(version), Some(line)) = (version, version_line)
            && version != VERSION
        {
            let comment = Comment { line, place: Where::Below, bytes: Vec::new() };
            let text =
                format!("version {} of the info strings is not known; read as version 1", shown(&version));
            comment.to_line(file, "").departure(notes, text);
        }
        for comment in foreign() {
            own.overhear(file, comment, notes);
        }
        told.subject.age = own.age.flatten();
        told.subject.sex = own.sex.flatten();
        let mut numbers = BTreeMap::new();
        let kept = foreign().map(|comment| {
            let number = numbers.entry(comment.place).or_insert(0);
            *number += 1;
            let value = match String::from_utf8(comment.bytes.clone()) {
                Ok(text) => ExtraValue::Text(text),
                Err(error) => ExtraValue::Bytes(error.into_bytes()),
            };
            Extra { format: ID.to_owned(), address: address(comment.place, *number), value }
        });
        told.extras = kept.chain(std::mem::take(&mut told.extras)).collect();
        told
    }

    /// The comments that say it, for a header of as many signals as there are entries in `leads`.
    pub(crate) fn write(mut self) -> Vec<Comment> {
        let mut foreign = self.take_foreign();
        let mut stated = Stated::default();
        for comment in &foreign {
            stated.overhear("", comment, &mut Vec::new());
        }
        let mut say = Say::default();
        stated.say(&self.subject, &mut say);
        self.walk(&mut say);
        if !say.lines.is_empty() {
            let mut first = Say::default();
            first.say(VERSION_KEY, VERSION);
            say.lines.splice(0..0, first.lines);
        }
        let own = say.lines.into_iter();
        let mut comments: Vec<Comment> =
            own.map(|line| Comment { line: 0, place: Where::Below, bytes: line.into_bytes() }).collect();
        comments.append(&mut foreign);
        comments
    }

    /// Takes out the extras that can stand as comment lines again, each where it stood.
    fn take_foreign(&mut self) -> Vec<Comment> {
        let mut numbers: BTreeMap<Where, Option<usize>> = BTreeMap::new();
        let (mut foreign, mut rest) = (Vec::new(), Vec::new());
        for extra in std::mem::take(&mut self.extras) {
            let place = if extra.format == ID { place_of(&extra.address) } else { None };
            let Some((place, number)) = place else {
                rest.push(extra);
                continue;
            };
            let bytes = match &extra.value {
                ExtraValue::Text(text) => text.as_bytes(),
                ExtraValue::Bytes(bytes) => bytes,
            };
            // Once one cannot stand as a line, the numbers of those behind it would shift.
            let next = numbers.entry(place).or_insert(Some(1));
            let fits = *next == Some(number)
                && can_stand(bytes)
                && matches!(&extra.value, ExtraValue::Text(_)) == std::str::from_utf8(bytes).is_ok()
                && place.exists(self.leads.len());
            if fits {
                *next = Some(number + 1);
                foreign.push(Comment { line: 0, place, bytes: bytes.to_owned() });
            } else {
                *next = None;
                rest.push(extra);
            }
        }
        self.extras = rest;
        foreign
    }
}

impl Where {
    fn exists(self, signals: usize) -> bool {
        !matches!(self, Where::AboveSignal(signal) if signal == 0 || signal > signals)
    }
}

/// Whether bytes are one comment line that nobody takes for a line of ours.
fn can_stand(bytes: &[u8]) -> bool {
    bytes.trim_ascii_start().first() == Some(&b'#')
        && bytes.len() <= Limits::default().text_bytes
        && !bytes.iter().any(|byte| matches!(byte, b'\n' | b'\r'))
        && take_apart(bytes).is_none_or(|(key, ..)| !keys::is_ours(&key))
}

fn address(place: Where, number: usize) -> String {
    match place {
        Where::AboveRecord => format!("comment above the record {number}"),
        Where::AboveSignal(signal) => format!("comment above signal {signal}, {number}"),
        Where::Below => format!("comment {number}"),
    }
}

/// The inverse of [`address`].
fn place_of(text: &str) -> Option<(Where, usize)> {
    let rest = text.strip_prefix("comment ")?;
    let (place, number) = if let Some(number) = rest.strip_prefix("above the record ") {
        (Where::AboveRecord, number)
    } else if let Some(rest) = rest.strip_prefix("above signal ") {
        let (signal, number) = rest.split_once(", ")?;
        (Where::AboveSignal(signal.parse().ok()?), number)
    } else {
        (Where::Below, rest)
    };
    let number = number.parse().ok()?;
    (address(place, number) == text).then_some((place, number))
}

/// Age and sex as lines state them; the inner `None` is a line that says that it says nothing.
#[derive(Default)]
struct Stated {
    age: Option<Option<Quantity>>,
    sex: Option<Option<Sex>>,
}

impl Stated {
    /// What our own lines say: `patient.age` before `age`, `patient.sex` before `sex`.
    fn hear(&mut self, hear: &mut Hear) {
        if hear.value(AGE).is_some() {
            self.age = Some(None);
            hear.item(AGE, self.age.get_or_insert_default());
        } else if hear.value(PLAIN_AGE).is_some_and(|value| plain_age(value).is_some()) {
            let mut years = None::<u32>;
            hear.item(PLAIN_AGE, &mut years);
            self.age = Some(years.map(|years| Quantity::new(i64::from(years), "a")));
        }
        if hear.value(SEX).is_some() {
            self.sex = Some(None);
            hear.item(SEX, self.sex.get_or_insert_default());
        } else if let Some(sex) = hear.value(PLAIN_SEX).and_then(plain_sex) {
            let mut word = None::<String>;
            hear.item(PLAIN_SEX, &mut word);
            self.sex = Some(Some(sex));
        }
    }

    /// Lines for what the patient's age and sex are, where the lines heard so far do not say so.
    fn say(&self, subject: &Subject, say: &mut Say) {
        let Subject { age, sex, .. } = subject;
        if *age != self.age.clone().flatten() {
            let years = age.as_ref().filter(|age| age.unit == "a").map(|age| age.value.to_string());
            match (age, years.filter(|years| plain_age(years).is_some())) {
                (_, Some(years)) => say.say(PLAIN_AGE, &years),
                (Some(_), None) => say.item(AGE, &mut age.clone()),
                (None, None) => say.lines.push(format!("#<{AGE}>:")),
            }
        }
        if *sex != self.sex.clone().flatten() {
            let plain = PLAIN_SEXES.iter().find(|(_, known)| Some(known) == sex.as_ref());
            match (sex, plain) {
                (_, Some((letter, _))) => say.say(PLAIN_SEX, letter),
                (Some(_), None) => say.item(SEX, &mut sex.clone()),
                (None, None) => say.lines.push(format!("#<{SEX}>:")),
            }
        }
    }

    /// What another's comment line says, where nothing was said before.
    fn overhear(&mut self, file: &str, comment: &Comment, notes: &mut Vec<Note>) {
        let Ok(text) = std::str::from_utf8(&comment.bytes) else { return };
        for (key, value) in foreign_pairs(text) {
            let contradiction = if key.eq_ignore_ascii_case("age") {
                let age = foreign_age(value);
                age.is_some() && self.age.get_or_insert_with(|| age.clone()) != &age
            } else {
                let sex = foreign_sex(value);
                sex.is_some() && self.sex.get_or_insert_with(|| sex.clone()) != &sex
            };
            if contradiction {
                let text = format!("states another {} than was taken: {}", key.to_lowercase(), shown(value));
                comment.to_line(file, text.as_str()).departure(notes, text.clone());
            }
        }
    }
}

/// A whole number of years as our own line spells it.
fn plain_age(text: &str) -> Option<u32> {
    text.parse().ok().filter(|years: &u32| years.to_string() == text)
}

const PLAIN_SEXES: &[(&str, Sex)] = &[("F", Sex::Female), ("M", Sex::Male), ("?", Sex::Unknown)];

fn plain_sex(text: &str) -> Option<Sex> {
    PLAIN_SEXES.iter().find(|(letter, _)| *letter == text).map(|(_, sex)| sex.clone())
}

/// The ages and sexes that a line states as `Age: 74` or `<age>: 28  <sex>: M` (survey of published records);
/// positional text such as `69 M 1085` is never taken apart.
fn foreign_pairs(line: &str) -> Vec<(&str, &str)> {
    let text = line.trim_start().trim_start_matches('#').trim();
    let is_wanted = |key: &str| key.eq_ignore_ascii_case("age") || key.eq_ignore_ascii_case("sex");
    if !text.starts_with('<') {
        let pair = text.split_once(':').map(|(key, value)| (key.trim_end(), value.trim()));
        return pair.filter(|(key, _)| is_wanted(key)).into_iter().collect();
    }
    let items = text.split('<').skip(1).filter_map(|item| {
        let (key, value) = item.split_once('>')?;
        Some((key.trim(), value.trim_start().strip_prefix(':')?.trim()))
    });
    items.filter(|(key, _)| is_wanted(key)).collect()
}

/// Words by which published records say that something is not known.
const NOT_KNOWN: &[&str] = &["?", "??", "unknown", "n/a", "nan", "-1"];

fn foreign_age(value: &str) -> Option<Quantity> {
    let is_decimal = value.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    if is_decimal { value.parse().ok().map(|value| Quantity { value, unit: "a".to_owned() }) } else { None }
}

fn foreign_sex(value: &str) -> Option<Sex> {
    let is = |word: &str| value.eq_ignore_ascii_case(word);
    if is("f") || is("female") {
        Some(Sex::Female)
    } else if is("m") || is("male") {
        Some(Sex::Male)
    } else if NOT_KNOWN.iter().any(|word| is(word)) {
        Some(Sex::Unknown)
    } else {
        None
    }
}
