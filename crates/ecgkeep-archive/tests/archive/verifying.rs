//! What verify finds, each kind apart, and what repair brings back.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::{fs, io};

use ecgkeep_archive::storage::{Disk, Hold, Lock, Readers, Storage};
use ecgkeep_archive::{Archive, Level, VerifyArgs, VerifyReport, layout, verify};
use ecgkeep_format::Kind;

use crate::harness::*;

/// Five recordings, one of them corrected, one destroyed, and a quarantined source.
fn filled(folder: &Path) -> Archive {
    let mut archive = create(Arc::new(Disk), folder);
    archive.commit((0..5).map(|n| file(&archive, n)).collect(), &commit()).unwrap();
    archive.commit(vec![correct(&archive, 1, 2, 2), quarantine(&archive, 7)], &commit()).unwrap();
    govern(&mut archive);
    archive.commit(vec![destroy(&[4])], &commit()).unwrap();
    archive
}

fn full(folder: &Path, against: Option<&str>) -> VerifyReport {
    let args = VerifyArgs { level: Level::Full, part: None, against };
    verify(&Disk, folder, &args, &|_| Vec::new(), &|_, _| ()).unwrap()
}

/// How much is damaged, missing, altered, uncommitted.
fn counts(report: &VerifyReport) -> [usize; 4] {
    [&report.damaged, &report.missing, &report.altered, &report.uncommitted].map(Vec::len)
}

#[test]
fn each_kind_of_trouble_is_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let archive = filled(folder.path());
    let at = |path: &Path| folder.path().join(path);
    let report = full(folder.path(), None);
    assert_eq!(counts(&report), [0; 4], "{report:?}");
    assert!(report.is_sound() && report.anchored.is_none() && report.anchor().contains("not anchored"));
    assert_eq!((report.files, report.lines), (6, archive.size()));
    assert_eq!(report.destroyed, [key(4)]);

    let damaged = at(&layout::bundle(key(0), 1));
    let mut bytes = fs::read(&damaged).unwrap();
    bytes[100] ^= 1;
    fs::write(&damaged, bytes).unwrap();
    fs::remove_file(at(&layout::bundle(key(1), 1))).unwrap();
    fs::write(at(&layout::bundle(key(2), 2)), "planted").unwrap();
    let report = full(folder.path(), None);
    assert_eq!(counts(&report), [1, 1, 0, 1], "{report:?}");
    assert!(report.damaged[0].what.contains("SHA-256"));
    assert_eq!(report.missing[0].of, Some(layout::Shelved::Bundle(key(1), 1)));
    let quick = VerifyArgs { level: Level::Quick, part: None, against: None };
    let quick = verify(&Disk, folder.path(), &quick, &|_| Vec::new(), &|_, _| ()).unwrap();
    assert_eq!(counts(&quick), [0, 1, 0, 1]);

    fs::write(at(&layout::bundle(key(4), 1)), bytes_of(4)).unwrap();
    let report = full(folder.path(), None);
    assert!(report.altered[0].what.contains("although it was destroyed"), "{report:?}");
    fs::remove_file(at(&layout::certificate(key(4)))).unwrap();
    assert_eq!(full(folder.path(), None).missing.len(), 2);
}

fn bytes_of(n: u32) -> Vec<u8> {
    bytes(n, 1)
}

#[test]
fn parts_together_are_the_whole() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path());
    let damaged = folder.path().join(layout::bundle(key(3), 1));
    let mut bytes = fs::read(&damaged).unwrap();
    bytes[0] ^= 0x80;
    fs::write(&damaged, bytes).unwrap();
    let part = |k, n| {
        let args = VerifyArgs { level: Level::Full, part: Some((k, n)), against: None };
        verify(&Disk, folder.path(), &args, &|_| Vec::new(), &|_, _| ())
    };
    let reports: Vec<VerifyReport> = (1..=3).map(|k| part(k, 3).unwrap()).collect();
    // The tombstone is read in every part.
    assert_eq!(reports.iter().map(|report| report.read - 1).sum::<u64>(), 6);
    assert_eq!(reports.iter().map(|report| report.damaged.len()).sum::<usize>(), 1);
    assert!(part(0, 3).is_err() && part(4, 3).is_err());
}

#[test]
fn a_new_journal_does_not_fit_an_older_checkpoint() {
    let folder = tempfile::tempdir().unwrap();
    let archive = filled(folder.path());
    let old = archive.checkpoint().written();
    assert_eq!(full(folder.path(), Some(&old)).anchored, Some(archive.size()));
    let other = tempfile::tempdir().unwrap();
    let mut forged = create(Arc::new(Disk), other.path());
    forged.commit((0..30).map(|n| file(&forged, n)).collect(), &commit()).unwrap();
    assert!(full(other.path(), None).is_sound(), "consistent in itself");
    let report = full(other.path(), Some(&old));
    assert!(report.altered[0].what.contains("outside checkpoint") && report.anchored.is_none());
}

#[test]
fn what_was_damaged_is_brought_back_from_a_copy() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = filled(folder.path());
    let copy = tempfile::tempdir().unwrap();
    for (n, revision) in [(0, 1), (1, 1), (2, 1)] {
        let path = copy.path().join(layout::bundle(key(n), revision));
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes(n, revision)).unwrap();
    }
    fs::write(copy.path().join(layout::bundle(key(2), 1)), "damaged there too").unwrap();
    fs::remove_file(folder.path().join(layout::bundle(key(0), 1))).unwrap();
    for n in [1, 2] {
        fs::write(folder.path().join(layout::bundle(key(n), 1)), "bit rot").unwrap();
    }
    let repaired = archive.repair(copy.path(), &commit()).unwrap();
    let mut expected = [0, 1].map(|n| layout::Shelved::Bundle(key(n), 1));
    expected.sort();
    let mut found = repaired.repaired.clone();
    found.sort();
    assert_eq!(found, expected);
    assert_eq!(repaired.left.len(), 1);
    let report = full(folder.path(), None);
    assert_eq!(counts(&report), [1, 0, 0, 0], "{report:?}");
}

/// As much of a copy of an archive as its newest checkpoint.
fn copy_with(note: &str) -> tempfile::TempDir {
    let copy = tempfile::tempdir().unwrap();
    fs::create_dir(copy.path().join("checkpoints")).unwrap();
    fs::write(copy.path().join("checkpoints/latest.note"), note).unwrap();
    copy
}

#[test]
fn a_lost_newest_checkpoint_is_made_anew_from_the_journal() {
    let folder = tempfile::tempdir().unwrap();
    let archive = filled(folder.path());
    let latest = folder.path().join("checkpoints/latest.note");
    let old = fs::read_to_string(&latest).unwrap();
    fs::write(&latest, "nonsense").unwrap();
    assert!(Archive::open(Arc::new(Disk), folder.path()).is_err());
    assert!(!full(folder.path(), None).altered.is_empty());
    let made = Archive::mend_checkpoint(&Disk, folder.path(), Some(copy_with(&old).path()), None).unwrap();
    assert_eq!(made, archive.head());
    assert!(full(folder.path(), Some(&old)).is_sound());
    fs::remove_file(&latest).unwrap();
    let lost = Archive::open(Arc::new(Disk), folder.path()).map(drop).unwrap_err();
    assert_eq!(lost.kind(), Kind::Altered);
    assert_eq!(Archive::mend_checkpoint(&Disk, folder.path(), None, None).unwrap(), archive.head());
}

/// What a clerk's hand or a bad disk does to the journal of an archive of which there is a whole copy.
#[test]
fn an_altered_or_shortened_journal_is_never_made_to_look_whole() {
    let another_hand = |text: &str| text.replacen("night-shift", "night-shirt", 1);
    let last_line_lost = |text: &str| {
        let end = text.trim_end().rfind('\n').unwrap();
        text[..=end].to_owned()
    };
    let another_length = |text: &str| text.replacen("\"n\":568", "\"n\":569", 1);
    let changes: [&dyn Fn(&str) -> String; 3] = [&another_hand, &last_line_lost, &another_length];
    for (number, change) in changes.into_iter().enumerate() {
        let folder = tempfile::tempdir().unwrap();
        let mut archive = filled(folder.path());
        let latest = folder.path().join("checkpoints/latest.note");
        let whole = fs::read_to_string(&latest).unwrap();
        let journal = folder.path().join("journal/000000000000.jsonl");
        let text = fs::read_to_string(&journal).unwrap();
        assert_ne!(change(&text), text, "{number}");
        fs::write(&journal, change(&text)).unwrap();
        // By itself, with the copy's checkpoint, and with a damaged one of its own beside that.
        let copy = copy_with(&whole);
        for (own, copy) in [(&whole[..], None), (&whole, Some(copy.path())), ("nonsense", Some(copy.path()))]
        {
            fs::write(&latest, own).unwrap();
            let refused = Archive::mend_checkpoint(&Disk, folder.path(), copy, None);
            assert_eq!(refused.map_err(|error| error.kind()).unwrap_err(), Kind::Altered, "{number}");
            assert_eq!(fs::read_to_string(&latest).unwrap(), own, "{number}");
        }
        fs::write(&latest, &whole).unwrap();
        let refused = archive.repair(folder.path(), &commit());
        assert_eq!(refused.map_err(|error| error.kind()).unwrap_err(), Kind::Altered, "{number}");
        assert_eq!(fs::read_to_string(&journal).unwrap(), change(&text), "{number}");
        assert!(!full(folder.path(), None).altered.is_empty(), "{number}");
    }
}

#[test]
fn a_newest_checkpoint_with_a_wrong_root_is_made_anew_only_where_a_copy_vouches_for_the_journal() {
    let folder = tempfile::tempdir().unwrap();
    let archive = filled(folder.path());
    let latest = folder.path().join("checkpoints/latest.note");
    let whole = fs::read_to_string(&latest).unwrap();
    let root = whole.lines().nth(2).unwrap();
    let flipped = if root.starts_with('A') { "B" } else { "A" };
    fs::write(&latest, whole.replacen(root, &format!("{flipped}{}", &root[1..]), 1)).unwrap();
    let alone = Archive::mend_checkpoint(&Disk, folder.path(), None, None);
    assert_eq!(alone.map_err(|error| error.kind()).unwrap_err(), Kind::Altered);
    let origin = whole.lines().next().unwrap();
    let of_another = whole.replacen(origin, "elsewhere.example/ecg", 1);
    let foreign = Archive::mend_checkpoint(&Disk, folder.path(), Some(copy_with(&of_another).path()), None);
    assert_eq!(foreign.map_err(|error| error.kind()).unwrap_err(), Kind::Refused);
    let made = Archive::mend_checkpoint(&Disk, folder.path(), Some(copy_with(&whole).path()), None).unwrap();
    assert_eq!(made, archive.head());
}

/// A disk with one path that its user may not read (POSIX EACCES). Root may read everything, so that modes would prove
/// nothing where tests run as root.
struct Denying(PathBuf);

impl Denying {
    fn may(&self, path: &Path) -> io::Result<()> {
        if path == self.0 { Err(io::ErrorKind::PermissionDenied.into()) } else { Ok(()) }
    }
}

impl Storage for Denying {
    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        self.may(path).and_then(|()| Disk.read(path))
    }
    fn read_from(&self, path: &Path, offset: u64) -> io::Result<Vec<u8>> {
        self.may(path).and_then(|()| Disk.read_from(path, offset))
    }
    fn read_part(&self, path: &Path, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        self.may(path).and_then(|()| Disk.read_part(path, offset, length))
    }
    fn names(&self, folder: &Path) -> io::Result<Vec<String>> {
        self.may(folder).and_then(|()| Disk.names(folder))
    }
    fn size(&self, path: &Path) -> io::Result<Option<u64>> {
        Disk.size(path)
    }
    fn make_folder(&self, path: &Path) -> io::Result<bool> {
        Disk.make_folder(path)
    }
    fn create(&self, path: &Path, bytes: &[u8], readers: Readers) -> io::Result<()> {
        Disk.create(path, bytes, readers)
    }
    fn sync(&self, path: &Path) -> io::Result<()> {
        Disk.sync(path)
    }
    fn place(&self, from: &Path, to: &Path) -> io::Result<()> {
        Disk.place(from, to)
    }
    fn replace(&self, from: &Path, to: &Path) -> io::Result<()> {
        Disk.replace(from, to)
    }
    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        Disk.sync_folder(path)
    }
    fn append(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        Disk.append(path, bytes)
    }
    fn truncate(&self, path: &Path, length: u64) -> io::Result<()> {
        Disk.truncate(path, length)
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        Disk.remove(path)
    }
    fn lock(&self, path: &Path, hold: Hold) -> io::Result<Box<dyn Lock>> {
        Disk.lock(path, hold)
    }
}

#[test]
fn what_may_not_be_read_is_neither_damaged_nor_missing() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path()));
    let look = |at: &Path| {
        let args = VerifyArgs { level: Level::Full, part: None, against: None };
        verify(&Denying(folder.path().join(at)), folder.path(), &args, &|_| Vec::new(), &|_, _| ())
    };
    let shelved = [layout::bundle(key(0), 1), layout::tombstone(key(4)), layout::certificate(key(4))];
    for at in shelved {
        let report = look(&at).unwrap();
        assert_eq!(counts(&report), [0; 4], "{report:?}");
        let [unreadable] = report.unreadable.as_slice() else { panic!("{report:?}") };
        assert_eq!(Path::new(&unreadable.place), at);
        assert!(!report.is_sound() && !report.has_faults(), "nothing is known about it");
    }
    // Without these nothing can be said about anything.
    for at in ["checkpoints/latest.note", "journal/000000000000.jsonl", "keys"] {
        let error = look(Path::new(at)).unwrap_err();
        assert_eq!(error.kind(), Kind::Io, "{error}");
    }
}
