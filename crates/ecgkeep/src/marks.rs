//! Marks as CSV.

use std::io::{self, Write};

use ecgkeep_recording::{Exact, Waveform};

use crate::samples::quoted;

/// Writes the marks of one waveform as CSV, one a line in the order of the source: sample number counted from 0, time in
/// seconds from the waveform's first sample (rounded to a microsecond where the decimal is longer), lead (empty for all
/// leads), kind, the source's label and its text.
/// # Errors
/// Those of writing to `out`.
pub fn marks_csv(waveform: &Waveform, out: &mut dyn Write) -> io::Result<()> {
    out.write_all(b"sample,time,lead,kind,label,text\n")?;
    for mark in &waveform.marks {
        let time = Exact::whole(mark.sample).times(waveform.rate().interval());
        let time = time.and_then(|time| time.to_decimal(6)).map_or_else(String::new, |(text, _)| text);
        let lead = mark.lead.as_ref().map_or_else(String::new, |lead| quoted(&lead.name()));
        let [label, text] = [&mark.label, &mark.text].map(|part| quoted(part.as_deref().unwrap_or_default()));
        writeln!(out, "{},{time},{lead},{},{label},{text}", mark.sample, quoted(&mark.kind.to_string()))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use ecgkeep_recording::{Lead, Mark, MarkKind, Rate, Signal, Step, Wave};

    use super::*;

    #[test]
    fn a_mark_is_a_line_with_its_time_in_seconds() {
        let rate = Rate::new(Exact::whole(360)).expect("above zero");
        let mut waveform =
            Waveform::new(rate, vec![Signal::new(Lead::II, Step::default(), vec![0])]).expect("one signal");
        let beat =
            Mark { label: Some("N".into()), text: Some("a, \"b\"".into()), ..Mark::new(77, MarkKind::Beat) };
        let onset = Mark { lead: Some(Lead::V1), ..Mark::new(180, MarkKind::Onset(Wave::Qrs)) };
        waveform.marks = vec![beat, onset];
        let mut out = Vec::new();
        marks_csv(&waveform, &mut out).expect("memory does not fail");
        let expected = "sample,time,lead,kind,label,text\n77,0.213889,,beat,N,\"a, \"\"b\"\"\"\n180,0.5,V1,QRS onset,,\n";
        assert_eq!(String::from_utf8_lossy(&out), expected);
    }
}
