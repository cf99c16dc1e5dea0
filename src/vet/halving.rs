//! Search by halving.

/// The last place from `good` towards `bad` that `holds`, by halving; `None` if the first does not.
pub fn last(
    mut good: f64,
    mut bad: f64,
    halvings: usize,
    holds: impl Fn(f64) -> bool,
) -> Option<f64> {
    if !holds(good) {
        return None;
    }
    for _ in 0..halvings {
        let middle = 0.5 * (good + bad);
        if holds(middle) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    Some(good)
}

/// The place in plan where `height` is least, and that, from `start` on in eight directions, in steps from `first` halved down to
/// `last` mm; `height` is told the least so far, and may be anything else that is not below.
pub fn lowest(
    (mut at, mut least): ([f64; 2], f64),
    [first, last]: [f64; 2],
    height: impl Fn([f64; 2], f64) -> f64,
) -> ([f64; 2], f64) {
    let mut step = first;
    while step > last {
        let lower = (0..8)
            .map(|k| {
                let a = f64::from(k) * std::f64::consts::FRAC_PI_4;
                let to = [at[0] + step * a.cos(), at[1] + step * a.sin()];
                (to, height(to, least))
            })
            .filter(|(_, h)| *h < least - 1e-9)
            .min_by(|a, b| a.1.total_cmp(&b.1));
        match lower {
            Some(found) => (at, least) = found,
            None => step *= 0.5,
        }
    }
    (at, least)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_that_holds_is_within_the_last_half() {
        let found = last(0.0, 1.0, 10, |v| v < 0.3).unwrap();
        assert!(found < 0.3 && found > 0.3 - 1.0 / 1024.0, "{found}");
        assert_eq!(last(1.0, 0.0, 10, |v| v < 0.3), None);
    }

    #[test]
    fn the_lowest_place_of_a_bowl_and_the_floor_of_a_valley_aslant_are_found() {
        let bowl = |[x, y]: [f64; 2], _: f64| (x - 0.37).hypot(y + 0.21);
        let start = ([0.0, 0.0], bowl([0.0, 0.0], 0.0));
        let (at, least) = lowest(start, [0.5, 1e-3], bowl);
        assert!(least < 1e-3, "{at:?}");
        // steep sides: no farther from its floor than the last steps
        let side = |[x, y]: [f64; 2]| 2.0 * (x - 0.4 * y).abs();
        let valley = |at: [f64; 2], _: f64| side(at) + 0.01 * at[1];
        let start = ([0.3, 0.0], valley([0.3, 0.0], 0.0));
        let (at, _) = lowest(start, [0.5, 1e-3], |[x, y], least| {
            valley([x, y.max(-1.0)], least)
        });
        assert!(side(at) < 4e-3, "{at:?}");
    }
}
