//! `fetch.txt`: a URL, a length and a path on each line (RFC 8493, 2.2.3). Nothing is ever fetched.

use super::text::lines;
use super::{FETCH, path};
use crate::{Fault, FaultKind};

const CLAUSE: &str = "RFC 8493, 2.2.3";

/// The paths that are to be fetched.
pub(crate) fn read(text: &str, faults: &mut Vec<Fault>) -> Vec<String> {
    let mut paths = Vec::new();
    for (number, line) in (1..).zip(lines(text)) {
        let mut malformed = |what: String| {
            faults.push(Fault::of(FETCH, FaultKind::Malformed, format!("line {number}: {what}"), CLAUSE));
        };
        match parts(line) {
            None => malformed("not a URL, a length or \"-\", and a path".to_owned()),
            Some(path) => match path::listed(path, true) {
                Some(listed) => paths.push(listed.path),
                None => malformed(format!("the path leaves data/: {path:?}")),
            },
        }
    }
    paths
}

/// The path of a line whose URL has a scheme and whose length is a number or `-`.
fn parts(line: &str) -> Option<&str> {
    let (url, rest) = line.split_once([' ', '\t'])?;
    let (length, path) = rest.trim_start_matches([' ', '\t']).split_once([' ', '\t'])?;
    let (scheme, _) = url.split_once(':')?;
    let is_length = length == "-" || (!length.is_empty() && length.bytes().all(|byte| byte.is_ascii_digit()));
    (!scheme.is_empty() && is_length).then(|| path.trim_start_matches([' ', '\t']))
}
