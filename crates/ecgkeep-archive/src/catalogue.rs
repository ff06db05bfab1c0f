//! An index over the archive that can be deleted at any time: it is made again from the journal and the bundles, or
//! from the bundles alone. Nothing is ever decided by it.

mod found;
mod tables;

use std::path::Path;

use ecgkeep_format::{Error, Kind, Result};
use rusqlite::{Connection, OptionalExtension as _, Transaction, TransactionBehavior, params};

use crate::line::{Event, Line};
use crate::query::{Verdict, folded, words};
use crate::word::Digest;
use crate::{Entry, sha256};

pub use found::{Destroyed, Held, Hit, OtherIdentity, Quarantined, Row, Unsent};

/// The catalogue of one archive, open.
pub struct Catalogue {
    db: Connection,
}

/// A line of the journal, and the entry in the bundle that it files.
pub struct Step {
    /// The line.
    pub line: Line,
    /// The entry of its bundle; `None` for other lines, and where the bundle is destroyed, missing or damaged: then it
    /// is not found until it is repaired.
    pub entry: Option<Entry>,
}

/// How far a catalogue has read the journal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Position {
    /// Lines read.
    pub lines: u64,
    /// SHA-256 of the last of them; `None` before the first.
    pub last: Option<String>,
}

/// How long another process may hold the catalogue before this one gives up.
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(60);

impl Catalogue {
    /// Opens the catalogue at `path`, which is made, readable by its owner only, where it is missing, and emptied
    /// where it is of another shape or no catalogue at all.
    /// # Errors
    /// [`Kind::Io`].
    pub fn open(path: &Path) -> Result<Catalogue> {
        for _ in 0..2 {
            make_private(path)?;
            match Catalogue::of(Connection::open(path).map_err(failed)?) {
                Ok(catalogue) => return Ok(catalogue),
                Err(rusqlite::Error::SqliteFailure(error, _)) if is_no_catalogue(error.code) => {
                    std::fs::remove_file(path).map_err(|error| {
                        Error::new(Kind::Io, "the catalogue is damaged and cannot be removed").because(error)
                    })?;
                }
                Err(error) => return Err(failed(error)),
            }
        }
        Err(Error::new(Kind::Io, "the catalogue cannot be made anew"))
    }

    /// A catalogue in memory.
    /// # Errors
    /// [`Kind::Io`].
    pub fn in_memory() -> Result<Catalogue> {
        Connection::open_in_memory().and_then(Catalogue::of).map_err(failed)
    }

    fn of(db: Connection) -> rusqlite::Result<Catalogue> {
        db.busy_timeout(PATIENCE)?;
        db.pragma_update(None, "synchronous", "NORMAL")?;
        // Whoever reads a name in it has read the whole name: freed pages keep nothing.
        db.pragma_update(None, "secure_delete", "ON")?;
        let mut catalogue = Catalogue { db };
        let version: i64 = catalogue.db.pragma_query_value(None, "user_version", |row| row.get(0))?;
        if version != tables::VERSION {
            let change = catalogue.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            tables::make(&change)?;
            change.commit()?;
        }
        Ok(catalogue)
    }

    /// How far it has read.
    /// # Errors
    /// [`Kind::Io`].
    pub fn position(&self) -> Result<Position> {
        position(&self.db).map_err(failed)
    }

    /// Forgets everything.
    /// # Errors
    /// [`Kind::Io`].
    pub fn clear(&mut self) -> Result<()> {
        let change = self.change().map_err(failed)?;
        tables::make(&change).and_then(|()| change.commit()).map_err(failed)
    }

    /// Takes lines that follow those it has read, all or none. Lines that another process made it read meanwhile are
    /// passed over.
    /// # Errors
    /// [`Kind::Io`]; [`Kind::Internal`] for lines that leave a gap.
    pub fn take(&mut self, steps: &[Step]) -> Result<()> {
        let change = self.change().map_err(failed)?;
        let mut next = position(&change).map_err(failed)?.lines;
        let mut last = None;
        let read = next;
        for step in steps.iter().filter(|step| step.line.index >= read) {
            if step.line.index != next {
                let what = format!("the catalogue was at line {next} and is given line {}", step.line.index);
                return Err(Error::new(Kind::Internal, what));
            }
            apply(&change, step)?;
            last = Some(sha256(step.line.text().as_bytes()));
            next += 1;
        }
        if let Some(last) = last {
            change
                .execute("UPDATE position SET lines = ?1, last = ?2", params![signed(next), last])
                .map_err(failed)?;
        }
        change.commit().map_err(failed)
    }

    /// Takes bundles (entry, SHA-256 and length of the whole file) where the journal is lost: who, when and what, but
    /// nothing of what was done with them since.
    /// # Errors
    /// [`Kind::Io`].
    pub fn take_bundles(&mut self, bundles: &[(Entry, Digest, u64)]) -> Result<()> {
        let change = self.change().map_err(failed)?;
        for (entry, sha256, bytes) in bundles {
            put_recording(&change, entry, &sha256.to_string(), *bytes).map_err(failed)?;
            mark_read(&change, &entry.key, entry.revision).map_err(failed)?;
        }
        change.commit().map_err(failed)
    }

    /// Key and revision of what the journal says is filed and whose bundle could not be read: nothing else here tells
    /// of it.
    /// # Errors
    /// [`Kind::Io`].
    pub fn unread(&self) -> Result<Vec<(String, u32)>> {
        let sql = "SELECT key, revision FROM sent WHERE unread = 1 ORDER BY key, revision";
        let mut statement = self.db.prepare_cached(sql).map_err(failed)?;
        let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).map_err(failed)?;
        rows.collect::<rusqlite::Result<_>>().map_err(failed)
    }

    /// The newest revision that the journal says is filed, as far as the catalogue knows.
    /// # Errors
    /// [`Kind::Io`].
    pub fn newest(&self, key: crate::word::Key) -> Result<Option<u32>> {
        let sql = "SELECT MAX(revision) FROM sent WHERE key = ?1";
        let mut statement = self.db.prepare_cached(sql).map_err(failed)?;
        statement.query_row([key.to_string()], |row| row.get(0)).map_err(failed)
    }

    /// The SHA-256 of the bundle of a revision, by the journal; `None` where the bundle could not be read.
    /// # Errors
    /// [`Kind::Io`].
    pub fn digest(&self, key: crate::word::Key, revision: u32) -> Result<Option<String>> {
        let sql = "SELECT sha256 FROM recordings WHERE key = ?1 AND revision = ?2";
        let mut statement = self.db.prepare_cached(sql).map_err(failed)?;
        let digest = statement.query_row(params![key.to_string(), revision], |row| row.get(0));
        digest.optional().map_err(failed)
    }

    /// Whether a source went into quarantine, read since or not.
    /// # Errors
    /// [`Kind::Io`].
    pub fn is_quarantined(&self, key: crate::word::Key) -> Result<bool> {
        let sql = "SELECT EXISTS (SELECT 1 FROM quarantined WHERE key = ?1)";
        let mut statement = self.db.prepare_cached(sql).map_err(failed)?;
        statement.query_row([key.to_string()], |row| row.get(0)).map_err(failed)
    }

    /// The keys of recordings that begin with these digits.
    /// # Errors
    /// [`Kind::Io`].
    pub fn keys_from(&self, digits: &str) -> Result<Vec<String>> {
        let sql = "SELECT DISTINCT key FROM sent WHERE key >= ?1 AND key < ?1 || 'g' ORDER BY key";
        let mut statement = self.db.prepare_cached(sql).map_err(failed)?;
        let rows = statement.query_map([digits], |row| row.get(0)).map_err(failed)?;
        rows.collect::<rusqlite::Result<_>>().map_err(failed)
    }

    /// How many recordings it holds, and in how many revisions.
    /// # Errors
    /// [`Kind::Io`].
    pub fn counts(&self) -> Result<(u64, u64)> {
        let sql = "SELECT COUNT(DISTINCT key), COUNT(*) FROM recordings";
        let counts = self.db.query_row(sql, [], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?)));
        let (recordings, revisions) = counts.map_err(failed)?;
        Ok((recordings.unsigned_abs(), revisions.unsigned_abs()))
    }

    /// The line that filed a revision, as far as the catalogue knows.
    /// # Errors
    /// [`Kind::Io`].
    pub fn filed_line(&self, key: crate::word::Key, revision: u32) -> Result<Option<u64>> {
        self.line_of("SELECT filed_line FROM sent WHERE key = ?1 AND revision = ?2", key, revision)
    }

    /// The line of the newest export of a revision, as far as the catalogue knows.
    /// # Errors
    /// [`Kind::Io`].
    pub fn exported_line(&self, key: crate::word::Key, revision: u32) -> Result<Option<u64>> {
        self.line_of("SELECT exported FROM sent WHERE key = ?1 AND revision = ?2", key, revision)
    }

    fn line_of(&self, sql: &str, key: crate::word::Key, revision: u32) -> Result<Option<u64>> {
        let mut statement = self.db.prepare_cached(sql).map_err(failed)?;
        let line =
            statement.query_row(params![key.to_string(), revision], |row| row.get::<_, Option<i64>>(0));
        let line = line.optional().map_err(failed)?.flatten();
        Ok(line.and_then(|line| u64::try_from(line).ok()))
    }

    /// Every row about recordings, in one order, as text: two catalogues hold the same where these are equal.
    /// # Errors
    /// [`Kind::Io`].
    pub fn rows_as_text(&self) -> Result<Vec<String>> {
        let mut rows = Vec::new();
        for query in
            ["SELECT * FROM recordings ORDER BY key, revision", "SELECT * FROM terms ORDER BY 1, 2, 3, 4"]
        {
            let mut statement = self.db.prepare(query).map_err(failed)?;
            let columns = statement.column_count();
            let mut found = statement.query([]).map_err(failed)?;
            while let Some(row) = found.next().map_err(failed)? {
                let cells = (0..columns).map(|index| row.get_ref(index).map(|value| format!("{value:?}")));
                rows.push(cells.collect::<rusqlite::Result<Vec<_>>>().map_err(failed)?.join("|"));
            }
        }
        Ok(rows)
    }

    fn change(&mut self) -> rusqlite::Result<Transaction<'_>> {
        self.db.transaction_with_behavior(TransactionBehavior::Immediate)
    }
}

/// What one line changes.
fn apply(change: &Connection, step: &Step) -> Result<()> {
    let Line { index, at, event, about } = &step.line;
    let (index, at) = (signed(*index), at.to_string());
    let key = about.key.map(|key| key.to_string());
    let revision = about.revision.unwrap_or(0);
    let code = |code: &Option<crate::word::Code>| code.as_ref().map(|code| code.as_str().to_owned());
    let run = |sql: &str, values: &[&dyn rusqlite::ToSql]| {
        change.prepare_cached(sql).and_then(|mut sql| sql.execute(values)).map(|_| ()).map_err(failed)
    };
    match event {
        Event::Filed | Event::Corrected | Event::Repaired => {
            let digest = about.sha256.map(|digest| digest.to_string()).unwrap_or_default();
            let is_own = |entry: &&Entry| Some(&entry.key) == key.as_ref() && entry.revision == revision;
            let entry = step.entry.as_ref().filter(is_own);
            if let Some(entry) = entry {
                put_recording(change, entry, &digest, about.bytes.unwrap_or(0)).map_err(failed)?;
            }
            if *event == Event::Repaired {
                return entry.map_or(Ok(()), |entry| mark_read(change, &entry.key, revision)).map_err(failed);
            }
            run(
                "INSERT OR REPLACE INTO sent VALUES (?1, ?2, ?3, ?4, ?5, NULL, 0, ?6)",
                &[&key, &revision, &index, &at, &code(&about.by), &entry.is_none()],
            )
        }
        Event::Exported => {
            run("UPDATE sent SET exported = ?3 WHERE key = ?1 AND revision = ?2", &[&key, &revision, &index])
        }
        Event::Acknowledged => {
            run("UPDATE sent SET acknowledged = 1 WHERE key = ?1 AND revision = ?2", &[&key, &revision])
        }
        Event::Quarantined => run(
            "INSERT OR REPLACE INTO quarantined (key, at, by, why, read) VALUES (?1, ?2, ?3, ?4, 0)",
            &[&key, &at, &code(&about.by), &code(&about.why)],
        ),
        Event::Read => run("UPDATE quarantined SET read = 1 WHERE key = ?1", &[&key]),
        Event::Held => run(
            "INSERT OR REPLACE INTO holds (line, key, at, by, authority) VALUES (?1, ?2, ?3, ?4, ?5)",
            &[&index, &key, &at, &code(&about.by), &code(&about.authority)],
        ),
        Event::Released => run("DELETE FROM holds WHERE line = ?1", &[&about.of.map(signed)]),
        Event::Destroying => {
            for table in ["recordings", "terms", "sent", "holds", "quarantined"] {
                run(&format!("DELETE FROM {table} WHERE key = ?1"), &[&key])?;
            }
            run(
                "INSERT OR REPLACE INTO destroyed (key, at, by, rule) VALUES (?1, ?2, ?3, ?4)",
                &[&key, &at, &code(&about.by), &code(&about.rule)],
            )
        }
        _ => Ok(()),
    }
}

fn mark_read(change: &Connection, key: &str, revision: u32) -> rusqlite::Result<()> {
    let mut sql = change.prepare_cached("UPDATE sent SET unread = 0 WHERE key = ?1 AND revision = ?2")?;
    sql.execute(params![key, revision]).map(drop)
}

/// The row of a recording and the terms it is found by: from its bundle alone.
fn put_recording(change: &Connection, entry: &Entry, digest: &str, bytes: u64) -> rusqlite::Result<()> {
    let Entry { key, revision, patient, checks, .. } = entry;
    let verdict = match (checks.fails.is_empty(), checks.warns.is_empty()) {
        (false, _) => Verdict::Fail,
        (true, false) => Verdict::Warn,
        (true, true) => Verdict::Clear,
    };
    let identifiers: Vec<&str> = patient.identifiers.iter().map(|one| one.value.as_str()).collect();
    let findings = checks.codes();
    let mut row = change.prepare_cached(tables::PUT_RECORDING)?;
    row.execute(params![
        key,
        revision,
        digest,
        signed(bytes),
        entry.sealed_at.to_string(),
        entry.format,
        entry.start.to_string(),
        entry.start.seconds(),
        entry.start.date.map(|date| date.to_string()),
        patient.name,
        patient.name.as_deref().map(folded),
        identifiers.join(", "),
        patient.birth_date,
        patient.sex,
        entry.operators.join("; "),
        entry.order_number,
        entry.sequence_number,
        entry.device,
        entry.urgency.as_ref().map(|urgency| urgency.text.as_str()),
        entry.urgency.as_ref().map_or(0, |urgency| urgency.rank),
        verdict.word(),
        checks.headline,
        findings.join(", "),
        entry.fingerprint,
        entry.damaged,
        entry.amends.as_ref().map(|amends| amends.why.as_str()),
        entry.test_recording.is_some(),
        // What was sealed before bundles said so is found by its missing identifiers.
        entry.unidentified || identifiers.is_empty(),
    ])?;
    let mut term = change.prepare_cached("INSERT OR IGNORE INTO terms VALUES (?1, ?2, ?3, ?4)")?;
    let mut put = |kind: &str, text: &str| term.execute(params![kind, text, key, revision]).map(|_| ());
    for identifier in &identifiers {
        put("identifier", &folded(identifier))?;
    }
    for word in words(patient.name.as_deref().unwrap_or_default()) {
        put("name", &word)?;
    }
    for word in entry.operators.iter().flat_map(|operator| words(operator)) {
        put("operator", &word)?;
    }
    for code in &findings {
        put("finding", code)?;
    }
    if let Some(order) = &entry.order_number {
        put("order", &folded(order))?;
    }
    for file in &entry.files {
        put("digest", &file.sha256)?;
    }
    put("digest", digest)?;
    put("digest", &entry.fingerprint)
}

fn position(db: &Connection) -> rusqlite::Result<Position> {
    let row = db
        .query_row("SELECT lines, last FROM position", [], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    let (lines, last): (i64, Option<String>) = row.unwrap_or((0, None));
    Ok(Position { lines: u64::try_from(lines).unwrap_or(0), last })
}

/// SQLite counts in 63 bits, as many lines or bytes as no medium holds.
fn signed(count: u64) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

fn is_no_catalogue(code: rusqlite::ErrorCode) -> bool {
    matches!(code, rusqlite::ErrorCode::NotADatabase | rusqlite::ErrorCode::DatabaseCorrupt)
}

/// An error of SQLite; its text names tables and columns, never a value.
fn failed(error: rusqlite::Error) -> Error {
    use rusqlite::ErrorCode::{CannotOpen, PermissionDenied, ReadOnly};
    let remedy = match error.sqlite_error_code() {
        Some(CannotOpen | PermissionDenied | ReadOnly) => {
            "leave the catalogue as it is; ask as a user who may read and write the archive's folder and \
             catalogue.sqlite in it"
        }
        _ => "it is only an index: delete catalogue.sqlite and ask again, or run archive rebuild",
    };
    Error::new(Kind::Io, "the catalogue cannot be read or written").because(error).remedy(remedy)
}

/// Makes an empty file that only its owner may read, where there is none: SQLite would make it for all.
fn make_private(path: &Path) -> Result<()> {
    let mut options = std::fs::OpenOptions::new();
    options.append(true).create(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt as _;
        options.mode(0o600);
    }
    match options.open(path) {
        Ok(_) => Ok(()),
        // Who may only read the archive may still ask a catalogue that is there.
        Err(_) if path.is_file() => Ok(()),
        Err(error) => Err(Error::new(Kind::Io, "the catalogue cannot be made").because(error)),
    }
}

#[cfg(test)]
mod tests;
