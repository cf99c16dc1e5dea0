//! The window of a section's picture: material, bodies and levels in it.

use crate::picture::canvas::{Canvas, FAINT, INK, Rgb};
use crate::picture::map::{BODY, FACE, MARGIN, NOTE, Picture, Plot, TITLE, scale_bar};
use crate::report::Figures;
use crate::units::Unit;

/// The section picture's window, px.
const ROOM: [f64; 2] = [820.0, 560.0];
pub(super) const HEAD: f64 = 78.0;
const FOOT: f64 = 46.0;
/// Distance of the lining of cut material, px.
const LINING: i64 = 9;

/// A window on a section.
pub(super) struct Window {
    pub(super) canvas: Canvas,
    /// Along and z of the window's middle, mm.
    pub(super) middle: [f64; 2],
    pub(super) scale: f64,
    material: Vec<bool>,
}

impl Window {
    pub(super) fn new(middle: [f64; 2], height: f64) -> Window {
        let size = [ROOM[0] + 2.0 * MARGIN, ROOM[1] + HEAD + FOOT];
        Window {
            canvas: Canvas::new(size[0] as usize, size[1] as usize),
            middle,
            scale: ROOM[1] / height,
            material: vec![false; (size[0] * size[1]) as usize],
        }
    }

    pub(super) fn pixel(&self, p: [f64; 2]) -> [f64; 2] {
        [
            MARGIN + 0.5 * ROOM[0] + (p[0] - self.middle[0]) * self.scale,
            HEAD + 0.5 * ROOM[1] - (p[1] - self.middle[1]) * self.scale,
        ]
    }

    pub(super) fn inside(&self, x: i64, y: i64) -> bool {
        let x_in = x >= MARGIN as i64 && x < (MARGIN + ROOM[0]) as i64;
        x_in && y >= HEAD as i64 && y < (HEAD + ROOM[1]) as i64
    }

    /// Fills what is cut with its lining, and strokes its edge.
    pub(super) fn cut(&mut self, lines: &[[[f64; 2]; 2]]) {
        let width = self.canvas.width;
        let mut crossings: Vec<Vec<f64>> = vec![Vec::new(); width];
        for line in lines {
            let [a, b] = line.map(|p| self.pixel(p));
            let (a, b) = if a[0] <= b[0] { (a, b) } else { (b, a) };
            let from = (a[0] - 0.5).ceil().max(0.0) as usize;
            let to = ((b[0] - 0.5).ceil().max(0.0) as usize).min(width);
            for (x, column) in crossings.iter_mut().enumerate().take(to).skip(from) {
                let t = (x as f64 + 0.5 - a[0]) / (b[0] - a[0]);
                column.push(a[1] + t * (b[1] - a[1]));
            }
        }
        for (x, column) in crossings.iter_mut().enumerate() {
            column.sort_by(f64::total_cmp);
            for pair in column.chunks_exact(2) {
                let from = (pair[0] - 0.5).ceil().max(0.0) as i64;
                let to = (pair[1] - 0.5).ceil().min(self.canvas.height as f64) as i64;
                for y in from..to {
                    if self.inside(x as i64, y) {
                        self.material[y as usize * width + x] = true;
                        let lined = (x as i64 + y) % LINING == 0;
                        let colour = if lined { FAINT } else { FACE };
                        self.canvas.set(x as i64, y, colour);
                    }
                }
            }
        }
        for line in lines {
            let [a, b] = line.map(|p| self.pixel(p));
            self.clipped(a, b, 2.0, INK);
        }
    }

    pub(super) fn clipped(&mut self, a: [f64; 2], b: [f64; 2], width: f64, colour: Rgb) {
        let lo = [MARGIN, HEAD];
        let hi = [MARGIN + ROOM[0], HEAD + ROOM[1]];
        if let Some((a, b)) = clip(a, b, lo, hi) {
            self.canvas.line(a, b, width, colour);
        }
    }

    /// Fills a body of revolution about the axis at `along`, its radius a function of z: `open` over air, and hatched
    /// `struck` where it stands in the material.
    pub(super) fn body(
        &mut self,
        along: f64,
        radius: impl Fn(f64) -> Option<f64>,
        open: Rgb,
        struck: Option<Rgb>,
    ) -> bool {
        let mut hit = false;
        let [axis, _] = self.pixel([along, 0.0]);
        for y in HEAD as i64..(HEAD + ROOM[1]) as i64 {
            let z = self.middle[1] + (HEAD + 0.5 * ROOM[1] - y as f64 - 0.5) / self.scale;
            let Some(r) = radius(z) else { continue };
            let r = r * self.scale;
            for x in (axis - r).round() as i64..(axis + r).round() as i64 {
                if !self.inside(x, y) {
                    continue;
                }
                if self.material[y as usize * self.canvas.width + x as usize] {
                    if let Some(struck) = struck {
                        hit = true;
                        let lined = (x - y).rem_euclid(6) < 2;
                        self.canvas
                            .blend(x, y, if lined { INK } else { struck }, 0.9);
                    }
                } else {
                    self.canvas.blend(x, y, open, 0.35);
                }
            }
        }
        hit
    }

    pub(super) fn circle(&mut self, centre: [f64; 2], radius: f64, colour: Rgb) {
        let steps = 180;
        let at = |k: usize| {
            let a = k as f64 / steps as f64 * std::f64::consts::TAU;
            self.pixel([centre[0] + radius * a.cos(), centre[1] + radius * a.sin()])
        };
        let points: Vec<[f64; 2]> = (0..=steps).map(at).collect();
        for w in points.windows(2) {
            self.clipped(w[0], w[1], 2.0, colour);
        }
    }

    pub(super) fn level(&mut self, unit: Unit) {
        let [_, y] = self.pixel([0.0, 0.0]);
        if !self.inside(MARGIN as i64, y as i64) {
            return;
        }
        let mut x = MARGIN;
        while x < MARGIN + ROOM[0] {
            self.canvas
                .line([x, y], [(x + 14.0).min(MARGIN + ROOM[0]), y], 1.2, INK);
            x += 20.0;
        }
        let text = format!("parting level, {}", Figures { unit }.length(0.0));
        self.canvas.label([MARGIN + 6.0, y - 6.0], NOTE, &text);
    }

    pub(super) fn finish(
        mut self,
        key: String,
        title: String,
        note: &str,
        alt: String,
        unit: Unit,
    ) -> Picture {
        self.canvas.text([MARGIN, 30.0], TITLE, &title);
        self.canvas.text([MARGIN, 56.0], BODY, note);
        let corners = [
            [MARGIN, HEAD],
            [MARGIN + ROOM[0], HEAD],
            [MARGIN + ROOM[0], HEAD + ROOM[1]],
            [MARGIN, HEAD + ROOM[1]],
        ];
        for k in 0..4 {
            self.canvas.line(corners[k], corners[(k + 1) % 4], 1.0, INK);
        }
        let foot = self.canvas.height as f64 - 20.0;
        scale_bar(&mut self.canvas, [MARGIN, foot], self.scale, unit);
        let corner = [
            self.middle[0] - 0.5 * ROOM[0] / self.scale,
            self.middle[1] + 0.5 * ROOM[1] / self.scale,
        ];
        Picture {
            key,
            title,
            alt,
            canvas: self.canvas,
            plot: Plot {
                left_top: [MARGIN, HEAD],
                scale: self.scale,
                corner,
                legend: [0; 4],
                range: [0.0, 0.0],
            },
        }
    }
}

/// The part of a line within a box.
fn clip(a: [f64; 2], b: [f64; 2], lo: [f64; 2], hi: [f64; 2]) -> Option<([f64; 2], [f64; 2])> {
    let d = [b[0] - a[0], b[1] - a[1]];
    let (mut from, mut to) = (0.0_f64, 1.0_f64);
    for k in 0..2 {
        if d[k] == 0.0 {
            if a[k] < lo[k] || a[k] > hi[k] {
                return None;
            }
            continue;
        }
        let (s, t) = ((lo[k] - a[k]) / d[k], (hi[k] - a[k]) / d[k]);
        from = from.max(s.min(t));
        to = to.min(s.max(t));
    }
    let at = |t: f64| [a[0] + t * d[0], a[1] + t * d[1]];
    (from <= to).then(|| (at(from), at(to)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_clipped_to_the_window() {
        let cut = clip([-1.0, 0.5], [3.0, 0.5], [0.0, 0.0], [1.0, 1.0]);
        assert_eq!(cut, Some(([0.0, 0.5], [1.0, 0.5])));
        assert_eq!(clip([-1.0, 2.0], [3.0, 2.0], [0.0, 0.0], [1.0, 1.0]), None);
    }
}
