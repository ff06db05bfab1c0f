//! A disk that is really full: a small tmpfs with room for so many pages, or so many files, and no more.

use std::path::Path;
use std::sync::Arc;

use ecgkeep_archive::storage::Disk;
use ecgkeep_archive::{Archive, Level, VerifyArgs, verify};
use ecgkeep_format::Kind;

use crate::crash::add;
use crate::figures::row;
use crate::harness::*;
use crate::mounted::Mounted;

#[test]
fn a_full_disk_is_a_clean_refusal() {
    let folder = tempfile::tempdir().unwrap();
    let Some(disk) = Mounted::new(folder.path(), &["-t", "tmpfs", "-o", "size=2m,nr_inodes=420", "tmpfs"])
    else {
        println!("skipped: a full disk: this machine does not let us mount a tmpfs");
        return;
    };
    let root = disk.path().join("archive");
    let mut archive = create(Arc::new(Disk), &root);
    govern(&mut archive);
    let (mut tried, mut refused, mut faults) = (0, 0, Vec::new());
    for room in 0..40_usize {
        for of_files in [false, true] {
            tried += 1;
            fill(disk.path(), room, of_files);
            let before = archive.size();
            let n = u32::try_from(tried).unwrap();
            let done = add(&archive, n).and_then(|act| archive.commit(vec![act], &commit()));
            let sound = is_sound(&root, archive.size());
            empty(disk.path());
            match done {
                Err(error) if error.kind() == Kind::Io && sound && archive.size() == before => refused += 1,
                Ok(_) if sound && archive.size() == before + 1 => {}
                other => faults.push(format!("room for {room}: {other:?}, sound: {sound}")),
            }
            // With room again the same recording is filed, or was settled by then.
            archive.commit(vec![add(&archive, n).unwrap()], &commit()).unwrap();
        }
    }
    row("a real full disk: room for every number of pages and of files", tried, faults.len() as u64);
    assert!(faults.is_empty(), "{faults:?}");
    assert!(refused > 5, "only {refused} were refused");
    assert!(is_sound(&root, archive.size()));
}

/// Leaves room for so many pages or files.
fn fill(disk: &Path, room: usize, of_files: bool) {
    let ballast = disk.join("ballast");
    std::fs::create_dir(&ballast).unwrap();
    if of_files {
        let mut n = 0;
        while std::fs::write(ballast.join(n.to_string()), "").is_ok() {
            n += 1;
        }
        (0..room.min(n)).for_each(|n| std::fs::remove_file(ballast.join(n.to_string())).unwrap());
    } else {
        let _ = std::fs::write(ballast.join("pages"), vec![1; 4 << 20]);
        let file = std::fs::OpenOptions::new().write(true).open(ballast.join("pages")).unwrap();
        let length = file.metadata().unwrap().len();
        file.set_len(length.saturating_sub(room as u64 * 4096)).unwrap();
    }
}

fn empty(disk: &Path) {
    std::fs::remove_dir_all(disk.join("ballast")).unwrap();
}

fn is_sound(root: &Path, size: u64) -> bool {
    let args = VerifyArgs { level: Level::Full, part: None, against: None };
    let report = verify(&Disk, root, &args, &|_| Vec::new(), &|_, _| ()).unwrap();
    let reopened = Archive::open(Arc::new(Disk), root).unwrap();
    report.is_sound() && reopened.size() >= size
}
