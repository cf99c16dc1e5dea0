//! The parting line: where the surface turns away from the pull.
//!
//! Along the pull d every corner of a triangle has f = n · d with the smooth surface's normal n there, taken linear in
//! between. The line bounds the surface where f > 0: within triangles f = 0, and along sharp edges the stretches on which the
//! sign of f differs between the two sides. On upright bands, where f is 0 as far as one can tell, it runs at one level.

use super::skin::Skin;
use crate::mesh::{Point, Vector};
use std::collections::BTreeMap;

/// A closed curve.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Loop {
    /// Its corners; the last one joins the first.
    pub(super) points: Vec<Point>,
    /// Length, mm.
    pub(super) length: f64,
    /// Lowest and highest place along the pull, mm from the origin.
    pub(super) from: f64,
    pub(super) to: f64,
}

/// The parting line for one pull.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct PartingLine {
    /// Its curves, longest first.
    pub(super) loops: Vec<Loop>,
    /// Length of all, mm.
    pub(super) length: f64,
    /// Distance between its lowest and its highest place along the pull, mm.
    pub(super) flatness: f64,
}

/// Sine of the lean within which a surface is upright: 0.05°, where the draft bands end too.
const UPRIGHT: f64 = 8.7e-4;
/// A curve shorter than this share of the longest goes around a dent or a bump, and says nothing of the parting.
const SHORT: f64 = 0.01;

/// Finds the parting line for the pull `d` (unit).
pub(super) fn line(skin: &Skin, d: &Vector) -> PartingLine {
    let heights: Vec<f64> = skin.mesh.vertices.iter().map(|p| p.coords.dot(d)).collect();
    let (lo, hi) = heights
        .iter()
        .fold((f64::MAX, f64::MIN), |(lo, hi), h| (lo.min(*h), hi.max(*h)));
    let f: Vec<[f64; 3]> = skin.normals.iter().map(|n| n.map(|n| n.dot(d))).collect();
    let band: Vec<usize> = (0..f.len())
        .filter(|&t| f[t].iter().all(|f| f.abs() <= UPRIGHT))
        .collect();
    let sides: Vec<i8> = f
        .iter()
        .map(|f| {
            let all = |sign: f64| f.iter().all(|f| sign * f > UPRIGHT);
            i8::from(all(1.0)) - i8::from(all(-1.0))
        })
        .collect();
    let middle = 0.5 * (lo + hi);
    let pull = Pull {
        d: *d,
        heights,
        f,
        sides,
        size: hi - lo,
    };
    let at = |level: f64| trace(skin, &pull, level);
    let first = at(middle);
    if band.is_empty() || first.loops.is_empty() {
        return first;
    }
    // the flattest level is one at which something else makes the line go, or an end of a band
    let ends = band.iter().fold((f64::MAX, f64::MIN), |(lo, hi), &t| {
        let h = skin.mesh.triangles[t].map(|v| pull.heights[v as usize]);
        (
            lo.min(h[0].min(h[1]).min(h[2])),
            hi.max(h[0].max(h[1]).max(h[2])),
        )
    });
    let mean = |l: &PartingLine| {
        let longest = &l.loops[0];
        0.5 * (longest.from + longest.to)
    };
    let mut best = first;
    for level in [
        ends.0,
        ends.1,
        0.5 * (ends.0 + ends.1),
        mean(&best),
        best.loops[0].from,
        best.loops[0].to,
    ] {
        let other = at(level);
        if other.flatness < best.flatness - skin.tolerance {
            best = other;
        }
    }
    best
}

/// What the body looks like along a pull.
struct Pull {
    d: Vector,
    /// Height along the pull of each vertex, mm from the origin.
    heights: Vec<f64>,
    /// f at the corners of each triangle.
    f: Vec<[f64; 3]>,
    /// Sign of f where it is the same, and clear, on all of a triangle; else 0.
    sides: Vec<i8>,
    /// The body's extent along the pull, mm.
    size: f64,
}

/// A place of the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Node {
    Vertex(u32),
    /// Where f is 0 on an edge, as its first (or both) or its second triangle has it.
    Crossing(u32, bool),
}

/// The line with upright bands parted at `level`.
fn trace(skin: &Skin, pull: &Pull, level: f64) -> PartingLine {
    let mut trace = Trace {
        skin,
        pull,
        level,
        places: BTreeMap::new(),
        ways: BTreeMap::new(),
        crossings: BTreeMap::new(),
        count: vec![0; skin.mesh.triangles.len()],
    };
    for e in 0..skin.topology.edges.len() {
        trace.edge(e);
    }
    trace.triangles();
    chained(trace.ways, &trace.places, &pull.d)
}

/// The line as far as it is traced.
struct Trace<'a> {
    skin: &'a Skin<'a>,
    pull: &'a Pull,
    level: f64,
    places: BTreeMap<Node, Point>,
    /// The places that the line goes on to from each.
    ways: BTreeMap<Node, Vec<Node>>,
    /// Where the first and the second triangle of an edge have f = 0 on it.
    crossings: BTreeMap<u32, [Option<Node>; 2]>,
    /// Crossings on the sides of each triangle.
    count: Vec<u8>,
}

impl Trace<'_> {
    /// f at corner `v` of triangle `t`; on upright bands its sign is that of the height above the level.
    fn leaning(&self, t: u32, v: u32) -> f64 {
        let pull = self.pull;
        let mut corners = self.skin.mesh.triangles[t as usize].iter();
        let k = corners.position(|&w| w == v);
        let own = pull.f[t as usize][k.unwrap_or(0)];
        if own.abs() > UPRIGHT {
            return own;
        }
        let above = (pull.heights[v as usize] - self.level) / pull.size * UPRIGHT;
        // never 0: the line runs beside corners, not through them
        if above == 0.0 {
            f64::MIN_POSITIVE
        } else {
            above
        }
    }

    fn join(&mut self, a: Node, b: Node) {
        self.ways.entry(a).or_default().push(b);
        self.ways.entry(b).or_default().push(a);
    }

    /// Where the line crosses edge `e` and where it runs along it.
    fn edge(&mut self, e: usize) {
        let edge = &self.skin.topology.edges[e];
        let (first, Some(second)) = edge.triangles else {
            return;
        };
        let side = self.pull.sides[first as usize];
        if side != 0 && side == self.pull.sides[second as usize] {
            return;
        }
        let [own, other] = [first, second].map(|t| edge.vertices.map(|v| self.leaning(t, v)));
        let crosses = |[p, q]: [f64; 2]| (p < 0.0) != (q < 0.0);
        let differ = (own[0] < 0.0) != (other[0] < 0.0);
        if !crosses(own) && !crosses(other) && !differ {
            return;
        }
        let same = own == other;
        let [start, end] = edge.vertices.map(|v| self.skin.mesh.vertices[v as usize]);
        let mut stops: Vec<(f64, Node)> = Vec::new();
        for (k, t, [p, q]) in [(0, first, own), (1, second, other)] {
            if crosses([p, q]) {
                let node = Node::Crossing(e as u32, k == 1 && !same);
                let s = p / (p - q);
                self.places.insert(node, start + (end - start) * s);
                self.crossings.entry(e as u32).or_default()[k] = Some(node);
                self.count[t as usize] += 1;
                stops.push((s, node));
            }
        }
        if !same {
            self.along(edge.vertices, differ, stops);
        }
    }

    /// Along the stretches, between `stops`, of a sharp edge on which its two sides face differently; whether they `differ` at its
    /// beginning.
    fn along(&mut self, [a, b]: [u32; 2], mut differ: bool, mut stops: Vec<(f64, Node)>) {
        stops.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut from = Node::Vertex(a);
        for (_, stop) in stops.into_iter().chain([(1.0, Node::Vertex(b))]) {
            if differ {
                self.join(from, stop);
                for v in [a, b] {
                    let node = Node::Vertex(v);
                    if from == node || stop == node {
                        self.places
                            .insert(node, self.skin.mesh.vertices[v as usize]);
                    }
                }
            }
            differ = !differ;
            from = stop;
        }
    }

    /// Through the triangles, from one side to another.
    fn triangles(&mut self) {
        let topology = self.skin.topology;
        for t in 0..self.count.len() {
            if self.count[t] != 2 {
                continue;
            }
            let mut ends = topology.sides[t].iter().filter_map(|e| {
                let side = usize::from(topology.edges[*e as usize].triangles.0 != t as u32);
                self.crossings.get(e)?[side]
            });
            if let (Some(a), Some(b)) = (ends.next(), ends.next()) {
                self.join(a, b);
            }
        }
    }
}

/// Chains pairs of places to closed curves.
fn chained(
    mut ways: BTreeMap<Node, Vec<Node>>,
    places: &BTreeMap<Node, Point>,
    d: &Vector,
) -> PartingLine {
    let mut loops = Vec::new();
    while let Some((&start, next)) = ways.first_key_value() {
        if next.is_empty() {
            ways.remove(&start);
            continue;
        }
        let mut points = Vec::new();
        let mut at = start;
        while let Some(next) = ways.get_mut(&at).and_then(Vec::pop) {
            points.push(places[&at]);
            let back = ways.entry(next).or_default();
            if let Some(k) = back.iter().position(|n| *n == at) {
                back.remove(k);
            }
            at = next;
        }
        let closed = points.iter().zip(points.iter().cycle().skip(1));
        let length = closed.map(|(a, b)| (b - a).norm()).sum();
        let (from, to) = points
            .iter()
            .map(|p| p.coords.dot(d))
            .fold((f64::MAX, f64::MIN), |(l, h), z| (l.min(z), h.max(z)));
        loops.push(Loop {
            points,
            length,
            from,
            to,
        });
    }
    loops.sort_by(|a, b| b.length.total_cmp(&a.length));
    let least = loops.first().map_or(0.0, |l| SHORT * l.length);
    loops.retain(|l| l.length >= least && l.length > 0.0);
    let (from, to) = loops.iter().fold((f64::MAX, f64::MIN), |(l, h), c| {
        (l.min(c.from), h.max(c.to))
    });
    PartingLine {
        length: loops.iter().map(|l| l.length).sum(),
        flatness: (to - from).max(0.0),
        loops,
    }
}
