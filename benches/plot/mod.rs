//! Measured series as CSV and as a row of small plots, both axes logarithmic.

use std::fmt::Write;

/// Times against something.
pub struct Series {
    against: &'static str,
    unit: &'static str,
    points: Vec<[f64; 2]>,
}

impl Series {
    pub fn new(against: &'static str, unit: &'static str) -> Series {
        Series {
            against,
            unit,
            points: Vec::new(),
        }
    }

    pub fn add(&mut self, x: f64, y: f64) {
        println!("{}: {x} takes {y:.3} {}", self.against, self.unit);
        self.points.push([x, y]);
    }
}

/// One line a point: against what, how much, and the time.
pub fn csv(all: &[Series]) -> String {
    let mut text = "against,x,time_s\n".to_owned();
    for series in all {
        for [x, y] in &series.points {
            let _ = writeln!(text, "\"{}\",{x},{y:.4}", series.against);
        }
    }
    text
}

/// Width of a plot and height of all, px.
const SIZE: [f64; 2] = [260.0, 240.0];
/// Room around the axes, px.
const MARGIN: f64 = 45.0;
/// Room for a number below an axis, px; those nearer to the one before are left out.
const LABEL: f64 = 32.0;

/// A row of plots.
pub fn svg(all: &[Series]) -> String {
    let mut text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}\" height=\"{}\" font-family=\"sans-serif\" font-size=\"11\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n",
        SIZE[0] * all.len() as f64,
        SIZE[1]
    );
    let top = all.iter().flat_map(|s| &s.points).map(|p| p[1]);
    let top = top.fold(0.0, f64::max).log10().ceil();
    for (k, series) in all.iter().enumerate() {
        plot(&mut text, series, SIZE[0] * k as f64, [top - 2.0, top]);
    }
    text + "</svg>\n"
}

fn plot(text: &mut String, series: &Series, left: f64, range: [f64; 2]) {
    let x = |k: usize| series.points[k][0].log10();
    let last = series.points.len() - 1;
    let wide = (x(last) - x(0)).max(f64::MIN_POSITIVE);
    let place = |[px, py]: [f64; 2]| {
        let across = (px.log10() - x(0)) / wide;
        let up = (py.log10() - range[0]) / (range[1] - range[0]);
        [
            left + MARGIN + across * (SIZE[0] - 1.5 * MARGIN),
            SIZE[1] - MARGIN - up * (SIZE[1] - 1.7 * MARGIN),
        ]
    };
    for decade in range[0] as i32..=range[1] as i32 {
        let [x0, y] = place([series.points[0][0], 10f64.powi(decade)]);
        let x1 = left + SIZE[0] - 0.5 * MARGIN;
        let _ = writeln!(
            text,
            "<path d=\"M{x0:.1} {y:.1}H{x1:.1}\" stroke=\"#bbb\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{} {}</text>",
            x0 - 5.0,
            y + 4.0,
            10f64.powi(decade),
            series.unit
        );
    }
    let mut line = String::new();
    let mut labelled = f64::NEG_INFINITY;
    for (k, &point) in series.points.iter().enumerate() {
        let [x, y] = place(point);
        let _ = write!(line, "{}{x:.1} {y:.1}", if k == 0 { 'M' } else { 'L' });
        let _ = writeln!(text, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"2.5\"/>");
        if x < labelled + LABEL {
            continue;
        }
        labelled = x;
        let _ = writeln!(
            text,
            "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
            SIZE[1] - MARGIN + 14.0,
            short(point[0])
        );
    }
    let _ = writeln!(
        text,
        "<path d=\"{line}\" fill=\"none\" stroke=\"black\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
        left + 0.5 * SIZE[0],
        SIZE[1] - 8.0,
        series.against
    );
}

fn short(x: f64) -> String {
    if x >= 1e6 {
        format!("{:.1}M", x / 1e6)
    } else if x >= 1e3 {
        format!("{:.0}k", x / 1e3)
    } else {
        format!("{}", (x * 100.0).round() / 100.0)
    }
}
