//! The same half turned, moved and in inches: the axis is found and the figures stay.

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::{Differences, Facet, balls, data, facets_of, model_of, report};
use moldvet::report::{Half, Report};
use moldvet::units::Unit;
use nalgebra::{Isometry3, Point3, Translation3, Unit as UnitVector, UnitQuaternion, Vector3};
use std::f64::consts::{FRAC_PI_2, PI};

/// Largest difference of a figure, as a share of it.
const SHARE: f64 = 1e-3;

fn turn(axis: [f64; 3], angle: f64) -> Isometry3<f64> {
    let axis = UnitVector::new_normalize(Vector3::from(axis));
    Isometry3::from_parts(
        Translation3::identity(),
        UnitQuaternion::from_axis_angle(&axis, angle),
    )
}

fn skew() -> Isometry3<f64> {
    turn([1.0, 2.0, 3.0], 37_f64.to_radians())
}

fn far() -> Isometry3<f64> {
    Translation3::new(100.0, -100.0, 100.0).into()
}

/// A checked-in half of the corpus, tool axis and parting level as they lie in its file.
struct Case {
    file: &'static str,
    axis: [f64; 3],
    level: f64,
    ball: f64,
}

/// A T-slot: vertical walls, an undercut, sharp edges.
const T_SLOT: Case = Case {
    file: "S05_tslot.stl",
    axis: [0.0, 0.0, 1.0],
    level: 100.0,
    ball: 4.0,
};
/// A pocket with 3° of draft, upside down.
const TAPER: Case = Case {
    file: "S04_taper_3deg.stl",
    axis: [0.0, 0.0, -1.0],
    level: 5.0,
    ball: 6.0,
};

impl Case {
    fn facets(&self) -> Vec<Facet> {
        facets_of(&std::fs::read(data("corpus").join(self.file)).unwrap())
    }

    fn report(&self, facets: &[Facet], unit: Unit) -> Report {
        report(&[model_of(facets, unit)], &balls(&[self.ball]))
    }

    /// The half moved by `by` and given in `unit` has the same figures.
    fn stays(&self, by: &Isometry3<f64>, unit: Unit) {
        let facets = self.facets();
        let moved: Vec<Facet> = facets
            .iter()
            .map(|f| f.map(|c| placed(c, by, unit)))
            .collect();
        let (before, after) = (self.report(&facets, Unit::Mm), self.report(&moved, unit));
        let mut found = Differences::default();
        let half = &after.halves[0];
        let axis = by * Vector3::from(self.axis);
        let cos = axis.dot(&Vector3::from(half.tool_axis));
        // 0.01°
        found.holds(cos > 1.0 - 1.5e-8, || {
            format!("tool axis {:?}, true is {axis:?}", half.tool_axis)
        });
        let at = by * Point3::from(Vector3::from(self.axis) * self.level);
        found.close(
            "parting level",
            half.parting_level_mm,
            axis.dot(&at.coords),
            1e-3,
        );
        for (was, is) in sampled(&before.halves[0]).into_iter().zip(sampled(half)) {
            found.close(was.0, is.1, was.1, was.2 + is.2);
        }
        for ((what, was), (_, is)) in figures(&before.halves[0]).into_iter().zip(figures(half)) {
            let was = was.unwrap_or_else(|| panic!("{what} of the half as it lies in its file"));
            found.close(what, is, was, SHARE * was.abs().max(1e-3));
        }
        let kinds = |r: &Report| -> Vec<_> {
            r.findings
                .iter()
                .map(|f| (f.check.clone(), f.verdict))
                .collect()
        };
        found.holds(kinds(&before) == kinds(&after), || {
            format!("findings {:?}, before {:?}", kinds(&after), kinds(&before))
        });
        found.none(self.file);
    }
}

fn placed(corner: [f32; 3], by: &Isometry3<f64>, unit: Unit) -> [f32; 3] {
    let p = by * Point3::from(corner.map(f64::from));
    [p.x, p.y, p.z].map(|c| (c / unit.in_mm()) as f32)
}

/// Figures summed over samples, which lie elsewhere in a turned half, each with its ±.
fn sampled(half: &Half) -> Vec<(&'static str, f64, f64)> {
    let ball = &half.reach.cutters[0];
    let all = [
        (
            "hidden area",
            half.undercut.hidden_area_mm2,
            half.undercut.hidden_area_mm2_pm,
        ),
        ("left area", ball.left_area_mm2, ball.left_area_mm2_pm),
        ("left volume", ball.left_volume_mm3, ball.left_volume_mm3_pm),
    ];
    let known = |(what, figure, pm): (_, Option<f64>, Option<f64>)| Some((what, figure?, pm?));
    all.into_iter().filter_map(known).collect()
}

fn figures(half: &Half) -> Vec<(&'static str, Option<f64>)> {
    let ball = &half.reach.cutters[0];
    let mut figures = vec![
        ("volume", half.cavity.volume_mm3),
        ("depth", half.cavity.depth_mm),
        ("surface", half.cavity.surface_mm2),
        ("hidden volume", half.undercut.hidden_volume_mm3),
        ("hook", half.undercut.hook_mm),
        ("least draft", half.draft.least_deg),
        ("short area", half.draft.short_area_mm2),
        ("tallest short wall", half.draft.tallest_short_wall_mm),
        (
            "smallest concave radius",
            half.reach.smallest_concave_radius_mm,
        ),
        ("left height", ball.left_height_mm),
    ];
    figures.extend(
        half.draft
            .bands
            .iter()
            .map(|b| ("draft band", Some(b.area_mm2))),
    );
    figures
}

#[test]
fn turned_about_a_skew_axis() {
    T_SLOT.stays(&skew(), Unit::Mm);
}

#[test]
fn upside_down_turned_about_a_skew_axis() {
    TAPER.stays(&skew(), Unit::Mm);
}

#[test]
fn along_x_either_way() {
    for angle in [FRAC_PI_2, -FRAC_PI_2] {
        T_SLOT.stays(&turn([0.0, 1.0, 0.0], angle), Unit::Mm);
    }
}

#[test]
fn along_y_either_way() {
    for angle in [FRAC_PI_2, -FRAC_PI_2] {
        T_SLOT.stays(&turn([1.0, 0.0, 0.0], angle), Unit::Mm);
    }
}

#[test]
fn moved_far() {
    T_SLOT.stays(&far(), Unit::Mm);
}

#[test]
fn in_inches_and_turned_over() {
    T_SLOT.stays(&turn([1.0, 0.0, 0.0], PI), Unit::Inch);
}

#[test]
fn in_inches_turned_and_moved() {
    TAPER.stays(&(far() * skew()), Unit::Inch);
}
