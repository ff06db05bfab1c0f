//! The page as a reader of the file sees it: measured in the SVG text, without a look at how it was drawn.

mod reading;

use ecgkeep_checks::{Assessment, Finding, Verdict};
use ecgkeep_recording::{
    Exact, Filing, Identifier, Lead, Person, PersonName, Rate, Recording, Signal, SignalUnit, Span,
    Statement, StatementStatus, Step, Waveform, WaveformKind,
};
use ecgkeep_report::{
    Gain, Layout, LeadOrder, Orientation, PageFacts, Paper, PaperSize, Speed, html, sheet, svg,
};
use reading::Drawing;

/// What a millimetre may be off: half of the last decimal, twice.
const EXACT: f64 = 0.0011;

/// A recording of these leads at so many samples per second, one microvolt per count.
fn recording(rate: &str, signals: Vec<(Lead, Vec<i32>)>) -> Recording {
    let step = Step::new(Exact::whole(1000)).expect("not zero");
    let signals = signals.into_iter().map(|(lead, counts)| Signal::new(lead, step, counts)).collect();
    let rate = Rate::new(rate.parse().expect("a number")).expect("above zero");
    Recording {
        waveforms: vec![Waveform::new(rate, signals).expect("equal lengths")],
        ..Recording::default()
    }
}

/// Twelve leads of ten seconds at 500 samples per second, each sample unlike its neighbours.
fn twelve() -> Recording {
    let counts = |n: i32| (0..5000).map(|k| (k * 37 + n * 101) % 601 - 300).collect();
    recording("500", (0..).zip(Lead::TWELVE).map(|(n, lead)| (lead, counts(n))).collect())
}

fn draw_with(recording: &Recording, assessment: &Assessment, facts: &PageFacts) -> Vec<Drawing> {
    let sheet = sheet(recording, assessment, facts, &Paper::default());
    (0..sheet.pages.len()).map(|page| Drawing::read(&svg(&sheet, page))).collect()
}

fn draw(recording: &Recording) -> Drawing {
    draw_with(recording, &Assessment::default(), &PageFacts::default()).remove(0)
}

/// No text leaves the paper or lies on another.
fn assert_no_overlap(page: &Drawing, width: f64, height: f64) {
    let boxes: Vec<(&str, [f64; 4])> = page.boxes().collect();
    for (n, (text, a)) in boxes.iter().enumerate() {
        assert!(
            a[0] >= 5.0 && a[2] <= width - 5.0 && a[1] >= 3.0 && a[3] <= height - 3.0,
            "{text} leaves the page"
        );
        for (other, b) in &boxes[n + 1..] {
            let apart = a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1];
            assert!(apart, "{text:?} {a:?} lies on {other:?} {b:?}");
        }
    }
}

fn close(found: f64, expected: f64) -> bool {
    (found - expected).abs() <= EXACT
}

#[test]
fn a_page_is_a4_landscape_with_one_unit_to_the_millimetre() {
    let page = draw(&twelve());
    let root = page.element("svg");
    assert_eq!(root["width"], "297mm");
    assert_eq!(root["height"], "210mm");
    assert_eq!(root["viewBox"], "0 0 297 210");
    assert_eq!(root["lang"], "en");
}

#[test]
fn the_calibration_pulse_is_one_millivolt_high_and_a_fifth_of_a_second_long() {
    // 10 mm and 5 mm at 25 mm/s and 10 mm/mV (common practice, no source).
    let (x, y) = draw(&twelve()).extent("calibration");
    assert!(close(x.1 - x.0, 5.0) && close(y.1 - y.0, 10.0), "{x:?} {y:?}");
}

#[test]
fn the_bar_is_fifty_millimetres_long() {
    let page = draw(&twelve());
    let (x, y) = page.extent("bar");
    assert!(close(x.1 - x.0, 50.0) && close(y.1 - y.0, 0.0));
    assert!(page.says("Measure this bar before measuring anything"));
}

#[test]
fn grid_lines_stand_one_and_five_millimetres_apart() {
    let page = draw(&twelve());
    let mut uprights: Vec<f64> = Vec::new();
    for (id, pitch) in [("grid-5mm", 5.0), ("grid-1mm", 1.0)] {
        let lines = page.runs(id);
        uprights.extend(lines.iter().filter(|line| line[0].0 == line[1].0).map(|line| line[0].0));
        uprights.sort_by(f64::total_cmp);
        assert!(uprights.windows(2).all(|pair| close(pair[1] - pair[0], pitch)), "{id}");
    }
    assert!(close(uprights[uprights.len() - 1] - uprights[0], 260.0));
}

#[test]
fn every_sample_stands_at_its_moment_and_height() {
    for rate in ["500", "1000", "360", "257.3", "128"] {
        let per_second: f64 = rate.parse().expect("a number");
        let counts: Vec<i32> = (0..10_000).map(|k| (k * 37) % 1801 - 900).collect();
        let page = draw(&recording(rate, vec![(Lead::II, counts.clone())]));
        let path = page.runs("strip-II").concat();
        // The page holds the samples before the tenth second.
        let shown = (0..).take_while(|k| f64::from(*k) / per_second < 10.0).count();
        assert_eq!(path.len(), shown.min(counts.len()), "{rate}");
        let start = path[0].0;
        let zero = path[0].1 + f64::from(counts[0]) / 100.0;
        for (k, (x, y)) in path.iter().enumerate() {
            #[expect(clippy::cast_precision_loss, reason = "some thousand samples")]
            let seconds = k as f64 / per_second;
            assert!(close(*x, start + seconds * 25.0), "{rate}: sample {k} at {x}");
            assert!(close(*y, zero - f64::from(counts[k]) / 100.0), "{rate}: sample {k} at height {y}");
        }
    }
}

#[test]
fn an_impulse_stands_where_it_was_and_as_high_as_it_was() {
    let mut counts = vec![0; 5000];
    counts[3210] = 1500;
    let path = draw(&recording("500", vec![(Lead::II, counts)])).runs("strip-II").concat();
    let peak = path.iter().copied().reduce(|a, b| if b.1 < a.1 { b } else { a }).expect("points");
    assert!(close(peak.0 - path[0].0, 3210.0 / 500.0 * 25.0));
    assert!(close(path[0].1 - peak.1, 15.0));
}

#[test]
fn a_column_is_the_same_stretch_of_time_as_the_strip_below_it() {
    let page = draw(&twelve());
    let strip = page.runs("strip-II").concat();
    let columns = [["I", "II", "III"], ["aVR", "aVL", "aVF"], ["V1", "V2", "V3"], ["V4", "V5", "V6"]];
    for (column, leads) in columns.iter().enumerate() {
        for lead in leads {
            let segment = page.runs(&format!("lead-{lead}")).concat();
            let below = &strip[column * 1250..(column + 1) * 1250];
            assert_eq!(segment.len(), 1250);
            assert!(segment.iter().zip(below).all(|(a, b)| close(a.0, b.0)), "{lead}");
        }
    }
}

#[test]
fn a_line_between_two_samples_is_drawn_only_where_neither_is_missing() {
    let mut recording = twelve();
    let waveform = recording.waveforms.remove(0);
    let rate = waveform.rate();
    let signals = waveform.into_signals().into_iter().map(|signal| match signal.lead {
        Lead::II => signal.with_missing(vec![Span { start: 700, end: 900 }, Span { start: 901, end: 1000 }]),
        _ => signal,
    });
    recording.waveforms = vec![Waveform::new(rate, signals.collect()).expect("equal lengths")];
    let page = draw(&recording);
    let lengths: Vec<usize> = page.runs("strip-II").iter().map(Vec::len).collect();
    assert_eq!(lengths, [700, 1, 4000]);
    assert!(page.says("Gaps where samples are missing: II (299 samples)"));
}

#[test]
fn four_leads_are_derived_where_they_are_not_recorded_and_say_so() {
    let full = twelve();
    let eight = |lead: &Lead| Lead::EIGHT.contains(lead);
    let signals = full.waveforms[0].signals().iter().filter(|signal| eight(&signal.lead));
    let signals = signals.map(|signal| (signal.lead.clone(), signal.samples.clone())).collect();
    let page = draw(&recording("500", signals));
    let height = |id: &str, k: usize| {
        let path = page.runs(id).concat();
        path[0].1 - path[k].1
    };
    let count = |lead: &Lead, k: usize| {
        let samples = &full.waveforms[0].lead(lead).expect("recorded").samples;
        f64::from(samples[k]) / 100.0
    };
    // aVF = II - I/2, the column from 2.5 s on.
    let avf = |k: usize| count(&Lead::II, k) - count(&Lead::I, k) / 2.0;
    for k in [1, 77, 1249] {
        assert!(close(height("lead-aVF", k), avf(1250 + k) - avf(1250)), "sample {k}");
    }
    assert!(page.says("Derived for this drawing from I and II"));
    assert_eq!(page.texts().filter(|text| *text == "derived").count(), 4);
}

#[test]
fn a_lead_that_is_not_recorded_leaves_its_place_empty_and_named() {
    let page = draw(&recording("500", vec![(Lead::V3, vec![0; 5000])]));
    assert!(page.runs("lead-V4").is_empty());
    assert!(page.says("Not recorded: I, aVR, V1, V4, II, aVL, V2, V5, III, aVF, V6."));
    assert_eq!(page.texts().filter(|text| *text == "not recorded").count(), 12);
}

#[test]
fn what_is_no_voltage_is_not_drawn_and_named() {
    let mut recording = twelve();
    let waveform = recording.waveforms.remove(0);
    let rate = waveform.rate();
    let mut signals = waveform.into_signals();
    signals[6].unit = SignalUnit::Uncalibrated;
    recording.waveforms = vec![Waveform::new(rate, signals).expect("equal lengths")];
    let page = draw(&recording);
    assert!(page.runs("lead-V1").is_empty());
    assert!(page.says("V1 (no scale, so no voltage)"));
}

#[test]
fn a_tracing_that_leaves_the_grid_is_whole_in_the_file_and_its_cut_is_named() {
    let mut counts = vec![0; 5000];
    counts[4000] = 62_000;
    let page = draw(&recording("500", vec![(Lead::V4, counts)]));
    let path = page.runs("lead-V4").concat();
    let top = path.iter().map(|point| point.1).fold(f64::MAX, f64::min);
    assert!(close(path[0].1 - top, 620.0));
    assert!(page.says("Cut at the edge of the grid, marked there: V4 (reaches 62.00 mV)"));
}

#[test]
fn a_tracing_far_from_zero_is_moved_as_a_whole_and_says_by_how_much() {
    let mut counts = vec![2_340; 5000];
    counts[100] = 3_340;
    let page = draw(&recording("500", vec![(Lead::I, counts)]));
    let path = page.runs("lead-I").concat();
    assert!(close(path[0].1 - path[100].1, 10.0));
    assert!(page.says("moved 2.3 mV down"));
}

#[test]
fn a_longer_recording_goes_on_on_numbered_pages() {
    let counts: Vec<i32> = (0..12_400).map(|k| (k * 53) % 1999 - 999).collect();
    let recording = recording("500", vec![(Lead::II, counts.clone())]);
    let mut pages = draw_with(&recording, &Assessment::default(), &PageFacts::default());
    // Then one of words: eleven leads that are not recorded take more room than the foot has.
    assert!(pages.pop().is_some_and(|page| page.says("page 4 of 4") && page.says("This drawing")));
    let points: Vec<usize> = pages.iter().map(|page| page.runs("strip-II").concat().len()).collect();
    assert_eq!(points, [5000, 5000, 2400]);
    assert!(pages[1].says("page 2 of 4") && pages[1].says("10 to 20 s of 24.8 s drawn on this page"));
    let second = pages[1].runs("strip-II").concat();
    assert!(close(second[0].1 - second[7].1, f64::from(counts[5007] - counts[5000]) / 100.0));
}

#[test]
fn what_no_page_has_room_for_is_said_to_be_undrawn() {
    let recording = recording("500", vec![(Lead::II, vec![0; 25_000])]);
    let paper = Paper { pages_at_most: 2, ..Paper::default() };
    let sheet = sheet(&recording, &Assessment::default(), &PageFacts::default(), &paper);
    let strips =
        (0..sheet.pages.len()).filter(|page| !Drawing::read(&svg(&sheet, *page)).runs("strip-II").is_empty());
    assert_eq!(strips.count(), 2);
    assert!(Drawing::read(&svg(&sheet, 1)).says("what follows is not drawn in this report"));
}

/// Every paper, speed, gain and layout that can be chosen.
fn papers() -> Vec<Paper> {
    let mut all = Vec::new();
    for (size, orientation) in [
        (PaperSize::A4, Orientation::Landscape),
        (PaperSize::A4, Orientation::Portrait),
        (PaperSize::Letter, Orientation::Landscape),
        (PaperSize::Letter, Orientation::Portrait),
    ] {
        for (speed, gain) in
            [(Speed::Mm12_5, Gain::Mm5), (Speed::Mm25, Gain::Mm10), (Speed::Mm50, Gain::Mm20)]
        {
            for layout in
                [Layout::ThreeByFour, Layout::ThreeByFourThreeStrips, Layout::SixByTwo, Layout::TwelveByOne]
            {
                for order in [LeadOrder::Standard, LeadOrder::Anatomical] {
                    all.push(Paper { size, orientation, speed, gain, layout, order, ..Paper::default() });
                }
            }
        }
    }
    all
}

#[test]
fn every_paper_keeps_its_scale_and_shows_every_lead() {
    let recording = twelve();
    for paper in papers() {
        let sheet = sheet(&recording, &Assessment::default(), &PageFacts::default(), &paper);
        let (mm_per_second, mm_per_millivolt) = match (paper.speed, paper.gain) {
            (Speed::Mm12_5, Gain::Mm5) => (12.5, 5.0),
            (Speed::Mm50, Gain::Mm20) => (50.0, 20.0),
            _ => (25.0, 10.0),
        };
        let mut seen: Vec<Lead> = Vec::new();
        for page in 0..sheet.pages.len() {
            let page = Drawing::read(&svg(&sheet, page));
            if !page.says("mm/mV: 1 mm is") || page.runs("bar").is_empty() {
                continue;
            }
            let (x, y) = page.extent("calibration");
            assert!(close(x.1 - x.0, 0.2 * mm_per_second) && close(y.1 - y.0, mm_per_millivolt), "{paper:?}");
            let (x, _) = page.extent("bar");
            assert!(close(x.1 - x.0, 50.0));
            for lead in Lead::TWELVE.into_iter().chain([Lead::NegativeAVR]) {
                let path = page.runs(&format!("lead-{lead}")).concat();
                if path.len() < 2 {
                    continue;
                }
                let samples = match lead {
                    Lead::NegativeAVR => recording.waveforms[0].lead(&Lead::AVR),
                    _ => recording.waveforms[0].lead(&lead),
                };
                let samples = &samples.expect("recorded").samples;
                let sign = if lead == Lead::NegativeAVR { -1.0 } else { 1.0 };
                let height = |a: usize, b: usize| {
                    sign * f64::from(samples[b] - samples[a]) / 1000.0 * mm_per_millivolt
                };
                // A stretch of the recording that fits all of the path.
                #[expect(clippy::cast_precision_loss, reason = "some thousand samples")]
                let fits = |first: usize| {
                    path.iter().enumerate().all(|(n, point)| {
                        close(path[0].1 - point.1, height(first, first + n))
                            && close(point.0 - path[0].0, n as f64 / 500.0 * mm_per_second)
                    })
                };
                assert!((0..=samples.len() - path.len()).any(fits), "{lead} on {paper:?}");
                seen.push(lead);
            }
        }
        seen.sort_by_key(Lead::number);
        seen.dedup();
        assert_eq!(seen.len(), 12, "{paper:?}");
    }
}

#[test]
fn no_text_lies_on_another_on_any_paper() {
    let mut recording = twelve();
    recording.subject.name = PersonName::from_text("Wilhelmina Constantia van der Achterberg-Weissenborn");
    recording.acquisition.institution = Some("Larkmoor Day Clinic".into());
    for paper in papers() {
        let sheet = sheet(&recording, &Assessment::default(), &PageFacts::default(), &paper);
        for page in 0..sheet.pages.len() {
            let page = Drawing::read(&svg(&sheet, page));
            assert_no_overlap(&page, sheet.width.to_f64(), sheet.height.to_f64());
        }
    }
}

#[test]
fn a_lead_without_a_place_in_the_layout_has_a_page_of_its_own() {
    let mut signals: Vec<(Lead, Vec<i32>)> = vec![(Lead::V4R, (0..5000).map(|k| k % 97).collect())];
    signals.push((Lead::Other("MLII \"<x>".into()), vec![5; 5000]));
    let pages = draw_with(&recording("500", signals), &Assessment::default(), &PageFacts::default());
    assert_eq!(pages[1].runs("strip-V4R").concat().len(), 5000);
    assert!(pages[1].texts().any(|text| text == "MLII \"<x>"));
}

#[test]
fn a_representative_beat_has_a_page_with_every_lead_from_its_first_sample() {
    let mut recording = twelve();
    let mut beat = twelve().waveforms.remove(0);
    beat.kind = WaveformKind::RepresentativeBeat { class: 0 };
    let rate = beat.rate();
    let cut = |mut signal: Signal| {
        signal.samples.truncate(600);
        signal
    };
    let signals = beat.into_signals().into_iter().map(cut).collect();
    let mut beat = Waveform::new(rate, signals).expect("equal lengths");
    beat.kind = WaveformKind::RepresentativeBeat { class: 0 };
    recording.waveforms.push(beat);
    let pages = draw_with(&recording, &Assessment::default(), &PageFacts::default());
    assert!(pages[1].says("Representative beat of class 1, 1.2 s"));
    for lead in Lead::TWELVE {
        assert_eq!(pages[1].runs(&format!("lead-{lead}")).concat().len(), 600, "{lead}");
        assert_eq!(pages[0].runs(&format!("lead-{lead}")).concat().len(), 1250, "{lead}");
    }
}

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
                lead: Some(Lead::V3),
                span: None,
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

#[test]
fn the_gravest_finding_stands_first() {
    let finding = |verdict, text: &str| Finding {
        code: "duration",
        verdict,
        lead: None,
        span: None,
        text: text.into(),
        measured: None,
        threshold: None,
        source: "project choice",
    };
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
fn damage_correction_and_a_missing_identity_cannot_be_overlooked() {
    let assessment = Assessment { unidentified: true, ..Assessment::default() };
    let facts = PageFacts { damaged: true, correction: Some("name".into()), ..PageFacts::default() };
    let page = draw_with(&twelve(), &assessment, &facts).remove(0);
    // Once in the head, the gravest also large behind the tracings.
    let count = |word| page.texts().filter(|text| *text == word).count();
    assert_eq!((count("DAMAGED"), count("UNIDENTIFIED"), count("CORRECTED")), (2, 1, 1));
    let plain = draw(&twelve());
    assert!(plain.texts().all(|text| text != "DAMAGED" && text != "UNIDENTIFIED"));
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
        "Filters declared by the source: not stated",
        "Filters applied for this drawing: none",
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
fn a_signal_too_many_is_named_and_not_drawn() {
    let signals = (0..60).map(|n| (Lead::Other(format!("X{n}")), vec![n; 50])).collect();
    let paper = Paper { pages_at_most: 3, ..Paper::default() };
    let sheet = sheet(&recording("500", signals), &Assessment::default(), &PageFacts::default(), &paper);
    let all: Vec<Drawing> = (0..sheet.pages.len()).map(|page| Drawing::read(&svg(&sheet, page))).collect();
    let drawn =
        (0..60).filter(|n| all.iter().any(|page| !page.runs(&format!("strip-X{n}")).is_empty())).count();
    // The layout's own page, and two of seven strips each at most.
    assert!((1..=14).contains(&drawn), "{drawn}");
    assert!(all.iter().any(|page| page.says("X59 (no place in this report)")));
}
