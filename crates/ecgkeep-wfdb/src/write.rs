//! A recording to the files of a record: the mirror of `read`.

use std::borrow::Cow;

use ecgkeep_format::{Error, File, Kind, Limits, OptionSpec, Options, Result};
use ecgkeep_recording::{CivilTime, Exact, Extra, ExtraValue, Lead, Recording, Signal, TimeOfDay};

use crate::annotators;
use crate::comments::Told;
use crate::constants::{
    AUTOMATIC, FILE_AND_DESCRIPTION, FRACTION_DIGITS, ID, INFO_STRINGS, LINE_BYTES, MOST_COMMENTS, Packing,
    RECORD_LINE, SIGNAL_FILE, STEM_BYTES, WRITTEN,
};
use crate::header::Header;
use crate::keys::LeadLines;
use crate::plan::Plan;
use crate::read::{ADC_RESOLUTION, ADC_ZERO, BASE_COUNTER, COUNTER, lead, numbers_to_text};
use crate::record_line::{RecordLine, whole_date};
use crate::samples::{checksum, encode};
use crate::scale::Scale;
use crate::signal_line::SignalLine;

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
    check_counts(&plan)?;
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

/// What no reader of ours would take back is not written.
fn check_counts(plan: &Plan) -> Result<()> {
    let limits = Limits::default();
    let counts =
        [("signals", plan.signals().count(), limits.signals), ("marks", plan.marks().len(), limits.marks)];
    match counts.into_iter().find(|(_, count, limit)| count > limit) {
        Some((what, count, limit)) => {
            let text = format!("{count} {what}, more than the limit of {limit}");
            Err(Error::new(Kind::Refused, text).clause(RECORD_LINE))
        }
        None => Ok(()),
    }
}

fn signal_file(stem: &str) -> String {
    format!("{stem}.dat")
}

pub(crate) fn check_stem(stem: &str) -> Result<()> {
    let is_plain = |b: u8| b.is_ascii_alphanumeric() || b == b'_';
    if (1..=STEM_BYTES).contains(&stem.len()) && stem.bytes().all(is_plain) {
        return Ok(());
    }
    let text = format!("a WFDB record cannot be named {stem:?}");
    Err(Error::new(Kind::Usage, text)
        .clause(RECORD_LINE)
        .remedy(format!("use 1 to {STEM_BYTES} letters, digits and underscores")))
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
        waves: plan.wave_lines(),
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
    if header.comments.len() > MOST_COMMENTS {
        let text = format!("{} comment lines, more than the limit of {MOST_COMMENTS}", header.comments.len());
        return Err(Error::new(Kind::Refused, text).clause(INFO_STRINGS));
    }
    Ok((header, made.files))
}

fn record_line(stem: &str, plan: &Plan) -> RecordLine {
    RecordLine {
        name: stem.to_owned(),
        signals: plan.per_frame().len(),
        rate: if plan.rate.is_zero() { Exact::whole(crate::constants::DEFAULT_RATE) } else { plan.rate },
        frames: u64::try_from(plan.frames).ok().filter(|frames| *frames > 0),
        ..RecordLine::default()
    }
}

/// The description: the source's own spelling of the lead, or its name; lines of ours where neither can stand.
fn describe(signal: &Signal, line: &mut SignalLine, lines: &mut LeadLines, header: &Header) {
    let wanted = signal.label.clone().unwrap_or_else(|| signal.lead.name());
    let room = FILE_AND_DESCRIPTION
        .min((LINE_BYTES - 1).saturating_sub(line.to_text().len()))
        .saturating_sub(line.file.len() + 1);
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
