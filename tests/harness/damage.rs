//! What a reader must do with damaged bytes: notice, say where, and never panic.

use std::panic::{AssertUnwindSafe, catch_unwind};

use ecgkeep_format::{Error, File, Format, Kind, Read};
use ecgkeep_recording::differences;

use crate::contract::read_files;

/// Cuts each file at every byte: an error with a place, a note, or nothing lost at all.
#[must_use]
pub fn cut_faults(format: &dyn Format, files: &[File]) -> Vec<String> {
    let whole = match read_files(format, files.to_vec()) {
        Ok(whole) => whole,
        Err(error) => return vec![format!("the whole is not read: {error:?}")],
    };
    let mut faults = Vec::new();
    for (index, file) in files.iter().enumerate() {
        for length in 0..file.bytes.len() {
            let mut cut = files.to_vec();
            cut[index].bytes.truncate(length);
            let what = format!("{} cut to {length} of {} bytes", file.name, file.bytes.len());
            match read_without_panic(format, cut) {
                Err(()) => faults.push(format!("{what}: panics")),
                Ok(Err(error)) => faults.extend(error_fault(&error).map(|fault| format!("{what}: {fault}"))),
                Ok(Ok(read)) if read.notes.len() > whole.notes.len() => {}
                Ok(Ok(read)) if is_same(&read, &whole) => {}
                Ok(Ok(_)) => faults.push(format!("{what}: read otherwise, and nothing is said")),
            }
        }
    }
    faults
}

/// Changes each byte of each file, one at a time: never a panic, never an error without a place.
#[must_use]
pub fn mutation_faults(format: &dyn Format, files: &[File]) -> Vec<String> {
    let mut faults = Vec::new();
    let mut changed = files.to_vec();
    for (index, file) in files.iter().enumerate() {
        for (at, old) in file.bytes.iter().enumerate() {
            for new in other_bytes(*old, file.bytes.len()) {
                changed[index].bytes[at] = new;
                let what = || format!("{}, byte {at}: {old:#04x} changed to {new:#04x}", file.name);
                match read_without_panic(format, changed.clone()) {
                    Err(()) => faults.push(format!("{}: panics", what())),
                    Ok(Err(error)) => {
                        faults.extend(error_fault(&error).map(|fault| format!("{}: {fault}", what())));
                    }
                    Ok(Ok(_)) => {}
                }
            }
            changed[index].bytes[at] = *old;
        }
    }
    faults
}

/// The longest file of which every byte is tried with every value.
const EXHAUSTIVE_BYTES: usize = 1024;

/// Every other value in a short file, else the eight flips of one bit and what means something in texts.
fn other_bytes(old: u8, length: usize) -> Vec<u8> {
    let mut others: Vec<u8> = if length <= EXHAUSTIVE_BYTES {
        (0..=u8::MAX).collect()
    } else {
        (0..8).map(|bit| old ^ (1 << bit)).chain(*b"\0\xff09-./ \n\"<>{}[]&").collect()
    };
    others.retain(|new| *new != old);
    others
}

fn read_without_panic(format: &dyn Format, files: Vec<File>) -> Result<Result<Read, Error>, ()> {
    catch_unwind(AssertUnwindSafe(|| read_files(format, files))).map_err(|_| ())
}

fn error_fault(error: &Error) -> Option<String> {
    let place = error.place();
    if place.file.is_none() {
        Some(format!("an error without a place: {error}"))
    } else if matches!(error.kind(), Kind::Internal | Kind::Usage | Kind::Refused) {
        Some(format!("an error of another kind than the input's: {error:?}"))
    } else {
        None
    }
}

fn is_same(read: &Read, whole: &Read) -> bool {
    read.recordings.len() == whole.recordings.len()
        && read.recordings.iter().zip(&whole.recordings).all(|(a, b)| differences(a, b).is_empty())
}
