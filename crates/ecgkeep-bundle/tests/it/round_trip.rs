//! Any members: what is packed is what is read, in our reader and in another.

use std::io::Read as _;

use proptest::collection::{btree_map, vec};
use proptest::prelude::*;

use ecgkeep_bundle::{Member, pack, safe_names};

use crate::sample::{self, info, member};

/// Bytes with much, some or no repetition.
fn content() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        vec(any::<u8>(), 0..3000),
        vec(0..4_u8, 0..3000),
        (any::<u8>(), 0..80_000_usize).prop_map(|(byte, length)| vec![byte; length]),
    ]
}

fn members() -> impl Strategy<Value = Vec<Member>> {
    let path =
        "data/[a-z0-9]{1,8}\\.[a-z]{1,3}|metadata/[a-z0-9]{1,8}\\.json|data/x-[a-z]{1,3}/[0-9]{1,2}\\.d";
    btree_map(path, content(), 0..12).prop_map(|files| {
        let mut members: Vec<Member> = files.into_iter().map(|(name, bytes)| member(&name, bytes)).collect();
        members.push(member("data/z_always", "x"));
        members
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_packed_is_what_is_read(members in members(), stem in "[a-z0-9]{1,40}(\\.r[0-9])?") {
        prop_assume!(pack(&stem, &info(), vec![member("data/a", "x")]).is_ok()); // not "con"
        let Ok(bytes) = pack(&stem, &info(), members.clone()) else {
            // Only a device name among the components is refused: "nul.txt", "com1".
            let is_device = |name: &str| {
                let stem = name.split('.').next().unwrap_or_default();
                matches!(stem, "con" | "prn" | "aux" | "nul") || (stem.len() == 4 && (stem.starts_with("com") || stem.starts_with("lpt")))
            };
            prop_assert!(members.iter().any(|one| one.name.split('/').any(is_device)));
            return Ok(());
        };
        let bundle = sample::open(bytes.clone()).unwrap();
        prop_assert_eq!(bundle.stem(), &stem);
        prop_assert_eq!(bundle.verify(), vec![]);
        let mut other = zip::ZipArchive::new(std::io::Cursor::new(&bytes)).unwrap();
        prop_assert_eq!(other.len(), members.len() + 4);
        for one in &members {
            prop_assert_eq!(&bundle.member(&one.name).unwrap(), &one.bytes);
            let mut read = Vec::new();
            other.by_name(&format!("{stem}/{}", one.name)).unwrap().read_to_end(&mut read).unwrap();
            prop_assert_eq!(&read, &one.bytes);
        }
    }

    #[test]
    fn any_names_get_safe_names_that_pack(originals in vec(any::<String>(), 1..12)) {
        let names = safe_names(&originals);
        prop_assert_eq!(names.iter().map(|(original, _)| original.clone()).collect::<Vec<_>>(), originals);
        let members = names.iter().map(|(_, safe)| member(&format!("data/original/{safe}"), "x")).collect();
        prop_assert!(pack("b", &info(), members).is_ok(), "{:?}", names);
    }

    #[test]
    fn any_bytes_are_answered_without_a_panic(bytes in vec(any::<u8>(), 0..400), at in 0..1700_usize) {
        let _ = sample::open(bytes.clone()).map(|bundle| bundle.verify());
        let mut zip = sample::bytes();
        let at = at.min(zip.len());
        let end = (at + bytes.len()).min(zip.len());
        zip.splice(at..end, bytes);
        let _ = sample::open(zip).map(|bundle| bundle.verify());
    }
}
