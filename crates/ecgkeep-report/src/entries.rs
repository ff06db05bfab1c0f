//! What the report says, as entries under headings: the short form on the first page and the full one draw on it.

use ecgkeep_checks::{Assessment, Finding, rule};
use ecgkeep_recording::{
    Acquisition, Coded, Filing, Measurement, Person, Recording, Scope, StatementStatus, Subject,
};

use crate::{Entry, PageFacts, Passage, boxes, header, words};

/// All of it, in the order in which it is read. What the pages say of their own drawing comes last.
pub(crate) fn passages(
    recording: &Recording,
    assessment: &Assessment,
    facts: &PageFacts,
    drawing: Vec<String>,
    cautions: String,
) -> Vec<Passage> {
    let plain = |text: String| entry("", text);
    let mut checks: Vec<Entry> =
        boxes::in_words(assessment, facts).map(|marks| entry("Marked", marks)).into_iter().collect();
    checks.push(plain(assessment.headline()));
    checks.push(plain(header::capitalised(assessment.identity_line())));
    checks.push(plain(policy(assessment)));
    checks.extend(assessment.policy_changes.iter().map(|change| entry("Policy", change.clone())));
    checks.extend(usability(assessment).into_iter().chain(leads(assessment)).map(plain));
    checks.extend(findings(assessment).into_iter().map(|(finding, short)| Entry {
        text: format!("{}. Source of the rule: {}.", short.text, words::with_micro(finding.source)),
        ..short
    }));
    checks.extend(checks_made(assessment).map(plain));
    let mut all = vec![
        Passage { heading: "Patient".to_owned(), entries: patient(&recording.subject) },
        Passage { heading: "Recording".to_owned(), entries: acquisition(recording, facts) },
    ];
    if let Some(filing) = &facts.filing {
        let mut entries = patient(&filing.subject);
        entries.extend(filed_acquisition(filing));
        all.push(Passage { heading: filing_heading(filing), entries });
    }
    let measured = measurements(recording).map(|measurement| plain(words::measurement(measurement)));
    all.push(Passage { heading: measured_heading(recording).to_owned(), entries: measured.collect() });
    let computed = assessment.rhythm.iter().map(|figures| plain(figures.figures()));
    all.push(Passage { heading: COMPUTED_HEADING.to_owned(), entries: computed.collect() });
    all.push(Passage { heading: "Statements of the source".to_owned(), entries: statements(recording) });
    all.push(Passage { heading: "Technical checks".to_owned(), entries: checks });
    all.push(Passage {
        heading: "This drawing".to_owned(),
        entries: drawing.into_iter().map(plain).collect(),
    });
    all.push(Passage { heading: "Cautions".to_owned(), entries: vec![plain(cautions)] });
    all.retain(|passage| !passage.entries.is_empty());
    all
}

/// The person in full.
fn patient(subject: &Subject) -> Vec<Entry> {
    let mut entries = Vec::new();
    let name = words::name(subject);
    if !name.is_empty() {
        entries.push(entry("Name", name));
    }
    entries.extend(
        subject.identifiers.iter().map(|identifier| entry("Identifier", words::identifier(identifier))),
    );
    entries.extend(subject.birth_date.map(|date| entry("Born", date.to_string())));
    entries.extend(subject.sex.as_ref().map(|sex| entry("Sex", words::sex(sex))));
    entries.extend(subject.age.as_ref().map(|age| entry("Age", words::age(age))));
    entries.extend(further_subject(&Subject { identifiers: Vec::new(), ..subject.clone() }));
    entries
}

/// The making of the recording as the source states it. When, by whom, where and with what are answered even where the
/// source is silent: with what was supplied beside it, marked so, or in words.
pub(crate) fn acquisition(recording: &Recording, facts: &PageFacts) -> Vec<Entry> {
    let acquisition = &recording.acquisition;
    let mut entries = Vec::new();
    if let Some(by) = &facts.superseded {
        entries.push(entry("Superseded", by.clone()));
    }
    if let Some(reason) = &facts.test_recording {
        entries.push(entry("Test", format!("recording of no patient: {reason}")));
    }
    if let Some(how) = &facts.deidentified {
        entries.push(entry("Identity", how.clone()));
    }
    if let Some(correction) = &facts.correction {
        entries.push(entry("Corrected", correction.clone()));
    }
    let beside = facts.filing.as_ref().map(|filing| making(&filing.acquisition));
    for (at, (label, text)) in making(acquisition).into_iter().enumerate() {
        let supplied = || beside.as_ref().map(|beside| &beside[at].1).filter(|text| !text.is_empty());
        entries.push(match (text.is_empty(), supplied()) {
            (false, _) => entry(label, text),
            (true, Some(supplied)) => entry(label, format!("{supplied} {}", words::SUPPLIED)),
            (true, None) => entry(label, words::NOT_STATED.to_owned()),
        });
    }
    entries.extend(order(acquisition));
    entries.extend(circumstances(acquisition));
    entries
}

pub(crate) fn entry(label: &str, text: String) -> Entry {
    Entry { label: label.to_owned(), text }
}

/// When, by whom, where and with what; empty texts for what is not stated.
fn making(acquisition: &Acquisition) -> [(&'static str, String); 4] {
    let start = &acquisition.start;
    [
        ("Recorded", if start.is_empty() { String::new() } else { words::time(start) }),
        ("Operator", people(&acquisition.operators)),
        ("Place", place(acquisition)),
        ("Device", words::device(&acquisition.recorder)),
    ]
}

fn people(people: &[Person]) -> String {
    people.iter().map(Person::line).filter(|line| !line.is_empty()).collect::<Vec<_>>().join("; ")
}

fn place(acquisition: &Acquisition) -> String {
    let parts = [&acquisition.institution, &acquisition.department, &acquisition.room];
    parts.into_iter().flatten().map(String::as_str).collect::<Vec<_>>().join(", ")
}

fn order(acquisition: &Acquisition) -> Option<Entry> {
    let mut parts: Vec<String> = acquisition.order_number.iter().cloned().collect();
    parts.extend(acquisition.sequence_number.iter().map(|number| format!("sequence {number}")));
    (!parts.is_empty()).then(|| entry("Order", parts.join(", ")))
}

/// What a source seldom states.
fn circumstances(acquisition: &Acquisition) -> Vec<Entry> {
    let list = |all: &[Coded]| all.iter().map(words::coded).collect::<Vec<_>>().join("; ");
    let one = |coded: &Option<Coded>| coded.as_ref().map(words::coded).unwrap_or_default();
    let remarks: Vec<String> = acquisition.remarks.iter().map(|text| words::one_line(text)).collect();
    let identifiers: Vec<String> = acquisition.identifiers.iter().map(words::identifier).collect();
    [
        ("Electrodes", one(&acquisition.placement)),
        ("Urgency", one(&acquisition.urgency)),
        ("Indication", list(&acquisition.indications)),
        ("Confirmed by", people(&acquisition.confirming)),
        ("Asked by", people(&acquisition.requesting)),
        ("Referred by", people(&acquisition.referring)),
        ("Analysed by", words::device(&acquisition.analyser)),
        ("Recording", identifiers.join("; ")),
        ("Remarks", remarks.join("; ")),
    ]
    .into_iter()
    .filter(|(_, text)| !text.is_empty())
    .map(|(label, text)| entry(label, text))
    .collect()
}

/// What the head of the page has no room for.
pub(crate) fn further_subject(subject: &Subject) -> Vec<Entry> {
    let list = |all: &[Coded]| all.iter().map(words::coded).collect::<Vec<_>>().join("; ");
    let others: Vec<String> = subject.identifiers.iter().skip(1).map(words::identifier).collect();
    let body = [&subject.height, &subject.weight];
    let body: Vec<String> =
        body.into_iter().flatten().map(|value| words::quantity(value.value, &value.unit)).collect();
    let pressure = [&subject.systolic, &subject.diastolic];
    let pressure: Vec<String> =
        pressure.into_iter().flatten().map(|value| words::quantity(value.value, &value.unit)).collect();
    [
        ("Other IDs", others.join("; ")),
        ("Body", body.join(", ")),
        ("Pressure", pressure.join(" / ")),
        ("Medication", list(&subject.medications)),
        ("History", list(&subject.history)),
        ("Race", subject.race.as_ref().map(words::coded).unwrap_or_default()),
    ]
    .into_iter()
    .filter(|(_, text)| !text.is_empty())
    .map(|(label, text)| entry(label, text))
    .collect()
}

/// `Supplied beside the file by M. Adeyemi, 2026-03-02 10:05`.
pub(crate) fn filing_heading(filing: &Filing) -> String {
    let who = filing.supplied_by.line();
    let who = if who.is_empty() { "a person not named" } else { &who };
    format!("Supplied beside the file by {who}, {}", words::brief_time(&filing.at))
}

/// What a person supplied, apart from what the source says; what stands in its place already, marked, is not repeated.
pub(crate) fn supplied(filing: &Filing, recording: &Recording) -> Vec<Entry> {
    let (subject, source) = (&filing.subject, &recording.subject);
    let mut person = Vec::new();
    person.extend(Some(words::name(subject)).filter(|name| !name.is_empty()));
    person.extend(subject.identifiers.iter().map(words::identifier));
    person.extend(subject.birth_date.map(|date| format!("born {date}")));
    person.extend(subject.sex.as_ref().map(words::sex));
    person.extend(subject.age.as_ref().map(words::age));
    let source_is_silent =
        source.name.is_empty() && source.identifiers.is_empty() && source.birth_date.is_none();
    let stated = making(&recording.acquisition);
    let (marked, apart): (Vec<Entry>, Vec<Entry>) = filed_acquisition(filing)
        .into_iter()
        .partition(|entry| stated.iter().any(|(label, text)| *label == entry.label && text.is_empty()));
    let mut entries = Vec::new();
    if !marked.is_empty() || (source_is_silent && !person.is_empty()) {
        entries.push(entry("", format!("what is marked {}", words::SUPPLIED)));
    }
    if !source_is_silent && !person.is_empty() {
        entries.push(entry("Patient", person.join(", ")));
    }
    entries.extend(apart);
    entries.extend(further_subject(&Subject { identifiers: Vec::new(), ..subject.clone() }));
    entries
}

/// The making of the recording as a person supplied it.
fn filed_acquisition(filing: &Filing) -> Vec<Entry> {
    let acquisition = &filing.acquisition;
    let first = making(acquisition).into_iter().filter(|(_, text)| !text.is_empty());
    let mut entries: Vec<Entry> = first.map(|(label, text)| entry(label, text)).collect();
    entries.extend(order(acquisition));
    entries.extend(circumstances(acquisition));
    entries
}

/// Over what is computed here because the source is silent; the cautions below ask for over-reading.
pub(crate) const COMPUTED_HEADING: &str = "Computed here, automatic and unconfirmed";

/// Which policy was used; one that is not the shipped one says so.
pub(crate) fn policy(assessment: &Assessment) -> String {
    let Assessment { policy, policy_version, policy_changes, .. } = assessment;
    let own = match policy_changes.len() {
        0 => String::new(),
        count => {
            format!(", NOT THE SHIPPED ONE: {}", words::count(count, "entry differs", "entries differ"))
        }
    };
    format!("Policy {policy}, version {policy_version}{own}. Local policy decides acceptance.")
}

/// Whether the recording can be used, as far as technique was checked; `None` where nothing was.
pub(crate) fn usability(assessment: &Assessment) -> Option<String> {
    let sentence = header::capitalised(&assessment.usability);
    (!sentence.is_empty()).then(|| format!("{sentence}."))
}

/// How well the leads were recorded; `None` where none was checked.
pub(crate) fn leads(assessment: &Assessment) -> Option<String> {
    let words = assessment.leads_in_words();
    (!words.is_empty()).then(|| format!("Signal quality: {}.", words.join("; ")))
}

/// Whose the measurements are, and whether anything is confirmed.
pub(crate) fn measured_heading(recording: &Recording) -> &'static str {
    let confirmed = |status: &Option<StatementStatus>| *status == Some(StatementStatus::Confirmed);
    if recording.statements.iter().any(|statement| confirmed(&statement.status)) {
        "As measured by the source, see its statements for what is confirmed"
    } else {
        "As measured by the source, unconfirmed"
    }
}

/// The measurements, the global ones first.
pub(crate) fn measurements(recording: &Recording) -> impl Iterator<Item = &Measurement> {
    let is_global = |measurement: &&Measurement| measurement.scope == Scope::Global;
    let others = recording.measurements.iter().filter(move |measurement| !is_global(measurement));
    recording.measurements.iter().filter(is_global).chain(others)
}

/// The statements, each with its status.
pub(crate) fn statements(recording: &Recording) -> Vec<Entry> {
    let one = |statement: &ecgkeep_recording::Statement| {
        entry("", format!("{} ({})", words::one_line(&statement.text), words::status(statement)))
    };
    recording.statements.iter().map(one).collect()
}

/// The findings with their short form, the gravest first.
pub(crate) fn findings(assessment: &Assessment) -> Vec<(&Finding, Entry)> {
    let mut sorted: Vec<&Finding> = assessment.findings.iter().collect();
    sorted.sort_by_key(|finding| std::cmp::Reverse(finding.verdict));
    let short = |finding: &Finding| {
        entry(
            &finding.verdict.to_string(),
            format!("{} [{}]", words::with_micro(&finding.text), finding.code),
        )
    };
    sorted.into_iter().map(|finding| (finding, short(finding))).collect()
}

/// Which checks were made, and which could not be, or not for every lead; `None` where none was tried.
pub(crate) fn checks_made(assessment: &Assessment) -> Option<String> {
    let (open, made): (Vec<&str>, Vec<&str>) =
        assessment.performed.iter().partition(|code| assessment.is_open(code));
    let sentence = |words: &str, codes: &[&str]| {
        let titles: Vec<&str> =
            codes.iter().map(|code| rule(code).map_or(*code, |rule| rule.title)).collect();
        (!titles.is_empty()).then(|| format!("{words}: {}.", titles.join(", ")))
    };
    let said = [sentence("Checks made", &made), sentence("Not assessed, wholly or in part", &open)];
    let said: Vec<String> = said.into_iter().flatten().collect();
    (!said.is_empty()).then(|| said.join(" "))
}
