//! Digests that manifests may use (RFC 8493, 2.4).

use sha2::digest::DynDigest;
use sha2::{Sha224, Sha256, Sha384, Sha512};

/// A digest algorithm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Algorithm {
    /// For old bags only.
    Md5,
    /// For old bags only.
    Sha1,
    Sha224,
    Sha256,
    Sha384,
    Sha512,
}

impl Algorithm {
    /// Every algorithm with its name in a manifest's file name.
    const NAMES: &[(&str, Algorithm)] = &[
        ("md5", Algorithm::Md5),
        ("sha1", Algorithm::Sha1),
        ("sha224", Algorithm::Sha224),
        ("sha256", Algorithm::Sha256),
        ("sha384", Algorithm::Sha384),
        ("sha512", Algorithm::Sha512),
    ];

    /// The algorithm of this name, as it stands in a manifest's file name.
    pub(crate) fn named(name: &str) -> Option<Algorithm> {
        Algorithm::NAMES.iter().find(|(own, _)| *own == name).map(|(_, algorithm)| *algorithm)
    }

    /// Its name in a manifest's file name.
    pub(crate) fn name(self) -> &'static str {
        let entry = Algorithm::NAMES.iter().find(|(_, own)| *own == self);
        entry.map(|(name, _)| *name).expect("the table holds every algorithm")
    }

    /// Bytes of a digest.
    pub(crate) fn bytes(self) -> usize {
        match self {
            Algorithm::Md5 => 16,
            Algorithm::Sha1 => 20,
            Algorithm::Sha224 => 28,
            Algorithm::Sha256 => 32,
            Algorithm::Sha384 => 48,
            Algorithm::Sha512 => 64,
        }
    }

    /// A digest to be fed.
    pub(crate) fn start(self) -> Box<dyn DynDigest> {
        match self {
            Algorithm::Md5 => Box::new(md5::Md5::default()),
            Algorithm::Sha1 => Box::new(sha1::Sha1::default()),
            Algorithm::Sha224 => Box::new(Sha224::default()),
            Algorithm::Sha256 => Box::new(Sha256::default()),
            Algorithm::Sha384 => Box::new(Sha384::default()),
            Algorithm::Sha512 => Box::new(Sha512::default()),
        }
    }
}

/// Lower-case hexadecimal.
pub(crate) fn to_hex(bytes: &[u8]) -> String {
    let digit = |nibble: u8| char::from(b"0123456789abcdef"[usize::from(nibble)]);
    bytes.iter().flat_map(|byte| [digit(byte >> 4), digit(byte & 15)]).collect()
}

/// Bytes of an even number of hexadecimal digits, upper or lower case.
pub(crate) fn from_hex(text: &str) -> Option<Vec<u8>> {
    let digit = |byte: u8| match byte {
        b'0'..=b'9' => Some(byte - b'0'),
        b'a'..=b'f' => Some(byte - b'a' + 10),
        b'A'..=b'F' => Some(byte - b'A' + 10),
        _ => None,
    };
    let (pairs, odd) = text.as_bytes().as_chunks::<2>();
    if !odd.is_empty() {
        return None;
    }
    pairs.iter().map(|[high, low]| Some(digit(*high)? << 4 | digit(*low)?)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Digests of "abc": RFC 1321, A.5; FIPS 180-4 examples (NIST, "SHA_All").
    #[test]
    fn published_digests_of_abc() {
        for (name, expected) in [
            ("md5", "900150983cd24fb0d6963f7d28e17f72"),
            ("sha1", "a9993e364706816aba3e25717850c26c9cd0d89d"),
            ("sha224", "23097d223405d8228642a477bda255b32aadbce4bda0b3f7e36c9da7"),
            ("sha256", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
            (
                "sha384",
                "cb00753f45a35e8bb5a03d699ac65007272c32ab0eded1631a8b605a43ff5bed8086072ba1e7cc2358baeca134c825a7",
            ),
            (
                "sha512",
                "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
            ),
        ] {
            let algorithm = Algorithm::named(name).unwrap();
            let mut digest = algorithm.start();
            digest.update(b"abc");
            let found = digest.finalize();
            assert_eq!(to_hex(&found), expected);
            assert_eq!(found.len(), algorithm.bytes());
            assert_eq!(algorithm.name(), name);
        }
        assert_eq!(Algorithm::named("sha3256"), None);
    }

    #[test]
    fn hexadecimal_is_read_in_both_cases_and_written_in_one() {
        assert_eq!(from_hex("00fFa9"), Some(vec![0, 255, 0xA9]));
        assert_eq!(from_hex("0"), None);
        assert_eq!(from_hex("0g"), None);
        assert_eq!(to_hex(&[0, 255, 0xA9]), "00ffa9");
    }
}
