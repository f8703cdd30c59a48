//! Units a pilot meets on an overlay, their spellings and their exact factors to SI.
//!
//! Factors: NIST SP 811, Appendix B. The inch, foot, mile and nautical mile are exact.

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Quantity {
    /// Speed; SI unit metre per second.
    Speed,
    /// Length or height; SI unit metre.
    Length,
    /// Electric potential; SI unit volt.
    Voltage,
    /// Electric current; SI unit ampere.
    Current,
    /// A share of a whole, in per cent.
    Share,
    /// A plane angle, in degrees.
    Angle,
    /// Rotational speed, in revolutions per minute.
    RotationalSpeed,
    /// Electric charge, in milliampere hours.
    Charge,
    /// Power; SI unit watt.
    Power,
    /// Time; SI unit second.
    Time,
}

/// A unit of an overlay readout.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
#[non_exhaustive]
pub enum Unit {
    /// Statute miles per hour.
    MilesPerHour,
    /// Kilometres per hour.
    KilometresPerHour,
    /// Knots: nautical miles per hour.
    Knots,
    /// Metres per second.
    MetresPerSecond,
    /// Feet.
    Feet,
    /// Metres.
    Metres,
    /// Volts.
    Volts,
    /// Amperes.
    Amperes,
    /// Per cent.
    Percent,
    /// Degrees of angle.
    Degrees,
    /// Revolutions per minute.
    RevolutionsPerMinute,
    /// Milliampere hours.
    MilliampereHours,
    /// Watts.
    Watts,
    /// Seconds.
    Seconds,
    /// Minutes and seconds with a colon between them, as a clock shows them; read as seconds.
    MinutesAndSeconds,
}

/// A spelling that names no unit known here.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("unknown unit \"{spelling}\": use one of {}", Unit::spellings())]
pub struct UnknownUnit {
    /// The spelling as met.
    pub spelling: String,
}

/// One row of the unit table.
struct UnitRow {
    unit: Unit,
    quantity: Quantity,
    /// The way the unit is printed for a reader.
    symbol: &'static str,
    /// The way the unit is written in column names: lower case letters only.
    suffix: &'static str,
    /// How many SI units (see [`Quantity`]) one of this unit is.
    si_per_unit: f64,
    /// Further spellings that are understood, in lower case.
    also: &'static [&'static str],
}

const UNITS: [UnitRow; 15] = [
    row(Unit::MilesPerHour, Quantity::Speed, "mph", "mph", 0.44704, &["mi/h"]),
    row(Unit::KilometresPerHour, Quantity::Speed, "km/h", "kmh", 1.0 / 3.6, &["kph"]),
    row(Unit::Knots, Quantity::Speed, "kn", "kn", 1852.0 / 3600.0, &["kt", "kts", "knots"]),
    row(Unit::MetresPerSecond, Quantity::Speed, "m/s", "mps", 1.0, &["ms"]),
    row(Unit::Feet, Quantity::Length, "ft", "ft", 0.3048, &["feet"]),
    row(Unit::Metres, Quantity::Length, "m", "m", 1.0, &["metres", "meters"]),
    row(Unit::Volts, Quantity::Voltage, "V", "v", 1.0, &["volt", "volts"]),
    row(Unit::Amperes, Quantity::Current, "A", "a", 1.0, &["amp", "amps"]),
    row(Unit::Percent, Quantity::Share, "%", "percent", 1.0, &["per cent"]),
    row(Unit::Degrees, Quantity::Angle, "deg", "deg", 1.0, &["°", "degrees"]),
    row(Unit::RevolutionsPerMinute, Quantity::RotationalSpeed, "rpm", "rpm", 1.0, &["1/min"]),
    row(Unit::MilliampereHours, Quantity::Charge, "mAh", "mah", 1.0, &[]),
    row(Unit::Watts, Quantity::Power, "W", "w", 1.0, &["watt", "watts"]),
    row(Unit::Seconds, Quantity::Time, "s", "s", 1.0, &["sec", "seconds"]),
    row(Unit::MinutesAndSeconds, Quantity::Time, "min:s", "min_s", 1.0, &["m:s", "mm:ss"]),
];

const fn row(
    unit: Unit,
    quantity: Quantity,
    symbol: &'static str,
    suffix: &'static str,
    si_per_unit: f64,
    also: &'static [&'static str],
) -> UnitRow {
    UnitRow { unit, quantity, symbol, suffix, si_per_unit, also }
}

impl Unit {
    /// Finds the unit a spelling names; case and surrounding blanks do not matter.
    ///
    /// # Errors
    /// [`UnknownUnit`] names the spelling and lists the known ones.
    pub fn parse(spelling: &str) -> Result<Self, UnknownUnit> {
        let asked = spelling.trim().to_lowercase();
        UNITS
            .iter()
            .find(|row| {
                row.symbol.to_lowercase() == asked
                    || row.suffix == asked
                    || row.also.contains(&asked.as_str())
            })
            .map(|row| row.unit)
            .ok_or_else(|| UnknownUnit { spelling: spelling.to_owned() })
    }

    /// What the unit measures.
    #[must_use]
    pub fn quantity(self) -> Quantity {
        self.row().quantity
    }

    /// The unit of the values that are read from a readout in this unit.
    #[must_use]
    pub fn of_values(self) -> Self {
        if self == Self::MinutesAndSeconds { Self::Seconds } else { self }
    }

    /// The unit as printed for a reader, such as `km/h`.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        self.row().symbol
    }

    /// The unit as written in column names, such as `kmh`.
    #[must_use]
    pub fn suffix(self) -> &'static str {
        self.row().suffix
    }

    /// How many SI units (see [`Quantity`]) one of this unit is.
    #[must_use]
    pub fn si_per_unit(self) -> f64 {
        self.row().si_per_unit
    }

    /// All units, in the order of the table.
    pub fn all() -> impl Iterator<Item = Self> {
        UNITS.iter().map(|row| row.unit)
    }

    /// A value of this unit in another unit of the same quantity; `None` when they measure different
    /// things.
    #[must_use]
    pub fn convert(self, value: f64, to: Self) -> Option<f64> {
        (self.quantity() == to.quantity()).then(|| value * (self.si_per_unit() / to.si_per_unit()))
    }

    /// The symbols of all units, for messages.
    #[must_use]
    pub fn spellings() -> String {
        UNITS.iter().map(|row| row.symbol).collect::<Vec<_>>().join(", ")
    }

    fn row(self) -> &'static UnitRow {
        // Every variant has its row; a test walks through them.
        UNITS.iter().find(|row| row.unit == self).unwrap_or(&UNITS[0])
    }
}

impl TryFrom<String> for Unit {
    type Error = UnknownUnit;

    fn try_from(spelling: String) -> Result<Self, Self::Error> {
        Self::parse(&spelling)
    }
}

impl From<Unit> for String {
    fn from(unit: Unit) -> Self {
        unit.symbol().to_owned()
    }
}

/// The units that results are wanted in; where none is named, the overlay's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ResultUnits {
    /// For speeds.
    pub speed: Option<Unit>,
    /// For altitudes.
    pub length: Option<Unit>,
}

/// A list of wanted units that cannot be followed.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum ResultUnitsError {
    /// A spelling names no unit.
    #[error("unknown unit \"{spelling}\": use mph, km/h, kn or m/s, and ft or m")]
    Unknown {
        /// The spelling as met.
        spelling: String,
    },
    /// A unit is neither one of speed nor one of height.
    #[error("\"{spelling}\" measures neither a speed nor a height: use mph, km/h, kn or m/s, and ft or m")]
    NeitherSpeedNorLength {
        /// The spelling as met.
        spelling: String,
    },
    /// Two units for one quantity.
    #[error("\"{spelling}\" is a second unit for the same: name one for speed and one for height")]
    Twice {
        /// The spelling of the second.
        spelling: String,
    },
}

impl ResultUnits {
    /// Reads a list such as `mph,ft`, in any order, either left out.
    ///
    /// # Errors
    /// [`ResultUnitsError`] names the spelling and what can stand there.
    pub fn parse(list: &str) -> Result<Self, ResultUnitsError> {
        let mut wanted = Self::default();
        for spelling in list.split(',').map(str::trim).filter(|spelling| !spelling.is_empty()) {
            let unit = Unit::parse(spelling)
                .map_err(|UnknownUnit { spelling }| ResultUnitsError::Unknown { spelling })?;
            let spelling = spelling.to_owned();
            let place = match unit.quantity() {
                Quantity::Speed => &mut wanted.speed,
                Quantity::Length => &mut wanted.length,
                _ => return Err(ResultUnitsError::NeitherSpeedNorLength { spelling }),
            };
            if place.replace(unit).is_some() {
                return Err(ResultUnitsError::Twice { spelling });
            }
        }
        Ok(wanted)
    }
}

/// Height above the field, in the unit of the altitude shown above sea level, given the field's
/// elevation above sea level as (value, unit). `None` when either is not a length.
#[must_use]
pub fn height_above_field(shown: f64, unit: Unit, elevation: (f64, Unit)) -> Option<f64> {
    let field = elevation.1.convert(elevation.0, unit)?;
    (unit.quantity() == Quantity::Length).then_some(shown - field)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn every_unit_is_found_under_its_symbol_and_its_suffix() {
        for row in &UNITS {
            assert_eq!(Unit::parse(row.symbol).unwrap(), row.unit);
            assert_eq!(Unit::parse(row.suffix).unwrap(), row.unit);
            assert_eq!(row.unit.symbol(), row.symbol);
        }
    }

    #[test]
    fn factors_are_those_of_nist_sp_811() {
        // NIST SP 811 Appendix B: 1 mi = 1609.344 m, 1 nautical mile = 1852 m, 1 ft = 0.3048 m, all exact.
        assert_eq!(Unit::MilesPerHour.si_per_unit(), 1609.344 / 3600.0);
        assert_eq!(Unit::Knots.si_per_unit(), 1852.0 / 3600.0);
        assert_eq!(Unit::Feet.si_per_unit(), 0.3048);
        // 1 kn = 1.150779448 mph, the same source.
        let kn_in_mph = Unit::Knots.si_per_unit() / Unit::MilesPerHour.si_per_unit();
        assert!((kn_in_mph - 1.150_779_448).abs() < 1e-9);
    }

    #[test]
    fn values_convert_within_a_quantity_only() {
        // NIST SP 811 Appendix B: 1 ft = 0.3048 m exactly.
        assert_eq!(Unit::Feet.convert(1000.0, Unit::Metres), Some(1000.0 * 0.3048));
        assert_eq!(Unit::Feet.convert(1000.0, Unit::Knots), None);
    }

    #[test]
    fn height_above_the_field_is_what_is_left_of_the_altitude() {
        // Common practice, no source: 864 ft shown over a field at 800 ft.
        assert_eq!(height_above_field(864.0, Unit::Feet, (800.0, Unit::Feet)), Some(64.0));
        let metric = height_above_field(864.0, Unit::Feet, (243.84, Unit::Metres)).unwrap();
        assert!((metric - 64.0).abs() < 1e-9, "{metric}");
        assert_eq!(height_above_field(864.0, Unit::Feet, (800.0, Unit::Volts)), None);
    }

    #[test]
    fn an_unknown_unit_is_named_with_the_known_ones() {
        let message = Unit::parse("furlong").unwrap_err().to_string();
        assert!(message.contains("\"furlong\"") && message.contains("km/h"), "{message}");
    }
}
