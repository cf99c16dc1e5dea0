//! The heights to which the surface holds the sections of tools up, drawn over the cavity.

use super::Guarded;
use crate::field::{BallOffset, Grid, HeightMap, Profile, disc_dilate};
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
        let pieces = &ground.contacts.pieces;
        let map = |p: Profile| (p, drawn(pieces, plan, p));
        Bodies {
            maps: profiles.into_par_iter().map(map).collect(),
        }
    }

    /// Least and largest lowest height of the profile at the nodes around (x, y).
    pub(super) fn around(&self, profile: Profile, [x, y]: [f64; 2]) -> [f64; 2] {
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

    /// The most that a place may ask for of the stickout, mm, where the tip stands over it at height `tip`; `holder`: its sections at
    /// stickout zero.
    pub fn most_stickout(&self, holder: &[Guarded], at: [f64; 2], tip: f64) -> f64 {
        let need = |g: &Guarded| self.around(g.profile, at)[1] - tip - g.above_tip;
        holder.iter().map(need).fold(0.0, f64::max)
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
            let [lo, hi] = self.around(g.profile, at);
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

/// The lowest heights about the rectangle in plan at the nodes, of the section less and of it more than what lies between
/// nodes: of a place among four nodes, the least of the one and the most of the other hold the true height.
///
/// Let δ = 1/√2 cells: no place is farther from a node. A section with its flat part (a disc of radius f) smaller by δ lies within
/// the true one when that stands up to δ aside: it is held up by no more. And with the surface drawn for the corner moved δ aside
/// in all directions, what holds the true one anywhere shows at the node nearest to it, δ off at the most; of four corners of a
/// unit square around a place one is at most √(ρ² + 1/4) ≤ ρ + 1/8ρ from what lies ρ away, ρ ≥ δ, so that a disc of
/// f + δ + 0.18 cells about it shows that node.
fn drawn(pieces: &BallOffset, (lo, hi): ([f64; 2], [f64; 2]), profile: Profile) -> [HeightMap; 2] {
    let reach = profile.reach();
    let side = |k: usize| hi[k] - lo[k] + 2.0 * reach;
    let cell = (side(0) * side(1) / MAP_NODES).sqrt();
    let grid = Grid::covering(lo, hi, reach + 3.0 * cell, cell);
    let between = std::f64::consts::FRAC_1_SQRT_2 * cell;
    let corner = profile.tip_below();
    let mut least = pieces.height_map(grid, corner.max(SHARP));
    if corner < SHARP {
        let values = least.values_mut().iter_mut();
        values.for_each(|z| *z -= (SHARP - corner) as f32);
    }
    let most = pieces.cutter_map(grid, corner + between, corner);
    let smaller = |flat: f64| match flat > between {
        true => disc_dilate(&least, flat - between),
        false => HeightMap::empty(grid),
    };
    let larger = |flat: f64| disc_dilate(&most, flat + between + 0.18 * cell);
    match profile {
        Profile::Cutter {
            radius,
            corner_radius,
        } => {
            let flat = radius - corner_radius;
            [smaller(flat), larger(flat)]
        }
        Profile::Cone {
            lower_radius,
            upper_radius,
            height,
        } => {
            // the outer steps hold the cone, the inner ones lie in it
            let radius =
                |k: usize| lower_radius + (upper_radius - lower_radius) * k as f64 / STEPS as f64;
            let steps = |step: &dyn Fn(usize) -> HeightMap| {
                let mut map = HeightMap::empty(grid);
                for k in 0..STEPS {
                    let up = (height * k as f64 / STEPS as f64) as f32;
                    let values = map.values_mut().iter_mut();
                    values
                        .zip(step(k).values())
                        .for_each(|(z, d)| *z = z.max(d - up));
                }
                map
            };
            [
                steps(&|k| smaller(radius(k))),
                steps(&|k| larger(radius(k + 1))),
            ]
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::Dropper;
    use crate::mesh::testing::{block, joined};
    use crate::mesh::{Mesh, Topology, Vector};
    use proptest::prelude::*;

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
                let [u, v] = grid.centre_of(*n);
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
            assert_eq!(bodies.around(HOLDER, [x, y]), expected.map(f64::from));
        }
        // beyond the map by its border, and of a section that was not drawn nothing
        let corner = |k: usize| [f64::from(low.values()[k]), f64::from(high.values()[k])];
        let [[l0, h0], [l1, h1]] = [corner(0), corner(1)];
        let [[l2, h2], [l3, h3]] = [corner(grid.nx), corner(grid.nx + 1)];
        let expected = [l0.min(l1).min(l2).min(l3), h0.max(h1).max(h2).max(h3)];
        assert_eq!(bodies.around(HOLDER, [0.0, -50.0]), expected);
        assert_eq!(
            bodies.around(SHANK, [11.0, -4.0]),
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

    #[test]
    fn the_stickout_keeps_each_section_of_the_holder_clear() {
        let level = |high: f32| [map(|_| high - 2.0), map(|_| high)];
        let bodies = Bodies {
            maps: vec![(HOLDER, level(6.0)), (SHANK, level(21.0))],
        };
        let section = |profile, above_tip| Guarded {
            profile,
            above_tip,
            part: Part::Holder,
        };
        // the face at the tip, a second section 20 above it
        let face = section(HOLDER, 0.0);
        let needed = |holder: &[Guarded], tip: f64| bodies.most_stickout(holder, [11.0, -4.0], tip);
        assert_eq!(needed(&[face], -5.0), 11.0);
        assert_eq!(needed(&[face, section(SHANK, 20.0)], -5.0), 11.0);
        assert_eq!(needed(&[face, section(SHANK, 2.0)], -5.0), 24.0);
        // where nothing is in the way any does
        assert_eq!(needed(&[face], 7.0), 0.0);
    }

    /// Blocks by their lower corner and size.
    fn blocks(blocks: &[([f64; 3], [f64; 3])]) -> Mesh {
        let moved = |(at, size): &([f64; 3], [f64; 3])| {
            let mut one = block(*size);
            one.vertices
                .iter_mut()
                .for_each(|p| *p += Vector::from(*at));
            one
        };
        joined(&blocks.iter().map(moved).collect::<Vec<_>>())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn the_true_height_lies_between_the_maps(
            // ribs of which some are thinner than nodes are apart, and lie between two rows of them
            ribs in prop::collection::vec((0.0..60.0_f64, 0.0..60.0_f64, 0.02..8.0_f64, 0.02..8.0_f64, 1.0..30.0_f64), 1..6),
            clearance in prop::sample::select(vec![0.0, 0.2, 1.0]),
            radius in 1.0..12.0_f64,
            places in prop::collection::vec((0.0..60.0_f64, 0.0..60.0_f64), 60),
        ) {
            let mut parts = vec![([0.0, 0.0, -5.0], [60.0, 60.0, 5.0])];
            parts.extend(ribs.iter().map(|&(x, y, wide, long, high)| ([x, y, -1.0], [wide, long, high])));
            let mesh = blocks(&parts);
            let topology = Topology::new(&mesh);
            let pieces = BallOffset::new(&mesh, &topology);
            let dropper = Dropper::new(&mesh);
            let round = Profile::Cutter { radius: radius + clearance, corner_radius: clearance };
            let cone = Profile::Cone { lower_radius: radius, upper_radius: radius + 4.0, height: 9.0 };
            for profile in [round, cone] {
                let drawn = drawn(&pieces, ([0.0; 2], [60.0; 2]), profile);
                let bodies = Bodies { maps: vec![(profile, drawn)] };
                for &(x, y) in &places {
                    let exact = dropper.centre_height(profile, x, y).unwrap().z;
                    let [least, most] = bodies.around(profile, [x, y]);
                    prop_assert!(least <= exact + 1e-4, "{least} {exact} {profile:?} at {x}, {y}");
                    prop_assert!(most >= exact - 1e-4, "{most} {exact} {profile:?} at {x}, {y}");
                }
            }
        }
    }
}
