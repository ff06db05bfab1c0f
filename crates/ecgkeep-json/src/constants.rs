//! The names of the shape, its limits, and what the format is.

use ecgkeep_format::About;

/// The name and version of the shape that is written; the value of the member `schema`.
pub const SCHEMA: &str = "ecgkeep-recording/1";

/// What the names of all versions begin with.
pub const SCHEMA_FAMILY: &str = "ecgkeep-recording/";

/// Characters of another shape's name that an error shows.
pub const SCHEMA_SHOWN: usize = 60;

/// The member that names the shape.
pub const SCHEMA_MEMBER: &str = "schema";

/// The member that holds the recordings.
pub const RECORDINGS_MEMBER: &str = "recordings";

/// Arrays and objects within each other. The model needs 8; RFC 8259, 9 lets a reader limit the depth.
pub const MOST_DEPTH: usize = 32;

/// Objects of one document beside one per mark: names, codes, measurements. A million of them is about 100 MB.
pub const MOST_OTHER_OBJECTS: usize = 1_000_000;

/// What a document may begin with, though it should not (RFC 8259, 8.1).
pub const BYTE_ORDER_MARK: &[u8] = b"\xEF\xBB\xBF";

/// What the format is.
pub const ABOUT: About = About {
    id: "json",
    title: "ecgkeep recording as JSON",
    standard: "RFC 8259, shape ecgkeep-recording/1",
    endings: &["json"],
    reads: "version 1, one or more recordings",
    writes: "version 1, one or more recordings",
    status: "every field of the model comes back exactly; documents are checked against the JSON Schema",
};
