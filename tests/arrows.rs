//! The house rules: which crate may depend on which, what each must never do, and what lies at the top level.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use ecgkeep_tests::repository::{root, tracked_files};
use serde_json::Value;

/// The crates of ours that a crate may depend on. One that is not listed is a format: [`FORMAT`].
const ARROWS: &[(&str, &[&str])] = &[
    // level 0
    ("ecgkeep-recording", &[]),
    // level 1
    ("ecgkeep-format", &["ecgkeep-recording"]),
    ("ecgkeep-checks", &["ecgkeep-recording"]),
    ("ecgkeep-deidentify", &["ecgkeep-recording"]),
    ("ecgkeep-demo", &["ecgkeep-recording"]),
    // level 2, beside the formats
    ("ecgkeep-bundle", &["ecgkeep-format"]),
    ("ecgkeep-report", &["ecgkeep-recording", "ecgkeep-checks"]),
    // level 3
    ("ecgkeep-archive", &["ecgkeep-recording", "ecgkeep-format", "ecgkeep-bundle"]),
    // level 4: everything below but the synthetic recordings, see `facade`
    ("ecgkeep", &[]),
    // level 5
    ("ecgkeep-cli", &["ecgkeep"]),
];

/// What a format depends on.
const FORMAT: &[&str] = &["ecgkeep-recording", "ecgkeep-format"];

/// What the facade does not depend on.
const NOT_IN_THE_FACADE: &[&str] = &["ecgkeep", "ecgkeep-cli", "ecgkeep-demo"];

/// What lies at the top level, hidden files aside.
const TOP_LEVEL: &[&str] = &[
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE-APACHE",
    "LICENSE-MIT",
    "README.md",
    "crates",
    "examples",
    "fixtures",
    "schemas",
    "tests",
];

/// Words that stand in no source, with the crates that may use them all the same.
const NEVER: &[(&[&str], &[&str], &str)] = &[
    (
        &["println!", "eprintln!", "print!(", "eprint!("],
        &["ecgkeep-cli"],
        "only the program prints: return the value, or a note beside it",
    ),
    (
        &["std::fs", "fs::File", "std::net", "std::process", "std::env", "io::stdin"],
        &["ecgkeep-cli", "ecgkeep", "ecgkeep-format", "ecgkeep-archive"],
        "bytes come through a Source and go out as values",
    ),
    (
        &["SystemTime::now", "Instant::now", "Zoned::now", "Timestamp::now"],
        &["ecgkeep-cli"],
        "only the program reads the clock: take the time as an argument",
    ),
    (
        &["todo!", "unimplemented!", "dbg!", "#[ignore", "#[allow(", "unsafe {"],
        &[],
        "finish it, or use expect",
    ),
];

struct Package {
    folder: PathBuf,
    version: String,
    /// Normal dependencies on crates of ours.
    ours: BTreeSet<String>,
}

/// The packages under `crates`, by name, and all members of the workspace.
fn packages() -> (BTreeMap<String, Package>, BTreeMap<String, Package>) {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| env!("CARGO").into());
    let output = Command::new(cargo)
        .args(["metadata", "--format-version", "1", "--no-deps", "--offline"])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let metadata: Value = serde_json::from_slice(&output.stdout).expect("cargo metadata is JSON");
    let all: BTreeMap<String, Package> = list(&metadata["packages"]).iter().map(package).collect();
    let is_crate =
        |package: &Package| package.folder.parent().is_some_and(|parent| parent.ends_with("crates"));
    let (crates, others) = all.into_iter().partition(|(_, package)| is_crate(package));
    (crates, others)
}

fn package(value: &Value) -> (String, Package) {
    let normal = list(&value["dependencies"]).iter().filter(|dependency| dependency["kind"].is_null());
    let ours = normal.map(|dependency| text(&dependency["name"])).filter(|name| name.starts_with("ecgkeep"));
    let manifest = PathBuf::from(text(&value["manifest_path"]));
    let folder = manifest.parent().map(Path::to_owned).unwrap_or_default();
    (text(&value["name"]), Package { folder, version: text(&value["version"]), ours: ours.collect() })
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map(Vec::as_slice).unwrap_or_default()
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

fn allowed<'a>(name: &str, crates: &'a BTreeMap<String, Package>) -> BTreeSet<&'a str> {
    let names = crates.keys().map(String::as_str);
    if name == "ecgkeep" {
        return names.filter(|name| !NOT_IN_THE_FACADE.contains(name)).collect();
    }
    let listed = ARROWS.iter().find(|(listed, _)| *listed == name).map_or(FORMAT, |(_, allowed)| allowed);
    names.filter(|name| listed.contains(name)).collect()
}

#[test]
fn the_arrows_point_down() {
    let (crates, _) = packages();
    assert!(crates.len() >= 12, "only {} crates were found", crates.len());
    for (name, package) in &crates {
        let allowed = allowed(name, &crates);
        let wrong: Vec<&String> =
            package.ours.iter().filter(|other| !allowed.contains(other.as_str())).collect();
        assert!(wrong.is_empty(), "{name} must not depend on {wrong:?}; it may on {allowed:?}");
    }
}

#[test]
fn a_crate_is_its_folder_and_all_have_one_version() {
    let (crates, others) = packages();
    for (name, package) in crates.iter().chain(&others) {
        let manifest = std::fs::read_to_string(package.folder.join("Cargo.toml")).expect("a manifest");
        assert_eq!(package.version, crates["ecgkeep"].version, "{name}");
        assert!(manifest.contains("version.workspace = true"), "{name}: the version is the workspace's");
        assert!(manifest.contains("[lints]\nworkspace = true\n"), "{name}: the lints are the workspace's");
    }
    for (name, package) in &crates {
        assert!(package.folder.ends_with(name), "{name} lies in {}", package.folder.display());
    }
    let workspace = std::fs::read_to_string(root().join("Cargo.toml")).expect("a manifest");
    assert!(workspace.contains("unsafe_code = \"forbid\""));
}

#[test]
fn the_top_level_holds_what_the_plan_names() {
    let Some(files) = tracked_files() else {
        println!("skipped: the top level: this is no git checkout");
        return;
    };
    let names = files.iter().map(|file| file.split('/').next().unwrap_or_default());
    let found: BTreeSet<&str> = names.filter(|name| !name.starts_with('.')).collect();
    assert_eq!(found, TOP_LEVEL.iter().copied().collect());
}

#[test]
fn no_source_prints_opens_files_or_reads_the_clock_but_where_it_may() {
    let (crates, _) = packages();
    let mut faults = Vec::new();
    for (name, package) in &crates {
        for path in rust_files(&package.folder.join("src")) {
            let source = std::fs::read_to_string(&path).expect("a source is text");
            for (line, code) in code_lines(&source) {
                faults.extend(
                    forbidden(name, code).map(|why| format!("{}, line {line}: {why}", path.display())),
                );
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Why a line of a crate's source may not stand there.
fn forbidden<'a>(name: &'a str, code: &'a str) -> impl Iterator<Item = String> + 'a {
    let rules = NEVER.iter().filter(move |(_, except, _)| !except.contains(&name));
    rules.flat_map(move |(words, _, why)| {
        words.iter().filter(|word| code.contains(**word)).map(move |word| format!("{word}: {why}"))
    })
}

/// The lines of a source with their numbers, without comments and without the tests at its end.
fn code_lines(source: &str) -> impl Iterator<Item = (usize, &str)> {
    let lines = source.lines().zip(1..).map(|(line, number)| (number, line.trim_start()));
    lines.take_while(|(_, line)| *line != "#[cfg(test)]").filter(|(_, line)| !line.starts_with("//"))
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).expect("a folder of sources") {
        let path = entry.expect("can be listed").path();
        if path.is_dir() {
            found.extend(rust_files(&path));
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

#[test]
fn the_rules_find_what_they_forbid() {
    let found = |name: &str, code: &str| forbidden(name, code).count();
    assert_eq!(found("ecgkeep-wfdb", "    println!(\"x\");"), 1);
    assert_eq!(found("ecgkeep-cli", "println!(\"x\")"), 0);
    assert_eq!(found("ecgkeep-json", "std::fs::read(path)"), 1);
    assert_eq!(found("ecgkeep-checks", "let now = Instant::now();"), 1);
    assert_eq!(found("ecgkeep", "std::fs::read(path); todo!()"), 1);
    let source = "use a;\n    // std::fs\n#[cfg(test)]\nmod tests { std::fs }\n";
    assert_eq!(code_lines(source).collect::<Vec<_>>(), [(1, "use a;")]);

    let package = || Package { folder: PathBuf::new(), version: String::new(), ours: BTreeSet::new() };
    let names =
        ["ecgkeep-recording", "ecgkeep-format", "ecgkeep-wfdb", "ecgkeep-new", "ecgkeep-demo", "ecgkeep"];
    let crates: BTreeMap<String, Package> =
        names.iter().map(|name| ((*name).to_owned(), package())).collect();
    assert!(!allowed("ecgkeep-new", &crates).contains("ecgkeep-wfdb"), "a format knows no other format");
    assert!(
        allowed("ecgkeep", &crates).contains("ecgkeep-new")
            && !allowed("ecgkeep", &crates).contains("ecgkeep-demo")
    );
    assert_eq!(allowed("ecgkeep-cli", &crates), BTreeSet::from(["ecgkeep"]));
}
