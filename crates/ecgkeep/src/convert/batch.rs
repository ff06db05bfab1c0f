//! Many inputs into one folder: nothing is converted twice, nothing of another's is replaced.

use std::fs;
use std::path::{Path, PathBuf};

use ecgkeep_archive::sha256;
use ecgkeep_deidentify::Taken;
use ecgkeep_format::{Error, Kind, Loss, Note, Place, Result};
use ecgkeep_recording::Filing;

use crate::convert::Conversion;
use crate::convert::done::{CONVERTED_SCHEMA, DoneList, Line, Output};
use crate::convert::put::{Put, refuse_own_source, write_new};
use crate::convert::targets::{Target, name_in};
use crate::input::{Found, Opened};
use crate::storage::Storage;

/// A batch.
pub struct Batch<'a> {
    /// How sources are converted.
    pub conversion: Conversion<'a>,
    /// The format that was named for reading, if one was.
    pub from: Option<&'a str>,
    /// Where files are written.
    pub storage: &'a dyn Storage,
    /// The output folder.
    pub into: &'a Path,
    /// What was done before; `None` where nothing is written.
    pub done: Option<&'a DoneList>,
    /// Whether files of others are replaced.
    pub overwrite: bool,
}

/// What came of one input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// It was converted.
    Written,
    /// An earlier run converted it, and source and outputs are what they were.
    DoneBefore,
    /// It would be converted.
    WouldWrite,
}

/// One input that went through.
#[derive(Debug)]
pub struct Filed {
    /// What came of it.
    pub fate: Fate,
    /// The files.
    pub paths: Vec<PathBuf>,
    /// How many losses there are.
    pub losses: usize,
    /// Which; empty where it was done before.
    pub listed: Vec<Loss>,
    /// What taking the identity out took; empty where it was done before.
    pub taken: Vec<Taken>,
    /// What the reader noticed.
    pub notes: Vec<Note>,
    /// What else is to be said.
    pub remarks: Vec<String>,
}

impl Batch<'_> {
    /// Converts one input that was read, unless that was done before.
    /// # Errors
    /// [`Kind::Altered`] for a source with another digest than its list says; those of [`Conversion::of`];
    /// [`Kind::Io`], nothing of this input being left half written.
    pub fn file(&self, target: &Target, opened: Opened, filing: Option<&Filing>) -> Result<Filed> {
        expect_digest(&target.found, &opened)?;
        let source = self.conversion.source(&opened, filing)?;
        let settings = self.conversion.settings(self.from);
        // Names of the source's own may say who it is.
        let (folder, stem) = match self.conversion.deidentifier {
            Some(deidentifier) => (Path::new(""), deidentifier.name(&opened.key())?),
            None => (target.folder.as_path(), target.stem.clone()),
        };
        let name = name_in(folder, &stem);
        let id = self.conversion.format.about().id;
        let before = self.done.map_or_else(Vec::new, |done| done.before(&name, id));
        let is_same = |line: &&&Line| {
            line.source == source && line.settings == settings && line.program == self.conversion.program
        };
        let there = before.iter().rev().find(is_same).filter(|line| {
            let may_lose = line.losses == 0 || !self.conversion.refuse_losses;
            may_lose && line.outputs.iter().all(|output| self.is_there(output))
        });
        if let Some(line) = there {
            opened.refuse_damage(self.conversion.accept_damage)?;
            let paths = line.outputs.iter().map(|output| self.into.join(&output.name)).collect();
            return Ok(Filed {
                fate: Fate::DoneBefore,
                paths,
                losses: line.losses,
                listed: Vec::new(),
                taken: Vec::new(),
                notes: opened.read.notes,
                remarks: Vec::new(),
            });
        }
        let converted = self.conversion.of(&opened, &stem, filing)?;
        let full = self.into.join(folder);
        let losses = converted.losses.len();
        let filed = |fate, paths, remarks, opened: Opened| Filed {
            fate,
            paths,
            losses,
            listed: converted.losses,
            taken: converted.taken,
            notes: opened.read.notes,
            remarks,
        };
        let Some(done) = self.done else {
            let paths = converted.files.iter().map(|file| full.join(&file.name)).collect();
            return Ok(filed(Fate::WouldWrite, paths, Vec::new(), opened));
        };
        refuse_own_source(&target.found.path, &opened, &full, &converted.files)?;
        let put = Put { storage: self.storage, folder: &full, overwrite: self.overwrite };
        self.storage.make_folder(&full)?;
        let (paths, remarks) = write_new(&put, &converted.files, &before, folder)?;
        let outputs = converted.files.iter().map(|file| Output {
            name: name_in(folder, &file.name),
            bytes: file.bytes.len() as u64,
            sha256: sha256(&file.bytes),
        });
        done.add(&Line {
            schema: CONVERTED_SCHEMA.to_owned(),
            target: name,
            source,
            settings,
            program: self.conversion.program.to_owned(),
            losses,
            outputs: outputs.collect(),
        })?;
        Ok(filed(Fate::Written, paths, remarks, opened))
    }

    fn is_there(&self, output: &Output) -> bool {
        let path = self.into.join(&output.name);
        let is_as_long = path.metadata().is_ok_and(|meta| meta.is_file() && meta.len() == output.bytes);
        is_as_long && fs::read(&path).is_ok_and(|bytes| sha256(&bytes) == output.sha256)
    }
}

/// Refuses a source with another digest than its list says.
pub(crate) fn expect_digest(found: &Found, opened: &Opened) -> Result<()> {
    let Some(expected) = &found.sha256 else { return Ok(()) };
    let path = &found.path;
    let main = opened.files.iter().find(|file| file.name == opened.main);
    let own_name = path.file_name().and_then(|name| name.to_str());
    let found = match main.filter(|file| own_name == Some(file.name.as_str())) {
        Some(file) => sha256(&file.bytes),
        // A bundle: the list names it, the source is inside.
        None => fs::read(path).map(|bytes| sha256(&bytes)).map_err(|error| {
            Error::new(Kind::Io, "cannot read").at(Place::file(path.display().to_string())).because(error)
        })?,
    };
    if found == *expected {
        return Ok(());
    }
    Err(Error::new(Kind::Altered, format!("SHA-256 is {found}, the list says {expected}"))
        .remedy("nothing was written for it; find out which of the two is right"))
}
