//! Lengths, heights and moments, measured in the SVG text without a look at how it was drawn.

use ecgkeep_recording::{Lead, SignalUnit, Span, Waveform};

use crate::making::{AT_500, DRAWN_WITHIN, close, deviation, draw, drawn, recording, twelve};

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
    let noise = |k: i32| k.wrapping_mul(-1_640_531_527) >> 8;
    // What a tracing may look like, in microvolts: a saw, noise of 2 and of 2,000, spikes, a stimulator's pulses, steps,
    // a slow bow, spikes on noise, nothing.
    let kinds: [(&str, &dyn Fn(i32) -> i32); 9] = [
        ("a saw", &|k| (k * 37) % 1801 - 900),
        ("little noise", &|k| noise(k) % 3),
        ("noise", &|k| noise(k) % 2001),
        ("spikes", &|k| if k % 400 == 7 { 1500 } else { 0 }),
        ("pulses", &|k| if k % 500 < 2 { 20_000 } else { k % 500 / 100 }),
        ("steps", &|k| (k / 250) % 2 * 1000),
        ("a bow", &|k| (k - 2500) * (k - 2500) / 6000),
        ("spikes on noise", &|k| noise(k) % 11 + if k % 350 == 0 { -900 } else { 0 }),
        ("nothing", &|_| 0),
    ];
    for rate in ["500", "1000", "360", "257.3", "128", "40000"] {
        let per_second: f64 = rate.parse().expect("a number");
        for (kind, count) in kinds {
            let counts: Vec<i32> = (0..10_000).map(count).collect();
            let page = draw(&recording(rate, vec![(Lead::II, counts.clone())]));
            let line = page.runs("strip-II").concat();
            let start = page.runs("seconds")[0][0].0;
            let zero = line[0].1 + f64::from(counts[0]) / 100.0;
            // The page holds the samples before the tenth second.
            let moments = (0..).map(|k| f64::from(k) / per_second).take_while(|seconds| *seconds < 10.0);
            let places: Vec<(f64, f64)> = moments
                .zip(&counts)
                .map(|(seconds, count)| (start + seconds * 25.0, zero - f64::from(*count) / 100.0))
                .collect();
            let greatest = deviation(&line, &places);
            assert!(greatest < DRAWN_WITHIN, "{kind} at {rate} per second: {greatest} mm");
            let (last, end) = (line[line.len() - 1], places[places.len() - 1]);
            assert!(
                close(line[0].0, start) && close(last.0, end.0) && close(last.1, end.1),
                "{kind}: its ends"
            );
        }
    }
}

#[test]
fn a_line_that_passes_a_sample_by_is_found_to() {
    let places = [(0.0, 0.0), (0.05, 0.0), (0.1, 5.0), (0.15, 0.0)];
    assert!(deviation(&places, &places) < 1e-9);
    assert!(deviation(&[places[0], places[1], places[3]], &places) > 4.9);
    assert!(deviation(&[places[0], places[1], (0.07, 5.0), places[2], places[3]], &places) > 0.02);
    assert!(deviation(&places[..3], &places) > 0.04);
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
    let strip = page.samples("strip-II", AT_500).concat();
    let columns = [["I", "II", "III"], ["aVR", "aVL", "aVF"], ["V1", "V2", "V3"], ["V4", "V5", "V6"]];
    for (column, leads) in columns.iter().enumerate() {
        for lead in leads {
            let segment = page.samples(&format!("lead-{lead}"), AT_500).concat();
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
    let lengths: Vec<usize> = page.samples("strip-II", AT_500).iter().map(Vec::len).collect();
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
        let path = page.samples(id, AT_500).concat();
        path[0].1 - path[k].1
    };
    let count = |lead: &Lead, k: usize| {
        let samples = &full.waveforms[0].lead(lead).expect("recorded").samples;
        f64::from(samples[k]) / 100.0
    };
    // aVF = II - I/2, the column from 2.5 s on.
    let avf = |k: usize| count(&Lead::II, k) - count(&Lead::I, k) / 2.0;
    for k in [1, 77, 1249] {
        assert!(drawn(height("lead-aVF", k), avf(1250 + k) - avf(1250)), "sample {k}");
    }
    assert!(page.says("Derived for this drawing from I and II"));
    assert_eq!(page.texts().filter(|text| *text == "derived").count(), 4);
}

#[test]
fn a_lead_that_is_not_recorded_leaves_its_place_empty_and_named() {
    let page = draw(&recording("500", vec![(Lead::V3, vec![0; 5000])]));
    assert!(page.runs("lead-V4").is_empty());
    assert!(page.says("Not recorded: I, II, III, aVR, aVL, aVF, V1, V2, V4, V5, V6."));
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
    let path = page.samples("lead-I", AT_500).concat();
    assert!(drawn(path[0].1 - path[100].1, 10.0));
    assert!(page.says("moved 2.3 mV down"));
}
