//! The arguments of `archive`.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};
use ecgkeep::recording::{CivilTime, PartialDate};

use super::offered::{Offered, codes, formats};
use super::{Form, Identity, Reading};
use crate::examples;

/// `archive`.
#[derive(Args)]
pub struct Archive {
    #[command(subcommand)]
    pub act: Act,
}

#[derive(Subcommand)]
pub enum Act {
    /// Make an archive.
    #[command(after_long_help = examples::ARCHIVE_NEW)]
    New(New),
    /// File recordings: read, check, seal, commit; one line each.
    ///
    /// Findings never prevent filing: an urgent ECG must not vanish because a check failed. What cannot be read is kept
    /// in quarantine. A source that is there already is not stored twice. The output names no patient unless
    /// --show-identity asks for it.
    #[command(after_long_help = examples::ARCHIVE_ADD)]
    Add(Add),
    /// Recordings by identifier, name, birth date, day, operator, finding, verdict, digest, order or key.
    ///
    /// What is found fulfils all options given, and is the newest revision. A recording that was corrected to another patient is
    /// named by its key alone under the wrong one, and counts as not found (exit 1).
    #[command(after_long_help = examples::ARCHIVE_FIND)]
    Find(Find),
    /// What waits to be sent (most urgent first, then oldest), is in quarantine, without identifier, held, ...
    #[command(after_long_help = examples::ARCHIVE_LIST)]
    List(List),
    /// A copy, a page or the original of one recording, verified before it is written.
    #[command(after_long_help = examples::ARCHIVE_GET)]
    Get(Get),
    /// Whether everything is there and unaltered; changes nothing.
    #[command(after_long_help = examples::ARCHIVE_VERIFY)]
    Verify(Verify),
    /// Make a corrected revision (wrong patient, operator, identifier, ...); the first stays as it is.
    ///
    /// Searches follow the newest revision; the wrong patient's shows only that something was corrected away. What was
    /// handed over before must be taken back: a notice is written for each receiver, and ecgkeep sends none of them.
    #[command(after_long_help = examples::ARCHIVE_CORRECT)]
    Correct(Correct),
    /// Write recordings for handing over, each with a receipt; or copies without identity. Sends nothing.
    ///
    /// With --deidentify nothing is handed over: no bundle, no original, no key and no receipt goes out, for the key is a
    /// digest of the original and whoever has that could tell whose copy it is. Such an export takes nothing off `list
    /// --unsent`, no answer belongs to it and no correction writes a notice for it. The journal says which recordings
    /// were copied for whom, by whom, when and by which method, not which copy came of which. Samples are
    /// unaltered, so whoever holds the original can still recognise its samples.
    #[command(after_long_help = examples::ARCHIVE_EXPORT)]
    Export(Export),
    /// Keep the receiver's answer: only then does a recording leave `list --unsent`.
    #[command(after_long_help = examples::ARCHIVE_ACKNOWLEDGE)]
    Acknowledge(Acknowledge),
    /// Hold a list of orders, or the device's own log, against what was filed.
    ///
    /// Says what is missing (then it ends with 1), what was filed more than once, what was filed in the time of the list
    /// without standing on it, entries that mean one recording, numbers that the device gave and nobody has, and how long
    /// filing took. Lines of the list are named by their number; --show-identity adds orders and patients.
    #[command(after_long_help = examples::ARCHIVE_RECONCILE)]
    Reconcile(Reconcile),
    /// Keep a recording from being destroyed, whatever the schedule says.
    #[command(after_long_help = examples::ARCHIVE_HOLD)]
    Hold(Hold),
    /// End a hold.
    #[command(after_long_help = examples::ARCHIVE_RELEASE)]
    Release(Release),
    /// What the schedule allows to be destroyed; destroys nothing.
    #[command(after_long_help = examples::ARCHIVE_DUE)]
    Due(Due),
    /// Destroy under the schedule: write a request, have two people sign it, perform it.
    ///
    /// Three steps: `destroy DIR KEY... --rule RULE --write REQUEST`; then twice, by two people, `destroy DIR --sign
    /// REQUEST --with KEYFILE`; then `destroy DIR --perform REQUEST --by CODE`. Nothing is destroyed that is held, not
    /// due, or under no adopted schedule. What is destroyed cannot be brought back; copies elsewhere are not reached.
    #[command(after_long_help = examples::ARCHIVE_DESTROY)]
    Destroy(Destroy),
    /// Put good copies from another archive folder in place of damaged bundles.
    #[command(after_long_help = examples::ARCHIVE_REPAIR)]
    Repair(Repair),
    /// Make the catalogue anew from the journal and the bundles.
    #[command(after_long_help = examples::ARCHIVE_REBUILD)]
    Rebuild(Rebuild),
    /// The public keys that were admitted; make or admit one.
    #[command(after_long_help = examples::ARCHIVE_KEYS)]
    Keys(Keys),
    /// The retention schedule in force; adopt another.
    #[command(after_long_help = examples::ARCHIVE_SCHEDULE)]
    Schedule(Schedule),
}

/// Who, when, and the archive's signature.
#[derive(Args)]
pub struct Acting {
    /// Who does it: an agreed staff code or role, such as ward-3-night. It stands in the journal for ever, so it is
    /// not a name: 1 to 64 of A-Z a-z 0-9 . _ @ -.
    #[arg(long, value_name = "CODE")]
    pub by: String,
    /// The time to take for now, ISO 8601 with the offset (2026-03-02T09:30+01:00), so that a run can be repeated.
    #[arg(long, value_name = "TIME")]
    pub at: Option<CivilTime>,
    /// The archive's private key (PEM, PKCS #8, ed25519), kept outside the archive: signs the new checkpoint.
    #[arg(long, value_name = "FILE")]
    pub signing_key: Option<PathBuf>,
}

/// The same where a command may write or only look.
#[derive(Args)]
pub struct MaybeActing {
    /// Who does it, where something is written: an agreed staff code or role, not a name; it stands in the journal for
    /// ever.
    #[arg(long, value_name = "CODE")]
    pub by: Option<String>,
    /// The time to take for now, ISO 8601 with the offset; what is performed may not lie in the future.
    #[arg(long, value_name = "TIME")]
    pub at: Option<CivilTime>,
    /// The archive's private key, kept outside the archive: signs the new checkpoint.
    #[arg(long, value_name = "FILE")]
    pub signing_key: Option<PathBuf>,
}

#[derive(Args)]
pub struct New {
    /// The folder to make.
    pub dir: PathBuf,
    #[command(flatten)]
    pub acting: Acting,
    /// The name of the archive's checkpoints, such as larkmoor/ecg; 1 to 64 of A-Z a-z 0-9 . _ @ - / [default: the
    /// archive's random number].
    #[arg(long, value_name = "NAME")]
    pub origin: Option<String>,
}

#[derive(Args)]
pub struct Add {
    /// The archive.
    pub dir: PathBuf,
    /// Files, bundles or folders (walked, sorted); - is standard input. In folders what ends in .scp, .hea or .aecg, or in
    /// .h5 or .hdf5 and is no HDF5, is taken also where it is damaged, and quarantined; .xml and .json only where its first
    /// bytes are a recording's, else it is passed over and counted.
    #[arg(value_name = "INPUT", required_unless_present = "quarantined")]
    pub inputs: Vec<PathBuf>,
    #[command(flatten)]
    pub acting: Acting,
    /// Make the archive first if there is none.
    #[arg(long)]
    pub new: bool,
    /// Try to read again what is in quarantine.
    #[arg(long, conflicts_with = "inputs")]
    pub quarantined: bool,
    #[command(flatten)]
    pub reading: Reading,
    /// A filing (TOML or JSON) with what the source cannot carry; or a folder that holds STEM.filing.toml for the
    /// inputs that need one.
    #[arg(long, value_name = "FILE|FOLDER")]
    pub filing: Option<PathBuf>,
    /// A policy (TOML) in place of the shipped "resting-adult".
    #[arg(long, value_name = "FILE")]
    pub policy: Option<PathBuf>,
    /// Print who each recording is of, and the names of files: leave it away where the output is kept as a log.
    #[arg(long)]
    pub show_identity: bool,
}

/// What to look for; every term given must be fulfilled.
#[derive(Args)]
pub struct Find {
    /// The archive.
    pub dir: PathBuf,
    /// An identifier of the patient, whole.
    #[arg(long, value_name = "ID")]
    pub identifier: Option<String>,
    /// Words that words of the patient's name begin with; case and accents do not matter.
    #[arg(long, value_name = "WORDS")]
    pub name: Option<String>,
    /// Birth date, as recorded (1971-06-19).
    #[arg(long, value_name = "DATE")]
    pub born: Option<PartialDate>,
    /// Recorded on this day, month or year, or later.
    #[arg(long, value_name = "DATE")]
    pub from: Option<PartialDate>,
    /// Recorded on this day, month or year, or earlier.
    #[arg(long, value_name = "DATE")]
    pub to: Option<PartialDate>,
    /// Words that words of an operator's name or number begin with.
    #[arg(long, value_name = "WORDS")]
    pub operator: Option<String>,
    /// The code of a finding (`ecgkeep explain` lists them).
    #[arg(long, value_name = "CODE", value_parser = Offered(codes), hide_possible_values = true)]
    pub finding: Option<String>,
    /// What the checks came to.
    #[arg(long, value_enum)]
    pub verdict: Option<VerdictName>,
    /// A SHA-256: of a bundle, of a source file, or of the samples (the digest on the page).
    #[arg(long, value_name = "SHA256")]
    pub digest: Option<String>,
    /// An order number, whole.
    #[arg(long, value_name = "NUMBER")]
    pub order: Option<String>,
    /// A key, or its first digits.
    #[arg(long, value_name = "KEY")]
    pub key: Option<String>,
    /// Terms from a TOML or JSON file, names as above; - is standard input, so that no identity stands among the
    /// processes of the machine.
    #[arg(long, value_name = "FILE|-")]
    pub query: Option<PathBuf>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum VerdictName {
    /// At least one FAIL.
    Fail,
    /// No FAIL, at least one WARN.
    Warn,
    /// Neither.
    Clear,
}

#[derive(Args)]
pub struct List {
    /// The archive.
    pub dir: PathBuf,
    #[command(flatten)]
    pub which: Which,
}

#[derive(Args)]
#[group(multiple = false)]
pub struct Which {
    /// Not acknowledged by a receiver yet, most urgent first, then oldest.
    #[arg(long)]
    pub unsent: bool,
    /// Kept, but not readable so far.
    #[arg(long)]
    pub quarantined: bool,
    /// Of a patient with fewer identifiers than the policy asks for, or without any.
    #[arg(long)]
    pub unidentified: bool,
    /// Corrected.
    #[arg(long)]
    pub corrected: bool,
    /// Held.
    #[arg(long)]
    pub held: bool,
    /// Destroyed under a rule.
    #[arg(long)]
    pub destroyed: bool,
}

#[derive(Args)]
pub struct Get {
    /// The archive.
    pub dir: PathBuf,
    /// The key, or at least its first 8 digits.
    pub key: String,
    #[command(flatten)]
    pub acting: Acting,
    /// For what, as a code.
    #[arg(long, value_name = "CODE", default_value = "care")]
    pub why: String,
    /// The file to write: .zip for the bundle, .svg (further pages get -2, -3), .pdf or .html for the page.
    #[arg(short, long, value_name = "OUT")]
    pub out: Option<PathBuf>,
    /// The folder to write the source files into, as they were received.
    #[arg(long, value_name = "DIR", conflicts_with = "out")]
    pub into: Option<PathBuf>,
    /// The revision [default: the newest].
    #[arg(long, value_name = "N")]
    pub revision: Option<u32>,
    /// Hand out what is superseded too: the original inside a corrected revision, or a revision before the newest.
    #[arg(long)]
    pub original: bool,
    /// Replace what is there.
    #[arg(long)]
    pub overwrite: bool,
}

#[derive(Args)]
pub struct Verify {
    /// The archive.
    pub dir: PathBuf,
    /// How thoroughly.
    #[arg(long, value_enum, default_value_t = LevelName::Full)]
    pub level: LevelName,
    /// Only the K-th of N parts of the bundles, such as 3/30 on the third day of a month.
    #[arg(long, value_name = "K/N")]
    pub part: Option<String>,
    /// A checkpoint of this archive that was kept elsewhere: without one the archive is only consistent in itself.
    #[arg(long, value_name = "FILE")]
    pub against: Option<PathBuf>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LevelName {
    /// Journal, checkpoints, and that every file is there with its length.
    Quick,
    /// Every byte of every file.
    Full,
    /// Every bundle opened, its manifests checked, its original read again.
    Deep,
}

#[derive(Args)]
pub struct Correct {
    /// The archive.
    pub dir: PathBuf,
    /// The key, or at least its first 8 digits.
    pub key: String,
    #[command(flatten)]
    pub acting: Acting,
    /// What is right, as a filing (TOML or JSON); - is standard input. Of a wrong patient the whole subject is replaced and
    /// items of the source that no field names are dropped; of the acquisition, as of everything for another reason, only
    /// what is given is replaced. What is kept of the wrong patient's case (order number, indications, remarks, urgency,
    /// who asked) is named: look at it. Findings, measurements and statements of the source stay with the recording.
    #[arg(long, value_name = "FILE|-")]
    pub filing: PathBuf,
    /// Why.
    #[arg(long, value_name = "REASON", value_parser = reasons())]
    pub reason: String,
    /// Who authorised it: a code or role.
    #[arg(long, value_name = "CODE")]
    pub authorised_by: String,
    /// The folder to write a retraction notice into for everyone that the revision before was handed to.
    #[arg(long, value_name = "DIR")]
    pub into: PathBuf,
    /// A policy (TOML) in place of the shipped "resting-adult".
    #[arg(long, value_name = "FILE")]
    pub policy: Option<PathBuf>,
}

fn reasons() -> clap::builder::PossibleValuesParser {
    clap::builder::PossibleValuesParser::new(ecgkeep::Reason::ALL.iter().map(|(_, code)| *code))
}

#[derive(Args)]
pub struct Export {
    /// The archive.
    pub dir: PathBuf,
    /// Keys, or at least their first 8 digits.
    #[arg(value_name = "KEY", required_unless_present = "unsent")]
    pub keys: Vec<String>,
    /// Everything that no receiver acknowledged yet, in the order of `list --unsent`.
    #[arg(long, conflicts_with = "keys")]
    pub unsent: bool,
    #[command(flatten)]
    pub acting: Acting,
    /// The folder to write into.
    #[arg(long, value_name = "OUT")]
    pub into: PathBuf,
    /// A format in place of the bundle. Of a corrected revision the WFDB copy and the page are written by themselves,
    /// since its bundle still holds the superseded original.
    #[arg(long, value_name = "FORMAT", value_parser = Offered(formats))]
    pub to: Option<String>,
    /// The receiver, as a code: ward, chart, archive partner; with --deidentify whom the copies are for, such as study-7.
    #[arg(long, value_name = "CODE")]
    pub receiver: String,
    /// Export the bundle of a corrected revision with the superseded original in it.
    #[arg(long, conflicts_with = "to")]
    pub original: bool,
    /// Replace what is there.
    #[arg(long)]
    pub overwrite: bool,
    #[command(flatten)]
    pub identity: Identity,
    /// With --deidentify, a page too, drawn anew from what is left.
    #[arg(long, value_enum, value_name = "FORM", requires = "deidentify")]
    pub page: Option<Form>,
    /// With --deidentify, copy a damaged recording all the same; a page then says DAMAGED, a copy in a format does not.
    #[arg(long, requires = "deidentify")]
    pub accept_damage: bool,
}

#[derive(Args)]
pub struct Acknowledge {
    /// The archive.
    pub dir: PathBuf,
    /// The key, or at least its first 8 digits.
    pub key: String,
    #[command(flatten)]
    pub acting: Acting,
    /// The receiver's answer, whatever file it is; one of our own receipts must be of this recording and revision.
    #[arg(long, value_name = "FILE")]
    pub receipt: PathBuf,
    /// The revision that was received [default: the newest, where it was exported].
    #[arg(long, value_name = "N")]
    pub revision: Option<u32>,
}

#[derive(Args)]
pub struct Reconcile {
    /// The archive.
    pub dir: PathBuf,
    /// CSV with a first line of column names (order, sequence, device, identifier, time: as many as there are), or
    /// JSON lines with the same members; - is standard input.
    #[arg(long, value_name = "LIST")]
    pub expected: PathBuf,
    /// Also print orders, devices, patients' names, identifiers and birth dates; JSON has numbers and keys alone.
    #[arg(long)]
    pub show_identity: bool,
}

#[derive(Args)]
pub struct Hold {
    /// The archive.
    pub dir: PathBuf,
    /// Keys, or at least their first 8 digits.
    #[arg(required = true, value_name = "KEY")]
    pub keys: Vec<String>,
    #[command(flatten)]
    pub acting: Acting,
    /// Under which authority: a code of a case, a person or a role.
    #[arg(long, value_name = "CODE")]
    pub authority: String,
}

#[derive(Args)]
pub struct Release {
    /// The archive.
    pub dir: PathBuf,
    /// Keys, or at least their first 8 digits.
    #[arg(required = true, value_name = "KEY")]
    pub keys: Vec<String>,
    #[command(flatten)]
    pub acting: Acting,
    /// Whose hold ends: the authority it was placed under.
    #[arg(long, value_name = "CODE")]
    pub authority: String,
}

#[derive(Args)]
pub struct Due {
    /// The archive.
    pub dir: PathBuf,
    /// The time to ask for, ISO 8601 with the offset (2040-01-01T00:00Z) [default: now].
    #[arg(long, value_name = "TIME")]
    pub at: Option<CivilTime>,
}

/// One of three steps.
#[derive(Args)]
pub struct Destroy {
    /// The archive.
    pub dir: PathBuf,
    /// Keys, or at least their first 8 digits.
    #[arg(value_name = "KEY", requires = "write")]
    pub keys: Vec<String>,
    /// The rule of the schedule that allows it.
    #[arg(long, value_name = "RULE", requires = "write")]
    pub rule: Option<String>,
    /// Write a request to this file.
    #[arg(long, value_name = "REQUEST", requires_all = ["keys", "rule"])]
    pub write: Option<PathBuf>,
    /// Sign a request.
    #[arg(long, value_name = "REQUEST", requires = "with", conflicts_with_all = ["write", "perform"])]
    pub sign: Option<PathBuf>,
    /// The private key of the person who signs; it must be admitted (`archive keys`).
    #[arg(long, value_name = "KEYFILE", requires = "sign")]
    pub with: Option<PathBuf>,
    /// Perform a request that two different admitted keys signed.
    #[arg(long, value_name = "REQUEST", requires = "by", conflicts_with = "write")]
    pub perform: Option<PathBuf>,
    #[command(flatten)]
    pub acting: MaybeActing,
}

#[derive(Args)]
pub struct Repair {
    /// The archive.
    pub dir: PathBuf,
    /// A copy of the archive's folder.
    #[arg(long, value_name = "COPY")]
    pub from: PathBuf,
    #[command(flatten)]
    pub acting: Acting,
}

#[derive(Args)]
pub struct Rebuild {
    /// The archive.
    pub dir: PathBuf,
    /// From the bundles alone, where the journal is lost: who, when and what, but nothing of what was done since.
    #[arg(long)]
    pub without_journal: bool,
}

#[derive(Args)]
pub struct Keys {
    /// The archive.
    #[arg(required_unless_present = "make")]
    pub dir: Option<PathBuf>,
    /// Admit a public key: its owner may then sign requests to destroy.
    #[arg(long, value_name = "FILE.pub", requires = "by", conflicts_with = "make")]
    pub admit: Option<PathBuf>,
    /// Make a private key in this file, readable by its owner only, and FILE.pub beside it.
    #[arg(long, value_name = "FILE", requires = "name")]
    pub make: Option<PathBuf>,
    /// The name of the key to make: a code or role.
    #[arg(long, value_name = "CODE", requires = "make")]
    pub name: Option<String>,
    #[command(flatten)]
    pub acting: MaybeActing,
}

#[derive(Args)]
pub struct Schedule {
    /// The archive.
    pub dir: PathBuf,
    /// A schedule (TOML; shape: schemas/schedule.schema.json) to adopt.
    #[arg(long, value_name = "FILE.toml", requires_all = ["by", "authorised_by"])]
    pub adopt: Option<PathBuf>,
    /// Who authorised it: a code or role.
    #[arg(long, value_name = "CODE")]
    pub authorised_by: Option<String>,
    #[command(flatten)]
    pub acting: MaybeActing,
}
