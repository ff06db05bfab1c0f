//! What the tests of the archive share.

use std::path::Path;
use std::sync::Arc;

use ecgkeep_archive::storage::Storage;
use ecgkeep_archive::{
    Act, Archive, Code, Commit, Corrects, Digest, Done, Key, Making, Moment, PublicKey, Request, Signer,
};

pub const ORIGIN: &str = "larkmoor.example/ecg";

pub fn code(text: &str) -> Code {
    text.parse().unwrap()
}

pub fn moment(text: &str) -> Moment {
    text.parse().unwrap()
}

/// A key that is spread over the shelves like a real one.
pub fn key(n: u32) -> Key {
    let digest = Digest::of(&n.to_le_bytes()).to_string();
    digest[..32].parse().unwrap()
}

/// Bytes of a made-up bundle: between 200 and 1,200 of them, the same every time.
pub fn bytes(n: u32, revision: u32) -> Vec<u8> {
    let seed = Digest::of(format!("{n} {revision}").as_bytes()).0;
    seed.iter().copied().cycle().take(200 + usize::from(seed[0]) * 4).collect()
}

pub fn making() -> Making {
    Making {
        id: code("larkmoor-ecg"),
        origin: ORIGIN.into(),
        at: moment("2026-03-02T09:30:00Z"),
        by: code("records-officer"),
        program: "ecgkeep test".into(),
    }
}

pub fn create(storage: Arc<dyn Storage>, folder: &Path) -> Archive {
    Archive::create(storage, folder, &making()).unwrap()
}

pub fn commit_at(at: &str) -> Commit<'static> {
    Commit { by: code("night-shift"), at: moment(at), signer: None }
}

pub fn commit() -> Commit<'static> {
    commit_at("2026-03-02T22:10:00Z")
}

pub fn file(archive: &Archive, n: u32) -> Act {
    let prepared = archive.prepare(&bytes(n, 1)).unwrap();
    Act::Bundle { key: key(n), revision: 1, prepared, corrects: None }
}

pub fn correct(archive: &Archive, n: u32, revision: u32, of: u64) -> Act {
    let prepared = archive.prepare(&bytes(n, revision)).unwrap();
    let corrects = Some(Corrects { authority: code("dr-on-call"), why: code("wrong-patient"), of });
    Act::Bundle { key: key(n), revision, prepared, corrects }
}

pub fn quarantine(archive: &Archive, n: u32) -> Act {
    let prepared = archive.prepare(&bytes(n, 1)).unwrap();
    Act::Quarantine { key: key(n), prepared, why: code("malformed") }
}

pub fn signers() -> [Signer; 3] {
    ["records-officer", "head-of-clinic", "deputy"]
        .map(|name| Signer::from_seed(code(name), &Digest::of(name.as_bytes()).0))
}

pub const SCHEDULE: &[u8] = b"[[rule]]\nname = \"adults-10-years\"\nyears = 10\n";

/// Admits the first two of [`signers`] and adopts a schedule.
pub fn govern(archive: &mut Archive) -> Vec<Done> {
    let keys: Vec<PublicKey> = signers().iter().take(2).map(Signer::public).collect();
    let mut batch: Vec<Act> = keys.into_iter().map(Act::Key).collect();
    batch.push(Act::Schedule { bytes: SCHEDULE.to_vec(), authority: code("board") });
    archive.commit(batch, &commit()).unwrap()
}

pub fn request(keys: &[u32]) -> Request {
    Request {
        origin: ORIGIN.into(),
        rule: code("adults-10-years"),
        schedule: Digest::of(SCHEDULE),
        keys: keys.iter().map(|n| key(*n)).collect(),
    }
}

pub fn signed(request: &Request) -> String {
    let [a, b, _] = signers();
    request.note().signed(&a).signed(&b).written()
}

pub fn destroy(keys: &[u32]) -> Act {
    Act::Destroy { request: signed(&request(keys)) }
}
