//! What is taken for granted of a shop that says nothing of itself.

use super::{Cutter, Holder, Limits, Planning, Section, Shop};
use crate::units::MM_PER_INCH;

/// Metric ball sizes, mm: first choice of the ISO 1641-1 series up to 12 mm with the micro sizes 1 and 1.5
/// that balls are sold in (series from memory).
const METRIC: [f64; 9] = [1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0];

/// Inch ball sizes in 16ths of an inch: usual sizes of the ASME B94.19 series up to 1/2 in, with 1/16 in
/// that small balls are sold in (series from memory).
const INCH_16THS: [f64; 6] = [1.0, 2.0, 3.0, 4.0, 6.0, 8.0];

/// Stickouts of the built-in rack in diameters: short, usual, long. Common practice, no source.
const STICKOUT_DIAMETERS: [f64; 3] = [3.0, 5.0, 8.0];

impl Shop {
    /// The rack in place of a shop file: balls of the usual metric and inch sizes (1 to 12.7 mm) by rising diameter, each
    /// about 3, 5 and 8 diameters out, in one plain cylinder as holder.
    ///
    /// Stickouts are rounded up to whole 5 mm (inch sizes: 1/4 in), and are at least 12 mm (1/2 in); small balls
    /// have fewer than three. No flute length and no shank is stated, so each cutter is taken to be as thick as its
    /// cutting diameter up to the holder; small balls on a thick shank reach less deep than this. Stickouts and
    /// holder are common practice, no source.
    pub fn builtin() -> Self {
        let metric = METRIC.map(|diameter| ball(diameter, 5.0, 12.0));
        let inch =
            INCH_16THS.map(|n| ball(n * MM_PER_INCH / 16.0, MM_PER_INCH / 4.0, MM_PER_INCH / 2.0));
        let mut cutters: Vec<_> = metric.into_iter().chain(inch).collect();
        cutters.sort_by(|a, b| a.diameter.total_cmp(&b.diameter));
        Shop {
            cutters,
            holders: vec![Holder::default()],
            limits: Limits::default(),
            planning: Planning::default(),
            units: None,
            source: None,
        }
    }
}

/// A ball of `diameter` mm as the built-in rack would hold it: in inch steps if it is a whole number of 64ths of an inch.
pub(super) fn usual_ball(diameter: f64) -> Cutter {
    let sixty_fourths = diameter * 64.0 / MM_PER_INCH;
    if (sixty_fourths - sixty_fourths.round()).abs() < 1e-6 {
        ball(diameter, MM_PER_INCH / 4.0, MM_PER_INCH / 2.0)
    } else {
        ball(diameter, 5.0, 12.0)
    }
}

/// A ball with the usual stickouts, rounded up to whole `step`s, at least `least` (all mm).
fn ball(diameter: f64, step: f64, least: f64) -> Cutter {
    let mut cutter = Cutter::ball(diameter);
    for diameters in STICKOUT_DIAMETERS {
        let stickout = diameters * diameter;
        // A hair less, lest arithmetic lift an exact multiple to the next one.
        let steps = (stickout / step - 1e-9).ceil();
        cutter.stickouts.push(if stickout <= least {
            least
        } else {
            steps * step
        });
    }
    cutter.stickouts.dedup();
    cutter
}

impl Default for Holder {
    /// A plain cylinder of 25 mm diameter (common practice, no source).
    fn default() -> Self {
        Holder {
            name: "25mm cylinder".to_owned(),
            sections: vec![Section {
                lower_diameter: 25.0,
                upper_diameter: 25.0,
                height: 50.0,
            }],
        }
    }
}
