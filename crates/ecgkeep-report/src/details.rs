//! Under the head: what the source says of the recording, what was supplied beside it, and the findings.

use ecgkeep_checks::{Assessment, Finding, rule};
use ecgkeep_recording::{Acquisition, Coded, Filing, Person, Recording, Scope, StatementStatus, Subject};

use crate::constants::BODY_LEADING;
use crate::frame::Frame;
use crate::typeset::{Column, Item, Style, shorten};
use crate::{Mm, PageFacts, Shape, words};

/// White between the longest label of a list and its texts.
const LABEL_GAP: Mm = Mm(1_500);
/// Where the texts of the findings begin: after `NOT ASSESSED`.
const VERDICT_WIDTH: Mm = Mm(22_500);
/// Between two blocks of a column.
const BLOCK_GAP: Mm = Mm(900);

/// Left the recording, then what was supplied, measured and stated, right the findings.
pub(crate) fn details(
    frame: &Frame,
    recording: &Recording,
    assessment: &Assessment,
    facts: &PageFacts,
) -> Vec<Shape> {
    let mut shapes = Vec::new();
    let (top, bottom) = (frame.details.top, frame.details.bottom);
    let items = acquisition(recording, facts);
    let (left, width) = frame.columns(0, 1);
    let written =
        Column::new(&mut shapes, left, width, top, bottom).fill(&items, indent(&items), Style::BODY);
    let left_over = &items[written..];

    let (left, width) = frame.columns(1, 1);
    let mut column = Column::new(&mut shapes, left, width, top, bottom);
    if !left_over.is_empty() {
        // The line that says how many are left over.
        column.bottom = bottom - BODY_LEADING;
    }
    if let Some(filing) = &facts.filing {
        supplied(&mut column, filing, &recording.subject);
    }
    measured_and_stated(&mut column, recording);
    column.bottom = bottom;
    column.list(left_over, indent(left_over), Style::BODY, |count| {
        format!("and {count} more on the recording")
    });

    let (left, width) = frame.columns(2, 2);
    findings(&mut Column::new(&mut shapes, left, width, top, bottom), assessment);
    shapes
}

/// Where the texts of a list begin.
fn indent(items: &[Item]) -> Mm {
    let widest = items.iter().map(|item| Style::BODY_BOLD.measure(&item.label)).max();
    widest.unwrap_or(Mm::ZERO) + LABEL_GAP
}

/// The making of the recording as the source states it. When, by whom, where and with what are answered even where
/// the source is silent.
fn acquisition(recording: &Recording, facts: &PageFacts) -> Vec<Item> {
    let acquisition = &recording.acquisition;
    let mut items = Vec::new();
    if let Some(correction) = &facts.correction {
        items.push(item("Corrected", correction.clone()));
    }
    items.push(item("Recorded", words::time(&acquisition.start)));
    let answered = |text: String| if text.is_empty() { words::NOT_STATED.to_owned() } else { text };
    items.push(item("Operator", answered(people(&acquisition.operators))));
    items.push(item("Place", answered(place(acquisition))));
    items.push(item("Device", answered(words::device(&acquisition.recorder))));
    items.extend(order(acquisition));
    items.extend(circumstances(acquisition));
    items.extend(further_subject(&recording.subject));
    items
}

fn item(label: &str, text: String) -> Item {
    Item { label: label.to_owned(), text }
}

fn people(people: &[Person]) -> String {
    people.iter().map(Person::line).filter(|line| !line.is_empty()).collect::<Vec<_>>().join("; ")
}

fn place(acquisition: &Acquisition) -> String {
    let parts = [&acquisition.institution, &acquisition.department, &acquisition.room];
    parts.into_iter().flatten().map(String::as_str).collect::<Vec<_>>().join(", ")
}

fn order(acquisition: &Acquisition) -> Option<Item> {
    let mut parts: Vec<String> = acquisition.order_number.iter().cloned().collect();
    parts.extend(acquisition.sequence_number.iter().map(|number| format!("sequence {number}")));
    (!parts.is_empty()).then(|| item("Order", parts.join(", ")))
}

/// What a source seldom states.
fn circumstances(acquisition: &Acquisition) -> Vec<Item> {
    let list = |all: &[Coded]| all.iter().map(words::coded).collect::<Vec<_>>().join("; ");
    let one = |coded: &Option<Coded>| coded.as_ref().map(words::coded).unwrap_or_default();
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
        ("Remarks", acquisition.remarks.join("; ")),
    ]
    .into_iter()
    .filter(|(_, text)| !text.is_empty())
    .map(|(label, text)| item(label, text))
    .collect()
}

/// What the head of the page has no room for.
fn further_subject(subject: &Subject) -> Vec<Item> {
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
    .map(|(label, text)| item(label, text))
    .collect()
}

/// What a person supplied, apart from what the source says.
fn supplied(column: &mut Column, filing: &Filing, source: &Subject) {
    let who = filing.supplied_by.line();
    let who = if who.is_empty() { "a person not named" } else { &who };
    let heading = format!("Supplied beside the file by {who}, {}", words::brief_time(&filing.at));
    column.paragraph(Style::BODY_BOLD, &heading);
    let subject = &filing.subject;
    let mut person = Vec::new();
    person.extend(Some(words::name(subject)).filter(|name| !name.is_empty()));
    person.extend(subject.identifiers.iter().map(words::identifier));
    person.extend(subject.birth_date.map(|date| format!("born {date}")));
    person.extend(subject.sex.as_ref().map(words::sex));
    person.extend(subject.age.as_ref().map(words::age));
    let source_is_silent =
        source.name.is_empty() && source.identifiers.is_empty() && source.birth_date.is_none();
    if source_is_silent && !person.is_empty() {
        person = vec!["at the top, marked (supplied)".to_owned()];
    }
    let acquisition = &filing.acquisition;
    let start = if acquisition.start.is_empty() { String::new() } else { words::time(&acquisition.start) };
    let first = [
        ("Patient", person.join(", ")),
        ("Recorded", start),
        ("Operator", people(&acquisition.operators)),
        ("Place", place(acquisition)),
        ("Device", words::device(&acquisition.recorder)),
    ];
    let first = first.into_iter().filter(|(_, text)| !text.is_empty());
    let mut items: Vec<Item> = first.map(|(label, text)| item(label, text)).collect();
    items.extend(order(acquisition));
    items.extend(circumstances(acquisition));
    items.extend(further_subject(&Subject { identifiers: Vec::new(), ..subject.clone() }));
    column.list(&items, indent(&items), Style::BODY, |count| format!("and {count} more in the filing"));
    column.skip(BLOCK_GAP);
}

/// The source's own measurements and statements, named as the source's, each with its status.
fn measured_and_stated(column: &mut Column, recording: &Recording) {
    if recording.measurements.is_empty() && recording.statements.is_empty() {
        column.paragraph(Style::BODY_QUIET, "The source holds no measurements and no statements.");
        return;
    }
    if !recording.measurements.is_empty() {
        let is_confirmed =
            recording.statements.iter().any(|statement| statement.status == Some(StatementStatus::Confirmed));
        let status = if is_confirmed { "see its statements for what is confirmed" } else { "unconfirmed" };
        column.paragraph(Style::BODY_BOLD, &format!("As measured by the source, {status}"));
        let bottom = column.bottom;
        if !recording.statements.is_empty() {
            // Heading and first line of the statements.
            column.bottom = bottom - BODY_LEADING.times(2) - BLOCK_GAP;
        }
        measurements(column, recording);
        column.bottom = bottom;
        column.skip(BLOCK_GAP);
    }
    if column.lines_left(Style::BODY) < 2 && !recording.statements.is_empty() {
        let count = words::count(recording.statements.len(), "statement", "statements");
        column.paragraph(Style::BODY_BOLD, &format!("{count} of the source, see the record"));
    } else if !recording.statements.is_empty() {
        column.paragraph(Style::BODY_BOLD, "Statements of the source");
        let text = |statement: &ecgkeep_recording::Statement| {
            let text = statement.text.lines().map(str::trim).collect::<Vec<_>>().join(" / ");
            item("", format!("{text} ({})", words::status(statement)))
        };
        let items: Vec<Item> = recording.statements.iter().map(text).collect();
        let more = |count| format!("and {count} more, see the record");
        column.list(&items, Mm::ZERO, Style::BODY, more);
    }
}

/// Measurements in cells, three to the line, a long one over several cells; the global ones first.
fn measurements(column: &mut Column, recording: &Recording) {
    let (global, other): (Vec<_>, Vec<_>) =
        recording.measurements.iter().partition(|measurement| measurement.scope == Scope::Global);
    let all: Vec<String> = global.into_iter().chain(other).map(words::measurement).collect();
    let rows = rows_of_cells(&all, column.width);
    let room = column.lines_left(Style::BODY);
    let shown = if rows.len() > room { room.saturating_sub(1) } else { rows.len() };
    for row in &rows[..shown] {
        column.cells(Style::BODY, row);
    }
    let left_over: usize = rows[shown..].iter().map(Vec::len).sum();
    if left_over > 0 && room > 0 {
        column.line(Style::BODY_BOLD, Mm::ZERO, &format!("and {left_over} more measurements"));
    }
}

/// Texts with the distance of each from the left, in rows no wider than `width`.
fn rows_of_cells(texts: &[String], width: Mm) -> Vec<Vec<(Mm, String)>> {
    const CELLS: i32 = 3;
    let cell = width.over(CELLS);
    let mut rows: Vec<Vec<(Mm, String)>> = Vec::new();
    let mut used = CELLS;
    for text in texts {
        let text = shorten(text, Style::BODY, width);
        let needed = (1 + (Style::BODY.measure(&text) + Mm::whole(1)).0 / cell.0).clamp(1, CELLS);
        if used + needed > CELLS {
            rows.push(Vec::new());
            used = 0;
        }
        if let Some(row) = rows.last_mut() {
            row.push((cell.times(used), text));
        }
        used += needed;
    }
    rows
}

/// The findings, the gravest first; where room is left, which checks were made.
fn findings(column: &mut Column, assessment: &Assessment) {
    let mut sorted: Vec<&Finding> = assessment.findings.iter().collect();
    sorted.sort_by_key(|finding| std::cmp::Reverse(finding.verdict));
    let items: Vec<Item> = sorted
        .into_iter()
        .map(|finding| Item {
            label: finding.verdict.to_string(),
            text: format!("{} [{}]", finding.text, finding.code),
        })
        .collect();
    column
        .list(&items, VERDICT_WIDTH, Style::BODY, |count| format!("and {count} more, see the findings file"));
    let titles: Vec<&str> =
        assessment.performed.iter().map(|code| rule(code).map_or(*code, |rule| rule.title)).collect();
    if !titles.is_empty() {
        column.skip(if items.is_empty() { Mm::ZERO } else { BLOCK_GAP });
        column.paragraph(Style::BODY_QUIET, &format!("Checks made: {}.", titles.join(", ")));
    }
}
