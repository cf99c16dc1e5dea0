//! Distances between polylines in plan.

use super::section::{Plan, apart};

/// Segments in plan, made ready for distances.
#[derive(Debug, Clone)]
pub struct Lines {
    /// The segments.
    pub segments: Vec<[Plan; 2]>,
    origin: Plan,
    cell: f64,
    n: [usize; 2],
    starts: Vec<u32>,
    items: Vec<u32>,
}

/// The place of [`Lines`] nearest to a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NearLine {
    /// How far, mm.
    pub distance: f64,
    /// The place.
    pub at: Plan,
    /// Its segment.
    pub segment: usize,
    /// Whether it lies between the segment's ends.
    pub within: bool,
}

/// Buckets along the longer side.
const BUCKETS: f64 = 96.0;

impl Lines {
    /// Sorts `segments` into buckets.
    pub fn new(segments: Vec<[Plan; 2]>) -> Lines {
        let (mut lo, mut hi) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in segments.iter().flatten() {
            for k in 0..2 {
                lo[k] = lo[k].min(p[k]);
                hi[k] = hi[k].max(p[k]);
            }
        }
        if segments.is_empty() {
            (lo, hi) = ([0.0; 2], [0.0; 2]);
        }
        let longer = (hi[0] - lo[0]).max(hi[1] - lo[1]);
        let cell = if longer > 0.0 { longer / BUCKETS } else { 1.0 };
        let n = [0, 1].map(|k| ((hi[k] - lo[k]) / cell).floor() as usize + 1);
        let mut lines = Lines {
            segments,
            origin: lo,
            cell,
            n,
            starts: Vec::new(),
            items: Vec::new(),
        };
        let mut buckets = vec![Vec::new(); n[0] * n[1]];
        for (s, [a, b]) in lines.segments.iter().enumerate() {
            // buckets along the segment, one by one in the direction of its longer extent
            let ([ai, aj], [bi, bj]) = (lines.bucket(*a), lines.bucket(*b));
            for j in aj.min(bj)..=aj.max(bj) {
                for i in ai.min(bi)..=ai.max(bi) {
                    if lines.near_bucket([*a, *b], [i, j]) {
                        buckets[j * n[0] + i].push(s as u32);
                    }
                }
            }
        }
        lines.starts.push(0);
        for bucket in buckets {
            lines.items.extend(bucket);
            lines.starts.push(lines.items.len() as u32);
        }
        lines
    }

    fn bucket(&self, p: Plan) -> [usize; 2] {
        [0, 1].map(|k| {
            let x = ((p[k] - self.origin[k]) / self.cell).floor();
            (x.max(0.0) as usize).min(self.n[k] - 1)
        })
    }

    /// Whether a segment may pass through a bucket: by the distance of the bucket's centre.
    fn near_bucket(&self, segment: [Plan; 2], [i, j]: [usize; 2]) -> bool {
        let centre = [
            self.origin[0] + (i as f64 + 0.5) * self.cell,
            self.origin[1] + (j as f64 + 0.5) * self.cell,
        ];
        to_segment(centre, segment).0 <= 0.75 * self.cell
    }

    /// The place nearest to `p`; of places equally near, that of the first segment. `None` without any segment.
    pub fn nearest(&self, p: Plan) -> Option<NearLine> {
        if self.segments.is_empty() {
            return None;
        }
        let centre = self.bucket(p).map(|c| c as i64);
        // how far p is outside the buckets: rings start to count from there
        let out = (0..2)
            .map(|k| {
                let hi = self.origin[k] + self.n[k] as f64 * self.cell;
                (self.origin[k] - p[k]).max(p[k] - hi).max(0.0)
            })
            .fold(0.0, f64::max);
        let mut best: Option<NearLine> = None;
        let most = self.n[0].max(self.n[1]) as i64;
        for ring in 0..=most {
            let least = if ring == 0 {
                0.0
            } else {
                ((ring - 1) as f64 * self.cell).max(out)
            };
            if best.is_some_and(|b| b.distance < least) {
                break;
            }
            for j in centre[1] - ring..=centre[1] + ring {
                let edge = (j - centre[1]).abs() == ring;
                let step = if edge || ring == 0 { 1 } else { 2 * ring };
                let mut i = centre[0] - ring;
                while i <= centre[0] + ring {
                    self.look(p, i, j, &mut best);
                    i += step;
                }
            }
        }
        best
    }

    fn look(&self, p: Plan, i: i64, j: i64, best: &mut Option<NearLine>) {
        if i < 0 || j < 0 || i >= self.n[0] as i64 || j >= self.n[1] as i64 {
            return;
        }
        let b = j as usize * self.n[0] + i as usize;
        for &s in &self.items[self.starts[b] as usize..self.starts[b + 1] as usize] {
            let (distance, at, within) = to_segment(p, self.segments[s as usize]);
            let better = best.is_none_or(|b| {
                distance < b.distance || (distance == b.distance && (s as usize) < b.segment)
            });
            if better {
                *best = Some(NearLine {
                    distance,
                    at,
                    segment: s as usize,
                    within,
                });
            }
        }
    }
}

/// Distance from `p` to a segment, the place, and whether it lies between the ends.
pub fn to_segment(p: Plan, [a, b]: [Plan; 2]) -> (f64, Plan, bool) {
    let d = [b[0] - a[0], b[1] - a[1]];
    let length2 = d[0] * d[0] + d[1] * d[1];
    let t = if length2 > 0.0 {
        ((p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1]) / length2
    } else {
        0.0
    };
    let at = if t <= 0.0 {
        a
    } else if t >= 1.0 {
        b
    } else {
        [a[0] + t * d[0], a[1] + t * d[1]]
    };
    (apart(p, at), at, t > 0.0 && t < 1.0)
}

/// The farthest of two places that are each other's nearest, one way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Farthest {
    /// How far, mm.
    pub distance: f64,
    /// The place on the first.
    pub at: Plan,
    /// The place on the second that is nearest to it.
    pub to: Plan,
}

/// To within this the farthest distance is found, mm.
const EXACT: f64 = 1e-5;

/// The largest distance from a place of `from` to the nearest place of `to` (the directed Hausdorff distance), to 0.01 µm.
/// `None` where either has no segment.
///
/// Branch and bound: along a piece of a segment the distance to one segment is convex, so that it is nowhere larger than at the
/// piece's ends.
pub fn farthest(from: &[[Plan; 2]], to: &Lines) -> Option<Farthest> {
    let mut best: Option<Farthest> = None;
    let mut consider = |p: Plan| -> Option<NearLine> {
        let near = to.nearest(p)?;
        if best.is_none_or(|b| near.distance > b.distance) {
            best = Some(Farthest {
                distance: near.distance,
                at: p,
                to: near.at,
            });
        }
        Some(near)
    };
    let mut pieces = Vec::new();
    for &[a, b] in from {
        pieces.push(([a, b], [consider(a)?, consider(b)?]));
    }
    let mut reached = best.map_or(0.0, |b| b.distance);
    while let Some(([a, b], [near_a, near_b])) = pieces.pop() {
        let bound = |s: usize| {
            let s = to.segments[s];
            to_segment(a, s).0.max(to_segment(b, s).0)
        };
        let most = bound(near_a.segment).min(bound(near_b.segment));
        if most <= reached + EXACT || apart(a, b) <= EXACT {
            continue;
        }
        let middle = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
        let near = to.nearest(middle)?;
        if near.distance > reached {
            reached = near.distance;
            best = Some(Farthest {
                distance: near.distance,
                at: middle,
                to: near.at,
            });
        }
        pieces.push(([a, middle], [near_a, near]));
        pieces.push(([middle, b], [near, near_b]));
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::shapes::noise;
    use proptest::prelude::*;

    fn square(h: f64, shift: Plan) -> Vec<[Plan; 2]> {
        let p = [[-h, -h], [h, -h], [h, h], [-h, h]].map(|p| [p[0] + shift[0], p[1] + shift[1]]);
        (0..4).map(|k| [p[k], p[(k + 1) % 4]]).collect()
    }

    #[test]
    fn a_moved_square_is_as_far_as_its_corner_moved_at_most() {
        // the sides across the move lie 0.15 off, and no corner farther
        let there = Lines::new(square(10.0, [0.15, 0.0]));
        let far = farthest(&square(10.0, [0.0; 2]), &there).unwrap();
        assert!((far.distance - 0.15).abs() < 1e-9, "{far:?}");
    }

    #[test]
    fn the_middle_of_a_side_may_be_farthest() {
        // (0, 0)-(10, 0) against two points at its ends: the middle is 5 from both
        let ends = Lines::new(vec![[[0.0, 0.0]; 2], [[10.0, 0.0]; 2]]);
        let far = farthest(&[[[0.0, 0.0], [10.0, 0.0]]], &ends).unwrap();
        assert!((far.distance - 5.0).abs() < 1e-4, "{far:?}");
    }

    #[test]
    fn nothing_has_no_nearest_place() {
        assert_eq!(Lines::new(Vec::new()).nearest([1.0, 2.0]), None);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]
        #[test]
        fn nearest_agrees_with_looking_at_every_segment(seed in 0u64..1000, x in -30.0..30.0, y in -30.0..30.0) {
            let at = |k: u64| 20.0 * noise(seed * 1000 + k) - 10.0;
            let segments: Vec<[Plan; 2]> = (0..40u64)
                .map(|k| [[at(4 * k), at(4 * k + 1)], [at(4 * k + 2), at(4 * k + 3)]])
                .collect();
            let all = segments.iter().map(|&s| to_segment([x, y], s).0).fold(f64::INFINITY, f64::min);
            let near = Lines::new(segments).nearest([x, y]).unwrap();
            prop_assert!((near.distance - all).abs() < 1e-12);
        }
    }
}
