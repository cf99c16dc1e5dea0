//! A half surveyed on its grid: columns, outline, hollows, voids, and which hollow each facet bounds.

use super::half::{Half, Parting};
use super::plan::{Components, Rim, neighbours, outline, rims};
use super::voids::Voids;
use crate::field::{Columns, Grid, HeightMap};
use crate::mesh::{Point, Vector};
use serde::{Deserialize, Serialize};

/// Kind of a hollow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum HollowKind {
    /// Molded.
    Cavity,
    /// A pin of the other half enters it.
    Socket,
    /// Reaches the underside.
    Through,
    /// Open to the block's side along more than half of its rim, or taken out by the user.
    Other,
}

/// Connected open space below the parting level, inside the outline.
#[derive(Debug, Clone, PartialEq)]
pub struct Hollow {
    /// What it is.
    pub kind: HollowKind,
    /// Number of cells of the grid.
    pub cells: usize,
    /// Its deepest visible place at a cell's centre, tool frame, mm; at the parting face where it has no material below.
    pub deepest: Point,
    /// For a `through` hollow that opens in a cavity's floor: that cavity, and the height of the
    /// floor carried across its mouth.
    pub(crate) mouth: Option<Mouth>,
}

/// Where a `through` hollow opens in the floor of a cavity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Mouth {
    /// The cavity.
    pub cavity: usize,
    /// Height of its floor around the mouth, tool frame.
    pub floor: f64,
}

/// What the columns say of a half: all in the tool frame, mm; what is by cell is indexed as [`Grid::index`] says.
#[derive(Debug, Clone)]
pub struct Survey {
    /// All crossings of the grid lines with the half.
    pub columns: Columns,
    /// Height of the highest crossing of each column; none where there is no material.
    pub top: HeightMap,
    /// The outline, by cell: those with material, enclosed holes filled.
    pub inside: Vec<bool>,
    /// By cell, the index of its hollow plus one; 0: none.
    pub labels: Vec<u32>,
    /// Height of the parting face over each cell, where it goes by contact; `None`: zero all over.
    pub parting: Option<HeightMap>,
    /// The hollows, by first cell.
    pub hollows: Vec<Hollow>,
    /// Air shut in above by material.
    pub(crate) voids: Voids,
    /// By triangle of the half's mesh, the index of the hollow it bounds; `None`: parting face, block's sides and underside.
    pub owner: Vec<Option<u32>>,
    /// Heights closer than this are equal, mm.
    pub tolerance: f64,
}

/// A component this small is rounding along an edge, not a hollow: nothing as narrow can be milled.
const LEAST_CELLS: usize = 4;
/// Shallower than this a hollow is a mark on the parting face, mm.
const LEAST_DEPTH: f64 = 0.01;
/// A hole as large as this share of its hollow is the hollow, not a mouth in its floor.
const MOUTH_SHARE: f64 = 0.25;
/// Slope above which a wall belongs to the hole that it leads down to (60°, tangent).
const CHANNEL_SLOPE: f64 = 1.732;

impl Survey {
    /// Surveys `half` with cells of `cell` mm, which must be more than 0.
    ///
    /// # Panics
    /// As [`Columns::cast`].
    pub fn of(half: &Half, cell: f64) -> Survey {
        let (lo, hi) = half.bounds();
        let grid = Grid::covering([lo.x, lo.y], [hi.x, hi.y], 2.0 * cell, cell);
        let columns = Columns::cast(&half.mesh, grid);
        let top = columns.top();
        let inside = outline(&columns);
        let tolerance = half.tolerance();
        let parting = match &half.parting {
            Parting::Flat | Parting::Highest => None,
            Parting::Contact { other, within } => {
                Some(contact_face(&columns, &top, other, *within))
            }
        };
        let mut survey = Survey {
            voids: Voids::default(),
            columns,
            top,
            inside,
            labels: Vec::new(),
            parting,
            hollows: Vec::new(),
            owner: Vec::new(),
            tolerance,
        };
        survey.find_hollows(half);
        survey.voids = Voids::of(&survey);
        survey.owner = super::owner::owners(half, &survey);
        survey
    }

    /// The grid of the columns, two cells wider than the half on every side.
    pub fn grid(&self) -> Grid {
        self.columns.grid()
    }

    /// Height of the parting face at plan place (x, y), tool frame, mm; 0 where it has none there.
    pub fn parting_at(&self, x: f64, y: f64) -> f64 {
        let Some(map) = &self.parting else { return 0.0 };
        let at = map
            .grid
            .cell_at(x, y)
            .and_then(|(i, j)| map.get(map.grid.index(i, j)));
        at.map_or(0.0, f64::from)
    }

    /// Index of the hollow of cell `k`.
    ///
    /// # Panics
    /// If `k` is out of range.
    pub fn hollow_at(&self, k: usize) -> Option<usize> {
        (self.labels[k] as usize).checked_sub(1)
    }

    /// Number of columns of hollow `h` without any material.
    pub fn columns_open(&self, h: usize) -> usize {
        (0..self.labels.len())
            .filter(|&k| self.hollow_at(k) == Some(h) && self.top.get(k).is_none())
            .count()
    }

    /// Volume of hollow `h` between height `ceiling` and the material, or height `underside` where there is none, by columns: mm³
    /// of heights in mm, tool frame.
    pub fn volume_below(&self, h: usize, ceiling: f64, underside: f64) -> f64 {
        let cell = self.grid().cell;
        let depth = |k: usize| (ceiling - self.top.get(k).map_or(underside, f64::from)).max(0.0);
        (0..self.labels.len())
            .filter(|&k| self.hollow_at(k) == Some(h))
            .map(depth)
            .sum::<f64>()
            * cell
            * cell
    }

    fn parting_of(&self, k: usize) -> f64 {
        self.parting
            .as_ref()
            .map_or(0.0, |m| m.get(k).map_or(0.0, f64::from))
    }

    fn find_hollows(&mut self, half: &Half) {
        let grid = self.grid();
        let at_level = |k: usize| {
            self.top
                .get(k)
                .is_some_and(|t| (f64::from(t) - self.parting_of(k)).abs() <= self.tolerance)
        };
        let lower = |k: usize| {
            self.inside[k]
                && self
                    .top
                    .get(k)
                    .is_none_or(|t| f64::from(t) < self.parting_of(k) - self.tolerance)
        };
        let all = Components::of(&grid, lower);
        let rims = rims(&grid, &all, &self.inside, at_level);
        let cells = all.cells();
        self.labels = all.labels;
        self.labels.fill(0);
        let takes_all = matches!(half.parting, Parting::Highest | Parting::Contact { .. });
        for (cells, rim) in cells.into_iter().zip(rims) {
            let depth = |k: usize| self.parting_of(k) - self.top.get(k).map_or(f64::MIN, f64::from);
            if cells.len() < LEAST_CELLS || cells.iter().all(|&k| depth(k as usize) < LEAST_DEPTH) {
                continue;
            }
            self.add_hollow(&grid, &cells, rim, takes_all);
        }
    }

    /// Adds one hollow, its through holes told from it.
    fn add_hollow(&mut self, grid: &Grid, cells: &[u32], rim: Rim, takes_all: bool) {
        let open: Vec<u32> = cells
            .iter()
            .copied()
            .filter(|&k| self.top.get(k as usize).is_none())
            .collect();
        let index = self.hollows.len();
        let whole = open.len() as f64 >= MOUTH_SHARE * cells.len() as f64;
        let kind = if !open.is_empty() && whole {
            HollowKind::Through
        } else if rim.mostly_open() && !takes_all {
            HollowKind::Other
        } else {
            HollowKind::Cavity
        };
        for &k in cells {
            self.labels[k as usize] = index as u32 + 1;
        }
        let deepest = self.deepest(grid, cells);
        self.hollows.push(Hollow {
            kind,
            cells: cells.len(),
            deepest,
            mouth: None,
        });
        if open.is_empty() || whole {
            return;
        }
        for channel in self.channels(grid, &open, index) {
            let beside = channel
                .iter()
                .flat_map(|&k| neighbours(grid, k as usize))
                .flatten();
            let mut floors: Vec<f32> = beside
                .filter(|&n| self.hollow_at(n) == Some(index))
                .filter_map(|n| self.top.get(n))
                .collect();
            floors.sort_by(f32::total_cmp);
            let floor = floors.get(floors.len() / 2).map_or(0.0, |&z| f64::from(z));
            let deepest = self.deepest(grid, &channel);
            self.hollows[index].cells -= channel.len();
            self.hollows.push(Hollow {
                kind: HollowKind::Through,
                cells: channel.len(),
                deepest,
                mouth: Some(Mouth {
                    cavity: index,
                    floor,
                }),
            });
        }
        let floor: Vec<u32> = cells
            .iter()
            .copied()
            .filter(|&k| self.hollow_at(k as usize) == Some(index))
            .collect();
        self.hollows[index].deepest = self.deepest(grid, &floor);
    }

    /// Through holes that open in hollow `index`: connected columns without material, grown over
    /// the steep walls that lead down to them; labels them.
    fn channels(&mut self, grid: &Grid, open: &[u32], index: usize) -> Vec<Vec<u32>> {
        let mut channels = Vec::new();
        let first = self.hollows.len() as u32;
        for &start in open {
            if self.labels[start as usize] > first {
                continue;
            }
            let label = first + channels.len() as u32 + 1;
            let mut channel = vec![start];
            self.labels[start as usize] = label;
            let mut next = 0;
            while next < channel.len() {
                let k = channel[next] as usize;
                next += 1;
                for n in neighbours(grid, k).into_iter().flatten() {
                    if self.labels[n] as usize == index + 1 && self.is_channel(grid, n) {
                        self.labels[n] = label;
                        channel.push(n as u32);
                    }
                }
            }
            channels.push(channel);
        }
        channels
    }

    /// No material, or a wall that rises steeply out of the hole.
    fn is_channel(&self, grid: &Grid, k: usize) -> bool {
        let Some(z) = self.top.get(k) else {
            return true;
        };
        let rise = |n: usize| self.top.get(n).map_or(0.0, |t| f64::from(t - z));
        let steepest = neighbours(grid, k)
            .into_iter()
            .flatten()
            .map(rise)
            .fold(0.0, f64::max);
        steepest > CHANNEL_SLOPE * grid.cell
            && f64::from(z) + steepest < self.parting_of(k) - self.tolerance
    }

    fn deepest(&self, grid: &Grid, cells: &[u32]) -> Point {
        let mut best = (f32::INFINITY, cells[0] as usize);
        for k in cells.iter().map(|&k| k as usize) {
            if let Some(z) = self.top.get(k)
                && z < best.0
            {
                best = (z, k);
            }
        }
        let (z, k) = best;
        let [x, y] = grid.centre_of(k);
        Point::new(
            x,
            y,
            if z.is_finite() {
                f64::from(z)
            } else {
                self.parting_of(k)
            },
        )
    }

    /// What lies at `p`, a place just outside the surface.
    pub(crate) fn look(&self, p: &Point) -> Air {
        let grid = self.grid();
        let Some((i, j)) = grid.cell_at(p.x, p.y) else {
            return Air::Outside;
        };
        let k = grid.index(i, j);
        if !self.inside[k] {
            return Air::Outside;
        }
        let Some(top) = self.top.get(k) else {
            return self.hollow_at(k).map_or(Air::Outside, Air::Open);
        };
        if p.z >= f64::from(top) {
            return match self.hollow_at(k) {
                Some(h) if p.z < self.parting_of(k) => Air::Open(h),
                _ => Air::Outside,
            };
        }
        let bottom = self.columns.column(k).first().map_or(top, |c| c.z);
        if p.z <= f64::from(bottom) {
            return Air::Outside;
        }
        match self.voids.at(k, p.z) {
            Some(v) => Air::Void(v),
            None => Air::Material,
        }
    }

    /// What lies before the facet at `p` with unit normal `n`: looks a cell or so off the surface.
    pub(crate) fn look_off(&self, p: &Point, n: &Vector) -> Air {
        let cell = self.grid().cell;
        let mut seen = Air::Material;
        for step in [0.75, 1.5, 0.4] {
            let mut at = p + n * (step * cell);
            // from below a flat parting face along under it, not out through it
            if self.parting.is_none() && p.z < 0.0 {
                at.z = at.z.min(0.5 * p.z);
            }
            seen = self.look(&at);
            if seen != Air::Material {
                break;
            }
        }
        seen
    }
}

/// What lies at a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Air {
    /// Material.
    Material,
    /// Outside the half: above the parting face, beside or under the block.
    Outside,
    /// Open to the spindle, in this hollow.
    Open(usize),
    /// Shut in above by material, in this void.
    Void(usize),
}

/// Height of the parting face above each cell, for a half whose parting face is not flat: where the
/// other half meets it, its own height; elsewhere the height of the nearest place where they meet.
fn contact_face(
    columns: &Columns,
    top: &HeightMap,
    other: &crate::mesh::Mesh,
    within: f64,
) -> HeightMap {
    let grid = columns.grid();
    let opposite = Columns::cast(other, grid);
    let meets = |k: usize| {
        let own = top.get(k)?;
        let gap = opposite.column(k).first()?.z - own;
        (f64::from(gap.abs()) <= within).then_some(own)
    };
    let mut face = HeightMap::empty(grid);
    let mut front: std::collections::VecDeque<usize> = std::collections::VecDeque::new();
    for k in 0..grid.len() {
        if let Some(z) = meets(k) {
            face.values_mut()[k] = z;
            front.push_back(k);
        }
    }
    while let Some(k) = front.pop_front() {
        let z = face.values()[k];
        for n in neighbours(&grid, k).into_iter().flatten() {
            if face.get(n).is_none() {
                face.values_mut()[n] = z;
                front.push_back(n);
            }
        }
    }
    face
}
