//! Many inputs into one file, in a format that holds many recordings.

use ecgkeep_deidentify::Taken;
use ecgkeep_format::{Error, File, Kind, Loss, Note, Result};
use ecgkeep_recording::{Filing, Recording};

use crate::convert::Conversion;
use crate::convert::batch::expect_digest;
use crate::input::{Found, Opened};

/// What an input gives to a file of many. The bytes of the source are given back already.
#[derive(Debug)]
pub struct Part {
    recordings: Vec<Recording>,
    /// The recording's new name where identity is taken out: parts stand in the order of these.
    name: Option<String>,
    /// What taking the identity out took.
    pub taken: Vec<Taken>,
    /// What the reader noticed.
    pub notes: Vec<Note>,
}

/// A recording that cannot stand in one file with the first.
#[derive(Debug)]
pub struct Misfit {
    /// Which part it is of.
    pub part: usize,
    /// What differs.
    pub error: Error,
    /// How many parts more differ.
    pub more: usize,
}

/// The file.
#[derive(Debug)]
pub struct Together {
    /// The files, the one that names the others last: formats that hold many have one.
    pub files: Vec<File>,
    /// Where each part is in it, in the order in which they were given.
    pub parts: Vec<PartOfFile>,
}

/// Where the recordings of a part are in the file, and what it does not keep of them.
#[derive(Debug)]
pub struct PartOfFile {
    /// Which recordings of the file, counted from 0.
    pub recordings: std::ops::Range<usize>,
    /// What did not come back when the file was read again.
    pub losses: Vec<Loss>,
}

impl Conversion<'_> {
    /// What an input gives to a file of many; `filing` tells the patient where identity is taken out, as in
    /// [`Conversion::of`].
    /// # Errors
    /// [`Kind::Altered`] for a source with another digest than its list says; [`Kind::Malformed`] for a damaged one;
    /// those of the table of pseudonyms.
    pub fn part(&self, found: &Found, opened: Opened, filing: Option<&Filing>) -> Result<Part> {
        expect_digest(found, &opened)?;
        opened.refuse_damage(self.accept_damage)?;
        let (without_identity, taken) = self.without_identity(&opened, filing)?;
        let name = self.deidentifier.map(|deidentifier| deidentifier.name(&opened.key())).transpose()?;
        let recordings = without_identity.unwrap_or(opened.read.recordings);
        Ok(Part { recordings, name, taken, notes: opened.read.notes })
    }

    /// The first part that cannot stand in one file with the first recording of all.
    #[must_use]
    pub fn misfit(&self, parts: &[Part]) -> Option<Misfit> {
        let first = parts.iter().flat_map(|part| &part.recordings).next()?;
        let joins = |other: &Recording| self.format.joins(first, other, self.options);
        let mut misfits = parts.iter().enumerate().filter_map(|(part, of)| {
            let error = of.recordings.iter().find_map(|other| joins(other).err());
            error.map(|error| (part, error))
        });
        let (part, error) = misfits.next()?;
        Some(Misfit { part, error, more: misfits.count() })
    }

    /// All parts in one file. Where identity is taken out they stand in the order of their new names, for the order of
    /// the inputs may be that of names or numbers of patients.
    /// # Errors
    /// [`Kind::Usage`] for a format that holds one recording; [`Kind::Refused`] where something would be lost and that is
    /// refused, or recordings do not go together; those of [`write()`](ecgkeep_format::write()).
    pub fn together(&self, parts: Vec<Part>, stem: &str) -> Result<Together> {
        let (id, count) = (self.format.about().id, parts.len());
        if !self.format.holds_many() && count > 1 {
            return Err(Error::new(Kind::Usage, format!("a file of {id} holds one recording, not {count}"))
                .remedy("use a format that holds many (hdf5, json), or a file for each"));
        }
        let mut order: Vec<usize> = (0..count).collect();
        order.sort_by(|a, b| parts[*a].name.cmp(&parts[*b].name));
        let mut parts: Vec<Option<Vec<Recording>>> =
            parts.into_iter().map(|part| Some(part.recordings)).collect();
        let mut places = vec![0..0; count];
        let mut recordings: Vec<Recording> = Vec::new();
        for part in order {
            let start = recordings.len();
            recordings.extend(parts[part].take().unwrap_or_default());
            places[part] = start..recordings.len();
        }
        let converted = self.written(&recordings, stem, Vec::new())?;
        let mut losses: Vec<Vec<Loss>> = vec![Vec::new(); recordings.len()];
        for loss in converted.losses {
            losses[loss.recording].push(loss);
        }
        let of_file = |place: std::ops::Range<usize>| {
            let own = losses[place.clone()].iter_mut().flat_map(std::mem::take).collect();
            PartOfFile { recordings: place, losses: own }
        };
        Ok(Together { files: converted.files, parts: places.into_iter().map(of_file).collect() })
    }
}
