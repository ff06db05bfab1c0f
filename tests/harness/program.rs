//! The program, built once and run as a user runs it.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

use serde_json::Value;

use crate::repository::root;

/// How a run ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ended {
    /// The exit code; `None` where a signal ended it.
    pub code: Option<i32>,
    /// Standard output.
    pub stdout: String,
    /// Standard error.
    pub stderr: String,
}

/// Runs `ecgkeep` with these arguments in a folder, without a terminal, in UTC.
#[must_use]
pub fn run(arguments: &[&str], folder: &Path, stdin: &[u8]) -> Ended {
    let mut child = Command::new(program())
        .args(arguments)
        .current_dir(folder)
        .env("TZ", "UTC")
        .env("NO_COLOR", "1")
        .env("COLUMNS", "100")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut input = child.stdin.take().expect("standard input was asked for");
    let stdin = stdin.to_vec();
    // a program that does not read its input closes it, which is no fault of the test
    let feeding = std::thread::spawn(move || input.write_all(&stdin).is_ok());
    let output = child.wait_with_output().expect("the program ends");
    feeding.join().expect("feeding standard input ends");
    Ended {
        code: output.status.code(),
        stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
        stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// The path of the program, built by the cargo that runs the tests.
/// # Panics
/// Where it cannot be built.
#[must_use]
pub fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| env!("CARGO").into());
        let output = Command::new(cargo)
            .args(["build", "--offline", "--quiet", "--package", "ecgkeep-cli", "--message-format", "json"])
            .current_dir(root())
            .output()
            .expect("cargo runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8_lossy(&output.stdout)
            .lines()
            .filter_map(|line| serde_json::from_str::<Value>(line).ok())
            .find_map(|message| message["executable"].as_str().map(PathBuf::from))
            .expect("cargo names the program it built")
    })
}
