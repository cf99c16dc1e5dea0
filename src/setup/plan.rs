//! The half seen along the tool axis: outline, parting level, hollows.

use crate::field::{Columns, Grid, HeightMap};
use crate::mesh::{Mesh, Sets, Vector};
use rayon::prelude::*;

/// Cells of a grid that belong together: `labels[k]` is the component of cell `k` plus one, 0 for none.
#[derive(Debug, Clone)]
pub(crate) struct Components {
    /// By cell, the number of its component plus one; 0: no member.
    pub labels: Vec<u32>,
    /// Number of components.
    pub count: usize,
}

impl Components {
    /// Joins cells that are members and share a side; components are numbered by their first cell.
    ///
    /// By runs of neighbouring members in each row, joined where they overlap those of the row before.
    pub fn of(grid: &Grid, member: impl Fn(usize) -> bool + Sync) -> Components {
        let nx = grid.nx;
        let mut labels = vec![0; grid.len()];
        let rows: Vec<Vec<[u32; 2]>> = (0..grid.ny)
            .into_par_iter()
            .map(|j| runs(nx, |i| member(j * nx + i)))
            .collect();
        let mut starts = Vec::with_capacity(rows.len());
        let mut total = 0;
        for row in &rows {
            starts.push(total);
            total += row.len();
        }
        let mut sets = Sets((0..total as u32).collect());
        for (pair, first) in rows.windows(2).zip(starts.windows(2)) {
            let (mut a, mut b) = (0, 0);
            while let (Some(below), Some(run)) = (pair[0].get(a), pair[1].get(b)) {
                if below[0] < run[1] && run[0] < below[1] {
                    sets.join((first[0] + a) as u32, (first[1] + b) as u32);
                }
                if below[1] < run[1] {
                    a += 1;
                } else {
                    b += 1;
                }
            }
        }
        // a set is known by its first run, so numbers follow first cells
        let mut count = 0;
        let mut numbers = vec![0u32; total];
        for run in 0..total {
            let first = sets.find(run as u32) as usize;
            if first == run {
                count += 1;
                numbers[run] = count as u32;
            } else {
                numbers[run] = numbers[first];
            }
        }
        labels
            .par_chunks_mut(nx.max(1))
            .zip(&rows)
            .zip(&starts)
            .for_each(|((labels, runs), &first)| {
                for (&[from, to], &number) in runs.iter().zip(&numbers[first..]) {
                    labels[from as usize..to as usize].fill(number);
                }
            });
        Components { labels, count }
    }

    /// The cells of each component, ascending.
    pub(super) fn cells(&self) -> Vec<Vec<u32>> {
        let mut sizes = vec![0; self.count + 1];
        for &label in &self.labels {
            sizes[label as usize] += 1;
        }
        let mut cells: Vec<Vec<u32>> = sizes[1..].iter().map(|&n| Vec::with_capacity(n)).collect();
        for (k, &label) in self.labels.iter().enumerate() {
            if let Some(label) = label.checked_sub(1) {
                cells[label as usize].push(k as u32);
            }
        }
        cells
    }
}

/// Runs of neighbouring places of `0..n` that are members: the first of each, and the one after its last.
fn runs(n: usize, member: impl Fn(usize) -> bool) -> Vec<[u32; 2]> {
    let mut runs: Vec<[u32; 2]> = Vec::new();
    let mut inside = false;
    for i in 0..n {
        let is = member(i);
        if is && !inside {
            runs.push([i as u32, n as u32]);
        } else if inside
            && !is
            && let Some(run) = runs.last_mut()
        {
            run[1] = i as u32;
        }
        inside = is;
    }
    runs
}

/// The up to four cells that share a side with cell `k`: those at lower and higher X, lower and higher Y.
pub fn neighbours(grid: &Grid, k: usize) -> [Option<usize>; 4] {
    let (i, j) = (k % grid.nx, k / grid.nx);
    [
        (i > 0).then(|| k - 1),
        (i + 1 < grid.nx).then(|| k + 1),
        (j > 0).then(|| k - grid.nx),
        (j + 1 < grid.ny).then(|| k + grid.nx),
    ]
}

/// By cell, whether it has material or lies in an enclosed hole. Outside this outline the cutter moves freely.
pub fn outline(columns: &Columns) -> Vec<bool> {
    let grid = &columns.grid();
    let empty = |k: usize| columns.column(k).is_empty();
    let free = Components::of(grid, empty);
    let mut reaches_border = vec![false; free.count + 1];
    let (nx, ny) = (grid.nx, grid.ny);
    let ends = (0..nx).flat_map(|i| [i, (ny - 1) * nx + i]);
    let sides = (0..ny).flat_map(|j| [j * nx, j * nx + nx - 1]);
    for k in ends.chain(sides) {
        reaches_border[free.labels[k] as usize] = true;
    }
    // label 0 is that of cells with material, wherever they lie
    reaches_border[0] = false;
    let labels = free.labels.into_par_iter().with_min_len(1 << 14);
    labels
        .map(|label| !reaches_border[label as usize])
        .collect()
}

/// What lies around a connected hollow, counted in cell sides.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Rim {
    /// Sides along flat surface at the level.
    pub flat: usize,
    /// Sides along anything else that is not lower.
    pub above: usize,
    /// Sides along the outside of the outline.
    pub open: usize,
}

impl Rim {
    /// Open to the block's side along more than half of the rim.
    pub fn mostly_open(&self) -> bool {
        2 * self.open > self.flat + self.above + self.open
    }
}

/// The rims of the components of `hollows` at level `z`.
pub fn rims(
    grid: &Grid,
    hollows: &Components,
    inside: &[bool],
    at_level: impl Fn(usize) -> bool,
) -> Vec<Rim> {
    let mut rims = vec![Rim::default(); hollows.count];
    let labels = &hollows.labels;
    // cells in the middle of others of their own have no rim
    let amid = |k: usize| {
        let around = [
            k.wrapping_sub(1),
            k + 1,
            k.wrapping_sub(grid.nx),
            k + grid.nx,
        ];
        let within = k >= grid.nx && k + grid.nx < labels.len();
        let i = k % grid.nx;
        within && i > 0 && i + 1 < grid.nx && around.into_iter().all(|n| labels[n] != 0)
    };
    let edge: Vec<u32> = (0..labels.len() as u32)
        .into_par_iter()
        .with_min_len(1 << 14)
        .filter(|&k| labels[k as usize] != 0 && !amid(k as usize))
        .collect();
    for k in edge.into_iter().map(|k| k as usize) {
        let rim = &mut rims[labels[k] as usize - 1];
        for n in neighbours(grid, k) {
            match n {
                Some(n) if hollows.labels[n] != 0 => {}
                Some(n) if inside[n] => {
                    if at_level(n) {
                        rim.flat += 1;
                    } else {
                        rim.above += 1;
                    }
                }
                _ => rim.open += 1,
            }
        }
    }
    rims
}

/// A flat up-facing level and the rim it gives to outermost hollows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Height along the tool axis, mm.
    pub z: f64,
    /// Rim length of the outermost hollows it bounds, mm (counted in cells).
    pub rim: f64,
    /// Share of those hollows' rims (their open sides aside) that lies flat at this level.
    pub flat_share: f64,
}

/// Facets turned from level by less than this are flat, degrees.
const FLAT_DEG: f64 = 0.2;
/// Levels tried, by area: more flat levels than this are a surface, not a face.
const MOST_LEVELS: usize = 24;

/// Those of the flat up-facing levels, given highest first, that bound outermost hollows, greatest rim first.
///
/// Heights closer than `tolerance` are one level, mm.
pub fn levels(
    flats: &[f64],
    columns: &Columns,
    inside: &[bool],
    top: &HeightMap,
    tolerance: f64,
) -> Vec<Level> {
    let mut found: Vec<Level> = Vec::new();
    let grid = &columns.grid();
    let lower_than =
        |k: usize, z: f64| inside[k] && top.get(k).is_none_or(|t| f64::from(t) < z - tolerance);
    // cells that lie in an outermost hollow of a higher level
    let mut nested = vec![false; grid.len()];
    for &z in flats {
        let hollows = Components::of(grid, |k| lower_than(k, z));
        let flat = |k: usize| {
            top.get(k)
                .is_some_and(|t| (f64::from(t) - z).abs() <= tolerance)
        };
        let rims = rims(grid, &hollows, inside, flat);
        let mut first_cell = vec![usize::MAX; hollows.count];
        for k in (0..grid.len()).rev().filter(|&k| hollows.labels[k] != 0) {
            first_cell[hollows.labels[k] as usize - 1] = k;
        }
        let counts =
            |h: usize| rims[h].flat > 0 && !rims[h].mostly_open() && !nested[first_cell[h]];
        let outermost: Vec<bool> = (0..hollows.count).map(counts).collect();
        let (mut on_flat, mut closed) = (0, 0);
        for (rim, _) in rims.iter().zip(&outermost).filter(|(_, o)| **o) {
            on_flat += rim.flat;
            closed += rim.flat + rim.above;
        }
        if on_flat == 0 {
            continue;
        }
        for k in 0..grid.len() {
            nested[k] |= hollows.labels[k] != 0 && outermost[hollows.labels[k] as usize - 1];
        }
        found.push(Level {
            z,
            rim: on_flat as f64 * grid.cell,
            flat_share: on_flat as f64 / closed as f64,
        });
    }
    // descending z before: equal rims keep the higher level first
    found.sort_by(|a, b| b.rim.total_cmp(&a.rim));
    found
}

/// Heights of flat up-facing areas, highest first, the largest [`MOST_LEVELS`] of them.
///
/// `facets`: unit normal and area of each triangle in the frame in which `axis` is up; `mesh`: the same with +Z up. `tolerance`
/// joins facets to one level, mm.
pub fn flat_levels(
    mesh: &Mesh,
    facets: &[(Vector, f64)],
    axis: &Vector,
    tolerance: f64,
) -> Vec<f64> {
    let cos_flat = FLAT_DEG.to_radians().cos();
    let mut facets: Vec<(f64, f64)> = facets
        .par_iter()
        .enumerate()
        .with_min_len(1024)
        .filter(|(_, (n, _))| n.dot(axis) > cos_flat)
        .map(|(t, &(_, area))| {
            let [a, b, c] = mesh.corners(t);
            ((a.z + b.z + c.z) / 3.0, area)
        })
        .collect();
    facets.par_sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut levels: Vec<(f64, f64)> = facets
        .chunk_by(|a, b| b.0 - a.0 <= tolerance)
        .map(|level| {
            let area: f64 = level.iter().map(|f| f.1).sum();
            (area, level.iter().map(|f| f.0 * f.1).sum::<f64>() / area)
        })
        .collect();
    levels.sort_by(|a, b| b.0.total_cmp(&a.0));
    levels.truncate(MOST_LEVELS);
    let mut heights: Vec<f64> = levels.into_iter().map(|l| l.1).collect();
    heights.sort_by(|a, b| b.total_cmp(a));
    heights
}

/// Volume that would stand in the half if it were filled with water from above, mm³: what tells a
/// mold from a part where no flat level helps.
///
/// Priority flood from the outline's border (Barnes, Lehman & Mulla 2014, Computers & Geosciences
/// 62, 117–127; cited from memory).
pub fn standing_water(grid: &Grid, inside: &[bool], top: &HeightMap) -> f64 {
    use std::cmp::Reverse;
    use std::collections::BinaryHeap;
    let key = |z: f32| {
        // order-preserving image of a float in an integer
        let b = z.to_bits() as i32;
        b ^ (((b >> 31) as u32) >> 1) as i32
    };
    let mut seen = vec![false; grid.len()];
    let mut heap = BinaryHeap::new();
    let height = |k: usize| top.get(k).unwrap_or(f32::MIN);
    for k in 0..grid.len() {
        if inside[k]
            && neighbours(grid, k)
                .iter()
                .any(|n| n.is_none_or(|n| !inside[n]))
        {
            seen[k] = true;
            heap.push(Reverse((key(height(k)), k, height(k).to_bits())));
        }
    }
    let mut volume = 0.0;
    while let Some(Reverse((_, k, level))) = heap.pop() {
        let level = f32::from_bits(level);
        for n in neighbours(grid, k).into_iter().flatten() {
            if seen[n] || !inside[n] {
                continue;
            }
            seen[n] = true;
            let z = height(n);
            // a column without material drains
            if z < level && z > f32::MIN {
                volume += f64::from(level - z);
            }
            let over = z.max(if z > f32::MIN { level } else { z });
            heap.push(Reverse((key(over), n, over.to_bits())));
        }
    }
    volume * grid.cell * grid.cell
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn components_are_numbered_by_first_cell() {
        let grid = Grid {
            origin: [0.0, 0.0],
            cell: 1.0,
            nx: 5,
            ny: 1,
        };
        let c = Components::of(&grid, |k| k != 2);
        assert_eq!(c.labels, [1, 1, 0, 2, 2]);
    }

    #[test]
    fn water_stands_up_to_the_lowest_gap_in_the_rim() {
        let grid = Grid {
            origin: [0.0, 0.0],
            cell: 1.0,
            nx: 5,
            ny: 3,
        };
        let z = [
            5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 1.0, 2.0, 3.0, 4.0, 5.0, 5.0, 5.0, 5.0, 5.0,
        ];
        let top = HeightMap::from_values(grid, z.to_vec());
        // the gap is the cell of height 4 on the border: 3 + 2 + 1 stand
        assert_eq!(standing_water(&grid, &[true; 15], &top), 6.0);
    }
}
