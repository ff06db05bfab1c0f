//! Many recordings in one call: nothing is converted twice, nothing is half written, whatever interrupts it.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use ecgkeep::format::{Kind, Limits, Memory, Options};
use ecgkeep::recording::{Recording, differences};
use ecgkeep::{Conversion, FORMATS, Found, Input, Part, choose, format_by_id, write};
use ecgkeep_demo::Spec;
use ecgkeep_tests::program::{Ended, program, run};
use ecgkeep_tests::repository::root;
use ecgkeep_tests::shape::Shapes;
use serde_json::Value;

/// A recording of one second, apart from the others in its samples.
fn recording(seed: u64) -> Recording {
    ecgkeep_demo::recording(&Spec { seed, seconds: 1.0, ..Spec::default() }).recording
}

fn put(folder: &Path, stem: &str, format: &str, recording: &Recording) {
    fs::create_dir_all(folder).expect("a folder is made");
    let format = format_by_id(format).expect("a format of the list");
    let written = write(format, std::slice::from_ref(recording), stem, &Options::default());
    for file in written.expect("it is written").files {
        fs::write(folder.join(file.name), file.bytes).expect("a file is written");
    }
}

/// `count` recordings in `in`, in folders of ten, in the formats by turns.
fn make_inputs(folder: &Path, count: u64) {
    for number in 0..count {
        let formats = ["wfdb", "json", "scp", "aecg"];
        let format = formats[usize::try_from(number % 4).expect("below 4")];
        put(
            &folder.join(format!("in/ward {}", number / 10)),
            &format!("r{number}"),
            format,
            &recording(number),
        );
    }
}

/// Every file below a folder with its bytes, but the lists of what was done.
fn tree(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    collect(folder, folder, &mut found);
    found
}

fn collect(root: &Path, folder: &Path, found: &mut BTreeMap<PathBuf, Vec<u8>>) {
    for entry in fs::read_dir(folder).into_iter().flatten() {
        let path = entry.expect("can be listed").path();
        if path.is_dir() {
            collect(root, &path, found);
        } else if path.extension().is_none_or(|ending| ending != "jsonl") {
            let below = path.strip_prefix(root).expect("it lies below").to_owned();
            found.insert(below, fs::read(&path).expect("a file can be read"));
        }
    }
}

fn convert(folder: &Path, arguments: &str) -> Ended {
    let arguments: Vec<&str> = ["convert"].into_iter().chain(arguments.split(' ')).collect();
    run(&arguments, folder, b"")
}

fn summary(ended: &Ended) -> &str {
    ended.stderr.lines().last().unwrap_or_default()
}

#[test]
fn where_nobody_reads_what_is_printed_the_work_is_done_all_the_same() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    make_inputs(folder.path(), 40);
    let unread = |arguments: &str| {
        let mut child = Command::new(program())
            .args(arguments.split(' '))
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        drop(child.stdout.take());
        child.wait().expect("the program ends").code()
    };
    assert_eq!(unread("convert in --to json --into out"), Some(0));
    assert_eq!(tree(&folder.path().join("out")).len(), 40);
    assert_eq!(unread("seal in --into sealed"), Some(0));
    assert_eq!(tree(&folder.path().join("sealed")).len(), 40);
    assert_eq!(unread("convert in nothing-there.scp --to json --into again"), Some(7));
}

#[test]
fn killed_half_way_and_run_again_the_result_is_the_same_set_of_bytes() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    make_inputs(folder.path(), 80);
    let whole = convert(folder.path(), "in --to wfdb --into whole");
    assert_eq!(whole.code, Some(0), "{}", whole.stderr);
    let expected = tree(&folder.path().join("whole"));
    assert!(expected.len() >= 160, "{} files", expected.len());

    let list = folder.path().join("out/converted.jsonl");
    let done = || fs::read(&list).map_or(0, |text| text.iter().filter(|byte| **byte == b'\n').count());
    let mut kills = 0;
    for enough in [8, 30, 55] {
        let mut child = Command::new(program())
            .args(["convert", "in", "--to", "wfdb", "--into", "out"])
            .current_dir(folder.path())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        while done() < enough && child.try_wait().expect("it can be asked").is_none() {
            std::thread::yield_now();
        }
        // `kill` is SIGKILL: no handler runs
        child.kill().expect("it can be killed");
        kills += usize::from(child.wait().expect("it ends").code().is_none());
    }
    assert!(kills > 0, "every run ended before it could be killed");
    // a file that was being written when the power went, and a line
    fs::write(folder.path().join("out/.ecgkeep-left"), "half").expect("a file is written");
    let text = fs::read(&list).expect("the list is there");
    fs::write(&list, &text[..text.len() - 5]).expect("the list is cut");

    let again = convert(folder.path(), "in --to wfdb --into out");
    assert_eq!(again.code, Some(0), "{}", again.stderr);
    assert!(summary(&again).contains("done before"), "{}", summary(&again));
    let really = tree(&folder.path().join("out"));
    assert!(really == expected, "other files: {:?}", really.keys().collect::<Vec<_>>());

    let third = convert(folder.path(), "in --to wfdb --into out");
    assert_eq!(summary(&third), "ecgkeep: 80 inputs: 0 converted, 80 done before");
    assert_eq!(third.stdout.lines().count(), 80);
}

#[test]
fn a_changed_source_and_a_changed_or_missing_output_are_converted_again() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let at = |path: &str| folder.path().join(path);
    for number in 0..4 {
        put(&at("in"), &format!("r{number}"), "json", &recording(number));
    }
    let command = "in --to wfdb --into out";
    let first = convert(folder.path(), command);
    assert_eq!(summary(&first), "ecgkeep: 4 inputs: 4 converted", "{}", first.stderr);
    let expected = tree(&at("out"));

    put(&at("in"), "r0", "json", &recording(77));
    fs::remove_file(at("out/r1.dat")).expect("a file is removed");
    fs::write(at("out/r2.hea"), "somebody wrote this").expect("a file is written");
    let second = convert(folder.path(), command);
    assert_eq!(second.code, Some(0), "{}", second.stderr);
    assert_eq!(summary(&second), "ecgkeep: 4 inputs: 3 converted, 1 done before");
    assert!(second.stderr.contains("out/r2.hea was changed since it was written: written anew"));
    let really = tree(&at("out"));
    for (path, bytes) in &expected {
        // The header holds the sums of the signals.
        let is_changed = path.starts_with("r0.dat") || path.starts_with("r0.hea");
        assert_eq!(really[path] != *bytes, is_changed, "{}", path.display());
    }
    // other options are another result
    let third = convert(folder.path(), "in --to wfdb --into out --option storage=24");
    assert_eq!(summary(&third), "ecgkeep: 4 inputs: 4 converted", "{}", third.stderr);
}

#[test]
fn a_file_of_somebody_else_is_never_replaced_unless_asked() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    put(&folder.path().join("in"), "r", "json", &recording(1));
    fs::create_dir(folder.path().join("out")).expect("a folder is made");
    fs::write(folder.path().join("out/r.hea"), "mine").expect("a file is written");
    let refused = convert(folder.path(), "in --to wfdb --into out");
    assert_eq!(refused.code, Some(7), "{}", refused.stderr);
    assert_eq!(fs::read(folder.path().join("out/r.hea")).expect("it is there"), b"mine");
    assert!(!folder.path().join("out/r.dat").exists(), "nothing is begun");
    let asked = convert(folder.path(), "in --to wfdb --into out --overwrite");
    assert_eq!(asked.code, Some(0), "{}", asked.stderr);
}

#[test]
fn what_an_earlier_version_wrote_and_this_one_does_not_is_removed() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let spec = Spec { seconds: 1.0, with_marks: true, ..Spec::default() };
    put(&folder.path().join("in"), "r", "json", &ecgkeep_demo::recording(&spec).recording);
    assert_eq!(convert(folder.path(), "in --to wfdb --into out").code, Some(0));
    let marks = |names: &BTreeMap<PathBuf, Vec<u8>>| names.len() > 2;
    assert!(marks(&tree(&folder.path().join("out"))), "annotations are a file of their own");
    put(&folder.path().join("in"), "r", "json", &recording(3));
    let second = convert(folder.path(), "in --to wfdb --into out");
    assert!(second.stderr.contains("is not written any more: removed"), "{}", second.stderr);
    assert!(!marks(&tree(&folder.path().join("out"))));
}

#[test]
fn two_formats_in_one_folder_leave_each_other_alone() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    put(&folder.path().join("in"), "r", "json", &recording(1));
    for format in ["scp", "wfdb", "scp"] {
        let ended = convert(folder.path(), &format!("in --to {format} --into out"));
        assert_eq!(ended.code, Some(0), "{}", ended.stderr);
    }
    let names: Vec<PathBuf> = tree(&folder.path().join("out")).into_keys().collect();
    assert_eq!(names, ["r.dat", "r.hea", "r.scp"].map(PathBuf::from));
}

#[test]
fn colliding_names_stop_it_before_anything_is_written() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    put(&folder.path().join("in"), "r", "json", &recording(1));
    put(&folder.path().join("in"), "r", "wfdb", &recording(2));
    let refused = convert(folder.path(), "in --to scp --into out");
    assert_eq!(refused.code, Some(2), "{}", refused.stderr);
    let text = &refused.stderr;
    assert!(text.contains("in/r.hea") && text.contains("in/r.json"), "{text}");
    assert!(!folder.path().join("out").exists());
}

#[test]
fn refused_losses_leave_nothing_behind() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    put(&folder.path().join("in"), "full", "json", &ecgkeep_demo::every_field());
    let refused = convert(folder.path(), "in --to wfdb --into out --losses refuse");
    assert_eq!(refused.code, Some(5), "{}", refused.stderr);
    assert!(!folder.path().join("out").exists());
    // what was done with losses listed is not done where they are refused
    assert_eq!(convert(folder.path(), "in --to wfdb --into out").code, Some(0));
    assert_eq!(convert(folder.path(), "in --to wfdb --into out --losses refuse").code, Some(5));
}

#[test]
fn counted_losses_say_how_many_and_once_which_fields() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for name in ["one", "two"] {
        put(&folder.path().join("in"), name, "json", &ecgkeep_demo::every_field());
    }
    put(&folder.path().join("in"), "plain", "json", &recording(1));
    let listed = convert(folder.path(), "in --to wfdb --into listed --json");
    let each: Vec<Vec<String>> = listed.stdout.lines().map(losses).collect();
    let fields = each.iter().flatten().filter_map(|loss| loss.split([':', ',']).next());
    let fields: std::collections::BTreeSet<&str> = fields.collect();
    let counted = convert(folder.path(), "in --to wfdb --into counted --losses count");
    assert_eq!(counted.code, Some(0), "{}", counted.stderr);
    let lines: Vec<&str> = counted.stderr.lines().filter(|line| line.contains("not kept")).collect();
    assert!(!lines.is_empty() && lines.iter().all(|line| line.contains(" of 3 inputs: ")), "{lines:?}");
    let told: std::collections::BTreeSet<&str> =
        lines.iter().filter_map(|line| line.split("inputs: ").nth(1)).collect();
    assert_eq!(told, fields);
    let most = each.iter().map(Vec::len).max().unwrap_or(0);
    assert!(counted.stdout.contains(&format!("({most} losses)")), "{}", counted.stdout);
    // --json names them all the same
    let json = convert(folder.path(), "in --to wfdb --into again --losses count --json");
    assert_eq!(json.stdout.lines().map(losses).collect::<Vec<_>>(), each);
}

/// The losses that a line of JSON names.
fn losses(line: &str) -> Vec<String> {
    let line: Value = serde_json::from_str(line).expect("a line of JSON");
    let losses = line["losses"].as_array().expect("a list");
    losses.iter().map(|loss| loss.as_str().expect("a text").to_owned()).collect()
}

#[test]
fn one_input_that_fails_never_stops_the_rest() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for number in 0..6 {
        put(&folder.path().join("in"), &format!("r{number}"), "wfdb", &recording(number));
    }
    let signals = folder.path().join("in/r2.dat");
    let bytes = fs::read(&signals).expect("the signal file is there");
    fs::write(&signals, &bytes[..bytes.len() / 2]).expect("the signal file is cut");
    let ended = convert(folder.path(), "in --to json --into out --json");
    assert_eq!(ended.code, Some(3), "{}", ended.stderr);
    let exits: Vec<Value> = ended
        .stdout
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).expect("an object a line")["exit"].clone())
        .collect();
    assert_eq!(exits, [0, 0, 3, 0, 0, 0]);
    assert_eq!(
        summary(&ended),
        "ecgkeep: 6 inputs: 5 converted, 1 failed with exit 3 (input malformed or truncated)"
    );
}

#[test]
fn a_list_and_shards_do_what_one_run_does() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    make_inputs(folder.path(), 12);
    assert_eq!(convert(folder.path(), "in --to json --into whole").code, Some(0));
    let inputs: Vec<String> = convert(folder.path(), "in --to json --into whole --json")
        .stdout
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).expect("an object a line")["input"].clone())
        .map(|input| input.as_str().expect("a path").to_owned())
        .collect();
    fs::write(folder.path().join("list"), inputs.join("\n")).expect("a list is written");
    let mut counts = Vec::new();
    for shard in ["1/3", "3/3", "2/3", "2/3"] {
        let ended =
            convert(folder.path(), &format!("--manifest list --to json --into shards --shard {shard}"));
        assert_eq!(ended.code, Some(0), "{}", ended.stderr);
        counts.push(ended.stdout.lines().count());
        let is_again = counts.len() == 4;
        assert_eq!(summary(&ended).contains("4 done before"), is_again, "{}", summary(&ended));
    }
    assert_eq!(counts, [4, 4, 4, 4]);
    let below = |path: &str| tree(&folder.path().join(path));
    // a list mirrors the paths as they stand in it
    assert_eq!(below("shards/in"), below("whole"));

    let digests: Vec<String> = inputs
        .iter()
        .enumerate()
        .map(|(index, path)| {
            let digest = ecgkeep_sha256(&fs::read(folder.path().join(path)).expect("an input"));
            let digest = if index == 5 { "0".repeat(64) } else { digest };
            serde_json::json!({"index": index, "path": path, "sha256": digest}).to_string()
        })
        .collect();
    fs::write(folder.path().join("list.jsonl"), digests.join("\n")).expect("a list is written");
    let ended = convert(folder.path(), "--manifest list.jsonl --to scp --into digests");
    assert_eq!(ended.code, Some(6), "{}", ended.stderr);
    assert!(
        ended.stderr.contains(&inputs[5]) && summary(&ended).contains("1 failed with exit 6"),
        "{}",
        ended.stderr
    );
    assert_eq!(ended.stdout.lines().count(), 11);

    let shapes = Shapes::of(&root().join("schemas"));
    for (list, schema) in [("list.jsonl", "manifest"), ("shards/converted-1-of-3.jsonl", "converted")] {
        for line in fs::read_to_string(folder.path().join(list)).expect("a list").lines() {
            let value: Value = serde_json::from_str(line).expect("an object a line");
            assert_eq!(
                shapes.misfits(&format!("{schema}.schema.json"), &value),
                Vec::<String>::new(),
                "{line}"
            );
        }
    }
}

fn ecgkeep_sha256(bytes: &[u8]) -> String {
    use sha2::{Digest as _, Sha256};
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

#[test]
fn the_output_folder_is_no_input() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    put(folder.path(), "r", "wfdb", &recording(1));
    for expected in ["ecgkeep: 1 input: 1 converted", "ecgkeep: 1 input: 0 converted, 1 done before"] {
        let ended = convert(folder.path(), ". --to json --into out");
        assert_eq!(summary(&ended), expected, "{}", ended.stderr);
    }
}

/// Runs the program where the output folder lies on a file system of 400 kB, and keeps what is left there in `kept`.
const ON_A_SMALL_DISK: &str = r#"
mkdir full kept
mount -t tmpfs -o size=400k none full 2>/dev/null || exit 99
"$1" convert in --to wfdb --into full/out 2>errors
code=$?
cp -r full/. kept
exit $code
"#;

#[test]
fn a_full_disk_leaves_no_half_file_and_what_was_finished() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for number in 0..8 {
        let spec = Spec { seed: number, ..Spec::default() };
        put(
            &folder.path().join("in"),
            &format!("r{number}"),
            "scp",
            &ecgkeep_demo::recording(&spec).recording,
        );
    }
    assert_eq!(convert(folder.path(), "in --to wfdb --into whole").code, Some(0));
    let own_mounts = ["--mount", "--map-root-user", "sh", "-c", ON_A_SMALL_DISK, "sh"];
    let ended = Command::new("unshare").args(own_mounts).arg(program()).current_dir(folder.path()).output();
    let code = match ended.map(|output| output.status.code()) {
        Ok(Some(code @ (0 | 3..=8 | 101))) => code,
        other => {
            println!("skipped: a full disk: no small file system can be mounted here ({other:?})");
            return;
        }
    };
    let errors = fs::read_to_string(folder.path().join("errors")).expect("standard error was kept");
    assert_eq!(code, 7, "{errors}");
    assert!(errors.contains("free some space"), "{errors}");
    let (whole, kept) = (tree(&folder.path().join("whole")), tree(&folder.path().join("kept/out")));
    let records = kept.keys().filter(|path| path.extension().is_some_and(|ending| ending == "hea")).count();
    assert!((1..8).contains(&records), "{records} records fit: {:?}", kept.keys().collect::<Vec<_>>());
    for (path, bytes) in &kept {
        assert!(whole.get(path) == Some(bytes), "{} is not whole", path.display());
        assert!(kept.contains_key(&path.with_extension("hea")), "{} has no header", path.display());
    }
}

/// Files of a folder as parts of one file.
fn parts(conversion: &Conversion<'_>, folder: &Path, names: &[&str]) -> Vec<Part> {
    let part = |name: &&str| {
        let path = folder.join(name);
        let opened = Input::at(&path).expect("it is there").read(None, &Limits::default()).expect("it reads");
        conversion.part(&Found::new(path, (*name).into(), 1), opened, None).expect("it is whole")
    };
    names.iter().map(part).collect()
}

fn conversion<'a>(format: &str, options: &'a Options) -> Conversion<'a> {
    Conversion {
        format: format_by_id(format).expect("a format of the list"),
        options,
        accept_damage: false,
        refuse_losses: false,
        deidentifier: None,
        program: "test",
    }
}

/// In every format that holds many, and this build writes.
#[test]
fn many_files_become_one_that_says_where_each_is() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    put(folder.path(), "a", "wfdb", &recording(1));
    put(folder.path(), "b", "json", &recording(2));
    put(folder.path(), "c", "aecg", &recording(3));
    let options = Options::default();
    let mut seen = 0;
    for format in FORMATS.iter().filter(|format| format.holds_many() && format.available().is_ok()) {
        let conversion = conversion(format.about().id, &options);
        let parts = parts(&conversion, folder.path(), &["c.xml", "a.hea", "b.json"]);
        assert!(conversion.misfit(&parts).is_none());
        let made = conversion.together(parts, "all").expect("it is written");
        let places: Vec<_> = made.parts.iter().map(|part| part.recordings.clone()).collect();
        assert_eq!(places, [0..1, 1..2, 2..3]);
        let name = made.files[0].name.clone();
        let source = Memory::new(&name, made.files);
        let read = choose(&source, None).expect("recognised").read(&source, &Limits::default());
        let read = read.expect("it reads").recordings;
        let prints: Vec<_> = read.iter().map(Recording::fingerprint).collect();
        assert_eq!(prints, [3, 1, 2].map(|seed| recording(seed).fingerprint()));
        assert!(differences(&read[2], &recording(2)).is_empty(), "JSON keeps everything, and so do these");
        seen += 1;
    }
    assert_eq!(seen, if cfg!(feature = "hdf5") { 2 } else { 1 });
    let conversion = conversion("scp", &options);
    let refused = conversion.together(parts(&conversion, folder.path(), &["a.hea", "b.json"]), "all");
    assert_eq!(refused.expect_err("a record holds one").kind(), Kind::Usage);
}

#[cfg(feature = "hdf5")]
#[test]
fn a_stack_of_many_files_names_the_first_that_differs_and_carries_no_identity() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let longer = ecgkeep_demo::recording(&Spec { seed: 3, seconds: 2.0, ..Spec::default() }).recording;
    put(folder.path(), "a", "wfdb", &recording(1));
    put(folder.path(), "b", "json", &recording(2));
    put(folder.path(), "c", "json", &longer);
    put(folder.path(), "d", "json", &longer);
    let options = Options::default().with("stack", "without-identity");
    let conversion = conversion("hdf5", &options);
    let all = parts(&conversion, folder.path(), &["a.hea", "b.json", "c.json", "d.json"]);
    let misfit = conversion.misfit(&all).expect("two are longer");
    assert_eq!((misfit.part, misfit.more, misfit.error.kind()), (2, 1, Kind::Refused));
    assert_eq!(misfit.error.what(), "differs from the first in the number of samples: 1000, not 500");
    let error = conversion.together(all, "all").expect_err("they do not go together");
    assert!(error.what().starts_with("recording 3 differs from the first in the number"), "{error}");

    let made = conversion.together(parts(&conversion, folder.path(), &["a.hea", "b.json"]), "all");
    let made = made.expect("these go together");
    let family = recording(1).subject.name.family.expect("a name");
    let bytes = &made.files[0].bytes;
    assert!(!bytes.windows(family.len()).any(|window| window == family.as_bytes()));
    for part in &made.parts {
        assert!(
            part.losses.iter().any(|loss| loss.to_string().starts_with("patient name")),
            "{:?}",
            part.losses
        );
    }
}
