//! A tree of boxes over triangles, four branches a node.
//!
//! Beside its box each branch of few triangles has a slab, the space between two planes that face as they do on the whole: of a ball
//! that nearly touches a surface all boxes about the contact are in the way, for those of facets aslant are fat, but few slabs.
//!
//! Both are kept in single precision, rounded outwards, about the middle of the mesh: four are looked at in one go, and a node
//! takes 192 bytes. So they are only ever a little too large, and what is in them is asked exactly.

use crate::field::waiting::Waiting;
use crate::mesh::Point;
use std::ops::ControlFlow;

mod build;

/// Branches of a node.
const WIDE: usize = 4;
/// Marks a branch that is a triangle, whose number is the rest.
const LEAF: u32 = 1 << 31;
/// Levels that are split by surface; below them leaves are halved, and 16 more hold all that can be numbered.
const BY_SURFACE: usize = 24;
/// Branches that may wait: each level leaves three behind.
const MOST_WAITING: usize = 3 * (BY_SURFACE + 16) + 1;
/// Rounding of distances in single precision, as a share of the coordinates and the radius: twice what conversions, products and
/// sums may add up to.
const HAIR: f64 = 1.0 / (1 << 20) as f64;

/// Up to four boxes and what they hold.
#[derive(Clone, Copy)]
struct Node {
    /// Lower and upper ends along X, Y and Z; of a branch that is not there, lower ends at +∞ and upper ones at −∞.
    lo: [[f32; WIDE]; 3],
    hi: [[f32; WIDE]; 3],
    /// Normals of the slabs, of unit length or none, and the ends of the slabs along them.
    normal: [[f32; WIDE]; 3],
    from: [f32; WIDE],
    to: [f32; WIDE],
    /// Numbers of nodes, or of triangles with [`LEAF`].
    branch: [u32; WIDE],
}

const NONE: Node = Node {
    lo: [[f32::INFINITY; WIDE]; 3],
    hi: [[f32::NEG_INFINITY; WIDE]; 3],
    normal: [[0.0; WIDE]; 3],
    from: [0.0; WIDE],
    to: [0.0; WIDE],
    branch: [0; WIDE],
};

/// A ball in which the search goes on.
#[derive(Clone, Copy)]
pub(super) struct Within {
    pub centre: Point,
    /// mm.
    pub radius: f64,
}

/// The tree.
pub(super) struct Tree {
    middle: Point,
    /// Half of the longest side of the mesh, mm.
    half: f64,
    /// The first is the root; none for no triangles.
    nodes: Vec<Node>,
}

impl Tree {
    /// Calls `each` with the triangles whose boxes and slabs come near to the ball `within`, in each node the nearer first; it tells the
    /// ball in which to go on, no part of which may lie outside the one before, or to stop. A ball of no place is near to none.
    pub fn near(
        &self,
        mut within: Within,
        mut each: impl FnMut(u32, Within) -> ControlFlow<(), Within>,
    ) {
        if self.nodes.is_empty() {
            return;
        }
        let mut waiting = [0u32; MOST_WAITING];
        let mut height = 1;
        let mut ball = self.single(&within);
        if !ball.0.iter().all(|v| v.is_finite()) {
            return;
        }
        while height > 0 {
            height -= 1;
            let (order, count) = self.nodes[waiting[height] as usize].in_reach(ball);
            let mut changed = false;
            for &(_, branch) in &order[..count] {
                if branch & LEAF != 0 {
                    match each(branch & !LEAF, within) {
                        ControlFlow::Continue(next) => within = next,
                        ControlFlow::Break(()) => return,
                    }
                    changed = true;
                }
            }
            for &(_, branch) in order[..count].iter().rev() {
                if branch & LEAF == 0 {
                    waiting[height] = branch;
                    height += 1;
                }
            }
            if changed {
                ball = self.single(&within);
            }
        }
    }

    /// Calls `each` with the triangles in whose boxes, and all around them, `enters` finds a place no farther than `most`, about the
    /// nearest first; it tells how far to go on.
    pub fn search(
        &self,
        mut most: f64,
        enters: impl Fn([f64; 3], [f64; 3], f64) -> Option<f64>,
        mut each: impl FnMut(u32, f64) -> f64,
    ) {
        if self.nodes.is_empty() {
            return;
        }
        let mut waiting = Waiting::<u32, MOST_WAITING>::new(0);
        waiting.add(0, 0.0, 0);
        while let Some((from, branch)) = waiting.next() {
            if from > most {
                continue;
            }
            if branch & LEAF != 0 {
                most = each(branch & !LEAF, most);
                continue;
            }
            let node = &self.nodes[branch as usize];
            let mark = waiting.count();
            for k in 0..WIDE {
                if node.lo[0][k] > node.hi[0][k] {
                    continue;
                }
                let end = |ends: &[[f32; WIDE]; 3]| {
                    [0, 1, 2].map(|d| self.middle[d] + f64::from(ends[d][k]))
                };
                if let Some(from) = enters(end(&node.lo), end(&node.hi), most) {
                    waiting.add(mark, from, node.branch[k]);
                }
            }
        }
    }

    /// The ball in single precision, about the middle: its centre, and its radius squared, a hair more.
    fn single(&self, within: &Within) -> ([f32; 3], f32) {
        let centre = within.centre - self.middle;
        let radius = within.radius + HAIR * (within.radius.abs() + centre.amax() + self.half);
        let radius = radius.max(0.0) as f32;
        (centre.map(|v| v as f32).into(), radius * radius)
    }
}

impl Node {
    /// Branches nearer than the square root of the second number to the centre of a ball, with their squared distances, nearest first,
    /// and how many there are.
    fn in_reach(&self, (centre, reach2): ([f32; 3], f32)) -> ([(f32, u32); WIDE], usize) {
        let (mut order, mut count) = ([(0.0, 0); WIDE], 0);
        for (&away2, &branch) in self.away2(centre).iter().zip(&self.branch) {
            if away2 < reach2 {
                let mut at = count;
                while at > 0 && order[at - 1].0 > away2 {
                    order[at] = order[at - 1];
                    at -= 1;
                }
                order[at] = (away2, branch);
                count += 1;
            }
        }
        (order, count)
    }

    /// Squared distances of boxes and slabs from `p`, of each branch the larger.
    #[inline]
    fn away2(&self, p: [f32; 3]) -> [f32; WIDE] {
        let (mut away2, mut along) = ([0.0; WIDE], [0.0; WIDE]);
        for (d, &p) in p.iter().enumerate() {
            for k in 0..WIDE {
                let off = outside(p, self.lo[d][k], self.hi[d][k]);
                away2[k] += off * off;
                along[k] += self.normal[d][k] * p;
            }
        }
        for k in 0..WIDE {
            let off = outside(along[k], self.from[k], self.to[k]);
            away2[k] = larger(away2[k], off * off);
        }
        away2
    }
}

/// How far `v` is outside of `from..=to`.
fn outside(v: f32, from: f32, to: f32) -> f32 {
    larger(larger(from - v, v - to), 0.0)
}

/// As [`f32::max`] but for numbers that are none, which takes one instruction.
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

#[cfg(test)]
mod tests;
