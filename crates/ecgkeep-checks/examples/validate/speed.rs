//! How fast the recordings are read and checked, in processor time of one core.

use std::time::{Duration, Instant};

use ecgkeep_checks::{Policy, run};
use ecgkeep_format::{Folder, Format as _, Limits};
use ecgkeep_wfdb::WFDB;

use super::sets::{Failure, Record, Sets};

const ROUNDS: u32 = 8;

pub fn table(sets: &Sets) -> Result<(), Failure> {
    let records: Vec<&Record> = sets.twelve_leads().collect();
    let (policy, now) = (Policy::default(), "2026-03-02T12:00Z".parse()?);
    let (mut reading, mut checking) = (Duration::ZERO, Duration::ZERO);
    for _ in 0..ROUNDS {
        for record in &records {
            let start = processor_time();
            let path = record.path.with_extension("hea");
            let read = WFDB.read(&Folder::of(&path)?, &Limits::default())?;
            let (recording, _) = read.one()?;
            let read_at = processor_time();
            std::hint::black_box(run(&recording, None, &policy, &now));
            reading += read_at - start;
            checking += processor_time() - read_at;
        }
    }
    let runs = f64::from(ROUNDS) * records.len() as f64;
    println!("### Speed\n");
    println!(
        "{ROUNDS} times over the {} twelve-lead recordings, processor time of one core.\n",
        records.len()
    );
    println!("| step | ms a recording | recordings a second |");
    println!("|---|---|---|");
    for (step, time) in [("read", reading), ("check", checking), ("read and check", reading + checking)] {
        let seconds = time.as_secs_f64() / runs;
        println!("| {step} | {:.2} | {:.0} |", 1000.0 * seconds, 1.0 / seconds);
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
