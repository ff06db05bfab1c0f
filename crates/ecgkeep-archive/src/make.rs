//! A new archive.

use std::io::ErrorKind;
use std::path::Path;
use std::sync::Arc;

use ecgkeep_format::{Error, Kind, Place, Result};

use crate::archive::{Archive, Identity, SCHEMA};
use crate::checkpoint::Checkpoint;
use crate::fault::{cannot_write, shown};
use crate::layout;
use crate::line::{About, Event, LONGEST_LINE, Line};
use crate::storage::{Storage, folder_of, write_whole};
use crate::tree::{Frontier, leaf};
use crate::word::{Code, Digest, Moment};

/// What a new archive says of itself.
#[derive(Clone, Debug)]
pub struct Making {
    /// Which archive: 1 to 64 of the alphabet of codes.
    pub id: Code,
    /// The first line of its checkpoints, such as `larkmoor.example/ecg`: no blank, no plus, no scheme.
    pub origin: String,
    /// When.
    pub at: Moment,
    /// Who.
    pub by: Code,
    /// The program and its version.
    pub program: String,
}

impl Archive {
    /// Makes an archive in a folder that is not there, is empty, or holds what a making that broke off left.
    /// # Errors
    /// [`Kind::Usage`] for an origin that is none; [`Kind::Io`], also where the folder holds something else.
    pub fn create(storage: Arc<dyn Storage>, folder: &Path, making: &Making) -> Result<Archive> {
        check_origin(&making.origin)?;
        make(&*storage, folder, making)?;
        Archive::open(storage, folder)
    }
}

/// The file that names the archive comes last: before it there is none.
fn make(storage: &dyn Storage, folder: &Path, making: &Making) -> Result<()> {
    let failed = |error| cannot_write(folder, error);
    storage.make_folder(folder).map_err(failed)?;
    if !is_free(storage, folder).map_err(failed)? {
        return Err(Error::new(Kind::Io, "the folder is not empty")
            .at(Place::file(shown(folder)))
            .remedy("choose another folder, or open the archive that is there"));
    }
    storage.sync_folder(&folder_of(folder)).map_err(failed)?;
    for below in layout::FOLDERS {
        storage.make_folder(&folder.join(below)).map_err(failed)?;
    }
    storage.sync_folder(&folder.join(layout::REQUESTS)).map_err(failed)?;
    storage.sync_folder(folder).map_err(failed)?;

    let identity = written(making)?;
    let line = first_line(making, &identity);
    let mut frontier = Frontier::default();
    frontier.push(leaf(line.text().as_bytes()));
    let checkpoint = Checkpoint { origin: making.origin.clone(), size: 1, root: frontier.root() };
    let note = checkpoint.note(None).written();
    let write = |name: &Path, bytes: &[u8]| {
        write_whole(storage, &folder.join(name), bytes, true).map_err(|error| cannot_write(name, error))
    };
    write(Path::new(layout::ARCHIVE_TXT), layout::plain_words(&making.origin).as_bytes())?;
    write(&layout::segment(0), (line.text() + "\n").as_bytes())?;
    write(Path::new(layout::LATEST), note.as_bytes())?;
    write(&Path::new(layout::CHECKPOINTS).join("1.note"), note.as_bytes())?;
    write(Path::new(layout::ARCHIVE_JSON), &identity)
}

fn written(making: &Making) -> Result<Vec<u8>> {
    let identity = Identity {
        schema: SCHEMA.to_owned(),
        id: making.id.to_string(),
        origin: making.origin.clone(),
        made_at: making.at.to_string(),
        program: making.program.clone(),
    };
    let mut bytes = serde_json::to_vec_pretty(&identity)
        .map_err(|error| Error::new(Kind::Internal, "archive.json cannot be written").because(error))?;
    bytes.push(b'\n');
    Ok(bytes)
}

fn first_line(making: &Making, identity: &[u8]) -> Line {
    let about = About {
        sha256: Some(Digest::of(identity)),
        bytes: Some(identity.len() as u64),
        by: Some(making.by.clone()),
        ..About::default()
    };
    Line { index: 0, at: making.at, event: Event::Made, about }
}

/// C2SP tlog-checkpoint: the origin is not empty; signed-note: a key's name holds no blank and no plus.
fn check_origin(origin: &str) -> Result<()> {
    let is_plain = |c: char| c.is_ascii_graphic() && c != '+' && c != '"' && c != '\\';
    if (1..=200).contains(&origin.len()) && origin.chars().all(is_plain) {
        return Ok(());
    }
    Err(Error::new(Kind::Usage, "an origin is 1 to 200 plain characters without blank, plus or quote")
        .remedy("name it like a place on the web without https://, such as larkmoor.example/ecg"))
}

/// Whether there is nothing but what a making that broke off can have left.
fn is_free(storage: &dyn Storage, folder: &Path) -> std::io::Result<bool> {
    let is_ours = |name: &String| {
        layout::FOLDERS.contains(&name.as_str())
            || name == layout::ARCHIVE_TXT
            || name.starts_with(".ecgkeep-")
    };
    if !storage.names(folder)?.iter().all(is_ours) {
        return Ok(false);
    }
    for below in layout::FOLDERS {
        let names = match storage.names(&folder.join(below)) {
            Ok(names) => names,
            Err(error) if error.kind() == ErrorKind::NotFound => continue,
            Err(error) => return Err(error),
        };
        let left_by_making = |name: &String| match *below {
            layout::REQUESTS => name == "open",
            layout::JOURNAL => name == "000000000000.jsonl" || name.starts_with(".ecgkeep-"),
            layout::CHECKPOINTS => name == "latest.note" || name == "1.note" || name.starts_with(".ecgkeep-"),
            _ => false,
        };
        if !names.iter().all(left_by_making) {
            return Ok(false);
        }
    }
    let journal = storage.size(&folder.join(layout::segment(0)))?;
    Ok(journal.unwrap_or(0) <= LONGEST_LINE as u64)
}
