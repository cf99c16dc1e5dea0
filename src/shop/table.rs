//! Reading typed values out of a TOML table, each error with its place in the text.

use super::ShopProblem;
use super::error::nearest;
use crate::units::{self, Quantity, Unit, UnitError};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A problem at a byte of the text.
#[derive(Debug)]
pub(super) struct Fault {
    /// Offset in bytes.
    pub(super) at: usize,
    /// What is wrong there.
    pub(super) problem: ShopProblem,
}

/// A TOML table with what is needed to read its values and to tell what is wrong with them.
#[derive(Clone, Copy)]
pub(super) struct Table<'a> {
    /// How messages call it.
    label: &'static str,
    entries: &'a DeTable<'a>,
    /// Where it begins, bytes.
    at: usize,
    /// Unit of bare numbers.
    pub(super) unit: Option<Unit>,
}

impl<'a> Table<'a> {
    /// The table, if it has no keys but these.
    pub(super) fn new(
        label: &'static str,
        entries: &'a DeTable<'a>,
        at: usize,
        unit: Option<Unit>,
        keys: &'static [&'static str],
    ) -> Result<Self, Fault> {
        let unknown = entries
            .keys()
            .filter(|key| !keys.contains(&key.get_ref().as_ref()))
            .min_by_key(|key| key.span().start);
        if let Some(key) = unknown {
            let word = key.get_ref().as_ref();
            let problem = ShopProblem::UnknownKey {
                key: word.to_owned(),
                table: label,
                nearest: nearest(word, keys.iter().copied()),
                known: keys,
            };
            let at = key.span().start;
            return Err(Fault { at, problem });
        }
        Ok(Table {
            label,
            entries,
            at,
            unit,
        })
    }

    fn get(&self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.entries.get(key)
    }

    /// A problem with the whole table.
    pub(super) fn fault(&self, problem: ShopProblem) -> Fault {
        let at = self.at;
        Fault { at, problem }
    }

    /// Where the key's value begins, bytes; where the table begins if the key is not there.
    pub(super) fn at(&self, key: &'static str) -> usize {
        self.get(key).map_or(self.at, |value| value.span().start)
    }

    /// The value of a key that must be there.
    pub(super) fn need<T>(
        &self,
        key: &'static str,
        value: Option<T>,
        example: &'static str,
    ) -> Result<T, Fault> {
        let table = self.label;
        value.ok_or_else(|| {
            self.fault(ShopProblem::Missing {
                table,
                key,
                example,
            })
        })
    }

    /// A text; `expected` tells what it must be, with an example.
    pub(super) fn text(
        &self,
        key: &'static str,
        expected: &'static str,
    ) -> Result<Option<&'a str>, Fault> {
        self.get(key)
            .map(|value| match value.get_ref() {
                DeValue::String(text) => Ok(text.as_ref()),
                _ => Err(wrong_type(key, expected, value)),
            })
            .transpose()
    }

    /// A length, mm.
    pub(super) fn length(&self, key: &'static str) -> Result<Option<f64>, Fault> {
        self.figure(key, Quantity::Length)
    }

    /// An angle, degrees.
    pub(super) fn angle(&self, key: &'static str) -> Result<Option<f64>, Fault> {
        self.figure(key, Quantity::Angle)
    }

    /// An area, mm².
    pub(super) fn area(&self, key: &'static str) -> Result<Option<f64>, Fault> {
        self.figure(key, Quantity::Area)
    }

    fn figure(&self, key: &'static str, quantity: Quantity) -> Result<Option<f64>, Fault> {
        self.get(key)
            .map(|value| figure(key, value, quantity, self.unit))
            .transpose()
    }

    /// A list of lengths, mm.
    pub(super) fn lengths(&self, key: &'static str) -> Result<Option<Vec<f64>>, Fault> {
        let Some(list) = self.list(key, "a list of lengths such as [\"20 mm\", \"1.5 in\"]")?
        else {
            return Ok(None);
        };
        list.iter()
            .map(|value| figure(key, value, Quantity::Length, self.unit))
            .collect::<Result<_, _>>()
            .map(Some)
    }

    /// A plain number; `expected` tells what it must be, with an example.
    pub(super) fn number(
        &self,
        key: &'static str,
        expected: &'static str,
    ) -> Result<Option<f64>, Fault> {
        self.get(key)
            .map(|value| plain(value).ok_or_else(|| wrong_type(key, expected, value)))
            .transpose()
    }

    /// A list of plain numbers.
    pub(super) fn numbers(
        &self,
        key: &'static str,
        expected: &'static str,
    ) -> Result<Option<Vec<f64>>, Fault> {
        let Some(list) = self.list(key, expected)? else {
            return Ok(None);
        };
        list.iter()
            .map(|value| plain(value).ok_or_else(|| wrong_type(key, expected, value)))
            .collect::<Result<_, _>>()
            .map(Some)
    }

    /// A table inside this one.
    pub(super) fn table(
        &self,
        key: &'static str,
        label: &'static str,
        expected: &'static str,
        keys: &'static [&'static str],
    ) -> Result<Option<Table<'a>>, Fault> {
        self.get(key)
            .map(|value| self.inner(key, value, label, expected, keys))
            .transpose()
    }

    /// A list of tables inside this one.
    pub(super) fn tables(
        &self,
        key: &'static str,
        label: &'static str,
        expected: &'static str,
        keys: &'static [&'static str],
    ) -> Result<Option<Vec<Table<'a>>>, Fault> {
        let Some(list) = self.list(key, expected)? else {
            return Ok(None);
        };
        list.iter()
            .map(|value| self.inner(key, value, label, expected, keys))
            .collect::<Result<_, _>>()
            .map(Some)
    }

    fn inner(
        &self,
        key: &'static str,
        value: &'a Spanned<DeValue<'a>>,
        label: &'static str,
        expected: &'static str,
        keys: &'static [&'static str],
    ) -> Result<Table<'a>, Fault> {
        match value.get_ref() {
            DeValue::Table(entries) => {
                Table::new(label, entries, value.span().start, self.unit, keys)
            }
            _ => Err(wrong_type(key, expected, value)),
        }
    }

    fn list(
        &self,
        key: &'static str,
        expected: &'static str,
    ) -> Result<Option<&'a [Spanned<DeValue<'a>>]>, Fault> {
        self.get(key)
            .map(|value| match value.get_ref() {
                DeValue::Array(list) => Ok(&list[..]),
                _ => Err(wrong_type(key, expected, value)),
            })
            .transpose()
    }
}

fn figure(
    key: &'static str,
    value: &Spanned<DeValue<'_>>,
    quantity: Quantity,
    unit: Option<Unit>,
) -> Result<f64, Fault> {
    // Numbers take the way of texts, so that 0.3 and "0.3" are the same to the last bit. Display of f64 knows
    // no exponent.
    let text = match value.get_ref() {
        DeValue::String(text) => text.as_ref().to_owned(),
        DeValue::Float(number) => match number.as_str().parse::<f64>() {
            Ok(number) => number.to_string(),
            Err(_) => number.as_str().to_owned(),
        },
        DeValue::Integer(number) => match i64::from_str_radix(number.as_str(), number.radix()) {
            Ok(number) => number.to_string(),
            Err(_) => number.to_string(),
        },
        _ => {
            let expected = match quantity {
                Quantity::Length => "a length such as \"6 mm\"",
                Quantity::Angle => "an angle such as \"3 deg\"",
                Quantity::Area => "an area such as \"0.5 mm2\"",
            };
            return Err(wrong_type(key, expected, value));
        }
    };
    let result = match quantity {
        Quantity::Length => units::parse_length(&text, unit),
        Quantity::Angle => units::parse_angle(&text),
        Quantity::Area => units::parse_area(&text),
    };
    result.map_err(|error| {
        let problem = match error {
            UnitError::NoUnit { text: number } => ShopProblem::NoUnit { key, number },
            source => ShopProblem::Figure { key, source },
        };
        let at = value.span().start;
        Fault { at, problem }
    })
}

fn plain(value: &Spanned<DeValue<'_>>) -> Option<f64> {
    match value.get_ref() {
        DeValue::Float(number) => number.as_str().parse().ok(),
        DeValue::Integer(number) => i64::from_str_radix(number.as_str(), number.radix())
            .ok()
            .map(|n| n as f64),
        _ => None,
    }
}

fn wrong_type(key: &'static str, expected: &'static str, value: &Spanned<DeValue<'_>>) -> Fault {
    let found = match value.get_ref() {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    };
    Fault {
        at: value.span().start,
        problem: ShopProblem::WrongType {
            key,
            expected,
            found,
        },
    }
}
