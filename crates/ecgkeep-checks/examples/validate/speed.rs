//! How fast the recordings are read and checked, in processor time of one core.

use std::time::{Duration, Instant};

use ecgkeep_checks::{Policy, run};
use ecgkeep_format::{Folder, Format as _, Limits};
use ecgkeep_wfdb::WFDB;

use super::sets::{Failure, Record, Sets};

const ROUNDS: usize = 15;

/// Twelve leads of ten seconds at 500 samples per second.
const SAMPLES: usize = 60_000;

pub fn table(sets: &Sets) -> Result<(), Failure> {
    let records: Vec<&Record> = sets.twelve_leads().collect();
    let (policy, now) = (Policy::default(), "2026-03-02T12:00Z".parse()?);
    let samples = |record: &Record| -> usize {
        let signals = record.recording.rhythm().flat_map(|waveform| waveform.signals());
        signals.map(|signal| signal.samples.len()).sum()
    };
    // One of them lasts 38 s: it counts for nearly four.
    let strips = records.iter().map(|record| samples(record)).sum::<usize>() as f64 / SAMPLES as f64;
    let (mut reading, mut checking) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        let (mut read_in, mut checked_in) = (Duration::ZERO, Duration::ZERO);
        for record in &records {
            let start = processor_time();
            let path = record.path.with_extension("hea");
            let read = WFDB.read(&Folder::of(&path)?, &Limits::default())?;
            let (recording, _) = read.one()?;
            let read_at = processor_time();
            std::hint::black_box(run(&recording, None, &policy, &now));
            read_in += read_at - start;
            checked_in += processor_time() - read_at;
        }
        reading.push(read_in.as_secs_f64());
        checking.push(checked_in.as_secs_f64());
    }
    println!("### Speed\n");
    println!(
        "{ROUNDS} rounds over the {} twelve-lead recordings, processor time of one core, for each {SAMPLES} samples (twelve \
         leads of ten seconds at 500 samples per second).\n",
        records.len()
    );
    println!(
        "| step | ms a recording: least round | middle round | recordings a second: least round | middle round |"
    );
    println!("|---|---|---|---|---|");
    for (step, rounds) in [("read", &mut reading), ("check", &mut checking)] {
        rounds.sort_by(f64::total_cmp);
        let [least, middle] = [rounds[0], rounds[ROUNDS / 2]].map(|seconds| seconds / strips);
        println!(
            "| {step} | {:.2} | {:.2} | {:.0} | {:.0} |",
            1000.0 * least,
            1000.0 * middle,
            1.0 / least,
            1.0 / middle
        );
    }
    println!();
    Ok(())
}

/// Time that this thread has spent on a processor, where the system tells; else time by the clock.
fn processor_time() -> Duration {
    thread_local!(static START: Instant = Instant::now());
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = told.and_then(|text| text.split(' ').next()?.parse().ok());
    nanoseconds.map_or_else(|| START.with(Instant::elapsed), Duration::from_nanos)
}
