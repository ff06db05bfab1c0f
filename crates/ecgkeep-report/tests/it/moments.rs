//! What stands at which moment: leads recorded together, one after the other, or in several stretches.

use ecgkeep_checks::Assessment;
use ecgkeep_recording::{Exact, Lead, Recording, Waveform};
use ecgkeep_report::{PageFacts, Paper, sheet, svg};

use crate::making::{close, recording, twelve};
use crate::reading::Drawing;

/// From sample to sample in millimetres at 100 samples per second.
const AT_100: f64 = 0.25;

/// A waveform of these leads, each sample its number, that begins and lasts so many seconds.
fn stretch(leads: &[Lead], start: &str, seconds: i32) -> Waveform {
    let counts: Vec<i32> = (0..seconds * 100).collect();
    let signals = leads.iter().map(|lead| (lead.clone(), counts.clone())).collect();
    let mut waveform = recording("100", signals).waveforms.remove(0);
    waveform.start = start.parse::<Exact>().expect("a number");
    waveform
}

fn first_page(waveforms: Vec<Waveform>) -> Drawing {
    let recording = Recording { waveforms, ..Recording::default() };
    let sheet = sheet(&recording, &Assessment::default(), &PageFacts::default(), &Paper::default());
    Drawing::read(&svg(&sheet, 0))
}

#[test]
fn leads_recorded_together_share_the_time_axis_and_the_page_says_so() {
    let recording = twelve();
    let page = first_page(recording.waveforms);
    assert!(page.says("All leads recorded together; each column is its own stretch of the time axis"));
    assert!(page.runs("seams").is_empty());
}

#[test]
fn leads_recorded_one_after_the_other_are_marked() {
    let leads = Lead::TWELVE;
    let page = first_page(vec![
        stretch(&leads[..3], "0", 3),
        stretch(&leads[3..6], "3", 3),
        stretch(&leads[6..], "6", 4),
    ]);
    assert!(page.says("Not recorded together (brackets mark where a stretch begins and ends): I,"));
    assert!(page.says("aVF: 3 to 6 s; V1"));
    assert!(!page.says("All leads recorded together"));
    // aVR stands from 2.5 to 5 s and begins at 3 s: 0.5 s, 12.5 mm into its column.
    let column = 62.5;
    let zero = page.runs("seconds")[0][0].0;
    let path = page.runs("lead-aVR").concat();
    assert!(close(path[0].0, zero + column + 12.5));
    let bracket = |x: f64| page.runs("seams").iter().any(|line| close(line[0].0, x) && close(line[1].0, x));
    assert!(bracket(zero + column + 12.5));
    let samples = |id: &str| page.samples(id, AT_100).concat().len();
    // V1 from 5 s: less than half of its column, and still enough; V6 fills its own.
    assert!(samples("lead-V1") >= 150 && samples("lead-V6") == 250);
}

#[test]
fn a_lead_recorded_at_another_moment_than_its_column_is_seen_and_marked() {
    let leads = Lead::TWELVE;
    let page = first_page(vec![stretch(&leads[..11], "0", 10), stretch(&leads[11..], "1", 2)]);
    assert_eq!(page.samples("lead-V6", AT_100).concat().len(), 200);
    assert!(page.texts().any(|text| text == "from 1 s"));
    assert!(
        page.says("Not above its moment of the time axis, marked //, because not recorded then: V6 from 1 s")
    );
    // Two slanted strokes where its column begins.
    let left = page.runs("seconds")[0][0].0 + 3.0 * 62.5;
    let slanted = page.runs("seams");
    let near = |x: f64| (x - left).abs() < 3.0;
    assert!(
        slanted
            .iter()
            .filter(|line| near(line[0].0) && line[0].0 != line[1].0 && line[0].1 != line[1].1)
            .count()
            == 2
    );
}

#[test]
fn stretches_of_one_recording_are_bracketed_and_named() {
    let leads = Lead::TWELVE;
    let page = first_page(vec![stretch(&leads, "0", 4), stretch(&leads, "6", 4)]);
    assert!(page.says(
        "Recorded in several stretches (brackets mark where a stretch begins and ends): 0 to 4 s, 6 to 10 s"
    ));
    assert_eq!(page.runs("strip-II").len(), 2);
    let zero = page.runs("seconds")[0][0].0;
    let uprights: Vec<f64> = page
        .runs("seams")
        .iter()
        .filter(|line| line[0].0 == line[1].0)
        .map(|line| line[0].0 - zero)
        .collect();
    for seconds in [4.0, 6.0] {
        assert!(uprights.iter().any(|x| close(*x, seconds * 25.0)), "{seconds} s in {uprights:?}");
    }
}

#[test]
fn many_stretches_are_counted_and_do_not_break_the_page() {
    let waveforms = (0..40).map(|n| {
        let mut waveform = stretch(&Lead::TWELVE, "0", 1);
        waveform.start = Exact::ratio(n * 2, 1).expect("a whole number");
        waveform
    });
    let page = first_page(waveforms.collect());
    assert!(page.says("Recorded in several stretches"));
    assert!(page.says("0 to 1 s, 2 to 3 s, 4 to 5 s, 6 to 7 s, 8 to 9 s."));
}
