//! Damaged records end in notes or in an error with a place, never in a panic and never in silence.

use std::panic::catch_unwind;

use ecgkeep_format::{Error, Weight};
use ecgkeep_recording::differences;

use crate::fixtures::records;
use crate::read;

/// Small records that between them use every section and compression.
const TRIED: &[&str] = &[
    "reference-beat-huffman.scp",
    "bimodal-flat.scp",
    "two-tables.scp",
    "global-measurements.scp",
    "statement-codes.scp",
    "measurements-of-leads.scp",
    "every-tag.scp",
];

fn tried() -> Vec<(String, Vec<u8>)> {
    let all = records("good").into_iter().filter(|path| TRIED.iter().any(|name| path.ends_with(name)));
    let all: Vec<_> = all
        .map(|path| (path.display().to_string(), std::fs::read(&path).expect("a fixture can be read")))
        .collect();
    assert_eq!(all.len(), TRIED.len());
    all
}

fn check_error(what: &str, error: &Error) {
    let place = error.place();
    assert!(place.file.is_some() && (place.byte.is_some() || place.part.is_some()), "{what}: {error}");
}

#[test]
fn every_truncation_is_noticed() {
    for (name, bytes) in tried() {
        for length in 0..bytes.len() {
            let what = format!("{name} cut to {length}");
            let cut = &bytes[..length];
            match catch_unwind(|| read(cut)).unwrap_or_else(|_| panic!("{what} panics")) {
                Err(error) => check_error(&what, &error),
                Ok(read) => assert!(read.is_damaged(), "{what}: nothing is said"),
            }
        }
    }
}

#[test]
fn every_flipped_bit_is_noticed() {
    for (name, bytes) in tried() {
        let whole = read(&bytes).expect("good records are read");
        for bit in 0..bytes.len() * 8 {
            let what = format!("{name}, bit {bit}");
            let mut flipped = bytes.clone();
            flipped[bit / 8] ^= 1 << (bit % 8);
            match catch_unwind(|| read(&flipped)).unwrap_or_else(|_| panic!("{what} panics")) {
                Err(error) => check_error(&what, &error),
                Ok(read) => {
                    // the checksum of the record covers every bit but its own
                    let is_said = read.notes.iter().any(|note| note.weight == Weight::Damage);
                    assert!(is_said, "{what}: {:?}", differences(&whole.recordings[0], &read.recordings[0]));
                }
            }
        }
    }
}

/// Flips with the checksums made right again reach the parsers behind them.
#[test]
fn changed_bytes_under_right_checksums_never_panic() {
    for (name, bytes) in tried() {
        for at in 6..bytes.len() {
            for new in [0, 1, 0x7F, 0x80, 0xFF, bytes[at] ^ 0x10, bytes[at].wrapping_add(1)] {
                let mut changed = bytes.clone();
                changed[at] = new;
                reseal(&mut changed);
                match catch_unwind(|| read(&changed)).unwrap_or_else(|_| panic!("{name}, byte {at}: panics"))
                {
                    Err(error) => check_error(&name, &error),
                    Ok(read) => assert!(read.notes.iter().all(|note| note.place.file.is_some())),
                }
            }
        }
    }
}

/// Makes the checksums of every section that the first rows point to, and of the record, right again.
fn reseal(bytes: &mut [u8]) {
    let number = |bytes: &[u8], at: usize| {
        bytes
            .get(at..at + 4)
            .map_or(0, |four| u32::from_le_bytes([four[0], four[1], four[2], four[3]]) as usize)
    };
    for row in 0..12 {
        let (length, index) = (number(bytes, 24 + row * 10), number(bytes, 28 + row * 10));
        let Some(start) = index.checked_sub(1) else { continue };
        if let Some(section) =
            bytes.get_mut(start..start.saturating_add(length)).filter(|bytes| bytes.len() > 2)
        {
            let crc = crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740).checksum(&section[2..]);
            section[..2].copy_from_slice(&crc.to_le_bytes());
        }
    }
    let crc = crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740).checksum(&bytes[2..]);
    bytes[..2].copy_from_slice(&crc.to_le_bytes());
}

/// Counts that a small file cannot hold are refused before memory is taken for them.
#[test]
fn large_counts_in_small_files_take_little_time() {
    let (_, bytes) = tried().into_iter().find(|(name, _)| name.ends_with("bimodal-flat.scp")).expect("tried");
    let start = std::time::Instant::now();
    for at in 6..bytes.len() - 4 {
        let mut changed = bytes.clone();
        changed[at..at + 4].fill(0xFF);
        reseal(&mut changed);
        let _ = read(&changed);
    }
    let seconds = start.elapsed().as_secs();
    // a fraction of a second on an idle machine
    assert!(seconds < 300, "{seconds} s for {} records", bytes.len());
}
