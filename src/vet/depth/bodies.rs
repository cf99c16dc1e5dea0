//! The heights to which the surface holds the sections of tools up, drawn over the cavity.

use super::Guarded;
use crate::field::{Grid, HeightMap, Profile, disc_dilate};
use crate::shop::Part;
use crate::vet::cutting::TOUCH;
use crate::vet::reach::Ground;
use rayon::prelude::*;

/// The lowest heights of tool sections over the cavity, drawn on grids, one a profile.
pub struct Bodies {
    maps: Vec<(Profile, [HeightMap; 2])>,
}

/// Nodes of one section's map, its margin included.
const MAP_NODES: f64 = 400_000.0;
/// Cylinders that stand for a cone on the maps.
const STEPS: usize = 8;
/// Stands for a sharp corner where a ball is drawn, mm.
const SHARP: f64 = 1e-3;

impl Bodies {
    /// Draws the maps of all sections in `guards`.
    pub fn of<'a>(ground: &Ground, guards: impl Iterator<Item = &'a Guarded>) -> Bodies {
        let mut profiles: Vec<Profile> = Vec::new();
        for g in guards {
            if !profiles.contains(&g.profile) {
                profiles.push(g.profile);
            }
        }
        let Some(plan) = ground.plan() else {
            return Bodies { maps: Vec::new() };
        };
        let map = |p: Profile| (p, Bodies::drawn(ground, plan, p));
        Bodies {
            maps: profiles.into_par_iter().map(map).collect(),
        }
    }

    /// The largest offset height of `profile` over its flat part about the rectangle in plan, once by the nodes within it and once
    /// by those within it and a cell more. The lowest height lies between the two.
    fn drawn(ground: &Ground, (lo, hi): ([f64; 2], [f64; 2]), profile: Profile) -> [HeightMap; 2] {
        let reach = profile.reach();
        let side = |k: usize| hi[k] - lo[k] + 2.0 * reach;
        let cell = (side(0) * side(1) / MAP_NODES).sqrt();
        let grid = Grid::covering(lo, hi, reach + 2.0 * cell, cell);
        let corner = profile.tip_below().max(SHARP);
        let mut base = ground.contacts.pieces.height_map(grid, corner);
        if profile.tip_below() < corner {
            base.values_mut()
                .iter_mut()
                .for_each(|z| *z -= (corner - profile.tip_below()) as f32);
        }
        match profile {
            Profile::Cutter {
                radius,
                corner_radius,
            } => {
                let flat = radius - corner_radius;
                [flat, flat + 0.71 * cell].map(|r| disc_dilate(&base, r))
            }
            Profile::Cone {
                lower_radius,
                upper_radius,
                height,
            } => {
                // the outer steps hold the cone, the inner ones lie in it
                let radius =
                    |k: f64| lower_radius + (upper_radius - lower_radius) * k / STEPS as f64;
                [0.0, 1.0].map(|outer| {
                    let mut map = HeightMap::empty(grid);
                    for k in 0..STEPS {
                        let disc =
                            disc_dilate(&base, radius(k as f64 + outer) + outer * 0.71 * cell);
                        let up = (height * k as f64 / STEPS as f64) as f32;
                        map.values_mut()
                            .iter_mut()
                            .zip(disc.values())
                            .for_each(|(z, d)| *z = z.max(d - up));
                    }
                    map
                })
            }
        }
    }

    /// Least and largest lowest height of the profile at the nodes around (x, y).
    pub(super) fn around(&self, profile: Profile, x: f64, y: f64) -> [f64; 2] {
        let Some((_, [low, high])) = self.maps.iter().find(|m| m.0 == profile) else {
            return [f64::NEG_INFINITY, f64::INFINITY];
        };
        let grid = low.grid;
        let at = |v: f64, o: f64, n: usize| {
            (((v - o) / grid.cell - 0.5).floor().max(0.0) as usize).min(n.saturating_sub(2))
        };
        let (i, j) = (
            at(x, grid.origin[0], grid.nx),
            at(y, grid.origin[1], grid.ny),
        );
        let mut range = [f64::INFINITY, f64::NEG_INFINITY];
        for (di, dj) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
            let k = grid.index((i + di).min(grid.nx - 1), (j + dj).min(grid.ny - 1));
            range = [
                range[0].min(f64::from(low.values()[k])),
                range[1].max(f64::from(high.values()[k])),
            ];
        }
        range
    }

    /// Whether the maps leave open that a section keeps a tip at height `tip` from place `at`, and the section that does so
    /// most, by the middle of what they show.
    pub(super) fn in_the_way(
        &self,
        guards: &[Guarded],
        at: [f64; 2],
        tip: f64,
    ) -> (bool, Option<Part>) {
        let mut open = false;
        let mut blocked: Option<(f64, Part)> = None;
        for g in guards {
            let [lo, hi] = self.around(g.profile, at[0], at[1]);
            let have = tip + g.above_tip + 2.0 * TOUCH;
            open |= lo <= have && have < hi;
            let lacks = 0.5 * (lo + hi) - have;
            // above the nodes all round it is clear, below all of them it is not
            let short = lacks > 0.0;
            if short && blocked.is_none_or(|b| lacks > b.0) {
                blocked = Some((lacks, g.part));
            }
        }
        (open, blocked.map(|b| b.1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOLDER: Profile = Profile::Cutter {
        radius: 12.0,
        corner_radius: 1.0,
    };
    const SHANK: Profile = Profile::Cutter {
        radius: 4.0,
        corner_radius: 0.2,
    };

    fn map(value: impl Fn(usize) -> f32) -> HeightMap {
        let grid = Grid {
            origin: [10.0, -5.0],
            cell: 0.5,
            nx: 5,
            ny: 4,
        };
        HeightMap::from_values(grid, (0..grid.len()).map(value).collect())
    }

    #[test]
    fn what_the_maps_show_is_the_least_and_the_most_of_the_nodes_around() {
        // heights in no order
        let low = map(|k| (7 * k % 20) as f32);
        let high = map(|k| 100.0 + (11 * k % 20) as f32);
        let grid = low.grid;
        let bodies = Bodies {
            maps: vec![(HOLDER, [low.clone(), high.clone()])],
        };
        for k in 0..16 * 12 {
            // places off the lines of nodes, from the first of these to the last
            let (x, y) = (0.05 + 0.12 * (k % 16) as f64, 0.07 + 0.11 * (k / 16) as f64);
            let (x, y) = (grid.x(0) + x, grid.y(0) + y);
            let near = |n: &usize| {
                let [u, v] = grid.centre(n % grid.nx, n / grid.nx);
                (u - x).abs() < grid.cell && (v - y).abs() < grid.cell
            };
            let around: Vec<usize> = (0..grid.len()).filter(near).collect();
            assert_eq!(around.len(), 4);
            let least = around.iter().map(|&n| low.values()[n]);
            let most = around.iter().map(|&n| high.values()[n]);
            let expected = [
                least.fold(f32::INFINITY, f32::min),
                most.fold(f32::NEG_INFINITY, f32::max),
            ];
            assert_eq!(bodies.around(HOLDER, x, y), expected.map(f64::from));
        }
        // beyond the map by its border, and of a section that was not drawn nothing
        let corner = |k: usize| [f64::from(low.values()[k]), f64::from(high.values()[k])];
        let [[l0, h0], [l1, h1]] = [corner(0), corner(1)];
        let [[l2, h2], [l3, h3]] = [corner(grid.nx), corner(grid.nx + 1)];
        let expected = [l0.min(l1).min(l2).min(l3), h0.max(h1).max(h2).max(h3)];
        assert_eq!(bodies.around(HOLDER, 0.0, -50.0), expected);
        assert_eq!(
            bodies.around(SHANK, 11.0, -4.0),
            [f64::NEG_INFINITY, f64::INFINITY]
        );
    }

    #[test]
    fn what_is_most_in_the_way_is_told_and_what_the_maps_leave_open() {
        let level = |low: f32, high: f32| [map(|_| low), map(|_| high)];
        let bodies = Bodies {
            maps: vec![(HOLDER, level(4.0, 6.0)), (SHANK, level(1.0, 1.0))],
        };
        let guard = |profile, above_tip, part| Guarded {
            profile,
            above_tip,
            part,
        };
        let guards = [
            guard(HOLDER, 9.0, Part::Holder),
            guard(SHANK, 5.0, Part::Shank),
        ];
        let told = |tip: f64| bodies.in_the_way(&guards, [11.0, -4.0], tip);
        // the holder's reference 9 above the tip may go down to 4 or to 6, the shank's 5 above it to 1
        assert_eq!(told(-2.9), (false, None));
        assert_eq!(told(-3.1), (true, None));
        assert_eq!(told(-3.9), (true, None));
        // below what it may go down to nothing is open
        assert!(!told(-5.1).0);
        // of two that are in the way the one that lacks more is told: 0.2 and 0.1
        let first = [guard(HOLDER, 8.9, Part::Holder), guards[1]];
        let second = [guards[0], guard(SHANK, 4.9, Part::Shank)];
        let told = |guards: &[Guarded]| bodies.in_the_way(guards, [11.0, -4.0], -4.1);
        assert_eq!(told(&first), (true, Some(Part::Holder)));
        assert_eq!(told(&second), (true, Some(Part::Shank)));
        let alone = bodies.in_the_way(&guards[1..], [11.0, -4.0], -3.9);
        assert_eq!(alone, (false, None));
    }
}
