//! How an archive grows: files N synthetic recordings, each of an invented person of its own, and measures.
//!
//! `cargo run --release -p ecgkeep-examples --bin archive_scale -- FOLDER N [full]` makes an archive in FOLDER, which must
//! not be there, and prints recordings per second for every thousand, peak memory, how long a search takes, and how
//! fast everything is verified. `full` files ten seconds of twelve leads each; without it three leads of sixteen
//! samples, so that disk and journal are measured rather than the drawing of pages.

use std::error::Error;
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use ecgkeep::archive::{self, Acting, Adding, Level, Query, VerifyArgs};
use ecgkeep::checks::Policy;
use ecgkeep::format::{Memory, Options};
use ecgkeep::recording::{Identifier, PersonName, Recording, Waveform};
use ecgkeep::{Input, format_by_id, write};
use ecgkeep_demo::Spec;
use sha2::{Digest as _, Sha256, Sha512};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (folder, count) = match arguments.as_slice() {
        [folder, count, ..] => (Path::new(folder), count.parse::<u32>()?),
        _ => return Err("give a folder to make, and how many recordings".into()),
    };
    let model = match arguments.get(2).map(String::as_str) {
        Some("full") => ecgkeep_demo::recording(&Spec::default()).recording,
        _ => ecgkeep_demo::small(),
    };
    let acting = Acting::new("scale-run", "2026-03-02T18:00:00Z".parse()?, "archive_scale")?;
    let mut archive =
        archive::create(Arc::new(archive::Disk), folder, "scale", "larkmoor.example/scale", &acting, None)?;
    let mut catalogue = archive::catalogue(&archive)?;
    let policy = Policy::default();
    let adding = Adding { acting: &acting, signer: None, policy: &policy, from: None };

    println!("recordings  per second  peak memory MB");
    let begun = Instant::now();
    let numbers: Vec<u32> = (0..count).collect();
    for thousand in numbers.chunks(1000) {
        let since = Instant::now();
        let open = |number: &u32| Ok((input(&model, *number)?, None));
        let mut filed = 0;
        archive::add(&mut archive, &mut catalogue, thousand, &open, &adding, &mut |_, added| {
            filed += usize::from(added.is_filed());
        })?;
        if filed < thousand.len() {
            return Err(format!("only {filed} of {} were filed", thousand.len()).into());
        }
        let rate = thousand.len() as f64 / since.elapsed().as_secs_f64();
        println!(
            "{:>10}  {rate:>10.1}  {:>14}",
            thousand.last().map_or(0, |last| last + 1),
            peak_memory_mb()
        );
    }
    println!("filed in {:.1} s", begun.elapsed().as_secs_f64());
    search(folder, count)?;
    verify(folder)?;
    Ok(())
}

/// The model recording of another person, its first sample changed.
fn input(model: &Recording, number: u32) -> Result<Input, ecgkeep::format::Error> {
    let mut recording = model.clone();
    recording.extras.clear();
    let subject = &mut recording.subject;
    subject.identifiers = vec![Identifier { value: format!("LS-{number:07}"), ..Identifier::default() }];
    subject.name = PersonName {
        given: Some(format!("Given{}", number % 997)),
        family: Some(format!("Family{}", number % 9973)),
        ..PersonName::default()
    };
    recording.waveforms = std::mem::take(&mut recording.waveforms)
        .into_iter()
        .map(|waveform| {
            let rate = waveform.rate();
            let mut signals = waveform.into_signals();
            for (index, signal) in signals.iter_mut().take(2).enumerate() {
                let part = i32::try_from((number >> (15 * index)) & 0x7fff).unwrap_or(0);
                if let Some(sample) = signal.samples.first_mut() {
                    *sample = part;
                }
            }
            Waveform::new(rate, signals).map_err(|error| {
                ecgkeep::format::Error::new(ecgkeep::format::Kind::Internal, "no waveform any more")
                    .because(error)
            })
        })
        .collect::<Result<_, _>>()?;
    let written = write(format_by_id("json")?, &[recording], "r", &Options::default())?;
    Ok(Input::of_memory(Memory::new("r.json", written.files)))
}

fn search(folder: &Path, count: u32) -> Result<(), Box<dyn Error>> {
    let archive = archive::open(folder)?;
    let since = Instant::now();
    let catalogue = archive::catalogue(&archive)?;
    println!("catalogue opened in {:.1} ms", since.elapsed().as_secs_f64() * 1000.0);
    let middle = count / 2;
    let queries = [
        ("identifier", Query { identifier: Some(format!("LS-{middle:07}")), ..Query::default() }),
        (
            "name",
            Query {
                name: Some(format!("family{} given{}", middle % 9973, middle % 997)),
                ..Query::default()
            },
        ),
    ];
    for (what, query) in queries {
        let since = Instant::now();
        let found = catalogue.find(&query)?.len();
        println!("find by {what}: {:.1} ms, {found} found", since.elapsed().as_secs_f64() * 1000.0);
    }
    let since = Instant::now();
    let unsent = catalogue.unsent()?.len();
    println!("list of {unsent} unsent: {:.1} ms", since.elapsed().as_secs_f64() * 1000.0);
    Ok(())
}

fn verify(folder: &Path) -> Result<(), Box<dyn Error>> {
    for level in [Level::Quick, Level::Full] {
        let since = Instant::now();
        let args = VerifyArgs { level, part: None, against: None };
        let report = archive::verify(&archive::Disk, folder, &args, &archive::reread, &|_, _| ())?;
        let seconds = since.elapsed().as_secs_f64();
        let megabytes = report.bytes as f64 / 1e6;
        println!(
            "verify {level:?}: sound {}, {} files, {megabytes:.0} MB in {seconds:.1} s, {:.0} MB/s",
            report.is_sound(),
            report.files,
            megabytes / seconds
        );
    }
    let bytes = vec![7_u8; 256 << 20];
    let rate = |since: Instant| bytes.len() as f64 / 1e6 / since.elapsed().as_secs_f64();
    let since = Instant::now();
    let digest = Sha256::digest(&bytes);
    let sha256 = rate(since);
    let since = Instant::now();
    let other = Sha512::digest(&bytes);
    println!(
        "for comparison, one core in memory: SHA-256 {sha256:.0} MB/s, SHA-512 {:.0} MB/s ({:02x}{:02x})",
        rate(since),
        digest[0],
        other[0]
    );
    Ok(())
}

/// The most memory this process held, in MB; 0 where the system does not say (proc(5), VmHWM).
fn peak_memory_mb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next()?.parse::<u64>().ok()).map_or(0, |kb| kb / 1024)
}
