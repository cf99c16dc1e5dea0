//! The figures that are compared.

use crate::report::figures::Quantity;
use crate::report::{Body, ClosedHollow, Half, Mating, Pull};

/// A figure and its ±.
pub(super) type Figure = (Option<f64>, Option<f64>);

/// A figure's name and quantity, whether more of it is good (`None` where neither is), and how it is read.
pub(super) type Row<T> = (&'static str, Quantity, Option<bool>, fn(&T) -> Figure);

/// Parting lines closer than this are the same, mm: facets leave them no better known.
const LINE_MM: f64 = 0.01;

/// Of the two halves together.
pub(super) const MATING: [Row<Mating>; 6] = [
    ("gap", Quantity::Length, Some(false), |m| {
        (m.gap_mm, m.gap_mm_pm)
    }),
    ("overlap", Quantity::Length, Some(false), |m| {
        (m.overlap_mm, m.overlap_mm_pm)
    }),
    ("mismatch of the rims", Quantity::Length, Some(false), |m| {
        (m.outline_mismatch_mm, m.outline_mismatch_mm_pm)
    }),
    ("filling", Quantity::Volume, None, |m| {
        (m.closed_volume_mm3, m.closed_volume_mm3_pm)
    }),
    ("thinnest wall", Quantity::Length, Some(true), |m| {
        thinnest(&m.hollows, |h| (h.thinnest_wall_mm, h.thinnest_wall_mm_pm))
    }),
    ("thinnest section", Quantity::Length, Some(true), |m| {
        thinnest(&m.hollows, |h| {
            (h.thinnest_section_mm, h.thinnest_section_mm_pm)
        })
    }),
];

/// Of a pull.
pub(super) const PULL: [Row<Pull>; 5] = [
    ("hidden from both sides", Quantity::Area, Some(false), |p| {
        (Some(p.hidden_area_mm2), Some(p.hidden_area_mm2_pm))
    }),
    ("hook of the part", Quantity::Length, Some(false), |p| {
        (Some(p.hook_mm), Some(p.hook_mm_pm))
    }),
    ("short of draft", Quantity::Area, Some(false), |p| {
        (Some(p.short_area_mm2), Some(p.short_area_mm2_pm))
    }),
    (
        "parting line from flat",
        Quantity::Length,
        Some(false),
        |p| (Some(p.parting_flatness_mm), Some(LINE_MM)),
    ),
    ("parting line", Quantity::Length, None, |p| {
        (Some(p.parting_length_mm), Some(LINE_MM))
    }),
];

/// Of a body as it parts.
pub(super) const BODY: [Row<Body>; 3] = [
    ("part fills with", Quantity::Volume, None, |b| {
        (Some(b.fill_volume_mm3), None)
    }),
    ("parting level", Quantity::Length, None, |b| {
        (Some(b.parting_level_mm), Some(LINE_MM))
    }),
    ("lost by a flat parting", Quantity::Area, Some(false), |b| {
        (Some(b.lost_area_mm2), Some(1e-4 * b.surface_mm2))
    }),
];

/// Of a half.
pub(super) const HALF: [Row<Half>; 8] = [
    ("hook", Quantity::Length, Some(false), |h| {
        (h.undercut.hook_mm, h.undercut.hook_mm_pm)
    }),
    ("hidden surface", Quantity::Area, Some(false), |h| {
        (h.undercut.hidden_area_mm2, h.undercut.hidden_area_mm2_pm)
    }),
    ("least draft", Quantity::Angle, Some(true), |h| {
        (h.draft.least_deg, h.draft.least_deg_pm)
    }),
    ("tallest short wall", Quantity::Length, Some(false), |h| {
        (
            h.draft.tallest_short_wall_mm,
            h.draft.tallest_short_wall_mm_pm,
        )
    }),
    (
        "smallest concave radius",
        Quantity::Length,
        Some(true),
        |h| {
            (
                h.reach.smallest_concave_radius_mm,
                h.reach.smallest_concave_radius_mm_pm,
            )
        },
    ),
    ("cavity depth", Quantity::Length, None, |h| {
        (h.cavity.depth_mm, h.cavity.depth_mm_pm)
    }),
    ("cavity volume", Quantity::Volume, None, |h| {
        (h.cavity.volume_mm3, h.cavity.volume_mm3_pm)
    }),
    ("parting level", Quantity::Length, None, |h| {
        (Some(h.parting_level_mm), None)
    }),
];

/// The least of a thickness over the closed hollows.
fn thinnest(hollows: &[ClosedHollow], get: impl Fn(&ClosedHollow) -> Figure) -> Figure {
    let known = hollows.iter().map(get).filter(|f| f.0.is_some());
    let least = known.min_by(|a, b| a.0.unwrap_or(0.0).total_cmp(&b.0.unwrap_or(0.0)));
    least.unwrap_or((None, None))
}
