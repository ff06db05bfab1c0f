//! What the program prints, word for word: the transcripts in `tests/cli`, and the shapes of its JSON.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use ecgkeep_tests::program::Ended;
use ecgkeep_tests::repository::root;
use ecgkeep_tests::shape::Shapes;
use ecgkeep_tests::transcript::{Step, matches, parse, print, replay, with_placeholders};
use serde_json::Value;

fn transcripts() -> Vec<PathBuf> {
    let listed = std::fs::read_dir(root().join("tests/cli")).expect("the transcripts are here");
    let mut files: Vec<PathBuf> = listed.map(|entry| entry.expect("can be listed").path()).collect();
    files.retain(|path| path.extension().is_some_and(|ending| ending == "txt"));
    files.sort();
    files
}

fn steps_of(path: &Path) -> Vec<Step> {
    let text = std::fs::read_to_string(path).expect("a transcript is text");
    parse(&text).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// A transcript and what really came of its steps.
struct Replayed {
    path: PathBuf,
    steps: Vec<(Step, Option<Ended>)>,
}

/// Every transcript, run once for all tests.
fn all_replayed() -> &'static [Replayed] {
    static ALL: OnceLock<Vec<Replayed>> = OnceLock::new();
    ALL.get_or_init(|| {
        std::thread::scope(|scope| {
            let run = |path: PathBuf| scope.spawn(move || Replayed { steps: replayed(&path), path });
            let running: Vec<_> = transcripts().into_iter().map(run).collect();
            running.into_iter().map(|thread| thread.join().expect("a transcript can be run")).collect()
        })
    })
}

/// Runs a transcript in a fresh copy of the invented clinic's files.
fn replayed(path: &Path) -> Vec<(Step, Option<Ended>)> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    copy_folder(&root().join("examples/larkmoor"), folder.path());
    if path.file_name().is_some_and(|name| name.to_string_lossy().starts_with("archive")) {
        let beside = folder.path().join("beside");
        std::fs::create_dir(&beside).expect("a folder is made");
        copy_folder(&root().join("examples/archive"), &beside);
    }
    replay(&steps_of(path), folder.path()).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn copy_folder(from: &Path, to: &Path) {
    for entry in std::fs::read_dir(from).expect("the files of the invented clinic are here") {
        let entry = entry.expect("can be listed");
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            std::fs::create_dir(&target).expect("a folder is made");
            copy_folder(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), &target).expect("a file is copied");
        }
    }
}

/// `ECGKEEP_RENEW=1` writes the transcripts anew, to be read before they are committed.
#[test]
fn the_program_does_what_the_transcripts_say() {
    let renew = std::env::var_os("ECGKEEP_RENEW").is_some();
    let mut faults = Vec::new();
    for Replayed { path, steps } in all_replayed() {
        let expected = steps_of(path);
        let mut really: Vec<Step> = steps.iter().map(|(step, _)| step.clone()).collect();
        if renew {
            for line in really.iter_mut().flat_map(|step| step.out.iter_mut().chain(&mut step.err)) {
                *line = with_placeholders(line);
            }
            std::fs::write(path, print(&really)).expect("a transcript is written");
        } else if really != expected {
            let (expected, really) = (print(&expected), print(&really));
            faults.push(format!("{}:\n{}", path.display(), first_difference(&expected, &really)));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n\n"));
}

fn first_difference(expected: &str, really: &str) -> String {
    let apart = expected.lines().zip(really.lines()).take_while(|(a, b)| a == b).count();
    let some = |text: &str| {
        text.lines()
            .skip(apart.saturating_sub(2))
            .take(12)
            .map(|line| format!("  {line}\n"))
            .collect::<String>()
    };
    format!("line {}, expected\n{}really\n{}", apart + 1, some(expected), some(really))
}

#[test]
fn completions_and_manual_know_every_command() {
    let help = ecgkeep_tests::program::run(&["--help"], &root(), b"").stdout;
    let completions = ecgkeep_tests::program::run(&["completions", "bash"], &root(), b"");
    assert_eq!(completions.code, Some(0), "{}", completions.stderr);
    for command in commands_of_the_help(&help).into_iter().filter(|command| *command != "help") {
        assert!(completions.stdout.contains(command), "completions: {command}");
        let page = ecgkeep_tests::program::run(&["manual", command], &root(), b"");
        assert_eq!(page.code, Some(0), "{command}: {}", page.stderr);
        assert!(
            page.stdout.starts_with(".ie") || page.stdout.contains(".TH"),
            "manual {command}: {}",
            page.stdout
        );
    }
}

#[test]
fn every_command_and_every_exit_code_is_shown() {
    let steps: Vec<Step> = transcripts().iter().flat_map(|path| steps_of(path)).collect();
    let of_program = |step: &&Step| step.command.starts_with("ecgkeep ");
    let exits: BTreeSet<i32> = steps.iter().filter(of_program).map(|step| step.exit).collect();
    assert!((0..=7).all(|code| exits.contains(&code)), "exit codes shown: {exits:?}");
    let help = ecgkeep_tests::program::run(&["--help"], &root(), b"").stdout;
    let commands: Vec<&str> = commands_of_the_help(&help);
    assert!(commands.len() >= 11, "{commands:?}");
    let help = ecgkeep_tests::program::run(&["archive", "--help"], &root(), b"").stdout;
    let acts: Vec<String> = commands_of_the_help(&help).iter().map(|act| format!("archive {act}")).collect();
    assert!(acts.len() >= 18, "{acts:?}");
    for act in &acts {
        for json in [false, true] {
            let begins = |step: &&Step| step.command.starts_with(&format!("ecgkeep {act} "));
            let shown = steps.iter().filter(begins).any(|step| step.command.contains("--json") == json);
            assert!(shown, "no transcript shows {act}, --json: {json}");
        }
    }
    // What these two print is long; the test below holds it to the commands.
    let generated = ["completions", "manual"];
    for command in commands.into_iter().filter(|command| !generated.contains(command)) {
        for json in [false, true] {
            let shown = steps.iter().filter(of_program).any(|step| {
                step.command.split(' ').nth(1) == Some(command) && step.command.contains("--json") == json
            });
            assert!(shown, "no transcript shows {command}, --json: {json}");
        }
    }
}

fn commands_of_the_help(help: &str) -> Vec<&str> {
    let lines =
        help.lines().skip_while(|line| *line != "Commands:").skip(1).take_while(|line| !line.is_empty());
    let names = lines.filter_map(|line| line.strip_prefix("  ").filter(|line| !line.starts_with(' ')));
    names.filter_map(|line| line.split(' ').next()).filter(|name| *name != "help").collect()
}

#[test]
fn json_output_is_an_object_a_line_of_the_shape_it_names() {
    let shapes = Shapes::of(&root().join("schemas"));
    let mut seen = BTreeSet::new();
    for Replayed { path, steps } in all_replayed() {
        for (step, ended) in steps {
            let Some(ended) = ended.as_ref().filter(|_| step.command.contains("--json")) else { continue };
            let at = format!("{}: $ {}", path.display(), step.command);
            assert!(ended.code == Some(2) || !ended.stdout.is_empty(), "{at}: no object");
            for line in ended.stdout.lines() {
                seen.insert(fits_the_shape_it_names(&shapes, line, &at));
            }
        }
    }
    // what is printed says how it ended; what bundles hold does not
    let printed = shapes.iter().filter(|(_, schema)| schema.pointer("/properties/exit").is_some());
    let unseen: Vec<&str> = printed.map(|(name, _)| name).filter(|name| !seen.contains(*name)).collect();
    assert!(unseen.is_empty(), "no transcript shows {unseen:?}");
}

/// The file name of the schema.
fn fits_the_shape_it_names(shapes: &Shapes, line: &str, at: &str) -> String {
    let value: Value = serde_json::from_str(line).unwrap_or_else(|error| panic!("{at}: {error}: {line}"));
    let shape = value["schema"].as_str().unwrap_or_else(|| panic!("{at}: no schema is named: {line}"));
    let first = line.trim_start_matches(['{', ' ', '\n']);
    assert!(first.starts_with("\"schema\""), "{at}: schema is not the first member: {line}");
    let name = shape.trim_start_matches("ecgkeep-").split('/').next().unwrap_or_default();
    let file = format!("{name}.schema.json");
    assert_eq!(shapes.misfits(&file, &value), Vec::<String>::new(), "{at}: {line}");
    file
}

#[test]
fn the_json_in_a_bundle_is_of_the_shape_it_names() {
    let shapes = Shapes::of(&root().join("schemas"));
    let folder = tempfile::tempdir().expect("a temporary folder");
    copy_folder(&root().join("examples/larkmoor"), folder.path());
    let run = |arguments: &[&str]| {
        let ended = ecgkeep_tests::program::run(arguments, folder.path(), b"");
        assert_eq!(ended.code, Some(0), "{arguments:?}: {}", ended.stderr);
    };
    let at = "2026-03-02T18:00:00+01:00";
    run(&["convert", "lm10_bare.hea", "bare.json"]);
    std::fs::copy(folder.path().join("lm10_bare.filing.toml"), folder.path().join("bare.filing.toml"))
        .expect("the filing is there");
    let mut seen = BTreeSet::new();
    for (input, filing) in [("bare.json", Some("bare.filing.toml")), ("lm01_faultless.hea", None)] {
        let filing: Vec<&str> = filing.into_iter().flat_map(|filing| ["--filing", filing]).collect();
        run(&[&["seal", input, "-o", "sealed.zip", "--overwrite", "--at", at], filing.as_slice()].concat());
        run(&["unpack", "sealed.zip", "--into", input.split('.').next().unwrap_or(input)]);
        let tops = std::fs::read_dir(folder.path().join(input.split('.').next().unwrap_or(input)));
        let top = tops.expect("unpacked").next().expect("one folder").expect("can be listed").path();
        for entry in std::fs::read_dir(top.join("metadata")).expect("a bundle has metadata") {
            let path = entry.expect("can be listed").path();
            let (name, text) =
                (path.display().to_string(), std::fs::read_to_string(&path).unwrap_or_default());
            if name.ends_with(".jsonl") {
                seen.extend(text.lines().map(|line| fits_the_shape_it_names(&shapes, line, &name)));
            } else if name.ends_with("filing.json") {
                let value: Value = serde_json::from_str(&text).expect("a filing is JSON");
                assert_eq!(shapes.misfits("filing.schema.json", &value), Vec::<String>::new(), "{text}");
                seen.insert("filing.schema.json".to_owned());
            } else if name.ends_with(".json") {
                seen.insert(fits_the_shape_it_names(&shapes, &text, &name));
            }
        }
    }
    seen.extend(shapes_of_an_archive(&shapes));
    // tests/batch.rs and tests/identity.rs hold these against their schemas
    let of_batches = ["converted.schema.json", "manifest.schema.json", "pseudonym.schema.json"];
    seen.extend(of_batches.map(str::to_owned));
    let kept = shapes.iter().filter(|(_, schema)| schema.pointer("/properties/exit").is_none());
    let unseen: Vec<&str> = kept.map(|(name, _)| name).filter(|name| !seen.contains(*name)).collect();
    assert!(unseen.is_empty(), "no bundle holds {unseen:?}");
}

/// Everything in JSON or TOML that an archive and its acts write: a correction, a notice, a quarantine, a register.
fn shapes_of_an_archive(shapes: &Shapes) -> BTreeSet<String> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    copy_folder(&root().join("examples/larkmoor"), folder.path());
    copy_folder(&root().join("examples/archive"), folder.path());
    let schedule = "schema = \"ecgkeep-schedule/1\"\nname = \"days\"\neffective_from = \"2026-03-01\"\n\
        reviewed_by = \"board\"\n[[rule]]\nid = \"days-1\"\nfrom = \"recorded\"\ndays = 1\ncitation = \"invented\"\n";
    std::fs::write(folder.path().join("days.toml"), schedule).expect("a schedule is written");
    std::fs::write(folder.path().join("broken.hea"), "broken 1 500 x\n").expect("a broken header is written");
    let run = |command: &str, exit: i32| {
        let words: Vec<&str> = command.split(' ').collect();
        let ended = ecgkeep_tests::program::run(&words, folder.path(), b"");
        assert_eq!(ended.code, Some(exit), "{command}: {}", ended.stderr);
        ended.stdout
    };
    let by = "--by clerk-1 --at 2026-03-02T18:00:00Z";
    let out = run(&format!("archive add --new A lm01_faultless.hea broken.hea {by}"), 3);
    let keys: Vec<&str> = out.lines().filter_map(|line| line.rsplit(": ").next()?.get(..32)).collect();
    let [key, waiting] = keys.as_slice() else { panic!("{out}") };
    run(&format!("archive export A {key} --into out --receiver ward-3 {by}"), 0);
    let right = "--filing wrong-patient.filing.toml --reason wrong-patient --authorised-by lead-2";
    run(&format!("archive correct A {key} {right} --into notices {by}"), 0);
    run(&format!("archive get A {key} --original -o r2.zip {by}"), 0);
    run("unpack r2.zip --into r2", 0);
    let waiting = format!("A/quarantine/{}/{}/{waiting}.q1.zip", &waiting[..2], &waiting[2..4]);
    run(&format!("unpack {waiting} --into q1"), 0);
    run(&format!("archive schedule A --adopt days.toml --authorised-by board {by}"), 0);
    for name in ["one", "two"] {
        run(&format!("archive keys --make {name}.key --name {name}"), 0);
        run(&format!("archive keys A --admit {name}.key.pub {by}"), 0);
    }
    let later = "--at 2026-04-01T10:00:00Z";
    run(&format!("archive destroy A {key} --rule days-1 --write request {later}"), 0);
    run("archive destroy A --sign request --with one.key", 0);
    run("archive destroy A --sign request --with two.key", 0);
    run(&format!("archive destroy A --perform request --by clerk-1 {later}"), 0);

    let mut seen = BTreeSet::new();
    let mut look = |path: PathBuf| {
        let text =
            std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        for line in if path.extension().is_some_and(|ending| ending == "jsonl") {
            text.lines().collect()
        } else {
            vec![text.as_str()]
        } {
            seen.insert(fits_the_shape_it_names(shapes, line, &path.display().to_string()));
        }
    };
    let only = |below: &str| {
        let mut listed = std::fs::read_dir(folder.path().join(below)).expect("a folder");
        listed.next().expect("not empty").expect("can be listed").path()
    };
    look(only("r2").join("metadata/amendments.json"));
    look(only("q1").join("metadata/quarantine.json"));
    look(only("notices"));
    look(folder.path().join("A/register.jsonl"));
    for text in
        [schedule, &std::fs::read_to_string(root().join("examples/archive/schedule.toml")).expect("text")]
    {
        let value: Value = toml::from_str(text).expect("a schedule is TOML");
        assert_eq!(shapes.misfits("schedule.schema.json", &value), Vec::<String>::new(), "{text}");
        seen.insert("schedule.schema.json".to_owned());
    }
    seen
}

#[test]
fn a_placeholder_stands_for_what_it_says_and_nothing_else() {
    let digest = "0123456789abcdef".repeat(4);
    assert!(matches("a <sha256> b", &format!("a {digest} b")));
    assert!(!matches("a <sha256> b", &format!("a {}g b", &digest[1..])));
    assert!(matches("<number> bytes", "12 bytes") && !matches("<number> bytes", "x bytes"));
    assert!(matches("a <...> <b>", "a x y <b>") && !matches("a <...> c", "a x y z"));
    assert!(!matches("plain", "plain ") && matches("", "") && !matches("", "x"));
    assert_eq!(with_placeholders(&format!("{digest}, {digest}0 0a")), format!("<sha256>, {digest}0 0a"));
    let text = "# remark\n$ ecgkeep x\nexit 3\nout| a\nout|\nerr| b\n$ flip a 1\n";
    assert_eq!(print(&parse(text).expect("a transcript")), text);
    assert!(parse("out| before any command").is_err() && parse("$ a\nwhat").is_err());
}
