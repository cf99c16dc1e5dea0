//! Sections at the place that decides: the ball that does not fit, the holder that rubs.

mod window;

use super::canvas::{Face, INK, PAPER};
use super::colour::okabe_ito;
use super::layers::best_cutter;
use super::map::{BODY, Picture, pin};
use crate::mesh::Mesh;
use crate::report::{
    Blocker, CutterReach, Figures, Finding, Half, Quantity, Report, ToolDepth, Verdict,
    blocker_name,
};
use crate::shop::{self, Cutter, Shop, Tool};
use crate::units::Unit;
use crate::vet::{Evidence, HalfEvidence, LeftPlace};
use window::{HEAD, Window};

/// An upright plane: a plan place and a plan direction.
#[derive(Debug, Clone, Copy)]
struct Cut {
    at: [f64; 2],
    along: [f64; 2],
}

impl Cut {
    /// The plane through the tool axis at `centre` and the place `at`.
    fn through(at: [f32; 3], centre: [f32; 3]) -> Cut {
        let d = [0, 1].map(|k| f64::from(at[k]) - f64::from(centre[k]));
        let n = d[0].hypot(d[1]);
        let along = if n > 1e-4 {
            [d[0] / n, d[1] / n]
        } else {
            [1.0, 0.0]
        };
        Cut {
            at: [0, 1].map(|k| f64::from(centre[k])),
            along,
        }
    }

    /// Where `p` lies along the plane, and beside it.
    fn of(&self, p: [f64; 2]) -> [f64; 2] {
        let d = [p[0] - self.at[0], p[1] - self.at[1]];
        [
            d[0] * self.along[0] + d[1] * self.along[1],
            d[1] * self.along[0] - d[0] * self.along[1],
        ]
    }

    /// Along and z of a place.
    fn place(&self, p: [f32; 3]) -> [f64; 2] {
        let [x, y, z] = p.map(f64::from);
        [self.of([x, y])[0], z]
    }

    /// The lines in which it cuts `mesh`: pairs of (along, z).
    fn lines(&self, mesh: &Mesh) -> Vec<[[f64; 2]; 2]> {
        let flat: Vec<[f64; 3]> = mesh
            .vertices
            .iter()
            .map(|v| {
                let [s, d] = self.of([v.x, v.y]);
                [s, d, v.z]
            })
            .collect();
        let mut lines = Vec::new();
        for t in &mesh.triangles {
            let p = t.map(|v| flat[v as usize]);
            let mut ends = Vec::with_capacity(2);
            for k in 0..3 {
                let (a, b) = (p[k], p[(k + 1) % 3]);
                if (a[1] < 0.0) != (b[1] < 0.0) {
                    let u = a[1] / (a[1] - b[1]);
                    ends.push([a[0] + u * (b[0] - a[0]), a[2] + u * (b[2] - a[2])]);
                }
            }
            if let [a, b] = ends[..] {
                lines.push([a, b]);
            }
        }
        lines
    }
}

/// The ball that comes closest, at the place where it leaves most; `None` where nothing is left.
pub fn reach_section(
    report: &Report,
    evidence: &Evidence,
    half: usize,
    unit: Unit,
) -> Option<Picture> {
    let figures = &report.halves[half];
    let kept = &evidence.halves[half];
    // where a ball clears, the next larger one shows why no larger does
    let cutter = deciding(figures)?;
    let worst = kept.cutters.iter().find(|c| c.name == cutter.name)?.worst?;
    if f64::from(worst.left) <= report.halves[half].reach.leave_mm {
        return None;
    }
    let cut = Cut::through(worst.at, worst.centre);
    let resting = Resting {
        radius: 0.5 * cutter.diameter_mm,
        corner: cutter.corner_radius_mm,
        centre: [0.0, f64::from(worst.centre[2])],
        at: cut.place(worst.at),
    };
    let mut window = resting.window();
    window.cut(&cut.lines(&kept.mesh));
    resting.draw(&mut window);
    window.level(unit);
    resting.draw_left(&mut window);
    let f = Figures { unit };
    let left = f.text(
        Quantity::Length,
        cutter.left_height_mm,
        cutter.left_height_mm_pm,
    );
    let a = window.pixel(resting.at);
    let side = if resting.at[0] >= 0.0 { 14.0 } else { -150.0 };
    let bold = Face { bold: true, ..BODY };
    window
        .canvas
        .label([a[0] + side, a[1] + 20.0], bold, &format!("{left} left"));
    if let Some(number) = number(report, figures, "reach") {
        pin(
            &mut window.canvas,
            a,
            [a[0] + 1.6 * side.signum() * 18.0, a[1] - 30.0],
            number,
        );
    }
    let title = format!("Half {}: where {} leaves most", figures.name, cutter.name);
    let limit = f.length(figures.reach.leave_mm);
    let note = format!("Section through the cutter's axis. Left {left}, limit {limit}.");
    let alt = format!(
        "Section of half {} with the {} resting in it where it leaves most: {left} stay between the ball and the surface, \
         {limit} may.",
        figures.name, cutter.name
    );
    let key = format!("{}-section-reach", figures.name.to_lowercase());
    Some(window.finish(key, title, &note, alt, unit))
}

/// A cutter where it leaves most, in the plane of the section.
struct Resting {
    radius: f64,
    corner: f64,
    /// Along and z of its centre, and of the place that it does not touch, mm.
    centre: [f64; 2],
    at: [f64; 2],
}

impl Resting {
    /// A window as high as some diameters, about centre and place.
    fn window(&self) -> Window {
        let middle = [0.5 * self.at[0], 0.6 * self.centre[1] + 0.4 * self.at[1]];
        Window::new(middle, 3.6 * self.radius)
    }

    fn is_ball(&self) -> bool {
        self.corner >= self.radius
    }

    fn draw(&self, window: &mut Window) {
        let (radius, z) = (self.radius, self.centre[1]);
        let profile = |height: f64| {
            let h = height - (z - self.corner);
            (h >= 0.0).then(|| half_width(radius, self.corner, h))
        };
        window.body(0.0, profile, okabe_ito::SKY, None);
        if self.is_ball() {
            window.circle(self.centre, radius, okabe_ito::BLUE);
        }
        for side in [-radius, radius] {
            let p = window.pixel([side, z]);
            window.clipped(p, [p[0], HEAD], 2.0, okabe_ito::BLUE);
        }
    }

    /// Marks what a ball leaves, from the place to the nearest point of the ball.
    fn draw_left(&self, window: &mut Window) {
        if !self.is_ball() {
            return;
        }
        let (centre, at) = (self.centre, self.at);
        let d = [at[0] - centre[0], at[1] - centre[1]];
        let n = d[0].hypot(d[1]).max(1e-9);
        let near = [0, 1].map(|k| centre[k] + d[k] / n * self.corner);
        let (a, b) = (window.pixel(at), window.pixel(near));
        window.canvas.line(a, b, 4.5, PAPER);
        window.canvas.line(a, b, 2.5, okabe_ito::VERMILION);
        window.canvas.disc(a, 4.0, okabe_ito::VERMILION);
    }
}

/// Half the width of a cutter with cutting `radius` and `corner` radius at height `h` above its tip, mm.
fn half_width(radius: f64, corner: f64, h: f64) -> f64 {
    let round = (corner * corner - (corner - h.min(corner)).powi(2)).max(0.0);
    radius - corner + round.sqrt()
}

/// The cutter of the reach section: the one that leaves least, or the smallest that does not clear.
fn deciding(half: &Half) -> Option<&CutterReach> {
    let reach = &half.reach;
    if reach.smallest_ball_needed.is_none() {
        return reach
            .cutters
            .iter()
            .find(|c| Some(&c.name) == reach.best_ball.as_ref());
    }
    reach
        .cutters
        .iter()
        .filter(|c| c.clears == Some(false))
        .min_by(|a, b| a.diameter_mm.total_cmp(&b.diameter_mm))
}

/// Number of the half's finding of a check.
fn number(report: &Report, half: &Half, check: &str) -> Option<usize> {
    let is = |f: &Finding| {
        f.check == check && f.half.as_ref() == Some(&half.name) && f.verdict != Verdict::Pass
    };
    report.findings.iter().position(is).map(|k| k + 1)
}

/// The longest tool of the deciding cutter, brought to the deepest place that it falls short of: what rubs is hatched.
/// `None` where that tool reaches all.
pub fn tool_section(
    report: &Report,
    evidence: &Evidence,
    shop: &Shop,
    half: usize,
    unit: Unit,
) -> Option<Picture> {
    let figures = &report.halves[half];
    let kept = &evidence.halves[half];
    let name = best_cutter(figures)?;
    let judged = longest(figures, name)?;
    let by = judged.blocked_by?;
    let cutter = shop.cutters.iter().find(|c| c.name == name)?;
    let tool = cutter.tool(judged.stickout_mm, shop.holder_of(cutter)?);
    let place = frame_place(kept, judged.at_mm?);
    let at = nearest(kept, name, place)?;
    let cut = toward_wall(&at, kept, &tool);
    let tip = f64::from(at.centre[2]) - cutter.corner_radius;
    let holder = tip + judged.stickout_mm;
    let height = (holder - tip) * 1.45 + 6.0;
    let mut window = Window::new([0.0, tip + 0.5 * height - 0.08 * height], height);
    window.cut(&cut.lines(&kept.mesh));
    let struck = draw_tool(&mut window, &tool, tip, height);
    cutter_end(&mut window, cutter, tip, tool.flutes_to);
    window.level(unit);
    if let Some(number) = number(report, figures, "depth") {
        let p = window.pixel(cut.place(at.at));
        pin(&mut window.canvas, p, [p[0] + 44.0, p[1] - 18.0], number);
    }
    let f = Figures { unit };
    let stickout = f.length(judged.stickout_mm);
    let needed = figures.reach.cutters.iter().find(|c| c.name == name);
    let needed = f.text(
        Quantity::Length,
        needed.and_then(|c| c.stickout_needed_mm),
        needed.and_then(|c| c.stickout_needed_mm_pm),
    );
    let part = blocker_name(by);
    let clear = f.length(match by {
        Blocker::Holder => shop.limits.holder_clearance,
        _ => shop.limits.shank_clearance,
    });
    let rubs = match struck {
        true => "stands in the mold",
        false => "comes too close",
    };
    let note = format!(
        "The {part} {rubs}: stickout {stickout}, needed {needed} (with {clear} clearance)."
    );
    let title = format!("Half {}: {name} at its deepest missed place", figures.name);
    let alt = format!(
        "Section of half {} with the {name} in its holder brought to a place it falls short of: the {part} {rubs}; the \
         stickout is {stickout}, {needed} are needed.",
        figures.name
    );
    let key = format!("{}-section-tool", figures.name.to_lowercase());
    Some(window.finish(key, title, &note, alt, unit))
}

/// The longest tool of a cutter.
fn longest<'h>(half: &'h Half, cutter: &str) -> Option<&'h ToolDepth> {
    let tools = half.depth.tools.iter().filter(|t| t.cutter == cutter);
    tools.max_by(|a, b| a.stickout_mm.total_cmp(&b.stickout_mm))
}

/// Draws neck, shank and holder with the tip at height `tip`; whether any of it stands in material.
fn draw_tool(window: &mut Window, tool: &Tool, tip: f64, height: f64) -> bool {
    let mut struck = false;
    for s in &tool.segments {
        let profile = |z: f64| {
            let h = z - tip;
            let t = if s.to.is_finite() {
                (h - s.from) / (s.to - s.from)
            } else {
                0.0
            };
            (h >= s.from && h < s.to)
                .then_some(s.lower_radius + t * (s.upper_radius - s.lower_radius))
        };
        let colour = match s.part {
            shop::Part::Holder => okabe_ito::ORANGE,
            _ => okabe_ito::SKY,
        };
        struck |= window.body(0.0, profile, colour, Some(okabe_ito::VERMILION));
        for side in [-1.0, 1.0] {
            let top = s.to.min(10.0 * height);
            let a = window.pixel([side * s.lower_radius, tip + s.from]);
            let b = window.pixel([side * s.upper_radius, tip + top]);
            window.clipped(a, b, 2.0, INK);
            let axis = window.pixel([0.0, tip + s.from]);
            window.clipped(axis, a, 2.0, INK);
        }
    }
    struck
}

fn cutter_end(window: &mut Window, cutter: &Cutter, tip: f64, flutes_to: f64) {
    let (radius, corner) = (cutter.radius(), cutter.corner_radius);
    let flat = radius - corner;
    let profile = |z: f64| {
        let h = z - tip;
        (h >= 0.0 && h < flutes_to).then(|| half_width(radius, corner, h))
    };
    window.body(0.0, profile, okabe_ito::SKY, None);
    for side in [-1.0, 1.0] {
        let a = window.pixel([side * radius, tip + corner]);
        let b = window.pixel([side * radius, tip + flutes_to]);
        window.clipped(a, b, 2.0, okabe_ito::BLUE);
    }
    let steps = 60;
    let at = |k: usize| {
        let a = k as f64 / f64::from(steps) * std::f64::consts::PI;
        let x = corner * a.cos();
        window.pixel([x + flat * x.signum(), tip + corner - corner * a.sin()])
    };
    let points: Vec<[f64; 2]> = (0..=steps as usize).map(at).collect();
    for w in points.windows(2) {
        window.clipped(w[0], w[1], 2.0, okabe_ito::BLUE);
    }
}

/// The upright plane through the tool's axis in which its widest part comes closest to the highest material.
fn toward_wall(at: &LeftPlace, kept: &HalfEvidence, tool: &Tool) -> Cut {
    let widest = tool
        .segments
        .iter()
        .map(|s| s.lower_radius.max(s.upper_radius))
        .fold(0.0, f64::max);
    let centre = [f64::from(at.centre[0]), f64::from(at.centre[1])];
    let top = &kept.top;
    let height = |angle: f64| {
        let p = [
            centre[0] + 0.97 * widest * angle.cos(),
            centre[1] + 0.97 * widest * angle.sin(),
        ];
        let cell = top.grid.cell_at(p[0], p[1]);
        cell.and_then(|(i, j)| top.get(top.grid.index(i, j)))
            .unwrap_or(f32::NEG_INFINITY)
    };
    // the first of equals: towards +X
    let mut best = (f32::NEG_INFINITY, 0.0);
    for k in 0..36 {
        let angle = f64::from(k) * std::f64::consts::TAU / 36.0;
        if height(angle) > best.0 + 1e-3 {
            best = (height(angle), angle);
        }
    }
    Cut {
        at: centre,
        along: [best.1.cos(), best.1.sin()],
    }
}

fn frame_place(kept: &HalfEvidence, at: [f64; 3]) -> [f64; 3] {
    (kept.frame.to_tool * nalgebra::Point3::from(at))
        .coords
        .into()
}

/// The touched sample of a cutter that lies nearest to a place.
fn nearest(kept: &HalfEvidence, cutter: &str, to: [f64; 3]) -> Option<LeftPlace> {
    let away = |p: &LeftPlace| {
        (0..3)
            .map(|k| (f64::from(p.at[k]) - to[k]).powi(2))
            .sum::<f64>()
    };
    let cutter = kept.cutters.iter().find(|c| c.name == cutter)?;
    let touched = cutter.places.iter().filter(|p| !p.stickout.is_nan());
    touched.min_by(|a, b| away(a).total_cmp(&away(b))).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_block_is_cut_into_a_rectangle() {
        let cut = Cut {
            at: [0.0, 0.0],
            along: [1.0, 0.0],
        };
        let p = crate::mesh::Point::new;
        // an upright wall of two triangles across the plane, 4 high at x = 2
        let mesh = Mesh {
            vertices: vec![
                p(2.0, -1.0, 0.0),
                p(2.0, 1.0, 0.0),
                p(2.0, 1.0, 4.0),
                p(2.0, -1.0, 4.0),
            ],
            triangles: vec![[0, 1, 2], [0, 2, 3]],
        };
        let lines = cut.lines(&mesh);
        let long: f64 = lines.iter().map(|[a, b]| (a[1] - b[1]).abs()).sum();
        assert_eq!(long, 4.0);
        assert!(lines.iter().flatten().all(|p| (p[0] - 2.0).abs() < 1e-12));
    }
}
