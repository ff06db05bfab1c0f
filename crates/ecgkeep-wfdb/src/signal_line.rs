//! Signal specification lines (header(5)):
//! `file format[xS][:skew][+offset] [gain[(baseline)][/units] [adcres [adczero [init [sum [block [name]]]]]]]`.

use std::fmt::Write as _;

use ecgkeep_format::{Error, Kind, Note, Result, Weight};
use ecgkeep_recording::Exact;

use crate::constants::{MOST_PER_FRAME, PACKINGS, Packing, UNITS_BYTES};
use crate::line::{CORRECT_IT, Line, looks_numeric, shown, word};
use crate::record_line::{count, number, plain};

/// What a header says of one signal.
#[derive(Debug)]
pub(crate) struct SignalLine {
    /// The file that holds it.
    pub(crate) file: String,
    /// How its samples are packed.
    pub(crate) packing: &'static Packing,
    /// Samples in each frame, 1 or more.
    pub(crate) per_frame: usize,
    /// Frames that precede sample 0.
    pub(crate) skew: u64,
    /// Bytes that precede the first frame.
    pub(crate) offset_bytes: u64,
    /// Counts per physical unit, not zero; `None` where it is 0 or absent: uncalibrated.
    pub(crate) gain: Option<Exact>,
    /// The count that stands for 0 physical units.
    pub(crate) baseline: i32,
    /// The physical unit; `None` for the default, millivolts.
    pub(crate) units: Option<String>,
    /// ADC resolution in bits; 0 where it is not stated.
    pub(crate) adc_resolution: i64,
    /// The middle of the ADC's range; 0 where it is not stated.
    pub(crate) adc_zero: i64,
    /// The first sample as stored.
    pub(crate) initial: Option<i64>,
    /// The sum of all samples, to be compared modulo 65536.
    pub(crate) checksum: Option<i64>,
    /// The signal's name.
    pub(crate) description: Option<String>,
}

impl SignalLine {
    /// Reads the line.
    /// # Errors
    /// [`Kind::Malformed`] with line and field; [`Kind::Unsupported`] for an unknown storage format.
    pub(crate) fn read(line: &Line, notes: &mut Vec<Note>) -> Result<SignalLine> {
        let (file, rest) = word(line.text).ok_or_else(|| line.malformed("the signal line is empty"))?;
        let Some((format, rest)) = word(rest) else {
            return Err(line.malformed("the signal line ends before the storage format"));
        };
        let mut signal = read_format(line, file, format, notes)?;
        let mut fields = Fields { line, rest, text_in_front: false };
        let baseline = match fields.next_if(is_scale) {
            Some(scale) => read_scale(line, scale, &mut signal)?,
            None => None,
        };
        if fields.rest.starts_with('(') {
            let found = word(fields.rest).map_or("", |(found, _)| found);
            return Err(line.wrong("baseline", found, "no blank between gain and baseline"));
        }
        signal.adc_resolution = fields.integer("ADC resolution")?.unwrap_or(0);
        signal.adc_zero = fields.integer("ADC zero")?.unwrap_or(0);
        signal.initial = fields.integer("initial value")?;
        signal.checksum = fields.integer("checksum")?;
        let block_size = fields.integer("block size")?.unwrap_or(0);
        if block_size != 0 {
            let text = format!("the block size {block_size} was not kept: it is about tapes and devices");
            line.note(Weight::NotTaken, notes, text);
        }
        if fields.text_in_front {
            let text = format!("the description {} stands before all numbers were given", shown(fields.rest));
            line.departure(notes, text);
        }
        let description = fields.rest.trim_end_matches([' ', '\t']);
        signal.description = (!description.is_empty()).then(|| description.to_owned());
        let baseline = baseline.unwrap_or(signal.adc_zero);
        signal.baseline = i32::try_from(baseline)
            .map_err(|_| line.wrong("baseline", &baseline.to_string(), "a number of at most 32 bits"))?;
        Ok(signal)
    }

    /// The line as text, every field in full, without its line feed.
    pub(crate) fn to_text(&self) -> String {
        let mut text = format!("{} {}", self.file, self.packing.number);
        if self.per_frame > 1 {
            let _ = write!(text, "x{}", self.per_frame);
        }
        let gain = self.gain.map_or_else(|| "0".to_owned(), plain);
        let _ = write!(text, " {gain}({})", self.baseline);
        if let Some(units) = &self.units {
            let _ = write!(text, "/{units}");
        }
        let (initial, checksum) = (self.initial.unwrap_or(0), self.checksum.unwrap_or(0));
        let _ = write!(text, " {} {} {initial} {checksum} 0", self.adc_resolution, self.adc_zero);
        if let Some(description) = &self.description {
            let _ = write!(text, " {description}");
        }
        text
    }
}

/// The fields of a signal line after the storage format.
struct Fields<'l, 'a> {
    line: &'l Line<'a>,
    rest: &'a str,
    /// Whether a text stood where a number was due: it is the description then.
    text_in_front: bool,
}

impl<'a> Fields<'_, 'a> {
    fn next_if(&mut self, is_wanted: impl Fn(&str) -> bool) -> Option<&'a str> {
        let (found, rest) = word(self.rest)?;
        if is_wanted(found) {
            self.rest = rest;
            return Some(found);
        }
        self.text_in_front = true;
        None
    }

    fn integer(&mut self, what: &str) -> Result<Option<i64>> {
        if self.text_in_front {
            return Ok(None);
        }
        let is_integer = |word: &str| word.parse::<i64>().is_ok();
        let is_a_number = |word: &str| looks_numeric(word) && word.parse::<f64>().is_ok();
        match self.next_if(|word| is_integer(word) || is_a_number(word)) {
            Some(found) => match found.parse() {
                Ok(value) => Ok(Some(value)),
                Err(_) => Err(self.line.wrong(what, found, "a whole number")),
            },
            None => Ok(None),
        }
    }
}

/// `format[xS][:skew][+offset]`.
fn read_format(line: &Line, file: &str, found: &str, notes: &mut Vec<Note>) -> Result<SignalLine> {
    let mut rest = found;
    let mut take = |what: &str| {
        let end = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
        let value =
            if end == 0 { Err(line.wrong(what, found, "a number")) } else { count(line, what, &rest[..end]) };
        rest = &rest[end..];
        let mark = rest.chars().next();
        rest = mark.map_or("", |mark| &rest[mark.len_utf8()..]);
        value.map(|value| (value, mark))
    };
    let (format, mut mark) = take("storage format")?;
    let packing = PACKINGS.iter().find(|packing| usize::from(packing.number) == format);
    let packing = packing.filter(|_| format == 0 || !found.starts_with('0')).ok_or_else(|| {
        let known: Vec<String> = PACKINGS.iter().map(|packing| packing.number.to_string()).collect();
        Error::new(Kind::Unsupported, format!("the storage format {} is not known", shown(found)))
            .at(line.place.clone())
            .clause(line.clause)
            .remedy(format!("storage formats read are {}", known.join(", ")))
    })?;
    let (mut per_frame, mut skew, mut offset) = (None, None, None);
    let mut order = Vec::new();
    while let Some(letter) = mark {
        let (what, slot) = match letter {
            'x' => ("number of samples per frame", &mut per_frame),
            ':' => ("skew", &mut skew),
            '+' => ("byte offset", &mut offset),
            _ => return Err(line.wrong("storage format", found, "a number, then x, : or + and a number")),
        };
        let value;
        (value, mark) = take(what)?;
        if slot.replace(value).is_some() {
            return Err(line.malformed(format!("the {what} is given twice: {}", shown(found))));
        }
        order.push(letter);
    }
    if !order.is_sorted_by_key(|letter| "x:+".find(*letter)) {
        line.departure(notes, format!("the storage format {} is not in the order x, :, +", shown(found)));
    }
    let per_frame = per_frame.unwrap_or(1);
    if per_frame == 0 || per_frame > MOST_PER_FRAME {
        let expected = format!("1 to {MOST_PER_FRAME}");
        return Err(line.wrong("number of samples per frame", &per_frame.to_string(), &expected));
    }
    Ok(SignalLine {
        file: file.to_owned(),
        packing,
        per_frame,
        skew: skew.unwrap_or(0) as u64,
        offset_bytes: offset.unwrap_or(0) as u64,
        gain: None,
        baseline: 0,
        units: None,
        adc_resolution: 0,
        adc_zero: 0,
        initial: None,
        checksum: None,
        description: None,
    })
}

/// Whether a word stands where the gain does; `inf` and `NaN` are numbers to be refused, not descriptions.
fn is_scale(word: &str) -> bool {
    let first = word.split(['(', '/']).next().unwrap_or_default();
    let unsigned = first.trim_start_matches(['-', '+']);
    let is_no_number = ["inf", "infinity", "nan"].iter().any(|name| unsigned.eq_ignore_ascii_case(name));
    looks_numeric(word) || word.starts_with(['/', '(']) || is_no_number
}

/// `gain[(baseline)][/units]`; gives the baseline where it is stated.
fn read_scale(line: &Line, found: &str, signal: &mut SignalLine) -> Result<Option<i64>> {
    let (scale, units) = found.split_once('/').map_or((found, None), |(scale, units)| (scale, Some(units)));
    if let Some(units) = units {
        if units.is_empty() || units.len() > UNITS_BYTES || units.contains(['(', ')']) {
            let error =
                line.wrong("unit", units, "gain, then the baseline in parentheses, then / and the unit");
            return Err(error.remedy(CORRECT_IT));
        }
        signal.units = Some(units.to_owned());
    }
    let (gain, baseline) = match scale.split_once('(') {
        Some((gain, baseline)) => {
            let inner = baseline.strip_suffix(')');
            let value = inner.and_then(|value| value.parse::<i64>().ok());
            let expected = "a whole number in parentheses";
            (gain, Some(value.ok_or_else(|| line.wrong("baseline", &format!("({baseline}"), expected))?))
        }
        None => (scale, None),
    };
    if !gain.is_empty() {
        let gain = number(line, "gain", gain)?;
        signal.gain = (!gain.is_zero()).then_some(gain);
    }
    Ok(baseline)
}
