//! A small archive with everything in it: `sample FOLDER` makes FOLDER/archive, a receipt for every line in
//! FOLDER/receipts, and FOLDER/older.note, a checkpoint from half-way. For programs that read the format from
//! schemas/archive.md alone; the keys are made up and the recordings are not recordings.

use std::error::Error;
use std::path::Path;
use std::sync::Arc;

use ecgkeep_archive::storage::Disk;
use ecgkeep_archive::{
    About, Act, Archive, Commit, Corrects, Digest, Event, Key, Making, Request, Signer, layout,
};
use ecgkeep_bundle::{Member, pack};

type Result<T> = std::result::Result<T, Box<dyn Error>>;

const ORIGIN: &str = "larkmoor.example/ecg";
const SCHEDULE: &[u8] = b"[[rule]]\nname = \"adults-10-years\"\nyears = 10\n";

fn main() -> Result<()> {
    let folder = std::env::args().nth(1).ok_or("give a folder that is not there yet")?;
    let folder = Path::new(&folder);
    std::fs::create_dir(folder)?;
    let making = Making {
        id: "larkmoor-ecg".parse()?,
        origin: ORIGIN.to_owned(),
        at: "2026-03-02T09:30:00Z".parse()?,
        by: "records-officer".parse()?,
        program: format!("ecgkeep {}", env!("CARGO_PKG_VERSION")),
    };
    let mut archive = Archive::create(Arc::new(Disk), &folder.join("archive"), &making)?;
    let [officer, head] =
        ["records-officer", "head-of-clinic"].map(|name| (name, Digest::of(name.as_bytes()).0));
    let officer = Signer::from_seed(officer.0.parse()?, &officer.1);
    let head = Signer::from_seed(head.0.parse()?, &head.1);
    let plain = commit("2026-03-02T10:00:00Z", None)?;
    archive.commit(vec![Act::Key(officer.public()), Act::Key(head.public())], &plain)?;
    let schedule = Act::Schedule { bytes: SCHEDULE.to_vec(), authority: "board".parse()? };
    archive.commit(vec![schedule], &plain)?;

    let signing = commit("2026-03-02T22:10:00Z", Some(&officer))?;
    for batch in 0..4 {
        let acts = (0..5).map(|n| file(&archive, batch * 5 + n)).collect::<Result<_>>()?;
        archive.commit(acts, &signing)?;
    }
    std::fs::write(folder.join("older.note"), archive.checkpoint().written())?;
    more(&mut archive, &commit("2026-03-04T07:00:00Z", Some(&head))?)?;
    let request = Request {
        origin: ORIGIN.to_owned(),
        rule: "adults-10-years".parse()?,
        schedule: Digest::of(SCHEDULE),
        keys: vec![key(3)?, key(4)?],
    };
    let request = request.note().signed(&officer).signed(&head).written();
    archive.commit(vec![Act::Destroy { request }], &commit("2036-03-05T07:00:00Z", Some(&officer))?)?;

    std::fs::create_dir(folder.join("receipts"))?;
    for index in 0..archive.size() {
        std::fs::write(folder.join(format!("receipts/{index}.proof")), archive.receipt(index)?.written())?;
    }
    Ok(())
}

/// A correction, a source in quarantine, an export with its answer, a hold, a copy without identity.
fn more(archive: &mut Archive, commit: &Commit<'_>) -> Result<()> {
    let first = archive.filing_line(key(1)?, Some(1))?.ok_or("recording 1 was filed")?;
    let exported = About {
        key: Some(key(1)?),
        revision: Some(1),
        sha256: first.about.sha256,
        bytes: first.about.bytes,
        to: Some("chart".parse()?),
        ..About::default()
    };
    let done = archive.commit(vec![Act::Line(Event::Exported, exported)], commit)?;
    let answer = Act::Answer { key: key(1)?, revision: 1, bytes: b"received\n".to_vec(), of: done[0].line };
    let corrects =
        Corrects { authority: "dr-on-call".parse()?, why: "wrong-patient".parse()?, of: first.index };
    let prepared = archive.prepare(&bundle(&layout::stem(key(1)?, 2), 1)?)?;
    let corrected = Act::Bundle { key: key(1)?, revision: 2, prepared, corrects: Some(corrects) };
    let prepared = archive.prepare(&bundle(&format!("{}.q1", key(40)?), 40)?)?;
    let unreadable = Act::Quarantine { key: key(40)?, prepared, why: "malformed".parse()? };
    let held = About { key: Some(key(2)?), authority: Some("court".parse()?), ..About::default() };
    let without_identity = About {
        key: Some(key(2)?),
        revision: Some(1),
        why: Some("table-shifted".parse()?),
        to: Some("study-7".parse()?),
        ..About::default()
    };
    let lines = [(Event::Held, held), (Event::Deidentified, without_identity)];
    let lines = lines.into_iter().map(|(event, about)| Act::Line(event, about));
    archive.commit([answer, corrected, unreadable].into_iter().chain(lines).collect(), commit)?;
    Ok(())
}

fn commit<'a>(at: &str, signer: Option<&'a Signer>) -> Result<Commit<'a>> {
    Ok(Commit { by: "night-shift".parse()?, at: at.parse()?, signer })
}

fn key(n: u32) -> Result<Key> {
    Ok(Digest::of(&n.to_le_bytes()).to_string()[..32].parse()?)
}

fn file(archive: &Archive, n: u32) -> Result<Act> {
    let prepared = archive.prepare(&bundle(&layout::stem(key(n)?, 1), n)?)?;
    Ok(Act::Bundle { key: key(n)?, revision: 1, prepared, corrects: None })
}

fn bundle(stem: &str, n: u32) -> Result<Vec<u8>> {
    let info = [("External-Identifier", &stem[..32]), ("Bagging-Date", "2026-03-02")]
        .map(|(label, value)| (label.to_owned(), value.to_owned()));
    let member = |name: &str, bytes: Vec<u8>| Member { name: name.to_owned(), bytes };
    let members = vec![
        member("data/original/1.dat", n.to_le_bytes().repeat(300)),
        member("data/report.svg", b"<svg/>\n".to_vec()),
        member("metadata/README.txt", b"not a recording: a sample\n".to_vec()),
    ];
    Ok(pack(stem, &info, members)?)
}
