//! A map of the plan, seen from the spindle: colours, legend, limit, scale bar, axis cross, numbered places.

use super::canvas::{Canvas, FAINT, Face, INK, PAPER, Rgb, text_width};
use super::colour::{Ramp, okabe_ito};
use super::ticks::{round_step, ticks};
use crate::field::Grid;
use crate::report::{Figures, Quantity};
use crate::units::{MM_PER_INCH, Unit};

/// What a cell of a map shows that has no value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ground {
    /// Nothing: beside the block.
    Outside,
    /// The block's upper side.
    Face,
    /// A hollow that is not judged, or not judged here.
    Hollow,
}

/// A limit on a map's scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Limit {
    /// Its value, mm or degrees.
    pub value: f64,
    /// What lies above it is beyond it; what lies below, otherwise.
    pub above: bool,
}

/// One scalar over the plan of a half, tool frame.
#[derive(Debug, Clone)]
pub(crate) struct Layer {
    /// Name for files and for the page: `a-depth`.
    pub key: String,
    /// What it shows.
    pub title: String,
    /// The same in one sentence, with its extremes, for who cannot see it.
    pub alt: String,
    /// What it measures.
    pub(crate) quantity: Quantity,
    /// Its cells.
    pub grid: Grid,
    /// One value a cell, mm or degrees; `NaN` for none.
    pub values: Vec<f32>,
    /// What is shown where there is no value, one a cell.
    pub ground: Vec<Ground>,
    /// Ends of the scale, mm or degrees.
    pub range: [f64; 2],
    /// Limits on it.
    pub limits: Vec<Limit>,
    /// Whether lines of equal value are drawn.
    pub contours: bool,
    /// Lines over it.
    pub strokes: Vec<Stroke>,
    /// What the reader has to know besides; may be empty.
    pub note: String,
}

impl Layer {
    /// Nothing over `grid`.
    pub(super) fn bare(grid: Grid) -> Layer {
        Layer {
            key: String::new(),
            title: String::new(),
            alt: String::new(),
            quantity: Quantity::Length,
            grid,
            values: Vec::new(),
            ground: Vec::new(),
            range: [0.0, 1.0],
            limits: Vec::new(),
            contours: false,
            strokes: Vec::new(),
            note: String::new(),
        }
    }
}

/// A line over a map.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stroke {
    /// Its corners, X and Y of the tool frame, mm.
    pub points: Vec<[f64; 2]>,
    /// Drawn bold in a colour of its own, else thin in ink.
    pub bold: bool,
}

/// A numbered place, tool frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Mark {
    /// Its number in the report.
    pub number: usize,
    /// Where, mm.
    pub at: [f64; 3],
}

/// Where things stand in a picture: how to read a place and a value off it. Pixels count from its left and upper edge; X and Y
/// are those of the tool frame, in a section the way along it and the height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plot {
    /// Left and upper edge of the map's first pixel, px.
    pub left_top: [f64; 2],
    /// Pixels a mm, whatever the reader's unit.
    pub scale: f64,
    /// Smallest X and largest Y shown, mm.
    pub corner: [f64; 2],
    /// The legend's bar, px: left, top, width, height; the larger end of the scale is on top. All zero in a section.
    pub legend: [usize; 4],
    /// Ends of the scale, mm or degrees whatever the reader's unit; zero in a section.
    pub range: [f64; 2],
}

impl Plot {
    /// Pixel of a place, X and Y in mm.
    pub fn pixel(&self, at: [f64; 2]) -> [f64; 2] {
        [
            self.left_top[0] + (at[0] - self.corner[0]) * self.scale,
            self.left_top[1] + (self.corner[1] - at[1]) * self.scale,
        ]
    }

    /// Place of a pixel's middle.
    fn place(&self, x: usize, y: usize) -> [f64; 2] {
        [
            self.corner[0] + (x as f64 + 0.5 - self.left_top[0]) / self.scale,
            self.corner[1] - (y as f64 + 0.5 - self.left_top[1]) / self.scale,
        ]
    }
}

/// A finished picture.
#[derive(Debug, Clone)]
pub struct Picture {
    /// Name for files and for the page, such as `a-depth`.
    pub key: String,
    /// What it shows.
    pub title: String,
    /// The same in one sentence, with its extremes, for who cannot see it.
    pub alt: String,
    /// Its pixels.
    pub canvas: Canvas,
    /// How to read it.
    pub plot: Plot,
}

/// Width and height that a map itself may take in a file of its own, px.
pub(crate) const ROOM: [f64; 2] = [700.0, 560.0];
/// The same on the page, where maps stand small and their words must stay readable.
pub(crate) const PAGE_ROOM: [f64; 2] = [400.0, 330.0];
pub(super) const MARGIN: f64 = 24.0;
const HEAD: f64 = 52.0;
const FOOT: f64 = 100.0;
const LEGEND: f64 = 150.0;
/// Distance of hatch lines, px.
const HATCH: usize = 7;

pub(super) const FACE: Rgb = Rgb([232, 230, 225]);
pub(super) const HOLLOW: Rgb = Rgb([205, 202, 196]);

pub(super) const TITLE: Face = Face {
    size: 19.0,
    bold: true,
    colour: INK,
};
pub(super) const BODY: Face = Face {
    size: 14.0,
    bold: false,
    colour: INK,
};
pub(super) const NOTE: Face = Face {
    size: 13.0,
    bold: false,
    colour: FAINT,
};

/// Draws `layer` with numbered places, in a map of at most `room`, px.
pub fn draw(layer: &Layer, marks: &[Mark], unit: Unit, room: [f64; 2]) -> Picture {
    let grid = layer.grid;
    let size = [grid.nx, grid.ny].map(|n| n as f64 * grid.cell);
    let scale = (room[0] / size[0]).min(room[1] / size[1]);
    let shown = size.map(|s| (s * scale).round());
    let legend_height = shown[1].max(220.0) as usize;
    let plot = Plot {
        left_top: [MARGIN, HEAD],
        scale,
        corner: [grid.origin[0], grid.origin[1] + size[1]],
        legend: [
            (MARGIN + shown[0] + 36.0) as usize,
            HEAD as usize,
            24,
            legend_height,
        ],
        range: layer.range,
    };
    let width = 2.0 * MARGIN + shown[0] + LEGEND;
    let height = HEAD + shown[1].max(legend_height as f64) + FOOT;
    let mut canvas = Canvas::new(width.max(520.0) as usize, height as usize);
    canvas.text([MARGIN, 30.0], TITLE, &layer.title);
    cells(&mut canvas, layer, &plot, shown, unit);
    strokes(&mut canvas, layer, &plot);
    legend(&mut canvas, layer, &plot, unit);
    let foot = HEAD + shown[1];
    scale_bar(&mut canvas, [MARGIN, foot + 34.0], scale, unit);
    canvas.text([MARGIN, foot + 88.0], NOTE, &layer.note);
    axis_cross(&mut canvas, [MARGIN + shown[0] - 54.0, foot + 62.0]);
    numbered(&mut canvas, &plot, marks, shown);
    Picture {
        key: layer.key.clone(),
        title: layer.title.clone(),
        alt: layer.alt.clone(),
        canvas,
        plot,
    }
}

fn cells(canvas: &mut Canvas, layer: &Layer, plot: &Plot, shown: [f64; 2], unit: Unit) {
    let ramp = Ramp::cividis();
    let [lo, hi] = layer.range;
    let (w, h) = (shown[0] as usize, shown[1] as usize);
    let [left, top] = plot.left_top.map(|v| v as usize);
    let step = contour_step(layer, unit);
    let cell = |x: usize, y: usize| {
        let [px, py] = plot.place(x, y);
        let cell = layer.grid.cell_at(px, py);
        cell.map(|(i, j)| layer.grid.index(i, j))
    };
    for y in top..top + h {
        for x in left..left + w {
            let Some(k) = cell(x, y) else { continue };
            let v = f64::from(layer.values[k]);
            let hatched = (x + y) % HATCH == 0;
            let colour = if v.is_nan() {
                match layer.ground[k] {
                    Ground::Outside => PAPER,
                    Ground::Face => FACE,
                    Ground::Hollow => HOLLOW,
                }
            } else if hatched && beyond(&layer.limits, v) {
                okabe_ito::BLACK
            } else {
                ramp.at((v - lo) / (hi - lo))
            };
            canvas.set(x as i64, y as i64, colour);
            let beside = [cell(x + 1, y), cell(x, y + 1)];
            let edge = beside
                .into_iter()
                .flatten()
                .map(|o| edge(layer, step, k, o));
            match edge.max().unwrap_or(Edge::None) {
                Edge::Rim => canvas.set(x as i64, y as i64, INK),
                Edge::Contour => {
                    // dark lines show on the light end, light ones on the dark end
                    let dark = (v - lo) / (hi - lo) > 0.4;
                    let line = if dark { INK } else { PAPER };
                    canvas.blend(x as i64, y as i64, line, 0.75);
                }
                Edge::None => {}
            }
        }
    }
}

/// What runs between two cells.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Edge {
    None,
    /// A contour line.
    Contour,
    /// The end of what is beyond a limit, of what has a value, or of a kind of ground.
    Rim,
}

/// What runs between cells `k` and `o`, with contours every `step`.
fn edge(layer: &Layer, step: f64, k: usize, o: usize) -> Edge {
    let [v, w] = [k, o].map(|k| f64::from(layer.values[k]));
    let rim = match (v.is_nan(), w.is_nan()) {
        (false, false) => beyond(&layer.limits, v) != beyond(&layer.limits, w),
        (true, true) => layer.ground[k] != layer.ground[o],
        _ => true,
    };
    let band = |v: f64| (v / step).floor() as i64;
    if rim {
        Edge::Rim
    } else if layer.contours && !v.is_nan() && band(v) != band(w) {
        Edge::Contour
    } else {
        Edge::None
    }
}

pub(crate) fn beyond(limits: &[Limit], v: f64) -> bool {
    let passes = |l: &Limit| if l.above { v > l.value } else { v < l.value };
    limits.iter().any(passes)
}

/// Distance of contour lines in the kept unit: round in the reader's.
fn contour_step(layer: &Layer, unit: Unit) -> f64 {
    let factor = factor(layer.quantity, unit);
    let span = (layer.range[1] - layer.range[0]).max(1e-9) * factor;
    round_step(span / 12.0) / factor
}

fn factor(quantity: Quantity, unit: Unit) -> f64 {
    match (quantity, unit) {
        (Quantity::Length, Unit::Inch) => 1.0 / MM_PER_INCH,
        _ => 1.0,
    }
}

fn legend(canvas: &mut Canvas, layer: &Layer, plot: &Plot, unit: Unit) {
    let ramp = Ramp::cividis();
    let [x, y, w, h] = plot.legend;
    let [lo, hi] = layer.range;
    let at = |v: f64| y as f64 + (1.0 - (v - lo) / (hi - lo)) * h as f64;
    for j in 0..h {
        let t = 1.0 - (j as f64 + 0.5) / h as f64;
        let v = lo + t * (hi - lo);
        for i in 0..w {
            let hatched = i >= w / 2 && (x + i + y + j) % HATCH == 0;
            let colour = if hatched && beyond(&layer.limits, v) {
                okabe_ito::BLACK
            } else {
                ramp.at(t)
            };
            canvas.set((x + i) as i64, (y + j) as i64, colour);
        }
    }
    let (x, w) = (x as f64, w as f64);
    let corners = [
        [x, y as f64],
        [x + w, y as f64],
        [x + w, (y + h) as f64],
        [x, (y + h) as f64],
    ];
    for k in 0..4 {
        canvas.line(corners[k], corners[(k + 1) % 4], 1.0, INK);
    }
    let f = Figures { unit };
    let sign = f.sign(layer.quantity);
    let factor = factor(layer.quantity, unit);
    let limits = layer.limits.iter();
    let limits: Vec<&Limit> = limits.filter(|l| (lo..=hi).contains(&l.value)).collect();
    let room = |v: f64| limits.iter().all(|l| (at(l.value) - at(v)).abs() > 17.0);
    for tick in ticks(lo * factor, hi * factor, 6) {
        let v = tick / factor;
        canvas.line([x + w, at(v)], [x + w + 5.0, at(v)], 1.0, INK);
        if room(v) {
            let text = f.cell(layer.quantity, Some(v), None);
            canvas.text([x + w + 9.0, at(v) + 5.0], BODY, &text);
        }
    }
    canvas.text([x, y as f64 - 8.0], BODY, sign);
    for l in &limits {
        let v = at(l.value);
        canvas.line([x - 6.0, v], [x + w + 6.0, v], 3.0, PAPER);
        canvas.line([x - 6.0, v], [x + w + 6.0, v], 1.6, INK);
        let text = f.cell(layer.quantity, Some(l.value), None);
        let bold = Face { bold: true, ..BODY };
        canvas.text([x + w + 9.0, v + 5.0], bold, &format!("{text} limit"));
    }
    if !limits.is_empty() {
        let y = (y + h) as f64 + 18.0;
        canvas.text([x - 10.0, y], NOTE, "hatched: beyond limit");
    }
}

/// The layer's own lines; bold ones on a little paper, so that they are seen on any colour.
fn strokes(canvas: &mut Canvas, layer: &Layer, plot: &Plot) {
    for (bold, width, colour) in [
        (false, 1.2, INK),
        (true, 4.0, PAPER),
        (true, 2.2, okabe_ito::VERMILION),
    ] {
        let lines = layer.strokes.iter().filter(|s| s.bold == bold);
        for ends in lines.flat_map(|s| s.points.windows(2)) {
            let (a, b) = (plot.pixel(ends[0]), plot.pixel(ends[1]));
            canvas.line(a, b, width, colour);
        }
    }
}

/// A bar of round length, and how long it is.
pub(super) fn scale_bar(canvas: &mut Canvas, at: [f64; 2], scale: f64, unit: Unit) {
    let factor = factor(Quantity::Length, unit);
    let mm = round_step(60.0 / scale * factor) / factor;
    let long = mm * scale;
    canvas.line(at, [at[0] + long, at[1]], 2.0, INK);
    for x in [at[0], at[0] + long] {
        canvas.line([x, at[1] - 5.0], [x, at[1] + 5.0], 2.0, INK);
    }
    let text = Figures { unit }.length(mm);
    canvas.text([at[0] + long + 10.0, at[1] + 5.0], BODY, &text);
}

/// X and Y of the tool frame; the spindle looks at the reader.
fn axis_cross(canvas: &mut Canvas, at: [f64; 2]) {
    let arrow = |canvas: &mut Canvas, to: [f64; 2]| {
        let tip = [at[0] + to[0], at[1] + to[1]];
        canvas.line(at, tip, 1.6, INK);
        let back = |s: f64| {
            let n = 6.0 / to[0].hypot(to[1]);
            [
                tip[0] - n * (to[0] + s * to[1]),
                tip[1] - n * (to[1] - s * to[0]),
            ]
        };
        canvas.line(tip, back(0.5), 1.6, INK);
        canvas.line(tip, back(-0.5), 1.6, INK);
    };
    arrow(canvas, [34.0, 0.0]);
    arrow(canvas, [0.0, -34.0]);
    canvas.disc(at, 3.0, INK);
    canvas.text([at[0] + 38.0, at[1] + 5.0], BODY, "X");
    canvas.text([at[0] - 16.0, at[1] - 26.0], BODY, "Y");
}

/// A ring that leaves the place itself open, a leader, and the number in a disc.
fn numbered(canvas: &mut Canvas, plot: &Plot, marks: &[Mark], shown: [f64; 2]) {
    let middle = [0, 1].map(|k| plot.left_top[k] + 0.5 * shown[k]);
    let mut taken: Vec<[f64; 2]> = Vec::new();
    for mark in marks {
        let at = plot.pixel([mark.at[0], mark.at[1]]);
        let out = if at[0] < middle[0] { -1.0 } else { 1.0 };
        let mut head = [at[0] + 26.0 * out, at[1] - 24.0];
        while taken
            .iter()
            .any(|t| (t[0] - head[0]).hypot(t[1] - head[1]) < 26.0)
        {
            head[1] += 26.0;
        }
        head = [
            head[0].clamp(14.0, canvas.width as f64 - 14.0),
            head[1].clamp(14.0, canvas.height as f64 - 14.0),
        ];
        taken.push(head);
        pin(canvas, at, head, mark.number);
    }
}

pub(super) fn pin(canvas: &mut Canvas, at: [f64; 2], head: [f64; 2], number: usize) {
    let d = [head[0] - at[0], head[1] - at[1]];
    let n = d[0].hypot(d[1]).max(1.0);
    let from = [at[0] + 6.0 * d[0] / n, at[1] + 6.0 * d[1] / n];
    canvas.line(from, head, 4.0, PAPER);
    canvas.line(from, head, 1.6, INK);
    canvas.ring(at, 6.0, 4.0, PAPER);
    canvas.ring(at, 6.0, 1.8, INK);
    canvas.disc(head, 12.5, PAPER);
    canvas.disc(head, 11.0, INK);
    let face = Face {
        size: 15.0,
        bold: true,
        colour: PAPER,
    };
    let text = number.to_string();
    let w = text_width(face, &text);
    canvas.text([head[0] - 0.5 * w, head[1] + 5.0], face, &text);
}
