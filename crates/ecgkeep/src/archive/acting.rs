//! Who does something, and when; making and opening archives and keys.

use std::path::Path;
use std::sync::Arc;

use ecgkeep_archive::storage::{Disk, Storage};
use ecgkeep_archive::{Act, Archive, Code, Commit, Done, Making, Moment, Signer};
use ecgkeep_format::{Error, Kind, Place, Result};
use ecgkeep_recording::CivilTime;

/// Who does something, when, and with which program.
#[derive(Clone, Debug)]
pub struct Acting {
    /// An agreed code or role; it stands in the journal for ever.
    pub by: Code,
    /// When: a full date and time with an offset.
    pub at: CivilTime,
    /// The program and its version.
    pub program: String,
    moment: Moment,
}

impl Acting {
    /// Who, when, and with which program.
    /// # Errors
    /// [`Kind::Usage`] for a code outside its alphabet, or a time without an offset or not known to the second.
    pub fn new(by: &str, at: CivilTime, program: &str) -> Result<Acting> {
        Ok(Acting { by: code("--by", by)?, at, program: program.to_owned(), moment: moment(&at)? })
    }

    /// When, as the journal has it.
    #[must_use]
    pub fn moment(&self) -> Moment {
        self.moment
    }

    pub(super) fn commit(
        &self,
        archive: &mut Archive,
        batch: Vec<Act>,
        signer: Option<&Signer>,
    ) -> Result<Vec<Done>> {
        archive.commit(batch, &Commit { by: self.by.clone(), at: self.moment, signer })
    }
}

/// A code that the journal holds for ever; `what` names it in the error, which does not repeat it.
pub(super) fn code(what: &str, text: &str) -> Result<Code> {
    text.parse().map_err(|_| {
        Error::new(Kind::Usage, format!("{what} takes a code: 1 to 64 of A-Z a-z 0-9 . _ @ -"))
            .remedy("it stands in the journal for ever: give an agreed staff code or role, not a name")
    })
}

/// A civil time as the second of UTC that it is.
/// # Errors
/// [`Kind::Usage`] where date, time of day or offset is missing.
pub fn moment(at: &CivilTime) -> Result<Moment> {
    let wrong = || {
        Error::new(Kind::Usage, "no full date and time with an offset")
            .remedy("write it like 2026-03-02T09:30+01:00 or 2026-03-02T08:30Z")
    };
    if at.date.is_none_or(|date| date.day().is_none()) || at.time.is_none() || at.offset_minutes.is_none() {
        return Err(wrong());
    }
    let second =
        at.seconds().and_then(|second| jiff::Timestamp::from_second(second).ok()).ok_or_else(wrong)?;
    second.strftime("%Y-%m-%dT%H:%M:%SZ").to_string().parse().map_err(|_| wrong())
}

/// Makes an archive; where a key is given, admits it and signs the first checkpoint with it.
/// # Errors
/// Those of [`Archive::create`] and of committing.
pub fn create(
    storage: Arc<dyn Storage>,
    folder: &Path,
    id: &str,
    origin: &str,
    acting: &Acting,
    signer: Option<&Signer>,
) -> Result<Archive> {
    let making = Making {
        id: code("the archive's number", id)?,
        origin: origin.to_owned(),
        at: acting.moment,
        by: acting.by.clone(),
        program: acting.program.clone(),
    };
    let mut archive = Archive::create(storage, folder, &making)?;
    if let Some(signer) = signer {
        acting.commit(&mut archive, vec![Act::Key(signer.public())], Some(signer))?;
    }
    Ok(archive)
}

/// Opens the archive in a folder.
/// # Errors
/// Those of [`Archive::open`].
pub fn open(folder: &Path) -> Result<Archive> {
    Archive::open(Arc::new(Disk), folder)
}

/// A private key from 32 random bytes: its PEM file, and the text of its public part.
/// # Errors
/// [`Kind::Usage`] for a name outside the alphabet of codes.
pub fn new_key(name: &str, random: &[u8; 32]) -> Result<(Signer, String)> {
    let signer = Signer::from_seed(code("the name of a key", name)?, random);
    let pem = signer.to_pem()?;
    Ok((signer, pem))
}

/// The private key in a PEM text, under a name of its own; `file` is for errors.
/// # Errors
/// [`Kind::Malformed`] for what is no key; [`Kind::Usage`] for a name outside the alphabet of codes.
pub fn named_signer(name: &str, file: &str, pem: &str) -> Result<Signer> {
    Signer::from_pem(code("the name of a key", name)?, pem).map_err(|error| error.at(Place::file(file)))
}

/// The private key in a PEM text, under the name it was admitted to the archive with.
/// # Errors
/// [`Kind::Malformed`] for what is no key; [`Kind::Refused`] for one that was not admitted.
pub fn signer_from(archive: &Archive, file: &str, pem: &str) -> Result<Signer> {
    let public = named_signer("key", file, pem)?.public();
    let admitted = archive.keys()?.into_iter().find(|key| key.is_same_key(&public));
    let Some(admitted) = admitted else {
        return Err(Error::new(Kind::Refused, "the key was not admitted to this archive")
            .at(Place::file(file))
            .remedy("admit its .pub with archive keys DIR --admit, or use the key that was"));
    };
    named_signer(admitted.name(), file, pem)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_is_a_second_of_utc_and_a_name_is_no_code() {
        let at = |text: &str| moment(&text.parse().unwrap());
        assert_eq!(at("2026-03-02T00:30+01:00").unwrap().to_string(), "2026-03-01T23:30:00Z");
        for wrong in ["2026-03-02", "2026-03-02T09:30", "2026-03T09:30Z"] {
            assert_eq!(at(wrong).unwrap_err().kind(), Kind::Usage, "{wrong}");
        }
        let error = Acting::new("Maren Tallowfield", "2026-03-02T09:30Z".parse().unwrap(), "p").unwrap_err();
        assert!(error.to_string().contains("not a name") && !error.to_string().contains("Maren"), "{error}");
    }
}
