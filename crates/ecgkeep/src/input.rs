//! From a path to a recording.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use ecgkeep_archive::{Amends, Entry};
use ecgkeep_bundle::Bundle;
use ecgkeep_format::{
    Error, File, Folder, Format, Kind, Limits, Listings, Match, Memory, PROBE_BYTES, Place, Read, Recorded,
    Result, Source,
};
use ecgkeep_recording::{Filing, Recording};

use crate::filing::is_filing;
use crate::formats::{GENERAL_ENDINGS, choose, probe};
use crate::seal;
use crate::verify::altered;

/// The longest bundle that is taken, in bytes: 1 GiB, twice what its members may unpack to.
const BUNDLE_BYTES: u64 = 1 << 30;

/// Where one recording comes from: a file with those beside it, a bundle, or bytes in memory.
pub struct Input(Kept);

enum Kept {
    Folder(Folder),
    Memory(Memory),
    Bundle(Bundle),
    /// A bundle that cannot be opened, or is altered, and why.
    Broken(Folder, Kind, String),
}

impl Input {
    /// The record whose main file is at `path`, or the original inside the bundle at `path`.
    /// # Errors
    /// [`Kind::Io`] where the file cannot be read; those of [`Bundle::open`]; [`Kind::Altered`] for a bundle that is
    /// not valid.
    pub fn at(path: &Path) -> Result<Input> {
        Input::among(path, &Arc::default())
    }

    /// The same for one of many: folders are listed once for all inputs that share these listings.
    /// # Errors
    /// Those of [`Input::at`].
    pub fn among(path: &Path, listings: &Arc<Listings>) -> Result<Input> {
        let folder = Folder::of(path)?.sharing(listings);
        if !path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("zip")) {
            return Ok(Input(Kept::Folder(folder)));
        }
        let bytes = folder.bytes(folder.main(), BUNDLE_BYTES)?;
        let bundle = Bundle::open(folder.main(), bytes)?;
        match altered(folder.main(), &bundle.verify()) {
            Some(error) => Err(error),
            None => Ok(Input::of_bundle(bundle)),
        }
    }

    /// The original inside a bundle.
    #[must_use]
    pub fn of_bundle(bundle: Bundle) -> Input {
        Input(Kept::Bundle(bundle))
    }

    /// The file at `path` that [`Input::at`] refused for this reason: [`Input::read_or_keep`] hands on its bytes, so
    /// that they can be kept.
    /// # Errors
    /// The reason itself where there is nothing to keep: the path was wrong, or could not be read.
    pub fn broken(path: &Path, why: Error) -> Result<Input> {
        match why.kind() {
            Kind::Io | Kind::Usage => Err(why),
            kind => Ok(Input(Kept::Broken(Folder::of(path)?, kind, why.to_string()))),
        }
    }

    /// Files in memory.
    #[must_use]
    pub fn of_memory(memory: Memory) -> Input {
        Input(Kept::Memory(memory))
    }

    /// Bytes that came without a name, such as standard input; only formats of one file can be read so.
    #[must_use]
    pub fn of_bytes(bytes: Vec<u8>) -> Input {
        let name = "standard-input";
        Input(Kept::Memory(Memory::new(name, vec![File { name: name.into(), bytes }])))
    }

    /// The source.
    /// # Errors
    /// [`Kind::Malformed`], [`Kind::Altered`] or [`Kind::Io`] where a bundle does not say what its original is.
    pub fn source(&self) -> Result<Box<dyn Source + '_>> {
        Ok(match &self.0 {
            Kept::Folder(folder) | Kept::Broken(folder, ..) => Box::new(folder.clone()),
            Kept::Memory(memory) => Box::new(memory.clone()),
            Kept::Bundle(bundle) => Box::new(seal::original(bundle)?),
        })
    }

    /// The bundle that the recording comes from, if it does.
    #[must_use]
    pub fn bundle(&self) -> Option<&Bundle> {
        match &self.0 {
            Kept::Bundle(bundle) => Some(bundle),
            _ => None,
        }
    }

    /// What a person supplied beside the source when it was sealed; `None` where the input is no bundle or
    /// nothing was supplied.
    /// # Errors
    /// [`Kind::Altered`] or [`Kind::Malformed`] where the stored filing cannot be read.
    pub fn stored_filing(&self) -> Result<Option<Filing>> {
        self.bundle().map_or(Ok(None), seal::stored_filing)
    }

    /// Reads the source with the format `from`, or the one that recognises it. Of a corrected bundle it is the
    /// recording as it was corrected, with the files as they were received.
    /// # Errors
    /// [`Kind::Unrecognised`], or those of the format's reader.
    pub fn read(&self, from: Option<&str>, limits: &Limits) -> Result<Opened> {
        self.read_or_keep(from, limits).map_err(|unread| unread.error)
    }

    /// [`Input::read`] that hands on, with the error, the files that belong to what could not be read: those that
    /// were looked at, and those beside the main file with its stem.
    /// # Errors
    /// [`Unread`].
    pub fn read_or_keep(&self, from: Option<&str>, limits: &Limits) -> std::result::Result<Opened, Unread> {
        let source = self.source().map_err(Unread::without_files)?;
        let main = source.main().to_owned();
        let recorded = Recorded::new(&*source);
        if let Kept::Broken(_, kind, why) = &self.0 {
            // A file that cannot be read cannot be kept; why it was refused is told anyway.
            let _ = recorded.bytes(&main, BUNDLE_BYTES);
            return Err(Unread { error: Error::new(*kind, why.clone()), main, files: originals(recorded) });
        }
        let read = || {
            // Whichever files the reader wants, the main file is part of the source.
            recorded.bytes(&main, limits.file_bytes)?;
            let format = choose(&recorded, from)?;
            Ok((format, format.read(&recorded, limits)?))
        };
        match read() {
            Ok((format, read)) => {
                let opened = Opened { format, main, read, files: originals(recorded), amends: None };
                self.corrected(opened).map_err(Unread::without_files)
            }
            Err(error) => {
                let stem = main.rsplit_once('.').map_or(main.as_str(), |(stem, _)| stem);
                let beside =
                    |name: &String| name.strip_prefix(stem).is_some_and(|rest| rest.starts_with('.'));
                for name in source.names().unwrap_or_default().iter().filter(|name| beside(name)) {
                    // A file that cannot be read cannot be kept; the main file's own error is told anyway.
                    let _ = recorded.bytes(name, limits.file_bytes);
                }
                Err(Unread { error, main, files: originals(recorded) })
            }
        }
    }

    /// What a corrected bundle says in place of its original.
    fn corrected(&self, opened: Opened) -> Result<Opened> {
        let Some(bundle) = self.bundle() else { return Ok(opened) };
        let entry: Entry = seal::stored(bundle, seal::ENTRY)?;
        if entry.amends.is_none() {
            return Ok(opened);
        }
        let recordings = vec![seal::stored_recording(bundle)?];
        Ok(Opened { read: Read { recordings, ..opened.read }, amends: entry.amends, ..opened })
    }
}

fn originals(recorded: Recorded<'_>) -> Vec<Original> {
    recorded.into_files().into_iter().map(|(name, bytes)| Original { name, bytes }).collect()
}

/// The original inside a bundle, read as it was received, whatever was corrected since.
pub(crate) fn original_of(bundle: &Bundle, entry: &Entry) -> Result<Opened> {
    let source = seal::original(bundle)?;
    let recorded = Recorded::new(&source);
    recorded.bytes(source.main(), Limits::default().file_bytes)?;
    let format = choose(&recorded, Some(&entry.format))?;
    let read = format.read(&recorded, &Limits::default())?;
    let main = source.main().to_owned();
    Ok(Opened { format, main, read, files: originals(recorded), amends: None })
}

/// A source that could not be read.
pub struct Unread {
    /// Why.
    pub error: Error,
    /// The name of its main file.
    pub main: String,
    /// Its files, as far as they could be fetched; none where the main file could not.
    pub files: Vec<Original>,
}

impl Unread {
    fn without_files(error: Error) -> Unread {
        Unread { error, main: String::new(), files: Vec::new() }
    }
}

/// One file of a source, as it was received.
#[derive(Clone, Debug)]
pub struct Original {
    /// Its plain name.
    pub name: String,
    /// Its bytes.
    pub bytes: Arc<[u8]>,
}

/// A source that has been read.
pub struct Opened {
    /// The format it was read with.
    pub format: &'static dyn Format,
    /// The name of the main file.
    pub main: String,
    /// Recordings and notes.
    pub read: Read,
    /// The files that were read, by name.
    pub files: Vec<Original>,
    /// What was corrected, where it comes from a corrected bundle; the recording is as it was corrected.
    pub amends: Option<Amends>,
}

impl Opened {
    /// The [`key`](ecgkeep_archive::key) of the files.
    #[must_use]
    pub fn key(&self) -> String {
        ecgkeep_archive::key(self.files.iter().map(|file| (file.name.as_str(), &*file.bytes)))
    }

    /// The one recording.
    /// # Errors
    /// [`Kind::Unsupported`] where the source holds none or several.
    pub fn recording(&self) -> Result<&Recording> {
        match self.read.recordings.as_slice() {
            [recording] => Ok(recording),
            several => Err(Error::new(
                Kind::Unsupported,
                format!("holds {} recordings where one is expected", several.len()),
            )
            .at(Place::file(self.main.clone()))),
        }
    }

    /// Refuses a damaged source unless the caller accepts it.
    /// # Errors
    /// [`Kind::Malformed`] with the first damage.
    pub fn refuse_damage(&self, accept_damage: bool) -> Result<()> {
        let damage = self.read.notes.iter().find(|note| note.weight == ecgkeep_format::Weight::Damage);
        match damage {
            Some(note) if !accept_damage => {
                Err(Error::new(Kind::Malformed, format!("damaged: {}", note.text))
                    .at(note.place.clone())
                    .remedy("ask for the file again, or use --accept-damage; a page then says DAMAGED"))
            }
            _ => Ok(()),
        }
    }
}

/// The inputs that a list of files and folders stands for: files as they are; folders walked, sorted, and only
/// the main files of recordings in them. What is passed over in a folder is listed beside.
#[derive(Clone, Debug, Default)]
pub struct Inputs {
    /// Main files, each with the path it has below the folder it was found in (or its file name).
    pub found: Vec<Found>,
    /// Files in folders that are no recording: named like one and none by its bytes, or neither recognised nor named
    /// like a recording with another ending.
    pub passed_over: Vec<PathBuf>,
}

/// One input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// Where it is.
    pub path: PathBuf,
    /// Where below the named folder it is, for mirroring; its file name where it was named itself.
    pub below: PathBuf,
    /// Which of the inputs it is, counted from 1, or as a list numbers it.
    pub number: u64,
    /// The SHA-256 that a list says its file has, in lower-case hexadecimal.
    pub sha256: Option<String>,
}

impl Found {
    /// An input of which nothing is known but where it is and which it is.
    #[must_use]
    pub fn new(path: PathBuf, below: PathBuf, number: u64) -> Found {
        Found { path, below, number, sha256: None }
    }
}

impl Inputs {
    /// Walks files and folders.
    /// # Errors
    /// [`Kind::Io`] for a folder that cannot be listed.
    pub fn of(paths: &[PathBuf]) -> Result<Inputs> {
        Inputs::walked(paths, None)
    }

    /// The same, without what a folder inside them holds (it need not exist), such as the one that is written into.
    /// # Errors
    /// [`Kind::Io`] for a folder that cannot be listed.
    pub fn outside(paths: &[PathBuf], folder: &Path) -> Result<Inputs> {
        Inputs::walked(paths, folder.canonicalize().ok().as_deref())
    }

    fn walked(paths: &[PathBuf], except: Option<&Path>) -> Result<Inputs> {
        let mut inputs = Inputs::default();
        for path in paths {
            // A path that is not there is an input too: reading it says so, and the others go on.
            if path.is_dir() {
                inputs.walk(path, path, except)?;
            } else {
                let below = path.file_name().map_or_else(|| path.clone(), PathBuf::from);
                inputs.add(path.clone(), below);
            }
        }
        Ok(inputs)
    }

    fn add(&mut self, path: PathBuf, below: PathBuf) {
        let number = self.found.len() as u64 + 1;
        self.found.push(Found::new(path, below, number));
    }

    fn walk(&mut self, root: &Path, folder: &Path, except: Option<&Path>) -> Result<()> {
        let failed = |error: std::io::Error| {
            Error::new(Kind::Io, "cannot be listed")
                .at(Place::file(folder.display().to_string()))
                .because(error)
        };
        let mut paths = Vec::new();
        for entry in std::fs::read_dir(folder).map_err(failed)? {
            paths.push(entry.map_err(failed)?.path());
        }
        paths.sort();
        let mut stems = BTreeSet::new();
        let mut others = Vec::new();
        for path in paths {
            if path.is_dir() {
                let is_excepted =
                    except.is_some_and(|except| path.canonicalize().is_ok_and(|path| path == except));
                if !is_excepted {
                    self.walk(root, &path, except)?;
                }
                continue;
            }
            match taken_for(&path) {
                Taken::Input => {
                    stems.extend(path.file_stem().map(|stem| stem.to_string_lossy().into_owned()));
                    let below = path.strip_prefix(root).unwrap_or(&path).to_owned();
                    self.add(path, below);
                }
                Taken::Doubtful => self.passed_over.push(path),
                Taken::Other => others.push(path),
            }
        }
        let goes_with_a_recording = |path: &PathBuf| {
            let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
            name.match_indices('.').any(|(dot, _)| stems.contains(&name[..dot]))
        };
        self.passed_over.extend(others.into_iter().filter(|path| !goes_with_a_recording(path)));
        Ok(())
    }
}

/// What a file in a folder is taken for.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Taken {
    /// A recording or a bundle, whole or broken.
    Input,
    /// Named like a recording, and none by its bytes; many other files are named so.
    Doubtful,
    /// Something else.
    Other,
}

fn taken_for(path: &Path) -> Taken {
    use std::io::Read as _;
    let mut head = Vec::new();
    let opened = std::fs::File::open(path);
    let read = opened.and_then(|file| file.take(PROBE_BYTES as u64).read_to_end(&mut head));
    let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
    let ending = name.rsplit('.').next().unwrap_or_default().to_ascii_lowercase();
    let sure = probe(name, &head).first().map_or(Match::No, |(_, sure)| *sure);
    match sure {
        _ if read.is_err() => Taken::Input,
        Match::Likely | Match::Certain => Taken::Input,
        _ if ending == "zip" => Taken::Input,
        Match::ByName if !GENERAL_ENDINGS.contains(&ending.as_str()) => Taken::Input,
        Match::ByName if is_filing(name) => Taken::Other,
        Match::ByName | Match::ByKind => Taken::Doubtful,
        Match::No => Taken::Other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The signature of HDF5 is 89 48 44 46 0d 0a 1a 0a (HDF5 file format specification 3.0, section II.A).
    #[test]
    fn a_damaged_file_in_a_folder_is_an_input_where_its_ending_is_of_one_format_alone() {
        let folder = tempfile::tempdir().unwrap();
        let other = b"\x89HDF\r\n\x1a\n of another layout".as_slice();
        let files = [
            ("a.h5", [0; 64].as_slice(), true),
            ("b.HDF5", b"", true),
            ("c.scp", &[0; 64], true),
            ("d.hea", &[0; 64], true),
            ("e.aecg", &[0; 64], true),
            ("f.h5", other, false),
            ("g.xml", b"<?xml version='1.0'?><invoice/>", false),
            ("h.xml", &[0; 64], false),
            ("i.json", b"{}", false),
            ("j.dat", &[0; 64], false),
        ];
        for (name, bytes, _) in files {
            std::fs::write(folder.path().join(name), bytes).unwrap();
        }
        let inputs = Inputs::of(&[folder.path().to_owned()]).unwrap();
        let names = |paths: Vec<PathBuf>| -> BTreeSet<String> {
            paths.iter().map(|path| path.file_name().unwrap().to_string_lossy().into_owned()).collect()
        };
        let found = names(inputs.found.into_iter().map(|found| found.path).collect());
        let expected = |taken: bool| -> BTreeSet<String> {
            files.iter().filter(|(.., is)| *is == taken).map(|(name, ..)| (*name).to_owned()).collect()
        };
        assert_eq!((found, names(inputs.passed_over)), (expected(true), expected(false)));
    }
}
