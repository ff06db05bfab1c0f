//! A ZIP put together field by field (APPNOTE 6.3.10), apart from the crate's own writer; any field can be wrong.

#[derive(Clone)]
pub struct Entry {
    pub name: Vec<u8>,
    pub method: u16,
    pub crc: u32,
    pub packed: Vec<u8>,
    pub size: u32,
}

/// A stored entry.
pub fn stored(name: &str, bytes: &[u8]) -> Entry {
    let mut crc = flate2::Crc::new();
    crc.update(bytes);
    Entry {
        name: name.as_bytes().to_vec(),
        method: 0,
        crc: crc.sum(),
        packed: bytes.to_vec(),
        size: u32::try_from(bytes.len()).unwrap(),
    }
}

/// An entry with these packed bytes, said to unpack to `bytes`.
pub fn deflated(name: &str, packed: &[u8], bytes: &[u8]) -> Entry {
    Entry { method: 8, packed: packed.to_vec(), ..stored(name, bytes) }
}

pub fn zip(entries: &[Entry]) -> Vec<u8> {
    let mut out = Vec::new();
    let mut directory = Vec::new();
    for entry in entries {
        let offset = u32::try_from(out.len()).unwrap();
        let mut common = Vec::new();
        common.extend(20_u16.to_le_bytes()); // version needed to extract
        common.extend(0x0800_u16.to_le_bytes()); // flags: names are UTF-8
        common.extend(entry.method.to_le_bytes());
        common.extend(0_u16.to_le_bytes()); // time
        common.extend(0x21_u16.to_le_bytes()); // date: 1980-01-01
        common.extend(entry.crc.to_le_bytes());
        common.extend(u32::try_from(entry.packed.len()).unwrap().to_le_bytes());
        common.extend(entry.size.to_le_bytes());
        common.extend(u16::try_from(entry.name.len()).unwrap().to_le_bytes());
        common.extend(0_u16.to_le_bytes()); // extra field
        out.extend(b"PK\x03\x04");
        out.extend(&common);
        out.extend(&entry.name);
        out.extend(&entry.packed);
        directory.extend(b"PK\x01\x02");
        directory.extend(0x0314_u16.to_le_bytes()); // made by: Unix, 2.0
        directory.extend(&common);
        directory.extend([0; 6]); // comment, disk, internal attributes
        directory.extend(0x81A4_0000_u32.to_le_bytes()); // a regular file, 0644
        directory.extend(offset.to_le_bytes());
        directory.extend(&entry.name);
    }
    let at = u32::try_from(out.len()).unwrap();
    let count = u16::try_from(entries.len()).unwrap();
    out.extend(&directory);
    out.extend(b"PK\x05\x06\0\0\0\0");
    out.extend(count.to_le_bytes());
    out.extend(count.to_le_bytes());
    out.extend(u32::try_from(directory.len()).unwrap().to_le_bytes());
    out.extend(at.to_le_bytes());
    out.extend([0, 0]); // comment
    out
}
