//! A tiny bundle byte for byte: another deflate, or another order, would seal the same recording otherwise.

use ecgkeep_bundle::pack;
use sha2::{Digest as _, Sha256};

use crate::bag_files::hex;
use crate::sample::{self, info, member};

/// The end of the first local header and all of the first member, field by field (APPNOTE 6.3.10, 4.3.7).
#[test]
fn the_first_member_field_by_field() {
    let zip = pack("b", &info(), vec![member("data/a", "x")]).unwrap();
    #[rustfmt::skip]
    let header = [
        0x50, 0x4B, 0x03, 0x04, // signature
        0x14, 0x00,             // version needed: 2.0
        0x00, 0x08,             // flags: UTF-8 names
        0x00, 0x00,             // method: stored, since deflate does not shrink it
        0x00, 0x00,             // time
        0x21, 0x00,             // date: 1980-01-01
        0x73, 0xA8, 0xFF, 0x85, // CRC-32: 0x85ffa873 (Python, zlib.crc32)
        0x36, 0x00, 0x00, 0x00, // packed size: 54
        0x36, 0x00, 0x00, 0x00, // size: 54
        0x0B, 0x00,             // length of the name
        0x00, 0x00,             // length of the extra field
    ];
    assert_eq!(zip[..30], header);
    assert_eq!(&zip[30..41], b"b/bagit.txt");
    assert_eq!(&zip[41..95], b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n");
    assert_eq!(&zip[95..99], b"PK\x03\x04");
}

#[test]
fn the_sample_bundle_is_the_same_as_ever() {
    let zip = sample::bytes();
    let expected = "cc2c7f4b8b12491a1ee4cd79db486f8a8b9efcb56623a6707d491fd5333189ab";
    assert_eq!((zip.len(), hex(&Sha256::digest(&zip)).as_str()), (2603, expected));
}
