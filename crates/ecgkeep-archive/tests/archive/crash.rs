//! Power cuts in the simulated storage: at every operation, with every subset of the unflushed effects up to a bound.

use std::path::Path;
use std::sync::{Arc, Mutex};

use ecgkeep_archive::{About, Act, Archive, Commit, Done, Event, Level, VerifyArgs, layout, verify};
use ecgkeep_format::Result;

use crate::figures::{Random, row, scale};
use crate::harness::*;
use crate::mutants::Mutant;
use crate::simulated::{Simulated, World};

pub const ROOT: &str = "/archive";

/// What is done to the archive, one commit after the other. Each can be done again.
type Step = fn(&mut Archive) -> Result<Vec<Done>>;

#[derive(Clone)]
pub struct Steps(pub Vec<Step>);

impl Default for Steps {
    /// Add, admit keys, correct, quarantine, hold, answer, destroy, keep a checkpoint, add.
    fn default() -> Steps {
        Steps(vec![
            |archive| archive.commit((0..3).map(|n| add(archive, n)).collect::<Result<_>>()?, &commit()),
            |archive| {
                let [a, b, _] = signers();
                let schedule = Act::Schedule { bytes: SCHEDULE.to_vec(), authority: code("board") };
                archive.commit(vec![Act::Key(a.public()), Act::Key(b.public()), schedule], &commit())
            },
            |archive| {
                let Some(first) = archive.filing_line(key(0), Some(1))? else { return Ok(Vec::new()) };
                let prepared = archive.prepare(&bytes(0, 2))?;
                let corrects = ecgkeep_archive::Corrects {
                    authority: code("dr-on-call"),
                    why: code("wrong-patient"),
                    of: first.index,
                };
                let act = Act::Bundle { key: key(0), revision: 2, prepared, corrects: Some(corrects) };
                archive.commit(vec![act], &commit())
            },
            |archive| {
                let prepared = archive.prepare(&bytes(9, 1))?;
                let source = Act::Quarantine { key: key(9), prepared, why: code("malformed") };
                let answer = Act::Answer { key: key(0), revision: 1, bytes: b"received".to_vec(), of: None };
                let hold = About { key: Some(key(2)), authority: Some(code("court")), ..About::default() };
                archive.commit(vec![source, answer, Act::Line(Event::Held, hold)], &commit())
            },
            |archive| archive.commit(vec![destroy(&[0, 1])], &commit()),
            |archive| {
                let [a, ..] = signers();
                let commit = Commit { signer: Some(&a), ..commit_at("2026-03-09T07:00:00Z") };
                archive.commit(vec![add(archive, 3)?, add(archive, 4)?], &commit)
            },
        ])
    }
}

pub fn add(archive: &Archive, n: u32) -> Result<Act> {
    let prepared = archive.prepare(&bytes(n, 1))?;
    Ok(Act::Bundle { key: key(n), revision: 1, prepared, corrects: None })
}

/// An archive whose making has been flushed.
pub fn made() -> World {
    let storage = Simulated::new();
    drop(create(Arc::new(storage.clone()), Path::new(ROOT)));
    storage.world().after_cut(&mut || true)
}

/// What exploring came to.
#[derive(Default)]
pub struct Explored {
    pub states: u64,
    pub faults: Vec<String>,
}

/// The world just before an operation, and the lines that were acknowledged by then.
struct Moment {
    world: World,
    acknowledged: Arc<Vec<String>>,
}

/// Runs the steps on a new archive, cuts the power before every operation and after the last, and looks at what is
/// left.
pub fn explore(steps: Steps, mutant: Option<Mutant>, random: u64, stops: bool) -> Explored {
    explore_from(&made(), &steps, mutant, (random, 1), stops)
}

/// The same on a given archive, before every so many operations; with no random subsets only a few are taken at all.
pub fn explore_from(
    base: &World,
    steps: &Steps,
    mutant: Option<Mutant>,
    (random, step): (u64, usize),
    stops: bool,
) -> Explored {
    let mut result = Explored::default();
    let moments = moments(base, steps, mutant);
    let mut seed = Random(1);
    for (at, moment) in moments.iter().enumerate().rev().step_by(step).collect::<Vec<_>>().into_iter().rev() {
        let mut left = if random == 0 { 3 } else { u64::MAX };
        each_cut(&moment.world, random, &mut seed, &mut |world, how| {
            result.states += 1;
            left -= 1;
            if let Err(what) = survives(world, &moment.acknowledged, mutant) {
                result.faults.push(format!("cut before operation {at}, {how}: {what}"));
            }
            let is_enough = stops && !result.faults.is_empty();
            left > 0 && !is_enough
        });
        if stops && !result.faults.is_empty() {
            break;
        }
    }
    result
}

fn moments(base: &World, steps: &Steps, mutant: Option<Mutant>) -> Vec<Moment> {
    let storage = Simulated::on(base.clone());
    storage.state().mutant = mutant;
    let acknowledged = Arc::new(Mutex::new(Arc::new(Vec::new())));
    let moments = Arc::new(Mutex::new(Vec::new()));
    let (seen, known) = (moments.clone(), acknowledged.clone());
    storage.state().watch = Some(Box::new(move |world| {
        let moment = Moment { world: world.clone(), acknowledged: known.lock().unwrap().clone() };
        seen.lock().unwrap().push(moment);
    }));
    // A mutant may stumble over its own fault: what it said before that counts.
    if let Ok(mut archive) = Archive::open(Arc::new(storage.clone()), Path::new(ROOT)) {
        for step in &steps.0 {
            if step(&mut archive).is_err() {
                break;
            }
            *acknowledged.lock().unwrap() = Arc::new(lines(&archive));
        }
    }
    storage.state().watch = None;
    let last = Moment { world: storage.world(), acknowledged: acknowledged.lock().unwrap().clone() };
    let mut moments = std::mem::take(&mut *moments.lock().unwrap());
    moments.push(last);
    moments
}

pub fn lines(archive: &Archive) -> Vec<String> {
    archive.lines(0).map_while(Result::ok).map(|line| line.text()).collect()
}

/// Every subset of few unflushed effects; of many none, all, each one alone, each one left out, and some at random.
fn each_cut(world: &World, random: u64, seed: &mut Random, look: &mut dyn FnMut(World, &str) -> bool) {
    let count = world.unflushed();
    let mut cut = |keep: &mut dyn FnMut(usize) -> bool, how: &str| {
        let mut nth = 0;
        let left = world.after_cut(&mut || {
            nth += 1;
            keep(nth - 1)
        });
        look(left, how)
    };
    if count <= 6 {
        for subset in 0..1_u32 << count {
            if !cut(&mut |nth| subset >> nth & 1 == 1, &format!("{subset:#b} of {count} effects kept")) {
                return;
            }
        }
        return;
    }
    let mut go_on = cut(&mut |_| false, "no effect kept") && cut(&mut |_| true, "all effects kept");
    for one in 0..count {
        go_on = go_on
            && cut(&mut |nth| nth == one, &format!("effect {one} of {count} kept"))
            && cut(&mut |nth| nth != one, &format!("effect {one} of {count} dropped"));
    }
    for n in 0..random {
        go_on = go_on
            && cut(&mut |_| seed.next() & 1 == 1, &format!("random subset {n} of {count} effects kept"));
    }
}

/// Whether nothing acknowledged is lost, nothing half is visible, and one open brings everything in order.
fn survives(left: World, acknowledged: &[String], mutant: Option<Mutant>) -> std::result::Result<(), String> {
    no_half_bundle(&left)?;
    let storage = Simulated::on(left);
    // What broke the commit path breaks the recovery too.
    storage.state().mutant = mutant;
    recovers(&storage, acknowledged)
}

pub fn no_half_bundle(world: &World) -> std::result::Result<(), String> {
    for (path, found) in world.files() {
        let Some(name) = Path::new(&path).file_name().and_then(|name| name.to_str()) else { continue };
        let whole = match layout::Shelved::named(name) {
            _ if path.contains(concat!("/", "tmp/")) => continue,
            Some(layout::Shelved::Bundle(of, revision)) => {
                (0..20).find(|n| key(*n) == of).map(|n| bytes(n, revision))
            }
            Some(layout::Shelved::Quarantined(of)) => (0..20).find(|n| key(*n) == of).map(|n| bytes(n, 1)),
            _ => continue,
        };
        if whole.as_deref() != Some(&found[..]) {
            return Err(format!("a half bundle is visible: {path}"));
        }
    }
    Ok(())
}

pub fn recovers(storage: &Simulated, acknowledged: &[String]) -> std::result::Result<(), String> {
    let text = |error: ecgkeep_format::Error| error.to_string();
    let mut archive = Archive::open(Arc::new(storage.clone()), Path::new(ROOT)).map_err(text)?;
    archive.settle(None).map_err(text)?;
    holds(storage, &archive, acknowledged)?;
    let done = add(&archive, 17).and_then(|act| archive.commit(vec![act], &commit())).map_err(text)?;
    if done[0].line != Some(archive.size() - 1) {
        return Err("a new recording is not filed after that".into());
    }
    holds(storage, &archive, acknowledged)
}

fn holds(storage: &Simulated, archive: &Archive, acknowledged: &[String]) -> std::result::Result<(), String> {
    let lines = lines(archive);
    if !lines.starts_with(acknowledged) {
        return Err(format!(
            "of {} acknowledged lines not all are there ({})",
            acknowledged.len(),
            lines.len()
        ));
    }
    let args = VerifyArgs { level: Level::Full, part: None, against: None };
    let report = verify(storage, Path::new(ROOT), &args, &|_| Vec::new(), &|_, _| ());
    let report = report.map_err(|error| error.to_string())?;
    if !report.is_sound() || !report.uncommitted.is_empty() {
        return Err(format!(
            "verify finds {:?}",
            [report.damaged, report.missing, report.altered, report.uncommitted].concat()
        ));
    }
    Ok(())
}

#[test]
fn no_power_cut_loses_what_was_acknowledged() {
    let explored = explore(Steps::default(), None, scale(130, 12_000), false);
    row(
        "simulated power cut, at every operation x subsets of unflushed effects",
        explored.states,
        explored.faults.len() as u64,
    );
    assert!(explored.faults.is_empty(), "{} faults, first: {}", explored.faults.len(), explored.faults[0]);
    assert!(explored.states >= 10_000, "{} states", explored.states);
}

/// A second cut while the first one is being settled.
#[test]
fn a_cut_during_recovery_loses_nothing_either() {
    let (mut states, mut faults) = (0, Vec::new());
    let settle = Steps(vec![|archive| archive.settle(None).map(|()| Vec::new())]);
    let mut seed = Random(2);
    let step = usize::try_from(scale(5, 1)).expect("small");
    for (at, moment) in moments(&made(), &Steps::default(), None).iter().enumerate().step_by(step) {
        let mut first = Vec::new();
        each_cut(&moment.world, scale(1, 12), &mut Random(at as u64), &mut |left, _| {
            first.push(left);
            true
        });
        for n in 0..scale(2, 8).min(first.len() as u64) {
            let left = if n == 0 { first.len() - 1 } else { seed.below(first.len()) };
            for again in moments(&first[left], &settle, None) {
                each_cut(&again.world, 0, &mut seed, &mut |left, how| {
                    states += 1;
                    if let Err(what) = survives(left, &moment.acknowledged, None) {
                        faults.push(format!("cut before operation {at}, settled, cut again, {how}: {what}"));
                    }
                    true
                });
            }
        }
    }
    row("simulated power cut during recovery from one", states, faults.len() as u64);
    assert!(faults.is_empty(), "{} faults, first: {}", faults.len(), faults[0]);
    assert!(states > 1000);
}

/// Either there is an archive, or one can be made.
#[test]
fn a_cut_while_an_archive_is_made_leaves_one_or_room_for_one() {
    let storage = Simulated::new();
    let moments = Arc::new(Mutex::new(Vec::new()));
    let seen = moments.clone();
    storage.state().watch = Some(Box::new(move |world| seen.lock().unwrap().push(world.clone())));
    drop(create(Arc::new(storage.clone()), Path::new(ROOT)));
    let moments = std::mem::take(&mut *moments.lock().unwrap());
    let (mut states, mut faults) = (0, Vec::new());
    let mut seed = Random(3);
    for world in moments {
        each_cut(&world, scale(10, 200), &mut seed, &mut |left, how| {
            states += 1;
            let storage = Simulated::on(left);
            let opened = Archive::open(Arc::new(storage.clone()), Path::new(ROOT));
            let made =
                opened.or_else(|_| Archive::create(Arc::new(storage.clone()), Path::new(ROOT), &making()));
            let fault = made.err().map(|error| error.to_string()).or_else(|| recovers(&storage, &[]).err());
            faults.extend(fault.map(|what| format!("{how}: {what}")));
            true
        });
    }
    row("simulated power cut while an archive is made", states, faults.len() as u64);
    assert!(faults.is_empty(), "{} faults, first: {}", faults.len(), faults[0]);
}
