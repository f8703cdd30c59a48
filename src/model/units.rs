//! Units of overlays: their spellings and their factors to SI units.
//!
//! Source of the factors: NIST SP 811, Appendix B. Those of the foot, the mile and the nautical mile are exact.

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
    /// Share of a whole, in per cent.
    Share,
    /// Plane angle, in degrees.
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
    /// Minutes and seconds with a colon between them, as on a clock; values are in seconds.
    MinutesAndSeconds,
}

/// A unit is spelled in a way that is not known.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("unknown unit \"{spelling}\": use one of {}", Unit::spellings())]
pub struct UnknownUnit {
    /// The spelling as given.
    pub spelling: String,
}

/// One row of the unit table.
struct UnitRow {
    unit: Unit,
    quantity: Quantity,
    /// Symbol of the unit in texts for readers.
    symbol: &'static str,
    /// Spelling of the unit in column names: lower-case letters and underscores only.
    suffix: &'static str,
    /// Size of the unit, in the unit that its [`Quantity`] names, which is an SI unit for speed and length.
    si_per_unit: f64,
    /// Other spellings that are accepted, in lower case.
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
    /// Finds a unit by its spelling. Case and surrounding spaces do not matter.
    ///
    /// # Errors
    ///
    /// [`UnknownUnit`] names the spelling and lists the known ones.
    pub fn parse(spelling: &str) -> Result<Self, UnknownUnit> {
        let spelt = spelling.trim().to_lowercase();
        UNITS
            .iter()
            .find(|row| {
                row.symbol.to_lowercase() == spelt
                    || row.suffix == spelt
                    || row.also.contains(&spelt.as_str())
            })
            .map(|row| row.unit)
            .ok_or_else(|| UnknownUnit { spelling: spelling.to_owned() })
    }

    /// The quantity that the unit measures.
    #[must_use]
    pub fn quantity(self) -> Quantity {
        self.row().quantity
    }

    /// The unit of the values that are read from a readout in this unit: seconds for minutes and seconds,
    /// otherwise this unit.
    #[must_use]
    pub fn of_values(self) -> Self {
        if self == Self::MinutesAndSeconds { Self::Seconds } else { self }
    }

    /// The symbol for readers, such as `km/h`.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        self.row().symbol
    }

    /// The spelling in column names, such as `kmh`.
    #[must_use]
    pub fn suffix(self) -> &'static str {
        self.row().suffix
    }

    /// Size of the unit, in the unit that its [`Quantity`] names, which is an SI unit for speed and length.
    #[must_use]
    pub fn si_per_unit(self) -> f64 {
        self.row().si_per_unit
    }

    /// All units, ordered by quantity.
    pub fn all() -> impl Iterator<Item = Self> {
        UNITS.iter().map(|row| row.unit)
    }

    /// Converts a value from this unit to another one; `None` if the units measure different quantities.
    #[must_use]
    pub fn convert(self, value: f64, to: Self) -> Option<f64> {
        (self.quantity() == to.quantity()).then(|| value * (self.si_per_unit() / to.si_per_unit()))
    }

    /// The symbols of all units in one text, separated by commas, for messages.
    #[must_use]
    pub fn spellings() -> String {
        UNITS.iter().map(|row| row.symbol).collect::<Vec<_>>().join(", ")
    }

    fn row(self) -> &'static UnitRow {
        // Every variant has a row; a test checks it.
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

/// The units in which results are stated. `None` stands for the unit of the overlay.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ResultUnits {
    /// Unit of speeds; `None` for that of the overlay.
    pub speed: Option<Unit>,
    /// Unit of altitudes; `None` for that of the overlay.
    pub length: Option<Unit>,
}

/// Why a list of units for the results cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum ResultUnitsError {
    /// A unit is not known.
    #[error("unknown unit \"{spelling}\": use mph, km/h, kn or m/s, and ft or m")]
    Unknown {
        /// The spelling as given.
        spelling: String,
    },
    /// A unit measures neither speed nor length.
    #[error("\"{spelling}\" measures neither a speed nor a height: use mph, km/h, kn or m/s, and ft or m")]
    NeitherSpeedNorLength {
        /// The spelling as given.
        spelling: String,
    },
    /// Two units measure the same quantity.
    #[error("\"{spelling}\" is a second unit for the same quantity: give one for speed and one for height")]
    Twice {
        /// The spelling of the second unit.
        spelling: String,
    },
}

impl ResultUnits {
    /// Parses a list such as `mph,ft`, in any order. Speed, length or both may be left out.
    ///
    /// # Errors
    /// [`ResultUnitsError`] names the wrong unit and the allowed ones.
    pub fn parse(list: &str) -> Result<Self, ResultUnitsError> {
        let mut units = Self::default();
        for spelling in list.split(',').map(str::trim).filter(|spelling| !spelling.is_empty()) {
            let unit = Unit::parse(spelling)
                .map_err(|UnknownUnit { spelling }| ResultUnitsError::Unknown { spelling })?;
            let spelling = spelling.to_owned();
            let slot = match unit.quantity() {
                Quantity::Speed => &mut units.speed,
                Quantity::Length => &mut units.length,
                _ => return Err(ResultUnitsError::NeitherSpeedNorLength { spelling }),
            };
            if slot.replace(unit).is_some() {
                return Err(ResultUnitsError::Twice { spelling });
            }
        }
        Ok(units)
    }
}

/// Height above the field, in `unit`. `shown` is the altitude above sea level, in `unit`; `elevation` is the height
/// of the field above sea level, as a number and its unit. `None` if a unit does not measure a length.
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
    fn every_unit_is_found_by_its_symbol_and_its_suffix() {
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
    fn values_convert_only_within_a_quantity() {
        // NIST SP 811 Appendix B: 1 ft = 0.3048 m exactly.
        assert_eq!(Unit::Feet.convert(1000.0, Unit::Metres), Some(1000.0 * 0.3048));
        assert_eq!(Unit::Feet.convert(1000.0, Unit::Knots), None);
    }

    #[test]
    fn height_above_the_field_is_altitude_minus_elevation() {
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
