//! How the tree is built: leaves split where the surfaces of the boxes around them are least, by all threads.

use super::{BY_SURFACE, LEAF, NONE, Node, Tree, WIDE};
use crate::mesh::{Mesh, Point, Vector, box_of};
use rayon::prelude::*;

/// Parts into which the middles of boxes are sorted where a node is split.
const BINS: usize = 16;
/// Ranges of no more triangles are sorted by one thread.
const BY_ONE: usize = 4096;
/// More triangles have no slab: it would hardly be thinner than the box.
const IN_SLAB: usize = 256;

impl Tree {
    /// A tree over the triangles of `mesh` with these numbers.
    pub fn over(mesh: &Mesh, triangles: &[u32]) -> Tree {
        let corners = |&t: &u32| mesh.corners(t as usize);
        let bounds = (triangles.par_iter().map(corners).map(box_of))
            .reduce_with(|a, b| (a.0.inf(&b.0), a.1.sup(&b.1)));
        let (lo, hi) = bounds.unwrap_or((Point::origin(), Point::origin()));
        let middle = nalgebra::center(&lo, &hi);
        let leaf = |t: &u32| {
            let (lo, hi) = box_of(corners(t));
            let (lo, hi) = (lo - middle, hi - middle);
            Leaf {
                // one more step: what was taken off the middle is not exact either
                lo: [0, 1, 2].map(|k| below(lo[k]).next_down()),
                hi: [0, 1, 2].map(|k| above(hi[k]).next_up()),
                triangle: *t,
            }
        };
        let mut leaves: Vec<Leaf> = triangles.par_iter().map(leaf).collect();
        Tree {
            middle,
            half: 0.5 * (hi - lo).max(),
            nodes: if leaves.is_empty() {
                Vec::new()
            } else {
                built(mesh, &middle, &mut leaves, 0)
            },
        }
    }
}

/// Box of one triangle while the tree is built.
#[derive(Clone, Copy)]
struct Leaf {
    lo: [f32; 3],
    hi: [f32; 3],
    triangle: u32,
}

impl Leaf {
    fn middle(&self, k: usize) -> f32 {
        self.lo[k] + self.hi[k]
    }
}

/// Box of several.
#[derive(Clone, Copy)]
struct Around {
    lo: [f32; 3],
    hi: [f32; 3],
}

impl Around {
    const NOTHING: Around = Around {
        lo: [f32::INFINITY; 3],
        hi: [f32::NEG_INFINITY; 3],
    };

    fn of(leaves: &[Leaf]) -> Around {
        leaves
            .iter()
            .fold(Around::NOTHING, |a, l| a.and(l.lo, l.hi))
    }

    fn and(self, lo: [f32; 3], hi: [f32; 3]) -> Around {
        Around {
            lo: [0, 1, 2].map(|k| self.lo[k].min(lo[k])),
            hi: [0, 1, 2].map(|k| self.hi[k].max(hi[k])),
        }
    }

    /// Half of its surface; 0 of nothing.
    fn area(&self) -> f32 {
        let [x, y, z] = [0, 1, 2].map(|k| (self.hi[k] - self.lo[k]).max(0.0));
        x * y + y * z + z * x
    }
}

/// Normal and ends of the slab around some leaves.
fn slab(mesh: &Mesh, middle: &Point, leaves: &[Leaf]) -> ([f32; 3], f32, f32) {
    const NO_SLAB: ([f32; 3], f32, f32) = ([0.0; 3], 0.0, 0.0);
    if leaves.len() > IN_SLAB {
        return NO_SLAB;
    }
    let corners = |l: &Leaf| mesh.corners(l.triangle as usize);
    let across = |[a, b, c]: [Point; 3]| (b - a).cross(&(c - a));
    let sum: Vector = leaves.iter().map(corners).map(across).sum();
    // of no length but for rounding it would not be of unit length either
    let Some(normal) = sum.try_normalize(1e-150) else {
        return NO_SLAB;
    };
    let single = normal.cast::<f32>();
    let normal = single.cast::<f64>();
    let along = leaves
        .iter()
        .flat_map(corners)
        .map(|p| normal.dot(&(p - middle)));
    let ends = |(lo, hi): (f64, f64), v: f64| (lo.min(v), hi.max(v));
    let (from, to) = along.fold((f64::INFINITY, f64::NEG_INFINITY), ends);
    (single.into(), below(from), above(to))
}

/// The nodes over some leaves, `level` levels down, the root first. The numbers of branches count from it.
fn built(mesh: &Mesh, middle: &Point, leaves: &mut [Leaf], level: usize) -> Vec<Node> {
    let parts = parts(leaves, level < BY_SURFACE);
    let subtree = |part: &mut [Leaf]| {
        let around = (Around::of(part), slab(mesh, middle, part));
        match part {
            [leaf] => (around, vec![], leaf.triangle | LEAF),
            _ => (around, built(mesh, middle, part, level + 1), 0),
        }
    };
    let subtrees: Vec<_> = match parts.iter().map(|p| p.len()).sum::<usize>() {
        all if all > BY_ONE => parts.into_par_iter().map(subtree).collect(),
        _ => parts.into_iter().map(subtree).collect(),
    };
    let count = subtrees.iter().map(|s| s.1.len()).sum::<usize>() + 1;
    let mut nodes = Vec::with_capacity(count);
    nodes.push(NONE);
    for (k, ((around, (normal, from, to)), below, leaf)) in subtrees.into_iter().enumerate() {
        let first = nodes.len() as u32;
        let root = &mut nodes[0];
        for (d, &along) in normal.iter().enumerate() {
            (root.lo[d][k], root.hi[d][k]) = (around.lo[d], around.hi[d]);
            root.normal[d][k] = along;
        }
        (root.from[k], root.to[k]) = (from, to);
        nodes[0].branch[k] = if below.is_empty() { leaf } else { first };
        nodes.extend(below.into_iter().map(|mut node| {
            for b in node.branch.iter_mut().filter(|b| **b & LEAF == 0) {
                *b += first;
            }
            node
        }));
    }
    nodes
}

/// Splits leaves into four, or fewer where there are not as many.
fn parts(leaves: &mut [Leaf], by_surface: bool) -> Vec<&mut [Leaf]> {
    if leaves.len() <= WIDE {
        return leaves.chunks_mut(1).collect();
    }
    let split = |leaves| split(leaves, by_surface);
    let (a, b) = split(leaves);
    let mut parts = Vec::with_capacity(WIDE);
    for half in [a, b] {
        if half.len() > 1 {
            let (a, b) = split(half);
            parts.extend([a, b]);
        } else {
            parts.push(half);
        }
    }
    parts
}

/// Splits leaves, two at the least, in two where the surfaces of the boxes around them, each weighed by its number of leaves, add up
/// to least (J. D. MacDonald and K. S. Booth, "Heuristics for ray tracing using space subdivision", The Visual Computer 6, 1990; from
/// memory); in the middle of their row where all lie in one place, and if not `by_surface`.
fn split(leaves: &mut [Leaf], by_surface: bool) -> (&mut [Leaf], &mut [Leaf]) {
    let (mut lo, mut hi) = ([f32::INFINITY; 3], [f32::NEG_INFINITY; 3]);
    for leaf in leaves.iter() {
        for k in 0..3 {
            (lo[k], hi[k]) = (lo[k].min(leaf.middle(k)), hi[k].max(leaf.middle(k)));
        }
    }
    let longest = |a: &usize, b: &usize| (hi[*a] - lo[*a]).total_cmp(&(hi[*b] - lo[*b]));
    let axis = (0..3).max_by(longest).unwrap_or(0);
    let scale = BINS as f32 / (hi[axis] - lo[axis]);
    let half = leaves.len() / 2;
    if !(by_surface && scale.is_finite() && scale > 0.0) {
        return leaves.split_at_mut(half);
    }
    let bin = |l: &Leaf| (((l.middle(axis) - lo[axis]) * scale) as usize).min(BINS - 1);
    let mut bins = [(Around::NOTHING, 0usize); BINS];
    for leaf in leaves.iter() {
        let (around, count) = &mut bins[bin(leaf)];
        *around = around.and(leaf.lo, leaf.hi);
        *count += 1;
    }
    // what the first k bins cost, and the rest
    let mut costs = [0.0f32; BINS];
    for from_below in [true, false] {
        let (mut around, mut count) = (Around::NOTHING, 0);
        for k in 1..BINS {
            let (of, cost) = if from_below {
                (k - 1, k)
            } else {
                (BINS - k, BINS - k)
            };
            around = around.and(bins[of].0.lo, bins[of].0.hi);
            count += bins[of].1;
            costs[cost] += around.area() * count as f32;
        }
    }
    let least = (1..BINS).min_by(|&a, &b| costs[a].total_cmp(&costs[b]));
    let least = least.unwrap_or(BINS / 2);
    let mut first = 0;
    for k in 0..leaves.len() {
        if bin(&leaves[k]) < least {
            leaves.swap(first, k);
            first += 1;
        }
    }
    // the first bin and the last hold one each at least, so neither side is empty
    leaves.split_at_mut(first)
}

/// The nearest number of single precision that is no larger.
fn below(v: f64) -> f32 {
    let near = v as f32;
    if f64::from(near) > v {
        near.next_down()
    } else {
        near
    }
}

/// The nearest that is no smaller.
fn above(v: f64) -> f32 {
    -below(-v)
}
