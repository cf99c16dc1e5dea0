//! The data model of a plan: the `plan` section of the report, and what `moldvet plan` shows.
//!
//! Lengths mm, areas mm², volumes mm³, angles degrees, times minutes, feeds mm/min, cutting speeds m/min, spindle speeds
//! 1/min, forces N. Everything is an estimate. `null`: could not be computed, or does not apply.

mod inputs;
mod text;

use super::{Finding, Place};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub(crate) use text::plan_parts;
pub use text::render_plan;

/// Version name of the plan's format.
pub const PLAN_FORMAT: &str = "moldvet-plan-1";

/// What it will cost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// [`PLAN_FORMAT`].
    pub format: String,
    /// Everything that the estimates go by, defaults included, by name with the unit at its end.
    pub inputs: BTreeMap<String, serde_json::Value>,
    /// One entry for each half that has a cavity.
    pub halves: Vec<HalfPlan>,
    /// What to mind.
    pub findings: Vec<Finding>,
    /// What goes before any figure here.
    pub cautions: Vec<String>,
}

/// What one half will cost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HalfPlan {
    /// `A` or `B`.
    pub name: String,
    /// Visible cavity surface.
    pub surface_mm2: f64,
    /// Visible cavity space.
    pub volume_mm3: f64,
    /// Every ball of the rack.
    pub balls: Vec<BallPlan>,
    /// The ball that the directions are for: the one that finishes most in the best set.
    pub finisher: Option<String>,
    /// Directions of its passes; `null` without one.
    pub directions: Option<Directions>,
    /// Straight edges, longest first, at most eight, and what passes along them cost the finisher.
    pub edges: Vec<EdgePlan>,
    /// The cutter sets of least time, best first.
    pub sets: Vec<SetPlan>,
    /// Whether no better set can be.
    pub sets_exact: bool,
    /// Surface that no tool of the rack does within the leave; it is given to the one that does it best.
    pub unfinished_mm2: f64,
    /// What each cutter of the rack is worth.
    pub cutters: Vec<CutterWorth>,
    /// What leaving more would save.
    pub leave_savings: Vec<LeaveSaving>,
    /// What larger fillets would save, most first.
    pub fillet_savings: Vec<FilletSaving>,
}

/// What sets a spindle speed or a feed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SetBy {
    /// The machine's limit.
    Machine,
    /// The cutter's limit.
    Cutter,
    /// The material's fastest cutting speed.
    Material,
    /// The chip load.
    ChipLoad,
    /// The deflection that may be.
    Bending,
}

/// One ball.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BallPlan {
    /// Name in the rack.
    pub name: String,
    /// Cutting diameter.
    pub diameter_mm: f64,
    /// Number of teeth.
    pub teeth: u32,
    /// Chip load per tooth.
    pub chip_load_mm: f64,
    /// Spindle speed, 1/min.
    pub rpm: f64,
    /// What sets it.
    pub rpm_set_by: SetBy,
    /// Feed, mm/min, bending not considered.
    pub feed_mm_min: f64,
    /// What sets it.
    pub feed_set_by: SetBy,
    /// Cutting speed on steep walls, where the full diameter cuts.
    pub wall_speed_m_min: f64,
    /// Cutting speed on level ground at the stock's depth, at the outside of the cut; at the tip it is 0.
    pub level_speed_m_min: f64,
    /// Of the surface that it does within the leave, the share flatter than 15°, where the tip does the cutting, 0 to 1.
    pub tip_share: f64,
    /// The share of the same surface on which the edge is slower than the material's slowest cutting speed, 0 to 1.
    pub slow_share: f64,
    /// Surface that it does within the leave.
    pub reached_mm2: f64,
    /// Visible cavity space that it leaves.
    pub left_volume_mm3: f64,
    /// Removal rate in roughing.
    pub removal_mm3_min: f64,
    /// Passes in one direction; `null` where it does nothing within the leave.
    pub one_direction: Option<WayPlan>,
    /// The same with passes at right angles where they are needed.
    pub crossed: Option<WayPlan>,
    /// Semi-finishing in the quicker of the two manners.
    pub semi_finish: Option<WayPlan>,
    /// Least stickout that reaches all that it does; `null` if neck or shank are in the way, or it does nothing.
    pub stickout_needed_mm: Option<f64>,
    /// Stickout, in whole mm, that does nine tenths of it; the one needed where that saves less than 2 mm.
    pub stickout_most_mm: Option<f64>,
    /// Regions that need more, greatest need first, at most four.
    pub stickout_regions: Vec<StickoutRegion>,
    /// The ball at each stickout.
    pub tools: Vec<ToolPlan>,
}

/// Parallel passes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WayPlan {
    /// Direction, from the tool frame's X, counter-clockwise seen from the spindle, 0 to 180.
    pub direction_deg: f64,
    /// Step in plan.
    pub step_mm: f64,
    /// Share of the surface that the ball does that is within the wanted cusp height, 0 to 1.
    pub share: f64,
    /// Length of all passes.
    pub length_mm: f64,
    /// Surface that needs the passes at right angles; 0 with one direction alone.
    pub crossing_mm2: f64,
    /// Estimated time.
    pub time_min: f64,
    /// The same without any allowance for turns.
    pub time_least_min: f64,
    /// One and a half times the estimate (common practice, no source).
    pub time_most_min: f64,
}

/// A region that needs a longer stickout than the rest.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StickoutRegion {
    /// Stickout that it needs.
    pub stickout_mm: f64,
    /// Its surface.
    pub area_mm2: f64,
    /// Where the need is greatest.
    pub at_mm: Place,
}

/// A ball at one stickout.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ToolPlan {
    /// Tip to holder face.
    pub stickout_mm: f64,
    /// Whether the rack states it; else it is the least that is needed.
    pub in_rack: bool,
    /// Stickout over diameter.
    pub slenderness: f64,
    /// Deflection at the tip under the side load.
    pub bend_mm: f64,
    /// Share of the feed that keeps the deflection within the limit, 0 to 1.
    pub feed_share: f64,
    /// Share, by area, of what the ball does that it reaches, 0 to 1.
    pub reached_share: f64,
}

/// Directions of one ball's passes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Directions {
    /// The passes of least time in one direction.
    pub best: WayPlan,
    /// The direction of most even cusps, as [`WayPlan::direction_deg`].
    pub most_even_deg: f64,
    /// (95th − 5th percentile of the cusps) over their median, there; `null` where passes do not meet.
    pub unevenness: Option<f64>,
    /// The same in the direction of least time.
    pub unevenness_at_best: Option<f64>,
    /// Cusps of the passes asked for, or of those of least time: in one direction, then with passes at right angles.
    pub cusps: Vec<CuspPlan>,
}

/// Cusps of passes in one direction.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CuspPlan {
    /// Direction, as [`WayPlan::direction_deg`].
    pub direction_deg: f64,
    /// Step in plan.
    pub step_mm: f64,
    /// With passes at right angles.
    pub crossed: bool,
    /// Height that half of the surface is within; `null` where passes do not meet, as for the next two.
    pub median_mm: Option<f64>,
    /// Height that 95 % of it is within.
    pub most_mm: Option<f64>,
    /// Largest.
    pub largest_mm: Option<f64>,
    /// Share within the wanted height, 0 to 1.
    pub share: f64,
    /// Mean roughness Ra of the median cusp, µm, ideal: a lower bound.
    pub roughness_um: Option<f64>,
    /// Surface that needs the passes at right angles: where the others leave more than the wanted height and these less; 0 with
    /// one direction alone.
    pub crossing_mm2: f64,
    /// Where they gain most.
    pub crossing_at_mm: Option<Place>,
    /// Time.
    pub time_min: f64,
}

/// A straight edge.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EdgePlan {
    /// Whether it is the block's outline; else the cavity's.
    pub outline: bool,
    /// One end.
    pub from_mm: Place,
    /// The other end.
    pub to_mm: Place,
    /// Length in plan.
    pub length_mm: f64,
    /// Direction, as [`WayPlan::direction_deg`].
    pub direction_deg: f64,
    /// Time of the finisher's passes along it, in one direction.
    pub time_min: Option<f64>,
    /// How much longer that takes than the best direction.
    pub extra_min: Option<f64>,
}

/// A cutter set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SetPlan {
    /// Estimated time: tool changes, roughing, finishing.
    pub time_min: f64,
    /// One and a half times the estimate (common practice, no source).
    pub time_most_min: f64,
    /// Tools in the order of use.
    pub tools: Vec<SetTool>,
}

/// What a tool does in a set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SetTool {
    /// Name of the cutter.
    pub cutter: String,
    /// Tip to holder face.
    pub stickout_mm: f64,
    /// Time of roughing.
    pub roughing_min: f64,
    /// Time of finishing.
    pub finishing_min: f64,
    /// Surface that it finishes.
    pub area_mm2: f64,
    /// Surface that no other tool of the set can finish.
    pub only_area_mm2: f64,
}

/// What a cutter of the rack is worth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CutterWorth {
    /// Name.
    pub cutter: String,
    /// Surface that no other cutter of the rack can do.
    pub only_area_mm2: f64,
    /// Time that the best set would take longer without it; `null`: without it no set does.
    pub saves_min: Option<f64>,
}

/// What leaving more would save.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LeaveSaving {
    /// Height that may stay.
    pub leave_mm: f64,
    /// Time saved.
    pub saves_min: f64,
    /// Cutters of the best set then.
    pub cutters: Vec<String>,
}

/// What a larger fillet would save.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FilletSaving {
    /// Radius that it has; 0 for a sharp edge.
    pub from_mm: f64,
    /// Radius that it should have.
    pub to_mm: f64,
    /// A place on it.
    pub at_mm: Place,
    /// Whether a level floor ends in it.
    pub floor: bool,
    /// Number of places like it, if all of them are to be changed.
    pub count: usize,
    /// Time saved.
    pub saves_min: f64,
}
