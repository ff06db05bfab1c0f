//! The document's head: what it is, whom it shows, for which trial and site it was made.
//!
//! Identifiers of the recording, the trial and the site are told apart by their place; the model's `kind` says
//! `recording`, `trial` or `site`. A trial that the source does not name is a `nullFlavor`.

use ecgkeep_recording::{Acquisition, Coded, Identifier, PartialDate, Quantity, Recording, Sex, Subject};

use crate::constants::{
    AGE, CPT4, DIASTOLIC, ECG, GENDER, HEIGHT, HISTORY, KIND_RECORDING, KIND_SITE, KIND_TRIAL, LOINC,
    MEDICATION, SYSTOLIC, WEIGHT,
};
use crate::emit::Emitter;
use crate::node::Node;
use crate::notes::Notes;
use crate::time::{self, Stamp};
use crate::values;

/// From the root to the assignment of a subject to a trial.
const ASSIGNMENT: &[&str] = &["componentOf", "timepointEvent", "componentOf", "subjectAssignment"];

/// Reads the head of a document.
pub(crate) fn read(root: Node<'_>, notes: &Notes) -> (Subject, Acquisition) {
    let (mut subject, mut acquisition) = (Subject::default(), Acquisition::default());
    take_identifier(root.child("id"), KIND_RECORDING, &mut acquisition);
    match root.find("code") {
        Some(code) if code.peek("code") == Some(ECG) => {
            values::coded(code.take());
        }
        Some(code) => notes.departure(code, "the document is not coded as an electrocardiogram (93000)"),
        None => {}
    }
    if let Some(text) = root.child("text") {
        let text = text.text();
        acquisition.remarks = text.split('\n').filter(|_| !text.is_empty()).map(str::to_owned).collect();
    }
    for reason in root.waiting("reasonCode") {
        let reason_read = values::coded(reason.take());
        if reason_read.is_empty() {
            reason.release();
        } else {
            acquisition.indications.push(reason_read);
        }
    }
    match root.descend(ASSIGNMENT) {
        Some(assignment) => {
            if let Some(person) = assignment.descend(&["subject", "trialSubject"]) {
                read_subject(person, &mut subject, notes);
            }
            match assignment.descend(&["componentOf", "clinicalTrial"]) {
                Some(trial) => read_trial(trial, &mut acquisition),
                None => notes.departure(assignment, "no clinicalTrial"),
            }
        }
        None => notes.departure(root, "no subjectAssignment: neither subject nor trial is stated"),
    }
    for variable in root.waiting("controlVariable") {
        if let Some(observation) = variable.find("relatedObservation")
            && read_fact(observation, &mut subject)
        {
            variable.take();
            observation.take();
        }
    }
    if let Some(site) = root.find("location").and_then(|location| location.find("testingSite"))
        && acquisition.institution.is_none()
        && let Some(name) = site.find("location").and_then(|location| location.find("name"))
    {
        root.descend(&["location", "testingSite", "location", "name"]);
        acquisition.institution = stated(name.text());
    }
    (subject, acquisition)
}

/// Writes the document's own identifier, code and text.
pub(crate) fn write_title(out: &mut Emitter<'_>, recording: &Recording) {
    write_first_identifier(out, &recording.acquisition.identifiers, KIND_RECORDING);
    values::write_code(out, CPT4, ECG);
    let remarks = &recording.acquisition.remarks;
    out.text("text", (!remarks.is_empty()).then(|| remarks.join("\n")).as_deref());
}

/// Writes reasons, subject and trial, and the facts about the subject.
pub(crate) fn write(out: &mut Emitter<'_>, recording: &Recording) {
    let Recording { subject, acquisition, .. } = recording;
    for indication in &acquisition.indications {
        values::write_coded(out, "reasonCode", None, indication);
    }
    out.required("componentOf", |out| {
        out.required("timepointEvent", |out| {
            out.required("componentOf", |out| {
                out.required("subjectAssignment", |out| {
                    out.required("subject", |out| write_subject(out, subject));
                    out.required("componentOf", |out| write_trial(out, acquisition));
                });
            });
        });
    });
    // a place for what an aECG document said of it beside the name, which stands with the trial's site
    out.optional("location", |out| out.optional("testingSite", |out| out.optional("location", |_| ())));
    write_facts(out, subject);
}

fn stated(text: &str) -> Option<String> {
    (!text.is_empty()).then(|| text.to_owned())
}

fn take_identifier(id: Option<Node<'_>>, kind: &str, acquisition: &mut Acquisition) {
    if let Some(id) = id.and_then(values::identifier) {
        acquisition.identifiers.push(Identifier { kind: Some(kind.to_owned()), ..id });
    }
}

fn write_first_identifier(out: &mut Emitter<'_>, identifiers: &[Identifier], kind: &str) {
    match identifiers.iter().find(|id| id.kind.as_deref() == Some(kind)) {
        Some(id) => values::write_identifier(out, id),
        None => out.null("id"),
    }
}

fn read_subject(node: Node<'_>, subject: &mut Subject, notes: &Notes) {
    subject.identifiers = node.children("id").filter_map(values::identifier).collect();
    let Some(person) = node.child("subjectDemographicPerson") else { return };
    if let Some(name) = person.child("name") {
        subject.name = values::name(name);
    }
    if let Some(gender) = person.find("administrativeGenderCode") {
        subject.sex = read_sex(gender.take(), notes);
    }
    if let Some(birth) = person.child("birthTime") {
        subject.birth_date = read_birth(birth, notes);
    }
    if let Some(race) = person.child("raceCode") {
        subject.race = Some(values::coded(race)).filter(|race| !race.is_empty());
    }
}

fn write_subject(out: &mut Emitter<'_>, subject: &Subject) {
    out.required("trialSubject", |out| {
        if subject.identifiers.is_empty() {
            out.null("id");
        }
        for id in &subject.identifiers {
            values::write_identifier(out, id);
        }
        out.optional("subjectDemographicPerson", |out| {
            values::write_name(out, &subject.name);
            // where nothing is stated, an extra may say why
            match &subject.sex {
                Some(sex) => write_sex(out, sex),
                None => out.optional("administrativeGenderCode", |_| ()),
            }
            match subject.birth_date {
                Some(date) => out.leaf("birthTime", &[("value", &date.to_string().replace('-', ""))]),
                None => out.optional("birthTime", |_| ()),
            }
            match &subject.race {
                Some(race) => values::write_coded(out, "raceCode", None, race),
                None => out.optional("raceCode", |_| ()),
            }
        });
    });
}

/// HL7 AdministrativeGender has M, F and UN; a value that is none of them is kept as the source's own.
fn read_sex(node: Node<'_>, notes: &Notes) -> Option<Sex> {
    let system = node.peek("codeSystem").is_none_or(|system| system == GENDER);
    let code = node.peek("code").unwrap_or_default();
    let sex = match code.to_ascii_uppercase().as_str() {
        "M" if system => Sex::Male,
        "F" if system => Sex::Female,
        "UN" if system => Sex::Undifferentiated,
        "MALE" => Sex::Male,
        "FEMALE" => Sex::Female,
        "" => {
            let text = node.child("originalText").map(|text| text.text().to_owned());
            match (node.peek("nullFlavor"), text) {
                (Some("OTH"), Some(text)) => {
                    node.attribute("nullFlavor");
                    return Some(Sex::Other(text));
                }
                (Some("UNK"), None) => {
                    node.attribute("nullFlavor");
                    return Some(Sex::Unknown);
                }
                (_, text) => {
                    values::silence(node);
                    return text.map(Sex::Other);
                }
            }
        }
        _ => Sex::Other(code.to_owned()),
    };
    if !matches!(code, "M" | "F" | "UN") {
        notes.departure(node, format!("the gender code {code:?} is none of M, F and UN"));
    }
    values::coded(node);
    Some(sex)
}

fn write_sex(out: &mut Emitter<'_>, sex: &Sex) {
    const NAME: &str = "administrativeGenderCode";
    let code = match sex {
        Sex::Male => "M",
        Sex::Female => "F",
        Sex::Undifferentiated => "UN",
        Sex::Other(word) => {
            return values::write_coded(out, NAME, None, &Coded::from_text(word.as_str()));
        }
        _ => return out.leaf(NAME, &[("nullFlavor", "UNK")]),
    };
    out.leaf(NAME, &[("code", code), ("codeSystem", GENDER), ("codeSystemName", "AdministrativeGender")]);
}

fn read_birth(node: Node<'_>, notes: &Notes) -> Option<PartialDate> {
    values::silence(node);
    let text = node.peek("value")?;
    let time = match time::read(text) {
        Some(Stamp::Proper(time)) => time,
        Some(Stamp::Tolerated(time)) => {
            notes.departure(node, "a birth date that is not spelled YYYYMMDD");
            time
        }
        Some(Stamp::Zeros) => {
            node.attribute("value");
            notes.departure(node, "a birth date of zeros: taken as not stated");
            return None;
        }
        None => {
            node.release();
            notes.departure(node, format!("the birth date {text:?} is no date: kept as an extra item"));
            return None;
        }
    };
    node.attribute("value");
    if time.time.is_some() {
        notes.not_taken(node, format!("the time of birth in {text:?}"));
    }
    time.date
}

fn read_trial(trial: Node<'_>, acquisition: &mut Acquisition) {
    take_identifier(trial.child("id"), KIND_TRIAL, acquisition);
    let Some(site) = trial.descend(&["location", "trialSite"]) else { return };
    take_identifier(site.child("id"), KIND_SITE, acquisition);
    if let Some(location) = site.child("location") {
        acquisition.institution = location.child("name").and_then(|name| stated(name.text()));
    }
}

fn write_trial(out: &mut Emitter<'_>, acquisition: &Acquisition) {
    let Acquisition { identifiers, institution, .. } = acquisition;
    out.required("clinicalTrial", |out| {
        write_first_identifier(out, identifiers, KIND_TRIAL);
        let has_site =
            institution.is_some() || identifiers.iter().any(|id| id.kind.as_deref() == Some(KIND_SITE));
        out.optional("location", |out| {
            out.optional("trialSite", |out| {
                if has_site {
                    write_first_identifier(out, identifiers, KIND_SITE);
                }
                out.optional("location", |out| out.text("name", institution.as_deref()));
            });
        });
    });
}

/// A fact about the subject: the code says which. `false`, and nothing taken for good, where it is not one of ours.
fn read_fact(observation: Node<'_>, subject: &mut Subject) -> bool {
    let (Some(code), Some(value)) = (observation.find("code"), observation.find("value")) else {
        return false;
    };
    if code.peek("codeSystem").is_some_and(|system| system != LOINC) {
        return false;
    }
    let name = code.peek("code").unwrap_or_default();
    let slot = match name {
        AGE => &mut subject.age,
        HEIGHT => &mut subject.height,
        WEIGHT => &mut subject.weight,
        SYSTOLIC => &mut subject.systolic,
        DIASTOLIC => &mut subject.diastolic,
        MEDICATION | HISTORY => {
            let list = if name == MEDICATION { &mut subject.medications } else { &mut subject.history };
            return read_item(code, value, list);
        }
        _ => return false,
    };
    if slot.is_some() {
        return false;
    }
    let Some(quantity) = values::quantity(value) else { return false };
    *slot = Some(quantity);
    values::coded(code.take());
    value.take();
    true
}

fn read_item(code: Node<'_>, value: Node<'_>, list: &mut Vec<Coded>) -> bool {
    let text = value.text();
    let item = if text.is_empty() { values::coded(value) } else { Coded::from_text(text) };
    if item.is_empty() {
        return false;
    }
    list.push(item);
    values::coded(code.take());
    value.take();
    true
}

fn write_facts(out: &mut Emitter<'_>, subject: &Subject) {
    let quantities: [(&str, &Option<Quantity>); 5] = [
        (AGE, &subject.age),
        (HEIGHT, &subject.height),
        (WEIGHT, &subject.weight),
        (SYSTOLIC, &subject.systolic),
        (DIASTOLIC, &subject.diastolic),
    ];
    for (code, quantity) in quantities {
        if let Some(quantity) = quantity {
            write_fact(out, code, |out| values::write_quantity(out, "value", true, quantity));
        }
    }
    for (code, list) in [(MEDICATION, &subject.medications), (HISTORY, &subject.history)] {
        for item in list.iter().filter(|item| !item.is_empty()) {
            write_fact(out, code, |out| values::write_coded(out, "value", Some("CE"), item));
        }
    }
}

fn write_fact(out: &mut Emitter<'_>, code: &str, value: impl FnOnce(&mut Emitter<'_>)) {
    out.required("controlVariable", |out| {
        out.required("relatedObservation", |out| {
            values::write_code(out, LOINC, code);
            value(out);
        });
    });
}
