//! The names of the layout, its limits, and what the format is.

use ecgkeep_format::{About, Error, Kind, OptionSpec};

/// The name and version of the layout; the text of the root's attribute `schema`.
pub(crate) const SCHEMA: &str = "ecgkeep-hdf5/1";
/// What the names of all versions begin with.
pub(crate) const SCHEMA_FAMILY: &str = "ecgkeep-hdf5/";

/// HDF5 File Format Specification 3.0, II.A: the first eight bytes of the superblock.
pub(crate) const SIGNATURE: &[u8] = b"\x89HDF\r\n\x1a\n";
/// The same, II.A: where the superblock may stand within the bytes that are looked at: 0, 512 and on, doubling.
pub(crate) const SIGNATURE_PLACES: &[usize] = &[0, 512, 1024, 2048];

/// What the format is.
pub(crate) const ABOUT: About = About {
    id: "hdf5",
    title: "HDF5",
    standard: "HDF5 file format as libraries from 1.8 on read it, layout ecgkeep-hdf5/1",
    endings: &["h5", "hdf5"],
    reads: "files of this layout, one or many recordings, in groups or stacked",
    writes: "one or many recordings in groups, every field exact; equal ones stacked on request",
    status: "h5py 3.16 reads what is written, and what it writes is read; written in builds with the C library",
};

/// The option that stacks.
pub(crate) const STACK: OptionSpec = OptionSpec {
    name: "stack",
    values: &["no", WITHOUT_IDENTITY, WITH_IDENTITY],
    default: "no",
    help: "equal recordings as one dataset [recording, lead, sample] with tables, without what identifies a person or with \
           identifiers, names, birth dates and starts",
};
/// [`STACK`] without identity.
pub(crate) const WITHOUT_IDENTITY: &str = "without-identity";
/// [`STACK`] with identity.
pub(crate) const WITH_IDENTITY: &str = "with-identity";

/// What a build without the C library answers.
pub(crate) fn not_in_this_build() -> Error {
    Error::new(Kind::Unsupported, "this build of ecgkeep reads HDF5 and does not write it").remedy(
        "use a program that was built with the feature hdf5 (`cargo build --features hdf5`), which needs the HDF5 C \
         library (Debian: apt-get install libhdf5-dev)",
    )
}
