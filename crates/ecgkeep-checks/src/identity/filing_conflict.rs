//! What the file says against what was supplied beside it.

use ecgkeep_recording::{
    Acquisition, Change, CivilTime, Field, Identifier, PartialDate, Person, PersonName, Recording, Subject,
    differences,
};

use crate::evidence::Evidence;
use crate::{Finding, Rule, Verdict};

pub(crate) const RULE: Rule = Rule {
    code: "filing-conflict",
    title: "Agreement of the file and what was supplied beside it",
    word: "file and filing disagree",
    rule: "Every field stated both by the file and by what was supplied beside it must say the same. FAIL for each \
           that does not. Letter case and blanks do not count; a date or time known less precisely agrees with one \
           known more precisely; lists agree where they share an entry; free texts (remarks, history, medication, \
           indication) are not held against each other.",
    source: "project choice: a recording filed under the wrong patient is the gravest error of filing",
    threshold: |_| String::new(),
    limits: "Fields that only one side states are not compared. Which side is right cannot be known here.",
    what_to_do: "Find out which side is right before filing; neither is changed. Correct what was supplied, or record \
                 the correction of the file with its reason.",
    judge,
};

fn judge(rule: &Rule, evidence: &Evidence) -> Vec<Finding> {
    let Some(filing) = evidence.filing else { return Vec::new() };
    let mut conflicts = Vec::new();
    subjects(&evidence.recording.subject, &filing.subject, &mut conflicts);
    acquisitions(&evidence.recording.acquisition, &filing.acquisition, &mut conflicts);
    plain_fields(evidence, &mut conflicts);
    let finding = |conflict: Conflict| {
        let text = format!(
            "{}: the file says \"{}\", {} is \"{}\"",
            conflict.field,
            conflict.file,
            evidence.supplied_by(),
            conflict.beside
        );
        rule.finding(Verdict::Fail, text)
    };
    conflicts.into_iter().map(finding).collect()
}

/// One field that both sides state, and differently.
struct Conflict {
    field: String,
    file: String,
    beside: String,
}

fn subjects(file: &Subject, beside: &Subject, conflicts: &mut Vec<Conflict>) {
    identifiers(Field::SubjectIdentifier, &file.identifiers, &beside.identifiers, conflicts);
    if !names_agree(&file.name, &beside.name) {
        push(Field::SubjectName, file.name.line(), beside.name.line(), conflicts);
    }
    if let (Some(a), Some(b)) = (file.birth_date, beside.birth_date)
        && !dates_agree(a, b)
    {
        push(Field::BirthDate, a.to_string(), b.to_string(), conflicts);
    }
}

fn acquisitions(file: &Acquisition, beside: &Acquisition, conflicts: &mut Vec<Conflict>) {
    identifiers(Field::RecordingIdentifier, &file.identifiers, &beside.identifiers, conflicts);
    if !times_agree(&file.start, &beside.start) {
        push(Field::StartTime, file.start.to_string(), beside.start.to_string(), conflicts);
    }
    for (field, file, beside) in [
        (Field::Operator, &file.operators, &beside.operators),
        (Field::Referring, &file.referring, &beside.referring),
        (Field::Requesting, &file.requesting, &beside.requesting),
        (Field::Confirming, &file.confirming, &beside.confirming),
    ] {
        let lines = |persons: &[Person]| persons.iter().map(Person::line).collect::<Vec<_>>().join("; ");
        let shared = file.iter().any(|a| beside.iter().any(|b| persons_agree(a, b)));
        if !file.is_empty() && !beside.is_empty() && !shared {
            push(field, lines(file), lines(beside), conflicts);
        }
    }
}

/// The single-valued fields, through the comparison of the model, so that none is forgotten.
fn plain_fields(evidence: &Evidence, conflicts: &mut Vec<Conflict>) {
    let only_plain = |subject: &Subject, acquisition: &Acquisition| Recording {
        subject: Subject {
            identifiers: Vec::new(),
            name: PersonName::default(),
            birth_date: None,
            medications: Vec::new(),
            history: Vec::new(),
            ..subject.clone()
        },
        acquisition: Acquisition {
            identifiers: Vec::new(),
            start: CivilTime::default(),
            operators: Vec::new(),
            referring: Vec::new(),
            requesting: Vec::new(),
            confirming: Vec::new(),
            indications: Vec::new(),
            remarks: Vec::new(),
            ..acquisition.clone()
        },
        ..Recording::default()
    };
    let Some(filing) = evidence.filing else { return };
    let file = only_plain(&evidence.recording.subject, &evidence.recording.acquisition);
    let beside = only_plain(&filing.subject, &filing.acquisition);
    for difference in differences(&file, &beside) {
        if difference.field == Field::FilterWords {
            continue;
        }
        if let Change::Changed { from, to } = difference.change
            && words(&from) != words(&to)
        {
            let field = match difference.at.as_str() {
                "" => difference.field.to_string(),
                at => format!("{}, {at}", difference.field),
            };
            conflicts.push(Conflict { field, file: from, beside: to });
        }
    }
}

fn push(field: Field, file: String, beside: String, conflicts: &mut Vec<Conflict>) {
    conflicts.push(Conflict { field: field.to_string(), file, beside });
}

/// Two lists of identifiers conflict where both hold one of the same kind and assigner and share none of these.
fn identifiers(field: Field, file: &[Identifier], beside: &[Identifier], conflicts: &mut Vec<Conflict>) {
    let same_scheme = |a: &Identifier, b: &Identifier| {
        let agree = |a: &Option<String>, b: &Option<String>| match (a, b) {
            (Some(a), Some(b)) => words(a) == words(b),
            _ => true,
        };
        agree(&a.assigner, &b.assigner) && agree(&a.kind, &b.kind)
    };
    for b in beside {
        let comparable: Vec<&Identifier> = file.iter().filter(|a| same_scheme(a, b)).collect();
        if !comparable.is_empty() && !comparable.iter().any(|a| a.value.trim() == b.value.trim()) {
            let values: Vec<&str> = comparable.iter().map(|a| a.value.as_str()).collect();
            push(field, values.join("; "), b.value.clone(), conflicts);
        }
    }
}

/// Whether two names can be of one person: part by part where both are given in parts, else by their words.
fn names_agree(a: &PersonName, b: &PersonName) -> bool {
    if a.is_empty() || b.is_empty() {
        return true;
    }
    if a.text.is_some() || b.text.is_some() {
        let (mut a, mut b) = (words(&a.line()), words(&b.line()));
        a.sort_unstable();
        b.sort_unstable();
        return a == b;
    }
    let parts = [
        (&a.family, &b.family),
        (&a.second_family, &b.second_family),
        (&a.given, &b.given),
        (&a.middle, &b.middle),
        (&a.suffix, &b.suffix),
    ];
    parts.iter().all(|pair| match pair {
        (Some(a), Some(b)) => words(a) == words(b),
        _ => true,
    })
}

fn persons_agree(a: &Person, b: &Person) -> bool {
    match (&a.id, &b.id) {
        (Some(a), Some(b)) if a.value.trim() == b.value.trim() => true,
        _ => !a.name.is_empty() && !b.name.is_empty() && names_agree(&a.name, &b.name),
    }
}

fn dates_agree(a: PartialDate, b: PartialDate) -> bool {
    let same = |a: Option<u8>, b: Option<u8>| a.is_none() || b.is_none() || a == b;
    a.year() == b.year() && same(a.month(), b.month()) && same(a.day(), b.day())
}

/// Whether two times can be the same moment. With both offsets stated the moments are compared; else the clocks.
fn times_agree(a: &CivilTime, b: &CivilTime) -> bool {
    if let (Some(x), Some(y), Some(_), Some(_)) =
        (a.seconds(), b.seconds(), a.offset_minutes, b.offset_minutes)
    {
        let fully = |time: &CivilTime| time.time.is_some_and(|time| time.second().is_some());
        let tolerance = if fully(a) && fully(b) { 0 } else { 59 };
        return (x - y).abs() <= tolerance;
    }
    if let (Some(x), Some(y)) = (a.date, b.date)
        && !dates_agree(x, y)
    {
        return false;
    }
    let (Some(x), Some(y)) = (a.time, b.time) else { return true };
    let same = |x: Option<u8>, y: Option<u8>| x.is_none() || y.is_none() || x == y;
    x.hour() == y.hour() && same(x.minute(), y.minute()) && same(x.second(), y.second())
}

/// The words of a text, lower case, without punctuation.
fn words(text: &str) -> Vec<String> {
    let lower = text.to_lowercase();
    lower
        .split(|c: char| !c.is_alphanumeric() && c != '.' && c != '-' && c != '+')
        .map(|word| word.trim_matches('.'))
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect()
}
