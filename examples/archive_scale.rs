//! How an archive grows: files N synthetic recordings, each of an invented person of its own, and measures.
//!
//! `cargo run --release -p ecgkeep-examples --bin archive_scale -- FOLDER N [full]` makes an archive in FOLDER, which must
//! not be there, and prints recordings per second and peak memory for every thousand. Then it looks: how long a search, a
//! list and making the catalogue anew take, how fast everything is verified, and how much memory each needs. `full` files
//! ten seconds of twelve leads each; without it three leads of sixteen samples, so that disk and journal are measured
//! rather than the drawing of pages. `lines` files one recording and places N holds on it, which is a journal of as many
//! lines. With FOLDER alone it looks at an archive that it made before.

use std::error::Error;
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use ecgkeep::archive::{self, Acting, Adding, Archive, Level, Query, VerifyArgs};
use ecgkeep::checks::Policy;
use ecgkeep::format::{Memory, Options};
use ecgkeep::recording::{Identifier, PersonName, Recording, Waveform};
use ecgkeep::{Input, format_by_id, write};
use ecgkeep_demo::Spec;
use sha2::{Digest as _, Sha256, Sha512};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match arguments.as_slice() {
        [folder] => look(Path::new(folder)),
        [folder, count, "lines"] => {
            fill_journal(Path::new(folder), count.parse()?)?;
            look(Path::new(folder))
        }
        [folder, count, how @ ..] => {
            let model = match how {
                ["full"] => ecgkeep_demo::recording(&Spec::default()).recording,
                _ => ecgkeep_demo::small(),
            };
            file(Path::new(folder), count.parse()?, &model)?;
            look(Path::new(folder))
        }
        [] => Err("give a folder to make, and how many recordings".into()),
    }
}

fn acting() -> Result<Acting, Box<dyn Error>> {
    Ok(Acting::new("scale-run", "2026-03-02T18:00:00Z".parse()?, "archive_scale")?)
}

fn create(folder: &Path) -> Result<Archive, Box<dyn Error>> {
    let disk = Arc::new(archive::Disk);
    Ok(archive::create(disk, folder, "scale", "larkmoor.example/scale", &acting()?, None)?)
}

fn file(folder: &Path, count: u32, model: &Recording) -> Result<(), Box<dyn Error>> {
    let acting = acting()?;
    let mut archive = create(folder)?;
    let mut catalogue = archive::catalogue(&archive)?;
    let policy = Policy::default();
    let adding = Adding { acting: &acting, signer: None, policy: &policy, from: None };

    println!("recordings  per second  peak memory MB");
    let begun = Instant::now();
    for first in (0..count).step_by(1000) {
        let thousand: Vec<u32> = (first..count.min(first + 1000)).collect();
        let since = Instant::now();
        let open = |number: &u32| Ok((input(model, *number)?, None));
        let mut filed = 0;
        archive::add(&mut archive, &mut catalogue, &thousand, &open, &adding, &mut |_, added| {
            filed += usize::from(added.is_filed());
        })?;
        if filed < thousand.len() {
            return Err(format!("only {filed} of {} were filed", thousand.len()).into());
        }
        let rate = thousand.len() as f64 / since.elapsed().as_secs_f64();
        println!("{:>10}  {rate:>10.1}  {:>14.1}", first as usize + thousand.len(), peak_memory_mb());
    }
    println!("filed in {:.1} s", begun.elapsed().as_secs_f64());
    Ok(())
}

/// Holds in batches of a thousand, all of one recording.
fn fill_journal(folder: &Path, count: usize) -> Result<(), Box<dyn Error>> {
    file(folder, 1, &ecgkeep_demo::small())?;
    let mut archive = archive::open(folder)?;
    let key = archive.lines(1).next().ok_or("nothing was filed")??.about.key.ok_or("a line without a key")?;
    println!("lines  per second  peak memory MB");
    let mut since = Instant::now();
    for batch in 1..=count.div_ceil(1000) {
        archive::hold(&mut archive, &[key; 1000], "scale", &acting()?, None)?;
        if batch.is_multiple_of(50) {
            let rate = 50_000.0 / since.elapsed().as_secs_f64();
            println!("{:>9}  {rate:>10.0}  {:>14.1}", batch * 1000, peak_memory_mb());
            since = Instant::now();
        }
    }
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

fn look(folder: &Path) -> Result<(), Box<dyn Error>> {
    let archive = measured("archive opened", || archive::open(folder))?;
    let catalogue = measured("catalogue opened", || archive::catalogue(&archive))?;
    let (recordings, _) = catalogue.counts()?;
    let middle = recordings / 2;
    let by_identifier = Query { identifier: Some(format!("LS-{middle:07}")), ..Query::default() };
    let name = format!("family{} given{}", middle % 9973, middle % 997);
    let by_name = Query { name: Some(name), ..Query::default() };
    for (what, query) in [("find by identifier", by_identifier), ("find by name", by_name)] {
        let found = measured(what, || catalogue.find(&query))?.len();
        println!("    {found} found");
    }
    let unsent = measured("list of the unsent", || catalogue.unsent())?.len();
    println!("    {unsent} of {recordings} recordings");
    drop(catalogue);
    let catalogue = measured("catalogue made anew", || archive::rebuild(&archive))?;
    println!("    {} lines of the journal", catalogue.position()?.lines);
    verify(folder)
}

/// Does it, and says how long it took and the most memory that the process held meanwhile.
fn measured<T, E>(what: &str, act: impl FnOnce() -> Result<T, E>) -> Result<T, E> {
    // proc(5), clear_refs: 5 forgets the peak. Where that is not possible the peak is that of the whole run.
    let _ = std::fs::write("/proc/self/clear_refs", "5");
    let since = Instant::now();
    let done = act()?;
    let ms = since.elapsed().as_secs_f64() * 1000.0;
    println!("{what}: {ms:.1} ms, peak memory {:.1} MB", peak_memory_mb());
    Ok(done)
}

fn verify(folder: &Path) -> Result<(), Box<dyn Error>> {
    for level in [Level::Quick, Level::Full] {
        let since = Instant::now();
        let args = VerifyArgs { level, part: None, against: None };
        let report = measured(&format!("verify {level:?}"), || {
            archive::verify(&archive::Disk, folder, &args, &archive::reread, &|_, _| ())
        })?;
        let seconds = since.elapsed().as_secs_f64();
        let megabytes = report.bytes as f64 / 1e6;
        println!(
            "    sound {}, {} files, {megabytes:.0} MB, {:.0} MB/s",
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
fn peak_memory_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok()).map_or(0.0, |kb| kb / 1024.0)
}
