//! The tables.

use rusqlite::Connection;

/// Counted up whenever a table changes: a catalogue of another shape is made anew.
pub(super) const VERSION: i64 = 4;

/// `recordings` and `terms` hold what the bundles say, the others what the journal says; `exported` is the line of the
/// newest export, `unread` says that the bundle was missing or damaged when its line was taken.
const TABLES: &str = "
    CREATE TABLE position (lines INTEGER NOT NULL, last TEXT);
    INSERT INTO position VALUES (0, NULL);
    CREATE TABLE recordings (
        key TEXT NOT NULL, revision INTEGER NOT NULL, sha256 TEXT NOT NULL, bytes INTEGER NOT NULL,
        sealed_at TEXT NOT NULL, format TEXT NOT NULL,
        start TEXT NOT NULL, start_at INTEGER, start_day TEXT,
        name TEXT, name_folded TEXT, identifiers TEXT NOT NULL, birth_date TEXT, sex TEXT, operators TEXT NOT NULL,
        order_number TEXT, sequence_number TEXT, device TEXT, urgency TEXT, urgent INTEGER NOT NULL,
        verdict TEXT NOT NULL, headline TEXT NOT NULL, findings TEXT NOT NULL,
        fingerprint TEXT NOT NULL, damaged INTEGER NOT NULL, corrected_why TEXT, is_test INTEGER NOT NULL,
        is_unidentified INTEGER NOT NULL,
        PRIMARY KEY (key, revision)) WITHOUT ROWID;
    CREATE INDEX by_day ON recordings (start_day);
    CREATE INDEX by_birth ON recordings (birth_date);
    CREATE TABLE terms (
        kind TEXT NOT NULL, term TEXT NOT NULL, key TEXT NOT NULL, revision INTEGER NOT NULL,
        PRIMARY KEY (kind, term, key, revision)) WITHOUT ROWID;
    CREATE INDEX terms_of ON terms (key);
    CREATE TABLE sent (
        key TEXT NOT NULL, revision INTEGER NOT NULL, filed_line INTEGER NOT NULL, filed_at TEXT NOT NULL,
        filed_by TEXT, exported INTEGER, acknowledged INTEGER NOT NULL, unread INTEGER NOT NULL,
        PRIMARY KEY (key, revision)) WITHOUT ROWID;
    CREATE INDEX not_acknowledged ON sent (acknowledged) WHERE acknowledged = 0;
    CREATE INDEX unread ON sent (unread) WHERE unread = 1;
    CREATE TABLE quarantined (key TEXT PRIMARY KEY, at TEXT NOT NULL, by TEXT, why TEXT, read INTEGER NOT NULL)
        WITHOUT ROWID;
    CREATE TABLE holds (line INTEGER PRIMARY KEY, key TEXT NOT NULL, at TEXT NOT NULL, by TEXT, authority TEXT);
    CREATE INDEX holds_of ON holds (key);
    CREATE TABLE destroyed (key TEXT PRIMARY KEY, at TEXT NOT NULL, by TEXT, rule TEXT) WITHOUT ROWID;
";

/// The names of all tables.
const NAMES: &[&str] = &["position", "recordings", "terms", "sent", "quarantined", "holds", "destroyed"];

/// A row of `recordings`, columns in their order.
pub(super) const PUT_RECORDING: &str = "INSERT OR REPLACE INTO recordings VALUES \
    (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23, \
     ?24, ?25, ?26, ?27, ?28)";

/// Empty tables in place of whatever is there.
pub(super) fn make(db: &Connection) -> rusqlite::Result<()> {
    for name in NAMES {
        db.execute_batch(&format!("DROP TABLE IF EXISTS {name}"))?;
    }
    db.execute_batch(TABLES)?;
    db.pragma_update(None, "user_version", VERSION)
}
