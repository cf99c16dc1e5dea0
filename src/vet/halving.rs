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
