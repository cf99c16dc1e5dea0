//! Air shut in above by material: connected gaps of the columns.

use super::plan::neighbours;
use super::survey::Survey;
use crate::mesh::Sets;
use rayon::prelude::*;

/// Where a void opens.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Void {
    /// Hollow it is joined to.
    pub hollow: Option<usize>,
    /// Opens to the underside, the block's sides or above the parting face.
    pub outside: bool,
    /// Its volume by columns, mm³.
    pub volume: f64,
    /// A place in it: column, and height.
    pub at: (usize, f32),
}

/// All voids of a half.
#[derive(Debug, Clone, Default)]
pub(crate) struct Voids {
    /// Gaps of column `k`: `gaps[starts[k]..starts[k + 1]]`; empty without any gap.
    starts: Vec<u32>,
    /// From, to, void.
    gaps: Vec<(f32, f32, u32)>,
    /// The voids, by first gap.
    pub list: Vec<Void>,
}

impl Voids {
    /// Joins the gaps of neighbouring columns that overlap in height.
    pub fn of(survey: &Survey) -> Voids {
        let columns = &survey.columns;
        let grid = columns.grid();
        let all = (0..grid.len()).into_par_iter();
        if !all.any(|k| columns.column(k).len() > 2) {
            return Voids::default();
        }
        let mut starts = Vec::with_capacity(grid.len() + 1);
        let mut gaps = Vec::new();
        let tolerance = survey.tolerance as f32;
        for k in 0..grid.len() {
            starts.push(gaps.len() as u32);
            if columns.column(k).len() > 2 {
                let thick = columns.gaps(k).filter(|g| g[1] - g[0] > tolerance);
                gaps.extend(thick.map(|g| (g[0], g[1], 0)));
            }
        }
        starts.push(gaps.len() as u32);
        if gaps.is_empty() {
            return Voids::default();
        }
        let mut sets = Sets((0..gaps.len() as u32).collect());
        let mut joins = vec![Void::default(); gaps.len()];
        for k in 0..grid.len() {
            for g in starts[k]..starts[k + 1] {
                let (from, to, _) = gaps[g as usize];
                for n in neighbours(&grid, k) {
                    let Some(n) = n.filter(|&n| survey.inside[n]) else {
                        joins[g as usize].outside = true;
                        continue;
                    };
                    for h in starts[n]..starts[n + 1] {
                        let (f, t, _) = gaps[h as usize];
                        if f.max(from) < t.min(to) - tolerance {
                            sets.join(g, h);
                        }
                    }
                    let column = columns.column(n);
                    let opens_up = column.last().is_none_or(|c| to > c.z + tolerance);
                    if opens_up {
                        match survey.hollow_at(n) {
                            Some(h) => joins[g as usize].hollow = Some(h),
                            None => joins[g as usize].outside = true,
                        }
                    }
                    if column.first().is_some_and(|c| from < c.z - tolerance) {
                        joins[g as usize].outside = true;
                    }
                }
            }
        }
        let mut voids = Voids {
            starts,
            gaps,
            list: Vec::new(),
        };
        let mut number = vec![u32::MAX; joins.len()];
        for k in 0..grid.len() {
            let range = voids.starts[k] as usize..voids.starts[k + 1] as usize;
            for (g, joined) in joins.iter().enumerate().take(range.end).skip(range.start) {
                let root = sets.find(g as u32) as usize;
                let (from, to, _) = voids.gaps[g];
                if number[root] == u32::MAX {
                    number[root] = voids.list.len() as u32;
                    voids.list.push(Void {
                        at: (k, 0.5 * (from + to)),
                        ..Void::default()
                    });
                }
                voids.gaps[g].2 = number[root];
                let void = &mut voids.list[number[root] as usize];
                void.volume += f64::from(to - from) * grid.cell * grid.cell;
                void.outside |= joined.outside;
                void.hollow = void.hollow.or(joined.hollow);
            }
        }
        voids
    }

    /// The void at height `z` of column `k`.
    pub fn at(&self, k: usize, z: f64) -> Option<usize> {
        let range = *self.starts.get(k)? as usize..*self.starts.get(k + 1)? as usize;
        let gap = self.gaps[range]
            .iter()
            .find(|g| f64::from(g.0) <= z && z <= f64::from(g.1))?;
        Some(gap.2 as usize)
    }
}
