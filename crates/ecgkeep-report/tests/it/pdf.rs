//! The PDF as far as its bytes say without a reader of the format; pages are measured by the reference checks.

use ecgkeep_checks::Assessment;
use ecgkeep_recording::{CivilTime, Exact, Lead, PersonName, Rate, Recording, Signal, Step, Waveform};
use ecgkeep_report::{PageFacts, Paper, Sheet, pdf, sheet};

fn report(name: &str) -> Sheet {
    let step = Step::new(Exact::whole(1000)).expect("not zero");
    let samples = (0..5000).map(|k| (k * 37) % 601 - 300).collect();
    let rate = Rate::new(Exact::whole(500)).expect("above zero");
    let waveform = Waveform::new(rate, vec![Signal::new(Lead::II, step, samples)]).expect("one signal");
    let mut recording = Recording { waveforms: vec![waveform], ..Recording::default() };
    recording.subject.name = PersonName::from_text(name);
    sheet(&recording, &Assessment::default(), &PageFacts::default(), &Paper::default())
}

fn made(time: &str) -> CivilTime {
    time.parse().expect("a time")
}

fn holds(pdf: &[u8], text: &str) -> bool {
    pdf.windows(text.len()).any(|window| window == text.as_bytes())
}

#[test]
fn a_pdf_says_that_it_is_archival_and_in_which_language() {
    let pdf = pdf(&report("Ilse Vossebelt"), &made("2026-03-02T10:05+01:00")).expect("a PDF");
    assert!(pdf.starts_with(b"%PDF-1.7"));
    // ISO 19005-2, 6.6.4: part and conformance in the XMP packet.
    assert!(
        holds(&pdf, "<pdfaid:part>2</pdfaid:part>")
            && holds(&pdf, "<pdfaid:conformance>U</pdfaid:conformance>")
    );
    assert!(holds(&pdf, "/Lang(en)") || holds(&pdf, "/Lang (en)"));
    assert!(holds(&pdf, "2026-03-02T10:05:00+01:00"));
}

#[test]
fn the_same_sheet_and_time_give_the_same_bytes() {
    let (sheet, time) = (report("Ilse Vossebelt"), made("2026-03-02T10:05+01:00"));
    let first = pdf(&sheet, &time).expect("a PDF");
    assert_eq!(first, pdf(&sheet, &time).expect("a PDF"));
    assert_ne!(first, pdf(&sheet, &made("2026-03-02T10:06+01:00")).expect("a PDF"));
    assert_ne!(first, pdf(&report("Ilse Vossebel"), &time).expect("a PDF"));
}

#[test]
fn a_name_in_any_script_makes_a_pdf() {
    for name in ["心電図 太郎", "أحمد", "Иванов", "Ελένη", "नमस्ते", "😀", "e\u{301}", "\u{0}\u{202e}", ""]
    {
        assert!(pdf(&report(name), &CivilTime::default()).is_ok(), "{name}");
    }
}
