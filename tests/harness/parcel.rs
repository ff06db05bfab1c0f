//! Several files as one run of bytes, for fuzzers and their fixtures: each file begins with a line `=== NAME`, the
//! first is the main one. The line feed before such a line belongs to it, not to the file above.

use ecgkeep_format::{File, Memory, plain_name};

const MARK: &[u8] = b"=== ";

/// The files of a parcel. Bytes that do not begin with such a line are the one file `r`.
#[must_use]
pub fn files(data: &[u8]) -> Vec<File> {
    let Some(data) = data.strip_prefix(MARK) else {
        return vec![File { name: "r".to_owned(), bytes: data.to_vec() }];
    };
    let between = [b"\n", MARK].concat();
    let mut files = Vec::new();
    let mut rest = Some(data);
    while let Some(data) = rest {
        let end = data.windows(between.len()).position(|window| window == between);
        let (file, behind) = match end {
            Some(end) => (&data[..end], Some(&data[end + between.len()..])),
            None => (data, None),
        };
        let line = file.iter().position(|byte| *byte == b'\n');
        let (name, bytes) = line.map_or((file, &[][..]), |line| (&file[..line], &file[line + 1..]));
        files.push(File { name: String::from_utf8_lossy(name).into_owned(), bytes: bytes.to_vec() });
        rest = behind;
    }
    files
}

/// The files of a parcel as a source.
#[must_use]
pub fn memory(data: &[u8]) -> Memory {
    let mut files = files(data);
    // Where a name is no name of a file, it is the caller that errs, not the input.
    if let Some(main) = files.first_mut().filter(|main| plain_name(&main.name).is_err()) {
        main.name = "r.hea".to_owned();
    }
    let main = files.first().map(|file| file.name.clone()).unwrap_or_default();
    Memory::new(main, files)
}

/// Files, the main one first, as a parcel.
#[must_use]
pub fn pack(files: &[File]) -> Vec<u8> {
    let pieces: Vec<Vec<u8>> =
        files.iter().map(|file| [MARK, file.name.as_bytes(), b"\n", &file.bytes].concat()).collect();
    pieces.join(&b'\n')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parcel_gives_back_its_files() {
        let file = |name: &str, bytes: &[u8]| File { name: name.to_owned(), bytes: bytes.to_vec() };
        let some = vec![file("r.hea", b"r 1\n"), file("r.dat", b"\0\n\n=="), file("r.atr", b"")];
        assert_eq!(files(&pack(&some)), some);
        assert_eq!(files(b"bare"), [file("r", b"bare")]);
        assert_eq!(files(b""), [file("r", b"")]);
    }
}
