//! Undercut: cavity surface that has material straight above it, and the voids under it.

use super::cavity::UP;
use super::reach::Ground;
use super::shade::{BrowIndex, patches};
use super::surface::{Sample, Surface};
use crate::mesh::Point;
use crate::report::{HollowKind, RegionKind, Undercut, UndercutRegion, Verdict};
use crate::setup::{Half, Survey};
use rayon::prelude::*;

/// Judges what the tool axis cannot see.
///
/// Hidden area: overhanging facets whole, other facets by samples with material straight above.
/// Hidden volume: under each sample of an overhang the air down to the next surface, exact for the mesh
/// but for the sampling of curved undersides. Hook: plan distance from points of the void to the
/// nearest place open to the sky at their height; by the edges of the overhangs, or by columns where
/// the floor beside those edges rises above that height.
pub fn undercut(ground: &Ground, samples: &[Sample], forgive: f64) -> Undercut {
    let Ground {
        half,
        survey,
        surface,
        shade,
        ..
    } = ground;
    let mut regions = locking(ground, samples);
    let hidden_area: f64 = regions.iter().map(|r| r.area_mm2).sum();
    let hidden_volume: f64 = regions.iter().map(|r| r.volume_mm3).sum();
    let hook = regions.iter().map(|r| r.hook_mm).fold(0.0, f64::max);
    regions.extend(elsewhere(half, survey));
    regions.sort_by(|a, b| {
        (a.kind, b.hook_mm)
            .partial_cmp(&(b.kind, a.hook_mm))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    let border = hidden_area.sqrt() * 4.0;
    let chord = surface
        .cavity(survey)
        .filter(|(k, _)| shade.overhangs[*k])
        .map(|(_, f)| f.chord_near)
        .fold(0.0, f64::max);
    // what hides nothing hides nothing for certain
    let unless_none = |pm: f64| if hidden_area == 0.0 { 0.0 } else { pm };
    // a hook runs from a brow to a point of the void, and facets stand off the surface at either end
    let hook_pm = unless_none(2.0 * chord + half.tolerance());
    Undercut {
        verdict: verdict(hook, hook_pm, forgive),
        hidden_area_mm2: Some(hidden_area),
        hidden_area_mm2_pm: Some(unless_none(border * sample_spacing(survey))),
        hidden_volume_mm3: Some(hidden_volume),
        hidden_volume_mm3_pm: Some(unless_none(hidden_area * chord + 0.01 * hidden_volume)),
        hook_mm: Some(hook),
        hook_mm_pm: Some(hook_pm),
        threshold_mm: half.tolerance(),
        regions,
    }
}

/// A hook is watched as far as it is forgiven; beyond, it fails if it does for certain.
fn verdict(hook: f64, pm: f64, forgive: f64) -> Verdict {
    if hook <= forgive && hook > 0.0 {
        Verdict::Watch
    } else if hook <= forgive {
        Verdict::Pass
    } else if hook - pm <= forgive {
        Verdict::Unsure
    } else {
        Verdict::Fail
    }
}

/// Distance between samples of the surface, mm.
pub fn sample_spacing(survey: &Survey) -> f64 {
    4.0 * survey.grid().cell
}

/// Undercuts joined to the cavity.
fn locking(ground: &Ground, samples: &[Sample]) -> Vec<UndercutRegion> {
    let (half, surface, shade) = (ground.half, &ground.surface, &ground.shade);
    if !shade.any() {
        return Vec::new();
    }
    let hidden = hidden(ground, samples);
    let member: Vec<bool> = hidden.iter().map(|h| h.0 > 0.0).collect();
    let index = BrowIndex::new(&shade.brows, 8.0 * ground.survey.grid().cell);
    patches(half, surface, &member)
        .into_iter()
        .filter(|patch| patch.iter().any(|&f| shade.overhangs[f as usize]))
        .map(|patch| {
            let (mut area, mut volume) = (0.0, 0.0);
            for &f in &patch {
                area += hidden[f as usize].0;
                volume += hidden[f as usize].1;
            }
            let (hook, at) = hook(ground, &index, &patch);
            UndercutRegion {
                at_mm: half.frame.place(&at),
                area_mm2: area,
                volume_mm3: volume,
                hook_mm: hook,
                kind: RegionKind::Undercut,
            }
        })
        .collect()
}

/// For each facet its hidden area, mm², and where it overhangs the hidden volume under it, mm³.
fn hidden(ground: &Ground, samples: &[Sample]) -> Vec<(f64, f64)> {
    let (surface, shade) = (&ground.surface, &ground.shade);
    let tolerance = ground.half.tolerance();
    let of_sample = |s: &Sample| {
        if !shade.hides(surface, s) {
            return (0.0, 0.0);
        }
        if !shade.overhangs[s.facet as usize] {
            return (s.area, 0.0);
        }
        let n = surface.facets[s.facet as usize].normal;
        let off = s.at + n * (0.1 * tolerance);
        let fall = (ground.contacts.rays)
            .first_hit(&off, &-UP, f64::MAX)
            .map_or(0.0, |hit| hit.distance);
        (s.area, s.area * -n.z * (fall + 0.1 * tolerance))
    };
    let parts: Vec<(f64, f64)> = samples.par_iter().map(of_sample).collect();
    let mut hidden = vec![(0.0, 0.0); surface.facets.len()];
    for (s, part) in samples.iter().zip(parts) {
        hidden[s.facet as usize].0 += part.0;
        hidden[s.facet as usize].1 += part.1;
    }
    hidden
}

/// The largest hook over a region's facets, and its place.
fn hook(ground: &Ground, index: &BrowIndex, patch: &[u32]) -> (f64, Point) {
    let (surface, survey) = (&ground.surface, ground.survey);
    let facet = |f: u32| &surface.facets[f as usize];
    let mut hook = (0.0, facet(patch[0]).centroid);
    for &f in patch {
        if !ground.shade.overhangs[f as usize] {
            continue;
        }
        for p in ground.half.mesh.corners(facet(f).triangle as usize) {
            // no edge to the sky: the void is joined to the cavity elsewhere, judged by columns below
            let reach = index.distance(&p).unwrap_or(0.0);
            if reach > hook.0 {
                hook = (reach, p);
            }
        }
    }
    match deepest_hook(survey, patch, surface) {
        Some(deeper) if deeper.0 > hook.0 + 2.0 * survey.grid().cell => deeper,
        _ => hook,
    }
}

/// Void columns looked at per region.
const MOST_COLUMNS: usize = 2000;

/// The largest hook over the gaps of the columns under a region's facets, and its place.
fn deepest_hook(survey: &Survey, patch: &[u32], surface: &Surface) -> Option<(f64, Point)> {
    let grid = survey.grid();
    let mut cells: Vec<usize> = patch
        .iter()
        .map(|&f| surface.facets[f as usize].centroid)
        .filter_map(|c| grid.cell_at(c.x, c.y))
        .map(|(i, j)| grid.index(i, j))
        .collect();
    cells.sort_unstable();
    cells.dedup();
    let step = cells.len().div_ceil(MOST_COLUMNS).max(1);
    cells
        .par_iter()
        .step_by(step)
        .flat_map_iter(|&k| {
            survey
                .columns
                .gaps(k)
                .filter(|g| g[1] - g[0] > survey.tolerance as f32)
                .map(move |g| (k, g))
        })
        .filter_map(|(k, [from, to])| {
            let reach = nearest_open(survey, k, from).or_else(|| nearest_open(survey, k, to))?;
            let [x, y] = grid.centre_of(k);
            Some((reach, Point::new(x, y, f64::from(from))))
        })
        .max_by(|a, b| {
            a.0.total_cmp(&b.0)
                .then(b.1.x.total_cmp(&a.1.x))
                .then(b.1.y.total_cmp(&a.1.y))
        })
}

/// Plan distance from column `k` to the nearest column of a hollow that is open to the sky at height `z`.
fn nearest_open(survey: &Survey, k: usize, z: f32) -> Option<f64> {
    let grid = survey.grid();
    let (ci, cj) = ((k % grid.nx) as i64, (k / grid.nx) as i64);
    let open = |i: i64, j: i64| {
        let n = grid.index(i as usize, j as usize);
        survey.labels[n] != 0
            && survey
                .top
                .get(n)
                .is_none_or(|t| t <= z + survey.tolerance as f32)
    };
    let mut best = f64::INFINITY;
    let far = (grid.nx.max(grid.ny)) as i64;
    for ring in 1..far {
        if best <= ring as f64 {
            break;
        }
        for j in (cj - ring).max(0)..=(cj + ring).min(grid.ny as i64 - 1) {
            let step = if (j - cj).abs() == ring { 1 } else { 2 * ring };
            let mut i = ci - ring;
            while i <= ci + ring {
                if i >= 0 && i < grid.nx as i64 && open(i, j) {
                    best = best.min(((i - ci) as f64).hypot((j - cj) as f64));
                }
                i += step;
            }
        }
    }
    best.is_finite().then_some(best * grid.cell)
}

/// Voids that are no undercut of the cavity.
fn elsewhere(half: &Half, survey: &Survey) -> Vec<UndercutRegion> {
    let grid = survey.grid();
    let least = 4.0 * grid.cell.powi(3);
    survey
        .voids
        .list
        .iter()
        .filter(|v| v.volume > least)
        .filter_map(|v| {
            let locks = v
                .hollow
                .is_some_and(|h| survey.hollows[h].kind == HollowKind::Cavity);
            let kind = match (locks, v.hollow.is_some() || v.outside) {
                (true, _) => return None,
                (_, true) => RegionKind::OtherSide,
                _ => RegionKind::Sealed,
            };
            let (k, z) = v.at;
            let [x, y] = grid.centre_of(k);
            Some(UndercutRegion {
                at_mm: half.frame.place(&Point::new(x, y, f64::from(z))),
                area_mm2: 0.0,
                volume_mm3: v.volume,
                hook_mm: 0.0,
                kind,
            })
        })
        .collect()
}
