//! Points of a smooth surface, as at the bottom of a conical pit.

use super::Facets;
use crate::mesh::{ROUGH_STEP, Vector};
use std::collections::BTreeMap;

/// Facets round a corner that lean this much apart, while the surface goes on straight outward, meet in a point, degrees.
const POINT_DEG: f64 = 20.0;

/// Corners where smooth facets meet in a point, as in a conical pit: they lean well apart, while
/// across their far sides the surface goes on without turning alike.
pub(super) fn tips(facets: &Facets) -> Vec<u32> {
    let turn = turns_round(facets);
    let mut around: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for (t, corners) in facets.half.mesh.triangles.iter().enumerate() {
        for &v in corners {
            if turn[v as usize] > POINT_DEG as f32 && facets.cavity(t as u32).is_some() {
                around.entry(v).or_default().push(t as u32);
            }
        }
    }
    let tips = around.into_iter().filter(|(v, t)| is_tip(facets, *v, t));
    tips.map(|(v, _)| v).collect()
}

/// Turn of the edges that meet at each corner of the mesh, together, degrees: minus infinity where one of them is convex or sharp.
fn turns_round(facets: &Facets) -> Vec<f32> {
    let (half, creases) = (facets.half, &facets.surface.creases);
    let mut turn = vec![0.0_f32; half.mesh.vertices.len()];
    for (e, edge) in half.topology.edges.iter().enumerate() {
        let t = creases.turn_deg[e];
        let t = if creases.smooth[e] && t >= -0.01 {
            t
        } else {
            f32::NEG_INFINITY
        };
        for v in edge.vertices {
            turn[v as usize] += t;
        }
    }
    turn
}

fn is_tip(facets: &Facets, v: u32, triangles: &[u32]) -> bool {
    let (half, creases) = (facets.half, &facets.surface.creases);
    let mesh = &half.mesh;
    let normals: Vec<Vector> = (triangles.iter())
        .filter_map(|&t| mesh.normal(t as usize))
        .collect();
    let mean: Vector = normals.iter().sum();
    let mean = mean.try_normalize(0.0).unwrap_or_default();
    let lean = normals
        .iter()
        .map(|n| n.dot(&mean).clamp(-1.0, 1.0).acos().to_degrees())
        .fold(0.0, f64::max);
    let outward = |&t: &u32| {
        let c = mesh.triangles[t as usize];
        let far = (0..3).find(|&k| c[k] != v && c[(k + 1) % 3] != v)?;
        let e = half.topology.sides[t as usize][far];
        Some(f64::from(creases.turn_deg[e as usize]))
    };
    let outward = triangles.iter().filter_map(outward).fold(0.0, f64::max);
    let at = mesh.vertices[v as usize];
    let corners = triangles.iter().flat_map(|&t| mesh.corners(t as usize));
    let deep = corners
        .filter(|p| *p != at)
        .map(|p| (p - at).dot(&mean))
        .fold(f64::INFINITY, f64::min);
    2.0 * lean > POINT_DEG && outward < 0.5 * lean && deep > ROUGH_STEP
}
