//! The private temporary file through which bytes pass to and from the C library, which wants a file.

use std::io::{Read as _, Seek as _, SeekFrom, Write as _};

use ecgkeep_format::{Error, Kind, Place, Result};
use hdf5::file::LibraryVersion;
use tempfile::NamedTempFile;

/// More attributes than any object has: they stay in its header, where a checksum guards them.
pub(crate) const COMPACT_ATTRIBUTES: u32 = 65_535;

/// Opens bytes for reading; the file is gone when both are dropped.
/// # Errors
/// [`Kind::Io`] where there is no room for them; [`Kind::Malformed`] where the library does not take them.
pub(crate) fn open(file: &str, bytes: &[u8]) -> Result<(NamedTempFile, hdf5::File)> {
    let mut temporary = make()?;
    temporary.write_all(bytes).and_then(|()| temporary.flush()).map_err(no_room)?;
    let opened = hdf5::File::open(temporary.path()).map_err(|error| {
        Error::malformed(Place::file(file), "cannot be opened as HDF5").because(error.to_string())
    })?;
    Ok((temporary, opened))
}

/// The bytes of a file that `fill` fills: the same bytes for the same content, whatever the time and the library.
/// # Errors
/// [`Kind::Io`] where the library cannot write.
pub(crate) fn written(fill: impl FnOnce(&hdf5::File) -> hdf5::Result<()>) -> Result<Vec<u8>> {
    let mut temporary = make()?;
    let file = hdf5::File::with_options()
        .with_fcpl(|plist| plist.obj_track_times(false).attr_phase_change(COMPACT_ATTRIBUTES, 0))
        .with_fapl(|plist| plist.libver_bounds(LibraryVersion::V18, LibraryVersion::V18))
        .create(temporary.path());
    let filled = file.and_then(|file| {
        fill(&file)?;
        file.close()
    });
    filled
        .map_err(|error| Error::new(Kind::Io, "the HDF5 library cannot write").because(error.to_string()))?;
    let mut bytes = Vec::new();
    temporary.seek(SeekFrom::Start(0)).and_then(|_| temporary.read_to_end(&mut bytes)).map_err(no_room)?;
    Ok(bytes)
}

/// A group in another, without the time of its making.
pub(crate) fn group_in(parent: &hdf5::Group, name: &str) -> hdf5::Result<hdf5::Group> {
    parent
        .create_group_builder()
        .obj_track_times(false)
        .with_gcpl(|plist| plist.attr_phase_change(COMPACT_ATTRIBUTES, 0))
        .create(name)
}

fn make() -> Result<NamedTempFile> {
    NamedTempFile::new().map_err(no_room)
}

fn no_room(error: std::io::Error) -> Error {
    Error::new(Kind::Io, "no room for a temporary file, which HDF5 needs")
        .because(error)
        .remedy("make room in the folder for temporary files, or name another one in TMPDIR")
}
