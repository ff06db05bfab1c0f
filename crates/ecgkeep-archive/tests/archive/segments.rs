//! Where one segment of the journal is full and the next begins.

use std::path::Path;
use std::sync::Arc;

use ecgkeep_archive::layout::SEGMENT_LINES;
use ecgkeep_archive::storage::Storage as _;
use ecgkeep_archive::tree::is_consistent;
use ecgkeep_archive::{About, Act, Archive, Event, Level, VerifyArgs, verify};

use crate::crash::{ROOT, Steps, add, explore_from, made};
use crate::figures::{row, scale};
use crate::harness::*;
use crate::simulated::{Simulated, World};

/// An archive whose first segment has room for two more lines.
fn nearly_full() -> World {
    let storage = Simulated::on(made());
    let mut archive = Archive::open(Arc::new(storage.clone()), Path::new(ROOT)).unwrap();
    archive.commit(vec![add(&archive, 0).unwrap()], &commit()).unwrap();
    let viewed = || {
        let about =
            About { key: Some(key(0)), revision: Some(1), why: Some(code("ward-round")), ..About::default() };
        Act::Line(Event::Viewed, about)
    };
    let batch = (archive.size()..SEGMENT_LINES - 2).map(|_| viewed()).collect();
    archive.commit(batch, &commit()).unwrap();
    storage.world().after_cut(&mut || true)
}

#[test]
fn the_journal_goes_on_in_the_next_segment() {
    let base = nearly_full();
    let storage = Simulated::on(base.clone());
    let mut archive = Archive::open(Arc::new(storage.clone()), Path::new(ROOT)).unwrap();
    let old = archive.head();
    archive.commit((1..6).map(|n| add(&archive, n).unwrap()).collect(), &commit()).unwrap();
    assert_eq!(archive.size(), SEGMENT_LINES + 3);
    let root = Path::new(ROOT).join("journal/000000000000.root");
    for cache in [None, Some("nonsense".to_owned()), Some(format!("{}\n", "0".repeat(64)))] {
        if let Some(cache) = cache {
            storage.remove(&root).unwrap();
            storage.append(&root, cache.as_bytes()).unwrap();
        }
        let again = Archive::open(Arc::new(storage.clone()), Path::new(ROOT)).unwrap();
        assert_eq!(again.head(), archive.head());
        for index in [0, 1, SEGMENT_LINES - 1, SEGMENT_LINES, SEGMENT_LINES + 2] {
            let line = again.line(index).unwrap();
            assert_eq!(line.index, index);
            assert_eq!(again.receipt(index).unwrap().proves(line.text().as_bytes()).unwrap(), again.head());
        }
        let path = again.consistency(old.size).unwrap();
        assert!(is_consistent((old.size, &old.root), (again.size(), &again.head().root), &path));
        assert_eq!(again.lines(SEGMENT_LINES - 3).count(), 6);
    }
    let args = VerifyArgs { level: Level::Full, part: None, against: Some(&old.note(None).written()) };
    let report = verify(&storage, Path::new(ROOT), &args, &|_| Vec::new(), &|_, _| ()).unwrap();
    assert!(report.is_sound() && report.uncommitted.is_empty(), "{report:?}");

    // And cut off anywhere in between.
    let steps = Steps(vec![|archive| {
        let batch = (1..6).map(|n| add(archive, n)).collect::<ecgkeep_format::Result<_>>()?;
        archive.commit(batch, &commit())
    }]);
    let step = usize::try_from(scale(14, 1)).unwrap();
    let explored = explore_from(&base, &steps, None, (0, step), false);
    row(
        "simulated power cut where a segment of the journal fills up",
        explored.states,
        explored.faults.len() as u64,
    );
    assert!(explored.faults.is_empty(), "{} faults, first: {}", explored.faults.len(), explored.faults[0]);
}

/// A segment is read once, when the archive is opened. After that a line costs a few pieces, wherever it stands: so
/// neither memory nor time grows with what is filed.
#[test]
fn a_line_of_a_long_segment_is_read_without_the_rest() {
    let storage = Simulated::on(nearly_full());
    let mut archive = Archive::open(Arc::new(storage.clone()), Path::new(ROOT)).unwrap();
    let whole = storage.size(&Path::new(ROOT).join("journal/000000000000.jsonl")).unwrap().unwrap();
    let read = || std::mem::take(&mut storage.state().read);
    assert!(read() >= whole);
    for index in [0, 1, 2, 30_000, archive.size() - 1] {
        assert_eq!(archive.line(index).unwrap().index, index);
        let lines = archive.lines(index).take(5).collect::<ecgkeep_format::Result<Vec<_>>>().unwrap();
        assert!(lines.iter().map(|line| line.index).eq(index..archive.size().min(index + 5)));
        let read = read();
        assert!(read < whole / 20, "{read} of {whole} bytes for line {index}");
    }
    // The third and fourth stand in the next segment.
    for n in 1..5 {
        let batch = vec![add(&archive, n).unwrap()];
        archive.commit(batch, &commit()).unwrap();
        let read = read();
        assert!(read < whole / 20, "{read} of {whole} bytes for recording {n}");
    }
    assert_eq!(archive.size(), SEGMENT_LINES + 2);
}
