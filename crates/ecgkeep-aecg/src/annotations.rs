//! Annotation sets: measurements, marks and statements, each set by one author.
//!
//! The model has no author for measurements and marks. They are taken from the sets of the first author who made
//! any, and from sets that name no author; those of a further author stay extras, with a note. The author of
//! statements is kept with them; a person who authored a set without statements is read as confirming. A status of
//! statements has no place.

use ecgkeep_format::{Error, Kind, Limits, Result};
use ecgkeep_recording::{
    Acquisition, CivilTime, Code, Coded, Device, Mark, Measurement, MeasurementKind, Quantity, Recording,
    Scope, Statement, Waveform,
};

use crate::authors::{self, Author};
use crate::constants::{
    COMMENT, GLOBAL_ENDING, INTERPRETATION, MDC, MEASUREMENTS, REFERENCE, STATEMENT, SUMMARY,
};
use crate::emit::Emitter;
use crate::marks;
use crate::node::Node;
use crate::notes::Notes;
use crate::regions::{self, Bounds, Region};
use crate::series::Piece;
use crate::time;
use crate::timeline::{self, Head};
use crate::values;

/// What the annotation sets of a document hold.
#[derive(Default)]
pub(crate) struct Found {
    pub(crate) measurements: Vec<Measurement>,
    pub(crate) statements: Vec<Statement>,
    /// The marks of each sequence set, in the order of the sets.
    pub(crate) marks: Vec<Vec<Mark>>,
    /// Who made measurements and marks.
    author: Option<Author>,
    mark_count: usize,
}

/// One annotation set while it is read.
pub(crate) struct Scene<'r, 'd> {
    pub(crate) pieces: &'r [Piece<'d>],
    /// The numbers of the sequence sets that the annotations may lie in.
    pub(crate) candidates: &'r [usize],
    pub(crate) notes: &'r Notes,
    /// Whether measurements and marks of this author are taken.
    takes: bool,
}

/// Reads the annotation sets of all series.
/// # Errors
/// [`Kind::Limit`] for more marks than allowed.
pub(crate) fn read_all(
    pieces: &[Piece<'_>],
    acquisition: &mut Acquisition,
    limits: &Limits,
    notes: &Notes,
) -> Result<Found> {
    let mut found = Found { marks: pieces.iter().map(|_| Vec::new()).collect(), ..Found::default() };
    let mut first = 0;
    // the sets of one series follow each other
    for own in pieces.chunk_by(|a, b| a.series.is(b.series)) {
        let candidates: Vec<usize> = (first..first + own.len()).collect();
        first += own.len();
        for subject in own[0].series.waiting("subjectOf") {
            let Some(set) = subject.child("annotationSet") else { continue };
            subject.take();
            read_set(set, pieces, &candidates, acquisition, &mut found, notes)?;
            if found.mark_count > limits.marks {
                let what = format!("more than {} marks", limits.marks);
                return Err(Error::new(Kind::Limit, what).at(set.place()));
            }
        }
    }
    for marks in &mut found.marks {
        marks.sort_by_key(|mark| mark.sample);
    }
    Ok(found)
}

fn read_set(
    set: Node<'_>,
    pieces: &[Piece<'_>],
    candidates: &[usize],
    acquisition: &mut Acquisition,
    found: &mut Found,
    notes: &Notes,
) -> Result<()> {
    let author_node = set.child("author");
    let (author, institution) = author_node.map_or((None, None), authors::read);
    let takes = author.is_none() || found.author.is_none() || found.author == author;
    let scene = Scene { pieces, candidates, notes, takes };
    let at = match set.find("activityTime") {
        Some(node) => node
            .find("low")
            .map_or_else(|| timeline::read_stamp(node, notes), |low| timeline::read_stamp(low, notes))?,
        None => None,
    };
    let (counted, stated) = (found.measurements.len() + found.mark_count, found.statements.len());
    for component in set.waiting("component") {
        if let Some(annotation) = component.find("annotation")
            && read_annotation(annotation, false, &scene, found)
        {
            component.take();
            annotation.take();
        }
    }
    if found.measurements.len() + found.mark_count > counted && found.author.is_none() {
        found.author.clone_from(&author);
    }
    let has_statements = found.statements.len() > stated;
    if has_statements && let Some(node) = set.child("activityTime") {
        node.child("low");
        for statement in &mut found.statements[stated..] {
            statement.at = at;
        }
    }
    match author {
        None if institution.is_none() => {}
        Some(Author::Person(person)) if has_statements => {
            for statement in &mut found.statements[stated..] {
                statement.author = Some(person.clone());
            }
        }
        Some(Author::Person(person)) => acquisition.confirming.push(person),
        Some(Author::Device(_)) | None => {
            let device = match author {
                Some(Author::Device(device)) => device,
                _ => Device::default(),
            };
            if acquisition.analyser.is_empty() && acquisition.analysing_institution.is_none() {
                acquisition.analyser = device;
                acquisition.analysing_institution = institution;
            } else if acquisition.analyser != device || acquisition.analysing_institution != institution {
                release(author_node, notes);
            }
            return Ok(());
        }
    }
    if institution.is_some() {
        notes.not_taken(set, "the organisation of a person who annotated");
    }
    Ok(())
}

fn release(author: Option<Node<'_>>, notes: &Notes) {
    if let Some(author) = author {
        author.release();
        notes.not_taken(author, "a second analysing device: kept as an extra item");
    }
}

/// Reads one annotation; `false`, and nothing taken for good, where it says something that the model has no name for.
/// `bounded` says that it stands within one that is bounded in time.
pub(crate) fn read_annotation(
    node: Node<'_>,
    bounded: bool,
    scene: &Scene<'_, '_>,
    found: &mut Found,
) -> bool {
    let Some(code) = node.find("code") else { return false };
    let name = code.peek("code").unwrap_or_default().to_ascii_uppercase();
    if code.peek("codeSystem").is_some_and(|system| system != MDC) {
        scene.notes.not_taken(node, "annotations with codes of a private system: kept as extra items");
        return false;
    }
    let Some(region) = regions::read(node, scene.notes) else { return false };
    let is_remark = [STATEMENT, SUMMARY, COMMENT].contains(&name.as_str());
    let understood = if is_remark && !region.has_time() {
        region.leads.is_empty() && !bounded && read_statement(node, found)
    } else if name == INTERPRETATION && !region.has_time() {
        read_inner(node, bounded, scene, found)
    } else if region.has_time() && node.find("value").is_none_or(|value| value.peek("value").is_none()) {
        scene.takes_or_says(node) && read_mark(node, code, &name, &region, scene, found)
    } else if node.find("value").is_some() {
        !bounded
            && !region.has_time()
            && scene.takes_or_says(node)
            && read_measurement(node, code, &region, scene, found)
    } else {
        read_inner(node, bounded, scene, found)
    };
    if understood {
        values::coded(code.take());
    }
    understood
}

impl Scene<'_, '_> {
    fn takes_or_says(&self, node: Node<'_>) -> bool {
        if !self.takes {
            self.notes.not_taken(node, "measurements and marks of a second author: kept as extra items");
        }
        self.takes
    }
}

/// Annotations within one that only holds them together.
fn read_inner(node: Node<'_>, bounded: bool, scene: &Scene<'_, '_>, found: &mut Found) -> bool {
    let mut any = false;
    for component in node.waiting("component") {
        if let Some(inner) = component.find("annotation")
            && read_annotation(inner, bounded, scene, found)
        {
            component.take();
            inner.take();
            any = true;
        }
    }
    any
}

fn read_mark(
    node: Node<'_>,
    code: Node<'_>,
    name: &str,
    region: &Region,
    scene: &Scene<'_, '_>,
    found: &mut Found,
) -> bool {
    let Some((piece, marks)) = marks::read(node, code, name, region, scene) else { return false };
    found.mark_count += marks.len();
    found.marks[piece].extend(marks);
    let before = (found.mark_count, found.measurements.len());
    read_inner(node, true, scene, found);
    if before != (found.mark_count, found.measurements.len()) {
        scene.notes.not_taken(node, "which annotation stands within which: they are taken one by one");
    }
    true
}

fn read_statement(node: Node<'_>, found: &mut Found) -> bool {
    let Some(value) = node.find("value") else { return false };
    let text = value.text();
    let coded = values::coded(value);
    let Coded { text: original, codes } = coded;
    let named = || codes.first().map(|code| code.meaning.clone().unwrap_or_else(|| code.value.clone()));
    let text = if text.is_empty() { original.or_else(named) } else { Some(text.to_owned()) };
    let Some(text) = text else { return false };
    value.take();
    found.statements.push(Statement { text, codes, ..Statement::default() });
    true
}

fn write_statement(out: &mut Emitter<'_>, statement: &Statement) {
    write_annotation(out, STATEMENT, |out| {
        let text = (!statement.text.is_empty()).then(|| statement.text.clone());
        if statement.codes.is_empty() {
            out.with("value", &[("xsi:type", "ST")], true, |out| out.content(&statement.text));
        } else {
            values::write_coded(out, "value", Some("CE"), &Coded { text, codes: statement.codes.clone() });
        }
    });
}

fn read_measurement(
    node: Node<'_>,
    code: Node<'_>,
    region: &Region,
    scene: &Scene<'_, '_>,
    found: &mut Found,
) -> bool {
    let scope = match region.leads.as_slice() {
        [] => Scope::Global,
        [lead] => Scope::Lead(lead.clone()),
        _ => return false,
    };
    let Some(value) = node.find("value") else { return false };
    let Some(quantity) = values::quantity(value) else { return false };
    let Some((kind, formula)) = read_kind(code) else { return false };
    value.take();
    let mut unit = quantity.unit;
    if unit == "bpm" {
        scene.notes.departure(value, "the unit bpm, which UCUM does not have: read as /min");
        "/min".clone_into(&mut unit);
    }
    found.measurements.push(Measurement { kind, value: quantity.value, unit, scope, formula });
    true
}

/// What a code says was measured, and by which formula.
fn read_kind(code: Node<'_>) -> Option<(MeasurementKind, Option<String>)> {
    let Some(name) = code.peek("code") else {
        let name = code.attribute("displayName")?;
        code.attribute("nullFlavor");
        return Some((MeasurementKind::Other(name.to_owned()), None));
    };
    let upper = name.to_ascii_uppercase();
    let base = upper.strip_suffix(GLOBAL_ENDING).unwrap_or(&upper);
    match MEASUREMENTS.iter().find(|row| row.2 == base) {
        Some((kind, formula, _)) => Some((kind.clone(), formula.map(str::to_owned))),
        None => Some((MeasurementKind::Other(name.to_owned()), None)),
    }
}

fn write_measurement(out: &mut Emitter<'_>, measurement: &Measurement) {
    let Measurement { kind, value, unit, scope, formula } = measurement;
    let lead = match scope {
        Scope::Global => None,
        Scope::Lead(lead) => Some(lead),
        // beats have no numbers here
        _ => return,
    };
    let of_kind = || MEASUREMENTS.iter().filter(|row| row.0 == *kind);
    let row =
        of_kind().find(|row| row.1 == formula.as_deref()).or_else(|| of_kind().find(|row| row.1.is_none()));
    write_annotation(out, row.map_or(kind.name(), |row| row.2), |out| {
        values::write_quantity(out, "value", true, &Quantity::new(*value, unit.as_str()));
        regions::write(out, &Bounds { points: &[], lead }, None);
    });
}

/// Writes an annotation with a code of 11073, or with a name where the code has no `MDC_` prefix.
pub(crate) fn write_annotation(out: &mut Emitter<'_>, code: &str, inside: impl FnOnce(&mut Emitter<'_>)) {
    out.required("component", |out| {
        out.required("annotation", |out| {
            if code.starts_with(REFERENCE) {
                let code = Code { system: MDC.to_owned(), value: code.to_owned(), meaning: None };
                out.leaf("code", &values::code_attributes(&code));
            } else {
                out.leaf("code", &[("nullFlavor", "OTH"), ("displayName", code)]);
            }
            inside(out);
        });
    });
}

/// Writes measurements and statements into the first series.
pub(crate) fn write(out: &mut Emitter<'_>, recording: &Recording) {
    let Recording { acquisition, measurements, statements, .. } = recording;
    write_set(out, |out| {
        authors::write_analyser(out, acquisition);
        for measurement in measurements {
            write_measurement(out, measurement);
        }
    });
    // one without text and code would be read as something else, and says nothing
    let says: Vec<&Statement> = statements
        .iter()
        .filter(|statement| !(statement.text.is_empty() && statement.codes.is_empty()))
        .collect();
    let same = |a: &&Statement, b: &&Statement| a.author == b.author && written(a.at) == written(b.at);
    for group in says.chunk_by(same) {
        write_set(out, |out| {
            if let Some(at) = group.first().and_then(|statement| written(statement.at)) {
                out.leaf("activityTime", &[("value", &at)]);
            }
            if let Some(author) = group.first().and_then(|statement| statement.author.as_ref()) {
                authors::write_person(out, author);
            }
            write_annotation(out, INTERPRETATION, |out| {
                for statement in group {
                    write_statement(out, statement);
                }
            });
        });
    }
    for person in &acquisition.confirming {
        write_set(out, |out| authors::write_person(out, person));
    }
}

fn written(at: Option<CivilTime>) -> Option<String> {
    at.as_ref().and_then(time::write)
}

/// Writes the marks of one waveform into its series.
pub(crate) fn write_marks(out: &mut Emitter<'_>, waveform: &Waveform, head: &Head) {
    write_set(out, |out| marks::write(out, waveform, head));
}

fn write_set(out: &mut Emitter<'_>, inside: impl FnOnce(&mut Emitter<'_>)) {
    out.optional("subjectOf", |out| out.optional("annotationSet", inside));
}
