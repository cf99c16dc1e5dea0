//! Lengths, angles and feeds with units.

/// Millimetres in one inch, exact (ISO 80000-3, international inch).
pub const MM_PER_INCH: f64 = 25.4;

/// The unit in which a file's numbers are meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Unit {
    /// Millimetre.
    Mm,
    /// International inch.
    Inch,
}

impl Unit {
    /// Millimetres in one of this unit.
    pub fn in_mm(self) -> f64 {
        match self {
            Unit::Mm => 1.0,
            Unit::Inch => MM_PER_INCH,
        }
    }
}
