//! Figures of the command line: lengths in the models' unit, directions and places.

use super::error::CliError;
use moldvet::mesh::{Point, Vector};
use moldvet::units::{Unit, parse_coordinate, parse_length};
use std::time::Duration;

/// A length of 0 or more, mm; a bare number is in `unit`.
pub fn length(option: &'static str, text: &str, unit: Unit) -> Result<f64, CliError> {
    parse_length(text, Some(unit)).map_err(|source| CliError::Figure { option, source })
}

/// A length of more than 0, mm.
pub fn positive(option: &'static str, text: &str, unit: Unit) -> Result<f64, CliError> {
    let mm = length(option, text, unit)?;
    if mm > 0.0 {
        Ok(mm)
    } else {
        Err(CliError::NotPositive { option })
    }
}

/// The number that a text begins with, and the unit behind it.
fn split(text: &str) -> (Option<f64>, &str) {
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || c == '.'))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    (number.parse().ok(), unit.trim())
}

/// An amount of memory of more than 0, bytes: `512MiB`, `4GiB` or `4GB`.
pub fn memory(text: &str) -> Result<u64, CliError> {
    let plain = text.trim().to_lowercase();
    let (number, unit) = split(&plain);
    let size = match unit {
        "kib" => Some(2_f64.powi(10)),
        "mib" => Some(2_f64.powi(20)),
        "gib" => Some(2_f64.powi(30)),
        "tib" => Some(2_f64.powi(40)),
        "mb" => Some(1e6),
        "gb" => Some(1e9),
        _ => None,
    };
    let bytes = number.zip(size).map(|(number, size)| number * size);
    // up to 2^53, where a number still tells single bytes
    bytes
        .filter(|bytes| (1.0..=2_f64.powi(53)).contains(bytes))
        .map(|bytes| bytes as u64)
        .ok_or_else(|| CliError::MemorySize {
            text: text.to_string(),
        })
}

/// A time of more than 0: `90s`, `10min` or `1h`.
pub fn time(text: &str) -> Result<Duration, CliError> {
    let plain = text.trim().to_lowercase();
    let (number, unit) = split(&plain);
    let seconds = match unit {
        "s" => Some(1.0),
        "min" => Some(60.0),
        "h" => Some(3600.0),
        _ => None,
    };
    number
        .zip(seconds)
        .and_then(|(number, seconds)| Duration::try_from_secs_f64(number * seconds).ok())
        .filter(|time| !time.is_zero())
        .ok_or_else(|| CliError::Time {
            text: text.to_string(),
        })
}

/// A density of more than 0, g/cm³: `0.96g/cm3`, `0.96`, `960kg/m3` or `60lb/ft3`.
pub fn density(text: &str) -> Result<f64, CliError> {
    let wrong = || CliError::Density {
        text: text.to_string(),
    };
    let plain = text.trim().to_lowercase().replace('³', "3");
    let (number, unit) = split(&plain);
    // 1 lb = 0.45359237 kg and 1 in = 25.4 mm, exact by the 1959 agreement
    let factor = match unit {
        "" | "g/cm3" | "g/cm^3" | "g/ml" | "kg/l" => 1.0,
        "kg/m3" | "kg/m^3" => 1e-3,
        "lb/in3" | "lb/in^3" => 453.59237 / 16.387064,
        "lb/ft3" | "lb/ft^3" => 453.59237 / (1728.0 * 16.387064),
        _ => return Err(wrong()),
    };
    let value = number.ok_or_else(wrong)?;
    if value > 0.0 && value.is_finite() {
        Ok(value * factor)
    } else {
        Err(wrong())
    }
}

/// A direction, of length 1: `+x`, `-z`, or three numbers with commas.
pub fn direction(option: &'static str, text: &str) -> Result<Vector, CliError> {
    let wrong = || CliError::Axis {
        option,
        text: text.to_string(),
    };
    let named = match text.trim().to_lowercase().as_str() {
        "x" | "+x" => Some(Vector::x()),
        "-x" => Some(-Vector::x()),
        "y" | "+y" => Some(Vector::y()),
        "-y" => Some(-Vector::y()),
        "z" | "+z" => Some(Vector::z()),
        "-z" => Some(-Vector::z()),
        _ => None,
    };
    if let Some(named) = named {
        // -0 would show in the report
        return Ok(named.map(|c| c + 0.0));
    }
    let parts: Vec<f64> = text
        .split(',')
        .map(|part| part.trim().parse().map_err(|_| wrong()))
        .collect::<Result<_, _>>()?;
    let [x, y, z] = parts[..] else {
        return Err(wrong());
    };
    // scaled first, so that neither huge nor tiny components spoil the length
    let largest = x.abs().max(y.abs()).max(z.abs());
    if !(largest > 0.0 && (x + y + z).is_finite()) {
        return Err(wrong());
    }
    Ok((Vector::new(x, y, z) / largest).normalize())
}

/// A factor of more than 0.
pub fn factor(text: &str) -> Result<f64, CliError> {
    let factor = text.trim().parse().ok();
    factor
        .filter(|f: &f64| *f > 0.0 && f.is_finite())
        .ok_or_else(|| CliError::Factor {
            text: text.to_string(),
        })
}

/// A share of less than half, written in percent.
pub fn shrink(text: &str) -> Result<f64, CliError> {
    let number = text.trim().strip_suffix('%');
    let percent = number.and_then(|number| number.trim().parse().ok());
    percent
        .filter(|p: &f64| (0.0..50.0).contains(p))
        .map(|p| p / 100.0)
        .ok_or_else(|| CliError::Shrink {
            text: text.to_string(),
        })
}

/// A place seen from above, mm: `X,Y`, each with or without unit.
pub fn place(text: &str, unit: Unit) -> Result<[f64; 2], CliError> {
    let wrong = || CliError::Place {
        text: text.to_string(),
    };
    let (x, y) = text.split_once(',').ok_or_else(wrong)?;
    let coordinate = |text: &str| parse_coordinate(text, Some(unit)).map_err(|_| wrong());
    Ok([coordinate(x)?, coordinate(y)?])
}

/// A place of half A and the place of half B that meets it, mm: `X,Y,Z=X,Y,Z`, each with or without unit.
pub fn meet(text: &str, unit: Unit) -> Result<[Point; 2], CliError> {
    let wrong = || CliError::Meet {
        text: text.to_string(),
    };
    let place = |text: &str| -> Result<Point, CliError> {
        let parts = text
            .split(',')
            .map(|part| parse_coordinate(part, Some(unit)));
        let parts: Vec<f64> = parts.collect::<Result<_, _>>().map_err(|_| wrong())?;
        let [x, y, z] = parts[..] else {
            return Err(wrong());
        };
        Ok(Point::new(x, y, z))
    };
    let (a, b) = text.split_once('=').ok_or_else(wrong)?;
    Ok([place(a)?, place(b)?])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn directions_have_length_one() {
        assert_eq!(
            direction("--axis", "-z").unwrap(),
            Vector::new(0.0, 0.0, -1.0)
        );
        assert_eq!(direction("--axis", "X").unwrap(), Vector::x());
        // 3, 4, 5
        assert_eq!(
            direction("--axis", "0, 3, 4").unwrap(),
            Vector::new(0.0, 0.6, 0.8)
        );
        assert_eq!(direction("--axis", "0,0,1e300").unwrap(), Vector::z());
        for wrong in [
            "", "w", "0,0", "0,0,0", "1,2,3,4", "nan,0,1", "inf,0,1", "1,,1",
        ] {
            assert!(direction("--axis", wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn shrink_is_in_percent_and_a_scale_is_a_factor() {
        assert_eq!(shrink("1.2 %").unwrap(), 0.012);
        for wrong in ["1.2", "%", "-1%", "50%", "nan%"] {
            assert!(shrink(wrong).is_err(), "{wrong}");
        }
        assert_eq!(factor("1.5").unwrap(), 1.5);
        for wrong in ["0", "-1", "inf", "two", "150%"] {
            assert!(factor(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn places_take_units_and_signs() {
        // half an inch is 12.7 mm
        assert_eq!(place("-3,1/2in", Unit::Mm).unwrap(), [-3.0, 12.7]);
        assert_eq!(place("1, -2mm", Unit::Inch).unwrap(), [25.4, -2.0]);
        for wrong in ["", "1", "1,2,3", "a,b", "1,"] {
            assert!(place(wrong, Unit::Mm).is_err(), "{wrong}");
        }
    }

    #[test]
    fn two_places_meet() {
        let [a, b] = meet("1,-2,3=1/2in,0,-1mm", Unit::Mm).unwrap();
        assert_eq!(
            (a, b),
            (Point::new(1.0, -2.0, 3.0), Point::new(12.7, 0.0, -1.0))
        );
        for wrong in ["", "1,2,3", "1,2=1,2", "1,2,3=1,2,x", "1,2,3=1,2,3=1,2,3"] {
            assert!(meet(wrong, Unit::Mm).is_err(), "{wrong}");
        }
    }

    #[test]
    fn densities_take_units() {
        assert_eq!(density("0.96g/cm3").unwrap(), 0.96);
        assert!((density("960 kg/m³").unwrap() - 0.96).abs() < 1e-12);
        // water is 62.4 lb/ft³ to three figures
        assert!((density("62.4lb/ft3").unwrap() - 1.0).abs() < 1e-3);
        for wrong in ["", "0", "-1", "1mm", "g/cm3", "1..2"] {
            assert!(density(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn lengths_name_the_option() {
        let told = |text| positive("--cell", text, Unit::Mm).unwrap_err().to_string();
        assert!(told("x").starts_with("--cell: "));
        assert!(told("-1").starts_with("--cell: "));
        assert_eq!(told("0"), "--cell must be more than 0");
        assert_eq!(positive("--cell", "0.5", Unit::Inch).unwrap(), 12.7);
    }

    #[test]
    fn memory_is_read_with_its_unit() {
        for (text, bytes) in [
            ("4GiB", 4 << 30),
            ("0.5 gib", 1 << 29),
            ("512MiB", 512 << 20),
            ("64KiB", 65_536),
            ("2TiB", 2 << 40),
            ("4GB", 4_000_000_000),
            ("1MB", 1_000_000),
        ] {
            assert_eq!(memory(text).unwrap(), bytes, "{text}");
        }
        for text in [
            "",
            "4",
            "GiB",
            "0GiB",
            "-1GiB",
            "4G",
            "1e3MiB",
            "0.0001KiB",
            "9000000TiB",
            "1.2.3MiB",
        ] {
            let told = memory(text).unwrap_err().to_string();
            assert!(told.contains("`") && told.contains("4GiB"), "{told}");
        }
    }

    #[test]
    fn times_are_read_with_their_unit() {
        for (text, seconds) in [
            ("90s", 90.0),
            ("0.5 S", 0.5),
            ("1.5min", 90.0),
            ("2h", 7200.0),
        ] {
            assert_eq!(time(text).unwrap().as_secs_f64(), seconds, "{text}");
        }
        for text in [
            "",
            "10",
            "s",
            "0s",
            "-1s",
            "1d",
            "1e400h",
            "99999999999999999999h",
            "1.2.3s",
        ] {
            let told = time(text).unwrap_err().to_string();
            assert!(told.contains("`") && told.contains("10min"), "{told}");
        }
    }
}
