//! Air shut in above by material: connected gaps of the columns.

use super::plan::neighbours;
use super::survey::Survey;
use crate::mesh::Sets;
use rayon::prelude::*;
use std::ops::Range;

/// Where a void opens.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Void {
    /// Index of the hollow it is joined to.
    pub hollow: Option<usize>,
    /// Opens to the underside, the block's sides or above the parting face.
    pub outside: bool,
    /// Its volume by columns, mm³.
    pub volume: f64,
    /// A place in it: column, and height in the tool frame, mm.
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
        let mut voids = Voids::apart(survey);
        if voids.gaps.is_empty() {
            return Voids::default();
        }
        let mut sets = Sets((0..voids.gaps.len() as u32).collect());
        let mut opens = Vec::with_capacity(voids.gaps.len());
        for k in 0..survey.grid().len() {
            for g in voids.range(k) {
                opens.push(voids.look_around(survey, k, g, &mut sets));
            }
        }
        voids.number(survey, sets, &opens);
        voids
    }

    /// The gaps of all columns, not yet joined.
    fn apart(survey: &Survey) -> Voids {
        let columns = &survey.columns;
        let count = columns.grid().len();
        let mut voids = Voids::default();
        if !(0..count)
            .into_par_iter()
            .any(|k| columns.column(k).len() > 2)
        {
            return voids;
        }
        voids.starts.reserve_exact(count + 1);
        let tolerance = survey.tolerance as f32;
        for k in 0..count {
            voids.starts.push(voids.gaps.len() as u32);
            if columns.column(k).len() > 2 {
                let thick = columns.gaps(k).filter(|g| g[1] - g[0] > tolerance);
                voids.gaps.extend(thick.map(|g| (g[0], g[1], 0)));
            }
        }
        voids.starts.push(voids.gaps.len() as u32);
        voids
    }

    /// The gaps of column `k`.
    fn range(&self, k: usize) -> Range<usize> {
        self.starts[k] as usize..self.starts[k + 1] as usize
    }

    /// Joins gap `g` of column `k` with those beside it in `sets`; where it opens.
    fn look_around(&self, survey: &Survey, k: usize, g: usize, sets: &mut Sets) -> Void {
        let mut opens = Void::default();
        let columns = &survey.columns;
        let tolerance = survey.tolerance as f32;
        let (from, to, _) = self.gaps[g];
        for n in neighbours(&columns.grid(), k) {
            let Some(n) = n.filter(|&n| survey.inside[n]) else {
                opens.outside = true;
                continue;
            };
            for h in self.range(n) {
                let (f, t, _) = self.gaps[h];
                if f.max(from) < t.min(to) - tolerance {
                    sets.join(g as u32, h as u32);
                }
            }
            let column = columns.column(n);
            if column.last().is_none_or(|c| to > c.z + tolerance) {
                match survey.hollow_at(n) {
                    Some(h) => opens.hollow = Some(h),
                    None => opens.outside = true,
                }
            }
            if column.first().is_some_and(|c| from < c.z - tolerance) {
                opens.outside = true;
            }
        }
        opens
    }

    /// Numbers the voids by their first gaps and sums what their gaps come to.
    fn number(&mut self, survey: &Survey, mut sets: Sets, opens: &[Void]) {
        let grid = survey.grid();
        let mut number = vec![u32::MAX; opens.len()];
        for k in 0..grid.len() {
            for g in self.range(k) {
                let root = sets.find(g as u32) as usize;
                let (from, to, _) = self.gaps[g];
                if number[root] == u32::MAX {
                    number[root] = self.list.len() as u32;
                    self.list.push(Void {
                        at: (k, 0.5 * (from + to)),
                        ..Void::default()
                    });
                }
                self.gaps[g].2 = number[root];
                let void = &mut self.list[number[root] as usize];
                void.volume += f64::from(to - from) * grid.cell * grid.cell;
                void.outside |= opens[g].outside;
                void.hollow = void.hollow.or(opens[g].hollow);
            }
        }
    }

    /// The void at height `z` (mm, tool frame) of column `k`: index into `list`.
    pub fn at(&self, k: usize, z: f64) -> Option<usize> {
        self.starts.get(k + 1)?;
        let gap = self.gaps[self.range(k)]
            .iter()
            .find(|g| f64::from(g.0) <= z && z <= f64::from(g.1))?;
        Some(gap.2 as usize)
    }
}
