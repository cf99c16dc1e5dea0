//! Mold halves of known truth: blocks with prismatic pockets and pins.

use super::samples::solid::{Facing, Place3, Solid, binary_stl};
use moldvet::mesh::{self, Model};
use moldvet::units::Unit;
use std::f64::consts::TAU;

pub type Plan = [f64; 2];

/// What goes up or down from the parting face at Z = 0.
#[derive(Clone)]
pub struct Feature {
    /// Counter-clockwise.
    pub edge: Vec<Plan>,
    /// Height of its end; `None`: through the block.
    pub z: Option<f64>,
}

/// A channel along X from a rectangular pocket to the block's side.
#[derive(Clone, Copy)]
pub struct Gate {
    pub half_width: f64,
    pub depth: f64,
}

/// A half: a block about the origin with its parting face up at Z = 0.
#[derive(Clone)]
pub struct Block {
    pub half_size: Plan,
    pub thickness: f64,
    /// Low and high corner of a rectangular pocket, and its depth.
    pub pocket: Option<([Plan; 2], f64)>,
    pub gate: Option<Gate>,
    pub features: Vec<Feature>,
}

pub fn rectangle(lo: Plan, hi: Plan) -> Vec<Plan> {
    vec![lo, [hi[0], lo[1]], hi, [lo[0], hi[1]]]
}

pub fn ring(sides: usize, radius: f64, centre: Plan) -> Vec<Plan> {
    (0..sides)
        .map(|k| (k as f64 / sides as f64 * TAU).sin_cos())
        .map(|(s, c)| [centre[0] + radius * c, centre[1] + radius * s])
        .collect()
}

pub fn pocket(edge: Vec<Plan>, depth: f64) -> Feature {
    Feature {
        edge,
        z: Some(-depth),
    }
}

pub fn pin(edge: Vec<Plan>, height: f64) -> Feature {
    Feature {
        edge,
        z: Some(height),
    }
}

/// A model of these solids, read from a file of that name.
pub fn model(name: &str, solids: &[&Solid]) -> Model {
    let bytes = binary_stl(name, 1.0, solids);
    mesh::from_bytes(&bytes, name, Unit::Mm, &mesh::Limits::default()).unwrap()
}

fn at(edge: &[Plan], z: f64) -> Vec<Place3> {
    edge.iter().map(|p| [p[0], p[1], z]).collect()
}

const UP: Facing = Facing {
    axis: 2,
    positive: true,
};
const DOWN: Facing = Facing {
    axis: 2,
    positive: false,
};

impl Block {
    pub fn new(features: Vec<Feature>) -> Block {
        Block {
            half_size: [30.0, 20.0],
            thickness: 20.0,
            pocket: None,
            gate: None,
            features,
        }
    }

    pub fn solid(&self) -> Solid {
        let mut solid = Solid::default();
        let [hx, hy] = self.half_size;
        let bottom = -self.thickness;
        let mut outline = rectangle([-hx, -hy], [hx, hy]);
        let mut ends: [Vec<Place3>; 2] = [Vec::new(), Vec::new()];
        let mut holes: Vec<Vec<Place3>> = Vec::new();
        if let Some(([lo, hi], depth)) = self.pocket {
            let edge = rectangle(lo, hi);
            solid.flat(UP, &at(&edge, -depth), &[]);
            for k in 0..4 {
                // side 1 runs along the largest X, where the gate is
                if k == 1 && self.gate.is_some() {
                    continue;
                }
                wall(&mut solid, [edge[k], edge[(k + 1) % 4]], -depth, 0.0);
            }
            match self.gate {
                None => holes.push(at(&edge, 0.0)),
                Some(Gate {
                    half_width: w,
                    depth: g,
                }) => {
                    let notch = |x: f64, y: [f64; 2], foot: f64| {
                        vec![
                            [x, y[0], 0.0],
                            [x, -w, 0.0],
                            [x, -w, -g],
                            [x, w, -g],
                            [x, w, 0.0],
                            [x, y[1], 0.0],
                            [x, y[1], foot],
                            [x, y[0], foot],
                        ]
                    };
                    let facing = |positive| Facing { axis: 0, positive };
                    solid.flat(facing(false), &notch(hi[0], [lo[1], hi[1]], -depth), &[]);
                    solid.flat(UP, &at(&rectangle([hi[0], -w], [hx, w]), -g), &[]);
                    wall(&mut solid, [[hi[0], -w], [hx, -w]], -g, 0.0);
                    wall(&mut solid, [[hx, w], [hi[0], w]], -g, 0.0);
                    ends[1] = notch(hx, [-hy, hy], 0.0)[1..5].to_vec();
                    outline = vec![
                        [-hx, -hy],
                        [hx, -hy],
                        [hx, -w],
                        [hi[0], -w],
                        [hi[0], lo[1]],
                        lo,
                        [lo[0], hi[1]],
                        hi,
                        [hi[0], w],
                        [hx, w],
                        [hx, hy],
                        [-hx, hy],
                    ];
                }
            }
        }
        let mut through = Vec::new();
        for f in &self.features {
            let n = f.edge.len();
            let sides = (0..n).map(|k| [f.edge[k], f.edge[(k + 1) % n]]);
            let z = f.z.unwrap_or(bottom);
            for side in sides {
                if z < 0.0 {
                    wall(&mut solid, side, z, 0.0);
                } else {
                    wall(&mut solid, [side[1], side[0]], 0.0, z);
                }
            }
            match f.z {
                Some(z) => solid.flat(UP, &at(&f.edge, z), &[]),
                None => through.push(at(&f.edge, bottom)),
            }
            holes.push(at(&f.edge, 0.0));
        }
        solid.flat(UP, &at(&outline, 0.0), &holes);
        solid.flat(
            DOWN,
            &at(&rectangle([-hx, -hy], [hx, hy]), bottom),
            &through,
        );
        for (x, end, positive) in [(-hx, &ends[0], false), (hx, &ends[1], true)] {
            let mut face = vec![[x, -hy, bottom], [x, -hy, 0.0]];
            face.extend_from_slice(end);
            face.extend([[x, hy, 0.0], [x, hy, bottom]]);
            solid.flat(Facing { axis: 0, positive }, &face, &[]);
        }
        for (y, positive) in [(-hy, false), (hy, true)] {
            let face = [
                [-hx, y, bottom],
                [-hx, y, 0.0],
                [hx, y, 0.0],
                [hx, y, bottom],
            ];
            solid.flat(Facing { axis: 1, positive }, &face, &[]);
        }
        solid
    }
}

/// A wall between two heights, facing left of `side`.
fn wall(solid: &mut Solid, [a, b]: [Plan; 2], low: f64, high: f64) {
    let p = |q: Plan, z: f64| [q[0], q[1], z];
    solid.triangle([p(a, low), p(a, high), p(b, high)]);
    solid.triangle([p(a, low), p(b, high), p(b, low)]);
}
