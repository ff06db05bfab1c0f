//! The digest at the end of a file of ours.
//!
//! HDF5 ends where its superblock says; behind it stands one line with the SHA-256 of all bytes before. An HDF5 library
//! does not look at it, and takes it away when it writes into the file. So what is changed by accident or by hand is
//! noticed before anything else, and what is changed through HDF5 carries no digest that would be wrong.

use ecgkeep_format::{Error, Kind, Place, Result};
use sha2::{Digest as _, Sha256};

const BEFORE: &str = "\necgkeep-hdf5 sha256 ";
const DIGITS: usize = 64;
const LENGTH: usize = BEFORE.len() + DIGITS + 1;

/// Adds the digest of all bytes.
#[cfg(feature = "hdf5")]
pub(crate) fn add(bytes: &mut Vec<u8>) {
    let digest = hexadecimal(bytes);
    bytes.extend_from_slice(BEFORE.as_bytes());
    bytes.extend_from_slice(digest.as_bytes());
    bytes.push(b'\n');
}

/// The bytes before the digest, or all where there is none.
/// # Errors
/// [`Kind::Altered`] where they are not what the digest says.
pub(crate) fn check<'a>(file: &str, bytes: &'a [u8]) -> Result<&'a [u8]> {
    let Some((before, line)) = bytes.len().checked_sub(LENGTH).map(|at| bytes.split_at(at)) else {
        return Ok(bytes);
    };
    let Some(stated) = line.strip_prefix(BEFORE.as_bytes()).and_then(|rest| rest.strip_suffix(b"\n")) else {
        return Ok(bytes);
    };
    if hexadecimal(before).as_bytes() == stated {
        return Ok(before);
    }
    Err(Error::new(Kind::Altered, "its bytes are not what the digest at its end says")
        .at(Place::file(file).byte(before.len() as u64))
        .remedy(
            "take another copy; if it was changed on purpose, open it for writing with an HDF5 library and close it, which \
             takes the digest away",
        ))
}

fn hexadecimal(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(all(test, feature = "hdf5"))]
mod tests {
    use super::*;

    #[test]
    fn a_changed_byte_is_noticed_and_a_file_without_a_digest_is_taken_as_it_is() {
        let mut bytes = b"abc".to_vec();
        add(&mut bytes);
        // FIPS 180-4, SHA-256 of "abc" (NIST, examples with intermediate values)
        let expected: &[u8] =
            b"abc\necgkeep-hdf5 sha256 ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\n";
        assert_eq!(bytes, expected);
        assert_eq!(check("a.h5", &bytes).expect("it is right"), b"abc");
        assert_eq!(check("a.h5", b"abc").expect("nothing is said"), b"abc");
        assert_eq!(check("a.h5", &bytes[..80]).expect("no digest any more"), &bytes[..80]);
        bytes[1] ^= 1;
        let error = check("a.h5", &bytes).expect_err("it is another byte");
        assert_eq!((error.kind(), error.place().byte), (Kind::Altered, Some(3)));
    }
}
