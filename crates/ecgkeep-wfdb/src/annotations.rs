//! Annotation files in MIT format (annot(5)), both directions side by side.
//!
//! A file is a sequence of 16-bit words, low byte first: a code in the top six bits, a number in the other ten.

use ecgkeep_recording::Exact;

use crate::constants::{
    AUX, CHN, DEFINITIONS, END_OF_DEFINITIONS, LAST_CODE, LAST_DEFINED, MOST_INTERVAL, NOTE, NUM, RESOLUTION,
    SKIP, SUB,
};

/// One annotation.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Annotation {
    /// Ticks from the start of the record: frames, unless the file states a resolution.
    pub(crate) time: i64,
    /// What is annotated, 1 to 58.
    pub(crate) code: u8,
    /// Subtype.
    pub(crate) sub: i8,
    /// Channel: a signal number, counted from 0.
    pub(crate) chan: u8,
    /// Number.
    pub(crate) num: i8,
    /// Text, word for word.
    pub(crate) aux: Vec<u8>,
}

/// An annotation file.
#[derive(Clone, Debug, Default)]
pub(crate) struct Annotations {
    /// The annotations, in the order of the file.
    pub(crate) all: Vec<Annotation>,
    /// Ticks per second, word for word, where the file states them.
    pub(crate) resolution: Option<String>,
    /// The file's own codes, word for word: `42 PON P onset`.
    pub(crate) definitions: Vec<String>,
    /// What departs from the format, with the byte.
    pub(crate) departures: Vec<(u64, String)>,
    /// Whether its words run to an end mark, and nothing stands behind it.
    pub(crate) is_sound: bool,
}

/// More annotations than may be read.
#[derive(Debug)]
pub(crate) struct TooMany;

impl Annotations {
    /// Reads a file as far as it is one.
    /// # Errors
    /// [`TooMany`] where there are more than `limit`.
    pub(crate) fn read(bytes: &[u8], limit: usize) -> Result<Annotations, TooMany> {
        let mut read = Annotations::default();
        let mut words = Words { bytes, at: 0 };
        let (mut time, mut num, mut chan) = (0i64, 0i8, 0u8);
        // modifiers that follow no annotation change only what carries on
        let mut current: Option<Annotation> = None;
        loop {
            let at = words.at as u64;
            let Some(word) = words.next() else {
                read.departures.push((at, "the file does not end with the end mark".to_owned()));
                break;
            };
            if word == 0 {
                let rest = &bytes[words.at..];
                read.is_sound = rest.iter().all(|byte| *byte == 0) && rest.len().is_multiple_of(2);
                if !read.is_sound {
                    let text = format!("{} bytes after the end mark were not read", rest.len());
                    read.departures.push((words.at as u64, text));
                }
                break;
            }
            let (code, number) = ((word >> 10) as u8, word & MOST_INTERVAL);
            let [low, _] = number.to_le_bytes();
            let step = match code {
                SKIP => words.skip().map(i64::from),
                NUM => {
                    num = low.cast_signed();
                    current.iter_mut().for_each(|annotation| annotation.num = num);
                    continue;
                }
                SUB => {
                    current.iter_mut().for_each(|annotation| annotation.sub = low.cast_signed());
                    continue;
                }
                CHN => {
                    chan = low;
                    current.iter_mut().for_each(|annotation| annotation.chan = chan);
                    continue;
                }
                AUX => {
                    let Some(text) = words.text(usize::from(number)) else {
                        read.departures.push((at, "a text that runs beyond the end of the file".to_owned()));
                        break;
                    };
                    current.iter_mut().for_each(|annotation| annotation.aux = text.to_owned());
                    continue;
                }
                _ => Some(i64::from(number)),
            };
            let Some(next) = step.and_then(|step| time.checked_add(step)) else {
                read.departures.push((at, "a time that cannot be counted".to_owned()));
                break;
            };
            time = next;
            if code == SKIP {
                continue;
            }
            read.take(current.take(), limit)?;
            // annot(5): code 0 with an interval is no annotation, it only moves the time
            current = (code != 0).then(|| Annotation { time, code, chan, num, ..Annotation::default() });
            if code > LAST_DEFINED {
                read.departures.push((at, format!("annotation code {code} is above {LAST_DEFINED}")));
            }
        }
        read.take(current, limit)?;
        read.take_notes();
        Ok(read)
    }

    fn take(&mut self, annotation: Option<Annotation>, limit: usize) -> Result<(), TooMany> {
        if self.all.len() >= limit && annotation.is_some() {
            return Err(TooMany);
        }
        self.all.extend(annotation);
        Ok(())
    }

    /// Takes out the notes at time 0 that are about the file itself.
    fn take_notes(&mut self) {
        let mut in_definitions = false;
        let (resolution, definitions) = (&mut self.resolution, &mut self.definitions);
        self.all.retain(|annotation| {
            if annotation.code != NOTE || annotation.time != 0 {
                return true;
            }
            let Ok(text) = std::str::from_utf8(&annotation.aux) else { return true };
            if let Some(ticks) = text.strip_prefix(RESOLUTION) {
                let is_number = ticks.trim().parse::<Exact>().is_ok_and(|ticks| ticks > Exact::ZERO);
                if is_number && resolution.is_none() {
                    *resolution = Some(ticks.to_owned());
                    return false;
                }
                return true;
            }
            match text {
                DEFINITIONS => in_definitions = true,
                END_OF_DEFINITIONS if in_definitions => in_definitions = false,
                definition if in_definitions => definitions.push(definition.to_owned()),
                _ => return true,
            }
            false
        });
    }

    /// The file as bytes; annotations in the order given.
    pub(crate) fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(self.all.len() * 4 + 2);
        let note =
            |text: &str| Annotation { code: NOTE, aux: text.as_bytes().to_vec(), ..Annotation::default() };
        let mut head = Vec::new();
        head.extend(self.resolution.iter().map(|ticks| note(&format!("{RESOLUTION}{ticks}"))));
        if !self.definitions.is_empty() {
            head.push(note(DEFINITIONS));
            head.extend(self.definitions.iter().map(|definition| note(definition)));
            head.push(note(END_OF_DEFINITIONS));
        }
        let (mut time, mut num, mut chan) = (0, 0, 0);
        for annotation in head.iter().chain(&self.all) {
            put_step(&mut bytes, annotation.code, annotation.time.saturating_sub(time));
            time = annotation.time;
            let mut put = |code: u8, number: u8| put_word(&mut bytes, code, u16::from(number));
            if annotation.sub != 0 {
                put(SUB, annotation.sub.cast_unsigned());
            }
            if annotation.chan != chan {
                chan = annotation.chan;
                put(CHN, chan);
            }
            if annotation.num != num {
                num = annotation.num;
                put(NUM, num.cast_unsigned());
            }
            if !annotation.aux.is_empty() {
                let count = u16::try_from(annotation.aux.len()).unwrap_or(MOST_INTERVAL).min(MOST_INTERVAL);
                put_word(&mut bytes, AUX, count);
                bytes.extend_from_slice(&annotation.aux[..usize::from(count)]);
                if count % 2 == 1 {
                    bytes.push(0);
                }
            }
        }
        bytes.extend([0, 0]);
        bytes
    }
}

fn put_word(bytes: &mut Vec<u8>, code: u8, number: u16) {
    bytes.extend((u16::from(code) << 10 | number).to_le_bytes());
}

/// An annotation word, after as many SKIPs as its distance needs.
fn put_step(bytes: &mut Vec<u8>, code: u8, distance: i64) {
    match u16::try_from(distance) {
        Ok(near) if near <= MOST_INTERVAL => put_word(bytes, code, near),
        _ => {
            let mut left = distance;
            while left != 0 {
                let step = i32::try_from(left).unwrap_or(if left < 0 { i32::MIN } else { i32::MAX });
                put_word(bytes, SKIP, 0);
                let [a, b, c, d] = step.to_le_bytes();
                bytes.extend([c, d, a, b]);
                left -= i64::from(step);
            }
            put_word(bytes, code, 0);
        }
    }
}

struct Words<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Words<'a> {
    fn next(&mut self) -> Option<u16> {
        let word = self.bytes.get(self.at..self.at + 2)?;
        self.at += 2;
        Some(u16::from_le_bytes([word[0], word[1]]))
    }

    /// annot(5), SKIP: a signed 32-bit interval, the high word first.
    fn skip(&mut self) -> Option<i32> {
        let (high, low) = (self.next()?, self.next()?);
        Some((u32::from(high) << 16 | u32::from(low)).cast_signed())
    }

    /// annot(5), AUX: so many bytes and a padding byte where they are odd.
    fn text(&mut self, count: usize) -> Option<&'a [u8]> {
        let text = self.bytes.get(self.at..self.at + count)?;
        self.at = (self.at + count.next_multiple_of(2)).min(self.bytes.len());
        Some(text)
    }
}

const _: () = assert!(LAST_CODE < SKIP);
