//! What the hollow holds: volume, depth, surface.

use super::surface::{Facet, Surface};
use crate::mesh::Vector;
use crate::report::{Cavity, Hollow, HollowKind};
use crate::setup::{self, Half, Survey};

/// Figures of every hollow, and their sums over those of kind cavity.
///
/// Volume by the divergence theorem over the facets that bound the hollow, closed by the parting
/// face above and, where it is cut, by the plane of the block's side: only Z counts, so upright
/// closing planes add nothing. Exact for the mesh; a hidden void under an overhang subtracts the
/// overhang's underside and adds its own floor. Its ± is the chord error times the area.
pub fn cavity(half: &Half, survey: &Survey, surface: &Surface) -> Cavity {
    let mut hollows = by_facets(half, survey, surface);
    close_holes(half, survey, &mut hollows);
    let cavities = || hollows.iter().filter(|h| h.kind == HollowKind::Cavity);
    let sum = |of: fn(&Hollow) -> f64| -> f64 { cavities().map(of).sum() };
    let volume = sum(|h| h.volume_mm3);
    let area = sum(|h| h.surface_mm2);
    let depth = cavities().map(|h| h.depth_mm).fold(0.0, f64::max);
    debug_assert!(cavities().next().is_some() || volume == 0.0);
    let (mut chord_volume, mut chord_depth) = (0.0, 0.0_f64);
    for (_, f) in surface.cavity(survey) {
        chord_volume += f.area * f.chord_error;
        chord_depth = chord_depth.max(f.chord_error * f.normal.z.abs());
    }
    let mouths: f64 = survey
        .hollows
        .iter()
        .filter(|h| h.mouth.is_some())
        .map(|h| h.cells as f64)
        .sum();
    let rounding = half.rounding;
    hollows.sort_by(|a, b| b.volume_mm3.total_cmp(&a.volume_mm3));
    Cavity {
        volume_mm3: Some(volume),
        // facets lie within their chord error on one side of the surface; a mouth's area is counted in cells
        volume_mm3_pm: Some(
            chord_volume + area * rounding + mouths.sqrt() * 4.0 * cell_area(survey) * depth,
        ),
        depth_mm: Some(depth),
        depth_mm_pm: Some(chord_depth + 2.0 * rounding),
        surface_mm2: Some(area),
        surface_mm2_pm: Some(surface_error(half, surface, survey) + area * rounding),
        hollows,
    }
}

fn cell_area(survey: &Survey) -> f64 {
    let cell = survey.grid().cell;
    cell * cell
}

/// Volume, depth and surface of every hollow between its facets and the parting face.
fn by_facets(half: &Half, survey: &Survey, surface: &Surface) -> Vec<Hollow> {
    let empty = |h: &setup::Hollow| Hollow {
        at_mm: half.frame.place(&h.deepest),
        volume_mm3: 0.0,
        depth_mm: 0.0,
        surface_mm2: 0.0,
        kind: h.kind,
    };
    let mut found: Vec<Hollow> = survey.hollows.iter().map(empty).collect();
    for f in &surface.facets {
        let h = &mut found[f.hollow as usize];
        let face = survey.parting_at(f.centroid.x, f.centroid.y);
        h.volume_mm3 += f.area * f.normal.z * (face - f.centroid.z);
        h.surface_mm2 += f.area;
        if face - f.z[0] > h.depth_mm {
            h.depth_mm = face - f.z[0];
        }
    }
    found
}

/// Closes holes that go through at the underside, and those that open into a cavity at its floor, which is carried across the
/// mouth.
fn close_holes(half: &Half, survey: &Survey, found: &mut [Hollow]) {
    let underside = half.bounds().0.z;
    for (k, h) in survey.hollows.iter().enumerate() {
        if h.kind != HollowKind::Through {
            continue;
        }
        if let Some(mouth) = h.mouth {
            let area = h.cells as f64 * cell_area(survey);
            found[mouth.cavity].volume_mm3 += area * -mouth.floor;
            found[k].volume_mm3 = survey.volume_below(k, mouth.floor, underside);
        } else {
            let open = survey.columns_open(k) as f64 * cell_area(survey);
            found[k].volume_mm3 += open * -underside;
        }
        found[k].depth_mm = -underside;
    }
}

/// By how much the area of the curved surface may differ from its facets', mm².
///
/// Over a facet the surface stands at a height h, a quadratic by its corner normals, so its slope g = ∇h is linear and its area
/// A (1 + mean(g²) / 2) to second order; the mean of the square of a linear function over a triangle is Σ g_i · g_j
/// (i ≤ j) / 6. Between the prisms over two facets that turn by t against each other stands a lens h t wide along their side, with
/// h a parabola of the side's sagitta s: 2 s L t / 3, half of it each facet's. On a cylinder that is t² / 24 of the
/// area, on a sphere with equilateral facets 5/8 of their circumradius over its own, squared: both exact to that order. Where a
/// surface of sagitta s' meets the facet in a sharp edge at angle φ, as a round wall does its floor, the edge they share moves
/// along the facet by (s' + s cos φ) / sin φ, and 2/3 of that times L is added or taken. The next
/// order is under [`NEXT_ORDER`] where facets turn by 30° or less.
fn surface_error(half: &Half, surface: &Surface, survey: &Survey) -> f64 {
    let creases = &surface.creases;
    let one = |f: &Facet| {
        let t = f.triangle as usize;
        let normals = creases.normals[t].map(|n| -> Vector { n.cast() });
        let [a, b, c] = normals.map(|n| n / n.dot(&f.normal).max(0.1) - f.normal);
        let squares = a.dot(&a) + b.dot(&b) + c.dot(&c) + a.dot(&b) + b.dot(&c) + c.dot(&a);
        let corners = half.mesh.corners(t);
        let lenses = (0..3).map(|k| {
            let ([own, other], angle) = creases.sagittas(&half.mesh, &half.topology, f.triangle, k);
            let length = (corners[(k + 1) % 3] - corners[k]).norm();
            if creases.smooth[half.topology.sides[t][k] as usize] {
                return (own * length * angle / 3.0).abs();
            }
            let shift = (other.abs() + own.abs() * angle.cos().abs()) / angle.sin().max(BLUNT);
            2.0 / 3.0 * shift * length
        });
        f.area * squares / 12.0 + lenses.sum::<f64>()
    };
    NEXT_ORDER * surface.cavity(survey).map(|(_, f)| one(f)).sum::<f64>()
}

/// Sine of the angle of an edge below which its place is not known any worse.
pub const BLUNT: f64 = 0.1;
/// See [`surface_error`].
const NEXT_ORDER: f64 = 1.1;

/// Unit vector along the tool axis, tool frame.
pub const UP: Vector = Vector::new(0.0, 0.0, 1.0);
