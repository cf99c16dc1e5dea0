//! The parting faces, one against the other.

use super::Side;
use crate::field::{Columns, Grid, HeightMap, Polyline, disc_dilate};
use crate::mesh::Point;
use nalgebra::Isometry3;
use rayon::prelude::*;

/// Gap and overlap of the parting faces, on the first half's grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Faces {
    /// Area where both have a parting face, mm².
    pub area: f64,
    /// Share of it where they are no farther apart than the contact distance.
    pub contact_share: f64,
    /// The largest gap, and the area of gaps wider than contact.
    pub gap: Extreme,
    /// The deepest overlap, and the area of overlaps deeper than contact.
    pub overlap: Extreme,
    /// The largest gap near the cavity's rim.
    pub rim_gap: Extreme,
    /// The deepest overlap near the cavity's rim.
    pub rim_overlap: Extreme,
}

/// The largest distance of a kind.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Extreme {
    /// How large, mm; 0 where there is none.
    pub size: f64,
    /// Where, A's tool frame; the middle of all places as large.
    pub at: Option<Point>,
    /// Area where it is more than contact, mm².
    pub area: f64,
}

/// Distance from the cavity's rim within which gap and overlap are taken to make flash, mm; no source.
pub const NEAR_RIM: f64 = 5.0;

/// Distance along Z from A's parting face up to B's on A's grid, mm; negative: they overlap. No value where a half has no parting
/// face.
pub fn gap_map(sides: &[Side; 2], b_to_a: &Isometry3<f64>) -> HeightMap {
    let [a, b] = sides;
    let grid = a.survey.grid();
    let over = Columns::cast(&b.half.mesh.transformed(b_to_a), grid);
    let to_b = b_to_a.inverse();
    let opposite = b.survey.grid();
    let rounding = rounding(sides);
    let has_face = |s: &Side, k: usize| {
        s.survey.inside[k] && s.survey.labels[k] == 0 && s.survey.top.get(k).is_some()
    };
    let gap = |k: usize| -> Option<f32> {
        if !has_face(a, k) {
            return None;
        }
        let [x, y] = grid.centre_of(k);
        let q = to_b * Point::new(x, y, 0.0);
        let (i, j) = opposite.cell_at(q.x, q.y)?;
        if !has_face(b, opposite.index(i, j)) {
            return None;
        }
        let gap = over.column(k).first()?.z - a.survey.top.get(k)?;
        // the coordinates' last digits are no gap
        Some(if gap.abs() <= rounding { 0.0 } else { gap })
    };
    let mut map = HeightMap::empty(grid);
    map.values_mut()
        .par_iter_mut()
        .enumerate()
        .for_each(|(k, value)| *value = gap(k).unwrap_or(f32::NEG_INFINITY));
    map
}

/// Both faces may lie off their level by what is taken for rounding in each half.
fn rounding(sides: &[Side; 2]) -> f32 {
    (sides[0].half.tolerance() + sides[1].half.tolerance()) as f32
}

/// A value in the cells within [`NEAR_RIM`] of the rims, to about a cell.
fn about(grid: &Grid, rims: &[Vec<Polyline>; 2]) -> HeightMap {
    let mut map = HeightMap::empty(*grid);
    for [p, q] in rims.iter().flatten().flat_map(Polyline::sides) {
        let steps = ((q[0] - p[0]).hypot(q[1] - p[1]) / grid.cell)
            .ceil()
            .max(1.0) as usize;
        for k in 0..=steps {
            let t = k as f64 / steps as f64;
            let at = [0, 1].map(|c| p[c] + (q[c] - p[c]) * t);
            if let Some((i, j)) = grid.cell_at(at[0], at[1]) {
                map.values_mut()[grid.index(i, j)] = 0.0;
            }
        }
    }
    disc_dilate(&map, NEAR_RIM)
}

/// Measures the faces; `rims` are both cavities' rims in A's plan, `contact` is the distance within which faces touch, mm.
pub fn faces(
    sides: &[Side; 2],
    b_to_a: &Isometry3<f64>,
    rims: &[Vec<Polyline>; 2],
    contact: f64,
) -> Faces {
    let a = sides[0].survey;
    let grid = a.grid();
    let map = gap_map(sides, b_to_a);
    let near_rim = about(&grid, rims);
    let gaps = Gaps {
        grid,
        top: &a.top,
        cells: (0..grid.len())
            .into_par_iter()
            .map(|k| Some((map.get(k)?, near_rim.get(k).is_some())))
            .collect(),
        contact,
        rounding: rounding(sides),
    };
    let known = gaps.cells.iter().flatten();
    let touching = known.clone().filter(|c| f64::from(c.0.abs()) <= contact);
    let (known, touching) = (known.clone().count(), touching.count());
    Faces {
        area: known as f64 * gaps.cell_area(),
        contact_share: if known == 0 {
            0.0
        } else {
            touching as f64 / known as f64
        },
        gap: gaps.extreme(1.0, false),
        overlap: gaps.extreme(-1.0, false),
        rim_gap: gaps.extreme(1.0, true),
        rim_overlap: gaps.extreme(-1.0, true),
    }
}

/// The gap at each cell of A's grid where both halves have a parting face, mm, and whether it is near a rim.
struct Gaps<'a> {
    grid: Grid,
    /// A's heights.
    top: &'a HeightMap,
    cells: Vec<Option<(f32, bool)>>,
    contact: f64,
    rounding: f32,
}

impl Gaps<'_> {
    fn cell_area(&self) -> f64 {
        self.grid.cell * self.grid.cell
    }

    /// The largest gap, or for `sign` -1 the deepest overlap, anywhere or near the rims only.
    fn extreme(&self, sign: f32, rim_only: bool) -> Extreme {
        let value = |k: usize| {
            let (gap, near) = self.cells[k]?;
            let size = sign * gap;
            (size > 0.0 && (near || !rim_only)).then_some(size)
        };
        let all = 0..self.cells.len();
        let largest = all.clone().filter_map(value).fold(0.0, f32::max);
        if largest == 0.0 {
            return Extreme::default();
        }
        let alike: Vec<usize> = (all.clone())
            .filter(|&k| value(k).is_some_and(|v| v >= largest - self.rounding))
            .collect();
        let wide = all.filter(|&k| value(k).is_some_and(|v| f64::from(v) > self.contact));
        Extreme {
            size: f64::from(largest),
            at: self.middle(&alike),
            area: wide.count() as f64 * self.cell_area(),
        }
    }

    /// The place among `cells` that is nearest to their middle.
    fn middle(&self, cells: &[usize]) -> Option<Point> {
        let grid = &self.grid;
        let centre = |k: usize| grid.centre_of(k);
        let mean =
            [0, 1].map(|c| cells.iter().map(|&k| centre(k)[c]).sum::<f64>() / cells.len() as f64);
        let off = |k: usize| {
            let p = centre(k);
            (p[0] - mean[0]).hypot(p[1] - mean[1])
        };
        let nearest = cells
            .iter()
            .copied()
            .min_by(|&p, &q| off(p).total_cmp(&off(q)).then(p.cmp(&q)));
        nearest.map(|k| {
            let [x, y] = centre(k);
            Point::new(x, y, self.top.get(k).map_or(0.0, f64::from))
        })
    }
}
