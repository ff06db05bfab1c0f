//! The tree against an independent one: the crate `ct-merkle` 0.3 (RFC 6962 and 9162).

use ct_merkle::mem_backed_tree::MemoryBackedTree;
use ct_merkle::{ConsistencyProof, InclusionProof, RootHash};
use ecgkeep_archive::tree::{
    Frontier, Hash, consistency, inclusion, is_consistent, leaf, root, root_of_inclusion,
};
use sha2::Sha256;

type Theirs = MemoryBackedTree<Sha256, Vec<u8>>;

fn line(index: u64) -> Vec<u8> {
    format!("line {index}").into_bytes()
}

fn both(size: u64) -> (Vec<Hash>, Theirs) {
    let mut theirs = Theirs::new();
    (0..size).for_each(|index| theirs.push(line(index)));
    ((0..size).map(|index| leaf(&line(index))).collect(), theirs)
}

fn path_of(bytes: &[u8]) -> Vec<Hash> {
    bytes.chunks(32).map(|hash| hash.try_into().expect("32 bytes")).collect()
}

fn their_root(root: Hash, size: u64) -> RootHash<Sha256> {
    RootHash::new(root.into(), size)
}

#[test]
fn roots_and_inclusion_proofs_are_theirs() {
    let sizes = (1..=70).chain([127, 128, 129, 255, 256, 257, 1000, 1023, 1024, 1025]);
    let mut proofs = 0;
    for size in sizes {
        let (leaves, theirs) = both(size);
        let mut frontier = Frontier::default();
        leaves.iter().for_each(|leaf| frontier.push(*leaf));
        let ours = root(&leaves[..], 0..size).unwrap();
        assert_eq!(ours, frontier.root());
        assert_eq!(ours[..], theirs.root().as_bytes()[..], "{size}");
        for index in (0..size).filter(|index| size <= 70 || index % 37 == 0 || index + 2 >= size) {
            let path = inclusion(&leaves[..], index, size).unwrap();
            let proof = theirs.prove_inclusion(usize::try_from(index).unwrap());
            assert_eq!(path, path_of(proof.as_bytes()), "{index} of {size}");
            assert_eq!(root_of_inclusion(leaf(&line(index)), index, size, &path), Some(ours));
            let proof = InclusionProof::<Sha256>::from_bytes(path.concat());
            their_root(ours, size).verify_inclusion(&line(index), index, &proof).unwrap();
            proofs += 1;
        }
    }
    println!("{proofs} inclusion proofs");
}

#[test]
fn consistency_proofs_are_theirs() {
    let (leaves, _) = both(300);
    let mut proofs = 0;
    for size in (1..=64_u64).chain([100, 128, 129, 255, 256, 257, 300]) {
        let (_, theirs) = both(size);
        let new = root(&leaves[..], 0..size).unwrap();
        for old in 1..=size {
            let path = consistency(&leaves[..], old, size).unwrap();
            let proof = theirs.prove_consistency(usize::try_from(size - old).unwrap());
            assert_eq!(path, path_of(proof.as_bytes()), "from {old} to {size}");
            let before = root(&leaves[..], 0..old).unwrap();
            assert!(is_consistent((old, &before), (size, &new), &path));
            if old < size {
                let proof = ConsistencyProof::<Sha256>::try_from_bytes(path.concat()).unwrap();
                their_root(new, size).verify_consistency(&their_root(before, old), &proof).unwrap();
            }
            proofs += 1;
        }
    }
    println!("{proofs} consistency proofs");
}

#[test]
fn a_changed_proof_proves_nothing() {
    let (leaves, _) = both(50);
    let new = root(&leaves[..], 0..50).unwrap();
    for old in 1..50 {
        let before = root(&leaves[..], 0..old).unwrap();
        let path = consistency(&leaves[..], old, 50).unwrap();
        assert!(!is_consistent((old, &new), (50, &new), &path));
        assert!(!is_consistent((old, &before), (50, &before), &path));
        for at in 0..path.len() {
            let mut changed = path.clone();
            changed[at][31] ^= 1;
            assert!(!is_consistent((old, &before), (50, &new), &changed), "{old} {at}");
            changed.remove(at);
            assert!(!is_consistent((old, &before), (50, &new), &changed), "{old} {at}");
        }
        let path = inclusion(&leaves[..], old, 50).unwrap();
        for at in 0..path.len() {
            let mut changed = path.clone();
            changed[at][0] ^= 0x80;
            assert_ne!(root_of_inclusion(leaf(&line(old)), old, 50, &changed), Some(new));
            changed.remove(at);
            assert_ne!(root_of_inclusion(leaf(&line(old)), old, 50, &changed), Some(new));
        }
        assert_ne!(root_of_inclusion(leaf(&line(0)), old, 50, &path), Some(new));
    }
}
