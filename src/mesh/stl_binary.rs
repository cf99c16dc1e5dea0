//! Binary STL: 80 bytes of header, a count, 50 bytes a triangle, little-endian.
//!
//! Our own reader, because `stl_io` goes through a reader object triangle by triangle; this one
//! decodes slices in parallel, and the file's kind is known from its length before it starts.

use super::read::Facet;
use rayon::prelude::*;

/// Bytes before the first triangle.
pub(super) const HEAD: usize = 84;
/// Bytes a triangle.
pub(super) const RECORD: usize = 50;

/// The number of triangles that the header declares; `None` when there is no whole header.
pub(super) fn declared(head: &[u8]) -> Option<u32> {
    Some(u32::from_le_bytes(head.get(80..HEAD)?.try_into().ok()?))
}

/// The declared count, if a file that starts with `head` and is `len` bytes long has just the length for it.
pub(super) fn exact_count(head: &[u8], len: u64) -> Option<u32> {
    let count = declared(head)?;
    (len == HEAD as u64 + RECORD as u64 * u64::from(count)).then_some(count)
}

/// The triangles of a file of the right length. Stored normals are left alone: corners tell the side.
pub(super) fn facets(bytes: &[u8]) -> Vec<Facet> {
    let mut facets = vec![Facet::default(); bytes.len().saturating_sub(HEAD) / RECORD];
    let records = bytes[HEAD.min(bytes.len())..].par_chunks_exact(RECORD);
    facets
        .par_iter_mut()
        .zip(records)
        .with_min_len(4096)
        .for_each(|(facet, record)| {
            let mut numbers = record[12..48]
                .as_chunks::<4>()
                .0
                .iter()
                .map(|b| f32::from_le_bytes(*b));
            for x in facet.as_flattened_mut() {
                *x = numbers.next().unwrap_or(f32::NAN);
            }
        });
    facets
}
