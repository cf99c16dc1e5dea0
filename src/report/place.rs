//! Places as a machinist touches them off: from the block's corner and the parting level.

use super::figures::{Figures, Quantity};
use super::{Finding, Half, Place, Report};
use crate::mesh::Vector;
use crate::setup::Frame;

/// `at` in the tool frame's directions, from the block's corner with the lowest X and Y and from the parting level: X, Y, and
/// depth below the level, mm. `None` for a report that does not name the corner.
pub(crate) fn from_corner(half: &Half, at: Place) -> Option<[f64; 3]> {
    let corner = half.touch_off_mm?;
    let axis = Vector::from(half.tool_axis);
    let frame = Frame::new(axis, half.parting_level_mm);
    let away = Vector::from(at) - Vector::from(corner);
    let [x, y, z]: [f64; 3] = (frame.to_tool.rotation * away).into();
    Some([x, y, -z])
}

/// Where a finding is, in words: from the block's corner and the parting level, and in the file's own coordinates. The first is
/// empty where no half tells its corner; `None` for a finding without a place.
pub(crate) fn where_found(
    figures: Figures,
    report: &Report,
    finding: &Finding,
) -> Option<[String; 2]> {
    let at = finding.at_mm?;
    let half = report
        .halves
        .iter()
        .find(|h| Some(&h.name) == finding.half.as_ref());
    let words = half.and_then(|h| from_corner(h, at)).map(|[x, y, depth]| {
        let [x, y] = [x, y].map(|v| figures.cell(Quantity::Length, Some(v), None));
        let side = if depth < 0.0 { "above" } else { "below" };
        let far = figures.length(depth.abs());
        format!("X {x}, Y {y} from the block's corner, {far} {side} parting")
    });
    Some([words.unwrap_or_default(), figures.place(at)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::samples;

    #[test]
    fn a_half_upside_down_is_measured_as_the_spindle_sees_it() {
        let mut half = samples::pair().halves[0].clone();
        half.tool_axis = [0.0, 0.0, -1.0];
        half.parting_level_mm = 5.0;
        // turned about X the lowest Y is the model's highest; the level lies at z = -5
        half.touch_off_mm = Some([-10.0, 20.0, -5.0]);
        let [x, y, depth] = from_corner(&half, [-4.0, 17.0, -3.0]).unwrap();
        assert!(
            (x - 6.0).abs() < 1e-12 && (y - 3.0).abs() < 1e-12,
            "{x} {y}"
        );
        assert!((depth - 2.0).abs() < 1e-12, "{depth}");
        half.touch_off_mm = None;
        assert_eq!(from_corner(&half, [0.0; 3]), None);
    }
}
