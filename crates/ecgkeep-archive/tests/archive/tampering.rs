//! Somebody who may write everything alters the past and makes the rest fit: the journal is renumbered, every
//! checkpoint in the archive is made anew. Whoever has an older checkpoint elsewhere finds it all the same.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use ecgkeep_archive::storage::{Readers, Storage};
use ecgkeep_archive::tree::{Frontier, leaf};
use ecgkeep_archive::{Archive, Checkpoint, Event, Level, Line, VerifyArgs, VerifyReport, layout, verify};

use crate::crash::{ROOT, Steps, add, made};
use crate::figures::{Random, row, scale};
use crate::harness::*;
use crate::simulated::{Simulated, World};

/// An archive with a history, and the checkpoint after each commit of it.
struct History {
    worlds: Vec<World>,
    notes: Vec<String>,
}

fn history() -> History {
    let storage = Simulated::on(made());
    let mut archive = Archive::open(Arc::new(storage.clone()), Path::new(ROOT)).unwrap();
    let mut history = History { worlds: Vec::new(), notes: Vec::new() };
    let mut keep = |archive: &Archive| {
        history.worlds.push(storage.world().after_cut(&mut || true));
        history.notes.push(archive.checkpoint().written());
    };
    for step in Steps::default().0 {
        step(&mut archive).unwrap();
        keep(&archive);
    }
    for n in (5..17).step_by(2) {
        archive
            .commit(
                vec![add(&archive, n).unwrap(), add(&archive, n + 1).unwrap()],
                &commit_at("2026-03-10T10:00:00Z"),
            )
            .unwrap();
        keep(&archive);
    }
    history
}

fn look(storage: &dyn Storage, against: Option<&str>) -> VerifyReport {
    let args = VerifyArgs { level: Level::Full, part: None, against };
    verify(storage, Path::new(ROOT), &args, &|_| Vec::new(), &|_, _| ()).unwrap()
}

fn at(path: impl AsRef<Path>) -> PathBuf {
    Path::new(ROOT).join(path)
}

fn write(storage: &Simulated, path: impl AsRef<Path>, bytes: &[u8]) {
    let path = at(path);
    let _ = storage.remove(&path);
    storage.create(&path, bytes, Readers::All).unwrap();
}

fn journal(storage: &Simulated) -> Vec<Line> {
    let bytes = storage.read(&at("journal/000000000000.jsonl")).unwrap();
    bytes.split(|byte| *byte == b'\n').filter_map(|text| Line::parse(text).ok()).collect()
}

/// Writes a journal anew and makes every checkpoint in the archive fit it.
fn forge(storage: &Simulated, lines: &[Line]) {
    let texts: Vec<String> =
        (0..).zip(lines).map(|(index, line)| Line { index, ..line.clone() }.text()).collect();
    write(
        storage,
        "journal/000000000000.jsonl",
        texts.iter().map(|text| format!("{text}\n")).collect::<String>().as_bytes(),
    );
    let mut frontier = Frontier::default();
    let names = storage.names(&at("checkpoints")).unwrap();
    for text in &texts {
        frontier.push(leaf(text.as_bytes()));
        let note = Checkpoint { origin: ORIGIN.into(), size: frontier.size(), root: frontier.root() }
            .note(None)
            .written();
        let name = format!("{}.note", frontier.size());
        if names.contains(&name) {
            write(storage, Path::new("checkpoints").join(&name), note.as_bytes());
        }
        if frontier.size() == texts.len() as u64 {
            write(storage, "checkpoints/latest.note", note.as_bytes());
        }
    }
    for name in names {
        if name
            .strip_suffix(".note")
            .and_then(|size| size.parse().ok())
            .is_some_and(|size: usize| size > texts.len())
        {
            storage.remove(&at("checkpoints").join(name)).unwrap();
        }
    }
}

fn path_of(line: &Line) -> Option<PathBuf> {
    match (line.event, line.about.key, line.about.revision) {
        (Event::Filed | Event::Corrected, Some(key), Some(revision)) => Some(layout::bundle(key, revision)),
        (Event::Quarantined, Some(key), _) => Some(layout::quarantined(key)),
        _ => None,
    }
}

/// Alters the history before line `known`; what was done.
fn tamper(storage: &Simulated, history: &History, known: usize, random: &mut Random) -> &'static str {
    let mut lines = journal(storage);
    let there: Vec<(usize, PathBuf)> = lines[..known]
        .iter()
        .enumerate()
        .filter_map(|(n, line)| Some((n, path_of(line)?)))
        .filter(|(_, path)| storage.size(&at(path)).unwrap().is_some())
        .collect();
    let (n, path) = there[random.below(there.len())].clone();
    match random.below(9) {
        0 => {
            storage.remove(&at(path)).unwrap();
            lines.remove(n);
            forge(storage, &lines);
            "a recording and its line taken away"
        }
        1 => {
            storage.remove(&at(path)).unwrap();
            "a recording taken away"
        }
        2 => {
            let Some((_, other)) = there.iter().find(|(m, _)| *m != n) else {
                storage.remove(&at(path)).unwrap();
                return "the only recording taken away";
            };
            let (a, b) = (storage.read(&at(&path)).unwrap(), storage.read(&at(other)).unwrap());
            write(storage, path, &b);
            write(storage, other, &a);
            "two recordings swapped"
        }
        3 => {
            let forged = b"another recording".to_vec();
            lines[n].about.sha256 = Some(ecgkeep_archive::Digest::of(&forged));
            lines[n].about.bytes = Some(forged.len() as u64);
            write(storage, path, &forged);
            forge(storage, &lines);
            "a recording replaced, its line too"
        }
        4 => {
            // Back-dated: filed now, with the time of a line of long ago.
            let new = 18 + u32::try_from(random.below(2)).unwrap();
            let (bytes, mut line) = (bytes(new, 1), lines[n].clone());
            line.event = Event::Filed;
            line.about = ecgkeep_archive::About {
                key: Some(key(new)),
                revision: Some(1),
                sha256: Some(ecgkeep_archive::Digest::of(&bytes)),
                bytes: Some(bytes.len() as u64),
                by: line.about.by,
                ..Default::default()
            };
            let path = path_of(&line).unwrap();
            path.ancestors()
                .skip(1)
                .collect::<Vec<_>>()
                .iter()
                .rev()
                .for_each(|folder| drop(storage.make_folder(&at(folder))));
            write(storage, path, &bytes);
            lines.insert(n, line);
            forge(storage, &lines);
            "a recording filed in the past"
        }
        5 => {
            let m = random.below(known);
            match random.below(2) {
                0 => lines[m].at = moment("2026-03-02T09:30:01Z"),
                _ => lines[m].about.by = Some(code("somebody-else")),
            }
            forge(storage, &lines);
            "a line altered"
        }
        6 => {
            let left = 1 + random.below(known - 1);
            lines.truncate(left);
            forge(storage, &lines);
            "the journal cut short"
        }
        7 => {
            let older: Vec<usize> =
                (0..history.worlds.len()).filter(|n| size(&history.notes[*n]) < known).collect();
            match older.is_empty() {
                true => storage.remove(&at(path)).unwrap(),
                false => storage.state().world = history.worlds[older[random.below(older.len())]].clone(),
            }
            "rolled back to an older copy"
        }
        _ => {
            let m = 1 + random.below(known - 1);
            lines.swap(m, m.max(2) - 1);
            if m == 1 {
                lines.remove(1);
            }
            forge(storage, &lines);
            "lines in another order"
        }
    }
}

fn size(note: &str) -> usize {
    usize::try_from(Checkpoint::parse(note).unwrap().0.size).unwrap()
}

#[test]
fn every_tampering_is_found_against_an_older_checkpoint() {
    let history = history();
    let (tried, mut missed, mut alone) = (scale(1000, 100_000), Vec::new(), 0);
    let mut random = Random(7);
    for n in 0..tried {
        let storage = Simulated::on(history.worlds.last().unwrap().clone());
        let note = &history.notes[random.below(history.notes.len() - 1)];
        let what = tamper(&storage, &history, size(note), &mut random);
        alone += u64::from(look(&storage, None).is_sound());
        if look(&storage, Some(note)).is_sound() {
            missed.push((n, what));
        }
    }
    println!(
        "{alone} of {tried} are consistent in themselves: only the checkpoint from elsewhere finds them"
    );
    row("tampering with the history, held against an older checkpoint", tried, missed.len() as u64);
    assert!(missed.is_empty(), "{} missed, first: {:?}", missed.len(), missed[0]);
    assert!(alone > 0, "the forgeries are too clumsy to show anything");
}

#[test]
fn a_clean_archive_raises_no_alarm() {
    let history = history();
    let (tried, mut random, mut alarms) = (scale(300, 10_000), Random(8), 0);
    for _ in 0..tried {
        let now = random.below(history.worlds.len());
        let storage = Simulated::on(history.worlds[now].clone());
        let note = &history.notes[random.below(now + 1)];
        let report = look(&storage, Some(note));
        alarms +=
            u64::from(!report.is_sound() || !report.uncommitted.is_empty() || report.anchored.is_none());
    }
    row("clean archives held against an older checkpoint: false alarms are lost", tried, alarms);
    assert_eq!(alarms, 0);
}

#[test]
fn a_stale_copied_or_renamed_bundle_is_found() {
    let history = history();
    let (tried, mut random, mut missed) = (scale(500, 10_000), Random(9), 0);
    for _ in 0..tried {
        let storage = Simulated::on(history.worlds.last().unwrap().clone());
        let there: Vec<PathBuf> = storage
            .world()
            .files()
            .into_keys()
            .filter(|path| path.ends_with(".zip"))
            .map(|path| Path::new(&path).strip_prefix(ROOT).unwrap().to_owned())
            .collect();
        let path = &there[random.below(there.len())];
        let bytes = storage.read(&at(path)).unwrap();
        let (shelf, revision) = (path.parent().unwrap(), 2 + random.below(90));
        match random.below(4) {
            0 => write(&storage, path.with_file_name(format!("{}.r{revision}.zip", key(0))), &bytes),
            1 => storage.replace(&at(path), &at(shelf.join("renamed.zip"))).unwrap(),
            2 => write(&storage, shelf.join(format!("copy-{revision}.zip")), &bytes),
            _ => write(&storage, path, &bytes[..random.below(bytes.len())]),
        }
        let report = look(&storage, None);
        missed += u64::from(report.is_sound() && report.uncommitted.is_empty());
    }
    row("a bundle cut short, copied, renamed or filed under another name", tried, missed);
    assert_eq!(missed, 0);
}
