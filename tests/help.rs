//! That the help of every command holds an example, and that every example works as it stands.

use std::path::Path;
use std::process::Command;

use ecgkeep_tests::program::{program, run};
use ecgkeep_tests::repository::root;

/// The words of every command that takes no further command, found in the help itself.
fn commands(words: &[String]) -> Vec<Vec<String>> {
    let help = help(words);
    let mut below: Vec<String> = Vec::new();
    for line in
        help.lines().skip_while(|line| *line != "Commands:").skip(1).take_while(|line| !line.is_empty())
    {
        // a line that goes on is indented further
        let name = line.strip_prefix("  ").filter(|line| !line.starts_with(' '));
        below.extend(name.and_then(|line| line.split(' ').next()).map(str::to_owned));
    }
    below.retain(|name| name != "help");
    if below.is_empty() {
        return vec![words.to_vec()];
    }
    below.into_iter().flat_map(|name| commands(&[words, &[name][..]].concat())).collect()
}

fn help(words: &[String]) -> String {
    let arguments: Vec<&str> = words.iter().map(String::as_str).chain(["--help"]).collect();
    run(&arguments, &root(), b"").stdout
}

/// The indented lines below `Example:`, up to a line that is none; what is piped on is left out.
fn examples(help: &str) -> Vec<String> {
    let below = help.lines().skip_while(|line| !line.starts_with("Example")).skip(1);
    let mut examples: Vec<String> = Vec::new();
    for line in below.map_while(|line| line.strip_prefix("  ")) {
        let line = line.split(" | ").next().unwrap_or_default();
        match examples.last_mut().filter(|begun| begun.ends_with('\\')) {
            Some(begun) => *begun = format!("{begun}\n{line}"),
            None => examples.push(line.to_owned()),
        }
    }
    examples
}

/// What the examples of a command find in the folder: the files of the invented clinic; for the archive's commands, an
/// archive of them and what lies beside.
fn set(folder: &Path, words: &[String]) {
    for entry in std::fs::read_dir(root().join("examples/larkmoor")).expect("the files are here") {
        let entry = entry.expect("can be listed");
        std::fs::copy(entry.path(), folder.join(entry.file_name())).expect("a file is copied");
    }
    if words.first().is_none_or(|word| word != "archive") {
        return;
    }
    let beside = root().join("examples/archive");
    for (from, to) in [("schedule.toml", "schedule.toml"), ("wrong-patient.filing.toml", "right.toml")] {
        std::fs::copy(beside.join(from), folder.join(to)).expect("a file is copied");
    }
    if words != ["archive", "add"] {
        let made = shell(folder, "ecgkeep archive add --new archive . --filing . --by clerk-1");
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    }
}

/// A copy of the files of the invented clinic, with a shell in it that finds the program.
fn shell(folder: &Path, line: &str) -> std::process::Output {
    let own = program().parent().expect("the program lies in a folder");
    let path = format!("{}:{}", own.display(), std::env::var("PATH").unwrap_or_default());
    Command::new("sh")
        .args(["-c", line])
        .current_dir(folder)
        .env("PATH", path)
        .output()
        .expect("a shell runs")
}

#[test]
fn every_command_has_an_example_that_works() {
    let commands = commands(&[]);
    assert!(commands.len() >= 13, "{commands:?}");
    let mut faults = Vec::new();
    for words in commands {
        let folder = tempfile::tempdir().expect("a temporary folder");
        set(folder.path(), &words);
        let examples = examples(&help(&words));
        if examples.is_empty() {
            faults.push(format!("{}: no example", words.join(" ")));
        }
        for line in examples {
            let ended = shell(folder.path(), &line);
            // 1 is an answer too
            if !matches!(ended.status.code(), Some(0 | 1)) {
                faults.push(format!("{line}: {}{}", ended.status, String::from_utf8_lossy(&ended.stderr)));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
