use super::*;
use proptest::prelude::*;

fn length(text: &str) -> f64 {
    parse_length(text, None).unwrap_or_else(|e| panic!("{e}"))
}

#[track_caller]
fn refused<T: fmt::Debug>(result: Result<T, UnitError>, message: &str) {
    assert_eq!(result.unwrap_err().to_string(), message);
}

#[test]
fn lengths_in_every_unit() {
    // 25.4 mm an inch: 1/8 in = 3.175, 5/4 in = 31.75, 5/1000 in = 0.127.
    for (text, mm) in [
        ("3.175mm", 3.175),
        ("3 mm", 3.0),
        ("3 MM", 3.0),
        ("+3mm", 3.0),
        ("3.mm", 3.0),
        ("3 millimetres", 3.0),
        ("1/2mm", 0.5),
        ("1/8in", 3.175),
        ("1/8\"", 3.175),
        ("1/8''", 3.175),
        ("1/8″", 3.175),
        ("1 / 8 In", 3.175),
        ("0.125\"", 3.175),
        ("9/8in", 28.575),
        ("1-1/4in", 31.75),
        ("1 1/4 in", 31.75),
        ("1 - 1/4 in", 31.75),
        ("  1-1/4 inches ", 31.75),
        (".5 inch", 12.7),
        ("5 thou", 0.127),
        ("20um", 0.02),
        ("20 µm", 0.02),
        ("20 μm", 0.02),
        ("20 microns", 0.02),
        ("2cm", 20.0),
        ("0.3in", 7.62),
        ("3\u{a0}mm", 3.0),
        ("0", 0.0),
        ("-0", 0.0),
    ] {
        assert_eq!(length(text), mm, "{text}");
        assert!(length(text).is_sign_positive(), "{text}");
    }
}

#[test]
fn bare_numbers_take_the_default() {
    assert_eq!(parse_length("3.175", Some(Unit::Mm)), Ok(3.175));
    assert_eq!(parse_length("1/8", Some(Unit::Inch)), Ok(3.175));
    // A unit that is written wins.
    assert_eq!(parse_length("3mm", Some(Unit::Inch)), Ok(3.0));
}

#[test]
fn coordinates_may_be_negative() {
    assert_eq!(parse_coordinate("-3 mm", None), Ok(-3.0));
    assert_eq!(parse_coordinate("- 1-1/4in", None), Ok(-31.75));
}

#[test]
fn angles_and_areas() {
    for (text, degrees) in [("3deg", 3.0), ("3°", 3.0), ("3", 3.0), ("0.5 degrees", 0.5)] {
        assert_eq!(parse_angle(text), Ok(degrees), "{text}");
    }
    // 1 in² = 645.16 mm².
    for (text, mm2) in [
        ("0.5mm2", 0.5),
        ("0.5 mm²", 0.5),
        ("0.5", 0.5),
        ("2 cm^2", 200.0),
        ("1in2", 645.16),
    ] {
        assert_eq!(parse_area(text), Ok(mm2), "{text}");
    }
}

#[test]
fn what_is_no_length_is_told_with_an_example() {
    let example = "write for example `3.175mm`, `1/8in` or `0.125\"`";
    refused(
        parse_length("", None),
        &format!("a length is missing; {example}"),
    );
    refused(
        parse_length(" \t", None),
        &format!("a length is missing; {example}"),
    );
    for text in [
        "NaN", "inf", "-inf", "mm", "abc", "3,175mm", "1.2.3mm", ".", "1/0in", "1/in", "/8in",
        "1/8/2in", "1-9/8in", "1--1/4in", "1.5/8in", "1-.5/8in", "-", "--3mm", "3-4mm", "1 2mm",
    ] {
        refused(
            parse_length(text, Some(Unit::Mm)),
            &format!("`{text}` is not a length; {example}"),
        );
    }
    let huge = format!("{}mm", "9".repeat(400));
    refused(
        parse_length(&huge, None),
        &format!("`{huge}` is not a length; {example}"),
    );
    refused(
        parse_length(" 5 furlong", None),
        "`5 furlong` is not a length, because `furlong` is none of the units mm, cm, um, in, \" or \
         thou; write for example `3.175mm`, `1/8in` or `0.125\"`",
    );
    refused(
        parse_length("3.175", None),
        "`3.175` has no unit; add one, as in `3.175mm` or `3.175in`",
    );
    refused(
        parse_length("-3mm", None),
        "`-3mm` is negative; write a length of 0 or more, for example `3.175mm`, `1/8in` or `0.125\"`",
    );
}

#[test]
fn what_is_no_angle_or_area_is_told_with_an_example() {
    refused(
        parse_angle(""),
        "an angle is missing; write for example `3deg` or `0.5°`",
    );
    refused(
        parse_angle("steep"),
        "`steep` is not an angle; write for example `3deg` or `0.5°`",
    );
    refused(
        parse_angle("3mm"),
        "`3mm` is not an angle, because `mm` is none of the units deg or °; \
         write for example `3deg` or `0.5°`",
    );
    refused(
        parse_angle("-3"),
        "`-3` is negative; write an angle of 0 or more, for example `3deg` or `0.5°`",
    );
    refused(
        parse_area("0.5mm"),
        "`0.5mm` is not an area, because `mm` is none of the units mm2, cm2 or in2; \
         write for example `0.5mm2`",
    );
    refused(
        parse_area("-1"),
        "`-1` is negative; write an area of 0 or more, for example `0.5mm2`",
    );
}

#[test]
fn names_of_units() {
    for text in [
        "mm",
        "MM",
        "millimetre",
        "millimetres",
        "millimeter",
        "millimeters",
    ] {
        assert_eq!(text.parse(), Ok(Unit::Mm), "{text}");
    }
    for text in ["inch", "in", " inches "] {
        assert_eq!(text.parse(), Ok(Unit::Inch), "{text}");
    }
    refused(
        "cm".parse::<Unit>(),
        "`cm` is not a unit for models and shop files; write `mm` or `inch`",
    );
    for unit in [Unit::Mm, Unit::Inch] {
        assert_eq!(unit.to_string().parse(), Ok(unit));
        // The report and the command line use the same words.
        assert_eq!(
            serde_json::to_value(unit).unwrap(),
            serde_json::json!(unit.to_string())
        );
    }
}

#[test]
fn lengths_for_people() {
    assert_eq!(format_exact(6.0, Unit::Mm), "6 mm");
    assert_eq!(format_exact(100.0, Unit::Mm), "100 mm");
    assert_eq!(format_exact(-0.0000001, Unit::Mm), "0 mm");
    assert_eq!(format_exact(-0.0000001, Unit::Inch), "0 in");
    assert_eq!(format_exact(1.5875, Unit::Mm), "1.5875 mm");
    assert_eq!(format_exact(1.5875, Unit::Inch), "0.0625 in");
}

#[test]
fn sizes_as_spoken() {
    for (mm, text) in [
        (3.175, "1/8in"),
        (12.7, "1/2in"),
        (25.4, "1in"),
        (31.75, "1-1/4in"),
        (50.8, "2in"),
        (0.396875, "1/64in"),
        (127.0, "5in"),
        (6.0, "6mm"),
        (0.397, "0.397mm"),
        (12.0, "12mm"),
        (0.0, "0mm"),
        (-3.175, "-3.175mm"),
    ] {
        assert_eq!(format_size(mm), text);
    }
}

proptest! {
    /// Half a nanometre, half a millionth of an inch.
    #[test]
    fn exact_texts_read_back(mm in 0.0..2000.0_f64) {
        prop_assert!((length(&format_exact(mm, Unit::Mm)) - mm).abs() <= 0.5e-6 + 1e-9);
        let inch_back = length(&format_exact(mm, Unit::Inch));
        prop_assert!((inch_back - mm).abs() <= 0.5e-6 * MM_PER_INCH + 1e-9);
        prop_assert!((length(&format_size(mm)) - mm).abs() <= SAME_SIZE + 1e-9);
    }

    /// The nearest f64 to n/d inches is that of the quotient of whole numbers 127 n / 5 d (IEEE 754
    /// division is correctly rounded).
    #[test]
    fn fractions_are_exact(whole in 0_u32..40, n in 1_u32..64, d in 1_u32..=64) {
        let value = |numerator: u32| f64::from(numerator * 127) / f64::from(d * 5);
        prop_assert_eq!(length(&format!("{n}/{d}in")), value(n));
        if n < d {
            for text in [format!("{whole}-{n}/{d}in"), format!("{whole} {n}/{d}\"")] {
                prop_assert_eq!(length(&text), value(whole * d + n));
            }
        }
    }

    /// Every 64th is spoken as a fraction and reads back to the same bits.
    #[test]
    fn sixty_fourths_read_back_exactly(n in 1_u32..6400) {
        let mm = f64::from(n * 127) / 320.0;
        let text = format_size(mm);
        prop_assert!(text.ends_with("in"), "{}", text);
        prop_assert_eq!(length(&text), mm);
    }

    /// Decimals of up to 15 digits are the nearest f64, in mm as Rust itself reads them.
    #[test]
    fn decimals_are_exact(n in 0_u64..1_000_000_000, places in 0_usize..7) {
        let number = format!("{:.places$}", n as f64 / 1e6);
        prop_assert_eq!(length(&format!("{number}mm")), number.parse::<f64>().unwrap());
    }

    #[test]
    fn any_text_gives_a_sound_length_or_an_error_that_quotes_it(text in "\\PC{0,12}") {
        for unit in [None, Some(Unit::Mm), Some(Unit::Inch)] {
            match parse_length(&text, unit) {
                Ok(mm) => prop_assert!(mm.is_finite() && mm >= 0.0),
                Err(UnitError::Empty { .. }) => prop_assert!(text.trim().is_empty()),
                Err(error) => {
                    let quoted = format!("`{}`", text.trim());
                    prop_assert!(error.to_string().contains(&quoted));
                }
            }
        }
    }
}
