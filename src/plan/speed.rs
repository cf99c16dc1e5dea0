//! Speeds and feeds: how fast the edge really cuts, the spindle speed, the feed.

use std::f64::consts::PI;

/// Surfaces flatter than this leave the tip of a ball to do the cutting, where the edge stands still, degrees (common
/// practice, no source).
pub const TIP_DEG: f64 = 15.0;

/// Cutting speed of an edge at `diameter` mm, m/min: π D n / 1000.
pub fn cutting_speed(diameter: f64, rpm: f64) -> f64 {
    PI * diameter * rpm / 1000.0
}

/// Spindle speed for a cutting speed, 1/min: 1000 v / (π D).
pub fn spindle_speed(diameter: f64, speed: f64) -> f64 {
    1000.0 * speed / (PI * diameter)
}

/// Largest diameter at which a ball cuts that takes `depth` off a surface leaning `slope_deg` from level:
/// D sin(β + arccos((D − 2a) / D)), at most D (derived; the level case D_eff = 2 √(a (D − a)) is on public formula pages).
pub fn effective_diameter(diameter: f64, depth: f64, slope_deg: f64) -> f64 {
    let half = ((diameter - 2.0 * depth) / diameter)
        .clamp(-1.0, 1.0)
        .acos();
    let angle = slope_deg.to_radians() + half;
    if angle >= 0.5 * PI {
        diameter
    } else {
        diameter * angle.sin()
    }
}

/// Feed, mm/min: n z f.
pub fn feed(rpm: f64, teeth: u32, chip_load: f64) -> f64 {
    rpm * f64::from(teeth) * chip_load
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64, off: f64) {
        assert!((a - b).abs() < off, "{a} is not {b}");
    }

    #[test]
    fn worked_values() {
        // 250 m/min on 6 mm, and on the 2.154066 mm at which a flat-lying cut of 0.2 mm has its edge
        near(spindle_speed(6.0, 250.0), 13_262.91, 0.005);
        near(effective_diameter(6.0, 0.2, 0.0), 2.154_066, 5e-7);
        near(
            spindle_speed(effective_diameter(6.0, 0.2, 0.0), 250.0),
            36_942.9,
            0.05,
        );
        near(effective_diameter(10.0, 0.5, 0.0), 4.358_899, 5e-7);
        near(effective_diameter(6.0, 0.2, 30.0), 4.665_476, 5e-7);
        near(effective_diameter(6.0, 0.2, 80.0), 6.0, 1e-12);
        // 67.6720 m/min where the nominal diameter says 188.4956
        near(cutting_speed(2.154_066, 10_000.0), 67.672_0, 5e-5);
        near(cutting_speed(6.0, 10_000.0), 188.495_6, 5e-5);
        // 1000 sfm on 1/4 in: 12 · 1000 / (π 0.25)
        near(spindle_speed(6.35, 304.8), 15_278.87, 0.005);
    }

    #[test]
    fn three_thousandths_a_tooth_at_ten_thousand() {
        // 60 and 90 in/min with two and three teeth (common practice, no source)
        let inch = 25.4;
        near(feed(10_000.0, 2, 0.003 * inch) / inch, 60.0, 1e-9);
        near(feed(10_000.0, 3, 0.003 * inch) / inch, 90.0, 1e-9);
        near(feed(12_000.0, 2, 0.05), 1200.0, 1e-9);
    }
}
