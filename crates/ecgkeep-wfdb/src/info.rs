//! Our info strings, `#<key>: value`: how a line is built and taken apart (schemas/wfdb-info-strings.md).

use std::collections::BTreeMap;
use std::fmt::Write as _;

use ecgkeep_format::{Note, Weight};

use crate::as_text::AsText;
use crate::constants::INFO_LINE_BYTES;
use crate::header::{Comment, Where};

/// One side of the table of keys: [`Say`] writes what the model holds, [`Hear`] fills the model.
pub(crate) trait Side: Sized {
    /// One value.
    fn item<T: AsText>(&mut self, key: &str, slot: &mut Option<T>);

    /// Repeated things: `key`, `key[2]`, `key[3]`, each with its own parts.
    fn list<T: Default>(&mut self, key: &str, items: &mut Vec<T>, each: impl Fn(&mut Self, &str, &mut T));

    /// A thing of several parts, or nothing.
    fn some<T: Default>(&mut self, key: &str, slot: &mut Option<T>, each: impl Fn(&mut Self, &str, &mut T)) {
        let mut items: Vec<T> = slot.take().into_iter().collect();
        self.list(key, &mut items, each);
        *slot = items.into_iter().next();
    }

    /// Repeated single values.
    fn items<T: AsText + Default>(&mut self, key: &str, items: &mut Vec<T>) {
        self.list(key, items, |side, key, item| side.always(key, item));
    }

    /// A value that is always stated.
    fn always<T: AsText + Default>(&mut self, key: &str, slot: &mut T) {
        let mut some = Some(std::mem::take(slot));
        self.item(key, &mut some);
        *slot = some.unwrap_or_default();
    }

    /// A text that is stated unless it is empty.
    fn unless_empty(&mut self, key: &str, slot: &mut String) {
        let mut some = (!slot.is_empty()).then(|| std::mem::take(slot));
        self.item(key, &mut some);
        *slot = some.unwrap_or_default();
    }

    /// Whether there may be anything under keys that begin so.
    fn may_speak(&self, _start: &str) -> bool {
        true
    }

    /// Parts of a thing were heard, but not those without which it is none.
    fn incomplete(&mut self, _key: &str) {}

    /// `yes` where true.
    fn flag(&mut self, key: &str, slot: &mut bool) {
        let mut some = slot.then(|| "yes".to_owned());
        self.item(key, &mut some);
        *slot = some.is_some_and(|word| word == "yes");
    }
}

/// The part that says that a thing is there of which nothing else is stated.
const STATED: &str = "stated";
/// What stands for a text that is stated and empty; a blank value is silence.
const EMPTY: &str = "%-";

fn nth(key: &str, number: usize) -> String {
    if number == 1 { key.to_owned() } else { format!("{key}[{number}]") }
}

/// The lines that say what the model holds.
#[derive(Default)]
pub(crate) struct Say {
    /// In the order of the table, without line ends.
    pub(crate) lines: Vec<String>,
}

impl Side for Say {
    fn item<T: AsText>(&mut self, key: &str, slot: &mut Option<T>) {
        if let Some(value) = slot {
            self.say(key, &value.to_text());
        }
    }

    fn list<T: Default>(&mut self, key: &str, items: &mut Vec<T>, each: impl Fn(&mut Self, &str, &mut T)) {
        for (index, item) in items.iter_mut().enumerate() {
            let (key, before) = (nth(key, index + 1), self.lines.len());
            each(self, &key, item);
            if self.lines.len() == before {
                self.say(&format!("{key}.{STATED}"), "yes");
            }
        }
    }
}

impl Say {
    /// One value, over as many lines as it needs.
    pub(crate) fn say(&mut self, key: &str, value: &str) {
        let mut line = format!("#<{key}>: ");
        if value.is_empty() {
            self.lines.push(line + EMPTY);
            return;
        }
        let mut pieces = 0;
        let mut head = line.len();
        let mut characters = value.chars().peekable();
        while let Some(c) = characters.next() {
            let is_full = |line: &str, more: usize| line.len() + more > INFO_LINE_BYTES;
            let at_edge = line.len() == head || characters.peek().is_none() || is_full(&line, 24);
            let mut unit = String::new();
            let is_plain = matches!(c, '!'..='~') && c != '%' && !(c == '#' && at_edge);
            if is_plain || (c == ' ' && !at_edge) {
                unit.push(c);
            } else {
                let mut buffer = [0; 4];
                for byte in c.encode_utf8(&mut buffer).bytes() {
                    let _ = write!(unit, "%{byte:02X}");
                }
            }
            if is_full(&line, unit.len()) {
                pieces += 1;
                self.lines.push(std::mem::replace(&mut line, format!("#<{key}+{pieces}>: ")));
                head = line.len();
            }
            line.push_str(&unit);
        }
        self.lines.push(line);
    }
}

/// What the lines of a header say, by key.
pub(crate) struct Hear<'a> {
    file: &'a str,
    entries: BTreeMap<String, Entry>,
    /// How many values were heard that are not blank.
    heard: usize,
    notes: Vec<Note>,
}

struct Entry {
    /// Positions of its lines among the comments.
    lines: Vec<usize>,
    line: u64,
    value: String,
    was_used: bool,
}

impl Side for Hear<'_> {
    fn item<T: AsText>(&mut self, key: &str, slot: &mut Option<T>) {
        let Some(entry) = self.entries.get_mut(key) else { return };
        if entry.value.is_empty() {
            // A blank value says nothing, whatever another line may say.
            entry.was_used = true;
            *slot = None;
            return;
        }
        let value = if entry.value == EMPTY { String::new() } else { unescape(&entry.value) };
        match T::from_text(&value) {
            Some(value) => {
                entry.was_used = true;
                self.heard += 1;
                *slot = Some(value);
            }
            None => {
                let line = entry.line;
                let text = format!("the value of {key} is not {}; kept as a comment", T::EXPECTED);
                self.note(Weight::Departure, line, text);
            }
        }
    }

    fn list<T: Default>(&mut self, key: &str, items: &mut Vec<T>, each: impl Fn(&mut Self, &str, &mut T)) {
        for number in self.numbers(key) {
            let key = nth(key, number);
            let (mut item, mut stated, before) = (T::default(), None::<String>, self.heard);
            self.item(&format!("{key}.{STATED}"), &mut stated);
            each(self, &key, &mut item);
            if self.heard > before {
                items.push(item);
            }
        }
    }

    fn may_speak(&self, start: &str) -> bool {
        !self.lacks(start)
    }

    fn incomplete(&mut self, key: &str) {
        let first = self.entries.range(key.to_owned()..).find(|(found, _)| found.starts_with(key));
        let line = first.map_or(0, |(_, entry)| entry.line);
        self.note(Weight::NotTaken, line, format!("what is said of {key} is not complete and was left out"));
    }
}

impl<'a> Hear<'a> {
    /// A note at a line.
    fn note(&mut self, weight: Weight, line: u64, text: String) {
        let comment = Comment { line, place: Where::Below, bytes: Vec::new() };
        comment.to_line(self.file, "").note(weight, &mut self.notes, text);
    }

    /// The value of a key as it stands.
    pub(crate) fn value(&self, key: &str) -> Option<&str> {
        self.entries.get(key).map(|entry| entry.value.as_str())
    }

    /// Takes apart the comments of a header; those that are no line of ours are passed over.
    pub(crate) fn new(file: &'a str, comments: &[Comment]) -> Hear<'a> {
        let mut entries: BTreeMap<String, Entry> = BTreeMap::new();
        let mut notes = Vec::new();
        for (index, comment) in comments.iter().enumerate() {
            let Some((key, piece, value)) = take_apart(&comment.bytes) else { continue };
            match entries.get_mut(&key) {
                None if piece == 0 => {
                    let entry = Entry {
                        lines: vec![index],
                        line: comment.line,
                        value: value.to_owned(),
                        was_used: false,
                    };
                    entries.insert(key, entry);
                }
                Some(entry) if piece == entry.lines.len() => {
                    entry.value.push_str(value);
                    entry.lines.push(index);
                }
                _ => {
                    let text = format!("a second or stray line of {key}; kept as a comment");
                    comment.to_line(file, "").departure(&mut notes, text);
                }
            }
        }
        Hear { file, entries, heard: 0, notes }
    }

    /// Whether no line begins with such a key: then nothing needs to be looked for.
    pub(crate) fn lacks(&self, start: &str) -> bool {
        self.entries.range(start.to_owned()..).next().is_none_or(|(key, _)| !key.starts_with(start))
    }

    /// The line on which a key stands.
    pub(crate) fn line_of(&self, key: &str) -> Option<u64> {
        self.entries.get(key).map(|entry| entry.line)
    }

    /// Which comments were used, and what was noticed.
    pub(crate) fn into_used(self) -> (Vec<usize>, Vec<Note>) {
        let used = self.entries.into_values().filter(|entry| entry.was_used);
        (used.flat_map(|entry| entry.lines).collect(), self.notes)
    }

    /// The numbers in use for a repeated key, ascending.
    fn numbers(&self, key: &str) -> Vec<usize> {
        let mut numbers: Vec<usize> = self
            .entries
            .range(key.to_owned()..)
            .take_while(|(found, _)| found.starts_with(key))
            .filter_map(|(found, _)| match &found[key.len()..] {
                "" => Some(1),
                rest if rest.starts_with('.') => Some(1),
                rest => rest.strip_prefix('[')?.split_once(']')?.0.parse().ok(),
            })
            .collect();
        numbers.sort_unstable();
        numbers.dedup();
        numbers
    }
}

/// Key, number of the piece and escaped value of a line `#<key>: value` or `#<key+n>: value`.
pub(crate) fn take_apart(bytes: &[u8]) -> Option<(String, usize, &str)> {
    let text = std::str::from_utf8(bytes).ok()?.strip_prefix("#<")?;
    let (key, value) = text.split_once(">:")?;
    let (key, piece) = match key.split_once('+') {
        Some((key, piece)) => (key, piece.parse().ok().filter(|piece| *piece > 0)?),
        None => (key, 0),
    };
    is_key(key).then(|| (key.replace("[1]", ""), piece, value.trim_matches([' ', '\t'])))
}

/// `[a-z][a-z0-9.-]*`, with `[n]` behind any part.
fn is_key(key: &str) -> bool {
    let mut brackets = key.split('[');
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '.' || c == '-';
    let first = brackets.next().unwrap_or_default();
    first.starts_with(|c: char| c.is_ascii_lowercase())
        && first.chars().all(plain)
        && brackets.all(|part| {
            part.split_once(']').is_some_and(|(number, rest)| {
                matches!(number.len(), 1..=7)
                    && number.bytes().all(|b| b.is_ascii_digit())
                    && !number.starts_with('0')
                    && (rest.is_empty() || rest.starts_with('.'))
                    && rest.chars().all(plain)
            })
        })
}

/// `%XX` back to the byte; a `%` that no two hexadecimal digits follow stands for itself.
fn unescape(text: &str) -> String {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let Some((first, behind)) = rest.split_first() {
        let code = behind
            .get(..2)
            .filter(|_| *first == b'%')
            .and_then(|digits| std::str::from_utf8(digits).ok())
            .filter(|digits| digits.bytes().all(|b| b.is_ascii_hexdigit()))
            .and_then(|digits| u8::from_str_radix(digits, 16).ok());
        match code {
            Some(code) => {
                bytes.push(code);
                rest = &behind[2..];
            }
            None => {
                bytes.push(*first);
                rest = behind;
            }
        }
    }
    String::from_utf8(bytes).unwrap_or_else(|_| text.to_owned())
}
