//! Where things stand in an archive (schemas/archive.md).

use std::path::{Path, PathBuf};

use crate::word::{Digest, Key};

/// A segment of the journal holds this many lines.
pub const SEGMENT_LINES: u64 = 1 << SEGMENT_LEVEL;
/// A full segment is a full subtree of this height.
pub(crate) const SEGMENT_LEVEL: u32 = 16;

pub(crate) const ARCHIVE_TXT: &str = "ARCHIVE.txt";
pub(crate) const ARCHIVE_JSON: &str = "archive.json";
pub(crate) const BUNDLES: &str = "bundles";
pub(crate) const QUARANTINE: &str = "quarantine";
pub(crate) const JOURNAL: &str = "journal";
pub(crate) const CHECKPOINTS: &str = "checkpoints";
pub(crate) const LATEST: &str = "checkpoints/latest.note";
pub(crate) const KEYS: &str = "keys";
pub(crate) const SCHEDULE: &str = "schedule";
pub(crate) const REQUESTS: &str = "requests";
pub(crate) const OPEN_REQUESTS: &str = "requests/open";
pub(crate) const CERTIFICATES: &str = "certificates";
pub(crate) const ANSWERS: &str = "answers";
pub(crate) const TMP: &str = "tmp";
pub(crate) const PENDING: &str = "tmp/pending.jsonl";
pub(crate) const COMMIT_LOCK: &str = "commit.lock";
pub(crate) const PREPARE_LOCK: &str = "prepare.lock";

/// The folders of a new archive.
pub(crate) const FOLDERS: &[&str] = &[
    BUNDLES,
    QUARANTINE,
    JOURNAL,
    CHECKPOINTS,
    KEYS,
    SCHEDULE,
    REQUESTS,
    OPEN_REQUESTS,
    CERTIFICATES,
    ANSWERS,
    TMP,
];

/// The name of a bundle without `.zip`, and of its top directory: `KEY.rN`.
#[must_use]
pub fn stem(key: Key, revision: u32) -> String {
    format!("{key}.r{revision}")
}

/// A bundle, below the archive's folder.
#[must_use]
pub fn bundle(key: Key, revision: u32) -> PathBuf {
    shelf(BUNDLES, key).join(format!("{}.zip", stem(key, revision)))
}

/// A quarantined source, below the archive's folder.
#[must_use]
pub fn quarantined(key: Key) -> PathBuf {
    shelf(QUARANTINE, key).join(format!("{key}.q1.zip"))
}

/// The tombstone of a destroyed recording, below the archive's folder.
#[must_use]
pub fn tombstone(key: Key) -> PathBuf {
    shelf(BUNDLES, key).join(format!("{key}.destroyed.json"))
}

/// The certificate of a destruction, below the archive's folder.
#[must_use]
pub fn certificate(key: Key) -> PathBuf {
    Path::new(CERTIFICATES).join(format!("{key}.destroyed.json"))
}

/// What a receiver answered, below the archive's folder.
#[must_use]
pub fn answer(key: Key, revision: u32, digest: Digest) -> PathBuf {
    Path::new(ANSWERS).join(format!("{}.{digest}", stem(key, revision)))
}

/// An adopted schedule, below the archive's folder.
#[must_use]
pub fn schedule(digest: Digest) -> PathBuf {
    Path::new(SCHEDULE).join(format!("{digest}.toml"))
}

/// An admitted key, below the archive's folder.
#[must_use]
pub fn public_key(name: &str) -> PathBuf {
    Path::new(KEYS).join(format!("{name}.pub"))
}

pub(crate) fn request(digest: Digest) -> PathBuf {
    Path::new(REQUESTS).join(format!("{digest}.note"))
}

pub(crate) fn open_request(digest: Digest) -> PathBuf {
    Path::new(OPEN_REQUESTS).join(format!("{digest}.note"))
}

/// The folder of a key under `bundles` or `quarantine`: the first two bytes of the key.
pub(crate) fn shelf(above: &str, key: Key) -> PathBuf {
    let key = key.to_string();
    Path::new(above).join(&key[..2]).join(&key[2..4])
}

pub(crate) fn segment(number: u64) -> PathBuf {
    Path::new(JOURNAL).join(format!("{:012}.jsonl", number * SEGMENT_LINES))
}

pub(crate) fn segment_root(number: u64) -> PathBuf {
    Path::new(JOURNAL).join(format!("{:012}.root", number * SEGMENT_LINES))
}

/// A file that stands on a shelf.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Shelved {
    /// A revision.
    Bundle(Key, u32),
    /// A quarantined source.
    Quarantined(Key),
    /// A tombstone.
    Tombstone(Key),
}

impl Shelved {
    /// The key in its name.
    #[must_use]
    pub fn key(self) -> Key {
        match self {
            Shelved::Bundle(key, _) | Shelved::Quarantined(key) | Shelved::Tombstone(key) => key,
        }
    }

    /// Where it stands, below the archive's folder.
    #[must_use]
    pub fn path(self) -> PathBuf {
        match self {
            Shelved::Bundle(key, revision) => bundle(key, revision),
            Shelved::Quarantined(key) => quarantined(key),
            Shelved::Tombstone(key) => tombstone(key),
        }
    }

    /// What a file of this name is; `None` for a name that is not ours.
    #[must_use]
    pub fn named(name: &str) -> Option<Shelved> {
        let (key, rest) = name.split_once('.')?;
        let key: Key = key.parse().ok()?;
        let found = match rest {
            "destroyed.json" => Shelved::Tombstone(key),
            "q1.zip" => Shelved::Quarantined(key),
            _ => Shelved::Bundle(key, rest.strip_prefix('r')?.strip_suffix(".zip")?.parse().ok()?),
        };
        // One spelling: no r01, no r+1.
        found.path().ends_with(name).then_some(found)
    }
}

/// ARCHIVE.txt.
pub(crate) fn plain_words(origin: &str) -> String {
    format!(
        "This folder is an archive of resting ECG recordings: {origin}\n\
         \n\
         Where is what\n\
         bundles/          the recordings, one ZIP each: first two pairs of the key's digits, then KEY.rN.zip\n\
         \x20                 (N is the revision; the highest one counts, the lower ones are what it corrected)\n\
         quarantine/       files that could not be read, kept as they came\n\
         journal/          everything that was ever done, one line each, only ever added to\n\
         checkpoints/      latest.note: how many lines the journal has, and one number that sums them all up\n\
         keys/, schedule/  public keys that sign, retention schedules that were adopted\n\
         requests/, certificates/, KEY.destroyed.json   who had what destroyed, under which rule\n\
         register.jsonl, answers/, catalogue.sqlite     personal data: readable by their owner only;\n\
         \x20                 catalogue.sqlite is an index and is made anew from the rest when it is missing\n\
         tmp/              partial files: not part of the archive\n\
         \n\
         How to find and check a recording by hand (any computer with unzip, sha256sum and sha512sum)\n\
         1. grep the key in journal/*.jsonl; the line with \"e\":\"filed\" or \"corrected\" says the SHA-256 (\"z\").\n\
         2. sha256sum bundles/XX/YY/KEY.rN.zip     must print that number.\n\
         3. unzip KEY.rN.zip; cd KEY.rN; sha512sum -c manifest-sha512.txt     every file must say OK.\n\
         4. data/report.svg is the page (opens in a browser), metadata/README.txt explains the rest.\n\
         Without the key: unzip -p BUNDLE '*/metadata/entry.json' shows patient and time of one bundle.\n\
         \n\
         How to check that nothing was taken away or altered\n\
         Every line of the journal is a leaf of a hash tree (RFC 6962). Its root stands in checkpoints/latest.note.\n\
         Keep copies of that file somewhere else: whoever removes or alters a line afterwards cannot get the same\n\
         root again. A program that checks this fits on two pages; the exact rules are published with the program\n\
         ecgkeep as schemas/archive.md.\n\
         \n\
         Never change, rename or remove a file under bundles/, quarantine/ or journal/ by hand.\n\
         \n\
         The checks in the bundles are technical checks only and no diagnosis. An ECG is to be over-read by a\n\
         qualified clinician; local policy decides.\n"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_has_one_spelling() {
        let key: Key = "3f9c0000000000000000000000000a01".parse().unwrap();
        for shelved in [Shelved::Bundle(key, 12), Shelved::Quarantined(key), Shelved::Tombstone(key)] {
            let path = shelved.path();
            let name = path.file_name().unwrap().to_str().unwrap();
            assert_eq!(Shelved::named(name), Some(shelved));
            assert!(path.to_str().unwrap().contains("/3f/9c/"));
        }
        for wrong in [
            "r1.zip",
            "3f9c.r1.zip",
            &format!("{key}.r01.zip"),
            &format!("{key}.r+1.zip"),
            &format!("{key}.q2.zip"),
        ] {
            assert_eq!(Shelved::named(wrong), None, "{wrong}");
        }
    }
}
