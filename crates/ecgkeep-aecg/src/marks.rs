//! Marks: annotations bounded in time. The onset and the end of one wave are one annotation with an interval.

use ecgkeep_recording::{Code, Coded, Mark, MarkKind, Wave, Waveform};

use crate::annotations::{Scene, write_annotation};
use crate::constants::{BEAT, COMMENT, MDC, PACING_PULSE, QUALITY, REFERENCE, RHYTHM_CHANGE, WAVE, WAVES};
use crate::emit::Emitter;
use crate::node::Node;
use crate::regions::{self, Bounds, Point, Region};
use crate::timeline::Head;
use crate::values;

/// Kinds of mark that have a code of their own; codes that begin with it and go on are more exact ones of the kind.
const KINDS: &[(MarkKind, &str)] = &[
    (MarkKind::Beat, BEAT),
    (MarkKind::PacingPulse, PACING_PULSE),
    (MarkKind::Rhythm, RHYTHM_CHANGE),
    (MarkKind::Quality, QUALITY),
    (MarkKind::Note, COMMENT),
];

/// The marks that an annotation makes, and the number of the sequence set they lie in; the code stays the caller's.
pub(crate) fn read(
    node: Node<'_>,
    code: Node<'_>,
    name: &str,
    region: &Region,
    scene: &Scene<'_, '_>,
) -> Option<(usize, Vec<Mark>)> {
    let first = region.low.or(region.center).or(region.high)?;
    let piece = piece_of(first, scene)?;
    let sample = |point: Option<Point>| match point {
        Some(point) => regions::sample(point, &scene.pieces[piece], scene.notes).map(Some),
        None => Some(None),
    };
    let (low, center, high) = (sample(region.low)?, sample(region.center)?, sample(region.high)?);
    let value = node.find("value");
    let mut what = value.map(values::coded).unwrap_or_default();
    let mut text = value.map(|value| value.text().to_owned()).filter(|text| !text.is_empty());
    let mut places: Vec<(i64, MarkKind)> = Vec::new();
    let more_exact = |base: &str| name.strip_prefix(base).is_some_and(|rest| rest.starts_with('_'));
    if name == WAVE || more_exact(WAVE) {
        let wave = if name == WAVE { read_wave(value, &mut what) } else { wave_of(name) };
        let bounds = [
            (low, MarkKind::Onset as fn(Wave) -> MarkKind),
            (center, MarkKind::Peak),
            (high, MarkKind::Offset),
        ];
        places.extend(bounds.into_iter().filter_map(|(sample, kind)| Some((sample?, kind(wave.clone())))));
    } else {
        let kind = KINDS.iter().find(|row| row.1 == name || more_exact(row.1));
        if let Some((_, base)) = kind
            && name != *base
        {
            let code = code.peek("code").unwrap_or_default().to_owned();
            what.codes.insert(0, Code { system: MDC.to_owned(), value: code, meaning: None });
        }
        let kind = match kind {
            Some((kind, _)) => kind.clone(),
            None if name.is_empty() => {
                let name = code.attribute("displayName")?;
                code.attribute("nullFlavor");
                MarkKind::Other(name.to_owned())
            }
            None => MarkKind::Other(code.peek("code").unwrap_or_default().to_owned()),
        };
        let at = low.or(center).or(high)?;
        if high.is_some_and(|high| high != at) {
            scene.notes.not_taken(node, "the end of an annotation that lasts: its beginning is taken");
        }
        places.push((at, kind));
    }
    if let Some(value) = value {
        value.take();
    }
    for component in node.waiting("component") {
        if let Some(comment) = component.find("annotation")
            && let Some(said) = read_comment(comment)
            && text.is_none()
        {
            component.take();
            text = Some(said);
        }
    }
    let leads: Vec<_> =
        if region.leads.is_empty() { vec![None] } else { region.leads.iter().cloned().map(Some).collect() };
    let marks = leads.iter().flat_map(|lead| places.iter().map(move |place| (lead, place)));
    let marks = marks.map(|(lead, (sample, kind))| Mark {
        sample: *sample,
        lead: lead.clone(),
        kind: kind.clone(),
        label: what.text.clone(),
        text: text.clone(),
        codes: what.codes.clone(),
    });
    Some((piece, marks.collect()))
}

/// The set that a point lies in; the first one where it lies in none.
fn piece_of(point: Point, scene: &Scene<'_, '_>) -> Option<usize> {
    let inside = |at: &&usize| {
        let piece = &scene.pieces[**at];
        let length = piece.set.signals.first().map_or(0, |signal| signal.samples.len());
        let sample = regions::sample(point, piece, scene.notes);
        sample.and_then(|sample| usize::try_from(sample).ok()).is_some_and(|sample| sample < length)
    };
    match scene.candidates {
        [one] => Some(*one),
        several => several.iter().find(inside).or(several.first()).copied(),
    }
}

fn wave_of(code: &str) -> Wave {
    let found = WAVES.iter().find(|row| row.1.eq_ignore_ascii_case(code));
    found.map_or_else(|| Wave::Other(code.to_owned()), |row| row.0.clone())
}

/// Which wave the value of an annotation names; the code that does is taken out of `what`.
fn read_wave(value: Option<Node<'_>>, what: &mut Coded) -> Wave {
    let Some(value) = value else { return Wave::Unstated };
    if value.peek("code").is_some() && !what.codes.is_empty() {
        return wave_of(&what.codes.remove(0).value);
    }
    match (value.peek("nullFlavor"), value.attribute("displayName")) {
        (_, Some(name)) => {
            value.attribute("nullFlavor");
            Wave::Other(name.to_owned())
        }
        (Some("UNK"), None) => {
            value.attribute("nullFlavor");
            Wave::Unstated
        }
        _ => Wave::Unstated,
    }
}

fn read_comment(comment: Node<'_>) -> Option<String> {
    let code = comment.find("code")?;
    let value = comment.find("value")?;
    let is_comment = code.peek("code")?.eq_ignore_ascii_case(COMMENT) && comment.find("support").is_none();
    if !is_comment || code.peek("codeSystem").is_some_and(|system| system != MDC) {
        return None;
    }
    values::coded(code.take());
    comment.take();
    Some(value.take().text().to_owned())
}

/// Writes the marks of a waveform; one that lies outside the years 1 to 9999 is left out.
pub(crate) fn write(out: &mut Emitter<'_>, waveform: &Waveform, head: &Head) {
    let marks = &waveform.marks;
    let mut paired = vec![false; marks.len()];
    for (index, mark) in marks.iter().enumerate() {
        if paired[index] || !regions::has_time(mark.sample, waveform, head) {
            continue;
        }
        let part = match mark.kind {
            MarkKind::Onset(_) | MarkKind::Beat => "low",
            MarkKind::Offset(_) => "high",
            MarkKind::Peak(_) => "center",
            _ => "low",
        };
        let mut points = vec![(part, mark.sample)];
        if let Some(end) = end_of(index, marks, &paired)
            && regions::has_time(marks[end].sample, waveform, head)
        {
            paired[end] = true;
            points.push(("high", marks[end].sample));
        }
        write_mark(out, mark, &points, (waveform, head));
    }
}

/// The mark that ends the wave which this one begins, among those that follow closely.
fn end_of(index: usize, marks: &[Mark], paired: &[bool]) -> Option<usize> {
    /// A wave has a beginning, a peak and an end; a few marks on other leads may stand between.
    const NEAR: usize = 16;
    let begin = &marks[index];
    let MarkKind::Onset(wave) = &begin.kind else { return None };
    let following = marks.iter().enumerate().skip(index + 1).take(NEAR);
    for (at, mark) in following.filter(|(_, mark)| mark.lead == begin.lead) {
        if mark.kind == begin.kind {
            return None;
        }
        if mark.kind == MarkKind::Offset(wave.clone()) && !paired[at] {
            let same = mark.label == begin.label && mark.text == begin.text && mark.codes == begin.codes;
            return (same && mark.sample >= begin.sample).then_some(at);
        }
    }
    None
}

fn write_mark(out: &mut Emitter<'_>, mark: &Mark, points: &[(&'static str, i64)], axis: (&Waveform, &Head)) {
    let Mark { sample: _, lead, kind, label, text, codes } = mark;
    let code = match kind {
        MarkKind::Onset(_) | MarkKind::Peak(_) | MarkKind::Offset(_) => WAVE,
        MarkKind::Other(name) => name,
        kind => KINDS.iter().find(|row| row.0 == *kind).map_or("", |row| row.1),
    };
    write_annotation(out, code, |out| {
        match kind {
            MarkKind::Onset(wave) | MarkKind::Peak(wave) | MarkKind::Offset(wave) => {
                write_wave(out, wave, label.as_deref(), codes);
            }
            _ => values::write_coded(
                out,
                "value",
                Some("CE"),
                &Coded { text: label.clone(), codes: codes.clone() },
            ),
        }
        regions::write(out, &Bounds { points, lead: lead.as_ref() }, Some(axis));
        if let Some(text) = text {
            write_annotation(out, COMMENT, |out| {
                out.with("value", &[("xsi:type", "ST")], true, |out| out.content(text));
            });
        }
    });
}

fn write_wave(out: &mut Emitter<'_>, wave: &Wave, label: Option<&str>, codes: &[Code]) {
    let known = WAVES.iter().find(|row| row.0 == *wave).map(|row| row.1);
    let mut attributes = vec![("xsi:type", "CE")];
    let code;
    match (known, wave) {
        (Some(name), _) => {
            code = Code { system: MDC.to_owned(), value: name.to_owned(), meaning: None };
            attributes.extend(values::code_attributes(&code));
        }
        (None, Wave::Other(name)) if name.starts_with(REFERENCE) => {
            code = Code { system: MDC.to_owned(), value: name.clone(), meaning: None };
            attributes.extend(values::code_attributes(&code));
        }
        (None, Wave::Other(name)) => {
            attributes.extend([("nullFlavor", "OTH"), ("displayName", name.as_str())])
        }
        (None, _) => attributes.push(("nullFlavor", "UNK")),
    }
    out.with("value", &attributes, true, |out| {
        out.text("originalText", label);
        for code in codes {
            out.leaf("translation", &values::code_attributes(code));
        }
    });
}
