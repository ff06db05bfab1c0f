//! Walking through bytes; the cursor adds the place to every error.

use crate::{Error, Kind, Place, Result};

/// A position in the bytes of one file or of one part of it.
///
/// Multi-byte numbers are little-endian unless the name says otherwise.
#[derive(Clone, Debug)]
pub struct Cursor<'a> {
    bytes: &'a [u8],
    position: usize,
    /// Bytes of the file before `bytes[0]`.
    base: u64,
    file: &'a str,
    part: String,
    clause: Option<&'static str>,
}

impl<'a> Cursor<'a> {
    /// A cursor at the first byte of a file.
    #[must_use]
    pub fn new(file: &'a str, bytes: &'a [u8]) -> Cursor<'a> {
        Cursor { bytes, position: 0, base: 0, file, part: String::new(), clause: None }
    }

    /// The same cursor, its errors naming this part and clause.
    #[must_use]
    pub fn in_part(mut self, part: impl Into<String>, clause: &'static str) -> Cursor<'a> {
        self.part = part.into();
        self.clause = Some(clause);
        self
    }

    /// The place of the next byte.
    #[must_use]
    pub fn place(&self) -> Place {
        let place = Place::file(self.file).byte(self.base + self.position as u64);
        if self.part.is_empty() { place } else { place.part(self.part.clone()) }
    }

    /// [`Kind::Malformed`] at the next byte: `what` was found where `expected` was.
    #[must_use]
    pub fn malformed(&self, what: &str, found: impl std::fmt::Display, expected: &str) -> Error {
        let text = format!("{what} is {found}, expected {expected}");
        self.error(Kind::Malformed, text)
    }

    fn error(&self, kind: Kind, what: String) -> Error {
        let error = Error::new(kind, what).at(self.place());
        match self.clause {
            Some(clause) => error.clause(clause),
            None => error,
        }
    }

    /// Bytes left.
    #[must_use]
    pub fn left(&self) -> usize {
        self.bytes.len() - self.position
    }

    /// Bytes read since the cursor was made.
    #[must_use]
    pub fn position(&self) -> usize {
        self.position
    }

    /// The next `count` bytes.
    /// # Errors
    /// [`Kind::Truncated`] where fewer are left.
    pub fn take(&mut self, count: usize) -> Result<&'a [u8]> {
        if count > self.left() {
            let text = format!("needs {count} more bytes, {} left", self.left());
            return Err(self.error(Kind::Truncated, text));
        }
        let taken = &self.bytes[self.position..self.position + count];
        self.position += count;
        Ok(taken)
    }

    /// A cursor over the next `count` bytes, which are passed over here.
    /// # Errors
    /// [`Kind::Truncated`] where fewer are left.
    pub fn part(&mut self, count: usize) -> Result<Cursor<'a>> {
        let base = self.base + self.position as u64;
        let bytes = self.take(count)?;
        Ok(Cursor { bytes, position: 0, base, file: self.file, part: self.part.clone(), clause: self.clause })
    }

    /// What is left, passed over.
    pub fn rest(&mut self) -> &'a [u8] {
        let rest = &self.bytes[self.position..];
        self.position = self.bytes.len();
        rest
    }

    fn array<const N: usize>(&mut self) -> Result<[u8; N]> {
        let bytes = self.take(N)?;
        Ok(std::array::from_fn(|index| bytes[index]))
    }

    /// One byte.
    /// # Errors
    /// [`Kind::Truncated`] at the end.
    pub fn u8(&mut self) -> Result<u8> {
        Ok(self.array::<1>()?[0])
    }

    /// An unsigned 16-bit number.
    /// # Errors
    /// [`Kind::Truncated`] at the end.
    pub fn u16(&mut self) -> Result<u16> {
        Ok(u16::from_le_bytes(self.array()?))
    }

    /// A signed 16-bit number.
    /// # Errors
    /// [`Kind::Truncated`] at the end.
    pub fn i16(&mut self) -> Result<i16> {
        Ok(i16::from_le_bytes(self.array()?))
    }

    /// An unsigned 32-bit number.
    /// # Errors
    /// [`Kind::Truncated`] at the end.
    pub fn u32(&mut self) -> Result<u32> {
        Ok(u32::from_le_bytes(self.array()?))
    }

    /// A signed 32-bit number.
    /// # Errors
    /// [`Kind::Truncated`] at the end.
    pub fn i32(&mut self) -> Result<i32> {
        Ok(i32::from_le_bytes(self.array()?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_names_file_part_byte_and_clause() {
        let bytes = [1, 2, 3, 4, 5];
        let mut cursor = Cursor::new("r.scp", &bytes).in_part("section 6", "EN 1064, 5.9.4");
        assert_eq!(cursor.u16().unwrap(), 0x0201);
        let mut part = cursor.part(2).unwrap();
        assert_eq!(part.u8().unwrap(), 3);
        assert_eq!(
            part.u16().unwrap_err().to_string(),
            "r.scp, section 6, byte 3: needs 2 more bytes, 1 left (EN 1064, 5.9.4)"
        );
        assert_eq!(cursor.rest(), [5]);
        assert_eq!(cursor.left(), 0);
    }
}
