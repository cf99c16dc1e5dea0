//! Locating pins and sockets.

use super::Side;
use super::circle::{Circle, circle};
use crate::field::{Lines, Plan, Polyline, apart, chain, cuts, farthest};
use crate::mesh::{Mesh, Point};
use crate::report::{HollowKind, Pin, Socket, Verdict};
use crate::setup::Components;
use nalgebra::Isometry3;

/// Height above the parting face from which a rise is a boss, mm.
pub const ENTERS: f64 = 0.1;
/// Smaller bosses, in cells, are rounding along an edge.
const LEAST_CELLS: usize = 4;
/// Heights at which pin and socket are measured, as shares of the height in which both are.
const AT: [f64; 7] = [0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9];
/// The one of [`AT`] that diameters and axes are taken from.
const MIDDLE: usize = 3;
/// A round hole whose diameter changes by no more than this share over its height is one that a pin may stand in; common
/// practice, no source.
const STRAIGHT: f64 = 0.08;
/// A hole larger than this share of its half's largest hollow, by volume, is no pin's hole; common practice, no source.
const SMALL: f64 = 0.05;

/// Whether a pin goes into its socket and lets the halves meet.
pub fn verdict(pin: &Pin) -> Verdict {
    let tight = pin.clearance_mm.is_some_and(|c| c < 0.0);
    if !pin.socket || tight || pin.bottoms_out == Some(true) {
        Verdict::Fail
    } else {
        Verdict::Pass
    }
}

/// What stands above the parting face of one half, in its tool frame.
struct Boss {
    /// Its lowest and highest corner in plan.
    lo: Plan,
    hi: Plan,
    centre: Plan,
    /// Height of the parting face about it, and of its top.
    foot: f64,
    top: f64,
    /// Hollow of the other half that most of it faces.
    faces: Option<usize>,
    /// Whether the other half lies over it at all.
    covered: bool,
}

/// The pins of both halves with the sockets that they enter, and the round holes that no pin enters.
pub fn pins(
    sides: &[Side; 2],
    b_to_a: &Isometry3<f64>,
    crease_deg: f64,
) -> (Vec<Pin>, Vec<Socket>) {
    let mut found = Vec::new();
    let mut taken = [Vec::new(), Vec::new()];
    for k in 0..2 {
        let (own, other) = (&sides[k], &sides[1 - k]);
        // own tool frame to the other's
        let to_other = if k == 0 { b_to_a.inverse() } else { *b_to_a };
        for boss in bosses(own, other, &to_other) {
            let core = |h: usize| other.survey.hollows[h].kind == HollowKind::Cavity;
            if !boss.covered || boss.faces.is_some_and(core) {
                continue;
            }
            if let Some(h) = boss.faces {
                taken[1 - k].push(h);
            }
            found.push(measure(own, other, &to_other, &boss, crease_deg));
        }
    }
    let empty = (0..2)
        .flat_map(|k| empty_sockets(sides, k, b_to_a, &taken[k], crease_deg))
        .collect();
    (found, empty)
}

fn bosses(own: &Side, other: &Side, to_other: &Isometry3<f64>) -> Vec<Boss> {
    let survey = own.survey;
    let grid = survey.grid();
    let centre = |k: usize| grid.centre(k % grid.nx, k / grid.nx);
    let face = |k: usize| {
        let [x, y] = centre(k);
        survey.parting_at(x, y)
    };
    let rises = |k: usize| {
        survey.inside[k]
            && survey.labels[k] == 0
            && survey
                .top
                .get(k)
                .is_some_and(|z| f64::from(z) > face(k) + ENTERS)
    };
    let parts = Components::of(&grid, rises);
    let mut cells = vec![Vec::new(); parts.count];
    for k in (0..grid.len()).filter(|&k| parts.labels[k] != 0) {
        cells[parts.labels[k] as usize - 1].push(k);
    }
    let opposite = other.survey.grid();
    cells
        .into_iter()
        .filter(|cells| cells.len() >= LEAST_CELLS)
        .map(|cells| {
            let (mut lo, mut hi, mut sum) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2], [0.0; 2]);
            let mut top = f64::NEG_INFINITY;
            let mut foot = Vec::new();
            let mut over = vec![0usize; other.survey.hollows.len() + 1];
            let mut covered = 0;
            for &k in &cells {
                let p = centre(k);
                for c in 0..2 {
                    lo[c] = lo[c].min(p[c]);
                    hi[c] = hi[c].max(p[c]);
                    sum[c] += p[c];
                }
                top = top.max(survey.top.get(k).map_or(f64::MIN, f64::from));
                foot.push(face(k));
                let q = to_other * Point::new(p[0], p[1], 0.0);
                if let Some((i, j)) = opposite.cell_at(q.x, q.y) {
                    let n = opposite.index(i, j);
                    covered += usize::from(other.survey.inside[n]);
                    over[other.survey.labels[n] as usize] += 1;
                }
            }
            foot.sort_by(f64::total_cmp);
            let most = (0..over.len()).max_by_key(|&h| (over[h], std::cmp::Reverse(h)));
            Boss {
                lo: lo.map(|x| x - grid.cell),
                hi: hi.map(|x| x + grid.cell),
                centre: sum.map(|s| s / cells.len() as f64),
                foot: foot[foot.len() / 2],
                top,
                faces: most.and_then(|h| h.checked_sub(1)),
                covered: 2 * covered > cells.len(),
            }
        })
        .collect()
}

/// Triangles whose box in plan meets the box `lo..hi`.
fn near(mesh: &Mesh, lo: Plan, hi: Plan) -> Vec<u32> {
    let meets = |t: &u32| {
        let corners = mesh.corners(*t as usize);
        [0, 1].iter().all(|&c| {
            corners.iter().any(|p| p[c] >= lo[c]) && corners.iter().any(|p| p[c] <= hi[c])
        })
    };
    (0..mesh.triangles.len() as u32).filter(meets).collect()
}

/// The smallest closed polyline around `p` that is a hole, or material.
fn around(lines: &[Polyline], p: Plan, hole: bool) -> Option<&Polyline> {
    lines
        .iter()
        .filter(|l| l.closed && (l.area() < 0.0) == hole && l.surrounds(p))
        .min_by(|a, b| a.area().abs().total_cmp(&b.area().abs()))
}

fn measure(
    own: &Side,
    other: &Side,
    to_other: &Isometry3<f64>,
    boss: &Boss,
    crease_deg: f64,
) -> Pin {
    let mesh = &own.half.mesh;
    let triangles = near(mesh, boss.lo, boss.hi);
    let inside = |p: &Point| (0..2).all(|c| p[c] >= boss.lo[c] && p[c] <= boss.hi[c]);
    let tip = triangles
        .iter()
        .flat_map(|&t| mesh.corners(t as usize))
        .filter(inside)
        .map(|p| p.z)
        .fold(boss.top, f64::max);
    let height = tip - boss.foot;
    let socket = boss.faces.map(|h| SocketOf::new(other, to_other, boss, h));
    let common = socket
        .as_ref()
        .and_then(|s| s.depth)
        .map_or(height, |d| d.min(height));
    let mut pin_at = [None; AT.len()];
    let mut socket_at = [None; AT.len()];
    let (mut least, mut most): (Option<Far>, Option<Far>) = (None, None);
    for (k, share) in AT.iter().enumerate() {
        let z = boss.foot + share * common;
        let lines = chain(&cuts(mesh, z, triangles.iter().copied()));
        let pin = around(&lines, boss.centre, false);
        pin_at[k] = pin.and_then(|l| circle(l, own.half.rounding, crease_deg));
        let Some((socket, pin)) = socket.as_ref().zip(pin) else {
            continue;
        };
        let (walls, round) = socket.section(z, crease_deg);
        socket_at[k] = round;
        if let Some(clear) = clear(pin, &walls) {
            let at = |p: Plan| Point::new(p[0], p[1], z);
            if least.is_none_or(|l| clear.least < l.distance) {
                least = Some(Far {
                    distance: clear.least,
                    at: at(clear.least_at),
                });
            }
            if most.is_none_or(|m| clear.most > m.distance) {
                most = Some(Far {
                    distance: clear.most,
                    at: at(clear.most_at),
                });
            }
        }
    }
    let round = |c: &[Option<Circle>]| c[MIDDLE].or_else(|| c.iter().flatten().next().copied());
    let (pin, hole) = (round(&pin_at), round(&socket_at));
    let radial = pin_at
        .iter()
        .zip(&socket_at)
        .filter_map(|(p, s)| Some((*s)?.radius - (*p)?.radius))
        .reduce(f64::min);
    let both = pin.zip(hole);
    let depth = socket.as_ref().and_then(|s| s.depth);
    let gap = socket.as_ref().map_or(0.0, |s| s.gap);
    let axial = depth.map(|d| d + gap - height);
    Pin {
        at_mm: own.half.frame.place(&Point::new(
            pin.map_or(boss.centre[0], |c| c.centre[0]),
            pin.map_or(boss.centre[1], |c| c.centre[1]),
            boss.foot,
        )),
        half: own.half.name.clone(),
        socket: socket.is_some(),
        pin_diameter_mm: pin.map(|c| 2.0 * c.radius),
        socket_diameter_mm: hole.map(|c| 2.0 * c.radius),
        diameter_mm_pm: both.map(|(p, s)| 2.0 * (p.sagitta + s.sagitta)),
        radial_clearance_mm: radial,
        clearance_mm: least.map(|c| c.distance),
        clearance_at_mm: least.map(|c| own.half.frame.place(&c.at)),
        clearance_most_mm: most.map(|c| c.distance),
        clearance_most_at_mm: most.map(|c| own.half.frame.place(&c.at)),
        offset_mm: both.map(|(p, s)| apart(p.centre, s.centre)),
        pin_height_mm: height,
        socket_depth_mm: depth,
        axial_clearance_mm: axial,
        bottoms_out: axial.map(|a| a < -own.half.tolerance()),
    }
}

/// The hollow that a pin enters, seen from the pin's half.
struct SocketOf<'a> {
    side: &'a Side<'a>,
    /// From the pin's tool frame.
    to_other: Isometry3<f64>,
    triangles: Vec<u32>,
    centre: Plan,
    /// From the parting face down; `None` where it goes through.
    depth: Option<f64>,
    /// Distance between both parting faces at the pin.
    gap: f64,
}

impl<'a> SocketOf<'a> {
    fn new(other: &'a Side<'a>, to_other: &Isometry3<f64>, boss: &Boss, h: usize) -> SocketOf<'a> {
        let q = to_other * Point::new(boss.centre[0], boss.centre[1], boss.foot);
        let grid = other.survey.grid();
        let (mut lo, mut hi) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for k in (0..grid.len()).filter(|&k| other.survey.hollow_at(k) == Some(h)) {
            let p = grid.centre(k % grid.nx, k / grid.nx);
            for c in 0..2 {
                lo[c] = lo[c].min(p[c] - grid.cell);
                hi[c] = hi[c].max(p[c] + grid.cell);
            }
        }
        let face = other.survey.parting_at(q.x, q.y);
        SocketOf {
            side: other,
            to_other: *to_other,
            triangles: near(&other.half.mesh, lo, hi),
            centre: [q.x, q.y],
            depth: depth(other, h),
            gap: q.z - face,
        }
    }

    /// Its walls at height `z` of the pin's frame, in the pin's plan, and their circle.
    fn section(&self, z: f64, crease_deg: f64) -> (Vec<Polyline>, Option<Circle>) {
        let back = self.to_other.inverse();
        let level = (self.to_other * Point::new(0.0, 0.0, z)).z;
        let lines = chain(&cuts(
            &self.side.half.mesh,
            level,
            self.triangles.iter().copied(),
        ));
        let hole = around(&lines, self.centre, true);
        let round = hole.and_then(|l| circle(l, self.side.half.rounding, crease_deg));
        let place = |p: Plan| {
            let q = back * Point::new(p[0], p[1], level);
            [q.x, q.y]
        };
        let bring = |l: &Polyline| Polyline {
            // turned over: the material stays on the left only if the order turns too
            points: l.points.iter().rev().map(|&p| place(p)).collect(),
            triangles: l.triangles.iter().rev().copied().collect(),
            closed: l.closed,
        };
        let walls = match hole {
            Some(l) => vec![bring(l)],
            None => lines.iter().map(bring).collect(),
        };
        let round = round.map(|c| Circle {
            centre: place(c.centre),
            ..c
        });
        (walls, round)
    }
}

/// Depth of a hollow below the parting face, mm; `None` where it goes through.
fn depth(side: &Side, h: usize) -> Option<f64> {
    if side.survey.hollows[h].kind == HollowKind::Through {
        return None;
    }
    let facets = side
        .surface
        .facets
        .iter()
        .filter(|f| f.hollow as usize == h);
    facets
        .map(|f| side.survey.parting_at(f.centroid.x, f.centroid.y) - f.z[0])
        .reduce(f64::max)
}

/// A distance and the place on the pin where it is found, tool frame.
#[derive(Clone, Copy)]
struct Far {
    distance: f64,
    at: Point,
}

/// Plan distances between a pin's outline and a socket's walls, and where on the pin they are.
#[derive(Clone, Copy)]
struct Clear {
    /// The least; negative where they cross or the pin is outside.
    least: f64,
    least_at: Plan,
    /// The largest from a place of the pin to its nearest wall.
    most: f64,
    most_at: Plan,
}

/// Measures a pin's outline against a socket's walls, whatever their shapes.
fn clear(pin: &Polyline, walls: &[Polyline]) -> Option<Clear> {
    let lines = Lines::new(walls.iter().flat_map(Polyline::sides).collect());
    let own = Lines::new(pin.sides().collect());
    let corners = || walls.iter().flat_map(|w| w.points.iter());
    let to_pin = |p: &Plan| own.nearest(*p).map(|n| (n.distance, n.at));
    let to_wall = |p: &Plan| lines.nearest(*p).map(|n| (n.distance, *p));
    let less = |a: (f64, Plan), b: (f64, Plan)| if b.0 < a.0 { b } else { a };
    let more = |a: (f64, Plan), b: (f64, Plan)| if b.0 > a.0 { b } else { a };
    // two polylines that do not cross are nearest at a corner of one of them
    let near = pin.points.iter().filter_map(to_wall);
    let near = near.chain(corners().filter_map(to_pin)).reduce(less)?;
    // how far walls reach into the pin, or the pin out of a closed socket
    let into = corners().filter(|p| pin.surrounds(**p)).filter_map(to_pin);
    let closed = walls.iter().filter(|w| w.closed && walls.len() == 1);
    let out = closed.flat_map(|w| pin.points.iter().filter(|p| !w.surrounds(**p)));
    let deepest = into.chain(out.filter_map(to_wall)).reduce(more);
    let (least, least_at) = deepest.map_or(near, |(d, at)| (-d, at));
    let far = farthest(&own.segments, &lines)?;
    Some(Clear {
        least,
        least_at,
        most: far.distance,
        most_at: far.at,
    })
}

/// Round straight holes of half `k` that no pin enters: not the largest hollow, and small against it.
fn empty_sockets(
    sides: &[Side; 2],
    k: usize,
    b_to_a: &Isometry3<f64>,
    taken: &[usize],
    crease_deg: f64,
) -> Vec<Socket> {
    let side = &sides[k];
    let volumes: Vec<f64> = (0..side.survey.hollows.len())
        .map(|h| side.survey.volume_below(h, 0.0, 0.0))
        .collect();
    let largest = volumes.iter().copied().fold(0.0, f64::max);
    let to_other = if k == 0 { b_to_a.inverse() } else { *b_to_a };
    let mut found = Vec::new();
    for (h, hollow) in side.survey.hollows.iter().enumerate() {
        let may = matches!(hollow.kind, HollowKind::Cavity) && !taken.contains(&h);
        if !may || volumes[h] > SMALL * largest {
            continue;
        }
        let Some(depth) = depth(side, h) else {
            continue;
        };
        let grid = side.survey.grid();
        let (mut sum, mut lo, mut hi, mut n) =
            ([0.0; 2], [f64::INFINITY; 2], [f64::NEG_INFINITY; 2], 0.0);
        for cell in (0..grid.len()).filter(|&c| side.survey.hollow_at(c) == Some(h)) {
            let p = grid.centre(cell % grid.nx, cell / grid.nx);
            for c in 0..2 {
                sum[c] += p[c];
                lo[c] = lo[c].min(p[c] - grid.cell);
                hi[c] = hi[c].max(p[c] + grid.cell);
            }
            n += 1.0;
        }
        let centre = sum.map(|s| s / f64::max(n, 1.0));
        let face = side.survey.parting_at(centre[0], centre[1]);
        let mesh = &side.half.mesh;
        let triangles = near(mesh, lo, hi);
        let at = |share: f64| {
            let lines = chain(&cuts(mesh, face - share * depth, triangles.iter().copied()));
            circle(
                around(&lines, centre, true)?,
                side.half.rounding,
                crease_deg,
            )
        };
        let (Some(high), Some(middle), Some(low)) = (at(0.25), at(0.5), at(0.75)) else {
            continue;
        };
        if high.radius - low.radius > STRAIGHT * middle.radius {
            continue;
        }
        // what lies opposite: a cavity that it joins is what it belongs to
        let q = to_other * Point::new(centre[0], centre[1], face);
        let opposite = &sides[1 - k].survey;
        let facing = opposite
            .grid()
            .cell_at(q.x, q.y)
            .map(|(i, j)| opposite.grid().index(i, j))
            .filter(|&n| opposite.inside[n])
            .map(|n| opposite.hollow_at(n));
        let Some(facing) = facing else { continue };
        let theirs: Vec<f64> = (0..opposite.hollows.len())
            .map(|h| opposite.volume_below(h, 0.0, 0.0))
            .collect();
        let joined =
            facing.is_some_and(|f| theirs[f] > SMALL * theirs.iter().copied().fold(0.0, f64::max));
        if joined {
            continue;
        }
        found.push(Socket {
            half: side.half.name.clone(),
            at_mm: side
                .half
                .frame
                .place(&Point::new(middle.centre[0], middle.centre[1], face)),
            diameter_mm: 2.0 * middle.radius,
            depth_mm: depth,
            faces_hole: facing.is_some(),
        });
    }
    found
}
