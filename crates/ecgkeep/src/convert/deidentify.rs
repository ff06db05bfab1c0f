//! Identity taken out with pseudonyms that are random, from a table kept apart, or keyed.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use ecgkeep_deidentify::{
    Alias, Dates, Deidentified, KEY_BYTES, Key, Method, PatientKey, alias_from, deidentify, name_from,
};
use ecgkeep_format::{Error, Kind, Place, Result};
use ecgkeep_recording::{Filing, Recording};
use serde::{Deserialize, Serialize};

use crate::storage::shown;

/// Fills bytes at random: handed in by the program, which alone draws randomness.
pub type Random = Box<dyn Fn(&mut [u8]) -> Result<()> + Send + Sync>;

/// The longest key that is taken, in bytes.
const MOST_KEY_BYTES: u64 = 4096;

/// A key of fewer different bytes than this was not drawn at random: the hexadecimal digits of 32 random bytes are of
/// at most 7 kinds in about one of 10^19 keys (16 over 7, times (7/16)^64).
const FEWEST_VALUES: usize = 8;

/// Takes the identity out of recordings; see [`ecgkeep_deidentify`] for what stays.
pub struct Deidentifier {
    pseudonyms: Pseudonyms,
    dates: Dates,
}

enum Pseudonyms {
    Keyed(Key),
    Table(Mutex<Table>),
}

impl Deidentifier {
    /// Pseudonyms by HMAC-SHA-256 under the key in a file: the same patient has the same pseudonym in every batch, and
    /// whoever holds the key can look for a known patient. Not Safe Harbor (45 CFR 164.514(c)).
    /// # Errors
    /// [`Kind::Io`]; [`Kind::Usage`] for a key of fewer than 32 bytes or one that others can read.
    pub fn keyed(key: &Path, dates: Dates) -> Result<Deidentifier> {
        let mut secret = Vec::new();
        let failed = |error| cannot(key, "cannot read the key", error);
        let file = fs::File::open(key).map_err(failed)?;
        refuse_readable_by_others(key, &file)?;
        file.take(MOST_KEY_BYTES).read_to_end(&mut secret).map_err(failed)?;
        if secret.starts_with(TABLE_BEGINS.as_bytes()) {
            return Err(Error::new(Kind::Usage, "a table of pseudonyms, which is no key")
                .at(Place::file(shown(key)))
                .remedy("give it as the table, or other random bytes as the key"));
        }
        let mut values = secret.clone();
        values.sort_unstable();
        values.dedup();
        if secret.len() >= KEY_BYTES && values.len() < FEWEST_VALUES {
            return Err(Error::new(
                Kind::Usage,
                "a key of hardly any different bytes, which anybody could guess",
            )
            .at(Place::file(shown(key)))
            .remedy(format!("give at least {KEY_BYTES} random bytes")));
        }
        let key = Key::new(&secret).ok_or_else(|| {
            Error::new(Kind::Usage, format!("a key of {} bytes", secret.len()))
                .at(Place::file(shown(key)))
                .remedy(format!("give at least {KEY_BYTES} random bytes"))
        })?;
        Ok(Deidentifier { pseudonyms: Pseudonyms::Keyed(key), dates })
    }

    /// Random pseudonyms, kept in a table (file mode 0600) that is made where it is not there yet. Whoever holds the
    /// table can lead every pseudonym back to the patient: keep it apart from what is given away.
    /// # Errors
    /// [`Kind::Io`], also where another run uses the table; [`Kind::Malformed`] for a file that is no such table;
    /// [`Kind::Usage`] for one that others can read.
    pub fn with_table(table: &Path, dates: Dates, random: Random) -> Result<Deidentifier> {
        let table = Table::open(table, random)?;
        Ok(Deidentifier { pseudonyms: Pseudonyms::Table(Mutex::new(table)), dates })
    }

    /// The recording without identity. Where it names no patient itself, `filing` says which one it is of and else
    /// `source`, the key of its files, makes it a patient of its own; nothing of a filing is in the result.
    /// # Errors
    /// [`Kind::Io`] where the table cannot be written.
    pub fn recording(
        &self,
        recording: &Recording,
        filing: Option<&Filing>,
        source: &str,
        program: &str,
    ) -> Result<Deidentified> {
        let patient = PatientKey::of(&recording.subject)
            .or_else(|| supplied(filing))
            .unwrap_or_else(|| PatientKey::of_source(source));
        let alias = self.alias(&patient)?;
        let pseudonyms = match &self.pseudonyms {
            Pseudonyms::Keyed(_) => "keyed (HMAC-SHA-256)",
            Pseudonyms::Table(_) => "random (table kept apart)",
        };
        Ok(deidentify(recording, &alias, &Method { dates: self.dates, pseudonyms, program }))
    }

    /// The pseudonym of the patient that a filing names; `None` where it names none.
    /// # Errors
    /// [`Kind::Io`] where the table cannot be written.
    pub fn supplied(&self, filing: Option<&Filing>) -> Result<Option<String>> {
        let patient = supplied(filing);
        patient.map(|patient| self.alias(&patient).map(|alias| alias.pseudonym)).transpose()
    }

    fn alias(&self, patient: &PatientKey) -> Result<Alias> {
        match &self.pseudonyms {
            Pseudonyms::Keyed(key) => Ok(key.alias(patient)),
            Pseudonyms::Table(table) => locked(table).alias(patient),
        }
    }

    /// A name for a recording that tells nothing of it; the same source always has the same.
    /// # Errors
    /// [`Kind::Io`] where the table cannot be written.
    pub fn name(&self, source: &str) -> Result<String> {
        match &self.pseudonyms {
            Pseudonyms::Keyed(key) => Ok(key.name(source)),
            Pseudonyms::Table(table) => locked(table).name(source),
        }
    }

    /// How it is done, as a code that the journal of an archive holds: `table-shifted`, `keyed-year`.
    #[must_use]
    pub fn method(&self) -> String {
        let pseudonyms = match self.pseudonyms {
            Pseudonyms::Keyed(_) => "keyed",
            Pseudonyms::Table(_) => "table",
        };
        format!("{pseudonyms}-{}", self.dates_word())
    }

    fn dates_word(&self) -> &'static str {
        match self.dates {
            Dates::Shifted => "shifted",
            Dates::YearOnly => "year",
        }
    }

    /// What the result depends on, in a few words.
    pub(crate) fn settings(&self) -> String {
        let dates = self.dates_word();
        match &self.pseudonyms {
            Pseudonyms::Keyed(key) => format!("{dates},keyed,{}", key.id()),
            Pseudonyms::Table(_) => format!("{dates},table"),
        }
    }
}

/// An error without what it quotes of the source: kind, line and byte only.
#[must_use]
pub fn without_identity(error: &Error) -> Error {
    let what = match error.kind() {
        Kind::Malformed => "malformed or damaged",
        Kind::Truncated => "truncated",
        Kind::Unrecognised => "not recognised",
        Kind::Unsupported => "not supported",
        Kind::Limit => "a limit was reached",
        Kind::Refused => "refused: something would be lost, or the format cannot hold it",
        Kind::Altered => "a checksum does not match",
        Kind::Io => "could not be read or written",
        Kind::Usage => "wrong usage",
        _ => "a fault of ecgkeep",
    };
    let place = Place { line: error.place().line, byte: error.place().byte, ..Place::default() };
    Error::new(error.kind(), what)
        .at(place)
        .remedy("what the source says is not repeated here; the same without --deidentify says more")
}

/// The file of pseudonyms: one line of JSON for each patient and recording, added before anything uses it.
struct Table {
    path: PathBuf,
    file: fs::File,
    patients: BTreeMap<PatientKey, Alias>,
    recordings: BTreeMap<String, String>,
    random: Random,
}

/// The shape of a line (schemas/pseudonym.schema.json).
const PSEUDONYM_SCHEMA: &str = "ecgkeep-pseudonym/1";

/// What every table of pseudonyms begins with.
const TABLE_BEGINS: &str = "{\"schema\":\"ecgkeep-pseudonym";

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    schema: String,
    /// Parts of the patient's key, or the key of a source.
    of: Vec<String>,
    /// What stands for it.
    pseudonym: String,
    /// For a patient: days by which dates are shifted.
    days: Option<i32>,
}

impl Table {
    fn open(path: &Path, random: Random) -> Result<Table> {
        let failed = |error| cannot(path, "cannot open the table of pseudonyms", error);
        let mut options = fs::OpenOptions::new();
        options.read(true).append(true).create(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let mut file = options.open(path).map_err(failed)?;
        refuse_readable_by_others(path, &file)?;
        if matches!(file.try_lock(), Err(fs::TryLockError::WouldBlock)) {
            return Err(Error::new(Kind::Io, "another run uses this table of pseudonyms")
                .at(Place::file(shown(path)))
                .remedy("wait until it has ended; several runs at a time need a key instead"));
        }
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(failed)?;
        let text = String::from_utf8(bytes).map_err(|_| no_table(path, 1, "not text"))?;
        let (mut patients, mut recordings) = (BTreeMap::new(), BTreeMap::new());
        for (line, number) in text.lines().zip(1u64..) {
            let read = serde_json::from_str::<Line>(line).ok().filter(|line| line.schema == PSEUDONYM_SCHEMA);
            // A line that was cut short was never used: what it would have named was not written yet.
            let Some(Line { of, pseudonym, days, .. }) = read else {
                if line.is_empty() || line.starts_with(TABLE_BEGINS) {
                    continue;
                }
                return Err(no_table(path, number, "not a line of a table of pseudonyms"));
            };
            match (days, <[String; 1]>::try_from(of)) {
                (None, Ok([source])) => drop(recordings.insert(source, pseudonym)),
                (Some(days), Err(parts)) => {
                    drop(patients.insert(PatientKey::from_parts(parts), Alias { pseudonym, days }));
                }
                _ => return Err(no_table(path, number, "neither a patient nor a recording")),
            }
        }
        let mut table = Table { path: path.to_owned(), file, patients, recordings, random };
        if !text.is_empty() && !text.ends_with('\n') {
            table.append(b"\n")?;
        }
        Ok(table)
    }

    fn alias(&mut self, patient: &PatientKey) -> Result<Alias> {
        if let Some(alias) = self.patients.get(patient) {
            return Ok(alias.clone());
        }
        let alias = alias_from(&self.draw()?);
        self.add(patient.as_parts().to_vec(), &alias.pseudonym, Some(alias.days))?;
        self.patients.insert(patient.clone(), alias.clone());
        Ok(alias)
    }

    fn name(&mut self, source: &str) -> Result<String> {
        if let Some(name) = self.recordings.get(source) {
            return Ok(name.clone());
        }
        let name = name_from(&self.draw()?);
        self.add(vec![source.to_owned()], &name, None)?;
        self.recordings.insert(source.to_owned(), name.clone());
        Ok(name)
    }

    fn draw(&self) -> Result<[u8; 32]> {
        let mut bytes = [0; 32];
        (self.random)(&mut bytes)?;
        Ok(bytes)
    }

    fn add(&mut self, of: Vec<String>, pseudonym: &str, days: Option<i32>) -> Result<()> {
        let line = Line { schema: PSEUDONYM_SCHEMA.to_owned(), of, pseudonym: pseudonym.to_owned(), days };
        let mut text = serde_json::to_vec(&line)
            .map_err(|error| Error::new(Kind::Internal, "a line cannot be written as JSON").because(error))?;
        text.push(b'\n');
        self.append(&text)
    }

    fn append(&mut self, text: &[u8]) -> Result<()> {
        self.file
            .write_all(text)
            .and_then(|()| self.file.sync_data())
            .map_err(|error| cannot(&self.path, "cannot write the table of pseudonyms", error))
    }
}

fn locked(table: &Mutex<Table>) -> std::sync::MutexGuard<'_, Table> {
    table.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What leads back to patients is for one pair of eyes.
#[cfg(unix)]
fn refuse_readable_by_others(path: &Path, file: &fs::File) -> Result<()> {
    use std::os::unix::fs::PermissionsExt as _;
    let meta = file.metadata().map_err(|error| cannot(path, "cannot be read", error))?;
    if meta.is_file() && meta.permissions().mode() & 0o077 != 0 {
        let path = shown(path);
        return Err(Error::new(Kind::Usage, "others can read it")
            .at(Place::file(&path))
            .remedy(format!("it leads back to patients: chmod 600 {path}")));
    }
    Ok(())
}

#[cfg(not(unix))]
fn refuse_readable_by_others(_: &Path, _: &fs::File) -> Result<()> {
    Ok(())
}

/// The patient that a filing names.
fn supplied(filing: Option<&Filing>) -> Option<PatientKey> {
    filing.and_then(|filing| PatientKey::of(&filing.subject))
}

fn no_table(path: &Path, line: u64, what: &str) -> Error {
    Error::malformed(Place::file(shown(path)).line(line), what).remedy(
        "name a table that was made by --pseudonym-table, or a new file; a key is given with --pseudonym-key",
    )
}

fn cannot(path: &Path, what: &str, cause: std::io::Error) -> Error {
    Error::new(Kind::Io, what).at(Place::file(shown(path))).because(cause)
}

#[cfg(test)]
mod tests {
    use super::*;
    use ecgkeep_recording::{Identifier, Subject};
    use std::sync::atomic::{AtomicU8, Ordering};

    fn counting() -> Random {
        let next = AtomicU8::new(1);
        Box::new(move |bytes| {
            bytes.fill(next.fetch_add(1, Ordering::SeqCst));
            Ok(())
        })
    }

    fn of(value: &str) -> Recording {
        let identifiers = vec![Identifier { value: value.to_owned(), ..Identifier::default() }];
        Recording { subject: Subject { identifiers, ..Subject::default() }, ..Recording::default() }
    }

    fn pseudonym(deidentifier: &Deidentifier, value: &str) -> String {
        let done = deidentifier.recording(&of(value), None, "s", "ecgkeep test").unwrap();
        done.recording.subject.identifiers[0].value.clone()
    }

    #[test]
    fn what_is_no_key_and_no_table_is_refused_with_a_remedy() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str, bytes: &[u8]| {
            let path = folder.path().join(name);
            fs::write(&path, bytes).unwrap();
            #[cfg(unix)]
            {
                use std::os::unix::fs::PermissionsExt as _;
                fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
            }
            path
        };
        let key = |bytes: &[u8]| Deidentifier::keyed(&at("key", bytes), Dates::Shifted).map(drop);
        let good = at("good", b"fedcba9876543210fedcba9876543210");
        let keyed = Deidentifier::keyed(&good, Dates::YearOnly).unwrap();
        assert!(keyed.settings().starts_with("year,keyed,k"));
        for weak in
            [&[b'a'; 40][..], b"fedcba9876543210fedcba987654321", b"abcabcabcabcabcabcabcabcabcabcabcabc\n"]
        {
            let error = key(weak).unwrap_err();
            assert!(error.kind() == Kind::Usage && error.to_string().contains("32 random bytes"), "{error}");
        }
        let table = at("table", &[0xff, 0xfe, 0x00]);
        let error = Deidentifier::with_table(&table, Dates::Shifted, counting()).map(drop).unwrap_err();
        assert!(error.kind() == Kind::Malformed && error.to_string().contains("--pseudonym-key"), "{error}");
    }

    #[test]
    fn a_filing_says_whose_a_recording_is_that_says_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let table = folder.path().join("table.jsonl");
        let deidentifier = Deidentifier::with_table(&table, Dates::Shifted, counting()).unwrap();
        let filing = Filing { subject: of("LM-1").subject, ..Filing::default() };
        let of_file = |recording: &Recording, filing: Option<&Filing>, source: &str| {
            let done = deidentifier.recording(recording, filing, source, "ecgkeep test").unwrap();
            done.recording.subject.identifiers[0].value.clone()
        };
        let bare = Recording::default();
        let one = pseudonym(&deidentifier, "LM-1");
        assert_eq!(of_file(&bare, Some(&filing), "a"), one);
        assert_eq!(of_file(&bare, Some(&filing), "b"), one);
        assert_eq!(deidentifier.supplied(Some(&filing)).unwrap(), Some(one.clone()));
        assert_ne!(of_file(&bare, None, "a"), one);
        assert_ne!(of_file(&bare, Some(&Filing::default()), "a"), of_file(&bare, None, "b"));
        assert_eq!(of_file(&of("LM-2"), Some(&filing), "a"), pseudonym(&deidentifier, "LM-2"));
    }

    #[test]
    fn the_table_gives_a_patient_the_same_pseudonym_again_and_is_for_its_owner_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("table.jsonl");
        let first = Deidentifier::with_table(&path, Dates::Shifted, counting()).unwrap();
        let (one, two) = (pseudonym(&first, "LM-1"), pseudonym(&first, "LM-2"));
        assert!(one != two && pseudonym(&first, "LM-1") == one);
        assert_eq!(first.name("abc").unwrap(), first.name("abc").unwrap());
        let busy = Deidentifier::with_table(&path, Dates::Shifted, counting());
        assert_eq!(busy.err().unwrap().kind(), Kind::Io);
        drop(first);
        // a line that was cut short is passed over
        let whole = fs::read(&path).unwrap();
        fs::write(&path, &whole[..whole.len() - 9]).unwrap();
        let again = Deidentifier::with_table(&path, Dates::Shifted, counting()).unwrap();
        assert_eq!((pseudonym(&again, "LM-1"), pseudonym(&again, "LM-2")), (one, two));
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            assert_eq!(path.metadata().unwrap().permissions().mode() & 0o777, 0o600);
            drop(again);
            fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
            let open = Deidentifier::with_table(&path, Dates::Shifted, counting());
            assert_eq!(open.err().unwrap().kind(), Kind::Usage);
        }
    }

    #[test]
    fn something_else_is_not_taken_for_a_table() {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(b"dear diary\n").unwrap();
        let error = Deidentifier::with_table(file.path(), Dates::Shifted, counting()).err().unwrap();
        assert_eq!(error.kind(), Kind::Malformed);
    }

    #[test]
    fn an_error_keeps_its_kind_and_quotes_nothing() {
        let error = Error::malformed(Place::file("AldousWren.hea").line(4), "no number: LM-20417");
        let shown = without_identity(&error);
        assert_eq!(shown.kind(), Kind::Malformed);
        assert!(!format!("{shown}").contains("LM-") && !format!("{shown}").contains("Aldous"), "{shown}");
        assert!(format!("{shown}").contains("line 4"), "{shown}");
    }
}
