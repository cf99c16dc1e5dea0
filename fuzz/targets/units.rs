//! Lengths, angles, areas: finite and of the right sign, or refused; a size that is shown reads back.
#![no_main]

use libfuzzer_sys::fuzz_target;
use moldvet::units::{
    Unit, UnitError, format_size, parse_angle, parse_area, parse_coordinate, parse_length,
};

fn finite(parsed: Result<f64, UnitError>) -> Option<f64> {
    match parsed {
        Ok(value) => {
            assert!(value.is_finite());
            // no -0
            assert!(value != 0.0 || value.is_sign_positive());
            Some(value)
        }
        Err(refusal) => {
            assert!(!refusal.to_string().is_empty());
            None
        }
    }
}

fuzz_target!(|text: &str| {
    for unit in [None, Some(Unit::Mm), Some(Unit::Inch)] {
        let coordinate = finite(parse_coordinate(text, unit));
        let length = finite(parse_length(text, unit));
        assert_eq!(length, coordinate.filter(|c| *c >= 0.0));
        if let Some(length) = length.filter(|l| (1e-3..1e6).contains(l)) {
            let shown = format_size(length);
            let back = parse_length(&shown, None).expect("what is shown reads back");
            assert!((back - length).abs() <= 1.1e-6, "{length} {shown} {back}");
        }
    }
    for value in [parse_angle(text), parse_area(text)] {
        assert!(finite(value).is_none_or(|v| v >= 0.0));
    }
    let _ = text.parse::<Unit>();
});
