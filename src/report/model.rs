//! The data model of `report.json`, format `moldvet-report-1`.
//!
//! Lengths are millimetres, areas mm², volumes mm³, angles degrees, places `[x, y, z]` in the
//! model's own coordinates (in millimetres whatever the file's unit). `null` is a figure that could
//! not be computed; a finding then says why. `…_pm` is the half-width of the interval in which the
//! figure lies. Fields may be added; none is renamed without raising [`FORMAT`].

mod mating;
mod radii;

pub use crate::setup::{HollowKind, Layout};
pub use mating::*;
pub use radii::*;

use crate::shop::CutterKind;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Version name of the report format.
pub const FORMAT: &str = "moldvet-report-1";

/// A place in the model's coordinates, mm.
pub type Place = [f64; 3];

/// Answer of a check, from good to bad in the order that decides the whole report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Within the limit.
    Pass,
    /// Within the limit, with something to look at.
    Watch,
    /// Cannot be told: too close to call, or the mesh leaves it open.
    Unsure,
    /// Beyond the limit.
    Fail,
}

impl Verdict {
    /// Of `value` ± `pm` that shall not exceed `limit`.
    pub(crate) fn at_most(value: f64, pm: f64, limit: f64) -> Verdict {
        if value - pm > limit {
            Verdict::Fail
        } else if value + pm > limit {
            Verdict::Unsure
        } else {
            Verdict::Pass
        }
    }
}

/// The whole report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Report {
    /// [`FORMAT`].
    pub format: String,
    /// Always `mm`.
    pub units: String,
    /// The worst of all verdicts.
    pub verdict: Verdict,
    /// Everything in force that can change a figure, defaults included, by name; `null`: not given, found or chosen instead.
    pub settings: BTreeMap<String, serde_json::Value>,
    /// One entry a half; of a body, one for each half that has a cavity.
    pub halves: Vec<Half>,
    /// The two halves together; `null` for a single half.
    pub mating: Option<Mating>,
    /// The body that the halves were made from; absent where the halves were given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub body: Option<super::body::Body>,
    /// What was found, worst first, of both halves and the files alike.
    pub findings: Vec<Finding>,
    /// What it will cost, where that was asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan: Option<super::plan::Plan>,
}

/// One half of the mold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Half {
    /// `A` or `B`.
    pub name: String,
    /// File it came from, name only.
    pub file: String,
    /// Number of its body within the file, from 0, largest first.
    pub body: usize,
    /// Unit vector from the cavity to the spindle, in the model's coordinates.
    pub tool_axis: [f64; 3],
    /// Why this axis, a phrase.
    pub tool_axis_why: String,
    /// Parting level: distance along the tool axis from the model's origin, mm.
    pub parting_level_mm: f64,
    /// Whether the parting face is flat.
    pub parting_flat: bool,
    /// The block's corner with the lowest X and Y of the tool frame, at the parting level: where a machinist touches off.
    #[serde(default)]
    pub touch_off_mm: Option<Place>,
    /// State of the mesh.
    pub mesh: MeshHealth,
    /// What it is cut from.
    pub blank: Blank,
    /// The grid of columns.
    pub grid: GridInfo,
    /// The hollow that is molded.
    pub cavity: Cavity,
    /// What the tool axis cannot see.
    pub undercut: Undercut,
    /// Whether the casting comes out.
    pub draft: Draft,
    /// What each cutter reaches.
    pub reach: Reach,
    /// How deep each tool length gets.
    pub depth: Depth,
}

impl Half {
    /// Name and verdict of each check of a half alone.
    pub fn verdicts(&self) -> [(&'static str, Verdict); 4] {
        [
            ("undercut", self.undercut.verdict),
            ("draft", self.draft.verdict),
            ("reach", self.reach.verdict),
            ("depth", self.depth.verdict),
        ]
    }
}

/// State of the mesh.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeshHealth {
    /// Triangles of the half.
    pub triangles: usize,
    /// Distinct corners.
    pub vertices: usize,
    /// Every edge has its other side.
    pub closed: bool,
    /// Edges with a triangle on one side only.
    pub open_edges: usize,
    /// Edges whose triangles cannot be paired by shared solid.
    pub nonmanifold_edges: usize,
    /// Triangles without area, left out.
    pub degenerate_triangles: usize,
    /// Triangles that stood twice, left out once.
    pub duplicated_triangles: usize,
    /// Triangles wound against their neighbours, turned.
    pub flipped_triangles: usize,
    /// The half was given inside out (it is then turned around).
    pub inside_out: bool,
    /// Extent along the model's X, Y and Z, mm.
    pub size_mm: [f64; 3],
    /// Estimated distance between the facets and the surface they stand for, mm (largest over the cavity).
    pub chord_error_mm: f64,
    /// Edges that turn near the crease angle, if how they are read decides a verdict; else 0.
    #[serde(default)]
    pub two_readings_edges: usize,
    /// Columns in which the surface runs through itself.
    #[serde(default)]
    pub crossed_columns: usize,
    /// Where it does so tallest.
    #[serde(default)]
    pub crossed_at_mm: Option<Place>,
    /// A place at which the mesh does not tell what bounds a hollow: no question passes.
    #[serde(default)]
    pub undecided_at_mm: Option<Place>,
}

/// The grid of columns.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GridInfo {
    /// Side of a cell, mm.
    pub cell_mm: f64,
    /// Cells along X and Y of the tool frame.
    pub columns: [usize; 2],
}

/// The hollow that is molded: sums over hollows of kind cavity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cavity {
    /// What fills it, hidden voids joined to it included.
    pub volume_mm3: Option<f64>,
    /// Its ±.
    pub volume_mm3_pm: Option<f64>,
    /// Deepest point below the parting level.
    pub depth_mm: Option<f64>,
    /// Its ±.
    pub depth_mm_pm: Option<f64>,
    /// Area of its surface, hidden surface included.
    pub surface_mm2: Option<f64>,
    /// Its ±.
    pub surface_mm2_pm: Option<f64>,
    /// Every hollow, largest first.
    pub hollows: Vec<Hollow>,
}

/// One hollow below the parting level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hollow {
    /// Its deepest visible place.
    pub at_mm: Place,
    /// What fills it.
    pub volume_mm3: f64,
    /// Deepest point below the parting level.
    pub depth_mm: f64,
    /// Area of its surface.
    pub surface_mm2: f64,
    /// What it is.
    pub kind: HollowKind,
}

/// What the tool axis cannot see.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Undercut {
    /// Answer.
    pub verdict: Verdict,
    /// Area of cavity surface with material straight above it.
    pub hidden_area_mm2: Option<f64>,
    /// Its ±.
    pub hidden_area_mm2_pm: Option<f64>,
    /// Volume of the voids under it.
    pub hidden_volume_mm3: Option<f64>,
    /// Its ±.
    pub hidden_volume_mm3_pm: Option<f64>,
    /// Largest hook.
    pub hook_mm: Option<f64>,
    /// Its ±.
    pub hook_mm_pm: Option<f64>,
    /// Hooks smaller than this are taken for rounding.
    pub threshold_mm: f64,
    /// Each connected region: undercuts, then other sides, then sealed voids, of each kind the largest hook first.
    pub regions: Vec<UndercutRegion>,
}

/// Kind of a hidden region.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RegionKind {
    /// Joined to the cavity: locks the casting.
    Undercut,
    /// Opens to the underside or the outside only.
    OtherSide,
    /// Opens nowhere: a defect of the mesh.
    Sealed,
}

/// One hidden region.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct UndercutRegion {
    /// The place of the largest hook; for other kinds than undercut a place in the void.
    pub at_mm: Place,
    /// Hidden surface; 0 for other kinds than undercut.
    pub area_mm2: f64,
    /// Hidden void.
    pub volume_mm3: f64,
    /// Its hook; 0 for other kinds than undercut.
    pub hook_mm: f64,
    /// What it is.
    pub kind: RegionKind,
}

/// Whether the casting comes out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Draft {
    /// Answer.
    pub verdict: Verdict,
    /// Draft asked for.
    pub required_deg: f64,
    /// Least mean draft of a connected patch of at least the stated area, or half of the cavity's surface if that is less.
    pub least_deg: Option<f64>,
    /// Its ±.
    pub least_deg_pm: Option<f64>,
    /// Cavity surface by draft.
    pub bands: Vec<DraftBand>,
    /// Cavity surface short of the required draft.
    pub short_area_mm2: Option<f64>,
    /// Its ±.
    pub short_area_mm2_pm: Option<f64>,
    /// Largest height along the axis of connected surface short of the required draft.
    pub tallest_short_wall_mm: Option<f64>,
    /// Its ±.
    pub tallest_short_wall_mm_pm: Option<f64>,
    /// A place on that wall, if it is higher than half of what is let pass; else the place of the least draft.
    pub at_mm: Option<Place>,
}

/// Cavity surface whose draft lies in `from_deg..to_deg`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DraftBand {
    /// Lower end, included.
    pub from_deg: f64,
    /// Upper end, not included (90 is).
    pub to_deg: f64,
    /// Area.
    pub area_mm2: f64,
}

/// What each cutter reaches.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reach {
    /// Answer.
    pub verdict: Verdict,
    /// Height that may stay, normal to the surface.
    pub leave_mm: f64,
    /// Largest radius such that every ball up to it touches all visible cavity surface; 0 at a sharp edge.
    pub smallest_concave_radius_mm: Option<f64>,
    /// Its ±.
    pub smallest_concave_radius_mm_pm: Option<f64>,
    /// Its place.
    pub at_mm: Option<Place>,
    /// Sharp concave edges.
    pub sharp_edges: Vec<SharpEdge>,
    /// Name of the largest ball in the rack that clears.
    pub smallest_ball_needed: Option<String>,
    /// Name of the ball that leaves least, the largest of equals, whether or not one clears.
    pub best_ball: Option<String>,
    /// The concave radius all over the surface; `null` without a cavity.
    #[serde(default)]
    pub radius_map: Option<RadiusMap>,
    /// Every cutter of the rack.
    pub cutters: Vec<CutterReach>,
}

/// Kind of a sharp concave edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SharpEdgeKind {
    /// Along a flat floor: a flat cutter can.
    Floor,
    /// Between walls: no rotating cutter can.
    Upright,
    /// A corner where edges meet.
    Point,
}

/// Connected sharp concave edges of one kind.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SharpEdge {
    /// What it is.
    pub kind: SharpEdgeKind,
    /// Length along the edge; 0 for a point.
    pub length_mm: f64,
    /// A place on it.
    pub at_mm: Place,
}

/// Connected surface on which a cutter leaves more than the leave.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LeftRegion {
    /// Where most is left.
    pub at_mm: Place,
    /// Area.
    pub area_mm2: f64,
    /// Largest height left there, by samples.
    pub height_mm: f64,
}

/// What one cutter reaches and leaves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CutterReach {
    /// Name in the rack.
    pub name: String,
    /// Kind by corner.
    pub kind: CutterKind,
    /// Cutting diameter.
    pub diameter_mm: f64,
    /// Corner radius.
    pub corner_radius_mm: f64,
    /// Nothing is left higher than the leave; `null`: too close to call.
    pub clears: Option<bool>,
    /// Largest height left, normal to the surface.
    pub left_height_mm: Option<f64>,
    /// Its ±.
    pub left_height_mm_pm: Option<f64>,
    /// Area left higher than the leave.
    pub left_area_mm2: Option<f64>,
    /// Its ±.
    pub left_area_mm2_pm: Option<f64>,
    /// Visible cavity space that no position of the cutter covers.
    pub left_volume_mm3: Option<f64>,
    /// Its ±.
    pub left_volume_mm3_pm: Option<f64>,
    /// Place of the largest height left.
    pub at_mm: Option<Place>,
    /// Where more than the leave is left: connected surface, the largest first, at most 16.
    #[serde(default)]
    pub left_regions: Vec<LeftRegion>,
    /// Least stickout (tip to holder face) that reaches all that the cutter alone reaches. `null` where it reaches nothing or has
    /// no holder, and where neck or shank is in the way at any stickout.
    pub stickout_needed_mm: Option<f64>,
    /// Its ±.
    pub stickout_needed_mm_pm: Option<f64>,
}

/// How deep each tool length gets.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Depth {
    /// Answer.
    pub verdict: Verdict,
    /// Every cutter at every stickout.
    pub tools: Vec<ToolDepth>,
}

/// What stops a tool.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Blocker {
    /// A neck thicker than what the cutter has opened.
    Neck,
    /// The shank.
    Shank,
    /// The holder.
    Holder,
}

/// One tool: a cutter at a stickout in a holder.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ToolDepth {
    /// Name: cutter and stickout.
    pub name: String,
    /// Name of the cutter.
    pub cutter: String,
    /// Tip to holder face.
    pub stickout_mm: f64,
    /// Name of the holder.
    pub holder: String,
    /// Deepest tip position below the parting level.
    pub deepest_mm: Option<f64>,
    /// Its ±.
    pub deepest_mm_pm: Option<f64>,
    /// Share, by area, of what the cutter alone reaches, 0 to 1.
    pub reached_share: Option<f64>,
    /// Its ±.
    pub reached_share_pm: Option<f64>,
    /// What touches first where it falls short; `null` where nothing does.
    pub blocked_by: Option<Blocker>,
    /// The deepest place that it falls short of; its deepest place where there is none.
    pub at_mm: Option<Place>,
}

/// The stock that a half is cut from, lying as in its tool frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Blank {
    /// What is added on every side, at both ends and to the radius, as the sizes below have it.
    pub margin_mm: f64,
    /// Block: along X and Y of the tool frame, and along the tool axis.
    pub block_mm: [f64; 3],
    /// Round bar along the tool axis: diameter.
    pub round_diameter_mm: f64,
    /// Round bar: length.
    pub round_length_mm: f64,
}

/// One finding: what, where, how much against what limit, and what to do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Finding {
    /// Check that found it: `mesh`, `setup`, `undercut`, `draft`, `reach`, `depth`, `mating`, `settings`, `body`, `plan`.
    pub check: String,
    /// How bad.
    pub verdict: Verdict,
    /// `A`, `B`, or `null` for both, the files, the shop or the body.
    pub half: Option<String>,
    /// One or two sentences, the last one what to do.
    pub message: String,
    /// Where: in the model coordinates of that half, of A for both.
    pub at_mm: Option<Place>,
    /// Its figure, in `unit`.
    pub value: Option<f64>,
    /// Unit of figure and limit: `mm`, `mm2`, `mm3`, `deg`, or `null` for a plain number.
    pub unit: Option<String>,
    /// The limit of the figure, in `unit`.
    pub limit: Option<f64>,
}

impl Finding {
    /// Words alone, of both halves.
    pub(crate) fn plain(check: &str, verdict: Verdict, message: &str) -> Finding {
        Finding {
            check: check.to_owned(),
            verdict,
            half: None,
            message: message.to_owned(),
            at_mm: None,
            value: None,
            unit: None,
            limit: None,
        }
    }
}
