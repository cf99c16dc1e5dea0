//! A tree of boxes over triangles, four branches a node.
//!
//! Beside its box each branch has a slab, the space between two planes, across what its triangles face on the whole: of a ball that nearly touches a
//! surface all boxes about the contact are in the way, for those of facets aslant are fat, but few slabs are.
//!
//! Both are kept in single precision, rounded outwards, about the middle of the mesh: four are looked at in one go, and a node
//! takes three lines of a processor's cache. So they are only ever a little too large, and what is in them is asked exactly.

use crate::mesh::{Mesh, Point, Vector};
use rayon::prelude::*;
use std::ops::ControlFlow;

/// Branches of a node.
pub(super) const WIDE: usize = 4;
/// Marks a branch that is a triangle, whose number is the rest.
const LEAF: u32 = 1 << 31;
/// Parts into which the middles of boxes are sorted where a node is split.
const BINS: usize = 16;
/// Ranges of no more triangles are sorted by one thread.
const BY_ONE: usize = 4096;
/// Levels that are split by surface; below them leaves are halved, and 16 more hold all that can be numbered.
const BY_SURFACE: usize = 24;
/// Branches that may wait: each level leaves three behind.
const MOST_WAITING: usize = 3 * (BY_SURFACE + 16) + 1;
/// More triangles have no slab: it would hardly be thinner than the box.
const IN_SLAB: usize = 256;
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

impl Tree {
    /// A tree over the triangles of `mesh` with these numbers.
    pub fn over(mesh: &Mesh, triangles: &[u32]) -> Tree {
        let corners = |&t: &u32| mesh.corners(t as usize);
        let ends = |[a, b, c]: [Point; 3]| (a.inf(&b).inf(&c), a.sup(&b).sup(&c));
        let bounds = (triangles.par_iter().map(corners).map(ends))
            .reduce_with(|a, b| (a.0.inf(&b.0), a.1.sup(&b.1)));
        let (lo, hi) = bounds.unwrap_or((Point::origin(), Point::origin()));
        let middle = nalgebra::center(&lo, &hi);
        let leaf = |t: &u32| {
            let (lo, hi) = ends(corners(t));
            let (lo, hi) = (lo - middle, hi - middle);
            Leaf {
                lo: [0, 1, 2].map(|k| below(lo[k])),
                hi: [0, 1, 2].map(|k| above(hi[k])),
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

    /// Calls `each` with the triangles whose boxes come near to the ball `within`, the nearer boxes first; it tells the ball in
    /// which to go on, no part of which may lie outside the one before, or to stop.
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
        while height > 0 {
            height -= 1;
            let node = &self.nodes[waiting[height] as usize];
            let away2 = node.away2(ball.0);
            // nearest first; of nodes the nearest is put on top
            let (mut order, mut count) = ([(0.0f32, 0u32); WIDE], 0);
            for k in 0..WIDE {
                if away2[k] < ball.1 {
                    let mut at = count;
                    while at > 0 && order[at - 1].0 > away2[k] {
                        order[at] = order[at - 1];
                        at -= 1;
                    }
                    order[at] = (away2[k], node.branch[k]);
                    count += 1;
                }
            }
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

    /// Calls `each` with the triangles in whose boxes, or those around them, `enters` finds a place no farther than `most`, the nearest
    /// first; it tells how far to go on.
    pub fn along(
        &self,
        mut most: f64,
        enters: impl Fn([f64; 3], [f64; 3], f64) -> Option<f64>,
        mut each: impl FnMut(u32, f64) -> f64,
    ) {
        if self.nodes.is_empty() {
            return;
        }
        let mut waiting = [(0.0f64, 0u32); MOST_WAITING];
        let mut height = 1;
        while height > 0 {
            height -= 1;
            let (from, branch) = waiting[height];
            if from > most {
                continue;
            }
            if branch & LEAF != 0 {
                most = each(branch & !LEAF, most);
                continue;
            }
            let node = &self.nodes[branch as usize];
            let mark = height;
            for k in 0..WIDE {
                if node.lo[0][k] > node.hi[0][k] {
                    continue;
                }
                let end = |ends: &[[f32; WIDE]; 3]| {
                    [0, 1, 2].map(|d| self.middle[d] + f64::from(ends[d][k]))
                };
                let Some(from) = enters(end(&node.lo), end(&node.hi), most) else {
                    continue;
                };
                let mut at = height;
                while at > mark && waiting[at - 1].0 < from {
                    waiting[at] = waiting[at - 1];
                    at -= 1;
                }
                waiting[at] = (from, node.branch[k]);
                height += 1;
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
    /// Squared distances of boxes and slabs from `p`, of each branch the larger.
    #[inline]
    fn away2(&self, p: [f32; 3]) -> [f32; WIDE] {
        let (mut away2, mut along) = ([0.0; WIDE], [0.0; WIDE]);
        for d in 0..3 {
            for k in 0..WIDE {
                let off = outside(p[d], self.lo[d][k], self.hi[d][k]);
                away2[k] += off * off;
                along[k] += self.normal[d][k] * p[d];
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

/// Normal and ends of the slab around some leaves.
fn slab(mesh: &Mesh, middle: &Point, leaves: &[Leaf]) -> ([f32; 3], f32, f32) {
    const NO_SLAB: ([f32; 3], f32, f32) = ([0.0; 3], 0.0, 0.0);
    if leaves.len() > IN_SLAB {
        return NO_SLAB;
    }
    let corners = |l: &Leaf| mesh.corners(l.triangle as usize);
    let across = |[a, b, c]: [Point; 3]| (b - a).cross(&(c - a));
    let sum: Vector = leaves.iter().map(corners).map(across).sum();
    let Some(normal) = sum.try_normalize(0.0) else {
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
    let below: Vec<_> = match parts.iter().map(|p| p.len()).sum::<usize>() {
        all if all > BY_ONE => parts.into_par_iter().map(subtree).collect(),
        _ => parts.into_iter().map(subtree).collect(),
    };
    let mut nodes = vec![NONE];
    for (k, ((around, (normal, from, to)), below, leaf)) in below.into_iter().enumerate() {
        let first = nodes.len() as u32;
        let root = &mut nodes[0];
        for d in 0..3 {
            (root.lo[d][k], root.hi[d][k]) = (around.lo[d], around.hi[d]);
            root.normal[d][k] = normal[d];
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn soup(corners: &[[f64; 3]]) -> Mesh {
        Mesh {
            vertices: corners.iter().map(|&p| Point::from(p)).collect(),
            triangles: (0..corners.len() as u32 / 3)
                .map(|t| [3 * t, 3 * t + 1, 3 * t + 2])
                .collect(),
        }
    }

    fn all(mesh: &Mesh) -> Vec<u32> {
        (0..mesh.triangles.len() as u32).collect()
    }

    /// The triangles that a ball is told to come near to.
    fn near(tree: &Tree, centre: Point, radius: f64) -> Vec<u32> {
        let mut found = Vec::new();
        tree.near(Within { centre, radius }, |t, ball| {
            found.push(t);
            ControlFlow::Continue(ball)
        });
        found.sort_unstable();
        found
    }

    proptest! {
        #[test]
        fn every_triangle_that_a_ball_cuts_is_told(
            corners in prop::collection::vec([-1.0..1.0f64, -1.0..1.0f64, -1.0..1.0f64], 3..400),
            size in prop::sample::select(vec![1e-3, 1.0, 1e3]), off in prop::sample::select(vec![0.0, 1e6]),
            p in [-2.0..2.0f64, -2.0..2.0f64, -2.0..2.0f64], radius in 0.01..3.0f64, small in 1e-3..1.0f64,
        ) {
            // triangles of any size about places all over
            let place = |k: usize, c: &[f64; 3]| [0, 1, 2].map(|d| size * (corners[k / 3 * 3][d] + small * c[d]) + off);
            let corners: Vec<[f64; 3]> = corners.iter().enumerate().map(|(k, c)| place(k, c)).collect();
            let mesh = soup(&corners);
            let tree = Tree::over(&mesh, &all(&mesh));
            let centre = Point::from(p.map(|v| size * v + off));
            let radius = size * radius;
            let found = near(&tree, centre, radius);
            for t in 0..mesh.triangles.len() as u32 {
                let q = super::super::nearest_on(mesh.corners(t as usize), &centre, f64::INFINITY).unwrap();
                if (q - centre).norm() < radius {
                    prop_assert!(found.binary_search(&t).is_ok(), "{t} of {found:?}");
                }
            }
        }
    }

    /// A floor of squares with sides of a millimetre, level or in waves.
    fn floor(n: usize, height: impl Fn(f64, f64) -> f64) -> Mesh {
        let vertex = |k: usize| {
            let (x, y) = ((k % (n + 1)) as f64, (k / (n + 1)) as f64);
            Point::new(x, y, height(x, y))
        };
        let two = |k: usize| {
            let a = (k / n * (n + 1) + k % n) as u32;
            let (b, c, d) = (a + 1, a + n as u32 + 1, a + n as u32 + 2);
            [[a, b, d], [a, d, c]]
        };
        Mesh {
            vertices: (0..(n + 1) * (n + 1)).map(vertex).collect(),
            triangles: (0..n * n).flat_map(two).collect(),
        }
    }

    #[test]
    fn a_ball_that_nearly_touches_a_slope_comes_near_to_few_triangles() {
        // clear by a hundredth of a millimetre of a slope of 45°, whose boxes are all a millimetre high
        let slope = floor(64, |x, _| x);
        let tree = Tree::over(&slope, &all(&slope));
        let off = 10.01 / 2.0_f64.sqrt();
        let centre = Point::new(32.0 - off, 32.0, 32.0 + off);
        assert_eq!(near(&tree, centre, 10.0).len(), 0);
        let boxes = |r: f64| {
            let from = |v: f64, lo: f64, hi: f64| (lo - v).max(v - hi).max(0.0);
            let cut = |t: &u32| {
                let [a, b, c] = slope.corners(*t as usize);
                let (lo, hi) = (a.inf(&b).inf(&c), a.sup(&b).sup(&c));
                (0..3)
                    .map(|k| from(centre[k], lo[k], hi[k]).powi(2))
                    .sum::<f64>()
                    < r * r
            };
            all(&slope).iter().filter(|t| cut(t)).count()
        };
        assert!(boxes(10.0) > 30);
        // a little larger it touches the slope, and the boxes tell as ever
        let touched = near(&tree, centre, 10.02).len();
        assert!((1..=boxes(10.02)).contains(&touched), "{touched}");
    }

    #[test]
    fn nearer_boxes_come_first_and_the_ball_may_shrink() {
        let waves = floor(40, |x, y| (0.7 * x).sin() * (0.9 * y).cos());
        let tree = Tree::over(&waves, &all(&waves));
        let centre = Point::new(17.3, 21.1, 6.0);
        let mut asked = 0;
        let mut least = f64::INFINITY;
        let ball = Within {
            centre,
            radius: 1e3,
        };
        tree.near(ball, |t, mut ball| {
            asked += 1;
            let corners = waves.corners(t as usize);
            if let Some(q) = super::super::nearest_on(corners, &centre, f64::INFINITY) {
                least = least.min((q - centre).norm());
            }
            ball.radius = ball.radius.min(least);
            ControlFlow::Continue(ball)
        });
        let each = all(&waves).into_iter().filter_map(|t| {
            super::super::nearest_on(waves.corners(t as usize), &centre, f64::INFINITY)
        });
        let nearest = each
            .map(|q| (q - centre).norm())
            .fold(f64::INFINITY, f64::min);
        assert_eq!(least, nearest);
        assert!(asked < 200, "{asked} of {}", waves.triangles.len());
    }

    #[test]
    fn triangles_that_cannot_be_parted_by_place_are_halved() {
        // all in one place, and each a thousandth as far from a point as the one before
        let one = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let mesh = soup(&one.repeat(3000));
        let tree = Tree::over(&mesh, &all(&mesh));
        assert_eq!(near(&tree, Point::new(0.2, 0.2, 1.0), 1.5).len(), 3000);
        let shrinking: Vec<[f64; 3]> = (0..3000)
            .flat_map(|k| one.map(|c| c.map(|v| (v + 1.0) * 0.9_f64.powi(k % 300))))
            .collect();
        let mesh = soup(&shrinking);
        let tree = Tree::over(&mesh, &all(&mesh));
        assert_eq!(near(&tree, Point::origin(), 10.0).len(), 3000);
    }

    #[test]
    fn the_tree_is_the_same_whatever_the_number_of_threads() {
        let waves = floor(120, |x, y| (0.7 * x).sin() * (0.9 * y).cos());
        let told = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
            pool.unwrap().install(|| {
                let tree = Tree::over(&waves, &all(&waves));
                let mut order = Vec::new();
                let ball = Within {
                    centre: Point::new(50.0, 60.0, 1.0),
                    radius: 30.0,
                };
                tree.near(ball, |t, ball| {
                    order.push(t);
                    ControlFlow::Continue(ball)
                });
                order
            })
        };
        assert!(told(1).len() > 5000);
        assert_eq!(told(1), told(3));
    }
}
