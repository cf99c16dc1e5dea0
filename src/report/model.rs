//! The data model of `report.json`, format `moldvet-report-1`.
//!
//! Lengths are millimetres, areas mm², volumes mm³, angles degrees, places `[x, y, z]` in the
//! model's own coordinates (in millimetres whatever the file's unit). `null` is a figure that could
//! not be computed; a finding then says why. `…_pm` is the half-width of the interval in which the
//! figure lies. Fields may be added; none is renamed without raising [`FORMAT`].

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
    /// Too close to call.
    Unsure,
    /// Beyond the limit.
    Fail,
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
    /// Everything in force that can change a figure, defaults included.
    pub settings: BTreeMap<String, serde_json::Value>,
    /// One entry a half.
    pub halves: Vec<Half>,
    /// The two halves together; `null` for a single half.
    pub mating: Option<Mating>,
    /// What was found, worst first within a half.
    pub findings: Vec<Finding>,
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
    /// Unit vector from the cavity to the spindle.
    pub tool_axis: [f64; 3],
    /// How the axis was found.
    pub tool_axis_why: String,
    /// Parting level: distance along the tool axis from the model's origin, mm.
    pub parting_level_mm: f64,
    /// Whether the parting face is flat.
    pub parting_flat: bool,
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
    /// Triangles without area.
    pub degenerate_triangles: usize,
    /// Triangles that stand twice.
    pub duplicated_triangles: usize,
    /// Triangles wound against their neighbours.
    pub flipped_triangles: usize,
    /// The half was given inside out (it is then turned around).
    pub inside_out: bool,
    /// Extent along the file's axes, mm.
    pub size_mm: [f64; 3],
    /// Estimated distance between the facets and the surface they stand for, mm (largest over the cavity).
    pub chord_error_mm: f64,
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

/// Kind of a hollow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum HollowKind {
    /// Molded.
    Cavity,
    /// A pin of the other half enters it.
    Socket,
    /// Reaches the underside.
    Through,
    /// Open to the block's side along more than half of its rim, or taken out by the user.
    Other,
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
    /// Each connected region, largest hook first.
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
    /// The place of the largest hook.
    pub at_mm: Place,
    /// Hidden surface.
    pub area_mm2: f64,
    /// Hidden void.
    pub volume_mm3: f64,
    /// Hook.
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
    /// Least draft over patches of at least the stated area.
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
    /// A place on that wall; the place of the least draft where there is none.
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
    /// Height that may stay.
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
    /// Name of the ball that leaves least.
    pub best_ball: Option<String>,
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
    /// Least stickout (tip to holder face) that reaches all that the cutter alone reaches.
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
    /// Share, by area, of what the cutter alone reaches.
    pub reached_share: Option<f64>,
    /// Its ±.
    pub reached_share_pm: Option<f64>,
    /// What touches first where it falls short; `null` where nothing does.
    pub blocked_by: Option<Blocker>,
    /// The deepest place that it falls short of; its deepest place where there is none.
    pub at_mm: Option<Place>,
}

/// How the two halves lie in the files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Layout {
    /// Closed on each other.
    Closed,
    /// Laid open side by side.
    Open,
    /// In two files, not in a closed position.
    Separate,
}

/// The two halves together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mating {
    /// Answer.
    pub verdict: Verdict,
    /// How they came.
    pub layout: Layout,
    /// How they were brought together for this check, and by what that was decided.
    pub closed_by: String,
    /// Takes B's model coordinates to A's with the halves closed: three rows of a rotation and a shift, mm.
    pub b_to_closed: [[f64; 4]; 3],
    /// Largest gap near the rim.
    pub gap_mm: Option<f64>,
    /// Its ±.
    pub gap_mm_pm: Option<f64>,
    /// Where.
    pub gap_at_mm: Option<Place>,
    /// Largest overlap near the rim.
    pub overlap_mm: Option<f64>,
    /// Its ±.
    pub overlap_mm_pm: Option<f64>,
    /// Where.
    pub overlap_at_mm: Option<Place>,
    /// Distance from the cavity's rim that counts as near.
    pub near_rim_mm: f64,
    /// Largest plan distance between the two cavity rims.
    pub outline_mismatch_mm: Option<f64>,
    /// Its ±.
    pub outline_mismatch_mm_pm: Option<f64>,
    /// More about the rims; `null` where a half has none.
    pub outline: Option<OutlineFit>,
    /// Space between the halves inside the rims, a gap included.
    pub closed_volume_mm3: Option<f64>,
    /// Its ±.
    pub closed_volume_mm3_pm: Option<f64>,
    /// Density of what is filled in, as given.
    pub fill_density_g_cm3: Option<f64>,
    /// Weight of what fills the closed volume; `null` where no density was given.
    pub fill_weight_g: Option<f64>,
    /// The whole parting face.
    pub faces: PartingFaces,
    /// Pins and their sockets.
    pub pins: Vec<Pin>,
    /// Round holes that no pin enters.
    pub empty_sockets: Vec<Socket>,
    /// The closed hollows, largest in plan first.
    pub hollows: Vec<ClosedHollow>,
    /// Halves whose undercuts hold a casting that does not bend further than is forgiven.
    pub trapped_by: Vec<String>,
    /// The half that the casting will stay in: the one with the larger area short of the required draft; `null` where they are alike.
    pub stays_in: Option<String>,
}

/// How the two cavity rims lie to each other. Directions are in A's model coordinates, with B closed on A.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutlineFit {
    /// Where the rims are farthest apart, on A's.
    pub at_mm: Place,
    /// What leads from A's rim to B's, on the mean over both.
    pub mean_offset_mm: Place,
    /// Turn of B's cavity about the tool axis of A that removes most of the mismatch, done first.
    pub turn_deg: f64,
    /// Centre of that turn.
    pub turn_about_mm: Place,
    /// Shift of B's cavity that then removes most of it.
    pub shift_mm: Place,
    /// Largest plan distance left after both.
    pub residual_mm: f64,
    /// Stretches of a rim that the other half has no rim for, such as a gate cut in one half only; not in the mismatch.
    pub one_sided: Vec<OneSided>,
}

/// A stretch of rim that the other half has no rim for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OneSided {
    /// Half that has it.
    pub half: String,
    /// Its length.
    pub length_mm: f64,
    /// Its farthest place.
    pub at_mm: Place,
}

/// The parting faces against each other, all over.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartingFaces {
    /// Area where both halves have a parting face.
    pub area_mm2: f64,
    /// Share of it where they are no farther apart than the contact distance; `null` without any area.
    pub contact_share: Option<f64>,
    /// Largest gap.
    pub gap_mm: f64,
    /// Area of gaps wider than the contact distance.
    pub gap_area_mm2: f64,
    /// Where the largest is.
    pub gap_at_mm: Option<Place>,
    /// Deepest overlap.
    pub overlap_mm: f64,
    /// Area of overlaps deeper than the contact distance.
    pub overlap_area_mm2: f64,
    /// Where the deepest is.
    pub overlap_at_mm: Option<Place>,
}

/// What stands above the parting face of one half, and the hole of the other that it enters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pin {
    /// Foot of the pin, model coordinates of its half.
    pub at_mm: Place,
    /// Half that it stands on.
    pub half: String,
    /// Whether the other half has a hole for it.
    pub socket: bool,
    /// Diameter of the pin; `null` where it is not round.
    pub pin_diameter_mm: Option<f64>,
    /// Diameter of the socket; `null` where it is not round.
    pub socket_diameter_mm: Option<f64>,
    /// ± of the diameters: what their facets cut off.
    pub diameter_mm_pm: Option<f64>,
    /// Half the difference of the diameters, the least over the height that both share.
    pub radial_clearance_mm: Option<f64>,
    /// Least plan distance between pin and wall as they stand, whatever their shapes; negative where the pin cuts in.
    pub clearance_mm: Option<f64>,
    /// Plan distance between their axes.
    pub offset_mm: Option<f64>,
    /// Height above the parting face.
    pub pin_height_mm: f64,
    /// Depth of the socket; `null` where it goes through, or there is none.
    pub socket_depth_mm: Option<f64>,
    /// Distance between the pin's top and the socket's floor, closed.
    pub axial_clearance_mm: Option<f64>,
    /// Whether the pin meets the floor before the halves meet.
    pub bottoms_out: Option<bool>,
}

/// A round straight hole below the parting face that no pin enters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Socket {
    /// Half that it is in.
    pub half: String,
    /// Its mouth, model coordinates of its half.
    pub at_mm: Place,
    /// Its diameter.
    pub diameter_mm: f64,
    /// Its depth.
    pub depth_mm: f64,
    /// Whether it faces a hole of the other half, as for a loose dowel; else it faces the parting face.
    pub faces_hole: bool,
}

/// One hollow of the closed mold. Places are in A's model coordinates.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClosedHollow {
    /// Its widest place of those looked at.
    pub at_mm: Place,
    /// What fills it, gap left out.
    pub volume_mm3: f64,
    /// Where it opens to the outside: gates, vents, channels. Empty: it cannot be filled.
    pub openings: Vec<Opening>,
    /// Size of the smallest opening.
    pub smallest_opening_mm: Option<f64>,
    /// Thinnest wall between it and the block's outside, or another hole.
    pub thinnest_wall_mm: Option<f64>,
    /// Its ±.
    pub thinnest_wall_mm_pm: Option<f64>,
    /// Half that it is in.
    pub thinnest_wall_half: Option<String>,
    /// Where, on the cavity's surface, model coordinates of that half.
    pub thinnest_wall_at_mm: Option<Place>,
    /// Thinnest section of the casting, square to its surface; gates and vents left out.
    pub thinnest_section_mm: Option<f64>,
    /// Its ±.
    pub thinnest_section_mm_pm: Option<f64>,
    /// Where, model coordinates of the half that the place lies in.
    pub thinnest_section_at_mm: Option<Place>,
}

/// Which way an opening goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum OpeningKind {
    /// Along the parting face to a side of the block.
    Side,
    /// To the underside of a half.
    Through,
    /// By a way that the tool axis does not see.
    Hidden,
}

/// A way from the closed hollow to the outside.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Opening {
    /// Which way it goes.
    pub kind: OpeningKind,
    /// Its narrowest place.
    pub at_mm: Place,
    /// Diameter of the largest ball that passes; `null` where the way could not be followed.
    pub size_mm: Option<f64>,
}

/// The stock that a half is cut from, lying as in its tool frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Blank {
    /// What is added on every side, and to the radius.
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
    /// Check that found it: `mesh`, `setup`, `undercut`, `draft`, `reach`, `depth`, `mating`, `settings`.
    pub check: String,
    /// How bad.
    pub verdict: Verdict,
    /// `A`, `B` or `null` for both.
    pub half: Option<String>,
    /// One or two sentences, the last one what to do.
    pub message: String,
    /// Where.
    pub at_mm: Option<Place>,
    /// Figure.
    pub value: Option<f64>,
    /// Unit of figure and limit: `mm`, `mm2`, `mm3`, `deg`, or `null` for a plain number.
    pub unit: Option<String>,
    /// Its limit.
    pub limit: Option<f64>,
}
