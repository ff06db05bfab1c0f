//! Identity taken out: strings of the 18 classes of 45 CFR 164.514(b)(2)(i) are planted in every field of the model that
//! holds free text, in names and in what only a file can hold, in every format; none may be found in any output, name
//! or message, in whatever encoding. And what must stay stays.

use std::fs;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use ecgkeep::archive::{self, Acting};
use ecgkeep::deidentify::Dates;
use ecgkeep::format::{Folder, Format, Limits, Options};
use ecgkeep::recording::{Recording, Sex};
use ecgkeep::{Conversion, Deidentifier, FORMATS, PageForm};
use ecgkeep::{choose, format_by_id, write};
use ecgkeep_demo::{Spec, every_field};
use ecgkeep_tests::program::{Ended, run};
use ecgkeep_tests::repository::root;
use ecgkeep_tests::shape::Shapes;
use serde_json::Value;

/// Every planted string begins so: a format that cuts a text keeps its beginning.
const MARKER: &str = "ZQVWXKEY";

/// An example of each class, (A) to (R); all invented.
const CLASSES: [&str; 18] = [
    "Wren Aldous",
    "14 Fennick Row, Larkmoor 03821",
    "1947-08-23",
    "+1 555 010 0199",
    "fax +1 555 010 0198",
    "wren.aldous@larkmoor.example",
    "078-05-1120",
    "LM-204417",
    "plan 73-1180-4",
    "account 88-2201",
    "licence LM-N-031",
    "plate FNK 417",
    "serial FW-00718",
    "https://larkmoor.example/p/204417",
    "192.0.2.41",
    "voiceprint 5be1",
    "photo IMG_0417",
    "ORD-88-2201",
];

/// Dates of the planted recordings, in the spellings in which a format may hold them.
const DATES: &[&[u8]] = &[
    b"1947-08-23",
    b"19470823",
    b"23/08/1947",
    b"2019-05-17",
    b"20190517",
    b"17/05/2019",
    // SCP-ECG: the year in two bytes, least first, month, day
    &[0x9B, 0x07, 8, 23],
    &[0xE3, 0x07, 5, 17],
];

fn writing() -> impl Iterator<Item = &'static dyn Format> {
    let listed = run(&["formats", "--json"], &root(), b"").stdout;
    let in_this_build: Vec<String> = listed
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).expect("an object a line"))
        .filter(|format| format["in_this_build"] == true && format["writes"] != "")
        .map(|format| format["input"].as_str().expect("an id").to_owned())
        .collect();
    assert!(in_this_build.len() >= 4, "{in_this_build:?}");
    FORMATS.iter().copied().filter(move |format| in_this_build.iter().any(|id| id == format.about().id))
}

/// Every text of the JSON form that may be anything at all, by pointer: found by trying.
fn free_texts(form: &Value) -> Vec<String> {
    let mut pointers = Vec::new();
    walk(form, String::new(), &mut pointers);
    pointers.retain(|pointer| {
        let mut tried = form.clone();
        *tried.pointer_mut(pointer).expect("it was found there") = Value::from(MARKER);
        serde_json::from_value::<Recording>(tried).is_ok()
    });
    pointers
}

fn walk(value: &Value, at: String, pointers: &mut Vec<String>) {
    match value {
        Value::String(_) => pointers.push(at),
        Value::Array(items) => {
            items.iter().enumerate().for_each(|(index, item)| walk(item, format!("{at}/{index}"), pointers));
        }
        Value::Object(members) => {
            for (name, member) in members {
                walk(member, format!("{at}/{}", name.replace('~', "~0").replace('/', "~1")), pointers);
            }
        }
        _ => {}
    }
}

/// A recording with a string of a class in every free text, and how many.
fn planted(class: usize) -> (Recording, usize) {
    let mut recording = every_field();
    recording.subject.sex = Some(Sex::Other("own word".to_owned()));
    recording.subject.birth_date = "1947-08-23".parse().ok();
    recording.acquisition.start = "2019-05-17T03:04:05.67+01:00".parse().expect("a civil time");
    recording.statements[0].at = Some(recording.acquisition.start);
    let mut form = serde_json::to_value(recording).expect("the model has a JSON form");
    let pointers = free_texts(&form);
    for (number, pointer) in pointers.iter().enumerate() {
        let text = format!("{MARKER}{class:02}N{number:03} {}", CLASSES[class]);
        *form.pointer_mut(pointer).expect("it was found there") = Value::from(text);
    }
    (serde_json::from_value(form).expect("each text was tried"), pointers.len())
}

/// Writes the planted recordings in every format, under names that are planted, too; how many strings that were.
fn plant(folder: &Path) -> usize {
    plant_some(folder, |_, _| true)
}

/// The same for some classes and formats.
fn plant_some(folder: &Path, taken: impl Fn(usize, &dyn Format) -> bool) -> usize {
    let mut count = 0;
    for (class, example) in CLASSES.iter().enumerate() {
        let (recording, strings) = planted(class);
        let below = folder.join(format!("{MARKER} {example}").replace('/', "_"));
        fs::create_dir_all(&below).expect("a folder is made");
        for format in writing() {
            if !taken(class, format) {
                continue;
            }
            let stem = format!("{MARKER}_{}_{class}", format.about().id);
            let written = write(format, std::slice::from_ref(&recording), &stem, &Options::default())
                .unwrap_or_else(|error| panic!("{}: {error}", format.about().id));
            for mut file in written.files {
                // what no field of the model holds
                if file.name.ends_with(".hea") {
                    file.bytes.extend(format!("# {MARKER} {example}\n").bytes());
                }
                if let Some(text) =
                    std::str::from_utf8(&file.bytes).ok().filter(|text| text.starts_with("<?xml"))
                {
                    file.bytes = format!("{text}<!-- {MARKER} {example} -->\n").into_bytes();
                }
                fs::write(below.join(file.name), file.bytes).expect("a file is written");
            }
            count += strings + 3;
        }
    }
    count
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).expect("a folder can be listed");
    let paths = entries.map(|entry| entry.expect("can be listed").path());
    paths.flat_map(|path| if path.is_dir() { files(&path) } else { vec![path] }).collect()
}

/// What of the planted things stands in these bytes.
fn found(bytes: &[u8]) -> Vec<String> {
    let mut found = found_plain(bytes);
    found.extend(
        inflated(bytes).iter().flat_map(|bytes| found_plain(bytes)).map(|what| format!("packed {what}")),
    );
    found
}

fn found_plain(bytes: &[u8]) -> Vec<String> {
    let upper = bytes.to_ascii_uppercase();
    let marker = MARKER.as_bytes();
    let wide = |low: usize| marker.iter().flat_map(|b| if low == 0 { [*b, 0] } else { [0, *b] }).collect();
    let hex: String = marker.iter().map(|byte| format!("{byte:02X}")).collect();
    let spelt: Vec<(&str, Vec<u8>)> = vec![
        ("text", marker.to_vec()),
        ("UTF-16 text", wide(0)),
        ("UTF-16 text, big end first", wide(1)),
        ("hexadecimal digits", hex.into_bytes()),
    ];
    let mut found: Vec<String> = spelt
        .iter()
        .filter(|(_, pattern)| holds(&upper, pattern))
        .map(|(what, _)| (*what).to_owned())
        .collect();
    let encoded = (0..3).any(|before| holds(bytes, base64_of_marker(before).as_bytes()));
    found.extend(encoded.then(|| "base64".to_owned()));
    // numbers in a list of bytes, as the JSON form writes them
    let list: Vec<String> = marker.iter().map(u8::to_string).collect();
    found.extend(holds(bytes, list.join(",").as_bytes()).then(|| "list of bytes".to_owned()));
    found.extend(DATES.iter().filter(|date| holds(bytes, date)).map(|date| format!("date {date:?}")));
    found
}

fn holds(bytes: &[u8], pattern: &[u8]) -> bool {
    bytes.windows(pattern.len()).any(|window| window == pattern)
}

/// The digits that the marker has in base64 (RFC 4648, section 4), whatever stands before and after it.
fn base64_of_marker(before: usize) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let bits: Vec<u8> = std::iter::repeat_n(0, before)
        .chain(MARKER.bytes())
        .flat_map(|byte| (0..8).rev().map(move |bit| byte >> bit & 1))
        .collect();
    let digits =
        bits.chunks_exact(6).map(|six| six.iter().fold(0, |value, bit| value * 2 + usize::from(*bit)));
    let text: String = digits.map(|digit| char::from(DIGITS[digit])).collect();
    text[(before * 8).div_ceil(6)..].to_owned()
}

/// Whatever in the bytes is packed with zlib (RFC 1950), unpacked.
fn inflated(bytes: &[u8]) -> Vec<Vec<u8>> {
    let is_head = |pair: &[u8]| pair[0] == 0x78 && (u16::from(pair[0]) * 256 + u16::from(pair[1])) % 31 == 0;
    let heads = bytes.windows(2).enumerate().filter(|(_, pair)| is_head(pair));
    heads
        .filter_map(|(at, _)| {
            let mut unpacked = Vec::new();
            let read = flate2::read::ZlibDecoder::new(&bytes[at..]).take(1 << 22).read_to_end(&mut unpacked);
            (read.is_ok() || unpacked.len() > 16).then_some(unpacked)
        })
        .collect()
}

fn faults_of(ended: &Ended, what: &str) -> Vec<String> {
    let said = [&ended.stdout, &ended.stderr].map(|text| found(text.as_bytes())).concat();
    said.into_iter().map(|found| format!("{what}: messages hold {found}")).collect()
}

fn key_file(folder: &Path) {
    let path = folder.join("key");
    fs::write(&path, (0..32).collect::<Vec<u8>>()).expect("a key is written");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).expect("a mode is set");
    }
}

fn convert(folder: &Path, arguments: &str) -> Ended {
    let arguments: Vec<&str> = ["convert"].into_iter().chain(arguments.split(' ')).collect();
    run(&arguments, folder, b"")
}

#[test]
fn no_planted_string_is_in_any_output_name_or_message() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let count = plant(&folder.path().join("in"));
    assert!(count >= 2000, "only {count} strings are planted");
    println!("{count} strings planted");
    key_file(folder.path());
    let inputs = CLASSES.len() * writing().count();
    let mut faults = Vec::new();
    for format in writing() {
        let id = format.about().id;
        for (name, arguments) in [
            ("table", "--pseudonym-table table"),
            ("keyed", "--pseudonym-key key"),
            ("year", "--pseudonym-key key --dates year --json"),
        ] {
            let into = format!("{name}-{id}");
            let ended =
                convert(folder.path(), &format!("in --to {id} --into {into} --deidentify {arguments}"));
            assert_eq!(ended.code, Some(0), "{}", ended.stderr);
            faults.extend(faults_of(&ended, &into));
            let written = files(&folder.path().join(&into));
            assert!(written.len() > inputs, "{into}: {} files", written.len());
            for path in written {
                let below = path.strip_prefix(folder.path()).expect("it lies below").display().to_string();
                faults.extend(found(below.as_bytes()).iter().map(|what| format!("the name {below}: {what}")));
                let bytes = fs::read(&path).expect("a file can be read");
                faults.extend(found(&bytes).iter().map(|what| format!("{below}: {what}")));
            }
        }
    }
    assert!(faults.is_empty(), "{} leaks:\n{}", faults.len(), faults[..faults.len().min(40)].join("\n"));

    // the same search finds what is not taken out
    for format in writing() {
        let id = format.about().id;
        let ended = convert(folder.path(), &format!("in --to {id} --into plain-{id}"));
        assert_eq!(ended.code, Some(0), "{}", ended.stderr);
        let leaks = files(&folder.path().join(format!("plain-{id}"))).into_iter().any(|path| {
            let ends = path.extension().is_some_and(|ending| ending != "jsonl" && ending != "dat");
            ends && !found(&fs::read(path).expect("a file can be read")).is_empty()
        });
        assert!(
            leaks && !faults_of(&ended, id).is_empty(),
            "{id}: the search finds nothing where all is kept"
        );
    }
}

/// What a person supplied beside a source, and a correction: planted as well.
const FILING: &str = r#"
at = "2019-05-17T14:20:00+01:00"
supplied_by = { name = { text = "ZQVWXKEY nurse" } }
test_recording = true
[subject]
identifiers = [{ value = "ZQVWXKEY-88" }]
name = { text = "ZQVWXKEY Other" }
birth_date = "1947-08-23"
"#;

/// An archive of planted recordings: each class in one format, one class in all; one with a filing, one corrected. The
/// keys, and how many strings are planted.
fn planted_archive(folder: &Path) -> (Vec<String>, usize) {
    let all: Vec<&str> = writing().map(|format| format.about().id).collect();
    let count = plant_some(&folder.join("in"), |class, format| {
        class == 0 || all[class % all.len()] == format.about().id
    });
    key_file(folder);
    fs::write(folder.join("right.toml"), FILING.replace("test_recording = true\n", "")).expect("written");
    let of_filing =
        files(&folder.join("in")).into_iter().find(|path| path.extension().is_some_and(|e| e == "xml"));
    let of_filing = of_filing.expect("an aECG document").with_extension("filing.toml");
    fs::write(&of_filing, FILING).expect("written");
    let by = ["--by", "clerk-1", "--at", "2026-03-02T18:00:00Z"];
    let beside = of_filing.parent().expect("a folder").display().to_string();
    let acts: [&[&str]; 1] = [&["archive", "add", "--new", "A", "in", "--filing", &beside]];
    for act in acts {
        let ended = run(&[act, &by].concat(), folder, b"");
        assert_eq!(ended.code, Some(0), "{}", ended.stderr);
    }
    let keys = keys_of(folder);
    let correct =
        ["archive", "correct", "A", &keys[0], "--filing", "right.toml", "--reason", "wrong-patient"];
    let correct = [&correct[..], &["--authorised-by", "lead-2", "--into", "notices"], &by].concat();
    let ended = run(&correct, folder, b"");
    assert_eq!(ended.code, Some(0), "{}", ended.stderr);
    (keys, count)
}

fn keys_of(folder: &Path) -> Vec<String> {
    let listed = run(&["archive", "list", "A", "--json"], folder, b"");
    let listed: Value = serde_json::from_str(&listed.stdout).expect("an object");
    let entries = listed["entries"].as_array().expect("entries").iter();
    entries.map(|entry| entry["key"].as_str().expect("a key").to_owned()).collect()
}

fn journal(folder: &Path) -> Vec<Value> {
    let text = fs::read_to_string(folder.join("A/journal/000000000000.jsonl")).expect("a journal");
    assert_eq!(found(text.as_bytes()), Vec::<String>::new(), "the journal");
    text.lines().map(|line| serde_json::from_str(line).expect("an object a line")).collect()
}

/// Keys, or eight digits of one.
fn keys_in(bytes: &[u8], keys: &[String]) -> Vec<String> {
    keys.iter().filter(|key| holds(bytes, &key.as_bytes()[..8])).map(|key| format!("the key {key}")).collect()
}

#[test]
fn no_planted_string_and_no_key_leaves_an_archive_in_a_copy_without_identity() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let folder = folder.path();
    let (keys, count) = planted_archive(folder);
    println!("{count} strings planted in {} recordings", keys.len());
    assert!(count >= 1000 && keys.len() >= CLASSES.len(), "only {count} strings are planted");
    let unsent = run(&["archive", "list", "A", "--unsent"], folder, b"").stdout;
    let mut faults = Vec::new();
    for (format, page) in writing().zip(["svg", "pdf", "html", "svg", "svg"]) {
        let id = format.about().id;
        for (name, method) in [
            ("table-shifted", "--pseudonym-table table"),
            ("keyed-shifted", "--pseudonym-key key"),
            ("keyed-year", "--pseudonym-key key --dates year --json"),
        ] {
            let into = format!("{name}-{id}");
            let before = journal(folder).len();
            let common = format!(
                "archive export A {} --to {id} --into {into} --deidentify {method} --page {page} --receiver study-7 \
                 --by clerk-1 --at 2026-03-03T09:00:00Z",
                keys.join(" ")
            );
            let ended = run(&common.split(' ').collect::<Vec<_>>(), folder, b"");
            assert_eq!(ended.code, Some(0), "{}", ended.stderr);
            faults.extend(faults_of(&ended, &into));
            let said = [ended.stdout.as_bytes(), ended.stderr.as_bytes()].concat();
            faults.extend(keys_in(&said, &keys).iter().map(|key| format!("{into}: messages hold {key}")));
            let written = files(&folder.join(&into));
            assert!(written.len() >= 2 * keys.len(), "{into}: {} files", written.len());
            for path in &written {
                let below = path.strip_prefix(folder).expect("it lies below").display().to_string();
                let bytes = fs::read(path).expect("a file can be read");
                let mut seen = [found(below.as_bytes()), found(&bytes)].concat();
                seen.extend(keys_in(below.as_bytes(), &keys).into_iter().chain(keys_in(&bytes, &keys)));
                let others = [".zip", ".receipt", ".line.json", ".filing.json"];
                seen.extend(
                    others.iter().filter(|other| below.ends_with(**other)).map(|other| format!("a {other}")),
                );
                faults.extend(seen.iter().map(|what| format!("{below}: {what}")));
            }
            // The journal says that all were copied, for whom and how, and not which copy came of which.
            let lines = journal(folder).split_off(before);
            let mut sorted = keys.clone();
            sorted.sort();
            let told: Vec<&str> = lines.iter().map(|line| line["k"].as_str().unwrap_or_default()).collect();
            assert_eq!(told, sorted, "{into}");
            for line in &lines {
                let members: Vec<&str> =
                    line.as_object().expect("an object").keys().map(String::as_str).collect();
                assert_eq!(members, ["by", "e", "i", "k", "r", "t", "to", "why"], "{line}");
                assert_eq!(
                    (&line["e"], &line["why"], &line["to"]),
                    (&Value::from("deidentified"), &Value::from(name), &Value::from("study-7"))
                );
                assert_eq!(line["t"], "2026-03-03T09:00:00Z");
            }
        }
    }
    assert!(faults.is_empty(), "{} leaks:\n{}", faults.len(), faults[..faults.len().min(40)].join("\n"));
    assert_eq!(
        run(&["archive", "list", "A", "--unsent"], folder, b"").stdout,
        unsent,
        "nothing was handed over"
    );
    let ended = run(&["archive", "verify", "A"], folder, b"");
    assert_eq!(ended.code, Some(0), "{}{}", ended.stdout, ended.stderr);
    // every first page says that its dates are not true, and that of a test recording what it is
    let pages = files(&folder.join("table-shifted-wfdb"));
    let say = |words: &str| {
        let says = |path: &&PathBuf| {
            let is_first = path.file_name().is_some_and(|name| !name.to_string_lossy().contains('-'));
            is_first && fs::read(path).is_ok_and(|bytes| holds(&bytes, format!(">{words}<").as_bytes()))
        };
        pages.iter().filter(says).count()
    };
    assert_eq!((say("DE-IDENTIFIED"), say("TEST RECORDING")), (keys.len(), 1));
    // the same search finds what is not taken out
    let plain =
        ["archive", "export", "A", &keys[1], "--to", "json", "--into", "plain", "--receiver", "ward-3"];
    let plain = run(&[&plain[..], &["--by", "clerk-1"]].concat(), folder, b"");
    assert_eq!(plain.code, Some(0), "{}", plain.stderr);
    let leaks =
        files(&folder.join("plain")).iter().any(|path| !found(&fs::read(path).expect("read")).is_empty());
    assert!(leaks && !keys_in(plain.stdout.as_bytes(), &keys).is_empty());
    the_library_does_the_same(folder, &keys);
}

fn the_library_does_the_same(folder: &Path, keys: &[String]) {
    let at = "2026-03-03T09:00:00Z".parse().expect("a time");
    let program = format!("ecgkeep {}", env!("CARGO_PKG_VERSION"));
    let acting = Acting::new("clerk-1", at, &program).expect("a code");
    let mut kept = archive::open(&folder.join("A")).expect("it opens");
    let catalogue = archive::catalogue(&kept).expect("it opens");
    let deidentifier = Deidentifier::keyed(&folder.join("key"), Dates::Shifted).expect("a key");
    let options = Options::default();
    let conversion = Conversion {
        format: format_by_id("wfdb").expect("a format of the list"),
        options: &options,
        accept_damage: false,
        refuse_losses: false,
        deidentifier: Some(&deidentifier),
        program: &program,
    };
    let mut revisions = Vec::new();
    for key in keys {
        let got = archive::fetch(&kept, &catalogue, key.parse().expect("a key"), None).expect("it is there");
        let copies = archive::copies_without_identity(&got, &conversion, Some(PageForm::Svg), &at);
        for file in copies.expect("it is copied").files {
            let there = fs::read(folder.join("keyed-shifted-wfdb").join(&file.name));
            assert!(there.is_ok_and(|bytes| bytes == file.bytes), "{}", file.name);
        }
        revisions.push((got.key, got.revision));
    }
    let before = kept.size();
    archive::deidentified(&mut kept, &revisions, "study-7", &deidentifier, &acting, None)
        .expect("it is told");
    assert_eq!(kept.size(), before + revisions.len() as u64);
    let plain = Conversion { deidentifier: None, ..conversion };
    let got = archive::fetch(&kept, &catalogue, revisions[0].0, None).expect("it is there");
    let refused =
        archive::copies_without_identity(&got, &plain, None, &at).expect_err("nothing takes identity out");
    assert_eq!(refused.kind(), ecgkeep::format::Kind::Usage);
}

#[test]
fn a_filing_tells_whose_a_recording_is_and_nothing_of_it_goes_out() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let at = folder.path();
    key_file(at);
    let shipped = root().join("examples/larkmoor");
    for name in ["lm10_bare.hea", "lm10_bare.dat", "lm10_bare.filing.toml"] {
        fs::copy(shipped.join(name), at.join(name)).expect("a shipped file is copied");
    }
    let said = |arguments: &str| {
        let ended = run(&arguments.split(' ').collect::<Vec<_>>(), at, b"");
        assert_eq!(ended.code, Some(0), "{arguments}: {}", ended.stderr);
        ended.stdout
    };
    said("seal lm10_bare.hea --filing lm10_bare.filing.toml -o sealed.zip");
    said("archive add --new A lm10_bare.hea --filing lm10_bare.filing.toml --by clerk-1");
    let key = keys_of(at).remove(0);
    let hidden = "--to json --deidentify --pseudonym-key key --into";
    said(&format!("convert lm10_bare.hea {hidden} bare"));
    for (into, input) in [("supplied", "lm10_bare.hea --filing ."), ("sealed", "sealed.zip")] {
        said(&format!("convert {input} {hidden} {into}"));
        assert!(said(&format!("convert {input} {hidden} {into}")).contains("done before"), "{into}");
    }
    said(&format!("archive export A {key} {hidden} exported --receiver study-7 --by clerk-1"));
    fs::create_dir(at.join("one")).expect("a folder is made");
    said("convert sealed.zip -o one/all.json --deidentify --pseudonym-key key");
    let pseudonym = |into: &str| {
        for path in files(&at.join(into)) {
            let text = fs::read_to_string(&path).expect("JSON is text");
            let planted = ["LM-212745", "Ebberfold", "EBBERFOLD", "1969"];
            assert!(planted.iter().all(|word| !text.contains(word)), "{}: {text}", path.display());
        }
        read_all(&at.join(into))[0].subject.identifiers[0].value.clone()
    };
    let supplied = pseudonym("supplied");
    for into in ["sealed", "exported", "one"] {
        assert_eq!(pseudonym(into), supplied, "{into}");
    }
    assert_ne!(pseudonym("bare"), supplied);
    // Somebody else was meant: it is not taken for done.
    let right =
        fs::read_to_string(at.join("lm10_bare.filing.toml")).expect("text").replace("LM-212745", "LM-212754");
    fs::write(at.join("lm10_bare.filing.toml"), right).expect("written");
    said(&format!("convert lm10_bare.hea --filing . {hidden} supplied --overwrite"));
    assert_ne!(pseudonym("supplied"), supplied);
}

#[test]
fn the_search_finds_every_spelling() {
    for (what, bytes) in [
        ("text", b"--zqvwxkey--".to_vec()),
        ("UTF-16 text", "ZQVWXKEY".encode_utf16().flat_map(u16::to_le_bytes).collect()),
        ("UTF-16 text, big end first", "ZQVWXKEY".encode_utf16().flat_map(u16::to_be_bytes).collect()),
        ("hexadecimal digits", b"5a515657584b4559".to_vec()),
        // Python: base64.b64encode(b"ab" + b"ZQVWXKEY" + b"c")
        ("base64", b"YWJaUVZXWEtFWWM=".to_vec()),
        ("list of bytes", b"[90,81,86,87,88,75,69,89]".to_vec()),
    ] {
        assert_eq!(found(&bytes), [what], "{bytes:?}");
    }
    use std::io::Write as _;
    let mut packed = flate2::write::ZlibEncoder::new(vec![1, 2, 0x78], flate2::Compression::default());
    packed.write_all(b"so many words, and ZQVWXKEY among them").expect("memory takes it");
    assert_eq!(found(&packed.finish().expect("it ends")), ["packed text"]);
}

/// The recordings in a folder, read by the library.
fn read_all(folder: &Path) -> Vec<Recording> {
    let mut paths = files(folder);
    paths.sort();
    let mains = paths.iter().filter(|path| {
        let ending = path.extension().unwrap_or_default().to_string_lossy().into_owned();
        FORMATS.iter().any(|format| format.about().endings[0] == ending)
    });
    mains
        .flat_map(|path| {
            let source = Folder::of(path).expect("a file name");
            let format = choose(&source, None).expect("it is recognised");
            format.read(&source, &Limits::default()).expect("it reads").recordings
        })
        .collect()
}

#[test]
fn the_samples_intervals_and_method_stay_in_every_format() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    fs::create_dir(folder.path().join("in")).expect("a folder is made");
    let starts = ["2026-03-02T09:14:05", "2026-03-09T10:00:00"];
    let of = |start: &str| {
        let mut recording = ecgkeep_demo::recording(&Spec { seconds: 1.0, ..Spec::default() }).recording;
        recording.acquisition.start = start.parse().expect("a civil time");
        recording
    };
    for (number, start) in starts.iter().enumerate() {
        let json = format_by_id("json").expect("a format of the list");
        let written =
            write(json, &[of(start)], &format!("r{number}"), &Options::default()).expect("it is written");
        for file in written.files {
            fs::write(folder.path().join("in").join(file.name), file.bytes).expect("a file is written");
        }
    }
    for format in writing() {
        let id = format.about().id;
        let command = format!("in --to {id} --into {id} --deidentify --pseudonym-table table");
        let ended = convert(folder.path(), &command);
        assert_eq!(ended.code, Some(0), "{}", ended.stderr);
        let mut recordings = read_all(&folder.path().join(id));
        assert_eq!(recordings.len(), 2, "{id}");
        recordings.sort_by_key(|recording| recording.acquisition.start.seconds());
        for recording in &recordings {
            assert_eq!(recording.fingerprint(), of(starts[0]).fingerprint(), "{id}: other samples");
            let remarks = recording.acquisition.remarks.join("\n");
            assert!(
                remarks.contains("de-identified by ecgkeep") && remarks.contains("random"),
                "{id}: {remarks}"
            );
            let subject = &recording.subject;
            assert_eq!(subject.identifiers.len(), 1, "{id}");
            assert_eq!(subject.identifiers[0].value, recordings[0].subject.identifiers[0].value, "{id}");
        }
        let seconds = |at: usize| recordings[at].acquisition.start.seconds().expect("a date is there");
        let day = 86_400;
        assert_eq!(seconds(1) - seconds(0), 7 * day + 45 * 60 + 55, "{id}: the interval stays");
        let shift = seconds(0) - of(starts[0]).acquisition.start.seconds().expect("a date is there");
        assert!(shift < 0 && shift % day == 0 && -shift <= 730 * day, "{id}: shifted by {shift} s");
    }
    // a table is a secret, and of the shape that is published
    let table = folder.path().join("table");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        assert_eq!(table.metadata().expect("it is there").permissions().mode() & 0o777, 0o600);
    }
    let shapes = Shapes::of(&root().join("schemas"));
    for line in fs::read_to_string(table).expect("it can be read").lines() {
        let value: Value = serde_json::from_str(line).expect("an object a line");
        assert_eq!(shapes.misfits("pseudonym.schema.json", &value), Vec::<String>::new(), "{line}");
    }
    let as_key = convert(folder.path(), "in --to json --into other --deidentify --pseudonym-key table");
    assert_eq!(as_key.code, Some(2), "{}", as_key.stderr);
    assert!(as_key.stderr.contains("a table of pseudonyms, which is no key"), "{}", as_key.stderr);
    let inside = convert(folder.path(), "in --to json --into out --deidentify --pseudonym-table out/table");
    assert_eq!(inside.code, Some(2), "{}", inside.stderr);
}

#[test]
fn with_a_key_every_run_and_shard_gives_the_same_bytes() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    plant(&folder.path().join("in"));
    key_file(folder.path());
    let common = "in --to json --deidentify --pseudonym-key key --into";
    assert_eq!(convert(folder.path(), &format!("{common} one")).code, Some(0));
    for shard in ["1/2", "2/2"] {
        assert_eq!(convert(folder.path(), &format!("{common} two --shard {shard}")).code, Some(0));
    }
    let names = |folder: &Path| -> Vec<(String, Vec<u8>)> {
        let mut all: Vec<_> = files(folder)
            .into_iter()
            .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
            .map(|path| {
                (
                    path.file_name().expect("a name").to_string_lossy().into_owned(),
                    fs::read(&path).expect("read"),
                )
            })
            .collect();
        all.sort();
        all
    };
    let one = names(&folder.path().join("one"));
    assert!(one.len() >= 18 && one == names(&folder.path().join("two")));
    let again = convert(folder.path(), &format!("{common} one"));
    assert!(again.stderr.contains("0 converted"), "{}", again.stderr);
    let kept = again.stdout.lines().all(|line| line.contains("(identity taken out, "));
    assert!(kept && !again.stdout.contains("listed"), "{}", again.stdout);
}
