//! The private temporary file through which bytes come from the C library, which wants a file.

use std::io::{Read as _, Seek as _, SeekFrom};

use ecgkeep_format::{Error, Kind, Result};
use hdf5::file::LibraryVersion;
use hdf5::plist::GroupCreate;
use tempfile::NamedTempFile;

/// More attributes than any object has: they stay in its header, where a checksum guards them.
pub(crate) const COMPACT_ATTRIBUTES: u32 = 65_535;

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

/// Items of a group: so many stay in its header, as [`crate::file`] reads them.
pub(crate) const MOST_ITEMS: u32 = 65_535;

/// A group in another, without the time of its making.
pub(crate) fn group_in(parent: &hdf5::Group, name: &str) -> hdf5::Result<hdf5::Group> {
    let mut links = GroupCreate::try_new()?.get_link_phase_change()?;
    (links.max_compact, links.min_dense) = (MOST_ITEMS, 0);
    parent
        .create_group_builder()
        .obj_track_times(false)
        .with_gcpl(|plist| plist.attr_phase_change(COMPACT_ATTRIBUTES, 0).link_phase_change(links))
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
