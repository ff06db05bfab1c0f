//! Hum of known size added to every lead of every real recording, and what is measured of it.

use std::f64::consts::TAU;

use ecgkeep_checks::{Policy, RULES, run};
use ecgkeep_recording::{CivilTime, Recording, Signal, Waveform};

use super::interval::interval;
use super::sets::{Failure, Record, Sets};

const SIZES_UV: [f64; 5] = [20.0, 50.0, 100.0, 200.0, 500.0];

pub fn table(sets: &Sets) -> Result<(), Failure> {
    println!("### Mains hum\n");
    println!(
        "Hum added to each lead of each recording (phase by lead); right within 10 % or 4 uV, the larger.\n"
    );
    println!(
        "| frequency, Hz | added, uV peak | leads | right | % | middle estimate, uV | recordings | the lead with the \
         largest estimate right | % (95 % interval) | not right | all leads right | % (95 % interval) |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|");
    for hertz in [50.0, 50.2, 49.8, 60.0, 60.2, 59.8] {
        for size in SIZES_UV {
            let is_right = |estimate: &f64| (*estimate - size).abs() <= (0.1 * size).max(4.0);
            let (mut estimates, mut not_right, mut all_right, mut of) = (Vec::new(), Vec::new(), 0, 0);
            for record in sets.twelve_leads() {
                let of_record = estimates_of(record, hertz, size)?;
                let largest = of_record.iter().copied().fold(0.0, f64::max);
                if !is_right(&largest) {
                    not_right.push(format!("{} ({largest:.0} uV)", record.name));
                }
                all_right += usize::from(of_record.iter().all(is_right));
                of += 1;
                estimates.extend(of_record);
            }
            let right = estimates.iter().filter(|estimate| is_right(estimate)).count();
            estimates.sort_by(f64::total_cmp);
            let percent = |part: usize, of: usize| 100.0 * part as f64 / of as f64;
            println!(
                "| {hertz} | {size:.0} | {} | {right} | {:.1} | {:.1} | {of} | {} | {} | {} | {all_right} | {} |",
                estimates.len(),
                percent(right, estimates.len()),
                estimates[estimates.len() / 2],
                of - not_right.len(),
                interval(of - not_right.len(), of),
                if not_right.is_empty() { "-".to_owned() } else { not_right.join(", ") },
                interval(all_right, of),
            );
        }
    }
    println!();
    Ok(())
}

/// The hum at the mains frequency nearest to `hertz`, lead by lead, each lead judged alone.
#[expect(clippy::cast_possible_truncation, reason = "hum is a few hundred counts")]
fn estimates_of(record: &Record, hertz: f64, size_uv: f64) -> Result<Vec<f64>, Failure> {
    let off = RULES.iter().map(|rule| rule.code.to_owned()).filter(|code| code != "mains-hum").collect();
    let policy = Policy { hum_uv_note: 0.0, hum_uv_warn: 0.0, off, ..Policy::default() };
    let waveform = &record.recording.waveforms[0];
    let rate = waveform.rate().per_second().to_f64();
    let wanted = format!("mains hum at {hertz:.0} Hz");
    let mut estimates = Vec::new();
    for (lead, signal) in waveform.signals().iter().enumerate() {
        let step_uv = signal.step.nanovolts().to_f64() / 1000.0;
        let wave = |at: usize| size_uv * (TAU * hertz * at as f64 / rate + lead as f64).sin() / step_uv;
        let samples =
            signal.samples.iter().enumerate().map(|(at, count)| count + wave(at).round() as i32).collect();
        let alone = Waveform::new(waveform.rate(), vec![Signal { samples, ..signal.clone() }])?;
        let recording = Recording { waveforms: vec![alone], ..Recording::default() };
        let answer = run(&recording, None, &policy, &CivilTime::default());
        let finding = answer.findings.iter().find(|finding| finding.text.starts_with(&wanted));
        let measured =
            finding.and_then(|finding| finding.measured.as_ref()).ok_or("no estimate of the hum")?;
        estimates.push(measured.value.to_f64());
    }
    Ok(estimates)
}
