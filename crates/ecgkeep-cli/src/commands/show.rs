//! `show`: what a recording holds, or its samples as CSV.

use std::io::{BufWriter, Write as _};

use ecgkeep::checks::{RhythmFigures, rhythm, states_rhythm};
use ecgkeep::format::{Error, Kind};
use ecgkeep::recording::{
    Acquisition, Change, Device, Exact, Filters, Measurement, Person, Recording, Scope, Signal, SignalUnit,
    Statement, Subject, Waveform, differences,
};
use ecgkeep::{Opened, counts_csv, marks_csv, samples_csv};
use serde::Serialize;

use super::{found, open};
use crate::args::Show;
use crate::exit::Exit;
use crate::output::{Outcome, each, remark_line};

#[derive(Serialize)]
struct Body<'a> {
    format: &'static str,
    fingerprint: String,
    notes: Vec<String>,
    recordings: Vec<RecordingBody<'a>>,
}

/// A recording without its samples.
#[derive(Serialize)]
struct RecordingBody<'a> {
    subject: &'a Subject,
    acquisition: &'a Acquisition,
    waveforms: Vec<WaveformBody>,
    measurements: &'a [Measurement],
    statements: &'a [Statement],
    /// Rate and RR intervals as computed, where the source states none.
    rhythm: Option<RhythmFigures>,
    extras: usize,
}

#[derive(Serialize)]
struct WaveformBody {
    kind: String,
    rate: String,
    samples: usize,
    seconds: String,
    leads: Vec<String>,
    marks: usize,
}

pub fn run(args: &Show, json: bool) -> Result<Exit, Error> {
    let inputs = found(&args.input)?;
    let from = args.input.reading.from.as_deref();
    let as_table = args.samples || args.counts || args.marks;
    if as_table && json {
        return Err(Error::new(Kind::Usage, "samples and marks are printed as CSV, not as JSON")
            .remedy("as JSON they come with `ecgkeep convert IN OUT.json`"));
    }
    if as_table && inputs.len() > 1 {
        return Err(Error::new(Kind::Usage, "several inputs, one table").remedy("give one input"));
    }
    Ok(each(
        "ecgkeep-show/1",
        json,
        &inputs,
        |input| input.path.clone(),
        |found| {
            let (_, opened) = open(&found.path, from)?;
            let notes: Vec<String> = opened.read.notes.iter().map(ToString::to_string).collect();
            if as_table {
                let recording = opened.recording()?;
                print_table(args, recording)?;
                return Ok(Outcome { notes: opened.read.notes, ..Outcome::done(String::new(), ())? });
            }
            let mut text = String::new();
            for recording in &opened.read.recordings {
                text.push_str(&format!("{}\n", found.path.display()));
                text.push_str(&if args.all { every_field(recording) } else { summary(&opened, recording) });
            }
            let outcome = Outcome::done(text, body(&opened, notes))?;
            Ok(Outcome { notes: opened.read.notes, ..outcome })
        },
    ))
}

fn print_table(args: &Show, recording: &Recording) -> Result<(), Error> {
    let count = recording.waveforms.len();
    let waveform = args
        .waveform
        .checked_sub(1)
        .and_then(|index| recording.waveforms.get(index))
        .ok_or_else(|| Error::new(Kind::Usage, format!("no waveform {} of {count}", args.waveform)))?;
    if count > 1 {
        remark_line(&format!("waveform {} of {count}; the others with --waveform N", args.waveform));
    }
    let mut out = BufWriter::new(std::io::stdout().lock());
    let written = if args.counts {
        counts_csv(waveform, &mut out).map(|()| false)
    } else if args.marks {
        marks_csv(waveform, &mut out).map(|()| false)
    } else {
        samples_csv(waveform, &mut out)
    };
    match written.and_then(|rounded| out.flush().map(|()| rounded)) {
        Ok(true) => remark_line("some voltages have no finite decimal and are rounded to 0.001"),
        Ok(false) => {}
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => {}
        Err(error) => return Err(Error::new(Kind::Io, "cannot write to standard output").because(error)),
    }
    Ok(())
}

fn body<'a>(opened: &'a Opened, notes: Vec<String>) -> Body<'a> {
    let recordings = opened.read.recordings.iter();
    Body {
        format: opened.format.about().id,
        fingerprint: recordings
            .clone()
            .map(|recording| recording.fingerprint().to_string())
            .collect::<Vec<_>>()
            .join(" "),
        notes,
        recordings: recordings
            .map(|recording| RecordingBody {
                subject: &recording.subject,
                acquisition: &recording.acquisition,
                waveforms: recording.waveforms.iter().map(waveform_body).collect(),
                measurements: &recording.measurements,
                statements: &recording.statements,
                rhythm: computed(recording),
                extras: recording.extras.len(),
            })
            .collect(),
    }
}

fn waveform_body(waveform: &Waveform) -> WaveformBody {
    WaveformBody {
        kind: waveform.kind.to_string(),
        rate: waveform.rate().to_string(),
        samples: waveform.length(),
        seconds: waveform.seconds().to_string(),
        leads: waveform.signals().iter().map(|signal| signal.lead.name()).collect(),
        marks: waveform.marks.len(),
    }
}

/// Every field, from the comparison with a recording that says nothing: complete by construction.
fn every_field(recording: &Recording) -> String {
    differences(&Recording::default(), recording)
        .into_iter()
        .filter_map(|difference| match difference.change {
            Change::Added { value } => {
                let at =
                    if difference.at.is_empty() { String::new() } else { format!(", {}", difference.at) };
                Some(format!("  {}{at}: {value}\n", difference.field))
            }
            _ => None,
        })
        .collect()
}

fn summary(opened: &Opened, recording: &Recording) -> String {
    let (subject, acquisition) = (&recording.subject, &recording.acquisition);
    let about = opened.format.about();
    let edition = recording.origin.version.as_ref().map_or_else(String::new, |edition| format!(" {edition}"));
    let mut lines = Lines(String::new());
    lines.put("format", format!("{}{edition}", about.title));
    lines.put("patient", patient(subject));
    lines.put("recorded", recorded(acquisition));
    for (label, persons) in [
        ("operator", &acquisition.operators),
        ("referring", &acquisition.referring),
        ("requesting", &acquisition.requesting),
        ("confirming", &acquisition.confirming),
    ] {
        lines.put(label, persons.iter().map(Person::line).collect::<Vec<_>>().join("; "));
    }
    lines.put("device", device(&acquisition.recorder));
    lines.put("analysed by", device(&acquisition.analyser));
    lines.put("filters", filters(&acquisition.filters));
    for waveform in &recording.waveforms {
        lines
            .put(if waveform.kind == Default::default() { "signals" } else { "waveform" }, signals(waveform));
    }
    for measurement in &recording.measurements {
        lines.put("measured", measured(measurement));
    }
    lines.put("computed", computed(recording).map_or_else(String::new, |figures| figures.line()));
    for statement in &recording.statements {
        let status =
            statement.status.as_ref().map_or_else(|| "status not stated".to_owned(), ToString::to_string);
        lines.put("statement", format!("{} ({status})", statement.text));
    }
    let counted: Vec<String> = [
        ("indication", "indications", acquisition.indications.len()),
        ("remark", "remarks", acquisition.remarks.len()),
        ("medication", "medications", subject.medications.len()),
        ("history item", "history items", subject.history.len()),
        ("further item", "further items", recording.extras.len()),
    ]
    .into_iter()
    .filter(|(_, _, count)| *count > 0)
    .map(|(one, many, count)| counted(count, one, many))
    .collect();
    if !counted.is_empty() {
        lines.put("also", format!("{} (--all shows every field)", counted.join(", ")));
    }
    lines.put("digest", recording.fingerprint().to_string());
    lines.0
}

/// Rate and RR intervals, where the source states none of its own.
fn computed(recording: &Recording) -> Option<RhythmFigures> {
    if states_rhythm(recording) { None } else { rhythm(recording) }
}

struct Lines(String);

impl Lines {
    /// One line; none where there is nothing to say.
    fn put(&mut self, label: &str, value: String) {
        if !value.is_empty() {
            self.0.push_str(&format!("  {label:<12} {value}\n"));
        }
    }
}

fn patient(subject: &Subject) -> String {
    let mut parts: Vec<String> = Vec::new();
    parts.extend(Some(subject.name.line()).filter(|name| !name.is_empty()));
    for identifier in &subject.identifiers {
        let assigner =
            identifier.assigner.as_ref().map_or_else(String::new, |assigner| format!(" ({assigner})"));
        parts.push(format!("{}{assigner}", identifier.value));
    }
    parts.extend(subject.birth_date.map(|date| format!("born {date}")));
    parts.extend(subject.sex.as_ref().map(ToString::to_string));
    parts.extend(subject.age.as_ref().map(|age| format!("age stated as {age}")));
    if parts.is_empty() { "not stated".to_owned() } else { parts.join(", ") }
}

fn recorded(acquisition: &Acquisition) -> String {
    let mut parts = Vec::new();
    parts.push(if acquisition.start.is_empty() {
        "time not stated".to_owned()
    } else {
        acquisition.start.to_string()
    });
    parts.extend(acquisition.institution.clone());
    parts.extend(acquisition.department.clone());
    parts.extend(acquisition.room.as_ref().map(|room| room_line(room)));
    parts.extend(acquisition.order_number.as_ref().map(|order| format!("order {order}")));
    parts.join(", ")
}

/// `room 3`; a source that writes the word itself is not given it twice.
fn room_line(room: &str) -> String {
    if room.to_lowercase().contains("room") { room.to_owned() } else { format!("room {room}") }
}

/// `1 remark`, `3 remarks`.
fn counted(count: usize, one: &str, many: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {many}") }
}

fn device(device: &Device) -> String {
    let parts = [&device.manufacturer, &device.model, &device.serial, &device.software, &device.id];
    parts.into_iter().flatten().map(String::as_str).collect::<Vec<_>>().join(", ")
}

fn filters(filters: &Filters) -> String {
    let hertz = |label: &str, value: Exact| format!("{label} {value} Hz");
    let mut parts = Vec::new();
    parts.extend(filters.high_pass_hz.map(|value| hertz("high-pass", value)));
    parts.extend(filters.low_pass_hz.map(|value| hertz("low-pass", value)));
    parts.extend(filters.notch_hz.iter().map(|value| hertz("notch", *value)));
    parts.extend(filters.described.iter().cloned());
    if parts.is_empty() { "not stated by the source".to_owned() } else { parts.join(", ") }
}

fn signals(waveform: &Waveform) -> String {
    let signals = waveform.signals();
    let leads: Vec<String> = signals.iter().map(|signal| signal.lead.name()).collect();
    let steps: Vec<String> = signals.iter().map(step).collect();
    let step = if steps.iter().all(|step| *step == steps[0]) {
        steps[0].clone()
    } else {
        "steps differ by lead".into()
    };
    let kind =
        if waveform.kind == Default::default() { String::new() } else { format!("{}: ", waveform.kind) };
    let missing = signals.iter().any(|signal| !signal.missing.is_empty());
    let missing = if missing { "; samples missing" } else { "" };
    let marks = if waveform.marks.is_empty() {
        String::new()
    } else {
        format!("; {}", counted(waveform.marks.len(), "mark", "marks"))
    };
    let seconds = waveform.seconds().to_decimal(3).map_or_else(String::new, |(text, _)| text);
    let (rate, length) = (waveform.rate(), waveform.length());
    format!("{kind}{}; {length} samples at {rate} Hz = {seconds} s; {step}{missing}{marks}", leads.join(" "))
}

fn step(signal: &Signal) -> String {
    match &signal.unit {
        SignalUnit::Volt => {
            match signal.step.nanovolts().over(Exact::whole(1000)).and_then(|step| step.to_decimal(6)) {
                Some((text, true)) => format!("{text} uV a count"),
                Some((text, false)) => format!("about {text} uV a count"),
                None => format!("{} nV a count", signal.step.nanovolts()),
            }
        }
        SignalUnit::Other(unit) => format!("{} n{unit} a count", signal.step.nanovolts()),
        _ => "uncalibrated".to_owned(),
    }
}

fn measured(measurement: &Measurement) -> String {
    let scope = match &measurement.scope {
        Scope::Lead(lead) => format!(" in {lead}"),
        Scope::Beat(beat) => format!(" of beat {}", beat + 1),
        Scope::BeatClass(class) => format!(" of beat class {}", class + 1),
        _ => String::new(),
    };
    let formula = measurement.formula.as_ref().map_or_else(String::new, |formula| format!(" ({formula})"));
    format!("{}{scope} {} {}{formula}", measurement.kind.name(), measurement.value, measurement.unit)
}
