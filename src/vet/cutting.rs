//! Where one cutter can be, and what it touches and leaves there.

use super::reach::Ground;
use crate::field::{Dropper, Grid, HeightMap, Profile, Rays};
use crate::mesh::{Mesh, Point, Vector};
use rayon::prelude::*;

/// Nodes on a side of a tile.
const TILE: usize = 8;
/// Depth to which a cutter may be thought to cut when a contact is judged: rounding, mm.
pub const TOUCH: f64 = 1e-4;

/// One cutter over the cavity: its lowest centre heights on a grid of nodes, exact at each node,
/// and further places between nodes that were found free.
///
/// The centre is the profile's reference point: on the axis, at the height of the corner's centre.
/// Every place on or above the cutter-centre surface is allowed.
pub struct Cutting<'m> {
    /// The cutter's lower side.
    pub profile: Profile,
    /// Radius of its flat part, mm.
    flat: f64,
    /// Corner radius, mm.
    corner: f64,
    /// Lowest centre heights at the nodes (centres of the cells).
    lowest: HeightMap,
    /// Least of the lowest heights in each tile of nodes; `-∞` where a node is free at any height.
    tiles: Vec<f32>,
    tiles_x: usize,
    /// Free centres between the nodes, by tile.
    between: Vec<Point>,
    between_starts: Vec<u32>,
    dropper: &'m Dropper<'m>,
    mesh: &'m Mesh,
    rays: &'m Rays<'m>,
    overhung: bool,
}

/// The nearest place where the cutter may be, seen from a surface point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearest {
    /// Height left at the surface point, normal to the surface, mm: zero when touched.
    pub left: f64,
    /// The centre that comes nearest.
    pub centre: Point,
}

impl<'m> Cutting<'m> {
    /// Lowest centre heights of a cutter with cutting `radius` and `corner` radius, mm, over `grid`.
    pub fn new(ground: &Ground<'m>, radius: f64, corner: f64, grid: Grid) -> Cutting<'m> {
        let profile = Profile::Cutter {
            radius,
            corner_radius: corner,
        };
        let lowest = if corner >= radius {
            ground.pieces.height_map(grid, radius)
        } else {
            let mut map = HeightMap::empty(grid);
            map.values_mut()
                .par_iter_mut()
                .enumerate()
                .for_each(|(k, z)| {
                    let [x, y] = grid.centre(k % grid.nx, k / grid.nx);
                    if let Some(contact) = ground.dropper.centre_height(profile, x, y) {
                        *z = contact.z as f32;
                    }
                });
            map
        };
        let (tiles_x, tiles_y) = (grid.nx.div_ceil(TILE), grid.ny.div_ceil(TILE));
        let tiles = (0..tiles_x * tiles_y)
            .into_par_iter()
            .map(|t| {
                let (ti, tj) = (t % tiles_x, t / tiles_x);
                let rows = tj * TILE..((tj + 1) * TILE).min(grid.ny);
                rows.flat_map(|j| {
                    let row = grid.index(0, j);
                    lowest.values()[row + ti * TILE..row + ((ti + 1) * TILE).min(grid.nx)]
                        .iter()
                        .copied()
                })
                .fold(f32::INFINITY, f32::min)
            })
            .collect();
        Cutting {
            profile,
            flat: radius - corner,
            corner,
            lowest,
            tiles,
            tiles_x,
            between: Vec::new(),
            between_starts: vec![0; tiles_x * tiles_y + 1],
            dropper: ground.dropper,
            mesh: &ground.half.mesh,
            rays: ground.rays,
            overhung: ground.shade.any(),
        }
    }

    /// Cutting radius, mm.
    pub fn radius(&self) -> f64 {
        self.flat + self.corner
    }

    /// The grid of nodes.
    pub fn grid(&self) -> Grid {
        self.lowest.grid
    }

    /// Lowest centre height at node `k`; `None` where the cutter is free at any height.
    pub fn lowest(&self, k: usize) -> Option<f32> {
        self.lowest.get(k)
    }

    /// The centre from which the cutter touches a surface at `p` with unit normal `n`.
    pub fn touching(&self, p: &Point, n: &Vector) -> Point {
        let aside = n.xy().try_normalize(1e-9).unwrap_or_default() * self.flat;
        p + n * self.corner + Vector::new(aside.x, aside.y, 0.0)
    }

    /// Height to which the cutter can go straight down from the free place `c`, `most` mm at most.
    fn lowered(&self, c: &Point, most: f64) -> f64 {
        let free = |down: f64| {
            let z = c.z - down;
            if self.flat > 0.0 {
                self.dropper
                    .clear_at(self.profile, c.x, c.y, z, 2.0 * TOUCH)
            } else {
                let at = Point::new(c.x, c.y, z);
                !self.rays.any_within(&at, self.corner - 2.0 * TOUCH) && self.free_above(&at)
            }
        };
        let (mut lo, mut hi) = (0.0, most);
        for _ in 0..12 {
            let mid = 0.5 * (lo + hi);
            if free(mid) { lo = mid } else { hi = mid }
        }
        c.z - lo
    }

    /// Height left at `p` by a cutter standing at plan place (x, y) with its lowest centre at `z`.
    fn left_from(&self, p: &Point, x: f64, y: f64, z: f64) -> f64 {
        let plan = ((x - p.x).hypot(y - p.y) - self.flat).max(0.0);
        plan.hypot((z - p.z).max(0.0)) - self.corner
    }

    fn node(&self, i: usize, j: usize) -> (f64, f64, f64) {
        let grid = &self.lowest.grid;
        (
            grid.x(i),
            grid.y(j),
            f64::from(self.lowest.values()[grid.index(i, j)]),
        )
    }

    /// What the nodes next to `centre` leave at `p`: an upper bound, good to δ² / 8R on gentle slopes.
    pub fn left_near(&self, p: &Point, centre: &Point) -> Nearest {
        let grid = &self.lowest.grid;
        let span = |v: f64, o: f64, n: usize| {
            let c = ((v - o) / grid.cell - 0.5).floor();
            let lo = (c - 1.0).clamp(0.0, n as f64 - 1.0) as usize;
            let hi = (c + 2.0).clamp(0.0, n as f64 - 1.0) as usize;
            lo..=hi
        };
        let mut best = Nearest {
            left: f64::INFINITY,
            centre: *centre,
        };
        for j in span(centre.y, grid.origin[1], grid.ny) {
            for i in span(centre.x, grid.origin[0], grid.nx) {
                let (x, y, z) = self.node(i, j);
                let left = self.left_from(p, x, y, z);
                if left < best.left {
                    best = Nearest {
                        left,
                        centre: Point::new(x, y, z.max(p.z)),
                    };
                }
            }
        }
        best.left = best.left.max(0.0);
        best
    }

    /// Visits tiles outward from plan place (x, y) until those left are farther than `limit` says; `visit` gets a tile's
    /// number and the plan distance to it, and returns the new limit.
    fn tiles_around(
        &self,
        x: f64,
        y: f64,
        mut limit: f64,
        mut visit: impl FnMut(usize, f64) -> f64,
    ) {
        let grid = &self.lowest.grid;
        let side = TILE as f64 * grid.cell;
        let tiles_y = self.tiles.len() / self.tiles_x;
        let ci = ((x - grid.origin[0]) / side).floor() as i64;
        let cj = ((y - grid.origin[1]) / side).floor() as i64;
        let far = ci
            .abs()
            .max((self.tiles_x as i64 - ci).abs())
            .max(cj.abs())
            .max((tiles_y as i64 - cj).abs());
        for ring in 0..=far {
            if (ring - 1).max(0) as f64 * side > limit {
                break;
            }
            for tj in (cj - ring).max(0)..=(cj + ring).min(tiles_y as i64 - 1) {
                let step = if (tj - cj).abs() == ring {
                    1
                } else {
                    (2 * ring).max(1)
                };
                let mut ti = ci - ring;
                while ti <= ci + ring {
                    if ti >= 0 && ti < self.tiles_x as i64 {
                        let lo = [
                            grid.origin[0] + ti as f64 * side,
                            grid.origin[1] + tj as f64 * side,
                        ];
                        let out = |v: f64, lo: f64| (lo - v).max(v - lo - side).max(0.0);
                        let away = out(x, lo[0]).hypot(out(y, lo[1]));
                        if away <= limit {
                            limit = visit(tj as usize * self.tiles_x + ti as usize, away);
                        }
                    }
                    ti += step;
                }
            }
        }
    }

    fn each_place(&self, tile: usize, mut each: impl FnMut(f64, f64, f64)) {
        let grid = &self.lowest.grid;
        let (ti, tj) = (tile % self.tiles_x, tile / self.tiles_x);
        for j in tj * TILE..((tj + 1) * TILE).min(grid.ny) {
            for i in ti * TILE..((ti + 1) * TILE).min(grid.nx) {
                let (x, y, z) = self.node(i, j);
                each(x, y, z);
            }
        }
        for c in &self.between
            [self.between_starts[tile] as usize..self.between_starts[tile + 1] as usize]
        {
            each(c.x, c.y, c.z);
        }
    }

    /// What any known place of the cutter leaves at `p`; `known` is an upper bound already found.
    pub fn left(&self, p: &Point, known: Nearest) -> Nearest {
        let mut best = known;
        // distance from the flat part's rim beyond which nothing is nearer
        let limit = |left: f64| left + self.corner + self.flat;
        self.tiles_around(p.x, p.y, limit(best.left), |tile, away| {
            let plan = (away - self.flat).max(0.0);
            let bound = plan.hypot((f64::from(self.tiles[tile]) - p.z).max(0.0)) - self.corner;
            if bound < best.left {
                self.each_place(tile, |x, y, z| {
                    let left = self.left_from(p, x, y, z);
                    if left < best.left {
                        best = Nearest {
                            left,
                            centre: Point::new(x, y, z.max(p.z)),
                        };
                    }
                });
            }
            limit(best.left)
        });
        best.left = best.left.max(0.0);
        best
    }

    /// Height of the space that the cutter covers at plan place (x, y): below it something is left.
    pub fn covered_from(&self, x: f64, y: f64) -> f64 {
        let mut best = f64::INFINITY;
        let reach = self.radius();
        self.tiles_around(x, y, reach, |tile, away| {
            if let Some(rise) = self.profile.rise(away)
                && f64::from(self.tiles[tile]) - rise < best
            {
                self.each_place(tile, |cx, cy, z| {
                    if let Some(rise) = self.profile.rise((cx - x).hypot(cy - y)) {
                        best = best.min(z - rise);
                    }
                });
            }
            reach
        });
        best
    }

    /// Adds free centres between the nodes: of those in one cell the lowest.
    pub fn add_between(&mut self, mut centres: Vec<Point>) {
        let grid = self.lowest.grid;
        centres.retain(|c| grid.cell_at(c.x, c.y).is_some());
        let cell = |c: &Point| grid.cell_at(c.x, c.y).map_or(0, |(i, j)| grid.index(i, j));
        let tile = |c: &Point| {
            grid.cell_at(c.x, c.y)
                .map_or(0, |(i, j)| (j / TILE) * self.tiles_x + i / TILE)
        };
        centres.sort_by(|a, b| {
            (tile(a), cell(a))
                .cmp(&(tile(b), cell(b)))
                .then(a.z.total_cmp(&b.z))
                .then(a.x.total_cmp(&b.x))
                .then(a.y.total_cmp(&b.y))
        });
        centres.dedup_by_key(|c| cell(c));
        let spacing = 0.5 * self.radius();
        centres
            .par_iter_mut()
            .for_each(|c| c.z = self.lowered(c, spacing));
        let mut starts = vec![0u32; self.tiles.len() + 1];
        for c in &centres {
            starts[tile(c) + 1] += 1;
            let least = &mut self.tiles[tile(c)];
            *least = least.min(c.z as f32);
        }
        for k in 1..starts.len() {
            starts[k] += starts[k - 1];
        }
        (self.between, self.between_starts) = (centres, starts);
    }

    /// The nearest place to `p` that the triangles allow, from the nearest one known; `normals` are those of the facets
    /// that meet at `p`. An upper bound of what is left, exact to [`TOUCH`] where the cutter rests on flat facets.
    pub fn refine(&self, p: &Point, normals: &[Vector], start: Nearest) -> Nearest {
        if self.flat > 0.0 {
            return self.refine_by_drops(p, start);
        }
        let way = (start.centre - p).try_normalize(0.0).unwrap_or_default();
        [normals, &[way]]
            .into_iter()
            .filter_map(|first| nearest_centre(self.mesh, self.rays, p, first, self.corner))
            .map(|centre| Nearest {
                left: ((centre - p).norm() - self.corner).max(0.0),
                centre,
            })
            .filter(|n| n.left < start.left && self.free_above(&n.centre))
            .min_by(|a, b| a.left.total_cmp(&b.left))
            .unwrap_or(start)
    }

    /// Whether a ball that is clear at `c` is clear all the way up; asked of the triangles only where something overhangs.
    fn free_above(&self, c: &Point) -> bool {
        !self.overhung
            || self
                .dropper
                .clear_at(self.profile, c.x, c.y, c.z, 2.0 * TOUCH)
    }

    /// Height left at `p`, mm, exact to about a micrometre; `normals` as for [`Cutting::refine`].
    pub fn leaves(&self, p: &Point, normals: &[Vector]) -> f64 {
        let near = self.left(
            p,
            Nearest {
                left: f64::INFINITY,
                centre: *p,
            },
        );
        if near.left > 0.0 {
            self.refine(p, normals, near).left
        } else {
            0.0
        }
    }

    /// For a cutter with a flat part: pattern search in plan, the steps halved from one cell down; at each place the cutter
    /// stands as low as it may (shrunk by [`TOUCH`]) or at the height of `p`.
    fn refine_by_drops(&self, p: &Point, start: Nearest) -> Nearest {
        let Some((inner, lift)) = self.profile.inset(TOUCH) else {
            return start;
        };
        let try_at = |x: f64, y: f64| {
            let z = self
                .dropper
                .centre_height(inner, x, y)
                .map_or(f64::NEG_INFINITY, |c| c.z - lift);
            (self.left_from(p, x, y, z), z)
        };
        let mut at = start.centre;
        let (left, z) = try_at(at.x, at.y);
        let mut best = left;
        at.z = z.max(p.z);
        let mut step = self.lowest.grid.cell;
        let mut turn = 0.0_f64;
        while step > 1e-3 {
            let mut moved = false;
            // straight at the point first: along a wall that is the way
            let to = (p - at).xy();
            let toward = if to.norm() > 0.0 {
                to.y.atan2(to.x)
            } else {
                0.0
            };
            for k in 0..8 {
                let angle = toward + turn + f64::from(k) * std::f64::consts::FRAC_PI_4;
                let (x, y) = (at.x + step * angle.cos(), at.y + step * angle.sin());
                // a step cannot gain more than its length
                if ((x - p.x).hypot(y - p.y) - self.flat).max(0.0) - self.corner >= best {
                    continue;
                }
                let (left, z) = try_at(x, y);
                if left < best - 1e-9 {
                    best = left;
                    at = Point::new(x, y, z.max(p.z));
                    moved = true;
                    break;
                }
            }
            if !moved {
                step *= 0.5;
                turn += 0.35;
            }
        }
        Nearest {
            left: best.max(0.0),
            centre: at,
        }
    }
}

/// Surfaces a ball may rest on while its nearest place is sought.
const MOST_PLANES: usize = 16;

/// The centre of a ball of `radius`, clear of all triangles to [`TOUCH`], that is nearest to the surface point `p`, where
/// facets with these `normals` meet; `None` if none is found.
///
/// Cutting planes: the ball has to stay a radius off the tangent plane at each surface point that it was found to cut, the
/// first being the facets at `p`; each time it is brought as near to `p` as these planes allow (the projection of `p` onto
/// their common outside, by Hildreth's method: Quart. Appl. Math. / Naval Res. Logist. Quart. 4, 79–85, 1957, cited from
/// memory) and tried again. Where it rests on flat facets the nearest place is exact; on a convex edge it may be a little
/// farther, so what is left is never said too small by it.
pub fn nearest_centre(
    mesh: &Mesh,
    rays: &Rays,
    p: &Point,
    normals: &[Vector],
    radius: f64,
) -> Option<Point> {
    let mut planes: Vec<(Vector, f64)> = normals
        .iter()
        .map(|n| (*n, n.dot(&p.coords) + radius))
        .collect();
    let mut c = projected(p, &planes);
    while planes.len() < MOST_PLANES {
        let Some((q, t)) = rays.closest(&c, radius - TOUCH) else {
            return Some(c);
        };
        let normal = mesh.normal(t as usize).unwrap_or_default();
        let out = c - q;
        let n = if out.dot(&normal) > 0.0 {
            out.normalize()
        } else {
            normal
        };
        planes.push((n, n.dot(&q.coords) + radius));
        c = projected(p, &planes);
    }
    None
}

/// Projection of `p` onto the common part of the half-spaces n·c ≥ b.
fn projected(p: &Point, planes: &[(Vector, f64)]) -> Point {
    let mut c = *p;
    let mut pushes = vec![0.0; planes.len()];
    for _ in 0..60 {
        let mut moved = 0.0_f64;
        for ((n, b), push) in planes.iter().zip(&mut pushes) {
            let by = (b - n.dot(&c.coords)).max(-*push);
            *push += by;
            c += n * by;
            moved = moved.max(by.abs());
        }
        if moved < 0.1 * TOUCH {
            break;
        }
    }
    c
}
