//! Large deflections: the gain stays the one asked for, rows stand apart as they need, what is larger overlaps whole.

use ecgkeep_checks::Assessment;
use ecgkeep_recording::Lead;
use ecgkeep_report::{Gain, Layout, PageFacts, Paper, sheet, svg};

use crate::making::{AT_500, close, drawn, recording};
use crate::reading::Drawing;

/// Twelve leads at 0 but for one spike of so many microvolts in some of them, at 1.2 s.
fn with_spikes(spikes: &[(Lead, i32)]) -> ecgkeep_recording::Recording {
    let counts = |lead: &Lead| {
        let mut counts = vec![0; 5000];
        if let Some((_, height)) = spikes.iter().find(|(spiked, _)| spiked == lead) {
            counts[600] = *height;
        }
        counts
    };
    recording("500", Lead::TWELVE.iter().map(|lead| (lead.clone(), counts(lead))).collect())
}

fn pages(spikes: &[(Lead, i32)], paper: &Paper) -> Vec<Drawing> {
    let sheet = sheet(&with_spikes(spikes), &Assessment::default(), &PageFacts::default(), paper);
    (0..sheet.pages.len()).map(|page| Drawing::read(&svg(&sheet, page))).collect()
}

fn base(page: &Drawing, id: &str) -> f64 {
    page.runs(id).concat()[0].1
}

#[test]
fn rows_move_apart_for_large_deflections_and_nothing_overlaps_while_the_page_has_room() {
    // -2 mV in II and 2.5 mV in III: 20 mm, 25 mm and 2 mm of white.
    let page = &pages(&[(Lead::II, -2_000), (Lead::III, 2_500)], &Paper::default())[0];
    let apart = base(page, "lead-III") - base(page, "lead-II");
    assert!(apart >= 47.0, "{apart}");
    assert!(!page.says("Overlap"));
    let plain = &pages(&[], &Paper::default())[0];
    assert!(close(base(plain, "lead-II") - base(plain, "lead-I"), 27.0));
}

#[test]
fn what_has_no_room_overlaps_whole_at_the_gain_of_the_page_and_is_named() {
    let spikes = [(Lead::I, -6_000), (Lead::II, 6_000), (Lead::III, 4_000)];
    let page = &pages(&spikes, &Paper::default())[0];
    for (lead, height) in spikes {
        let path = page.samples(&format!("lead-{lead}"), AT_500).concat();
        assert!(drawn(path[0].1 - path[600].1, f64::from(height) / 100.0), "{lead} is whole");
    }
    assert!(page.says("Overlap, each drawn whole at the gain of the page: I with II"));
    let (_, y) = page.extent("calibration");
    assert!(close(y.1 - y.0, 10.0));
}

#[test]
fn at_the_double_gain_rows_stand_twice_as_far_apart_on_more_pages() {
    let paper = Paper { gain: Gain::Mm20, layout: Layout::ThreeByFourThreeStrips, ..Paper::default() };
    let all = pages(&[], &paper);
    let strips = ["strip-II", "strip-V1", "strip-V5"];
    assert!(strips.iter().all(|id| all[0].runs(id).is_empty() && !all[1].runs(id).is_empty()));
    for (page, ids) in [(&all[0], ["lead-I", "lead-II", "lead-III"]), (&all[1], strips)] {
        let bases = ids.map(|id| base(page, id));
        assert!(bases.windows(2).all(|pair| pair[1] - pair[0] >= 26.0), "{bases:?}");
        assert!(page.says("0 to 10 s") || page.says("page 1 of") || page.says("page 2 of"));
    }
}

#[test]
fn a_spike_beyond_every_row_leaves_the_other_rows_apart() {
    let page = &pages(&[(Lead::II, 30_000)], &Paper::default())[0];
    let ids = ["lead-I", "lead-II", "lead-III", "strip-II"];
    let bases = ids.map(|id| base(page, id));
    assert!(bases.windows(2).all(|pair| pair[1] - pair[0] >= 13.0), "{bases:?}");
    assert!(page.says("Cut at the edge of the grid, marked there: II (reaches 30.00 mV)"));
}
