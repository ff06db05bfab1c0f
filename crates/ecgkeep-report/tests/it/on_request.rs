//! What is drawn only where it is asked for: filters, and chest leads at half the gain.

use ecgkeep_checks::Assessment;
use ecgkeep_recording::{Exact, Lead, Recording, Span, Waveform, WaveformKind};
use ecgkeep_report::{ChestGain, DisplayFilters, Gain, Layout, PageFacts, Paper, sheet, svg};

use crate::making::{AT_500, assert_no_overlap, close, drawn, recording, twelve};
use crate::reading::Drawing;

fn pages(recording: &Recording, paper: &Paper) -> Vec<Drawing> {
    let sheet = sheet(recording, &Assessment::default(), &PageFacts::default(), paper);
    (0..sheet.pages.len()).map(|page| Drawing::read(&svg(&sheet, page))).collect()
}

fn filters(high_pass: &str, low_pass: &str, notch: &str) -> DisplayFilters {
    let hertz = |text: &str| text.parse::<Exact>().ok();
    DisplayFilters { high_pass_hz: hertz(high_pass), low_pass_hz: hertz(low_pass), notch_hz: hertz(notch) }
}

/// Lead II of one microvolt per count, so many samples of `value` at 500 per second.
fn lead_two(count: i32, value: impl Fn(i32) -> i32) -> Recording {
    recording("500", vec![(Lead::II, (0..count).map(value).collect())])
}

#[test]
fn nothing_is_filtered_unless_it_is_asked_for_and_the_page_says_so() {
    let page = &pages(&twelve(), &Paper::default())[0];
    assert!(page.says("Filters of this drawing: none"));
    assert!(!page.says("Filtered"));
}

#[test]
fn a_filtered_tracing_has_the_heights_that_scipy_gives() {
    // The same figures as in zero_phase.rs (scipy 1.17.1, sosfiltfilt, padtype="even"), in microvolts; 100 to the
    // millimetre. 1000 samples end at 2 s, and the filters see no end of the drawing before that.
    let counts = |k: i32| 2 * ((k * 37) % 601 - 300) + k;
    let mut recording = lead_two(1000, counts);
    let before = recording.fingerprint();
    let paper = Paper { filters: filters("0.5", "40", "50"), ..Paper::default() };
    let path = pages(&recording, &paper)[0].samples("strip-II", AT_500).concat();
    let expected = [-324.818095, -317.405531, -95.822901, 99.273306, 166.893173, 15.591164].map(|v| 2.0 * v);
    for (at, expected) in [0, 1, 17, 400, 777, 999].into_iter().zip(expected) {
        assert!(drawn(path[0].1 - path[at].1, (expected - 2.0 * -324.818095) / 100.0), "sample {at}");
    }
    // And the recording is what it was.
    assert_eq!(recording.fingerprint(), before);
    recording.waveforms[0].marks.clear();
    assert_eq!(recording, lead_two(1000, counts));
}

#[test]
fn every_row_says_how_it_is_filtered_and_the_page_what_that_hides() {
    for layout in [Layout::ThreeByFour, Layout::ThreeByFourThreeStrips, Layout::SixByTwo, Layout::TwelveByOne]
    {
        let paper = Paper { filters: filters("0.7", "40", "50"), layout, ..Paper::default() };
        for page in pages(&twelve(), &paper) {
            if page.runs("bar").is_empty() {
                continue;
            }
            let rows = page.rows();
            let words = "Filtered: high-pass 0.7 Hz,";
            let count = page.texts().filter(|text| text.starts_with(words)).count();
            assert_eq!(count, rows, "{layout:?}");
            assert!(
                page.says("low-pass 40 Hz, Butterworth order 2, notch 50 Hz, 2 Hz wide, order 2, both ways")
            );
            assert_no_overlap(&page, 297.0, 210.0);
        }
        let all = pages(&twelve(), &paper);
        let says = |words: &str| all.iter().any(|page| page.says(words));
        assert!(says("mirrored at its ends") && says("The record holds the samples unfiltered"));
        assert!(says("can hide Q waves") && says("can bend ST segments") && says("can ring"));
    }
}

#[test]
fn a_gap_stays_a_gap_and_no_filter_reaches_across_it() {
    let mut recording = lead_two(5000, |k| if k < 2500 { 0 } else { 900 });
    let waveform = recording.waveforms.remove(0);
    let rate = waveform.rate();
    let signal = waveform.into_signals().remove(0).with_missing(vec![Span { start: 2400, end: 2500 }]);
    recording.waveforms = vec![Waveform::new(rate, vec![signal]).expect("one signal")];
    let paper = Paper { filters: filters("", "40", ""), ..Paper::default() };
    let runs = pages(&recording, &paper)[0].samples("strip-II", AT_500);
    assert_eq!(runs.iter().map(Vec::len).collect::<Vec<_>>(), [2400, 2500]);
    assert!(runs[0].iter().all(|point| close(point.1, runs[0][0].1)));
    assert!(runs[1].iter().all(|point| close(runs[0][0].1 - point.1, 9.0)));
}

#[test]
fn a_filter_that_the_rate_cannot_carry_is_left_out_and_named() {
    let counts: Vec<i32> = (0..1000).map(|k| (k * 37) % 601 - 300).collect();
    let recording = recording("100", vec![(Lead::II, counts.clone())]);
    let paper = Paper { filters: filters("", "150", ""), ..Paper::default() };
    let all = pages(&recording, &paper);
    let path = all[0].samples("strip-II", 5.0 * AT_500).concat();
    assert!((0..1000).all(|k| drawn(path[0].1 - path[k].1, f64::from(counts[k] - counts[0]) / 100.0)));
    let said = "not applied, because sampled at less than twice its frequency: low-pass 150 Hz.";
    assert!(all.iter().all(|page| page.says(said)
        && !page.says("Filtered: ")
        && page.says("Filters of this drawing: none")));
    // One filter of two, and a lead of two.
    let both = Paper { filters: filters("0.5", "150", ""), ..Paper::default() };
    let all = pages(&recording, &both);
    assert!(
        all[0].says("Filtered: high-pass 0.5 Hz") && !all[0].says("Filtered: high-pass 0.5 Hz, low-pass")
    );
    let fast: Vec<i32> = (0..5000).map(|k| (k * 37) % 601 - 300).collect();
    let mut mixed = self::recording("100", vec![(Lead::II, counts)]);
    mixed.waveforms.extend(self::recording("500", vec![(Lead::V1, fast)]).waveforms);
    let page = pages(&mixed, &paper).remove(0);
    assert!(
        page.says("sampled at less than twice its frequency: II")
            && page.says("low-pass 150 Hz")
            && page.says("II not by all, see below")
    );
}

#[test]
fn a_representative_beat_is_drawn_as_the_source_computed_it() {
    let mut recording = twelve();
    let mut beat = twelve().waveforms.remove(0);
    beat.kind = WaveformKind::RepresentativeBeat { class: 0 };
    recording.waveforms.push(beat);
    let paper = Paper { filters: filters("0.5", "40", ""), ..Paper::default() };
    let (plain, filtered) = (pages(&recording, &Paper::default()), pages(&recording, &paper));
    let heights = |page: &Drawing| -> Vec<f64> {
        let path = page.runs("lead-V1").concat();
        path.iter().map(|point| point.1 - path[0].1).collect()
    };
    assert_ne!(heights(&plain[0]), heights(&filtered[0]));
    assert_eq!(heights(&plain[1]), heights(&filtered[1]));
    assert!(filtered[1].says("as the source computed it, drawn without filter"));
}

#[test]
fn what_cannot_be_a_filter_is_refused_in_words() {
    assert_eq!(filters("0.5", "40", "50").fault(), None);
    assert_eq!(filters("0", "", "").fault().as_deref(), Some("a filter at 0 Hz: it must lie above 0 Hz"));
    assert_eq!(
        filters("40", "0.5", "").fault().as_deref(),
        Some("high-pass 40 Hz and low-pass 0.5 Hz leave nothing to draw")
    );
}

#[test]
fn chest_leads_at_half_the_gain_say_so_and_have_a_pulse_of_their_own() {
    let recording = twelve();
    for (gain, limb, chest) in [(Gain::Mm5, 5.0, 2.5), (Gain::Mm10, 10.0, 5.0), (Gain::Mm20, 20.0, 10.0)] {
        for layout in [Layout::ThreeByFour, Layout::SixByTwo, Layout::TwelveByOne] {
            let paper = Paper { gain, layout, chest: ChestGain::Half, ..Paper::default() };
            let mut pulses = 0;
            for page in pages(&recording, &paper) {
                for (id, height) in [("calibration", limb), ("calibration-chest", chest)] {
                    if page.runs(id).is_empty() {
                        continue;
                    }
                    let (x, y) = page.extent(id);
                    assert!(close(x.1 - x.0, 5.0) && close(y.1 - y.0, height), "{gain:?} {layout:?} {id}");
                    pulses += 1;
                }
                for lead in Lead::TWELVE {
                    let path = page.samples(&format!("lead-{lead}"), AT_500).concat();
                    if path.is_empty() {
                        continue;
                    }
                    let is_chest = lead.name().starts_with('V');
                    let per_millivolt = if is_chest { chest } else { limb };
                    let id = if is_chest { "calibration-chest" } else { "calibration" };
                    assert!(!page.runs(id).is_empty(), "a pulse of the gain of {lead}");
                    let samples = &recording.waveforms[0].lead(&lead).expect("recorded").samples;
                    let first = (0..=3750).find(|first| {
                        (0..path.len().min(50)).all(|n| {
                            let height = f64::from(samples[first + n] - samples[*first]) / 1000.0;
                            drawn(path[0].1 - path[n].1, height * per_millivolt)
                        })
                    });
                    assert!(first.is_some(), "{lead} at {per_millivolt} mm/mV");
                }
                let marked = page.texts().filter(|text| *text == format!("{chest} mm/mV")).count();
                let chest_leads =
                    Lead::TWELVE[6..].iter().filter(|lead| !page.runs(&format!("lead-{lead}")).is_empty());
                if !page.runs("bar").is_empty() {
                    assert_eq!(marked, chest_leads.count(), "{layout:?}");
                    assert!(page.says(&format!("{limb} mm/mV: 1 mm is")));
                    assert!(page.says(&format!("chest leads {chest} mm/mV: 1 mm is")));
                }
                assert_no_overlap(&page, 297.0, 210.0);
            }
            assert!(pulses >= 2);
        }
    }
}
