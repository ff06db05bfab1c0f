//! Recordings to bytes.

use ecgkeep_format::{Error, File, Kind, Result, plain_name};
use ecgkeep_recording::Recording;
use serde::Serialize as _;

use crate::constants::{ABOUT, SCHEMA};
use crate::document::Document;
use crate::layout::OneLinePerNumbers;

pub fn encode(recordings: &[Recording], stem: &str) -> Result<Vec<File>> {
    let name = format!("{stem}.{}", ABOUT.endings[0]);
    plain_name(&name).map_err(|_| {
        Error::new(Kind::Usage, format!("not the beginning of a plain file name: {stem:?}"))
            .remedy("give a name without a folder")
    })?;
    Ok(vec![File { name, bytes: document(recordings)? }])
}

/// One recording as the text of a document.
/// # Errors
/// [`Kind::Internal`] where the model cannot be written, which no value of it should cause.
pub fn to_string(recording: &Recording) -> Result<String> {
    String::from_utf8(document(std::slice::from_ref(recording))?)
        .map_err(|error| Error::new(Kind::Internal, "the document is no UTF-8").because(error))
}

fn document(recordings: &[Recording]) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let mut writer = serde_json::Serializer::with_formatter(&mut bytes, OneLinePerNumbers::default());
    Document { schema: SCHEMA, recordings }.serialize(&mut writer).map_err(|error| {
        Error::new(Kind::Internal, "the recording cannot be written as JSON").because(error)
    })?;
    bytes.push(b'\n');
    Ok(bytes)
}
