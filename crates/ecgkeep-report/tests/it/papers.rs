//! Papers, scales, layouts, and what goes on on further pages.

use ecgkeep_checks::Assessment;
use ecgkeep_recording::{Lead, PersonName, Signal, Waveform, WaveformKind};
use ecgkeep_report::{Gain, Layout, LeadOrder, Orientation, PageFacts, Paper, PaperSize, Speed, sheet, svg};

use crate::making::{AT_500, assert_no_overlap, close, draw_with, drawn, recording, twelve};
use crate::reading::Drawing;

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
                let path = page.samples(&format!("lead-{lead}"), mm_per_second / 500.0).concat();
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
                        drawn(path[0].1 - point.1, height(first, first + n))
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
    assert_eq!(pages[1].samples("strip-V4R", AT_500).concat().len(), 5000);
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
        assert_eq!(pages[1].samples(&format!("lead-{lead}"), AT_500).concat().len(), 600, "{lead}");
        assert_eq!(pages[0].samples(&format!("lead-{lead}"), AT_500).concat().len(), 1250, "{lead}");
    }
}

#[test]
fn a_longer_recording_goes_on_on_numbered_pages() {
    let counts: Vec<i32> = (0..12_400).map(|k| (k * 53) % 1999 - 999).collect();
    let recording = recording("500", vec![(Lead::II, counts.clone())]);
    let pages = draw_with(&recording, &Assessment::default(), &PageFacts::default());
    let samples: Vec<usize> =
        pages.iter().map(|page| page.samples("strip-II", AT_500).concat().len()).collect();
    assert_eq!(samples, [5000, 5000, 2400]);
    assert!(pages[1].says("page 2 of 3") && pages[1].says("10 to 20 s of 24.8 s drawn on this page"));
    let second = pages[1].samples("strip-II", AT_500).concat();
    assert!(drawn(second[0].1 - second[7].1, f64::from(counts[5007] - counts[5000]) / 100.0));
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

#[test]
fn a_page_that_leaves_leads_to_another_says_which_and_where() {
    let more = (0..9).map(|n| Lead::Other(format!("X{n}")));
    let signals = Lead::TWELVE.into_iter().chain(more).map(|lead| (lead, vec![0; 7000])).collect();
    let pages = draw_with(&recording("500", signals), &Assessment::default(), &PageFacts::default());
    let on = |page: &Drawing| {
        let drawn = (0..9).filter(|n| !page.runs(&format!("strip-X{n}")).is_empty());
        drawn.map(|n| format!("X{n}")).collect::<Vec<_>>().join(", ")
    };
    let (second, third) = (on(&pages[1]), on(&pages[2]));
    assert!(!second.is_empty() && !third.is_empty());
    assert!(pages[0].says(&format!("Further leads on page 2: {second}; on page 3: {third}.")));
    assert!(pages[2].says("Further leads on page 1: I, aVR, V1, V4,"));
    // The next ten seconds begin with the fourth page.
    assert!(pages[3].says(&format!("Further leads on page 5: {second}; on page 6: {third}.")));
}
