//! The numbers of the ZIP file format that a bundle uses, and the caps on what is read.
//!
//! APPNOTE is PKWARE's ".ZIP File Format Specification", version 6.3.10 (2022-11-01).

/// Local file header signature (APPNOTE 4.3.7).
pub(crate) const LOCAL_SIGNATURE: u32 = 0x0403_4b50;
/// Central file header signature (APPNOTE 4.3.12).
pub(crate) const DIRECTORY_SIGNATURE: u32 = 0x0201_4b50;
/// End of central directory signature (APPNOTE 4.3.16).
pub(crate) const END_SIGNATURE: u32 = 0x0605_4b50;
/// Bytes of a local header without its name (APPNOTE 4.3.7).
pub(crate) const LOCAL_BYTES: usize = 30;
/// Bytes of a directory entry without its name (APPNOTE 4.3.12).
pub(crate) const DIRECTORY_BYTES: usize = 46;
/// Bytes of the end record without a comment (APPNOTE 4.3.16).
pub(crate) const END_BYTES: usize = 22;

/// "Version made by": Unix (3), specification 2.0 (APPNOTE 4.4.2).
pub(crate) const MADE_BY: u16 = 0x0314;
/// "Version needed to extract": 2.0, deflate (APPNOTE 4.4.3).
pub(crate) const VERSION_NEEDED: u16 = 20;
/// Bit 11 alone: names are UTF-8, here always its ASCII part (APPNOTE 4.4.4).
pub(crate) const FLAGS: u16 = 0x0800;
/// Midnight (APPNOTE 4.4.6).
pub(crate) const TIME: u16 = 0;
/// 1980-01-01, the first day of the calendar that ZIP uses (APPNOTE 4.4.6).
pub(crate) const DATE: u16 = 0x0021;
/// Compression method "stored" (APPNOTE 4.4.5).
pub(crate) const STORED: u16 = 0;
/// Compression method "deflated" (APPNOTE 4.4.5).
pub(crate) const DEFLATED: u16 = 8;
/// A regular file that its owner may write and everybody may read: `S_IFREG | 0644` in the upper half, as the
/// "made by" system Unix puts it (APPNOTE 4.4.15).
pub(crate) const ATTRIBUTES: u32 = 0o100_644 << 16;

/// Level of deflate that the writer asks for: of the bundle of a ten-second ECG level 6 saves another 0.7 % and takes half as
/// long again.
pub(crate) const DEFLATE_LEVEL: u32 = 5;
/// No deflate stream grows by more (D. Fifield, "A better zip bomb", WOOT 2019: 1032).
pub(crate) const DEFLATE_RATIO: u64 = 1032;

/// Members of one bundle: one recording in every format takes about thirty.
pub(crate) const MAX_MEMBERS: usize = 256;
/// Bytes of one member: a quarter of a day of 12 leads at 500 Hz in 16 bits.
pub(crate) const MAX_MEMBER_BYTES: u64 = 256 << 20;
/// Bytes of all members.
pub(crate) const MAX_TOTAL_BYTES: u64 = 512 << 20;
/// Members up to this size may be compressed as far as deflate can: ten seconds of a flat line reach 1000:1.
pub(crate) const RATIO_FREE_BYTES: u64 = 16 << 20;
/// Larger members may be compressed this far; the writer stores what would be compressed further.
pub(crate) const MAX_RATIO: u64 = 200;
/// Components of a member's path, the top directory included.
pub(crate) const MAX_DEPTH: usize = 6;
/// Bytes of a member's path, the top directory included.
pub(crate) const MAX_PATH_BYTES: usize = 200;
/// Bytes of a safe name: leaves room for the stem and two directories within [`MAX_PATH_BYTES`].
pub(crate) const MAX_SAFE_NAME_BYTES: usize = 100;
/// Bytes of one tag file that is read as text: ten thousand members have manifests of 2 MB.
pub(crate) const MAX_TAG_BYTES: usize = 16 << 20;

/// Members of a ZIP that is not ours: what its end record can count without ZIP64 (APPNOTE 4.4.22).
pub(crate) const MAX_FOREIGN_MEMBERS: usize = 65_535;
/// Bytes that all members of a ZIP that is not ours may say they unpack to.
pub(crate) const MAX_FOREIGN_TOTAL_BYTES: u64 = 4 << 30;
/// Bytes that are unpacked at a time.
pub(crate) const CHUNK_BYTES: usize = 32 << 10;
/// The bits of a Unix mode that say what kind of file it is (POSIX.1, `S_IFMT`; the value is common practice).
pub(crate) const UNIX_TYPE: u32 = 0o170_000;
/// A regular file (POSIX.1, `S_IFREG`; the value is common practice).
pub(crate) const UNIX_REGULAR: u32 = 0o100_000;
