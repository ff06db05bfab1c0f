//! Beat labels of annotation files: the MIT format of annot(5), WFDB Applications Guide.

use std::path::Path;

use super::sets::Failure;

/// Codes of ecgcodes.h that mark a beat (normal, bundle branch block, premature, fusion, paced, escape ...).
const BEATS: [u8; 19] = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 25, 30, 34, 35, 38, 41];

const NOTE_AND_MORE: u8 = 59;
const AUXILIARY: u8 = 63;

/// The code of ecgcodes.h that marks the peak of a P wave.
const P_WAVE: [u8; 1] = [24];

/// The samples at which a beat is marked.
pub fn beats(path: &Path) -> Result<Vec<usize>, Failure> {
    marks(path, &BEATS)
}

/// The samples at which the peak of a P wave is marked.
pub fn p_waves(path: &Path) -> Result<Vec<usize>, Failure> {
    marks(path, &P_WAVE)
}

fn marks(path: &Path, codes: &[u8]) -> Result<Vec<usize>, Failure> {
    let bytes = std::fs::read(path)?;
    let word = |at: usize| {
        bytes
            .get(at..at + 2)
            .map(|pair| u16::from_le_bytes([pair[0], pair[1]]))
            .ok_or("annotations end early")
    };
    let (mut at, mut sample, mut found) = (0, 0i64, Vec::new());
    loop {
        let value = word(at)?;
        let (code, interval) = (u8::try_from(value >> 10)?, i64::from(value & 0x3ff));
        at += 2;
        match (code, interval) {
            (0, 0) => return Ok(found),
            (NOTE_AND_MORE, _) => {
                // annot(5), SKIP: four bytes follow, the high half first
                let (high, low) = (word(at)?, word(at + 2)?);
                sample += i64::from(i32::from_be_bytes([
                    high.to_be_bytes()[0],
                    high.to_be_bytes()[1],
                    low.to_be_bytes()[0],
                    low.to_be_bytes()[1],
                ]));
                at += 4;
            }
            (AUXILIARY, length) => at += usize::try_from(length + length % 2)?,
            (60..=62, _) => {}
            _ => {
                sample += interval;
                if codes.contains(&code) {
                    found.push(usize::try_from(sample)?);
                }
            }
        }
    }
}
