//! The report as JSON.

use super::Report;
use super::plan::Plan;
use serde::Serialize;
use serde_json::ser::{Formatter, PrettyFormatter, Serializer};
use std::io::{self, Write};

/// The report as indented JSON with a final line feed.
///
/// The same report gives the same bytes. Numbers keep all their digits; a zero has no sign. What is
/// no number is written `null`: such a figure is a defect of the check that made it.
///
/// # Errors
/// If the report cannot be written as JSON at all, which no report made by this library does.
pub fn to_json(report: &Report) -> Result<String, serde_json::Error> {
    let text = pretty(report)?;
    debug_assert_eq!(
        serde_json::from_str::<Report>(&text).as_ref().ok(),
        Some(report),
        "a report reads back as it was: no figure is NaN or infinite"
    );
    Ok(text)
}

/// The plan as indented JSON with a final line feed, written as [`to_json`] writes a report.
///
/// # Errors
/// As [`to_json`].
pub fn plan_to_json(plan: &Plan) -> Result<String, serde_json::Error> {
    pretty(plan)
}

fn pretty(value: &impl Serialize) -> Result<String, serde_json::Error> {
    let mut bytes = Vec::new();
    let mut serializer = Serializer::with_formatter(&mut bytes, Unsigned(PrettyFormatter::new()));
    value.serialize(&mut serializer)?;
    bytes.push(b'\n');
    String::from_utf8(bytes).map_err(serde::ser::Error::custom)
}

/// Indents, and writes a negative zero without its sign.
struct Unsigned(PrettyFormatter<'static>);

impl Formatter for Unsigned {
    fn write_f64<W: ?Sized + Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        // adding zero turns -0 into 0 and nothing else
        self.0.write_f64(writer, value + 0.0)
    }

    fn begin_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_array(writer)
    }

    fn end_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_array(writer)
    }

    fn begin_array_value<W: ?Sized + Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.0.begin_array_value(writer, first)
    }

    fn end_array_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_array_value(writer)
    }

    fn begin_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_object(writer)
    }

    fn end_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_object(writer)
    }

    fn begin_object_key<W: ?Sized + Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.0.begin_object_key(writer, first)
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.begin_object_value(writer)
    }

    fn end_object_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.0.end_object_value(writer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::samples;

    #[test]
    fn every_sample_reads_back_as_it_was() {
        for report in samples::all() {
            let text = to_json(&report).unwrap();
            assert_eq!(serde_json::from_str::<Report>(&text).unwrap(), report);
            assert_eq!(to_json(&report).unwrap(), text);
            assert!(text.ends_with("}\n"));
        }
    }

    #[test]
    fn unknown_fields_are_refused_at_every_level() {
        let text = to_json(&samples::pair()).unwrap();
        let whole: serde_json::Value = serde_json::from_str(&text).unwrap();
        let mut objects = Vec::new();
        pointers(&whole, String::new(), &mut objects);
        objects.retain(|pointer| !pointer.starts_with("/settings"));
        assert!(objects.len() > 20, "{objects:?}");
        for pointer in objects {
            let mut strange = whole.clone();
            let object = strange
                .pointer_mut(&pointer)
                .unwrap()
                .as_object_mut()
                .unwrap();
            object.insert("surprise".into(), 1.into());
            let error = serde_json::from_value::<Report>(strange)
                .unwrap_err()
                .to_string();
            assert!(
                error.contains("unknown field `surprise`"),
                "{pointer}: {error}"
            );
        }
    }

    #[test]
    fn zero_has_no_sign_and_what_is_no_number_is_null() {
        assert_eq!(
            pretty(&[-0.0, 0.1, f64::NAN, f64::INFINITY]).unwrap(),
            "[\n  0.0,\n  0.1,\n  null,\n  null\n]\n"
        );
        let mut report = samples::pair();
        report.halves[0].tool_axis = [-0.0, 0.0, -1.0];
        assert!(!to_json(&report).unwrap().contains("-0.0,"));
    }

    /// Pointers to all objects in `value`.
    fn pointers(value: &serde_json::Value, at: String, found: &mut Vec<String>) {
        match value {
            serde_json::Value::Object(fields) => {
                for (key, field) in fields {
                    pointers(field, format!("{at}/{key}"), found);
                }
                found.push(at);
            }
            serde_json::Value::Array(items) => {
                for (k, item) in items.iter().enumerate() {
                    pointers(item, format!("{at}/{k}"), found);
                }
            }
            _ => {}
        }
    }
}
