//! Giving corners at the same place the same number.

use super::read::Facet;
use super::{Mesh, Point};
use rayon::prelude::*;
use std::collections::HashMap;
use std::sync::atomic::{AtomicU32, Ordering::Relaxed};

/// No corner.
const EMPTY: u32 = u32::MAX;
/// Triangles that one task takes.
const CHUNK: usize = 1 << 14;
/// Corners for which one table stays in the cache.
const PART: usize = 1 << 15;

/// Welds corners with exactly equal coordinates (−0 equals 0) and scales them by `scale`.
///
/// Vertices stand in the order in which they first appear, whatever the number of threads. Coordinates are compared as the
/// file gives them, so scaling can neither join nor part any.
///
/// Corners are parted by hash, so that each part's table fits in the cache, and parts are gone through in parallel; each corner
/// is told the first one at its place.
pub(super) fn exact(facets: &[Facet], scale: f64) -> Mesh {
    let corners = facets.as_flattened();
    let parts = (corners.len() / PART).next_power_of_two();
    let chunks: Vec<Parted> = facets
        .par_chunks(CHUNK)
        .enumerate()
        .map(|(k, chunk)| Parted::of(chunk.as_flattened(), 3 * CHUNK * k, parts))
        .collect();
    let first: Vec<AtomicU32> = rayon::iter::repeat_n((), corners.len())
        .map(|()| AtomicU32::new(EMPTY))
        .collect();
    (0..parts).into_par_iter().for_each(|part| {
        let mut table = Table::with_room_for(chunks.iter().map(|c| c.part(part).len()).sum());
        // chunks in order, so that the first corner found at a place is the file's first
        for corner in chunks.iter().flat_map(|chunk| chunk.part(part)) {
            first[corner.number as usize].store(table.first(corner), Relaxed);
        }
    });
    drop(chunks);
    numbered(facets, &first, scale)
}

/// The mesh of which corner `c` is at the place of corner `first[c]`, the first one there.
fn numbered(facets: &[Facet], first: &[AtomicU32], scale: f64) -> Mesh {
    let is_first = |c: &usize| first[*c].load(Relaxed) as usize == *c;
    let range = |k: usize| 3 * CHUNK * k..first.len().min(3 * CHUNK * (k + 1));
    let chunks = facets.len().div_ceil(CHUNK);
    let counts: Vec<usize> = (0..chunks)
        .into_par_iter()
        .map(|k| range(k).filter(is_first).count())
        .collect();
    let mut vertices = vec![Point::origin(); counts.iter().sum()];
    let mut numbers = vec![EMPTY; first.len()];
    let mut jobs = Vec::with_capacity(chunks);
    let (mut rest, mut next) = (vertices.as_mut_slice(), 0);
    for ((k, numbers), count) in numbers.chunks_mut(3 * CHUNK).enumerate().zip(counts) {
        let (mine, others) = rest.split_at_mut(count);
        rest = others;
        jobs.push((k, numbers, mine, next));
        next += count as u32;
    }
    let corners = facets.as_flattened();
    jobs.into_par_iter().for_each(|(k, numbers, mine, next)| {
        for ((c, vertex), number) in range(k).filter(is_first).zip(mine).zip(next..) {
            *vertex = Point::from(corners[c].map(|x| f64::from(x + 0.0) * scale));
            numbers[c - range(k).start] = number;
        }
    });
    let number = |c: usize| numbers[first[c].load(Relaxed) as usize];
    let triangles = (0..facets.len())
        .into_par_iter()
        .with_min_len(1024)
        .map(|t| [number(3 * t), number(3 * t + 1), number(3 * t + 2)])
        .collect();
    Mesh {
        vertices,
        triangles,
    }
}

/// A corner of a triangle.
#[derive(Clone, Copy)]
struct Corner {
    /// The bits of its coordinates, 0 for −0.
    key: [u32; 3],
    number: u32,
}

impl Corner {
    fn hash(&self) -> u64 {
        let [x, y, z] = self.key.map(u64::from);
        // odd constants without pattern: digits of the golden ratio and of the roots of 3 and 5
        let mixed = x.wrapping_mul(0x9e37_79b9_7f4a_7c15)
            ^ y.wrapping_mul(0xbb67_ae85_84ca_a73b).rotate_left(21)
            ^ z.wrapping_mul(0x3c6e_f372_fe94_f82b).rotate_left(42);
        (mixed ^ (mixed >> 32)).wrapping_mul(0x9e37_79b9_7f4a_7c15)
    }
}

/// Corners of neighbouring triangles by part, in the file's order within each.
struct Parted {
    starts: Vec<u32>,
    corners: Vec<Corner>,
}

impl Parted {
    fn of(corners: &[[f32; 3]], first: usize, parts: usize) -> Parted {
        let corner = |(k, corner): (usize, &[f32; 3])| Corner {
            key: corner.map(|x| (x + 0.0).to_bits()),
            number: (first + k) as u32,
        };
        let all = corners.iter().enumerate().map(corner);
        if parts == 1 {
            return Parted {
                starts: vec![0, corners.len() as u32],
                corners: all.collect(),
            };
        }
        // the top bits of the hash tell the part, middle ones the slot in its table
        let part = |c: &Corner| (c.hash() >> 40) as usize & (parts - 1);
        // shifted by two while counting, by one while filling
        let mut starts = vec![0u32; parts + 2];
        for c in all.clone() {
            starts[part(&c) + 2] += 1;
        }
        for p in 2..starts.len() {
            starts[p] += starts[p - 1];
        }
        let unset = Corner {
            key: [0; 3],
            number: EMPTY,
        };
        let mut sorted = vec![unset; corners.len()];
        for c in all {
            let free = &mut starts[part(&c) + 1];
            sorted[*free as usize] = c;
            *free += 1;
        }
        Parted {
            starts,
            corners: sorted,
        }
    }

    fn part(&self, part: usize) -> &[Corner] {
        &self.corners[self.starts[part] as usize..self.starts[part + 1] as usize]
    }
}

/// The first corner at each place, by open addressing.
struct Table {
    /// Twice the places or more, a power of two.
    slots: Vec<Corner>,
    places: usize,
}

impl Table {
    /// Room for the corners of a closed mesh, six at a place; it grows for others.
    fn with_room_for(corners: usize) -> Table {
        let free = Corner {
            key: [0; 3],
            number: EMPTY,
        };
        Table {
            slots: vec![free; (corners / 2).next_power_of_two().max(16)],
            places: 0,
        }
    }

    /// The number of the first corner that was asked for at the place of `corner`.
    fn first(&mut self, corner: &Corner) -> u32 {
        let slot = self.find(corner);
        if self.slots[slot].number != EMPTY {
            return self.slots[slot].number;
        }
        self.slots[slot] = *corner;
        self.places += 1;
        if 2 * self.places > self.slots.len() {
            self.grow();
        }
        corner.number
    }

    /// The slot that holds the place of `corner`, or the free one where it belongs.
    fn find(&self, corner: &Corner) -> usize {
        let mask = self.slots.len() - 1;
        let mut slot = (corner.hash() >> 16) as usize & mask;
        while self.slots[slot].number != EMPTY && self.slots[slot].key != corner.key {
            slot = (slot + 1) & mask;
        }
        slot
    }

    fn grow(&mut self) {
        let twice = Table::with_room_for(4 * self.slots.len());
        for corner in std::mem::replace(&mut self.slots, twice.slots) {
            if corner.number != EMPTY {
                let slot = self.find(&corner);
                self.slots[slot] = corner;
            }
        }
    }
}

/// Replaces each of `candidates` (vertex numbers) by the first of them that lies within `distance` of it.
/// Returns whether any was replaced.
pub(super) fn near(mesh: &mut Mesh, candidates: &[u32], distance: f64) -> bool {
    if distance <= 0.0 {
        return false;
    }
    let mut kept: HashMap<[i64; 3], Vec<u32>> = HashMap::new();
    let mut replaced: HashMap<u32, u32> = HashMap::new();
    for &v in candidates {
        let p = mesh.vertices[v as usize];
        let cell = [p.x, p.y, p.z].map(|x| (x / distance).floor() as i64);
        let around = cells_about(cell).filter_map(|c| kept.get(&c));
        let close = |w: &u32| (mesh.vertices[*w as usize] - p).norm() <= distance;
        match around.flatten().copied().filter(close).min() {
            Some(w) => drop(replaced.insert(v, w)),
            None => kept.entry(cell).or_default().push(v),
        }
    }
    if replaced.is_empty() {
        return false;
    }
    for v in mesh.triangles.as_flattened_mut() {
        *v = replaced.get(v).copied().unwrap_or(*v);
    }
    true
}

/// A cube of a lattice and the 26 beside it.
pub(crate) fn cells_about([x, y, z]: [i64; 3]) -> impl Iterator<Item = [i64; 3]> {
    (0..27).map(move |k| {
        [
            x.saturating_add(k % 3 - 1),
            y.saturating_add(k / 3 % 3 - 1),
            z.saturating_add(k / 9 - 1),
        ]
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_corners_get_one_number_in_order_of_appearance() {
        let facets = [
            [[1.0, 0.0, -0.0], [2.0, 0.0, 0.0], [1.0, 1.0, 0.0]],
            [
                [2.0, -0.0, 0.0],
                [1.0, 0.0, 0.0],
                [2.0, 1.0, f32::MIN_POSITIVE],
            ],
        ];
        let mesh = exact(&facets, 25.4);
        assert_eq!(mesh.triangles, [[0, 1, 2], [1, 0, 3]]);
        assert_eq!(mesh.vertices[1], Point::new(50.8, 0.0, 0.0));
    }

    #[test]
    fn more_vertices_than_expected_fit() {
        // no corner shared: six times what a closed mesh has
        let facet = |i: usize| [0.0f32, 1.0, 2.0].map(|k| [i as f32, k, 0.0]);
        let facets: Vec<Facet> = (0..1000).map(facet).collect();
        let mesh = exact(&facets, 1.0);
        assert_eq!(mesh.vertices.len(), 3000);
        assert!(mesh.triangles.as_flattened().iter().copied().eq(0..3000));
    }

    #[test]
    fn many_corners_get_the_numbers_that_going_through_them_one_by_one_gives() {
        // enough for several chunks and parts; places on a lattice, so that many are shared
        let at = |k: u64| {
            let mixed = k.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 20;
            [mixed % 64, mixed / 64 % 32, mixed / 2048 % 16].map(|x| x as f32 - 8.0)
        };
        let facets: Vec<Facet> = (0..50_000)
            .map(|t| [at(3 * t), at(3 * t + 1), at(3 * t + 2)])
            .collect();
        let mut numbers = HashMap::new();
        let mut places = Vec::new();
        let triangles: Vec<[u32; 3]> = facets
            .iter()
            .map(|facet| {
                facet.map(|corner| {
                    *numbers.entry(corner.map(f32::to_bits)).or_insert_with(|| {
                        places.push(Point::from(corner.map(|x| 2.0 * f64::from(x))));
                        places.len() as u32 - 1
                    })
                })
            })
            .collect();
        let mesh = exact(&facets, 2.0);
        assert_eq!(mesh.triangles, triangles);
        assert_eq!(mesh.vertices, places);
    }

    #[test]
    fn near_points_join_the_first_of_them_only_within_the_distance() {
        let at = |x: f64| Point::new(x, 0.0, 0.0);
        let mut mesh = Mesh {
            vertices: vec![at(0.0), at(0.9), at(1.8), at(-0.9)],
            triangles: vec![[0, 1, 2], [3, 2, 1]],
        };
        assert!(near(&mut mesh, &[0, 1, 2, 3], 1.0));
        // 1 and 3 lie within 1 of 0; 2 lies within 1 of 1 only, which is gone
        assert_eq!(mesh.triangles, [[0, 0, 2], [0, 2, 0]]);
        assert!(!near(&mut mesh, &[0, 2], 1.0));
    }
}
