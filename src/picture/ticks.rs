//! Round numbers along a scale.

/// Round values within `lo..=hi`, about `wanted` of them: steps of 1, 2 or 5 times a power of ten.
pub(crate) fn ticks(lo: f64, hi: f64, wanted: usize) -> Vec<f64> {
    let span = hi - lo;
    if !(span > 0.0 && span.is_finite()) {
        return vec![lo];
    }
    let step = round_step(span / wanted.max(1) as f64);
    let first = (lo / step - 1e-9).ceil() as i64;
    let last = (hi / step + 1e-9).floor() as i64;
    (first..=last).map(|k| k as f64 * step).collect()
}

/// The smallest of 1, 2, 5 times a power of ten that is no less than `least`.
pub(crate) fn round_step(least: f64) -> f64 {
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|s| *s >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_within() {
        assert_eq!(ticks(0.0, 27.0, 5), [0.0, 10.0, 20.0]);
        assert_eq!(ticks(-3.0, 7.0, 5), [-2.0, 0.0, 2.0, 4.0, 6.0]);
        assert_eq!(ticks(2.0, 2.0, 5), [2.0]);
        assert_eq!(round_step(0.3), 0.5);
        assert_eq!(round_step(0.2), 0.2);
    }
}
