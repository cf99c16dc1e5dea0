//! Time: of moves, of passes, of roughing. Minutes, mm, mm/min, mm/s².

/// Time of one straight move from rest to rest, s: at full feed v = `feed` / 60 it is d / v + v / a, else 2 √(d / a).
pub fn move_seconds(distance: f64, feed: f64, acceleration: f64) -> f64 {
    let v = feed / 60.0;
    if distance >= v * v / acceleration {
        distance / v + v / acceleration
    } else {
        2.0 * (distance / acceleration).sqrt()
    }
}

/// Passes that cover a surface.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Passes {
    /// Their length at the ball's centre, mm.
    pub length: f64,
    /// Their number, each taken to run through without a break.
    pub count: f64,
    /// Step between them in plan, mm.
    pub step: f64,
}

impl Passes {
    /// Time to mill them to and fro, min: each pass and each step between two is a move from rest to rest.
    pub fn minutes(&self, feed: f64, acceleration: f64) -> f64 {
        if self.count <= 0.0 || self.length <= 0.0 {
            return 0.0;
        }
        let pass = move_seconds(self.length / self.count, feed, acceleration);
        let links = (self.count - 1.0).max(0.0);
        let link = move_seconds(self.step, feed, acceleration);
        (self.count * pass + links * link) / 60.0
    }

    /// The same without any allowance for turns, min.
    pub fn least_minutes(&self, feed: f64) -> f64 {
        self.length / feed
    }
}

/// Removal rate, mm³/min: depth × width × feed.
pub fn removal(depth: f64, width: f64, feed: f64) -> f64 {
    depth * width * feed
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() < 1e-6, "{a} is not {b}");
    }

    #[test]
    fn moves() {
        // trapezoid: 10 mm at 1000 mm/min and 500 mm/s²: 0.6 s + 0.0333 s; 0.2 mm is all acceleration: 2 √(0.2/500)
        near(move_seconds(10.0, 1000.0, 500.0), 0.6 + 1.0 / 30.0);
        near(move_seconds(0.2, 1000.0, 500.0), 0.04);
    }

    #[test]
    fn a_flat_rectangle() {
        // 60 × 40 mm, step 0.2 along the 40: 301 passes of 40 and 300 links of 0.2 are 12 100 mm, at 1200 mm/min
        // 10.0833 min; with all the acceleration there is
        let passes = Passes {
            length: 301.0 * 40.0,
            count: 301.0,
            step: 0.2,
        };
        let endless = 1e12;
        assert!((passes.minutes(1200.0, endless) - 10.083_333).abs() < 1e-3);
        assert!(passes.minutes(1200.0, 500.0) > passes.minutes(1200.0, endless));
        near(passes.least_minutes(1200.0), 301.0 * 40.0 / 1200.0);
    }

    #[test]
    fn removal_rate() {
        // 1 × 3 mm at 1200 mm/min: 3.6 cm³/min
        near(removal(1.0, 3.0, 1200.0), 3600.0);
    }
}
