//! Which shells make up which body.
//!
//! A shell turned inward inside another is its void. An inward shell inside nothing is a body given
//! inside out, and with it everything inside. Bodies that stick deep in one another are one body in
//! several pieces, such as a half with its pressed-in pins; bodies that touch are not.

use super::shells::{Sets, Shell};
use super::winding::windings;
use super::{Mesh, Point, Vector};
use rayon::prelude::*;

/// Places by which a shell is judged to lie inside another: the majority decides.
const NEST_SAMPLES: usize = 9;
/// Places by which a body is judged to stick in another.
const JOIN_SAMPLES: usize = 128;
/// A body sticks in another if this share of its surface lies in it; common practice, no source.
const JOIN_SHARE: f64 = 0.1;
/// Only what lies deeper than this share of the body's size counts, so that halves that overlap a
/// little stay two.
const JOIN_DEPTH: f64 = 0.05;

/// The shells of a body.
#[derive(Debug, PartialEq)]
pub(super) struct Group {
    /// Outward shells, largest first: more than one where pieces overlap.
    pub(super) outer: Vec<usize>,
    /// Voids.
    pub(super) voids: Vec<usize>,
    /// The largest outward shell was given inside out.
    pub(super) inside_out: bool,
    /// Solid, mm³; what overlaps counts twice.
    pub(super) volume: f64,
}

/// Role of a shell.
#[derive(Clone, Copy, PartialEq)]
enum Role {
    Outer,
    /// Void of the body with this outer shell.
    VoidIn(usize),
}

/// Groups shells with volume into bodies, largest first; turns those around that were given inside
/// out, and says whether there were any.
pub(super) fn bodies(mesh: &mut Mesh, shells: &mut [Shell]) -> (Vec<Group>, bool) {
    let mut order: Vec<usize> = (0..shells.len()).collect();
    let by_volume =
        |&a: &usize, &b: &usize| shells[b].volume.abs().total_cmp(&shells[a].volume.abs());
    order.sort_by(by_volume);
    let mut rank = vec![0; shells.len()];
    for (r, &s) in order.iter().enumerate() {
        rank[s] = r;
    }
    let pairs = overlapping_boxes(shells, &rank);
    let parents = parents(mesh, shells, &rank, &pairs);

    let mut roles = vec![Role::Outer; shells.len()];
    let mut turned = vec![false; shells.len()];
    for &s in &order {
        turned[s] = parents[s].is_some_and(|p| turned[p]);
        let inward = (shells[s].volume < 0.0) != turned[s];
        match parents[s] {
            Some(p) if inward && roles[p] == Role::Outer => roles[s] = Role::VoidIn(p),
            _ => turned[s] ^= inward,
        }
    }
    for (shell, _) in shells
        .iter_mut()
        .zip(&turned)
        .filter(|(_, turned)| **turned)
    {
        shell.volume = -shell.volume;
        for &t in &shell.triangles {
            mesh.triangles[t as usize].swap(1, 2);
        }
    }

    let mut sets = Sets((0..shells.len() as u32).collect());
    for (s, role) in roles.iter().enumerate() {
        if let Role::VoidIn(p) = role {
            sets.join(s as u32, *p as u32);
        }
    }
    for (piece, body) in stuck(mesh, shells, &roles, &pairs) {
        sets.join(piece as u32, body as u32);
    }
    let any_turned = turned.contains(&true);
    (groups(shells, &order, &roles, &turned, sets), any_turned)
}

fn groups(
    shells: &[Shell],
    order: &[usize],
    roles: &[Role],
    turned: &[bool],
    mut sets: Sets,
) -> Vec<Group> {
    let mut number = vec![usize::MAX; shells.len()];
    let mut groups: Vec<Group> = Vec::new();
    for &s in order {
        let first = sets.find(s as u32) as usize;
        if number[first] == usize::MAX {
            // the largest shell of a body is never a void, for that would lie inside a larger one
            number[first] = groups.len();
            groups.push(Group {
                outer: Vec::new(),
                voids: Vec::new(),
                inside_out: turned[s],
                volume: 0.0,
            });
        }
        let group = &mut groups[number[first]];
        match roles[s] {
            Role::Outer => group.outer.push(s),
            Role::VoidIn(_) => group.voids.push(s),
        }
        group.volume += shells[s].volume;
    }
    groups.sort_by(|a, b| b.volume.total_cmp(&a.volume));
    groups
}

/// Pairs of shells whose boxes overlap or touch, the larger shell first, ascending.
fn overlapping_boxes(shells: &[Shell], rank: &[usize]) -> Vec<[usize; 2]> {
    // along the axis where boxes are spread widest against their own extent, few lie side by side
    let crowding = |k: usize| {
        let lo = shells.iter().map(|s| s.lo[k]).fold(f64::INFINITY, f64::min);
        let hi = shells
            .iter()
            .map(|s| s.hi[k])
            .fold(f64::NEG_INFINITY, f64::max);
        shells.iter().map(|s| s.hi[k] - s.lo[k]).sum::<f64>() / (hi - lo)
    };
    let axis = (0..3)
        .min_by(|&a, &b| crowding(a).total_cmp(&crowding(b)))
        .unwrap_or(0);
    let mut sorted: Vec<usize> = (0..shells.len()).collect();
    sorted.sort_by(|&a, &b| {
        shells[a].lo[axis]
            .total_cmp(&shells[b].lo[axis])
            .then(a.cmp(&b))
    });
    let mut pairs = Vec::new();
    for (i, &a) in sorted.iter().enumerate() {
        let beside = sorted[i + 1..]
            .iter()
            .take_while(|&&b| shells[b].lo[axis] <= shells[a].hi[axis]);
        for &b in beside {
            if (0..3).all(|k| overlap(&shells[a], &shells[b], k) >= 0.0) {
                pairs.push(if rank[a] < rank[b] { [a, b] } else { [b, a] });
            }
        }
    }
    pairs.sort_unstable();
    pairs
}

/// Overlap of two shells' boxes along axis `k`, mm; negative where they are apart.
fn overlap(a: &Shell, b: &Shell, k: usize) -> f64 {
    a.hi[k].min(b.hi[k]) - a.lo[k].max(b.lo[k])
}

/// For each shell the smallest larger one that it lies inside.
fn parents(
    mesh: &Mesh,
    shells: &[Shell],
    rank: &[usize],
    pairs: &[[usize; 2]],
) -> Vec<Option<usize>> {
    let within = |&[a, b]: &[usize; 2]| {
        let (a, b) = (&shells[a], &shells[b]);
        (0..3).all(|k| a.lo[k] <= b.lo[k] && b.hi[k] <= a.hi[k])
    };
    let nested: Vec<[usize; 2]> = pairs.iter().copied().filter(within).collect();
    let around: Vec<&[[usize; 2]]> = nested.chunk_by(|a, b| a[0] == b[0]).collect();
    // every outer shell is gone through once, for all that may lie inside it
    let inside: Vec<Vec<[usize; 2]>> = around
        .into_par_iter()
        .map(|group| {
            let samples = |&[_, inner]: &[usize; 2]| shells[inner].samples(mesh, NEST_SAMPLES);
            let points: Vec<Point> = group.iter().flat_map(samples).map(|(p, _)| p).collect();
            let windings = windings(corners(mesh, &shells[group[0][0]]), &points);
            let votes = windings
                .chunks(NEST_SAMPLES)
                .map(|w| w.iter().filter(|&&w| w != 0).count());
            let pairs = group.iter().copied().zip(votes);
            pairs
                .filter(|(_, votes)| 2 * votes > NEST_SAMPLES)
                .map(|(pair, _)| pair)
                .collect()
        })
        .collect();
    let mut parents: Vec<Option<usize>> = vec![None; shells.len()];
    for [outer, inner] in inside.into_iter().flatten() {
        if parents[inner].is_none_or(|p| rank[p] < rank[outer]) {
            parents[inner] = Some(outer);
        }
    }
    parents
}

fn corners<'a>(mesh: &'a Mesh, shell: &'a Shell) -> impl Iterator<Item = [Point; 3]> + 'a {
    shell.triangles.iter().map(|&t| mesh.corners(t as usize))
}

/// Bodies that stick in a larger one, each with the one that holds most of it. Only one: a pin through
/// both halves must not make them one.
fn stuck(
    mesh: &Mesh,
    shells: &[Shell],
    roles: &[Role],
    pairs: &[[usize; 2]],
) -> Vec<(usize, usize)> {
    let deep = |&[body, piece]: &[usize; 2]| {
        let depth = JOIN_DEPTH * shells[piece].size();
        let both = roles[body] == Role::Outer && roles[piece] == Role::Outer;
        both && (0..3).all(|k| overlap(&shells[body], &shells[piece], k) > depth)
    };
    let pairs: Vec<[usize; 2]> = pairs.iter().copied().filter(deep).collect();
    let mut voids: Vec<(usize, usize)> = Vec::new();
    for (s, role) in roles.iter().enumerate() {
        if let (Role::VoidIn(p), false) = (role, pairs.is_empty()) {
            voids.push((*p, s));
        }
    }
    voids.sort_unstable();
    let around: Vec<&[[usize; 2]]> = pairs.chunk_by(|a, b| a[0] == b[0]).collect();
    let shares: Vec<Vec<(usize, usize, usize)>> = around
        .into_par_iter()
        .map(|group| {
            let body = group[0][0];
            let mine =
                voids.partition_point(|v| v.0 < body)..voids.partition_point(|v| v.0 <= body);
            let triangles = corners(mesh, &shells[body])
                .chain(voids[mine].iter().flat_map(|v| corners(mesh, &shells[v.1])));
            let points: Vec<Point> = group
                .iter()
                .flat_map(|g| probes(mesh, &shells[g[1]]))
                .collect();
            let windings = windings(triangles, &points);
            let inside = |w: &[i32]| {
                w.chunks(3)
                    .filter(|probe| probe.iter().all(|&w| w > 0))
                    .count()
            };
            let counts = windings.chunks(3 * JOIN_SAMPLES).map(inside);
            group
                .iter()
                .zip(counts)
                .map(|(g, count)| (g[1], count, body))
                .collect()
        })
        .collect();
    let mut best: Vec<(usize, usize, usize)> = shares.into_iter().flatten().collect();
    best.retain(|&(_, count, _)| count as f64 >= JOIN_SHARE * JOIN_SAMPLES as f64);
    best.sort_unstable_by_key(|&(piece, count, body)| (piece, std::cmp::Reverse(count), body));
    best.dedup_by_key(|&mut (piece, ..)| piece);
    best.into_iter()
        .map(|(piece, _, body)| (piece, body))
        .collect()
}

/// Places on the surface of a shell, each with one outside and one inside of it. All three lie in
/// another body only where the surface is deep in it: where two faces merely overlap, the place inside
/// is out of the other again.
fn probes(mesh: &Mesh, shell: &Shell) -> impl Iterator<Item = Point> {
    let depth = JOIN_DEPTH * shell.size();
    let samples = shell.samples(mesh, JOIN_SAMPLES).into_iter();
    samples.flat_map(move |(p, n): (Point, Vector)| [p, p + n * depth, p - n * depth])
}

#[cfg(test)]
mod tests {
    use super::super::shells::shells;
    use super::*;
    use crate::mesh::Topology;
    use crate::mesh::testing::{ball, block, moved, together, turned};

    fn of(meshes: &[Mesh]) -> (Vec<Group>, Mesh) {
        let mut mesh = together(meshes);
        let mut shells = shells(&mesh, &Topology::new(&mesh));
        assert_eq!(shells.len(), meshes.len());
        let (groups, _) = bodies(&mut mesh, &mut shells);
        (groups, mesh)
    }

    fn shape(groups: &[Group]) -> Vec<(Vec<usize>, Vec<usize>, bool)> {
        let shape = |g: &Group| (g.outer.clone(), g.voids.clone(), g.inside_out);
        groups.iter().map(shape).collect()
    }

    fn cube(side: f64) -> Mesh {
        moved(&block([side; 3]), [-side / 2.0; 3])
    }

    #[test]
    fn voids_and_inserts_nest() {
        let nest = [
            cube(10.0),
            turned(&cube(8.0)),
            cube(6.0),
            turned(&ball(2.0, 8)),
        ];
        let (groups, _) = of(&nest);
        // 10³ - 8³ is more than 6³
        assert_eq!(
            shape(&groups),
            [(vec![0], vec![1], false), (vec![2], vec![3], false)]
        );
        assert!((groups[0].volume - 488.0).abs() < 1e-3);
    }

    #[test]
    fn a_nest_given_inside_out_is_turned_as_a_whole() {
        let nest = [
            turned(&cube(10.0)),
            cube(8.0),
            moved(&cube(5.0), [20.0, 0.0, 0.0]),
        ];
        let (groups, mesh) = of(&nest);
        assert_eq!(
            shape(&groups),
            [(vec![0], vec![1], true), (vec![2], vec![], false)]
        );
        assert!((groups[0].volume - 488.0).abs() < 1e-3);
        assert!((mesh.signed_volume() - 613.0).abs() < 1e-3);
    }

    #[test]
    fn an_inward_shell_inside_a_void_is_a_body() {
        let (groups, _) = of(&[cube(10.0), turned(&cube(8.0)), turned(&cube(2.0))]);
        assert_eq!(
            shape(&groups),
            [(vec![0], vec![1], false), (vec![2], vec![], true)]
        );
    }

    #[test]
    fn a_pressed_in_pin_joins_its_half() {
        // a pin 2 x 2 x 6, a third of it in a block
        let half = block([20.0, 20.0, 10.0]);
        let pin = moved(&block([2.0, 2.0, 6.0]), [3.1, 4.2, 8.0]);
        let (groups, _) = of(&[pin.clone(), half.clone()]);
        assert_eq!(shape(&groups), [(vec![1, 0], vec![], false)]);
        // through both halves it belongs to the one that holds more of it
        let other = moved(&half, [0.0, 0.0, 10.0]);
        let (groups, _) = of(&[half, pin, other]);
        assert_eq!(
            shape(&groups),
            [(vec![2, 1], vec![], false), (vec![0], vec![], false)]
        );
    }

    #[test]
    fn halves_that_touch_or_overlap_a_little_stay_two() {
        let half = block([20.0, 20.0, 10.0]);
        for overlap in [0.0, 0.01, 0.3, 1.0] {
            let other = moved(&half, [0.0, 0.0, 10.0 - overlap]);
            let (groups, _) = of(&[half.clone(), other]);
            assert_eq!(groups.len(), 2, "{overlap}");
        }
    }

    #[test]
    fn thousands_of_shells_take_no_time() {
        // 20 x 20 x 10 voids in a block, and the block again 40 times as a speck above it
        let mut meshes = vec![block([100.0, 100.0, 50.0])];
        let void = turned(&block([2.0; 3]));
        for k in 0..4000 {
            let [x, y, z] = [k % 20, k / 20 % 20, k / 400].map(|i| f64::from(i) * 5.0 + 1.5);
            meshes.push(moved(&void, [x, y, z]));
        }
        for k in 0..40 {
            meshes.push(moved(&block([1.0; 3]), [f64::from(k) * 2.0, 0.0, 60.0]));
        }
        let started = std::time::Instant::now();
        let (groups, _) = of(&meshes);
        // far more than it takes; going through all pairs of triangles would take minutes
        assert!(started.elapsed().as_secs() < 5);
        assert_eq!(groups.len(), 41);
        assert_eq!(groups[0].voids.len(), 4000);
    }
}
