//! A file to recordings.

use ecgkeep_format::{Error, Kind, Limits, Read, Result, Source};

use crate::constants::{SCHEMA, SCHEMA_FAMILY};
use crate::file::File;
use crate::node::{Node, Reading};
use crate::{digest, recording, stack};

/// The group of the recordings.
pub(crate) const RECORDINGS: &str = "recordings";
/// The root's attributes.
pub(crate) const ROOT_ATTRIBUTES: &[&str] = &["schema", "layout"];

/// Reads every recording of the source's main file.
pub(crate) fn read(source: &dyn Source, limits: &Limits) -> Result<Read> {
    let file = source.main();
    let bytes = source.bytes(file, limits.file_bytes)?;
    let bytes = digest::check(file, &bytes)?;
    let mut reading = Reading { limits, samples: 0, notes: Vec::new() };
    let opened = File::open(file, bytes, &mut reading.notes)?;
    let root = Node::of(opened.root()?)?;
    check_schema(&root)?;
    let recordings = match root.child(stack::STACK)? {
        Some(stacked) => stack::read(&mut reading, &stacked)?,
        None => read_recordings(&mut reading, &root)?,
    };
    let attributes = root.attributes()?;
    for name in attributes.names().filter(|name| !ROOT_ATTRIBUTES.contains(name)) {
        reading.not_taken(root.place.clone(), format!("{name} is no attribute of the root"));
    }
    for name in root.names().filter(|name| ![stack::STACK, RECORDINGS].contains(name)) {
        reading.not_taken(root.place.clone(), format!("{name} is no item of the root"));
    }
    Ok(Read { recordings, notes: reading.notes })
}

fn check_schema(root: &Node) -> Result<()> {
    let unsupported = |what: String, remedy: &str| {
        Err(Error::new(Kind::Unsupported, what).at(root.place.clone()).remedy(remedy))
    };
    match root.attributes()?.text("schema")? {
        None => unsupported(
            "an HDF5 file of another layout: its root has no attribute schema".to_owned(),
            "lay it out as schemas/hdf5-layout.md says, which a few lines of h5py do",
        ),
        Some(name) if name == SCHEMA => Ok(()),
        Some(name) if name.starts_with(SCHEMA_FAMILY) => unsupported(
            format!("the layout is {name:?}, this program reads {SCHEMA}"),
            "use a newer version of ecgkeep",
        ),
        Some(name) => {
            unsupported(format!("the layout is {name:?}, not {SCHEMA}"), "give a file of this layout")
        }
    }
}

fn read_recordings(reading: &mut Reading, root: &Node) -> Result<Vec<ecgkeep_recording::Recording>> {
    let all = root.child(RECORDINGS)?.ok_or_else(|| {
        Error::malformed(root.place.clone(), format!("has neither {RECORDINGS} nor {}", stack::STACK))
    })?;
    let mut recordings = Vec::new();
    for number in 0..all.numbered()? {
        let Some(one) = all.child(&number.to_string())? else { continue };
        recordings.push(recording::read(reading, &one, number)?);
    }
    Ok(recordings)
}
