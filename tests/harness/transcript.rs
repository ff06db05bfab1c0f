//! Transcripts of the program: commands with their exit code, standard output and standard error, as text files.
//!
//! ```text
//! # what this shows
//! $ ecgkeep detect a.hea < input
//! exit 0
//! out| a line of standard output
//! err| a line of standard error
//! ```
//!
//! The commands of one file run one after another in one folder. `$ flip FILE BYTE`, `$ cut FILE BYTES`,
//! `$ copy FROM TO`, `$ remove FILE`, `$ private FILE` (mode 0600), `$ write FILE TEXT` (`[nl]` is a line feed) and
//! `$ append FILE TEXT` (a further line) prepare it. In an expected line, `<sha256>` stands for 64 hexadecimal
//! digits, `<key>` for 32 of them, `<version>` for the version of the program, `<number>` for digits and `<...>` for anything.

use std::fmt::Write as _;
use std::path::Path;

use crate::program::{Ended, run};

/// One command of a transcript.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Step {
    /// Lines before it.
    pub remarks: Vec<String>,
    /// The words of the command.
    pub command: String,
    /// The expected exit code.
    pub exit: i32,
    /// The expected lines of standard output.
    pub out: Vec<String>,
    /// The expected lines of standard error.
    pub err: Vec<String>,
}

/// Reads a transcript.
/// # Errors
/// The line that is none.
pub fn parse(text: &str) -> Result<Vec<Step>, String> {
    let mut steps: Vec<Step> = Vec::new();
    let mut remarks = Vec::new();
    for (line, number) in text.lines().zip(1..) {
        if let Some(command) = line.strip_prefix("$ ") {
            let remarks = std::mem::take(&mut remarks);
            steps.push(Step { remarks, command: command.to_owned(), ..Step::default() });
        } else if line.is_empty() || line.starts_with('#') {
            remarks.push(line.to_owned());
        } else {
            let step = steps.last_mut().ok_or_else(|| format!("line {number} stands before any command"))?;
            match line.split_at_checked(4) {
                Some(("out|", rest)) => step.out.push(rest.strip_prefix(' ').unwrap_or(rest).to_owned()),
                Some(("err|", rest)) => step.err.push(rest.strip_prefix(' ').unwrap_or(rest).to_owned()),
                Some(("exit", code)) => {
                    step.exit = code.trim().parse().map_err(|_| format!("line {number}: no exit code"))?;
                }
                _ => return Err(format!("line {number}: {line}")),
            }
        }
    }
    Ok(steps)
}

/// The text of a transcript.
#[must_use]
pub fn print(steps: &[Step]) -> String {
    let mut text = String::new();
    for step in steps {
        step.remarks.iter().for_each(|remark| {
            let _ = writeln!(text, "{remark}");
        });
        let _ = writeln!(text, "$ {}", step.command);
        if step.command.starts_with("ecgkeep") {
            let _ = writeln!(text, "exit {}", step.exit);
        }
        for (mark, lines) in [("out|", &step.out), ("err|", &step.err)] {
            lines.iter().for_each(|line| {
                let _ = writeln!(text, "{}", format!("{mark} {line}").trim_end());
            });
        }
    }
    text
}

/// Runs the steps in a folder and gives back what really came: expected lines stay as they are where they match.
/// # Errors
/// A command that is none, or that cannot prepare the folder.
pub fn replay(steps: &[Step], folder: &Path) -> Result<Vec<(Step, Option<Ended>)>, String> {
    steps.iter().map(|step| replay_one(step, folder)).collect()
}

fn replay_one(step: &Step, folder: &Path) -> Result<(Step, Option<Ended>), String> {
    if let Some((verb @ ("write" | "append"), rest)) = step.command.split_once(' ') {
        let (file, content) = rest.split_once(' ').ok_or_else(|| format!("$ {}: no text", step.command))?;
        let path = folder.join(file);
        let failed = |error: std::io::Error| format!("{file}: {error}");
        let before =
            if verb == "append" { std::fs::read_to_string(&path).map_err(failed)? } else { String::new() };
        let content = content.replace("[nl]", "\n");
        std::fs::write(&path, format!("{before}{content}\n")).map_err(failed)?;
        return Ok((step.clone(), None));
    }
    let words = words(&step.command);
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let (program, arguments) = words.split_first().ok_or("an empty command")?;
    if *program != "ecgkeep" {
        prepare(program, arguments, folder).map_err(|error| format!("$ {}: {error}", step.command))?;
        return Ok((step.clone(), None));
    }
    let (arguments, stdin) = match arguments {
        [arguments @ .., "<", file] => {
            let bytes = std::fs::read(folder.join(file)).map_err(|error| format!("{file}: {error}"))?;
            (arguments, bytes)
        }
        arguments => (arguments, Vec::new()),
    };
    let ended = run(arguments, folder, &stdin);
    let really = Step {
        exit: ended.code.unwrap_or(-1),
        out: keep_what_matches(&step.out, &ended.stdout),
        err: keep_what_matches(&step.err, &ended.stderr),
        ..step.clone()
    };
    Ok((really, Some(ended)))
}

/// The words of a command line; quotation marks keep blanks together.
fn words(command: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for character in command.chars() {
        match character {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            other => words.last_mut().expect("there is always one").push(other),
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

fn prepare(command: &str, arguments: &[&str], folder: &Path) -> Result<(), String> {
    let at = |name: &str| folder.join(name);
    let text = |error: std::io::Error| error.to_string();
    let number = |text: &str| text.parse::<usize>().map_err(|error| format!("{text}: {error}"));
    match (command, arguments) {
        ("flip", [file, byte]) => {
            let mut bytes = std::fs::read(at(file)).map_err(text)?;
            *bytes.get_mut(number(byte)?).ok_or("shorter than that")? ^= 1;
            std::fs::write(at(file), bytes).map_err(text)
        }
        ("cut", [file, length]) => {
            let bytes = std::fs::read(at(file)).map_err(text)?;
            std::fs::write(at(file), bytes.get(..number(length)?).ok_or("shorter than that")?).map_err(text)
        }
        ("copy", [from, to]) => copy(&at(from), &at(to)).map_err(text),
        ("remove", [path]) => std::fs::remove_file(at(path)).map_err(text),
        #[cfg(unix)]
        ("private", [file]) => {
            use std::os::unix::fs::PermissionsExt as _;
            std::fs::set_permissions(at(file), std::fs::Permissions::from_mode(0o600)).map_err(text)
        }
        _ => Err("no command of a transcript".to_owned()),
    }
}

/// A file, or a folder with all that is in it.
fn copy(from: &Path, to: &Path) -> std::io::Result<()> {
    if !from.is_dir() {
        return std::fs::copy(from, to).map(|_| ());
    }
    std::fs::create_dir(to)?;
    for entry in std::fs::read_dir(from)? {
        let entry = entry?;
        copy(&entry.path(), &to.join(entry.file_name()))?;
    }
    Ok(())
}

fn keep_what_matches(expected: &[String], really: &str) -> Vec<String> {
    let kept = really.lines().enumerate().map(|(index, line)| match expected.get(index) {
        Some(expected) if matches(expected, line.trim_end()) => expected.clone(),
        _ => line.trim_end().to_owned(),
    });
    kept.collect()
}

/// Whether a line is what is expected, placeholders filled in.
#[must_use]
pub fn matches(expected: &str, really: &str) -> bool {
    let Some(at) = expected.find('<') else { return expected == really };
    let (start, rest) = expected.split_at(at);
    let Some(really) = really.strip_prefix(start) else { return false };
    for (placeholder, fits) in PLACEHOLDERS {
        if let Some(rest) = rest.strip_prefix(placeholder) {
            let ends = really.char_indices().map(|(at, _)| at).chain([really.len()]);
            return ends.rev().any(|end| fits(&really[..end]) && matches(rest, &really[end..]));
        }
    }
    // a `<` that is meant
    match (rest.chars().next(), really.chars().next()) {
        (Some(a), Some(b)) if a == b => matches(&rest[a.len_utf8()..], &really[b.len_utf8()..]),
        _ => false,
    }
}

/// A placeholder and the texts it may stand for.
type Placeholder = (&'static str, fn(&str) -> bool);

const PLACEHOLDERS: &[Placeholder] = &[
    ("<sha256>", |text| text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit())),
    ("<key>", |text| text.len() == 32 && text.bytes().all(|byte| byte.is_ascii_hexdigit())),
    ("<version>", |text| text == env!("CARGO_PKG_VERSION")),
    ("<number>", |text| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit())),
    ("<...>", |_| true),
];

/// What varies from one version of the program to the next, as placeholders; for renewing transcripts.
#[must_use]
pub fn with_placeholders(line: &str) -> String {
    let line = line.replace(concat!("ecgkeep ", env!("CARGO_PKG_VERSION")), "ecgkeep <version>");
    let mut text = String::new();
    let mut digits = String::new();
    for character in line.chars().chain(['\0']) {
        if character.is_ascii_digit() || ('a'..='f').contains(&character) {
            digits.push(character);
            continue;
        }
        text.push_str(match digits.len() {
            64 => "<sha256>",
            32 => "<key>",
            _ => &digits,
        });
        digits.clear();
        if character != '\0' {
            text.push(character);
        }
    }
    text
}
