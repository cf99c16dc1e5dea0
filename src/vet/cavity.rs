//! What the hollow holds: volume, depth, surface.

use super::surface::{Facet, Surface};
use crate::mesh::Vector;
use crate::report::{Cavity, Hollow, HollowKind};
use crate::setup::{Half, Survey};

/// Figures of every hollow, and their sums over those of kind cavity.
///
/// Volume by the divergence theorem over the facets that bound the hollow, closed by the parting
/// face above and, where it is cut, by the plane of the block's side: only Z counts, so upright
/// closing planes add nothing. Exact for the mesh; a hidden void under an overhang subtracts the
/// overhang's underside and adds its own floor. Its ± is the chord error times the area.
pub fn cavity(half: &Half, survey: &Survey, surface: &Surface) -> Cavity {
    let grid = survey.grid();
    let cell_area = grid.cell * grid.cell;
    let mut found: Vec<Hollow> = survey
        .hollows
        .iter()
        .map(|h| Hollow {
            at_mm: half.frame.place(&h.deepest),
            volume_mm3: 0.0,
            depth_mm: 0.0,
            surface_mm2: 0.0,
            kind: h.kind,
        })
        .collect();
    let mut lowest = vec![0.0_f64; found.len()];
    let (mut chord_volume, mut chord_depth) = (0.0, 0.0_f64);
    for f in &surface.facets {
        let h = &mut found[f.hollow as usize];
        let face = survey.parting_at(f.centroid.x, f.centroid.y);
        h.volume_mm3 += f.area * f.normal.z * (face - f.centroid.z);
        h.surface_mm2 += f.area;
        let deepest = &mut lowest[f.hollow as usize];
        if face - f.z[0] > *deepest {
            *deepest = face - f.z[0];
        }
        if h.kind == HollowKind::Cavity {
            chord_volume += f.area * f.chord_error;
            chord_depth = chord_depth.max(f.chord_error * f.normal.z.abs());
        }
    }
    let underside = half.bounds().0.z;
    for (k, h) in survey.hollows.iter().enumerate() {
        let open = survey.columns_open(k) as f64 * cell_area;
        match (h.kind, h.mouth) {
            (HollowKind::Through, Some(mouth)) => {
                // the cavity's floor is carried across the mouth; the hole is closed at the underside
                let area = h.cells as f64 * cell_area;
                found[mouth.cavity].volume_mm3 += area * -mouth.floor;
                found[k].volume_mm3 = survey.volume_below(k, mouth.floor, underside);
                lowest[k] = -underside;
            }
            (HollowKind::Through, None) => {
                found[k].volume_mm3 += open * -underside;
                lowest[k] = -underside;
            }
            _ => {}
        }
        found[k].depth_mm = lowest[k];
    }
    let sum = |of: fn(&Hollow) -> f64| -> f64 {
        found
            .iter()
            .filter(|h| h.kind == HollowKind::Cavity)
            .map(of)
            .sum()
    };
    let any = found.iter().any(|h| h.kind == HollowKind::Cavity);
    let depth = found
        .iter()
        .filter(|h| h.kind == HollowKind::Cavity)
        .map(|h| h.depth_mm)
        .fold(0.0, f64::max);
    let surface_mm2 = sum(|h| h.surface_mm2);
    let mouths: f64 = survey
        .hollows
        .iter()
        .filter(|h| h.mouth.is_some())
        .map(|h| h.cells as f64)
        .sum();
    let rounding = half.rounding;
    let cavity = Cavity {
        volume_mm3: Some(sum(|h| h.volume_mm3)),
        // facets lie within their chord error on one side of the surface; a mouth's area is counted in cells
        volume_mm3_pm: Some(
            chord_volume + surface_mm2 * rounding + mouths.sqrt() * 4.0 * cell_area * depth,
        ),
        depth_mm: Some(depth),
        depth_mm_pm: Some(chord_depth + 2.0 * rounding),
        surface_mm2: Some(surface_mm2),
        surface_mm2_pm: Some(surface_error(half, surface, survey) + surface_mm2 * rounding),
        hollows: {
            found.sort_by(|a, b| b.volume_mm3.total_cmp(&a.volume_mm3));
            found
        },
    };
    debug_assert!(any || cavity.volume_mm3 == Some(0.0));
    cavity
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
