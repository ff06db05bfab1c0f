//! Reading a ZIP under the narrow grammar: structure only, nothing is inflated.

use ecgkeep_format::{Cursor, Error, Kind, Place, Result};

use super::Entry;
use super::header::{Header, Packing, fixed, signature};
use crate::constants::{
    DEFLATE_RATIO, DIRECTORY_BYTES, END_BYTES, END_SIGNATURE, LOCAL_BYTES, LOCAL_SIGNATURE, MAX_MEMBER_BYTES,
    MAX_MEMBERS, MAX_RATIO, MAX_TOTAL_BYTES, RATIO_FREE_BYTES,
};
use crate::names;

const REMEDY: &str = "this is not a bundle as it was sealed: get the file again from where it was kept";

/// The members of a ZIP in the order of its directory, which is that of the file.
/// # Errors
/// [`Kind::Malformed`] and [`Kind::Truncated`] for any departure from the grammar, [`Kind::Limit`] for more than
/// the caps of this crate; the place is the byte, and the member where it is known.
pub(crate) fn entries(file: &str, bytes: &[u8]) -> Result<Vec<Entry>> {
    walk(file, bytes).map_err(|error| match error.kind() {
        Kind::Limit => error,
        _ => error.remedy(REMEDY),
    })
}

fn walk(file: &str, bytes: &[u8]) -> Result<Vec<Entry>> {
    let end = read_end(file, bytes)?;
    let place = |byte: usize| Place::file(file).byte(byte as u64);
    let mut whole = Cursor::new(file, &bytes[..end.directory + end.directory_bytes]);
    whole.take(end.directory)?;
    let mut entries: Vec<Entry> = Vec::with_capacity(end.count);
    let mut total = 0_u64;
    let mut position = 0;
    for index in 0..end.count {
        let entry_byte = whole.position();
        let (header, offset) = Header::read_directory(&mut whole)
            .map_err(|error| error.within(format!("directory entry {}", index + 1)))?;
        let name = String::from_utf8_lossy(&header.name).into_owned();
        if offset as usize != position {
            return Err(Error::malformed(
                place(entry_byte).part(name),
                format!(
                    "the directory puts its local header at byte {offset}, the member before it ends at {position}"
                ),
            ));
        }
        let packed = read_local(file, &bytes[..end.directory], position, &header)
            .map_err(|error| error.at(Place::default().part(name.clone())))?;
        total += u64::from(header.size);
        check_size(&header, total).map_err(|error| error.at(place(entry_byte).part(name)))?;
        position = packed.end;
        entries.push(Entry { header, packed });
    }
    if whole.left() != 0 {
        let text = format!("{} bytes between the last directory entry and the end record", whole.left());
        return Err(Error::malformed(whole.place(), text));
    }
    if position != end.directory {
        let text = format!("{} bytes between the last member and the directory", end.directory - position);
        return Err(Error::malformed(place(position), text));
    }
    names::check_tree(entries.iter().map(|entry| entry.header.name.as_slice()))
        .map_err(|error| error.at(Place::file(file)))?;
    Ok(entries)
}

struct End {
    count: usize,
    directory: usize,
    directory_bytes: usize,
}

/// The last 22 bytes: one disk, equal counts, no comment, the directory right before (APPNOTE 4.3.16).
fn read_end(file: &str, bytes: &[u8]) -> Result<End> {
    let Some(end_byte) = bytes.len().checked_sub(END_BYTES) else {
        let text = format!("a ZIP has at least {END_BYTES} bytes, this file {}", bytes.len());
        return Err(Error::new(Kind::Truncated, text).at(Place::file(file)));
    };
    let mut cursor = Cursor::new(file, bytes).in_part("end record", "APPNOTE 4.3.16");
    cursor.take(end_byte)?;
    if bytes[end_byte..end_byte + 4] != END_SIGNATURE.to_le_bytes() {
        return Err(no_end(file, bytes, end_byte));
    }
    signature(&mut cursor, END_SIGNATURE, "the end record")?;
    fixed(&mut cursor, "disk", 0)?;
    fixed(&mut cursor, "disk of the directory", 0)?;
    let count = cursor.u16()?;
    fixed(&mut cursor, "number of members", count)?;
    let (directory_bytes, directory) = (cursor.u32()? as usize, cursor.u32()? as usize);
    fixed(&mut cursor, "length of the comment", 0)?;
    let place = Place::file(file).part("end record").byte(end_byte as u64);
    if directory.checked_add(directory_bytes) != Some(end_byte) {
        let text = format!(
            "the directory is said to take {directory_bytes} bytes from byte {directory}, it must end at byte {end_byte}"
        );
        return Err(Error::malformed(place, text));
    }
    let count = usize::from(count);
    if count > MAX_MEMBERS {
        return Err(Error::new(Kind::Limit, format!("{count} members, the limit is {MAX_MEMBERS}")).at(place));
    }
    if count == 0 || count > directory_bytes / DIRECTORY_BYTES {
        let text = format!("{count} members in a directory of {directory_bytes} bytes");
        return Err(Error::malformed(place, text));
    }
    Ok(End { count, directory, directory_bytes })
}

/// Why the last 22 bytes are no end record: cut, or followed by something.
fn no_end(file: &str, bytes: &[u8], end_byte: usize) -> Error {
    let place = Place::file(file).byte(end_byte as u64);
    let earlier = bytes.windows(4).rposition(|window| window == END_SIGNATURE.to_le_bytes());
    match earlier {
        Some(byte) => Error::malformed(
            place,
            format!("bytes follow the end record at byte {byte}: a comment, or something was appended"),
        ),
        None if bytes.starts_with(&LOCAL_SIGNATURE.to_le_bytes()) => {
            Error::new(Kind::Truncated, "the end record is missing: the file was cut").at(place)
        }
        None => Error::malformed(place, "not a ZIP: no end record in the last 22 bytes"),
    }
}

/// The local header at `position`, equal to the directory's, and where its packed bytes lie.
fn read_local(
    file: &str,
    members: &[u8],
    position: usize,
    expected: &Header,
) -> Result<std::ops::Range<usize>> {
    let mut cursor = Cursor::new(file, members);
    cursor.take(position)?;
    let found = Header::read_local(&mut cursor)?;
    let Header { name, packing, crc, packed, size } = expected;
    let differs = [
        ("name", found.name != *name),
        ("compression method", found.packing != *packing),
        ("CRC-32", found.crc != *crc),
        ("packed size", found.packed != *packed),
        ("size", found.size != *size),
    ];
    if let Some((field, _)) = differs.iter().find(|(_, differs)| *differs) {
        let text = format!("the {field} in the local header is not that of the directory");
        return Err(Error::malformed(Place::file(file).byte(position as u64), text));
    }
    let start = position + LOCAL_BYTES + name.len();
    cursor.take(*packed as usize)?;
    Ok(start..start + *packed as usize)
}

/// The sizes a member may claim; `total` counts it already.
fn check_size(header: &Header, total: u64) -> Result<()> {
    let (packed, size) = (u64::from(header.packed), u64::from(header.size));
    let malformed = |what: String| Err(Error::new(Kind::Malformed, what));
    let limit = |what: String| Err(Error::new(Kind::Limit, what));
    match header.packing {
        Packing::Stored if packed != size => malformed(format!("{size} bytes stored in {packed}")),
        Packing::Deflated if packed >= size => {
            malformed(format!("{size} bytes deflated to {packed}: a bundle stores what does not shrink"))
        }
        Packing::Deflated if size > packed * DEFLATE_RATIO => {
            malformed(format!("{packed} packed bytes cannot hold {size}"))
        }
        _ if size > MAX_MEMBER_BYTES => limit(format!("{size} bytes, the limit is {MAX_MEMBER_BYTES}")),
        _ if total > MAX_TOTAL_BYTES => {
            limit(format!("{total} bytes up to this member, the limit is {MAX_TOTAL_BYTES}"))
        }
        Packing::Deflated if size > RATIO_FREE_BYTES && size > packed * MAX_RATIO => limit(format!(
            "{packed} bytes unpack to {size}, above {RATIO_FREE_BYTES} bytes the limit is {MAX_RATIO} to 1"
        )),
        _ => Ok(()),
    }
}
