//! A file system of our own for one test: mounted where the machine allows, given back when dropped.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// A folder on which something is mounted.
pub struct Mounted(PathBuf);

impl Mounted {
    /// `None` where this machine does not allow it.
    pub fn new(at: &Path, arguments: &[&str]) -> Option<Mounted> {
        std::fs::create_dir_all(at).ok()?;
        ran("mount", &[arguments, &[at.to_str()?]].concat()).then(|| Mounted(at.to_owned()))
    }

    /// A file system of this kind in a file on a loop device.
    pub fn image(image: &Path, at: &Path, kind: &str) -> Option<Mounted> {
        // xfs wants to know that two file systems with one identity are meant.
        let options = if kind == "xfs" { "loop,nouuid" } else { "loop" };
        Mounted::new(at, &["-t", kind, "-o", options, image.to_str()?])
    }

    pub fn path(&self) -> &Path {
        &self.0
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        let at = self.0.to_str().unwrap_or_default();
        let _ = ran("umount", &[at]) || ran("umount", &["-l", at]);
    }
}

/// An empty file system of this kind in a file.
pub fn make_image(image: &Path, kind: &str, bytes: u64) -> bool {
    let made = std::fs::File::create(image).and_then(|file| file.set_len(bytes));
    let force = if kind == "xfs" { "-f" } else { "-F" };
    made.is_ok() && ran(&format!("mkfs.{kind}"), &["-q", force, image.to_str().unwrap_or_default()])
}

pub fn ran(program: &str, arguments: &[&str]) -> bool {
    let status = Command::new(program).args(arguments).stdout(Stdio::null()).stderr(Stdio::null()).status();
    status.is_ok_and(|status| status.success())
}
