//! That no patient is named where that could not be taken back: planted strings in every field and file name, and
//! then every file name, the journal, the checkpoints, tombstones, certificates, receipts, notices, and everything
//! that the program says beside what a person asked to see (acceptance list, item 18, the part of the archive).

use std::path::{Path, PathBuf};

use ecgkeep_tests::program::{Ended, run};

const AT: &str = "2026-03-02T18:00:00+01:00";

/// Strings that stand for a patient, by the places they are planted in.
const PLANTED: &[&str] = &[
    "CANARYNAME",
    "CANARYGIVEN",
    "CANARYID",
    "CANARYORDER",
    "CANARYOPERATOR",
    "CANARYREMARK",
    "CANARYREASON",
    "CANARYSERIAL",
    "CANARYROOM",
    "CANARYFILE",
    "CANARYSUPPLIED",
    "CANARYOTHER",
    "CANARYBROKEN",
    "1955-12-24",
    "1944-11-23",
];

const HEADER: &str = "\
CANARYFILE 1 500 8 08:42:10 02/03/2026
CANARYFILE.dat 16 1000(0)/mV 0 0 0 0 0 II
#<ecg-info>: 1
#<sex>: F
#<patient.id>: CANARYID
#<patient.family>: CANARYNAME
#<patient.given>: CANARYGIVEN
#<patient.birth-date>: 1955-12-24
#<acq.datetime>: 2026-03-02T08:42:10+01:00
#<acq.operator>: CANARYOPERATOR
#<acq.room>: CANARYROOM
#<device.serial>: CANARYSERIAL
#<acq.order-id>: CANARYORDER
#<acq.reason>: CANARYREASON
# CANARYREMARK
";

const FILING: &str = r#"
at = "2026-03-02T14:20:00+01:00"
supplied_by = { name = { text = "CANARYSUPPLIED" } }
[subject]
identifiers = [{ value = "CANARYOTHER" }]
name = { text = "CANARYOTHER" }
birth_date = "1944-11-23"
"#;

const SCHEDULE: &str = r#"
schema = "ecgkeep-schedule/1"
name = "invented"
effective_from = "2026-03-01"
reviewed_by = "board"
[[rule]]
id = "days-1"
from = "last-activity"
days = 1
citation = "invented"
"#;

struct Ward {
    folder: tempfile::TempDir,
    /// Everything said that may be logged.
    said: Vec<(String, String)>,
}

impl Ward {
    /// Runs the program; standard output counts as said unless it is what a person asked to see.
    fn run(&mut self, arguments: &str, asked_to_see: bool, exit: i32) -> Ended {
        let words: Vec<&str> = arguments.split(' ').collect();
        let ended = run(&words, self.folder.path(), b"");
        assert_eq!(ended.code, Some(exit), "{arguments}: {}{}", ended.stdout, ended.stderr);
        self.said.push((format!("{arguments}: standard error"), ended.stderr.clone()));
        if !asked_to_see {
            self.said.push((format!("{arguments}: standard output"), ended.stdout.clone()));
        }
        ended
    }

    fn write(&self, name: &str, bytes: &[u8]) {
        let path = self.folder.path().join(name);
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).expect("a folder is made");
        }
        std::fs::write(path, bytes).expect("written");
    }
}

fn paths_below(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("it can be listed") {
            let path = entry.expect("it can be listed").path();
            found.push(path.clone());
            if path.is_dir() {
                folders.push(path);
            }
        }
    }
    found
}

fn planted_in(text: &str) -> Vec<&'static str> {
    PLANTED.iter().copied().filter(|planted| text.to_uppercase().contains(planted)).collect()
}

/// What may hold personal data by the page on the disk's layout (schemas/archive.md).
fn may_hold_identity(below: &Path) -> bool {
    let first = below.components().next().map(|part| part.as_os_str().to_string_lossy().into_owned());
    matches!(first.as_deref(), Some("quarantine" | "register.jsonl" | "answers" | "catalogue.sqlite"))
        || (first.as_deref() == Some("bundles") && below.extension().is_some_and(|ending| ending == "zip"))
}

#[test]
fn nothing_that_is_kept_for_ever_or_logged_names_a_patient() {
    let mut ward = Ward { folder: tempfile::tempdir().expect("a temporary folder"), said: Vec::new() };
    ward.write("in/CANARYFILE.hea", HEADER.as_bytes());
    ward.write("in/CANARYFILE.dat", &[1, 0, 2, 0, 3, 0, 4, 0, 5, 0, 6, 0, 7, 0, 8, 0]);
    ward.write(
        "in/CANARYBROKEN.hea",
        HEADER.replace("CANARYFILE 1 500 8", "CANARYBROKEN 1 500 x").as_bytes(),
    );
    ward.write("in/CANARYNOTES.txt", b"no recording");
    ward.write("in/CANARYUNUSED.filing.toml", FILING.as_bytes());
    ward.write("right.toml", FILING.as_bytes());
    ward.write("wrong.toml", FILING.replace("birth_date", "birthday").as_bytes());
    ward.write("schedule.toml", SCHEDULE.as_bytes());
    ward.write("answer", b"received CANARYID");
    ward.write("list.csv", b"order,identifier\nCANARYORDER,CANARYID\nCANARYORDER2,CANARYID\n");
    ward.write("query.toml", b"identifier = \"CANARYID\"\n");
    ward.write("odd.toml", b"patient = \"CANARYNAME\"\n");
    let by = format!("--by clerk-1 --at {AT}");

    ward.run(&format!("archive add --new A in --filing in {by}"), false, 3);
    ward.run(&format!("archive add A in --filing in {by} --json"), false, 3);
    ward.run(&format!("archive add A --quarantined {by}"), false, 3);
    let seen = ward.run(&format!("archive add A in {by} --show-identity"), true, 3);
    assert!(
        !planted_in(&seen.stdout).is_empty(),
        "the planted strings are there to be found: {}",
        seen.stdout
    );
    ward.said.pop();
    let found = ward.run("archive find A --query query.toml", true, 0);
    assert!(found.stdout.contains("CANARYNAME"), "{}", found.stdout);
    let key = found.stdout.split('.').next().expect("a key").to_owned();
    ward.run("archive find A --query odd.toml", true, 2);
    ward.run("archive list A --unsent", true, 0);
    let quarantined = ward.run("archive list A --quarantined", false, 0);
    let waiting = quarantined.stdout.split(' ').next().expect("a key").to_owned();
    ward.run("archive reconcile A --expected list.csv", false, 1);
    ward.run("archive reconcile A --expected list.csv --json", false, 1);
    let seen = ward.run("archive reconcile A --expected list.csv --show-identity", true, 1);
    assert!(seen.stdout.contains("CANARYORDER2"), "{}", seen.stdout);
    ward.run("archive verify A --level deep", false, 0);
    ward.run("archive verify A --json", false, 0);
    ward.run(&format!("archive get A {key} -o page.svg {by}"), false, 0);
    ward.run(&format!("archive get A {key} --into files {by}"), false, 0);
    ward.run(&format!("archive get A {key} --into files {by}"), false, 7);
    ward.run(&format!("archive get A {waiting} --into waiting {by}"), false, 0);
    ward.run(&format!("archive export A {key} --into out --receiver ward-3 {by}"), false, 0);
    ward.run(&format!("archive export A {key} --to aecg --into out --receiver ward-3 {by}"), false, 0);
    let study = "--deidentify --pseudonym-table table --to wfdb --page svg --into study --receiver study-7";
    ward.run(&format!("archive export A {key} {study} {by}"), false, 3);
    ward.run(&format!("archive export A {key} {study} --accept-damage {by}"), false, 0);
    ward.run(&format!("archive export A {waiting} {study} {by}"), false, 7);
    ward.run(&format!("archive acknowledge A {key} --receipt answer {by}"), false, 0);
    let correct = "--reason wrong-patient --authorised-by lead-2 --into notices";
    ward.run(&format!("archive correct A {key} --filing wrong.toml {correct} {by}"), false, 3);
    ward.run(&format!("archive correct A {key} --filing right.toml {correct} {by}"), false, 0);
    ward.run(&format!("archive get A {key} -o again.zip {by}"), false, 5);
    ward.run(&format!("archive hold A {key} --authority case-1 {by}"), false, 0);
    ward.run(&format!("archive release A {key} --authority case-1 {by}"), false, 0);
    ward.run("archive keys --make k1 --name records-1", false, 0);
    ward.run("archive keys --make k2 --name records-2", false, 0);
    ward.run(&format!("archive keys A --admit k1.pub {by}"), false, 0);
    ward.run(&format!("archive keys A --admit k2.pub {by}"), false, 0);
    ward.run(&format!("archive schedule A --adopt schedule.toml --authorised-by board {by}"), false, 0);
    let later = "--at 2026-03-20T12:00:00Z";
    ward.run(&format!("archive due A {later}"), false, 0);
    ward.run(&format!("archive destroy A {key} --rule days-1 --write request {later}"), false, 0);
    ward.run("archive destroy A --sign request --with k1", false, 0);
    ward.run("archive destroy A --sign request --with k2", false, 0);
    ward.run(&format!("archive destroy A --perform request --by clerk-1 {later}"), false, 0);
    ward.run(&format!("archive get A {key} -o page2.svg {by}"), false, 5);
    ward.run("archive rebuild A", false, 0);
    // The same with a name in place of a code: it is refused and not repeated.
    ward.run("archive add A in --by CANARYNAME,CANARYGIVEN", false, 2);

    let mut faults = Vec::new();
    for (what, text) in &ward.said {
        let own: Vec<&str> = what.split(' ').collect();
        // What was typed on the command line may come back.
        faults.extend(
            planted_in(text)
                .into_iter()
                .filter(|planted| !own.iter().any(|word| word.contains(planted)))
                .map(|planted| format!("{what}: {planted}: {text}")),
        );
    }
    let archive = ward.folder.path().join("A");
    let mut read = 0;
    for path in paths_below(&archive) {
        let below = path.strip_prefix(&archive).expect("it is below").to_owned();
        faults.extend(
            planted_in(&below.display().to_string())
                .into_iter()
                .map(|_| format!("name: {}", below.display())),
        );
        if path.is_file() && !may_hold_identity(&below) {
            read += 1;
            let text = String::from_utf8_lossy(&std::fs::read(&path).expect("it can be read")).into_owned();
            faults.extend(
                planted_in(&text).into_iter().map(|planted| format!("{}: {planted}", below.display())),
            );
        }
    }
    for folder in ["notices", "out"] {
        for path in paths_below(&ward.folder.path().join(folder)) {
            let name = path.file_name().expect("a name").to_string_lossy().into_owned();
            faults.extend(planted_in(&name).into_iter().map(|_| format!("{folder}: {name}")));
            let is_ours = ["json", "receipt"].iter().any(|ending| name.ends_with(ending));
            if is_ours {
                read += 1;
                let text = std::fs::read_to_string(&path).expect("text");
                faults.extend(planted_in(&text).into_iter().map(|planted| format!("{name}: {planted}")));
            }
        }
    }
    for path in paths_below(&ward.folder.path().join("study")) {
        let bytes = std::fs::read(&path).expect("it can be read");
        let text = format!("{} {}", path.display(), String::from_utf8_lossy(&bytes));
        read += 1;
        faults.extend(planted_in(&text).into_iter().map(|planted| format!("{}: {planted}", path.display())));
    }
    assert!(read >= 13, "only {read} files were looked into");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[cfg(unix)]
#[test]
fn what_holds_identity_beside_the_bundles_is_its_owners() {
    use std::os::unix::fs::PermissionsExt as _;
    let mut ward = Ward { folder: tempfile::tempdir().expect("a temporary folder"), said: Vec::new() };
    ward.write("in/CANARYFILE.hea", HEADER.as_bytes());
    ward.write("in/CANARYFILE.dat", &[1, 0, 2, 0, 3, 0, 4, 0, 5, 0, 6, 0, 7, 0, 8, 0]);
    ward.write("answer", b"received CANARYID");
    ward.run(&format!("archive add --new A in --signing-key key --by clerk-1 --at {AT}"), false, 0);
    let key = ward.run("archive find A --identifier CANARYID", true, 0).stdout[..32].to_owned();
    ward.run(
        &format!("archive acknowledge A {key} --revision 1 --receipt answer --by clerk-1 --at {AT}"),
        false,
        0,
    );
    let mode = |path: PathBuf| path.metadata().expect("it is there").permissions().mode() & 0o777;
    let archive = ward.folder.path().join("A");
    assert_eq!(mode(archive.join("catalogue.sqlite")), 0o600);
    assert_eq!(mode(ward.folder.path().join("key")), 0o600);
    let answers = paths_below(&archive.join("answers"));
    assert_eq!(answers.len(), 1);
    assert_eq!(mode(answers[0].clone()), 0o600);
}
