//! The two halves together.

use super::{Layout, Place, Verdict};
use serde::{Deserialize, Serialize};

/// The two halves together. Places are in A's model coordinates with B closed on it, where nothing else is said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mating {
    /// Answer.
    pub verdict: Verdict,
    /// How they lie in the files.
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
    /// The half that the casting will stay in: the one with the larger area short of the required draft (common practice, no
    /// source); `null` where these are alike to 1 %.
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

/// The parting faces against each other, all over. Places are in A's model coordinates.
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

/// What stands above the parting face of one half, and the hole of the other that it enters. Places are in the model coordinates
/// of the half that it stands on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pin {
    /// Foot of the pin.
    pub at_mm: Place,
    /// Half that it stands on.
    pub half: String,
    /// Whether the other half has a hole for it.
    pub socket: bool,
    /// Diameter of the pin; `null` where it is not round.
    pub pin_diameter_mm: Option<f64>,
    /// Diameter of the socket; `null` where it is not round.
    pub socket_diameter_mm: Option<f64>,
    /// ± of both diameters together: what their facets cut off.
    pub diameter_mm_pm: Option<f64>,
    /// Half the difference of the diameters, the least over the height that both share.
    pub radial_clearance_mm: Option<f64>,
    /// Least plan distance between pin and wall as they stand, whatever their shapes; negative where the pin cuts in.
    pub clearance_mm: Option<f64>,
    /// Where.
    pub clearance_at_mm: Option<Place>,
    /// Largest plan distance from the pin to the nearest wall.
    pub clearance_most_mm: Option<f64>,
    /// Where.
    pub clearance_most_at_mm: Option<Place>,
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

impl Pin {
    /// Whether the walls of its socket let it in. The clearance is that of the facets: of round ones the true pin is larger by up to
    /// its sagitta, and the true socket by up to its own.
    pub fn goes_in(&self) -> Verdict {
        let pm = self.diameter_mm_pm.map_or(0.0, |pm| 0.5 * pm);
        let overlap = self.clearance_mm.map(|c| Verdict::at_most(-c, pm, 0.0));
        overlap.unwrap_or(Verdict::Pass)
    }
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
