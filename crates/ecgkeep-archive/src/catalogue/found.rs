//! What is asked of the catalogue.

use ecgkeep_format::{Error, Kind, Result};
use rusqlite::types::Value;
use rusqlite::{Row as SqlRow, params, params_from_iter};
use serde::Serialize;

use super::{Catalogue, failed};
use crate::query::{Query, folded, words};

/// One revision of a recording, as the catalogue holds it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Row {
    /// Key.
    pub key: String,
    /// Revision.
    pub revision: u32,
    /// SHA-256 of the bundle.
    pub sha256: String,
    /// When the first sample was taken, as stated; empty where nobody says.
    pub start: String,
    /// The same in seconds since 1970, UTC; without an offset stated, as if it were UTC.
    #[serde(skip)]
    pub start_at: Option<i64>,
    /// Name of the patient.
    pub name: Option<String>,
    /// Identifiers of the patient, separated by commas.
    pub identifiers: String,
    /// Birth date.
    pub birth_date: Option<String>,
    /// Sex.
    pub sex: Option<String>,
    /// Operators, separated by semicolons.
    pub operators: String,
    /// Order number.
    pub order_number: Option<String>,
    /// Sequence number.
    pub sequence_number: Option<String>,
    /// Recording device.
    pub device: Option<String>,
    /// Urgency, word for word.
    pub urgency: Option<String>,
    /// What the checks came to, in one sentence.
    pub headline: String,
    /// Codes of the findings, separated by commas.
    pub findings: String,
    /// Whether the source is damaged.
    pub damaged: bool,
    /// Whether it is a test recording, and no patient's.
    pub test_recording: bool,
    /// Whether the patient's identifiers are missing, or fewer than the policy asked for.
    pub unidentified: bool,
    /// Why this revision corrects the one before; `None` in the first.
    pub corrected_why: Option<String>,
    /// When this revision was filed, UTC; `None` where the journal is lost.
    pub filed_at: Option<String>,
    /// When its first revision was filed.
    #[serde(skip)]
    pub first_filed_at: Option<String>,
    /// Whether it was exported.
    pub exported: bool,
    /// Whether a receiver acknowledged it.
    pub acknowledged: bool,
}

/// What a query found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Hit {
    /// A newest revision that fulfils it.
    Recording(Box<Row>),
    /// A revision fulfils it that was corrected away: the newest does not.
    CorrectedAway {
        /// Key.
        key: String,
        /// The revision that fulfils the query.
        revision: u32,
        /// Why the next one corrects it.
        why: String,
    },
}

/// A recording that no receiver has acknowledged: a [`Row`] in the order of [`Catalogue::unsent`].
pub type Unsent = Row;

/// A source in quarantine.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Quarantined {
    /// Key.
    pub key: String,
    /// Since when, UTC.
    pub at: String,
    /// Who added it.
    pub by: Option<String>,
    /// Why it could not be read.
    pub why: Option<String>,
}

/// A hold that was not released.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Held {
    /// Key.
    pub key: String,
    /// Since when, UTC.
    pub at: String,
    /// Who placed it.
    pub by: Option<String>,
    /// Under which authority.
    pub authority: Option<String>,
}

/// A recording that was destroyed under a rule.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Destroyed {
    /// Key.
    pub key: String,
    /// When, UTC.
    pub at: String,
    /// Who performed it.
    pub by: Option<String>,
    /// Under which rule.
    pub rule: Option<String>,
}

/// Recordings that a new one should be held against.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OtherIdentity {
    /// Keys with the same samples and another patient.
    pub same_samples: Vec<String>,
    /// Keys with the same samples and the same patient.
    pub same_recording: Vec<String>,
    /// Keys with one of its identifiers and another name, birth date or sex.
    pub same_identifier: Vec<String>,
}

const COLUMNS: &str = "r.key, r.revision, r.sha256, r.start, r.start_at, r.name, r.identifiers, r.birth_date, r.sex, \
    r.operators, r.order_number, r.sequence_number, r.device, r.urgency, r.headline, r.findings, r.damaged, \
    r.corrected_why, s.filed_at, s.exported, s.acknowledged, \
    (SELECT first.filed_at FROM sent first WHERE first.key = r.key AND first.revision = 1), r.is_test, \
    r.is_unidentified";

const FROM: &str = "FROM recordings r LEFT JOIN sent s ON s.key = r.key AND s.revision = r.revision";

/// Neither the bundles nor the journal know of a later revision, whose bundle may be unreadable.
const NEWEST: &str = "(NOT EXISTS (SELECT 1 FROM recordings later WHERE later.key = r.key AND later.revision > r.revision) \
     AND NOT EXISTS (SELECT 1 FROM sent later WHERE later.key = r.key AND later.revision > r.revision))";

/// Whether a revision has a term; the condition on the term follows.
const OF_TERMS: &str = "(r.key, r.revision) IN (SELECT key, revision FROM terms WHERE";

/// Keys that are named in a warning.
const NAMED_IN_A_WARNING: usize = 3;

impl Catalogue {
    /// What fulfils a query: newest revisions by time of recording, then what was corrected away.
    /// # Errors
    /// [`Kind::Usage`] for a query that asks for nothing; [`Kind::Io`].
    pub fn find(&self, query: &Query) -> Result<Vec<Hit>> {
        let (condition, values) = condition(query)?;
        let sql = format!(
            "SELECT {COLUMNS}, {NEWEST} AS newest, (SELECT corrected_why FROM recordings next WHERE next.key = r.key AND \
             next.revision = r.revision + 1) AS away {FROM} WHERE {condition} ORDER BY r.start_at, r.key, r.revision"
        );
        let mut statement = self.db.prepare_cached(&sql).map_err(failed)?;
        let mut found = statement.query(params_from_iter(values)).map_err(failed)?;
        let (mut recordings, mut superseded) = (Vec::new(), Vec::new());
        while let Some(sql_row) = found.next().map_err(failed)? {
            let row = row_of(sql_row).map_err(failed)?;
            if sql_row.get("newest").map_err(failed)? {
                recordings.push(row);
            } else {
                let why: Option<String> = sql_row.get("away").map_err(failed)?;
                superseded.push((row.key, row.revision, why.unwrap_or_default()));
            }
        }
        superseded.retain(|(key, ..)| recordings.iter().all(|row| row.key != *key));
        let away =
            superseded.into_iter().map(|(key, revision, why)| Hit::CorrectedAway { key, revision, why });
        Ok(recordings.into_iter().map(|row| Hit::Recording(Box::new(row))).chain(away).collect())
    }

    /// Newest revisions that no receiver has acknowledged, the most urgent first, then the oldest.
    /// # Errors
    /// [`Kind::Io`].
    pub fn unsent(&self) -> Result<Vec<Unsent>> {
        self.rows(&format!(
            "{NEWEST} AND s.acknowledged = 0 ORDER BY r.urgent DESC, r.start_at IS NULL, r.start_at, s.filed_line"
        ))
    }

    /// Newest revisions of patients with fewer identifiers than the policy asked for, or without any.
    /// # Errors
    /// [`Kind::Io`].
    pub fn unidentified(&self) -> Result<Vec<Row>> {
        self.rows(&format!("{NEWEST} AND r.is_unidentified ORDER BY r.start_at, r.key"))
    }

    /// Newest revisions that correct another.
    /// # Errors
    /// [`Kind::Io`].
    pub fn corrected(&self) -> Result<Vec<Row>> {
        self.rows(&format!("{NEWEST} AND r.revision > 1 ORDER BY r.start_at, r.key"))
    }

    /// Newest revisions of all recordings, by time of recording.
    /// # Errors
    /// [`Kind::Io`].
    pub fn all(&self) -> Result<Vec<Row>> {
        self.rows(&format!("{NEWEST} ORDER BY r.start_at, r.key"))
    }

    fn rows(&self, rest: &str) -> Result<Vec<Row>> {
        let sql = format!("SELECT {COLUMNS} {FROM} WHERE {rest}");
        let mut statement = self.db.prepare_cached(&sql).map_err(failed)?;
        let rows = statement.query_map([], row_of).map_err(failed)?;
        rows.collect::<rusqlite::Result<_>>().map_err(failed)
    }

    /// Sources in quarantine that were not read since.
    /// # Errors
    /// [`Kind::Io`].
    pub fn quarantined(&self) -> Result<Vec<Quarantined>> {
        self.list("SELECT key, at, by, why FROM quarantined WHERE read = 0 ORDER BY at, key", |row| {
            Ok(Quarantined { key: row.get(0)?, at: row.get(1)?, by: row.get(2)?, why: row.get(3)? })
        })
    }

    /// Holds in force.
    /// # Errors
    /// [`Kind::Io`].
    pub fn held(&self) -> Result<Vec<Held>> {
        self.list("SELECT key, at, by, authority FROM holds ORDER BY line", |row| {
            Ok(Held { key: row.get(0)?, at: row.get(1)?, by: row.get(2)?, authority: row.get(3)? })
        })
    }

    /// Recordings that were destroyed.
    /// # Errors
    /// [`Kind::Io`].
    pub fn destroyed(&self) -> Result<Vec<Destroyed>> {
        self.list("SELECT key, at, by, rule FROM destroyed ORDER BY at, key", |row| {
            Ok(Destroyed { key: row.get(0)?, at: row.get(1)?, by: row.get(2)?, rule: row.get(3)? })
        })
    }

    fn list<T>(&self, sql: &str, of: fn(&SqlRow<'_>) -> rusqlite::Result<T>) -> Result<Vec<T>> {
        let mut statement = self.db.prepare_cached(sql).map_err(failed)?;
        let rows = statement.query_map([], of).map_err(failed)?;
        rows.collect::<rusqlite::Result<_>>().map_err(failed)
    }

    /// What the recording `key`, newest revision, should be held against: the same samples elsewhere, and its
    /// identifiers with another name, birth date or sex. A few keys each.
    /// # Errors
    /// [`Kind::Io`].
    pub fn other_identity(&self, key: &str) -> Result<OtherIdentity> {
        let own = format!("r.key = ?1 AND {NEWEST}");
        let sql = format!(
            "SELECT r.name_folded, r.birth_date, r.sex, r.fingerprint, r.identifiers FROM recordings r WHERE {own}"
        );
        let mut statement = self.db.prepare_cached(&sql).map_err(failed)?;
        type Own = (Option<String>, Option<String>, Option<String>, String, String);
        let row = statement
            .query_row([key], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?)));
        let (name, birth, sex, fingerprint, identifiers): Own = match row {
            Ok(row) => row,
            Err(rusqlite::Error::QueryReturnedNoRows) => return Ok(OtherIdentity::default()),
            Err(error) => return Err(failed(error)),
        };
        let differs = "((r.name_folded <> ?2 AND ?2 IS NOT NULL) OR (r.birth_date <> ?3 AND ?3 IS NOT NULL) \
            OR (r.sex <> ?4 AND ?4 IS NOT NULL))";
        let of_term = |kind: &str, term: &str, condition: &str| -> Result<Vec<String>> {
            let sql = format!(
                "SELECT DISTINCT r.key FROM terms t JOIN recordings r ON r.key = t.key AND r.revision = t.revision \
                 WHERE t.kind = '{kind}' AND t.term = ?5 AND r.key <> ?1 AND {NEWEST} AND ?6 = ?6 AND {condition} \
                 ORDER BY r.key LIMIT {NAMED_IN_A_WARNING}"
            );
            let mut statement = self.db.prepare_cached(&sql).map_err(failed)?;
            let keys = statement
                .query_map(params![key, name, birth, sex, term, identifiers], |row| row.get(0))
                .map_err(failed)?;
            keys.collect::<rusqlite::Result<_>>().map_err(failed)
        };
        let other = format!("(r.identifiers <> ?6 OR {differs})");
        let mut same_identifier = Vec::new();
        for identifier in identifiers.split(", ").filter(|identifier| !identifier.is_empty()) {
            same_identifier.extend(of_term("identifier", &folded(identifier), differs)?);
        }
        same_identifier.sort();
        same_identifier.dedup();
        Ok(OtherIdentity {
            same_samples: of_term("digest", &fingerprint, &format!("r.fingerprint = t.term AND {other}"))?,
            same_recording: of_term(
                "digest",
                &fingerprint,
                &format!("r.fingerprint = t.term AND NOT {other}"),
            )?,
            same_identifier,
        })
    }
}

/// The condition of a query and its values.
fn condition(query: &Query) -> Result<(String, Vec<Value>)> {
    let Query { key, identifier, name, born, from, to, operator, finding, verdict, digest, order } = query;
    let mut parts = Vec::new();
    let mut values: Vec<Value> = Vec::new();
    let mut whole = |kind: &str, term: Option<String>| {
        if let Some(term) = term {
            parts.push(format!("{OF_TERMS} kind = '{kind}' AND term = ?)"));
            values.push(term.into());
        }
    };
    whole("identifier", identifier.as_deref().map(folded));
    whole("order", order.as_deref().map(folded));
    whole("finding", finding.as_deref().map(|code| code.trim().to_owned()));
    whole("digest", digest.as_deref().map(|digest| digest.trim().to_lowercase()));
    for (kind, text) in [("name", name), ("operator", operator)] {
        let Some(text) = text else { continue };
        let found = words(text);
        if found.is_empty() {
            return Err(Error::new(Kind::Usage, format!("{kind}: not one letter or digit to look for")));
        }
        for word in found {
            parts.push(format!("{OF_TERMS} kind = '{kind}' AND term >= ? AND term < ?)"));
            values.push(word.clone().into());
            values.push(format!("{word}{}", char::MAX).into());
        }
    }
    let mut compared = |condition: &str, value: Option<String>| {
        if let Some(value) = value {
            parts.push(condition.to_owned());
            values.push(value.into());
        }
    };
    compared("r.birth_date = ?", born.map(|date| date.to_string()));
    compared("r.start_day >= ?", from.map(|date| date.to_string()));
    // 2026-03 ends after its last day, which sorts before the tilde.
    compared("r.start_day <= ?", to.map(|date| format!("{date}~")));
    compared("r.verdict = ?", verdict.map(|verdict| verdict.word().to_owned()));
    compared("r.key GLOB ?", key.as_deref().map(glob).transpose()?);
    if parts.is_empty() {
        return Err(Error::new(Kind::Usage, "nothing to look for")
            .remedy("give at least one term; archive list shows all"));
    }
    Ok((parts.join(" AND "), values))
}

/// Keys that begin with these digits.
fn glob(digits: &str) -> Result<String> {
    if digits.is_empty()
        || digits.len() > 32
        || !digits.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b))
    {
        return Err(Error::new(Kind::Usage, "not a key, nor its first digits: up to 32 of 0-9 a-f"));
    }
    Ok(format!("{digits}*"))
}

fn row_of(row: &SqlRow<'_>) -> rusqlite::Result<Row> {
    let exported: Option<i64> = row.get(19)?;
    let acknowledged: Option<i64> = row.get(20)?;
    Ok(Row {
        key: row.get(0)?,
        revision: row.get(1)?,
        sha256: row.get(2)?,
        start: row.get(3)?,
        start_at: row.get(4)?,
        name: row.get(5)?,
        identifiers: row.get(6)?,
        birth_date: row.get(7)?,
        sex: row.get(8)?,
        operators: row.get(9)?,
        order_number: row.get(10)?,
        sequence_number: row.get(11)?,
        device: row.get(12)?,
        urgency: row.get(13)?,
        headline: row.get(14)?,
        findings: row.get(15)?,
        damaged: row.get(16)?,
        test_recording: row.get(22)?,
        unidentified: row.get(23)?,
        corrected_why: row.get(17)?,
        filed_at: row.get(18)?,
        first_filed_at: row.get(21)?,
        exported: exported.is_some(),
        acknowledged: acknowledged.unwrap_or(0) > 0,
    })
}
