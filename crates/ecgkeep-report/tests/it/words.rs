//! What the pages say, and that no text does harm.

use ecgkeep_checks::{Assessment, Finding, Place, Verdict, rule};
use ecgkeep_recording::{
    Filing, Identifier, Lead, Person, PersonName, Recording, Statement, StatementStatus,
};
use ecgkeep_report::{Orientation, PageFacts, Paper, html, sheet, svg};

use crate::making::{assert_no_overlap, draw, draw_with, twelve};
use crate::reading::Drawing;

#[test]
fn what_the_first_page_has_no_room_for_stands_in_full_at_the_end() {
    let mut recording = twelve();
    let last = "The last of many statements, in full to its very end";
    let text = |n: i32| if n == 39 { last.to_owned() } else { format!("Statement {n} of the program") };
    recording.statements = (0..40).map(|n| Statement { text: text(n), ..Statement::default() }).collect();
    let pages = draw_with(&recording, &Assessment::default(), &PageFacts::default());
    assert!(pages.len() > 1 && !pages[0].says(last));
    assert!(pages.iter().any(|page| page.says(last)));
    assert!(pages.iter().all(|page| page.says("name not stated") && page.says("Not a diagnosis")));
}

#[test]
fn html_holds_every_page_once_and_all_of_it_in_words() {
    let mut recording = twelve();
    recording.subject.name = PersonName::from_text("<b>Ilse</b> & \u{1}Vossebelt");
    recording.statements = vec![Statement { text: "Sinus rhythm".into(), ..Statement::default() }; 30];
    let sheet = sheet(&recording, &Assessment::default(), &PageFacts::default(), &Paper::default());
    let html = html(&sheet);
    assert!(sheet.pages.len() > 1);
    assert_eq!(html.matches("<svg ").count(), sheet.pages.len());
    let mut ids: Vec<&str> = html.split(" id=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    let count = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), count, "names of shapes are unique in the file");
    assert!(html.contains("@page { size: 297mm 210mm; margin: 0 }"));
    assert!(html.contains("&lt;b&gt;Ilse&lt;/b&gt; &amp; \u{fffd}Vossebelt"));
    assert!(!html.contains("<b>") && !html.contains("<script"));
    // The only addresses are names of the SVG vocabulary.
    assert_eq!(html.matches("http://").count(), html.matches("\"http://www.w3.org/2000/svg\"").count());
    let words = html.split("<section class=\"words\">").nth(1).expect("the pages in words");
    assert_eq!(words.matches("Sinus rhythm (status not stated)").count(), 30);
}

#[test]
fn a_hostile_name_is_text_and_nothing_else() {
    let mut recording = twelve();
    let name = "</text><script>alert('&\"')</script>\u{0}\u{1b}\u{202e}\u{ffff}]]>";
    recording.subject.name = PersonName::from_text(name);
    recording.subject.identifiers =
        vec![Identifier { value: "\"/><svg onload='x'>".repeat(9), ..Identifier::default() }];
    recording.acquisition.remarks = vec!["<!ENTITY x SYSTEM 'file:///'>".into()];
    let page = draw(&recording);
    assert!(
        page.texts()
            .any(|text| text.contains("<script>alert('&\"')</script>\u{fffd}\u{fffd}\u{fffd}\u{fffd}]]>"))
    );
    assert!(!page.names().any(|name| name == "script"));
}

#[test]
fn no_name_reaches_into_the_answer_beside_it_and_no_line_leaves_the_page() {
    let mut recording = twelve();
    for name in
        ["Ng", "Wolfeschlegelsteinhausenbergerdorff", "WWWW".repeat(40).as_str(), "心".repeat(90).as_str()]
    {
        recording.subject.name = PersonName::from_text(name);
        let findings = (0..24)
            .map(|n| Finding {
                code: "lead-flat",
                verdict: Verdict::Warn,
                places: Vec::new(),
                text: format!(
                    "lead V3: no variation of the signal for {n}.4 s, longer than 1 s; look at the electrode"
                ),
                measured: None,
                threshold: None,
                source: "project choice",
            })
            .collect();
        let assessment = Assessment { findings, ..Assessment::default() };
        let page = draw_with(&recording, &assessment, &PageFacts::default()).remove(0);
        assert_no_overlap(&page, 297.0, 210.0);
        assert!(page.texts().any(|text| text.contains("more at the end of the report")));
    }
}

/// A finding of this code about some leads.
fn finding_of(code: &'static str, verdict: Verdict, text: &str, leads: &[Lead]) -> Finding {
    let place = |lead: &Lead| Place { lead: lead.clone(), waveform: Some(0), spans: Vec::new() };
    Finding {
        code,
        verdict,
        places: leads.iter().map(place).collect(),
        text: text.into(),
        measured: None,
        threshold: None,
        source: "project choice",
    }
}

#[test]
fn the_gravest_finding_stands_first() {
    let finding = |verdict, text: &str| finding_of("duration", verdict, text, &[]);
    let findings = vec![
        finding(Verdict::Note, "the least"),
        finding(Verdict::NotAssessed, "an open one"),
        finding(Verdict::Fail, "the gravest"),
        finding(Verdict::Warn, "a grave one"),
    ];
    let assessment = Assessment { findings, ..Assessment::default() };
    let page = draw_with(&twelve(), &assessment, &PageFacts::default()).remove(0);
    let order: Vec<&str> = page.texts().filter_map(|text| text.strip_suffix(" [duration]")).collect();
    assert_eq!(order, ["the gravest", "a grave one", "an open one", "the least"]);
}

#[test]
fn a_page_without_identity_says_so_and_how() {
    let how = "de-identified: dates shifted".to_owned();
    let facts = PageFacts { deidentified: Some(how), ..PageFacts::default() };
    let page = draw_with(&twelve(), &Assessment::default(), &facts).remove(0);
    assert_eq!(page.texts().filter(|text| *text == "DE-IDENTIFIED").count(), 2);
    assert!(page.says("de-identified: dates shifted"));
}

#[test]
fn damage_correction_and_a_missing_identity_cannot_be_overlooked() {
    let conflict = finding_of("filing-conflict", Verdict::Fail, "birth date: the file says otherwise", &[]);
    let assessment = Assessment { unidentified: true, findings: vec![conflict], ..Assessment::default() };
    let facts = PageFacts {
        damaged: true,
        correction: Some("name".into()),
        test_recording: Some("the file names the patient \"TEST\"".into()),
        superseded: Some("revision 1 was corrected by revision 2".into()),
        ..PageFacts::default()
    };
    let page = draw_with(&twelve(), &assessment, &facts).remove(0);
    assert!(page.says("Superseded revision 1 was corrected by revision 2"));
    let banners = ["SUPERSEDED", "TEST RECORDING", "DAMAGED", "UNIDENTIFIED", "FILING CONFLICT", "CORRECTED"];
    for word in banners {
        // In the head, and large behind the tracings.
        assert_eq!(page.texts().filter(|text| *text == word).count(), 2, "{word}");
    }
    assert!(page.says("recording of no patient: the file names the patient \"TEST\""));
    assert_no_overlap(&page, 297.0, 210.0);
    let plain = draw(&twelve());
    assert!(plain.texts().all(|text| !banners.contains(&text)));
}

#[test]
fn leads_without_tracing_and_cables_in_question_cannot_be_overlooked() {
    let page = |findings: Vec<Finding>| {
        let performed = vec!["lead-flat", "cable-neutral", "cable-limb", "cable-chest"];
        let assessment = Assessment { findings, performed, ..Assessment::default() };
        draw_with(&twelve(), &assessment, &PageFacts::default()).remove(0)
    };
    let open = |code| finding_of(code, Verdict::NotAssessed, "why", &[]);
    let flat = |leads: &[Lead]| finding_of("lead-flat", Verdict::Fail, "no signal variation", leads);
    let some = page(vec![flat(&[Lead::V4]), flat(&[Lead::AVR]), open("cable-chest")]);
    assert!(some.says("NO TRACING: V4, aVR") && some.says("CHEST CABLES NOT ASSESSED"));
    let title = |code: &str| rule(code).expect("a rule").title;
    let made = ["lead-flat", "cable-neutral", "cable-limb"].map(title).join(", ");
    let open_ones = title("cable-chest");
    let said = format!("Checks made: {made}. Not assessed, wholly or in part: {open_ones}.");
    assert!(some.says(&said), "a check that was not assessed is none that was made");
    let all = page(vec![flat(&Lead::TWELVE), open("cable-neutral"), open("cable-limb"), open("cable-chest")]);
    assert!(all.says("NO TRACING: 12 LEADS") && all.texts().any(|text| text == "CABLES NOT ASSESSED"));
    let in_question = vec![finding_of("cable-limb", Verdict::Warn, "may be exchanged", &[])];
    assert!(page(in_question).says("CABLES MAY BE EXCHANGED"));
    // A source may call a lead what it likes.
    let named = page(vec![flat(&[Lead::Other("precordial electrode ".repeat(12))])]);
    assert!(named.says("NO TRACING: 1 LEAD"));
    assert_no_overlap(&named, 297.0, 210.0);
    // What is short of that stands among the findings only.
    let lesser = vec![
        finding_of("lead-flat", Verdict::Warn, "no signal variation for 1 s", &[Lead::V4]),
        finding_of("cable-chest", Verdict::Note, "V5 and V6", &[]),
    ];
    let lesser = page(lesser);
    assert!(!lesser.says("NO TRACING") && !lesser.says("CABLES"));
}

#[test]
fn of_more_marks_than_the_head_holds_the_gravest_stand_and_the_others_are_counted() {
    let leads = [Lead::V1, Lead::V2, Lead::V3];
    let findings = vec![
        finding_of("filing-conflict", Verdict::Fail, "birth date", &[]),
        finding_of("lead-flat", Verdict::Fail, "no signal variation", &leads),
        finding_of("cable-limb", Verdict::Warn, "may be exchanged", &[]),
        finding_of("cable-neutral", Verdict::NotAssessed, "why", &[]),
    ];
    let performed = vec!["cable-neutral", "cable-limb", "cable-chest"];
    let assessment = Assessment { unidentified: true, findings, performed, ..Assessment::default() };
    let facts = PageFacts {
        damaged: true,
        correction: Some("name".into()),
        test_recording: Some("the file names the patient \"TEST\"".into()),
        deidentified: Some("de-identified".into()),
        ..PageFacts::default()
    };
    for orientation in [Orientation::Landscape, Orientation::Portrait] {
        let paper = Paper { orientation, ..Paper::default() };
        let sheet = sheet(&twelve(), &assessment, &facts, &paper);
        let page = Drawing::read(&svg(&sheet, 0));
        assert!(page.says("DAMAGED") && page.says("UNIDENTIFIED"));
        let counted = page.texts().find(|text| text.ends_with("MORE BELOW")).expect("some find no room");
        let marks = sheet.words.iter().flat_map(|passage| &passage.entries);
        let marks = marks.into_iter().find(|entry| entry.label == "Marked").expect("all in words");
        let left_off: usize = counted["AND ".len()..].split(' ').next().unwrap().parse().unwrap();
        let all: Vec<&str> = marks.text.split("; ").collect();
        let (width, height) = (sheet.width.to_string(), sheet.height.to_string());
        assert_no_overlap(&page, width.parse().unwrap(), height.parse().unwrap());
        assert!(all[..all.len() - left_off].iter().all(|mark| page.says(mark)), "{counted}: {all:?}");
        assert_eq!(all[all.len() - 1], "RIGHT LEG CABLES NOT ASSESSED");
    }
}

#[test]
fn what_the_source_does_not_say_of_the_making_is_told_where_it_is_looked_for() {
    let mut filing = Filing { supplied_by: Person::named("M. Adeyemi"), ..Filing::default() };
    filing.at = "2026-03-02T10:05".parse().expect("a time");
    filing.acquisition.operators = vec![Person::named("J. Okafor")];
    let facts = PageFacts { filing: Some(filing), ..PageFacts::default() };
    let page = draw_with(&twelve(), &Assessment::default(), &facts).remove(0);
    assert!(page.texts().any(|text| text == "J. Okafor (supplied)"));
    let silent = |page: &Drawing| page.texts().filter(|text| text.contains("not stated")).count();
    assert_eq!(silent(&page) + 1, silent(&draw(&twelve())));
}

#[test]
fn what_was_supplied_beside_the_file_is_marked_and_the_source_is_not_overwritten() {
    let mut recording = twelve();
    recording.subject.name = PersonName::from_text("Ilse Vossebelt");
    let mut filing = Filing { supplied_by: Person::named("M. Adeyemi"), ..Filing::default() };
    filing.at = "2026-03-02T10:05".parse().expect("a time");
    filing.subject.name = PersonName::from_text("Someone Else");
    filing.subject.birth_date = "1958-11-23".parse().ok();
    let facts = PageFacts { filing: Some(filing), ..PageFacts::default() };
    let page = draw_with(&recording, &Assessment::default(), &facts).remove(0);
    assert!(page.texts().any(|text| text == "Ilse Vossebelt"));
    assert!(page.texts().any(|text| text == "born 1958-11-23 (supplied)"));
    assert!(page.says("Supplied beside the file by M. Adeyemi, 2026-03-02 10:05"));
}

#[test]
fn a_statement_carries_its_status_and_a_measurement_is_the_sources() {
    let mut recording = twelve();
    let statement = |text: &str, status| Statement { text: text.into(), status, ..Statement::default() };
    recording.statements = vec![
        statement("Sinus rhythm", Some(StatementStatus::Unconfirmed)),
        statement("Low voltage", None),
        statement("Normal axis", Some(StatementStatus::Confirmed)),
    ];
    let page = draw(&recording);
    for line in ["Sinus rhythm (unconfirmed)", "Low voltage (status not stated)", "Normal axis (confirmed)"] {
        assert!(page.texts().any(|text| text == line), "{line}");
    }
}

#[test]
fn the_page_carries_its_cautions_filters_digest_and_number() {
    let facts =
        PageFacts { digest: "ab".repeat(32), program: "ecgkeep 0.1.0".into(), ..PageFacts::default() };
    let page = draw_with(&twelve(), &Assessment::default(), &facts).remove(0);
    for words in [
        "Technical checks of the recording only. Not a diagnosis",
        "does not mean a normal ECG",
        "over-read by a qualified clinician",
        "Local policy decides acceptance",
        "Filters of the source: not stated",
        "Filters of this drawing: none",
        "Pulse of 1 mV for 0.2 s: drawn, not recorded",
        "10 s at 500 samples/s, 5000 in each lead, 1 µV per step",
        "page 1 of 1",
        "not validated for children",
        facts.digest.as_str(),
    ] {
        assert!(page.says(words), "{words}");
    }
}

#[test]
fn an_empty_recording_still_has_a_page() {
    let page = draw(&Recording::default());
    assert!(page.says("name not stated") && page.says("No lead with a known voltage"));
}

#[test]
fn the_same_recording_gives_the_same_bytes() {
    let draw = || {
        let sheet = sheet(&twelve(), &Assessment::default(), &PageFacts::default(), &Paper::default());
        svg(&sheet, 0)
    };
    let first = draw();
    assert_eq!(first, draw());
    // Twelve leads of 5000 samples; a page larger than this does not travel well.
    assert!(first.len() < 250_000, "{}", first.len());
}

#[test]
fn a_page_refers_to_nothing_outside_and_runs_nothing() {
    let page = draw(&twelve());
    let known = ["svg", "title", "desc", "rect", "path", "text", "clipPath", "g"];
    assert!(page.names().all(|name| known.contains(&name)));
    assert!(page.attributes().all(|(name, value)| {
        !name.starts_with("on") && name != "href" && (!value.contains("url(") || value.starts_with("url(#"))
    }));
}

#[test]
fn a_source_that_says_without_end_gets_an_end() {
    let mut recording = twelve();
    let text = "a statement that goes on and on ".repeat(200);
    recording.statements = vec![Statement { text, ..Statement::default() }; 500];
    let facts = PageFacts { notes: vec!["a note".repeat(30); 20_000], ..PageFacts::default() };
    let pages = draw_with(&recording, &Assessment::default(), &facts);
    assert_eq!(pages.len(), 41);
    assert!(pages[40].says("What follows has no room in this report: see the record."));
    for page in &pages {
        assert_no_overlap(page, 297.0, 210.0);
    }
}

#[test]
fn letters_that_not_every_font_has_are_numbered_beside_the_name_and_in_full_at_the_end() {
    let mut recording = twelve();
    recording.subject.name = PersonName::from_text("心電図 太郎");
    recording.acquisition.operators = vec![Person::named("नर्स")];
    let pages = draw_with(&recording, &Assessment::default(), &PageFacts::default());
    let numbers = "U+5FC3 U+96FB U+56F3 U+592A U+90CE";
    assert!(pages[0].says(&format!("Letters that not every font has, in Unicode: {numbers}")));
    assert!(
        pages[0].says("Letters that not every font has are numbered in Unicode at the end of the report")
    );
    assert!(
        pages[0].texts().any(|text| text == "心電図 太郎"),
        "and the letters stand there for fonts that have them"
    );
    let last = pages.last().expect("pages");
    assert!(last.says(&format!("心電図 太郎 [letters that not every font has, in Unicode: {numbers}]")));
    assert!(last.says("U+0928 U+0930 U+094D U+0938"));
    for page in &pages {
        assert_no_overlap(page, 297.0, 210.0);
    }
    for name in ["Ángela Núñez", "Иванов", "Ελένη", "أحمد"] {
        recording.subject.name = PersonName::from_text(name);
        recording.acquisition.operators.clear();
        let page = draw(&recording);
        assert!(!page.says("not every font has"), "{name}");
    }
}

#[test]
fn a_page_without_anything_stated_says_so_everywhere() {
    for recording in [Recording::default(), twelve()] {
        let page = draw(&recording);
        for words in ["name not stated", "identifier not stated", "birth date not stated", "not stated"] {
            assert!(page.says(words), "{words}");
        }
        assert_no_overlap(&page, 297.0, 210.0);
    }
    assert!(draw(&Recording::default()).says("Not recorded: I, II, III, aVR, aVL"));
}
