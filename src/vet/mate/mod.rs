//! The two halves together.

mod circle;
mod faces;
mod hollow;
mod outline;
mod passage;
mod pins;
mod thick;

use super::surface::Surface;
use crate::field::{Plan, Rays};
use crate::mesh::{Point, Vector};
use crate::report::{
    Cavity, ClosedHollow, Draft, HollowKind, Mating, OneSided, Opening, OutlineFit, PartingFaces,
    Place, Undercut, Verdict,
};
use crate::setup::{Closing, Half, Survey, entered};
use crate::shop::Limits;
use crate::vet::evidence::{PairEvidence, Valued};
use faces::{Faces, NEAR_RIM, faces};
use hollow::{Closed, cells, closed_hollows};
use nalgebra::Isometry3;
use outline::{Outline, brought, outline, rims};
pub use outline::{RimStep, steps};
use passage::Solid;
use pins::ENTERS;
pub use thick::walls;
use thick::{section, wall};

/// One half as the mating check sees it.
pub struct Side<'a> {
    /// The half, in its tool frame.
    pub half: &'a Half,
    /// Its columns and hollows.
    pub survey: &'a Survey,
    /// Its hollows' surface.
    pub surface: &'a Surface,
    /// Its cavity's figures.
    pub cavity: &'a Cavity,
    /// What of it the tool axis cannot see.
    pub undercut: &'a Undercut,
    /// Its draft.
    pub draft: &'a Draft,
}

/// Judges how the halves close: gap, overlap and mismatch against the contact distance, pins against their sockets.
///
/// `fill_density` is that of what is filled in, g/cm³.
pub fn mating(
    closing: &Closing,
    sides: &[Side; 2],
    limits: &Limits,
    fill_density: Option<f64>,
) -> Mating {
    let [a, b] = sides;
    let b_to_a = &closing.b_to_a;
    let own_rims = [rims(a), brought(&rims(b), b_to_a)];
    let met = faces(sides, b_to_a, &own_rims, limits.contact);
    let fit = outline(sides, &own_rims);
    let (pins, empty_sockets) = pins::pins(sides, b_to_a, limits.crease_deg);
    let closed = closed_volume(closing, sides);
    let (lo, hi) = a.half.bounds();
    let known = met.area > 0.0;
    let pm = a.half.rounding + b.half.rounding + (hi.z - lo.z).abs() * f64::from(f32::EPSILON);
    let place = |p: Option<Point>| p.map(|p| a.half.frame.place(&p));
    let to_model = a.half.frame.to_tool.inverse() * b_to_a * b.half.frame.to_tool;
    let matrix = to_model.to_homogeneous();
    let mut mating = Mating {
        verdict: Verdict::Pass,
        layout: closing.layout,
        closed_by: closing.why.clone(),
        b_to_closed: [0, 1, 2].map(|r| [0, 1, 2, 3].map(|c| tidy(matrix[(r, c)]))),
        gap_mm: known.then_some(met.rim_gap.size),
        gap_mm_pm: known.then_some(pm),
        gap_at_mm: place(met.rim_gap.at),
        overlap_mm: known.then_some(met.rim_overlap.size),
        overlap_mm_pm: known.then_some(pm),
        overlap_at_mm: place(met.rim_overlap.at),
        near_rim_mm: NEAR_RIM,
        outline_mismatch_mm: fit.as_ref().map(|f| tidy(f.mismatch)),
        outline_mismatch_mm_pm: fit.as_ref().map(|f| f.pm),
        outline: fit.as_ref().map(|f| outline_figures(sides, f)),
        closed_volume_mm3: closed.map(|c| c.0),
        closed_volume_mm3_pm: closed.map(|c| c.1),
        fill_density_g_cm3: fill_density,
        fill_weight_g: closed
            .zip(fill_density)
            .map(|(c, density)| c.0 * 1e-3 * density),
        faces: face_figures(a.half, &met),
        pins,
        empty_sockets,
        hollows: hollows(sides, b_to_a, limits.draft_min_area),
        trapped_by: sides
            .iter()
            .filter(|s| s.undercut.hook_mm.is_some_and(|h| h > limits.forgive))
            .map(|s| s.half.name.clone())
            .collect(),
        stays_in: stays_in(sides),
    };
    mating.verdict = verdict(&mating, limits.contact);
    mating
}

/// The hollows that the halves close around.
fn hollows(sides: &[Side; 2], b_to_a: &Isometry3<f64>, draft_min_area: f64) -> Vec<ClosedHollow> {
    let [a, b] = sides;
    let (rays_a, rays_b) = (Rays::new(&a.half.mesh), Rays::new(&b.half.mesh));
    let (lo, hi) = a.half.bounds();
    let solid = Solid {
        a: &rays_a,
        b: &rays_b,
        to_b: b_to_a.inverse(),
        most: 2.0 * (hi - lo).norm(),
    };
    let cells = cells(sides, b_to_a);
    closed_hollows(sides, b_to_a, &cells, &solid)
        .iter()
        .map(|h| hollow_figures(sides, b_to_a, &solid, h, draft_min_area))
        .collect()
}

/// What pictures of the pair are drawn from; `figures` are of the same halves.
pub fn pair_evidence(closing: &Closing, sides: &[Side; 2], figures: &Mating) -> PairEvidence {
    let b_to_a = &closing.b_to_a;
    let own_rims = [rims(&sides[0]), brought(&rims(&sides[1]), b_to_a)];
    let cells = cells(sides, b_to_a);
    let closed = hollow::together(sides, &cells);
    let walls_of = |k: usize| {
        let side = &sides[k];
        let rays = Rays::new(&side.half.mesh);
        let mut found: Vec<Valued> = closed
            .iter()
            .flat_map(|parts| {
                let own = |h: u32| parts[k].contains(&(h as usize));
                walls(side.half, side.survey, side.surface, &rays, own)
            })
            .collect();
        // the thinnest places as they were found, between the samples
        for h in &figures.hollows {
            let here = h.thinnest_wall_half.as_ref() == Some(&side.half.name);
            if let (true, Some(wall), Some(at)) = (here, h.thinnest_wall_mm, h.thinnest_wall_at_mm)
            {
                let p = side.half.frame.to_tool * Point::from(at);
                found.push(Valued {
                    at: [p.x as f32, p.y as f32, p.z as f32],
                    triangle: u32::MAX,
                    value: wall as f32,
                });
            }
        }
        found
    };
    PairEvidence {
        gap: faces::gap_map(sides, b_to_a),
        rim: steps(&own_rims),
        walls: [walls_of(0), walls_of(1)],
    }
}

/// Smaller than any coordinate's last digit: zero.
fn tidy(x: f64) -> f64 {
    if x.abs() < 1e-12 { 0.0 } else { x }
}

/// The worst of all that is judged.
fn verdict(mating: &Mating, contact: f64) -> Verdict {
    let lengths = [
        (mating.gap_mm, mating.gap_mm_pm),
        (mating.overlap_mm, mating.overlap_mm_pm),
        (mating.outline_mismatch_mm, mating.outline_mismatch_mm_pm),
    ];
    let judged = lengths
        .into_iter()
        .filter_map(|(value, pm)| Some(Verdict::at_most(value?, pm.unwrap_or(0.0), contact)));
    judged
        .chain(mating.pins.iter().map(pins::verdict))
        .max()
        .unwrap_or(Verdict::Pass)
}

/// The space between the halves inside the rims and its ±, mm³: both cavities, and the gap times the opening, the mean of the
/// two openings' areas.
fn closed_volume(closing: &Closing, sides: &[Side; 2]) -> Option<(f64, f64)> {
    let gap = closing.gap.max(0.0);
    let [a, b] = sides.each_ref().map(opening);
    let [a_volume, b_volume] = sides
        .each_ref()
        .map(|s| s.cavity.volume_mm3.zip(s.cavity.volume_mm3_pm));
    let (a_volume, b_volume) = (a_volume?, b_volume?);
    Some((
        a_volume.0 + b_volume.0 + gap * 0.5 * (a + b),
        a_volume.1 + b_volume.1 + gap * 0.5 * (a - b).abs(),
    ))
}

fn outline_figures(sides: &[Side; 2], fit: &Outline) -> OutlineFit {
    let frame = &sides[0].half.frame;
    let along = |v: Plan| -> Place {
        let turned = frame.to_tool.rotation.inverse() * Vector::new(v[0], v[1], 0.0);
        turned.map(tidy).into()
    };
    let at = |p: Plan| frame.place(&Point::new(p[0], p[1], 0.0));
    let one_sided = (0..2).flat_map(|k| {
        fit.alone[k].iter().map(move |&(length, p)| OneSided {
            half: sides[k].half.name.clone(),
            length_mm: length,
            at_mm: at(p),
        })
    });
    OutlineFit {
        at_mm: at(fit.at),
        mean_offset_mm: along(fit.mean),
        turn_deg: tidy(fit.turn_deg),
        turn_about_mm: at(fit.about),
        shift_mm: along(fit.shift),
        residual_mm: tidy(fit.residual),
        one_sided: one_sided.collect(),
    }
}

fn face_figures(half: &Half, met: &Faces) -> PartingFaces {
    let place = |p: Option<Point>| p.map(|p| half.frame.place(&p));
    PartingFaces {
        area_mm2: met.area,
        contact_share: (met.area > 0.0).then_some(met.contact_share),
        gap_mm: met.gap.size,
        gap_area_mm2: met.gap.area,
        gap_at_mm: place(met.gap.at),
        overlap_mm: met.overlap.size,
        overlap_area_mm2: met.overlap.area,
        overlap_at_mm: place(met.overlap.at),
    }
}

fn hollow_figures(
    sides: &[Side; 2],
    b_to_a: &Isometry3<f64>,
    solid: &Solid,
    closed: &Closed,
    min_area: f64,
) -> ClosedHollow {
    let a = &sides[0].half.frame;
    let openings: Vec<Opening> = closed
        .openings
        .iter()
        .map(|o| Opening {
            kind: o.kind,
            at_mm: a.place(&o.at),
            size_mm: o.size,
        })
        .collect();
    let to_a = [Isometry3::identity(), *b_to_a];
    let wall = (0..2)
        .filter_map(|k| wall(&sides[k], k, closed, &to_a[k]))
        .min_by(|p, q| p.size.total_cmp(&q.size));
    let thin = section(sides, closed, b_to_a, solid, min_area);
    let volume: f64 = (0..2)
        .flat_map(|k| closed.parts[k].iter().map(move |&h| molded(&sides[k], h)))
        .sum();
    ClosedHollow {
        at_mm: a.place(&closed.widest),
        volume_mm3: volume,
        smallest_opening_mm: openings.iter().filter_map(|o| o.size_mm).reduce(f64::min),
        openings,
        thinnest_wall_mm: wall.map(|w| w.size),
        thinnest_wall_mm_pm: wall.map(|w| w.pm),
        thinnest_wall_half: wall.map(|w| sides[w.half].half.name.clone()),
        thinnest_wall_at_mm: wall.map(|w| sides[w.half].half.frame.place(&w.at)),
        thinnest_section_mm: thin.map(|t| t.size),
        thinnest_section_mm_pm: thin.map(|t| t.pm),
        thinnest_section_at_mm: thin.map(|t| sides[t.half].half.frame.place(&t.at)),
    }
}

/// Volume of one hollow if it is molded, else 0, mm³.
fn molded(side: &Side, h: usize) -> f64 {
    if side.survey.hollows[h].kind != HollowKind::Cavity {
        return 0.0;
    }
    let own = side
        .surface
        .facets
        .iter()
        .filter(|f| f.hollow as usize == h);
    let volume: f64 = own
        .map(|f| {
            f.area
                * f.normal.z
                * (side.survey.parting_at(f.centroid.x, f.centroid.y) - f.centroid.z)
        })
        .sum();
    let cell = side.survey.grid().cell;
    let mouths = side.survey.hollows.iter().filter_map(|other| {
        let mouth = other.mouth.filter(|m| m.cavity == h)?;
        Some(other.cells as f64 * cell * cell * -mouth.floor)
    });
    volume + mouths.sum::<f64>()
}

/// The half with the larger area short of draft: it drags more. Common practice, no source.
fn stays_in(sides: &[Side; 2]) -> Option<String> {
    let short = |s: &Side| s.draft.short_area_mm2;
    let (a, b) = (short(&sides[0])?, short(&sides[1])?);
    let alike = (a - b).abs() <= 0.01 * a.max(b);
    (!alike).then(|| sides[usize::from(b > a)].half.name.clone())
}

/// Area of the cavity's opening in the parting face, mm²: the plan area of what bounds it from below, less
/// that of what overhangs.
fn opening(side: &Side) -> f64 {
    let floor: f64 = side
        .surface
        .cavity(side.survey)
        .map(|(_, f)| f.area * f.normal.z)
        .sum();
    let grid = side.survey.grid();
    let mouths: usize = side
        .survey
        .hollows
        .iter()
        .filter(|h| h.mouth.is_some())
        .map(|h| h.cells)
        .sum();
    floor + mouths as f64 * grid.cell * grid.cell
}

/// A pin fills most of its socket; what enters a smaller share of a hollow is a core that shapes the casting.
const FILLS: f64 = 0.5;

/// Marks the hollows of each half that pins of the other enter as sockets. The largest hollow of a half is no socket.
pub fn mark_sockets(closing: &Closing, a: &mut Survey, b: &mut Survey) {
    let from_b =
        |s: &Survey, p: nalgebra::Point3<f64>| rises(s, closing.b_to_a.inverse_transform_point(&p));
    let from_a = |s: &Survey, p: nalgebra::Point3<f64>| rises(s, closing.b_to_a * p);
    let in_a = shares(a, |p| from_b(b, p));
    let in_b = shares(b, |p| from_a(a, p));
    set(a, &in_a);
    set(b, &in_b);
}

fn rises(other: &Survey, p: nalgebra::Point3<f64>) -> bool {
    let grid = other.grid();
    let top = grid
        .cell_at(p.x, p.y)
        .and_then(|(i, j)| other.top.get(grid.index(i, j)));
    top.is_some_and(|z| f64::from(z) > other.parting_at(p.x, p.y) + ENTERS)
}

fn shares(survey: &Survey, enters: impl Fn(nalgebra::Point3<f64>) -> bool) -> Vec<f64> {
    let grid = survey.grid();
    entered(&survey.labels, survey.hollows.len(), |k| {
        let [x, y] = grid.centre_of(k);
        enters(nalgebra::Point3::new(x, y, 0.0))
    })
}

fn set(survey: &mut Survey, shares: &[f64]) {
    let largest = (0..survey.hollows.len()).max_by_key(|&h| survey.hollows[h].cells);
    for (h, &share) in shares.iter().enumerate() {
        let hollow = &mut survey.hollows[h];
        if Some(h) != largest && share >= FILLS && hollow.kind == HollowKind::Cavity {
            hollow.kind = HollowKind::Socket;
        }
    }
}
