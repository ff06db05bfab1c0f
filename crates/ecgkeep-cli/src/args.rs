//! The arguments.

pub mod archive;
mod offered;

use std::path::PathBuf;

use clap::{Args, CommandFactory as _, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;
use ecgkeep::recording::{CivilTime, Exact};
use ecgkeep::report::{
    ChestGain, DisplayFilters, Gain, Layout, LeadOrder, Orientation, Paper, PaperSize, Speed,
};
use ecgkeep::{PageForm, Shard};

use offered::{Offered, codes, formats};

use crate::examples;
use crate::exit::MEANINGS;

/// Keeps resting ECG recordings: reads open formats, checks technique and identity, prints the page true to
/// scale, and seals everything so that nothing is lost silently and nothing is altered.
///
/// Technical checks of the recording only; not a diagnosis. An ECG is to be over-read by a qualified clinician;
/// local policy decides.
#[derive(Parser)]
#[command(name = "ecgkeep", version, max_term_width = 100)]
pub struct Arguments {
    #[command(subcommand)]
    pub command: Command,
    /// Print one JSON object per input, one per line, "schema" first (shapes: schemas/ in the source).
    #[arg(long, global = true, display_order = 900)]
    pub json: bool,
}

#[derive(Subcommand)]
pub enum Command {
    /// Which format a file is, and how sure.
    ///
    /// Prints one line per input: the format, and whether the bytes say so for certain, look like it, or only the
    /// name's ending says it. Nothing is read beyond the first 4096 bytes.
    #[command(after_long_help = examples::DETECT)]
    Detect(Detect),
    /// Patient, acquisition, leads, rate, marks, measurements, statements; or the samples as CSV.
    ///
    /// Prints what the recording says, nothing that it is silent about. What the reader noticed on the way (something
    /// not taken, a departure from the standard, damage) goes to standard error.
    #[command(after_long_help = examples::SHOW)]
    Show(Show),
    /// Another format; lists what is not kept.
    ///
    /// Writes the recording in another format, reads the result back, and lists every field and sample that did not
    /// come back the same. The original is never written over.
    #[command(after_long_help = examples::CONVERT)]
    Convert(Convert),
    /// Two recordings, field by field and sample by sample, across formats.
    ///
    /// Samples are compared as exact voltages, whatever scale a format stores them in. Exit 1 when anything differs.
    #[command(after_long_help = examples::COMPARE)]
    Compare(Compare),
    /// Identity and technical checks.
    ///
    /// Says whether the recording names its patient and operator, shows a tracing on every lead, lasts about ten
    /// seconds and looks free of exchanged cables and disturbance; each finding with the measured value and its
    /// threshold. Exit 1 when a check says FAIL. No technical fault found does not mean a normal ECG.
    #[command(after_long_help = examples::CHECK)]
    Check(Check),
    /// The printable page: 25 mm/s, 10 mm/mV.
    ///
    /// Draws the recording true to scale on paper, with who it says the patient is, what was checked and what was found,
    /// as SVG, PDF or HTML.
    #[command(after_long_help = examples::REPORT)]
    Report(Report),
    /// One checksummed bundle per recording: original bytes, open copies, page, findings.
    ///
    /// A bundle is one ZIP that anybody can check by hand with `unzip` and `sha512sum`. The same source, filing, policy,
    /// program and --at time give the same bytes.
    #[command(after_long_help = examples::SEAL)]
    Seal(Seal),
    /// A bundle's files into a folder.
    ///
    /// An altered bundle is refused unless --accept-damage takes out what can still be read, says what is wrong with it and
    /// what was left out, and ends with exit 6.
    #[command(after_long_help = examples::UNPACK)]
    Unpack(Unpack),
    /// Whether bundles are complete and unaltered.
    ///
    /// Inflates every member and checks its digest, the manifests and the bag. Prints the digest of the whole file too:
    /// keep it somewhere else, since who alters a bundle could seal it again. Exit 6 for an altered bundle.
    #[command(after_long_help = examples::VERIFY)]
    Verify(Verify),
    /// The archive of many recordings: file, find, hand over, correct, verify, retain.
    ///
    /// Every recording is filed once, as a sealed bundle, and never changed; what is done with it stands in a journal
    /// that names no patient. ecgkeep itself transmits nothing: your site's interface collects what `export` writes.
    ///
    /// Technical checks only; not a diagnosis. An ECG is to be over-read by a qualified clinician; local policy
    /// decides.
    Archive(archive::Archive),
    /// The formats, what each reads and writes, and what it carries.
    #[command(after_long_help = examples::FORMATS)]
    Formats(Formats),
    /// What a finding means, where its rule comes from, and what to do.
    #[command(after_long_help = examples::EXPLAIN)]
    Explain(Explain),
    /// What a shell needs to complete commands and options, on standard output.
    #[command(after_long_help = examples::COMPLETIONS)]
    Completions(Completions),
    /// The manual page of the program or of one command; or all of them into a folder.
    ///
    /// The pages are in the form that `man` reads, and made from the same definitions as this help.
    #[command(after_long_help = examples::MANUAL)]
    Manual(Manual),
}

/// The definition of all arguments, as the help, the manual and the completions show it.
pub fn command() -> clap::Command {
    let meanings: Vec<String> =
        MEANINGS.iter().map(|(exit, meaning)| format!("  {} {meaning}", exit.code())).collect();
    Arguments::command().after_help(format!("Exit codes:\n{}", meanings.join("\n")))
}

/// Which inputs, and how to read them.
#[derive(Args)]
pub struct InputArgs {
    /// Files, bundles or folders (walked, sorted); - is standard input.
    #[arg(required = true, value_name = "FILE")]
    pub inputs: Vec<PathBuf>,
    #[command(flatten)]
    pub reading: Reading,
}

#[derive(Args)]
pub struct Reading {
    /// The format to read with, when it is not recognised or more than one would do.
    #[arg(long, value_name = "FORMAT", value_parser = Offered(formats))]
    pub from: Option<String>,
}

/// What is supplied beside the source.
#[derive(Args)]
pub struct Beside {
    /// A filing (TOML or JSON) with what the source cannot carry: patient, operator, placement, order; or a
    /// folder that holds STEM.filing.toml for the inputs that need one; - is standard input.
    #[arg(long, value_name = "FILE|FOLDER|-")]
    pub filing: Option<PathBuf>,
    /// A policy (TOML) in place of the shipped "resting-adult" (`ecgkeep explain --shipped-policy` prints that).
    #[arg(long, value_name = "FILE")]
    pub policy: Option<PathBuf>,
    /// The time to take for now, ISO 8601 (2026-03-02T09:30+01:00), so that a run can be repeated exactly.
    #[arg(long, value_name = "TIME")]
    pub at: Option<CivilTime>,
}

/// Whether an outcome is listed or refused.
#[derive(Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
pub enum Listed {
    /// Say it and go on.
    #[default]
    List,
    /// Write nothing and exit 5.
    Refuse,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Losses {
    /// Say each and go on.
    #[default]
    List,
    /// Say of each input how many, and at the end which fields of how many inputs; --json lists each all the same.
    Count,
    /// Write nothing and exit 5.
    Refuse,
}

impl Losses {
    /// Whether each loss is said, where something is written.
    pub fn are_listed(self) -> bool {
        self != Losses::Count
    }
}

#[derive(Args)]
pub struct Detect {
    #[command(flatten)]
    pub input: InputArgs,
}

#[derive(Args)]
pub struct Show {
    #[command(flatten)]
    pub input: InputArgs,
    /// Every field of the model, one a line.
    #[arg(long, conflicts_with_all = ["samples", "counts", "marks"])]
    pub all: bool,
    /// The samples as CSV in microvolts.
    #[arg(long)]
    pub samples: bool,
    /// The samples as CSV of stored integers.
    #[arg(long, conflicts_with = "samples")]
    pub counts: bool,
    /// The marks (beats, wave boundaries, pacing pulses) as CSV: sample, time in seconds, lead, kind, label, text.
    #[arg(long, conflicts_with_all = ["samples", "counts"])]
    pub marks: bool,
    /// Which waveform's samples or marks, counted from 1.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub waveform: usize,
}

#[derive(Args)]
pub struct Convert {
    /// IN OUT; or IN... with --to and --into; or IN... with -o OUT.
    #[arg(required_unless_present = "manifest", value_name = "FILE")]
    pub paths: Vec<PathBuf>,
    #[command(flatten)]
    pub reading: Reading,
    /// The format to write (else by OUT's ending).
    #[arg(long, value_name = "FORMAT", value_parser = Offered(formats))]
    pub to: Option<String>,
    /// The folder to write into, mirroring the folders of the inputs. What is done is listed there in
    /// converted.jsonl: run the same command again and only what is new, changed or missing is converted.
    #[arg(long, value_name = "DIR", requires = "to", group = "place")]
    pub into: Option<PathBuf>,
    /// One file for the recordings of all inputs, in a format that holds many (HDF5, JSON). Recordings stand in it in the
    /// order of the inputs. With `--option stack=without-identity` or `stack=with-identity` HDF5 holds equal
    /// recordings as one array; others are refused. An input that cannot be read is not in it, and the exit code says so.
    #[arg(short, long, value_name = "OUT", group = "place")]
    pub out: Option<PathBuf>,
    /// A list of inputs: a path a line, or a JSON object a line ({"path": ..., "index": ..., "sha256": ...}); - is
    /// standard input.
    #[arg(long, value_name = "LIST", requires = "place", conflicts_with = "paths")]
    pub manifest: Option<PathBuf>,
    /// Convert only part I of N of the inputs (1/N to N/N), so that N processes share the work.
    #[arg(long, value_name = "I/N", requires = "into")]
    pub shard: Option<Shard>,
    /// An option of the format written, NAME=VALUE (see `ecgkeep formats`).
    #[arg(long = "option", value_name = "NAME=VALUE")]
    pub options: Vec<String>,
    /// A filing to carry along: it is written beside the output as STEM.filing.json, never merged into it. With
    /// --deidentify it only tells of which patient a recording is that names none.
    #[arg(long, value_name = "FILE|FOLDER|-", conflicts_with = "out")]
    pub filing: Option<PathBuf>,
    /// What to do when something is not kept.
    #[arg(long, value_enum, default_value_t)]
    pub losses: Losses,
    /// Say what would be written and lost; write nothing.
    #[arg(long, conflicts_with = "deidentify")]
    pub dry_run: bool,
    /// Replace what is there.
    #[arg(long)]
    pub overwrite: bool,
    /// Convert a damaged source all the same.
    #[arg(long)]
    pub accept_damage: bool,
    #[command(flatten)]
    pub identity: Identity,
}

/// Taking the identity out.
#[derive(Args)]
pub struct Identity {
    /// Take the identity out: only what an allow-list names is kept (see schemas/deidentification.md), samples are
    /// untouched. Under --into, files get names that tell nothing and folders are not mirrored; in one file for all,
    /// recordings stand in no order that tells anything; messages call inputs by number. Needs --pseudonym-table or --pseudonym-key. Whether the result may be given away is for
    /// those responsible for it to decide.
    #[arg(long, requires = "pseudonyms")]
    pub deidentify: bool,
    /// Random pseudonyms and date offsets, kept in this table (made with mode 0600): nothing in the result is derived
    /// from the patient, and only who has the table can lead back. Keep it apart from the result.
    #[arg(long, value_name = "FILE", group = "pseudonyms", requires = "deidentify")]
    pub pseudonym_table: Option<PathBuf>,
    /// Pseudonyms and date offsets computed with HMAC-SHA-256 from the identifier and the secret in this file (at least
    /// 32 random bytes, mode 0600): the same patient gets the same pseudonym in every batch and shard without a table,
    /// but who has the key can look for a known patient, so this is not Safe Harbor (45 CFR 164.514(c)).
    #[arg(long, value_name = "FILE", group = "pseudonyms", requires = "deidentify")]
    pub pseudonym_key: Option<PathBuf>,
    /// What becomes of dates.
    #[arg(long, value_enum, default_value_t, requires = "deidentify")]
    pub dates: DatesName,
}

/// What becomes of dates when the identity is taken out.
#[derive(Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
pub enum DatesName {
    /// Shifted back by 1 to 730 days, one offset per patient; intervals and the time of day stay. Not Safe Harbor
    /// by itself.
    #[default]
    Shifted,
    /// Only the year stays.
    Year,
}

#[derive(Args)]
pub struct Compare {
    /// The first recording.
    pub a: PathBuf,
    /// The second recording.
    pub b: PathBuf,
    #[command(flatten)]
    pub reading: Reading,
}

#[derive(Args)]
pub struct Check {
    #[command(flatten)]
    pub input: InputArgs,
    #[command(flatten)]
    pub beside: Beside,
}

#[derive(Args)]
pub struct Report {
    #[command(flatten)]
    pub input: InputArgs,
    #[command(flatten)]
    pub beside: Beside,
    /// The report to write, ending in .svg (further pages get -2, -3), .pdf or .html; - is standard output (SVG).
    #[arg(short, long, value_name = "OUT", conflicts_with = "into")]
    pub out: Option<PathBuf>,
    /// The folder to write a report per input into, mirroring the folders of the inputs.
    #[arg(long, value_name = "DIR")]
    pub into: Option<PathBuf>,
    /// What to write into the folder.
    #[arg(long, value_enum, default_value_t = Form::Svg, conflicts_with = "out")]
    pub form: Form,
    #[command(flatten)]
    pub paper: PaperArgs,
    /// Replace what is there.
    #[arg(long)]
    pub overwrite: bool,
    /// Draw a damaged source all the same; the page says DAMAGED.
    #[arg(long)]
    pub accept_damage: bool,
}

/// How a report is written.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Form {
    Svg,
    Pdf,
    Html,
}

impl Form {
    /// As the library has it.
    pub fn page(self) -> PageForm {
        match self {
            Form::Svg => PageForm::Svg,
            Form::Pdf => PageForm::Pdf,
            Form::Html => PageForm::Html,
        }
    }
}

/// Paper, scale, layout and filters; what one page cannot hold goes on on the next, nothing is made smaller to fit.
#[derive(Args)]
pub struct PaperArgs {
    /// Size of the paper.
    #[arg(long, value_enum, default_value_t = PaperName::A4)]
    pub paper: PaperName,
    /// The short side is the width.
    #[arg(long)]
    pub portrait: bool,
    /// Millimetres per second.
    #[arg(long, value_enum, default_value = "25")]
    pub speed: SpeedName,
    /// Millimetres per millivolt.
    #[arg(long, value_enum, default_value = "10")]
    pub gain: GainName,
    /// The chest leads at half of that, each marked so, with a calibration pulse of their own.
    #[arg(long)]
    pub chest_half: bool,
    /// Rows by columns, and the strips below.
    #[arg(long, value_enum, default_value = "3x4")]
    pub layout: LayoutName,
    /// The limb leads in anatomical (Cabrera) order: aVL, I, -aVR, II, aVF, III.
    #[arg(long)]
    pub anatomical: bool,
    /// Draw without slow waves: Butterworth high-pass of order 2, run both ways (zero phase), 3 dB down at HZ. The
    /// record keeps its samples; every row says how it is filtered. Default: no filter.
    #[arg(long, value_name = "HZ")]
    pub high_pass: Option<Exact>,
    /// Draw without fast waves: the same as a low-pass.
    #[arg(long, value_name = "HZ")]
    pub low_pass: Option<Exact>,
    /// Draw without mains hum: a notch at HZ, 2 Hz wide, run both ways.
    #[arg(long, value_name = "HZ")]
    pub notch: Option<Exact>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum PaperName {
    A4,
    Letter,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SpeedName {
    #[value(name = "12.5")]
    Half,
    #[value(name = "25")]
    Usual,
    #[value(name = "50")]
    Double,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum GainName {
    #[value(name = "5")]
    Half,
    #[value(name = "10")]
    Usual,
    #[value(name = "20")]
    Double,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LayoutName {
    /// Three rows of four, lead II below.
    #[value(name = "3x4")]
    ThreeByFour,
    /// Three rows of four, leads II, V1 and V5 below.
    #[value(name = "3x4+3")]
    ThreeByFourThreeStrips,
    /// Six rows of two, lead II below.
    #[value(name = "6x2")]
    SixByTwo,
    /// Twelve rows.
    #[value(name = "12x1")]
    TwelveByOne,
}

impl PaperArgs {
    /// The paper that the library draws on.
    pub fn paper(&self) -> Paper {
        Paper {
            size: match self.paper {
                PaperName::A4 => PaperSize::A4,
                PaperName::Letter => PaperSize::Letter,
            },
            orientation: if self.portrait { Orientation::Portrait } else { Orientation::Landscape },
            speed: match self.speed {
                SpeedName::Half => Speed::Mm12_5,
                SpeedName::Usual => Speed::Mm25,
                SpeedName::Double => Speed::Mm50,
            },
            gain: match self.gain {
                GainName::Half => Gain::Mm5,
                GainName::Usual => Gain::Mm10,
                GainName::Double => Gain::Mm20,
            },
            chest: if self.chest_half { ChestGain::Half } else { ChestGain::Same },
            layout: match self.layout {
                LayoutName::ThreeByFour => Layout::ThreeByFour,
                LayoutName::ThreeByFourThreeStrips => Layout::ThreeByFourThreeStrips,
                LayoutName::SixByTwo => Layout::SixByTwo,
                LayoutName::TwelveByOne => Layout::TwelveByOne,
            },
            order: if self.anatomical { LeadOrder::Anatomical } else { LeadOrder::Standard },
            filters: DisplayFilters {
                high_pass_hz: self.high_pass,
                low_pass_hz: self.low_pass,
                notch_hz: self.notch,
            },
            ..Paper::default()
        }
    }
}

#[derive(Args)]
pub struct Seal {
    #[command(flatten)]
    pub input: InputArgs,
    #[command(flatten)]
    pub beside: Beside,
    /// The bundle to write.
    #[arg(short, long, value_name = "BUNDLE.zip", conflicts_with = "into")]
    pub out: Option<PathBuf>,
    /// The folder to write KEY.r1.zip into; what is sealed there already is left as it is.
    #[arg(long, value_name = "DIR")]
    pub into: Option<PathBuf>,
    /// What to do when a check says FAIL.
    #[arg(long, value_enum, default_value_t)]
    pub findings: Listed,
    /// What to do when the WFDB copy does not keep everything.
    #[arg(long, value_enum, default_value_t)]
    pub losses: Listed,
    /// Replace what is there.
    #[arg(long)]
    pub overwrite: bool,
}

#[derive(Args)]
pub struct Unpack {
    /// The bundle.
    pub bundle: PathBuf,
    /// The folder to unpack into; the bundle's one top directory is made in it.
    #[arg(long, value_name = "DIR")]
    pub into: PathBuf,
    /// Replace what is there.
    #[arg(long)]
    pub overwrite: bool,
    /// Unpack what can be read of an altered bundle.
    #[arg(long)]
    pub accept_damage: bool,
}

#[derive(Args)]
pub struct Verify {
    /// Bundles, or folders that hold them.
    #[arg(required = true, value_name = "BUNDLE")]
    pub bundles: Vec<PathBuf>,
}

#[derive(Args)]
pub struct Formats {
    /// The table of every field by format: carried exactly, limited, or not, with the reasons.
    #[arg(long)]
    pub carries: bool,
}

#[derive(Args)]
pub struct Explain {
    /// The code of a finding; without one all codes are listed.
    #[arg(value_parser = Offered(codes), hide_possible_values = true)]
    pub code: Option<String>,
    /// A policy (TOML) whose thresholds are shown in place of those of the shipped "resting-adult".
    #[arg(long, value_name = "FILE")]
    pub policy: Option<PathBuf>,
    /// The shipped policy as TOML: copy it, change what differs, and give it with --policy.
    #[arg(long, conflicts_with_all = ["code", "policy"])]
    pub shipped_policy: bool,
}

#[derive(Args)]
pub struct Completions {
    /// For which shell.
    pub shell: Shell,
}

#[derive(Args)]
pub struct Manual {
    /// The command whose page is printed; without one, the program's.
    #[arg(value_name = "COMMAND", conflicts_with = "into")]
    pub words: Vec<String>,
    /// The folder to write every page into, one file each.
    #[arg(long, value_name = "DIR")]
    pub into: Option<PathBuf>,
    /// Replace what is there.
    #[arg(long, requires = "into")]
    pub overwrite: bool,
}
