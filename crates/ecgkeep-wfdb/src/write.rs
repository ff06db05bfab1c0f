//! A recording to the files of a record: the mirror of `read`.

use std::borrow::Cow;

use ecgkeep_format::{Error, File, Kind, OptionSpec, Options, Result};
use ecgkeep_recording::{
    CivilTime, Exact, Extra, ExtraValue, Lead, Mark, Recording, Signal, TimeOfDay, Waveform, WaveformKind,
};

use crate::annotators;
use crate::comments::Told;
use crate::constants::{
    FILE_AND_DESCRIPTION, FRACTION_DIGITS, ID, LINE_BYTES, MOST_PER_FRAME, Packing, RECORD_LINE, SIGNAL_FILE,
    STEM_BYTES,
};
use crate::header::Header;
use crate::keys::{LeadLines, WaveLines};
use crate::marks::{Setting, Timing};
use crate::packing::{AUTOMATIC, WRITTEN};
use crate::read::{ADC_RESOLUTION, ADC_ZERO, BASE_COUNTER, COUNTER, lead, numbers_to_text};
use crate::record_line::{RecordLine, plain, whole_date};
use crate::samples::{checksum, encode};
use crate::scale::Scale;
use crate::signal_line::SignalLine;
use crate::waveforms::{kind_to_text, members_by_rate};

/// How the samples are stored.
pub(crate) const STORAGE: OptionSpec = OptionSpec {
    name: "storage",
    values: &["auto", "16", "24", "32", "80", "212"],
    default: "auto",
    help: "storage format of the signal file; auto is the smallest of 16, 24 and 32 that holds the samples",
};

/// Writes `stem.dat` and `stem.hea`.
pub(crate) fn encode_record(recordings: &[Recording], stem: &str, options: &Options) -> Result<Vec<File>> {
    let [recording] = recordings else {
        let text = format!("a WFDB record holds one recording, not {}", recordings.len());
        return Err(Error::new(Kind::Refused, text).remedy("write each recording to a record of its own"));
    };
    check_stem(stem)?;
    let plan = Plan::of(recording);
    let packing = choose(&plan, options.get(&STORAGE))?;
    let signals = plan.stored(packing);
    let (header, annotations) = header(recording, stem, packing, &plan, &signals)?;
    let mut files = Vec::new();
    if !signals.is_empty() {
        let slices: Vec<&[i32]> = signals.iter().map(AsRef::as_ref).collect();
        let bytes = encode(&slices, packing, &plan.per_frame(), plan.frames);
        files.push(File { name: signal_file(stem), bytes });
    }
    files.extend(annotations);
    files.push(File { name: format!("{stem}.hea"), bytes: header.to_bytes() });
    Ok(files)
}

fn signal_file(stem: &str) -> String {
    format!("{stem}.dat")
}

fn check_stem(stem: &str) -> Result<()> {
    let is_plain = |b: u8| b.is_ascii_alphanumeric() || b == b'_';
    if (1..=STEM_BYTES).contains(&stem.len()) && stem.bytes().all(is_plain) {
        return Ok(());
    }
    let text = format!("a WFDB record cannot be named {stem:?}");
    Err(Error::new(Kind::Usage, text)
        .clause(RECORD_LINE)
        .remedy(format!("use 1 to {STEM_BYTES} letters, digits and underscores")))
}

/// The waveforms that one record holds: those that last equally long, each with a whole number of samples in a
/// frame.
struct Plan<'a> {
    /// The waveforms with their samples per frame.
    waveforms: Vec<(&'a Waveform, usize)>,
    /// Frames of the record.
    frames: usize,
    /// Frames per second; zero without waveforms.
    rate: Exact,
}

impl<'a> Plan<'a> {
    /// The first rhythm, or the first waveform, and all that last as long.
    fn of(recording: &'a Recording) -> Plan<'a> {
        let Some(first) = recording.rhythm().next().or(recording.waveforms.first()) else {
            return Plan { waveforms: Vec::new(), frames: 0, rate: Exact::ZERO };
        };
        let lasts_as_long = |waveform: &&Waveform| {
            let lengths = [waveform.length(), first.length()]
                .map(|length| Exact::whole(length.try_into().unwrap_or(i64::MAX)));
            let (a, b) = (waveform.rate().per_second(), first.rate().per_second());
            if first.length() == 0 {
                waveform.length() == 0 && a == b
            } else {
                lengths[0].times(b) == lengths[1].times(a)
            }
        };
        let fitting: Vec<&Waveform> = recording.waveforms.iter().filter(lasts_as_long).collect();
        let frames = fitting.iter().fold(0, |frames, waveform| common_divisor(frames, waveform.length()));
        let per_frame = |waveform: &Waveform| waveform.length().checked_div(frames).unwrap_or(1);
        let plan = Plan {
            waveforms: fitting.iter().map(|waveform| (*waveform, per_frame(waveform))).collect(),
            frames,
            rate: first.rate().per_second(),
        };
        let whole = |count: usize| Exact::whole(count.try_into().unwrap_or(i64::MAX));
        match plan.rate.over(whole(per_frame(first))) {
            Some(rate) if plan.waveforms.iter().all(|(_, count)| *count <= MOST_PER_FRAME) => {
                Plan { rate, ..plan }
            }
            _ => Plan { waveforms: vec![(first, 1)], frames: first.length(), ..plan },
        }
    }

    fn signals(&self) -> impl Iterator<Item = &'a Signal> {
        self.waveforms.iter().flat_map(|(waveform, _)| waveform.signals())
    }

    /// The marks, each with the number of its waveform.
    fn marks(&self) -> Vec<(usize, &'a Mark)> {
        let each = |(wave, (waveform, _)): (usize, &(&'a Waveform, usize))| {
            waveform.marks.iter().map(move |mark| (wave, mark))
        };
        self.waveforms.iter().enumerate().flat_map(each).collect()
    }

    /// What the annotations refer to.
    fn setting(&self) -> Setting {
        let leads = self.waveforms.iter().enumerate().flat_map(|(wave, (waveform, _))| {
            waveform.signals().iter().map(move |signal| (wave, signal.lead.clone()))
        });
        let timing = |(waveform, per_frame): &(&Waveform, usize)| Timing {
            per_frame: *per_frame,
            rate: waveform.rate().per_second(),
            before: 0,
        };
        Setting { signals: leads.collect(), waves: self.waveforms.iter().map(timing).collect() }
    }

    /// Samples per frame, one entry per signal.
    fn per_frame(&self) -> Vec<usize> {
        let each = |(waveform, count): &(&Waveform, usize)| vec![*count; waveform.signals().len()];
        self.waveforms.iter().flat_map(each).collect()
    }

    /// The signals' samples as they are stored: invalid codes where samples are missing.
    fn stored(&self, packing: &Packing) -> Vec<Cow<'a, [i32]>> {
        let each = |signal: &'a Signal| {
            let mut samples = Cow::Borrowed(signal.samples.as_slice());
            if let Some(invalid) = packing.invalid {
                signal.missing.iter().for_each(|span| samples.to_mut()[span.start..span.end].fill(invalid));
            }
            samples
        };
        self.signals().map(each).collect()
    }
}

fn common_divisor(mut a: usize, mut b: usize) -> usize {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// The storage format asked for, or the smallest that holds every sample.
fn choose(plan: &Plan, asked: &str) -> Result<&'static Packing> {
    let (mut least, mut most) = (0, 0);
    for signal in plan.signals() {
        // missing samples hold 0, which every format holds
        least = signal.samples.iter().copied().fold(least, i32::min);
        most = signal.samples.iter().copied().fold(most, i32::max);
    }
    let holds = |packing: &&&Packing| packing.range.0 <= least && most <= packing.range.1;
    let is_asked = |packing: &&&Packing| packing.number.to_string() == asked;
    let found = match asked {
        "auto" => AUTOMATIC.iter().find(holds),
        _ => WRITTEN.iter().find(is_asked).filter(holds),
    };
    found.copied().ok_or_else(|| {
        let which = if asked == "auto" {
            "no storage format".to_owned()
        } else {
            format!("storage format {asked} cannot")
        };
        let verb = if asked == "auto" { " holds" } else { " hold" };
        Error::new(
            Kind::Refused,
            format!("{which}{verb} samples from {least} to {most} beside its code for a missing sample"),
        )
        .clause(SIGNAL_FILE)
        .remedy(if asked == "auto" { "write another format" } else { "leave the choice to auto" })
    })
}

fn header(
    recording: &Recording,
    stem: &str,
    packing: &'static Packing,
    plan: &Plan,
    stored: &[Cow<[i32]>],
) -> Result<(Header, Vec<File>)> {
    let mut told = Told {
        subject: recording.subject.clone(),
        acquisition: recording.acquisition.clone(),
        measurements: recording.measurements.clone(),
        statements: recording.statements.clone(),
        extras: recording.extras.clone(),
        waves: wave_lines(plan),
        ..Told::default()
    };
    let mut header = Header { record: record_line(stem, plan), ..Header::default() };
    let file = signal_file(stem);
    for ((signal, samples), per_frame) in plan.signals().zip(stored).zip(plan.per_frame()) {
        let mut line = SignalLine {
            file: file.clone(),
            packing,
            per_frame,
            skew: 0,
            offset_bytes: 0,
            gain: None,
            baseline: 0,
            units: None,
            adc_resolution: 0,
            adc_zero: 0,
            initial: samples.first().map(|first| i64::from(*first)),
            checksum: Some(i64::from(checksum(samples).cast_signed())),
            description: None,
        };
        let mut lines = LeadLines { derived: signal.derived, skew: signal.skew, ..LeadLines::default() };
        let scale = Scale { step: signal.step, offset: signal.offset, unit: signal.unit.clone() };
        scale.write(&mut line, &mut lines).map_err(|error| error.within(format!("lead {}", signal.lead)))?;
        describe(signal, &mut line, &mut lines, &header);
        header.signals.push((0, line));
        told.leads.push(lines);
    }
    take_extras(&mut told.extras, &mut header);
    take_start(recording.acquisition.start, &mut told, &mut header.record);
    let made = annotators::write(stem, &plan.marks(), &plan.setting(), &mut told.extras);
    (told.own_annotations, told.marks) = (made.has_own, made.lines);
    header.comments = told.write();
    Ok((header, made.files))
}

fn record_line(stem: &str, plan: &Plan) -> RecordLine {
    RecordLine {
        name: stem.to_owned(),
        signals: plan.per_frame().len(),
        rate: if plan.waveforms.is_empty() {
            Exact::whole(crate::constants::DEFAULT_RATE)
        } else {
            plan.rate
        },
        frames: u64::try_from(plan.frames).ok().filter(|frames| *frames > 0),
        ..RecordLine::default()
    }
}

/// Lines for what the reader would not find out by itself of the waveforms.
fn wave_lines(plan: &Plan) -> Vec<WaveLines> {
    let per_frame = plan.per_frame();
    let mut ranges = Vec::new();
    for (waveform, _) in &plan.waveforms {
        let next = ranges.last().map_or(0, |(_, end)| *end);
        ranges.push((next, next + waveform.signals().len()));
    }
    let found: Vec<Vec<usize>> = ranges.iter().map(|(start, end)| (*start..*end).collect()).collect();
    let is_plain = found == members_by_rate(&per_frame);
    let each = |((waveform, count), (start, end)): (&(&Waveform, usize), &(usize, usize))| {
        let whole = Exact::whole((*count).try_into().unwrap_or(i64::MAX));
        let read: Option<Exact> = plain(plan.rate).parse::<Exact>().ok().and_then(|rate| rate.times(whole));
        let rate = waveform.rate().per_second();
        WaveLines {
            leads: Some(format!("{}-{end}", start + 1)),
            kind: (waveform.kind != WaveformKind::Rhythm).then(|| kind_to_text(&waveform.kind)),
            start: (!waveform.start.is_zero()).then_some(waveform.start),
            rate: (read != Some(rate)).then_some(rate),
        }
    };
    let lines: Vec<WaveLines> = plan.waveforms.iter().zip(&ranges).map(each).collect();
    let says_nothing =
        |lines: &WaveLines| lines.kind.is_none() && lines.start.is_none() && lines.rate.is_none();
    if is_plain && lines.iter().all(says_nothing) { Vec::new() } else { lines }
}

/// The description: the source's own spelling of the lead, or its name; lines of ours where neither can stand.
fn describe(signal: &Signal, line: &mut SignalLine, lines: &mut LeadLines, header: &Header) {
    let wanted = signal.label.clone().unwrap_or_else(|| signal.lead.name());
    let room =
        FILE_AND_DESCRIPTION.min(LINE_BYTES - 1 - line.to_text().len()).saturating_sub(line.file.len() + 1);
    let is_taken =
        |text: &str| header.signals.iter().any(|(_, other)| other.description.as_deref() == Some(text));
    let can_stand = !wanted.is_empty()
        && wanted.len() <= room
        && wanted.bytes().all(|b| matches!(b, b' '..=b'~'))
        && wanted.trim() == wanted
        && !is_taken(&wanted);
    let (found, label) = lead(Some(&wanted), "", 0, &LeadLines::default());
    if can_stand && found.name() == signal.lead.name() && label == signal.label {
        line.description = Some(wanted);
        return;
    }
    let name = signal.lead.name();
    if Lead::from_name(&name).name() == name {
        lines.name = Some(Lead::from_name(&name));
    } else {
        lines.other_name = Some(name);
    }
    lines.label = signal.label.clone();
    let plain: String = wanted
        .chars()
        .map(|c| if matches!(c, '!'..='~') { c } else { '_' })
        .take(room.saturating_sub(8))
        .collect();
    let plain = if plain.is_empty() { "signal".to_owned() } else { plain };
    let numbered = (2..).map(|number| format!("{plain} ({number})"));
    line.description = std::iter::once(plain.clone()).chain(numbered).find(|text| !is_taken(text));
}

/// Puts back into the header the fields that the model does not name, where they fit.
fn take_extras(extras: &mut Vec<Extra>, header: &mut Header) {
    let signals = header.signals.len();
    let mut seen: Vec<String> = Vec::new();
    extras.retain(|extra| {
        let ExtraValue::Text(text) = &extra.value else { return true };
        if extra.format != ID || seen.contains(&extra.address) {
            return true;
        }
        seen.push(extra.address.clone());
        let is_number = |text: &str| text.parse::<Exact>().is_ok() && !text.contains('/');
        let numbers = || -> Option<Vec<i64>> {
            let values: Vec<i64> = text.split(' ').map(|word| word.parse().ok()).collect::<Option<_>>()?;
            let values = if values.len() == 1 { vec![values[0]; signals] } else { values };
            (values.len() == signals && numbers_to_text(&values).as_ref() == Some(text)).then_some(values)
        };
        match extra.address.as_str() {
            COUNTER if is_number(text) => header.record.counter = Some(text.clone()),
            BASE_COUNTER if is_number(text) && header.record.counter.is_some() => {
                header.record.base_counter = Some(text.clone());
            }
            ADC_RESOLUTION | ADC_ZERO => {
                let Some(values) = numbers() else { return true };
                for ((_, signal), value) in header.signals.iter_mut().zip(values) {
                    match extra.address.as_str() {
                        ADC_ZERO => signal.adc_zero = value,
                        _ => signal.adc_resolution = value,
                    }
                }
            }
            _ => return true,
        }
        false
    });
}

/// Date and time into the record line as far as it holds them; all of it into a line of ours where that is more.
fn take_start(start: CivilTime, told: &mut Told, record: &mut RecordLine) {
    let CivilTime { date, time, offset_minutes } = start;
    let fits = |time: &TimeOfDay| {
        let digits =
            time.fraction().and_then(Exact::to_short_decimal).map_or(0, |text| text.len().saturating_sub(2));
        time.second().is_some() && digits <= FRACTION_DIGITS
    };
    if record.frames.is_some() {
        record.time = time.filter(fits);
        let is_dated = record.time.is_some();
        record.date = date.filter(|date| is_dated && whole_date(*date).is_some());
    }
    // the guide's example of "not stated" would be read as such
    let is_zero =
        record.time.is_some_and(|time| time.to_string().bytes().all(|b| matches!(b, b'0' | b':' | b'.')));
    let is_held = record.time == time && record.date == date && offset_minutes.is_none() && !is_zero;
    if !is_held {
        match time {
            None => {
                told.datetime = date.map(|date| CivilTime { date: Some(date), ..CivilTime::default() });
                told.utc_offset = offset_minutes;
            }
            Some(_) => told.datetime = Some(start),
        }
    }
}
