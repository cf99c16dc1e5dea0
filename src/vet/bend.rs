//! Where a line of heights bends up between two of its nodes, or jumps.

/// A bend between the middle two of four heights in a row. Seen from the lower of the two the heights go on as before it, on
/// a straight line, up to the bend.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bend {
    /// Where the lines from before and beyond meet, 0 at the lower node and 1 at the higher; `None` where they do not: a jump.
    pub at: Option<f64>,
    /// Whether neither line is steep.
    pub gentle: bool,
    /// Whether the lower node is the second of the two.
    turned: bool,
    start: f64,
    slope: f64,
    high: f64,
}

impl Bend {
    /// The bend between `z[1]` and `z[2]`, if it may lie more than `least` below the straight line between them, square to
    /// it; lines that rise by more than `steep` a `step` are steep. No bend where either is −∞; beyond them −∞ stands for level.
    pub fn between(z: [f64; 4], step: f64, least: f64, steep: f64) -> Option<Bend> {
        let turned = z[2] < z[1];
        let [before, low, high, beyond] = if turned { [z[3], z[2], z[1], z[0]] } else { z };
        let level = |d: f64| if d.is_finite() { d } else { 0.0 };
        let slope = level(low - before);
        // height of the higher node over the line from before the lower one
        let over = high - low - slope;
        if !(over > least && over.is_finite()) {
            return None;
        }
        // the line on which the heights go on beyond the higher node
        let rise = level(beyond - high);
        let gentler = slope.abs().min(rise.abs()) / step;
        let least = least * (1.0 + gentler * gentler).sqrt();
        let gentle = over.max(slope.abs()).max(rise.abs()) <= steep * step;
        let meet = 1.0 - over / (rise - slope);
        let meets = rise > slope && meet > 0.0;
        // beside a valley the lines meet at the lower node or just before it
        let beside = rise > slope && over < 1.05 * (rise - slope);
        let hidden = if meets { meet * over } else { over };
        if hidden <= least || (!meets && (gentle || beside)) {
            return None;
        }
        Some(Bend {
            at: meets.then_some(meet),
            gentle,
            turned,
            start: low,
            slope,
            high,
        })
    }

    /// Steps from the first of the two nodes to place `t`.
    pub fn steps(&self, t: f64) -> f64 {
        if self.turned { 1.0 - t } else { t }
    }

    /// Height of the lower node.
    pub fn low(&self) -> f64 {
        self.start
    }

    /// Height half way up between the nodes.
    pub fn half_way(&self) -> f64 {
        0.5 * (self.start + self.high)
    }

    /// Height at place `t`, on from before the lower node.
    pub fn height(&self, t: f64) -> f64 {
        self.start + self.slope * t
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Heights |x - x0| at 0, 1, 2, 3.
    fn vee(x0: f64) -> [f64; 4] {
        [0.0, 1.0, 2.0, 3.0].map(|x: f64| (x - x0).abs())
    }

    #[test]
    fn a_valley_is_found_at_its_bottom() {
        for x0 in [1.1, 1.25, 1.5, 1.75, 1.9] {
            let bend = Bend::between(vee(x0), 1.0, 1e-3, 2.0).unwrap();
            let t = bend.at.unwrap();
            assert!((1.0 + bend.steps(t) - x0).abs() < 1e-12, "{x0}");
            assert!(bend.height(t).abs() < 1e-12, "{x0}");
        }
    }

    #[test]
    fn heights_at_the_ends_and_half_way_are_those_of_the_nodes() {
        // from 1 at the lower node, at slope -2, to 4 at the higher
        for z in [[3.0, 1.0, 4.0, 9.0], [9.0, 4.0, 1.0, 3.0]] {
            let bend = Bend::between(z, 1.0, 1e-3, 9.0).unwrap();
            assert_eq!((bend.low(), bend.half_way()), (1.0, 2.5));
            assert_eq!((bend.height(0.0), bend.height(1.0)), (1.0, -1.0));
            // 1 - 2t = 4 - 5 (1 - t)
            assert!((bend.at.unwrap() - 2.0 / 7.0).abs() < 1e-12);
        }
    }

    #[test]
    fn what_is_steep_or_slight_goes_by_the_step_not_by_the_nodes() {
        for step in [0.1, 1.0, 7.0] {
            // both sides of the valley rise by 1 a step
            let z = vee(1.5).map(|z| z * step);
            let gentle = |steep| Bend::between(z, step, 1e-3, steep).unwrap().gentle;
            assert!(gentle(1.001) && !gentle(0.999), "{step}");
            // the bottom lies 0.5 steps below the nodes, 0.5 / √2 square to the sides
            let found = |least: f64| Bend::between(z, step, least * step, 9.0).is_some();
            assert!(found(0.499 * 0.5_f64.sqrt()), "{step}");
            assert!(!found(0.501 * 0.5_f64.sqrt()), "{step}");
        }
    }

    #[test]
    fn no_bend_beside_a_valley_on_a_ridge_or_on_a_slope() {
        assert_eq!(Bend::between(vee(0.5), 1.0, 1e-3, 2.0), None);
        assert_eq!(Bend::between(vee(2.5), 1.0, 1e-3, 2.0), None);
        assert_eq!(Bend::between(vee(1.5).map(|z| -z), 1.0, 1e-3, 2.0), None);
        assert_eq!(Bend::between([1.0, 3.0, 5.0, 7.0], 1.0, 1e-3, 9.0), None);
        assert_eq!(
            Bend::between([0.0, f64::NEG_INFINITY, 5.0, 5.0], 1.0, 1e-3, 9.0),
            None
        );
    }

    #[test]
    fn a_jump_is_left_to_be_searched_from_below() {
        let up = Bend::between([0.0, 0.0, 9.0, 9.0], 1.0, 1e-3, 2.0).unwrap();
        let down = Bend::between([9.0, 9.0, 0.0, 0.0], 1.0, 1e-3, 2.0).unwrap();
        assert_eq!((up.at, up.steps(0.25), up.height(0.25)), (None, 0.25, 0.0));
        assert_eq!(
            (down.at, down.steps(0.25), down.height(0.25)),
            (None, 0.75, 0.0)
        );
    }
}
