//! Whether a file is HDF5, and of our layout.

use ecgkeep_format::Match;

use crate::constants::{ABOUT, SCHEMA_FAMILY, SIGNATURE, SIGNATURE_PLACES};

/// Certain where the name of our layout stands in the first bytes of an HDF5 file (signature: file format specification,
/// section II.A). Another HDF5 file is one by its kind only: many are no recording.
pub(crate) fn probe(name: &str, head: &[u8]) -> Match {
    let is_hdf5 = SIGNATURE_PLACES
        .iter()
        .any(|at| head.get(*at..).is_some_and(|from_there| from_there.starts_with(SIGNATURE)));
    let family = SCHEMA_FAMILY.as_bytes();
    let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending);
    if is_hdf5 && head.windows(family.len()).any(|window| window == family) {
        Match::Certain
    } else if is_hdf5 {
        Match::ByKind
    } else if ABOUT.endings.iter().any(|own| own.eq_ignore_ascii_case(ending)) {
        Match::ByName
    } else {
        Match::No
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_name_of_the_layout_makes_certain() {
        let ours = [SIGNATURE, &[0; 100], b"schema", &[0; 20], b"ecgkeep-hdf5/1"].concat();
        assert_eq!(probe("a", &ours), Match::Certain);
        assert_eq!(probe("a.h5", &ours[8..]), Match::ByName);
        assert_eq!(probe("a", &[&[7; 512], &ours[..]].concat()), Match::Certain);
        assert_eq!(probe("a.nc", &ours[..60]), Match::ByKind);
        assert_eq!(probe("a.HDF5", b""), Match::ByName);
        assert_eq!(probe("a.dat", b"ecgkeep-hdf5/1"), Match::No);
    }
}
