//! Real power cuts: a process files recordings on a file system in an image; at a random moment the image is cloned in
//! one step, which is what a disk holds when its power goes; the clone is mounted, replayed by its file system, and
//! must hold everything that was acknowledged before.

use std::io::{BufRead as _, BufReader};
use std::process::Child;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use crate::figures::{Random, row, scale};
use crate::mounted::{Mounted, make_image, ran};
use crate::processes::{begun, check, start};

/// Room for an image and its clones.
const HOST_BYTES: u64 = 2 << 30;
const IMAGE_BYTES: u64 = 400 << 20;

/// What cuts came to.
#[derive(Default)]
struct Cuts {
    cuts: u64,
    acknowledged: u64,
    faults: Vec<String>,
}

/// `None` where this machine does not allow it, and why.
fn cuts(kind: &str, job: &str, count: u64) -> Result<Cuts, String> {
    let folder = tempfile::tempdir().unwrap();
    let host_image = folder.path().join("host.img");
    if !make_image(&host_image, "xfs", HOST_BYTES) {
        return Err("mkfs.xfs is not there, for a disk that can clone a file in one step".into());
    }
    let host = Mounted::image(&host_image, &folder.path().join("host"), "xfs")
        .ok_or("cannot mount a loop device")?;
    let (image, clone) = (host.path().join("disk.img"), host.path().join("cut.img"));
    let mut random = Random(kind.len() as u64);
    let mut result = Cuts::default();
    while result.cuts < count {
        if !make_image(&image, kind, IMAGE_BYTES) {
            return Err(format!("mkfs.{kind} is not there"));
        }
        let disk =
            Mounted::image(&image, &folder.path().join("disk"), kind).ok_or("cannot mount an image")?;
        let root = disk.path().join("archive");
        begun(&root);
        let mut child = start(job, &root, 0);
        let heard = listen(&mut child);
        while result.cuts < count && child.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_micros(random.next() % 60_000));
            let acknowledged = heard.lock().unwrap().clone();
            if !ran("cp", &["--reflink=always", image.to_str().unwrap(), clone.to_str().unwrap()]) {
                return Err("cannot clone a file in one step".into());
            }
            let cut =
                Mounted::image(&clone, &folder.path().join("cut"), kind).ok_or("cannot mount a clone")?;
            let found = check(&cut.path().join("archive"), &acknowledged);
            drop(cut);
            result.cuts += 1;
            result.acknowledged += acknowledged.len() as u64;
            result.faults.extend(found.err().map(|what| format!("cut {}: {what}", result.cuts)));
        }
        // By its handle: this process and no other.
        let _ = child.kill();
        child.wait().unwrap();
    }
    Ok(result)
}

/// What the process acknowledges, as it says it.
fn listen(child: &mut Child) -> Arc<Mutex<Vec<String>>> {
    let heard = Arc::new(Mutex::new(Vec::new()));
    let (out, into) = (child.stdout.take().unwrap(), heard.clone());
    std::thread::spawn(move || {
        for line in BufReader::new(out).lines().map_while(Result::ok) {
            if let Some((_, text)) = line.split_once("acknowledged ") {
                into.lock().unwrap().push(text.to_owned());
            }
        }
    });
    heard
}

fn no_cut_loses(kind: &str) {
    match cuts(kind, "endless", scale(30, 1000)) {
        Err(why) => println!("skipped: real power cuts on {kind}: {why}"),
        Ok(Cuts { cuts, acknowledged, faults }) => {
            println!("{kind}: {acknowledged} lines were acknowledged before {cuts} cuts");
            row(&format!("real power cut on {kind}"), cuts, faults.len() as u64);
            assert!(faults.is_empty(), "{} faults, first: {}", faults.len(), faults[0]);
            assert!(acknowledged > cuts, "only {acknowledged} lines");
        }
    }
}

#[test]
fn no_power_cut_on_ext4_loses_what_was_acknowledged() {
    no_cut_loses("ext4");
}

#[test]
fn no_power_cut_on_xfs_loses_what_was_acknowledged() {
    no_cut_loses("xfs");
}

/// The test of the test: without flushes the same cuts must lose something.
#[test]
fn power_cuts_without_flushes_lose_something() {
    match cuts("ext4", "careless", scale(8, 60)) {
        Err(why) => println!("skipped: real power cuts without flushes: {why}"),
        Ok(Cuts { cuts, faults, .. }) => {
            println!("without flushes {} of {cuts} cuts lost something", faults.len());
            assert!(!faults.is_empty());
        }
    }
}
