//! The annotation files beside a record: found and read into marks, made from marks and given back.

use std::collections::BTreeMap;

use ecgkeep_format::{Error, File, Kind, Note, Place, Result, Weight};
use ecgkeep_recording::{Extra, ExtraValue, Lead, Mark, Waveform};

use crate::annotations::{Annotation, Annotations};
use crate::as_text::AsText as _;
use crate::constants::{
    ANNOTATORS, ID, MOST_AUX, MOST_INTERVAL, MOST_SKIPS, MOST_UNKNOWN, NOT_ANNOTATORS, NOTE, OWN, OWN_LEADS,
};
use crate::header::Header;
use crate::keys::MarkLines;
use crate::line::shown;
use crate::marks::{Marked, Setting, former_annotation, lead_named, own_annotation};
use crate::signal_files::Files;

/// The clause of annotation files.
const CLAUSE: &str = "annot(5)";

/// Reads every annotation file beside the record into the waveforms' marks.
pub(crate) fn read(
    file: &str,
    header: &Header,
    files: &Files,
    setting: &Setting,
    told: &mut crate::comments::Told,
    waveforms: &mut [Waveform],
    notes: &mut Vec<Note>,
) -> Result<()> {
    let stem = file.strip_suffix(".hea").unwrap_or(file);
    let mut spelled = Spelled::new(file, std::mem::take(&mut told.marks), notes);
    let prefix = format!("{stem}.");
    let names = files.names_beginning(&prefix).unwrap_or_else(|error| {
        let text = format!("annotation files were not looked for: {error}");
        notes.push(note(Weight::NotTaken, Place::file(file), &text));
        Vec::new()
    });
    let mut taken = 0;
    for name in names {
        let annotator = &name[prefix.len()..];
        if !may_be_annotator(annotator) || header.signals.iter().any(|(_, signal)| signal.file == name) {
            continue;
        }
        let limit = files.limits.marks.saturating_sub(taken);
        let Some(annotations) = read_one(&name, annotator, files, setting, limit, notes)? else { continue };
        taken += annotations.all.len();
        if waveforms.is_empty() {
            let text = "annotations of a record without signals are not taken";
            notes.push(note(Weight::NotTaken, Place::file(&name), text));
            continue;
        }
        keep_head(annotator, &annotations, &mut told.extras);
        let is_own = told.own_annotations && matches!(annotator, OWN | OWN_LEADS);
        let mut marks = Marked { annotator, is_own, annotations: &annotations }.to_marks(setting);
        spelled.correct(annotator, &annotations, &mut marks, notes);
        for (wave, mark) in marks {
            let wave = if wave < waveforms.len() { wave } else { 0 };
            waveforms[wave].marks.push(mark);
        }
    }
    spelled.lines.values().for_each(|lines| notes.push(left_out(file, lines)));
    Ok(())
}

/// Marks that lines of the header spell out, by annotator and number.
struct Spelled<'a> {
    file: &'a str,
    lines: BTreeMap<(String, usize), MarkLines>,
}

impl<'a> Spelled<'a> {
    fn new(file: &'a str, marks: Vec<MarkLines>, notes: &mut Vec<Note>) -> Spelled<'a> {
        let mut spelled = Spelled { file, lines: BTreeMap::new() };
        for lines in marks {
            match place_in_file(&lines.of) {
                Some((annotator, number, _)) if lines.kind.is_some() => {
                    spelled.lines.insert((annotator.to_owned(), number), lines);
                }
                _ => notes.push(left_out(file, &lines)),
            }
        }
        spelled
    }

    /// Puts what the lines say in the place of what the annotations of a file say.
    fn correct(
        &mut self,
        annotator: &str,
        annotations: &Annotations,
        marks: &mut [(usize, Mark)],
        notes: &mut Vec<Note>,
    ) {
        let numbers: Vec<usize> =
            self.lines.keys().filter(|(of, _)| of == annotator).map(|key| key.1).collect();
        for number in numbers {
            let Some(lines) = self.lines.remove(&(annotator.to_owned(), number)) else { continue };
            let index = number.wrapping_sub(1);
            let is_there = annotations.all.get(index).is_some_and(|annotation| {
                place_in_file(&lines.of).is_some_and(|(_, _, time)| time == annotation.time)
            });
            match marks.get_mut(index).filter(|_| is_there) {
                Some((wave, mark)) => spell_out(lines, wave, mark),
                None => notes.push(left_out(self.file, &lines)),
            }
        }
    }
}

/// `marks 3 at 1234`: the annotator, the number of the annotation, its tick.
fn place_in_file(of: &str) -> Option<(&str, usize, i64)> {
    let mut words = of.split(' ');
    let (annotator, number) = (words.next()?, words.next()?.parse().ok()?);
    let time = if words.next()? == "at" { words.next()?.parse().ok()? } else { return None };
    Some((annotator, number, time))
}

fn left_out(file: &str, lines: &MarkLines) -> Note {
    let text = format!(
        "what a line says of the mark {} belongs to no annotation and was left out",
        shown(&lines.of)
    );
    note(Weight::NotTaken, Place::file(file), &text)
}

fn note(weight: Weight, place: Place, text: &str) -> Note {
    Note { clause: Some(CLAUSE), ..Note::new(weight, place, text) }
}

/// WFDB Programmer's Guide: an annotator's name is letters, digits and underscores; the record's own files are none.
fn may_be_annotator(annotator: &str) -> bool {
    let lower = annotator.to_ascii_lowercase();
    let is_numbered = |stem: &str| {
        lower
            .strip_prefix(stem)
            .is_some_and(|rest| !rest.is_empty() && rest.bytes().all(|b| b.is_ascii_digit()))
    };
    let is_plain = |b: u8| b.is_ascii_alphanumeric() || b == b'_';
    !annotator.is_empty()
        && annotator.bytes().all(is_plain)
        && !NOT_ANNOTATORS.contains(&lower.as_str())
        && !is_numbered("d")
        && !is_numbered("data")
}

/// One file; `None` where it is none of annotations.
fn read_one(
    name: &str,
    annotator: &str,
    files: &Files,
    setting: &Setting,
    limit: usize,
    notes: &mut Vec<Note>,
) -> Result<Option<Annotations>> {
    let is_known = ANNOTATORS.contains(&annotator)
        || matches!(annotator, OWN | OWN_LEADS)
        || lead_named(annotator, setting).is_some();
    let most = if is_known { files.limits.file_bytes } else { MOST_UNKNOWN };
    let bytes = match files.bytes_up_to(name, most) {
        Ok(bytes) => bytes,
        Err(error) if is_known => return Err(error),
        Err(_) => return Ok(None),
    };
    let place = || Place::file(name);
    if is_known && looks_like_aha(&bytes) {
        let text = "looks like an annotation file in AHA format, which is not read";
        notes.push(note(Weight::NotTaken, place(), text));
        return Ok(None);
    }
    let annotations = match Annotations::read(&bytes, limit) {
        Ok(annotations) => annotations,
        Err(_) if is_known => {
            let text = format!("more marks than the limit of {}", files.limits.marks);
            return Err(Error::new(Kind::Limit, text).at(place()));
        }
        Err(_) => return Ok(None),
    };
    if !annotations.is_sound && !is_known {
        return Ok(None);
    }
    for (byte, text) in annotations.departures.iter().take(8) {
        notes.push(note(Weight::Departure, place().byte(*byte), text));
    }
    Ok(Some(annotations))
}

/// annot(5), AHA format: records of 16 bytes, a zero and a letter in front (the letters from memory).
fn looks_like_aha(bytes: &[u8]) -> bool {
    !bytes.is_empty()
        && bytes.len().is_multiple_of(16)
        && bytes.chunks_exact(16).all(|record| record[0] == 0 && b"NVFEPQUORS[]".contains(&record[1]))
}

/// The address of a file's ticks per second among the extras.
const RESOLUTION: &str = "annotation resolution, ";
/// The address of a file's own codes.
const DEFINITIONS: &str = "annotation definitions, ";

fn keep_head(annotator: &str, annotations: &Annotations, extras: &mut Vec<Extra>) {
    let mut keep = |address: &str, value: String| {
        let address = format!("{address}{annotator}");
        extras.push(Extra { format: ID.to_owned(), address, value: ExtraValue::Text(value) });
    };
    if let Some(resolution) = &annotations.resolution {
        keep(RESOLUTION, resolution.clone());
    }
    if !annotations.definitions.is_empty() {
        keep(DEFINITIONS, annotations.definitions.join("\n"));
    }
}

/// A mark as lines of the header spell it out.
fn spell_out(lines: MarkLines, wave: &mut usize, mark: &mut Mark) {
    let MarkLines { of: _, wave: on, sample, kind, lead, other_lead, label, text, codes } = lines;
    if let Some(on) = on.and_then(|on| usize::try_from(on).ok()) {
        *wave = on.wrapping_sub(1);
    }
    let Some(kind) = kind else { return };
    let sample = sample.unwrap_or(mark.sample);
    *mark = Mark { sample, lead: other_lead.map(Lead::Other).or(lead), kind, label, text, codes };
}

/// What the marks of a record become.
#[derive(Default)]
pub(crate) struct Made {
    /// The annotation files.
    pub(crate) files: Vec<File>,
    /// Marks that their annotations cannot hold.
    pub(crate) lines: Vec<MarkLines>,
    /// Whether some of the files are ours.
    pub(crate) has_own: bool,
}

/// The annotation files of marks, each with the number of its waveform. Takes out of `extras` what stands in these
/// files.
pub(crate) fn write(
    stem: &str,
    marks: &[(usize, &Mark)],
    setting: &Setting,
    extras: &mut Vec<Extra>,
) -> Made {
    let mut heads: BTreeMap<&str, Annotations> = BTreeMap::new();
    let former = |mark| former_annotation(mark).filter(|(annotator, ..)| is_writable(annotator));
    for (_, mark) in marks {
        if let Some((annotator, ..)) = former(mark) {
            heads.entry(annotator).or_default();
        }
    }
    take_heads(extras, &mut heads);
    let former = |wave: usize, mark| {
        let (annotator, annotation, has_ticks) = former(mark)?;
        let resolution =
            heads.get(annotator)?.resolution.as_deref().and_then(|ticks| ticks.trim().parse().ok());
        let time = if has_ticks { annotation.time } else { setting.ticks(mark.sample, resolution, wave)? };
        let is_head = annotation.code == NOTE && time == 0 && annotation.aux.starts_with(b"##");
        (!is_head).then_some((annotator, Annotation { time, ..annotation }))
    };
    let mut plan: Vec<(&str, Annotation)> = marks
        .iter()
        .map(|(wave, mark)| former(*wave, mark).unwrap_or_else(|| own_annotation(mark, *wave, setting)))
        .collect();
    for index in out_of_order(marks, &plan) {
        plan[index] = own_annotation(marks[index].1, marks[index].0, setting);
    }
    let mut planned: BTreeMap<&str, Vec<(Annotation, usize)>> = BTreeMap::new();
    for (index, (annotator, annotation)) in plan.into_iter().enumerate() {
        planned.entry(annotator).or_default().push((annotation, index));
    }
    let mut made = Made::default();
    for (annotator, mut planned) in planned {
        planned.sort_by_key(|(annotation, _)| annotation.time);
        keep_near(&mut planned);
        let is_own = matches!(annotator, OWN | OWN_LEADS);
        made.has_own |= is_own;
        let mut annotations = heads.remove(annotator).unwrap_or_default();
        let indexes: Vec<usize> = planned.iter().map(|(_, index)| *index).collect();
        annotations.all = planned.into_iter().map(|(annotation, _)| annotation).collect();
        let read = Marked { annotator, is_own, annotations: &annotations }.to_marks(setting);
        for (number, ((found_wave, found), index)) in (1..).zip(read.into_iter().zip(indexes)) {
            let (wave, mark) = marks[index];
            if found_wave != wave || found != *mark {
                let of = format!("{annotator} {number} at {}", annotations.all[number - 1].time);
                made.lines.push(in_lines(of, found_wave, &found, wave, mark));
            }
        }
        made.files.push(File { name: format!("{stem}.{annotator}"), bytes: annotations.to_bytes() });
    }
    made
}

/// Marks of one kind at one place that would change their order, because files are read by name: they go into one
/// file.
fn out_of_order(marks: &[(usize, &Mark)], plan: &[(&str, Annotation)]) -> Vec<usize> {
    let Some((first, _)) = plan.first() else { return Vec::new() };
    if plan.iter().all(|(annotator, _)| annotator == first) {
        return Vec::new();
    }
    let mut alike: BTreeMap<(usize, i64, Option<String>, String), Vec<usize>> = BTreeMap::new();
    for (index, (wave, mark)) in marks.iter().enumerate() {
        let lead = mark.lead.as_ref().map(Lead::name);
        alike.entry((*wave, mark.sample, lead, mark.kind.to_text())).or_default().push(index);
    }
    let is_ordered = |indexes: &Vec<usize>| indexes.is_sorted_by_key(|index| plan[*index].0);
    alike.into_values().filter(|indexes| !is_ordered(indexes)).flatten().collect()
}

/// An annotator under whose name somebody else's annotations can be written.
fn is_writable(annotator: &str) -> bool {
    may_be_annotator(annotator) && !matches!(annotator, OWN | OWN_LEADS)
}

/// Times so far apart that their distance would take many words are brought near; the lines of the header then
/// say where the mark is.
fn keep_near(planned: &mut [(Annotation, usize)]) {
    let farthest = MOST_SKIPS * i64::from(i32::MAX);
    planned.iter_mut().for_each(|(annotation, _)| {
        annotation.time = annotation.time.clamp(-farthest, farthest);
        annotation.aux.truncate(usize::from(MOST_INTERVAL));
    });
}

/// The lines that make of what is read what was meant.
fn in_lines(of: String, found_wave: usize, found: &Mark, wave: usize, mark: &Mark) -> MarkLines {
    let Mark { sample, lead, kind, label, text, codes } = mark.clone();
    let (lead, other_lead) = match lead {
        Some(lead) if Lead::from_name(&lead.name()) == lead => (Some(lead), None),
        Some(lead) => (None, Some(lead.name())),
        None => (None, None),
    };
    MarkLines {
        of,
        wave: (found_wave != wave).then(|| u32::try_from(wave + 1).unwrap_or(u32::MAX)),
        sample: (found.sample != sample).then_some(sample),
        kind: Some(kind),
        lead,
        other_lead,
        label,
        text,
        codes,
    }
}

/// Takes the heads of annotation files out of the extras.
fn take_heads(extras: &mut Vec<Extra>, heads: &mut BTreeMap<&str, Annotations>) {
    extras.retain(|extra| {
        let ExtraValue::Text(value) = &extra.value else { return true };
        if extra.format != ID {
            return true;
        }
        if let Some(head) = extra.address.strip_prefix(RESOLUTION).and_then(|name| heads.get_mut(name)) {
            let is_number = value
                .trim()
                .parse()
                .is_ok_and(|ticks: ecgkeep_recording::Exact| !ticks.is_negative() && !ticks.is_zero());
            if head.resolution.is_none() && is_number && value.len() < 100 {
                head.resolution = Some(value.clone());
                return false;
            }
        }
        if let Some(head) = extra.address.strip_prefix(DEFINITIONS).and_then(|name| heads.get_mut(name)) {
            let lines: Vec<String> = value.split('\n').map(str::to_owned).collect();
            let fits = |line: &String| {
                (1..=MOST_AUX).contains(&line.len()) && !line.starts_with("##") && !line.contains('\0')
            };
            if head.definitions.is_empty() && lines.iter().all(fits) {
                head.definitions = lines;
                return false;
            }
        }
        true
    });
}
