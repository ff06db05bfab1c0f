//! That the documents say what the program does, and that nothing in the repository speaks of a machine.

use std::collections::BTreeSet;

use ecgkeep_tests::repository::{root, tracked_files};

fn document(name: &str) -> String {
    std::fs::read_to_string(root().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// What stands between `<!-- name -->` and `<!-- /name -->`.
fn between<'a>(text: &'a str, name: &str) -> Option<&'a str> {
    let (_, rest) = text.split_once(&format!("<!-- {name} -->"))?;
    Some(rest.split_once(&format!("<!-- /{name} -->"))?.0.trim())
}

/// The same with its line breaks; empty where there are no markers.
fn raw_between<'a>(text: &'a str, name: &str) -> &'a str {
    let rest = text.split_once(&format!("<!-- {name} -->")).map_or("", |(_, rest)| rest);
    rest.split_once(&format!("<!-- /{name} -->")).map_or("", |(raw, _)| raw)
}

/// Tables that the program makes: the document, the markers around the table, and the table.
fn made_tables() -> Vec<(&'static str, &'static str, String)> {
    vec![
        ("README.md", "formats", ecgkeep::format_table()),
        ("README.md", "carries", format!("\n{}", ecgkeep::carries_table())),
        ("schemas/carries.md", "reasons", ecgkeep::carries_list()),
        ("schemas/deidentification.md", "rules", ecgkeep::deidentify::rules_table()),
    ]
}

#[test]
fn the_tables_in_the_documents_are_those_of_the_program() {
    let mut faults = Vec::new();
    for (name, markers, made) in made_tables() {
        let text = document(name);
        let shown = between(&text, markers)
            .unwrap_or_else(|| panic!("{name} has no markers <!-- {markers} --> <!-- /{markers} -->"));
        if std::env::var_os("ECGKEEP_RENEW").is_some() {
            let (begin, end) = (format!("<!-- {markers} -->"), format!("<!-- /{markers} -->"));
            let old = format!("{begin}{}{end}", raw_between(&text, markers));
            let renewed = text.replace(&old, &format!("{begin}\n{made}{end}"));
            std::fs::write(root().join(name), renewed).expect("a document can be written");
        } else if shown != made.trim() {
            faults.push(format!(
                "{name}, {markers}: ECGKEEP_RENEW=1 cargo test -p ecgkeep-tests --test docs renews it"
            ));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Rows `| 3 | meaning |` of tables whose first column is a number.
fn exit_rows(text: &str) -> Vec<(u8, String)> {
    let cells = |line: &str| -> Vec<String> { line.split('|').map(|cell| cell.trim().to_owned()).collect() };
    text.lines()
        .filter_map(|line| match cells(line).as_slice() {
            [first, code, meaning, ..] if first.is_empty() => Some((code.parse().ok()?, meaning.clone())),
            _ => None,
        })
        .collect()
}

/// The lines below `Exit codes:` in the program's help, joined where they were wrapped.
fn exit_codes_of_the_help(help: &str) -> Vec<(u8, String)> {
    let mut codes: Vec<(u8, String)> = Vec::new();
    for line in help.lines().skip_while(|line| *line != "Exit codes:").skip(1) {
        let (code, meaning) = line.trim().split_once(' ').unwrap_or_default();
        match code.parse() {
            Ok(code) => codes.push((code, meaning.trim().to_owned())),
            Err(_) => {
                if let Some((_, last)) = codes.last_mut() {
                    *last = format!("{last} {}", line.trim());
                }
            }
        }
    }
    codes
}

#[test]
fn the_exit_codes_in_the_documents_are_those_of_the_program() {
    let help = ecgkeep_tests::program::run(&["--help"], &root(), b"");
    let codes = exit_codes_of_the_help(&help.stdout);
    assert!(codes.len() >= 9, "the help lists the exit codes: {codes:?}");
    for name in ["README.md", "DEVELOPERS.md"] {
        let text = document(name);
        let rows = between(&text, "exit codes").map(exit_rows).unwrap_or_default();
        let pointed = name == "DEVELOPERS.md" && rows.is_empty();
        assert!(pointed || rows == codes, "{name}: {rows:?}, the program has {codes:?}");
    }
}

#[test]
fn every_fixture_has_a_source() {
    let Some(files) = tracked_files() else {
        println!("skipped: sources of fixtures: this is no git checkout");
        return;
    };
    let of_fixtures = files.iter().filter_map(|file| file.strip_prefix("fixtures/"));
    let folders: BTreeSet<(&str, &str)> = of_fixtures
        .filter_map(|file| file.split_once('/'))
        .filter(|(_, rest)| *rest != "SOURCES.md")
        .map(|(format, rest)| (format, rest.split_once('/').map_or("", |(folder, _)| folder)))
        .collect();
    assert!(!folders.is_empty());
    for (format, folder) in folders {
        let sources = document(&format!("fixtures/{format}/SOURCES.md"));
        let named = folder.is_empty()
            || sources.lines().any(|text| text.starts_with(['-', '|']) && text.contains(folder));
        assert!(named, "fixtures/{format}/SOURCES.md has no line for {folder}");
    }
}

/// Absolute folders of one machine; a file that really needs one says so here.
const MACHINE_PATHS: &[&str] = &[
    concat!("/", "work/"),
    concat!("/", "home/"),
    concat!("/", "root/"),
    concat!("/", "tmp/"),
    concat!("/usr/", "local/"),
    concat!("C:\\", "Users\\"),
];

/// Hosts that serve packages; how to build needs none of their names.
const REGISTRY_HOSTS: &[&str] =
    &[concat!("crates", ".io/"), concat!("pypi", ".org"), concat!("python", "hosted"), concat!("npm", "js.")];

/// Files that name one of them all the same, as data.
const EXCEPT: &[&str] = &["Cargo.lock"];

#[test]
fn no_file_speaks_of_a_machine_or_a_registry() {
    let Some(files) = tracked_files() else {
        println!("skipped: paths in files: this is no git checkout");
        return;
    };
    let mut faults = Vec::new();
    for name in files.iter().filter(|name| !EXCEPT.contains(&name.as_str())) {
        // what is no text cannot be read as such; what was deleted and not committed yet is gone
        let Ok(text) = std::fs::read_to_string(root().join(name)) else { continue };
        for (line, number) in text.lines().zip(1..) {
            faults.extend(speaks_of_a_machine(line).map(|what| format!("{name}, line {number}: {what}")));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

fn speaks_of_a_machine(line: &str) -> Option<&'static str> {
    let hosts = REGISTRY_HOSTS.iter().find(|host| line.contains(**host));
    let stands_alone = |path: &&&str| {
        line.match_indices(**path).any(|(at, _)| {
            // `target/tmp/` or `a/home/b` is no absolute path
            !line[..at]
                .ends_with(|before: char| before.is_alphanumeric() || matches!(before, '.' | '_' | '}' | ')'))
        })
    };
    hosts.or_else(|| MACHINE_PATHS.iter().find(stands_alone)).copied()
}

#[test]
fn a_path_of_a_machine_is_found() {
    assert_eq!(speaks_of_a_machine(concat!("see /", "home/somebody/file")), Some(concat!("/", "home/")));
    assert_eq!(speaks_of_a_machine(concat!("open(\"/", "tmp/x\")")), Some(concat!("/", "tmp/")));
    assert_eq!(speaks_of_a_machine("target/tmp/x and ../shared"), None);
    assert_eq!(between("a <!-- x -->\nb\n<!-- /x --> c", "x"), Some("b"));
    assert_eq!(exit_rows("| exit | meaning |\n|---|---|\n| 3 | bad |"), [(3, "bad".to_owned())]);
    let help = "Exit codes:\n  0 done\n  1 only from\n    check";
    assert_eq!(exit_codes_of_the_help(help), [(0, "done".to_owned()), (1, "only from check".to_owned())]);
}
