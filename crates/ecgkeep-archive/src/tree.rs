//! The Merkle tree of RFC 6962, 2.1: roots, inclusion proofs, consistency proofs.

use std::ops::Range;

use ecgkeep_format::{Error, Kind, Result};
use sha2::{Digest as _, Sha256};

/// The hash of a leaf or a node.
pub type Hash = [u8; 32];

/// The hash of a leaf: SHA-256(0x00, line without its line feed).
#[must_use]
pub fn leaf(line: &[u8]) -> Hash {
    Sha256::new_with_prefix([0]).chain_update(line).finalize().into()
}

/// The hash of a node: SHA-256(0x01, left, right).
#[must_use]
pub fn node(left: &Hash, right: &Hash) -> Hash {
    Sha256::new_with_prefix([1]).chain_update(left).chain_update(right).finalize().into()
}

/// A tree that only grows: the roots of its full subtrees, the largest first.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Frontier {
    size: u64,
    peaks: Vec<Hash>,
}

impl Frontier {
    /// How many leaves it has.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.size
    }

    /// Adds a leaf.
    pub fn push(&mut self, leaf: Hash) {
        self.push_full(leaf, 0);
    }

    /// Adds a full subtree of 2^`level` leaves; the size so far is a multiple of that.
    pub(crate) fn push_full(&mut self, root: Hash, level: u32) {
        debug_assert!(self.size.is_multiple_of(1 << level));
        let mut root = root;
        for _ in 0..(self.size >> level).trailing_ones() {
            let left = self.peaks.pop().expect("a peak for every bit of the size");
            root = node(&left, &root);
        }
        self.peaks.push(root);
        self.size += 1 << level;
    }

    /// The root; of no leaves the SHA-256 of nothing.
    #[must_use]
    pub fn root(&self) -> Hash {
        let mut peaks = self.peaks.iter().rev().copied();
        let Some(last) = peaks.next() else { return Sha256::digest([]).into() };
        peaks.fold(last, |right, left| node(&left, &right))
    }
}

/// Where the hashes of subtrees come from.
pub trait Subtrees {
    /// The hash of the leaves in `range` if it is at hand; must be given for a single leaf.
    /// # Errors
    /// Those of reading.
    fn known(&self, range: &Range<u64>) -> Result<Option<Hash>>;
}

impl Subtrees for [Hash] {
    fn known(&self, range: &Range<u64>) -> Result<Option<Hash>> {
        let index = usize::try_from(range.start).unwrap_or(usize::MAX);
        Ok(if range.end - range.start == 1 { self.get(index).copied() } else { None })
    }
}

/// The root over a range of leaves (RFC 6962, 2.1, "MTH").
/// # Errors
/// [`Kind::Internal`] for a leaf that is not there; those of `tree`.
pub fn root(tree: &(impl Subtrees + ?Sized), range: Range<u64>) -> Result<Hash> {
    if range.is_empty() {
        return Ok(Sha256::digest([]).into());
    }
    if let Some(hash) = tree.known(&range)? {
        return Ok(hash);
    }
    if range.end - range.start == 1 {
        return Err(Error::new(Kind::Internal, format!("leaf {} of the tree is not at hand", range.start)));
    }
    let middle = range.start + split(range.end - range.start);
    Ok(node(&root(tree, range.start..middle)?, &root(tree, middle..range.end)?))
}

/// The inclusion path of leaf `index` in the first `size` leaves, from the leaf up (RFC 6962, 2.1.1).
/// # Errors
/// [`Kind::Usage`] for an index that is not below the size; those of `tree`.
pub fn inclusion(tree: &(impl Subtrees + ?Sized), index: u64, size: u64) -> Result<Vec<Hash>> {
    if index >= size {
        return Err(Error::new(Kind::Usage, format!("no line {index} among the first {size}")));
    }
    let mut range = 0..size;
    let mut path = Vec::new();
    while range.end - range.start > 1 {
        let middle = range.start + split(range.end - range.start);
        let (into, beside) = if index < middle {
            (range.start..middle, middle..range.end)
        } else {
            (middle..range.end, range.start..middle)
        };
        path.push(root(tree, beside)?);
        range = into;
    }
    path.reverse();
    Ok(path)
}

/// The root that a leaf and its inclusion path lead to; `None` for a path of the wrong length (RFC 9162, 2.1.3.2).
#[must_use]
pub fn root_of_inclusion(leaf: Hash, index: u64, size: u64, path: &[Hash]) -> Option<Hash> {
    if index >= size {
        return None;
    }
    let (mut index, mut last, mut root) = (index, size - 1, leaf);
    for beside in path {
        if last == 0 {
            return None;
        }
        if index & 1 == 1 || index == last {
            root = node(beside, &root);
            while index & 1 == 0 && index != 0 {
                index >>= 1;
                last >>= 1;
            }
        } else {
            root = node(&root, beside);
        }
        index >>= 1;
        last >>= 1;
    }
    (last == 0).then_some(root)
}

/// The proof that the first `old` leaves are the beginning of the first `size` ones (RFC 6962, 2.1.2).
/// # Errors
/// [`Kind::Usage`] for an old size of 0 or above the size; those of `tree`.
pub fn consistency(tree: &(impl Subtrees + ?Sized), old: u64, size: u64) -> Result<Vec<Hash>> {
    if old == 0 || old > size {
        return Err(Error::new(Kind::Usage, format!("no proof from {old} lines to {size}")));
    }
    let (mut range, mut old, mut is_whole) = (0..size, old, true);
    let mut path = Vec::new();
    while old != range.end - range.start {
        let half = split(range.end - range.start);
        let middle = range.start + half;
        if old <= half {
            path.push(root(tree, middle..range.end)?);
            range = range.start..middle;
        } else {
            path.push(root(tree, range.start..middle)?);
            range = middle..range.end;
            old -= half;
            is_whole = false;
        }
    }
    if !is_whole {
        path.push(root(tree, range)?);
    }
    path.reverse();
    Ok(path)
}

/// Whether a consistency proof leads from one root to the other (RFC 9162, 2.1.4.2).
#[must_use]
pub fn is_consistent(old: (u64, &Hash), new: (u64, &Hash), path: &[Hash]) -> bool {
    let ((old_size, old_root), (size, new_root)) = (old, new);
    if old_size == 0 || old_size > size {
        return false;
    }
    if old_size == size {
        return path.is_empty() && old_root == new_root;
    }
    let first = if old_size.is_power_of_two() { Some(*old_root) } else { None };
    let mut path = first.into_iter().chain(path.iter().copied());
    let Some(start) = path.next() else { return false };
    let (mut index, mut last) = (old_size - 1, size - 1);
    while index & 1 == 1 {
        index >>= 1;
        last >>= 1;
    }
    let (mut from, mut to) = (start, start);
    for beside in path {
        if last == 0 {
            return false;
        }
        if index & 1 == 1 || index == last {
            from = node(&beside, &from);
            to = node(&beside, &to);
            while index & 1 == 0 && index != 0 {
                index >>= 1;
                last >>= 1;
            }
        } else {
            to = node(&to, &beside);
        }
        index >>= 1;
        last >>= 1;
    }
    last == 0 && from == *old_root && to == *new_root
}

/// The largest power of two below `leaves`, which is at least 2.
fn split(leaves: u64) -> u64 {
    1 << (63 - (leaves - 1).leading_zeros())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Leaves and roots of certificate-transparency, cpp/merkletree/merkle_tree_test.cc (from memory; a wrong one
    /// could not come out of SHA-256).
    const LEAVES: [&[u8]; 8] = [
        b"",
        b"\x00",
        b"\x10",
        b"\x20\x21",
        b"\x30\x31",
        b"\x40\x41\x42\x43",
        b"\x50\x51\x52\x53\x54\x55\x56\x57",
        b"\x60\x61\x62\x63\x64\x65\x66\x67\x68\x69\x6a\x6b\x6c\x6d\x6e\x6f",
    ];
    const ROOTS: [&str; 8] = [
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
        "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
        "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
        "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
    ];

    #[test]
    fn roots_are_those_of_the_published_vectors() {
        let leaves: Vec<Hash> = LEAVES.iter().map(|line| leaf(line)).collect();
        let mut frontier = Frontier::default();
        // RFC 6962, 2.1: the hash of an empty list is that of an empty string.
        let nothing = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";
        assert_eq!(crate::word::Digest(frontier.root()).to_string(), nothing);
        for (size, expected) in (1..).zip(ROOTS) {
            frontier.push(leaves[size - 1]);
            assert_eq!(crate::word::Digest(frontier.root()).to_string(), expected, "{size} leaves");
            assert_eq!(root(&leaves[..], 0..size as u64).unwrap(), frontier.root());
        }
    }

    #[test]
    fn a_frontier_takes_full_subtrees_and_leaves_alike() {
        let leaves: Vec<Hash> = (0..23_u8).map(|i| leaf(&[i])).collect();
        let mut one_by_one = Frontier::default();
        leaves.iter().for_each(|leaf| one_by_one.push(*leaf));
        let mut by_subtree = Frontier::default();
        by_subtree.push_full(root(&leaves[..], 0..8).unwrap(), 3);
        by_subtree.push_full(root(&leaves[..], 8..16).unwrap(), 3);
        leaves[16..].iter().for_each(|leaf| by_subtree.push(*leaf));
        assert_eq!(one_by_one, by_subtree);
    }

    #[test]
    fn what_is_out_of_range_has_no_proof() {
        let leaves: Vec<Hash> = (0..5_u8).map(|i| leaf(&[i])).collect();
        assert!(inclusion(&leaves[..], 5, 5).is_err());
        assert!(inclusion(&leaves[..], 0, 6).is_err(), "leaf 5 is not at hand");
        assert!(consistency(&leaves[..], 0, 5).is_err());
        assert!(consistency(&leaves[..], 6, 5).is_err());
        assert_eq!(root_of_inclusion(leaves[0], 5, 5, &[]), None);
    }
}
