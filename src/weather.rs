//! Wind and air as a person tells them, in the trade's units or with their own.

use std::ops::RangeInclusive;

use thiserror::Error;

use crate::air::ZERO_CELSIUS_K;
use crate::model::quantity::number_and_rest;
use crate::model::units::{Quantity, Unit};

/// Temperatures taken, in kelvin.
const TEMPERATURES_K: RangeInclusive<f64> = 223.15..=333.15;
/// Pressures taken, in pascal.
const PRESSURES_PA: RangeInclusive<f64> = 50_000.0..=110_000.0;
/// Elevations taken, in metres above sea level.
const ELEVATIONS_M: RangeInclusive<f64> = -500.0..=6000.0;
/// Speeds of the wind taken, in m/s.
const WINDS_MPS: RangeInclusive<f64> = 0.0..=60.0;
/// Directions taken, in degrees: counted clockwise from north, or the other way below 0.
pub const DIRECTIONS_DEG: RangeInclusive<f64> = -360.0..=360.0;

/// Pascal in a hectopascal, and in an inch of mercury (NIST SP 811, Appendix B; not exact).
const HECTOPASCAL_PA: f64 = 100.0;
const INCH_OF_MERCURY_PA: f64 = 3386.389;

/// Why something told of the weather cannot be followed: what was told, and how to mend it.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{text}: {mend}")]
pub struct WeatherError {
    /// What was told.
    pub text: String,
    /// How to mend it.
    pub mend: Mend,
}

/// What to tell instead.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum Mend {
    /// A wind in its form.
    #[error("give speed and the direction the wind comes from, such as 4@270, 4m/s@270 or 9mph@270")]
    WindForm,
    /// A unit of the wind, since the overlay's is not known.
    #[error("the setup tells no unit of the speed: give one with the wind, such as 4m/s@270")]
    WindUnit,
    /// A wind that can be flown in.
    #[error("the speed of the wind may be 0 to 60 m/s (134 mph)")]
    WindSpeed,
    /// A direction of the wind.
    #[error("the direction may be 0 to 360 degrees")]
    WindDirection,
    /// A course.
    #[error("give degrees clockwise from north, 0 to 360, such as 270")]
    Course,
    /// A temperature.
    #[error("give -50 to 60 degrees Celsius, such as 24, or 75F")]
    Temperature,
    /// A pressure.
    #[error("give 500 to 1100 hPa, such as 1013, or 29.92inHg")]
    Pressure,
    /// An elevation.
    #[error("give -500 to 6000 m, such as 1280m or 4200ft")]
    Elevation,
}

impl Mend {
    fn of(self, text: &str) -> WeatherError {
        WeatherError { text: text.to_owned(), mend: self }
    }
}

/// Reads a wind such as `4@270`, `4m/s@270` or `9mph@270` into its speed in m/s and the direction it comes
/// from, in degrees clockwise from north; without a unit it is in `usual`.
///
/// # Errors
/// [`WeatherError`] where it has another form, no unit is known, or there is no such wind.
pub fn wind(text: &str, usual: Option<Unit>) -> Result<(f64, f64), WeatherError> {
    let form = || Mend::WindForm.of(text);
    let (speed, from) = text.split_once('@').ok_or_else(form)?;
    let (from_deg, _) = number_and_rest(from).filter(|(_, rest)| rest.is_empty()).ok_or_else(form)?;
    if usual.is_none() && number_and_rest(speed).is_some_and(|(_, unit)| unit.is_empty()) {
        return Err(Mend::WindUnit.of(text));
    }
    let speed_mps = si(speed, Quantity::Speed, usual).ok_or_else(form)?;
    let speed_mps = within(speed_mps, &WINDS_MPS).ok_or_else(|| Mend::WindSpeed.of(text))?;
    let from_deg = within(from_deg, &DIRECTIONS_DEG).ok_or_else(|| Mend::WindDirection.of(text))?;
    Ok((speed_mps, from_deg))
}

/// Reads a course over the ground such as `270`, in degrees clockwise from north.
///
/// # Errors
/// [`WeatherError`] where it is no direction.
pub fn course_deg(text: &str) -> Result<f64, WeatherError> {
    let degrees = number_and_rest(text).filter(|(_, rest)| matches!(*rest, "" | "°"));
    degrees.and_then(|(degrees, _)| within(degrees, &DIRECTIONS_DEG)).ok_or_else(|| Mend::Course.of(text))
}

/// Reads a temperature such as `24` (Celsius) or `75F`, into kelvin.
///
/// # Errors
/// [`WeatherError`] where it is none, or none that is flown in.
pub fn temperature_k(text: &str) -> Result<f64, WeatherError> {
    let kelvin = number_and_rest(text).and_then(|(number, unit)| match unit.to_lowercase().as_str() {
        "" | "c" | "°c" => Some(number + ZERO_CELSIUS_K),
        "f" | "°f" => Some((number - 32.0) / 1.8 + ZERO_CELSIUS_K),
        _ => None,
    });
    kelvin.and_then(|kelvin| within(kelvin, &TEMPERATURES_K)).ok_or_else(|| Mend::Temperature.of(text))
}

/// Reads a pressure such as `1013` (hPa) or `29.92inHg`, into pascal.
///
/// # Errors
/// [`WeatherError`] where it is none, or none of the air at a field.
pub fn pressure_pa(text: &str) -> Result<f64, WeatherError> {
    let pascal = number_and_rest(text).and_then(|(number, unit)| match unit.to_lowercase().as_str() {
        "" | "hpa" | "mbar" | "mb" => Some(number * HECTOPASCAL_PA),
        "inhg" => Some(number * INCH_OF_MERCURY_PA),
        _ => None,
    });
    pascal.and_then(|pascal| within(pascal, &PRESSURES_PA)).ok_or_else(|| Mend::Pressure.of(text))
}

/// Reads the elevation of a field such as `1280m` or `4200ft`, into metres above sea level; without a unit
/// it is in `usual`, else in metres.
///
/// # Errors
/// [`WeatherError`] where it is none, or no field lies so high.
pub fn elevation_m(text: &str, usual: Option<Unit>) -> Result<f64, WeatherError> {
    si(text, Quantity::Length, usual.or(Some(Unit::Metres)))
        .and_then(|metres| within(metres, &ELEVATIONS_M))
        .ok_or_else(|| Mend::Elevation.of(text))
}

fn within(value: f64, range: &RangeInclusive<f64>) -> Option<f64> {
    range.contains(&value).then_some(value)
}

/// A number with a unit of `quantity`, or without one in `usual`, in SI units.
fn si(text: &str, quantity: Quantity, usual: Option<Unit>) -> Option<f64> {
    let (number, rest) = number_and_rest(text)?;
    let unit = if rest.is_empty() { usual } else { Unit::parse(rest).ok() };
    unit.filter(|unit| unit.quantity() == quantity).map(|unit| number * unit.si_per_unit())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn near(value: f64, expected: f64) {
        assert!((value - expected).abs() < 1e-6 * expected.abs().max(1.0), "{value} instead of {expected}");
    }

    #[test]
    fn winds_are_read_with_and_without_a_unit() {
        let (speed, from) = wind("10@270", Some(Unit::MilesPerHour)).unwrap();
        near(speed, 4.4704);
        near(from, 270.0);
        near(wind(" 4.5 m/s @ 30", None).unwrap().0, 4.5);
        near(wind("10kn@-90", None).unwrap().1, -90.0);
        for text in
            ["10@270", "10", "@270", "x@270", "10V@270", "10m/s@west", "-3m/s@270", "999m/s@1", "4m/s@400"]
        {
            assert!(wind(text, None).is_err_and(|error| error.text == text), "{text}");
        }
    }

    #[test]
    fn a_wind_that_cannot_be_is_refused_for_its_reason() {
        let mend = |text: &str, unit: Option<Unit>| wind(text, unit).unwrap_err().mend;
        let metric = Some(Unit::MetresPerSecond);
        assert_eq!(mend("90m/s@262", metric), Mend::WindSpeed);
        assert_eq!(mend("4@400", metric), Mend::WindDirection);
        assert_eq!(mend("4@270", None), Mend::WindUnit);
        assert_eq!(mend("brisk", metric), Mend::WindForm);
        let said = wind("4@400", metric).unwrap_err().to_string();
        assert_eq!(said, "4@400: the direction may be 0 to 360 degrees");
    }

    #[test]
    fn weather_is_read_in_the_trades_units() {
        near(temperature_k("75F").unwrap(), 297.038_888_888_9);
        near(temperature_k("-4").unwrap(), 269.15);
        near(pressure_pa("29.92 inHg").unwrap(), 29.92 * 3386.389);
        near(pressure_pa("1013.25hPa").unwrap(), 101_325.0);
        near(elevation_m("4200ft", None).unwrap(), 1280.16);
        near(elevation_m("100", Some(Unit::Feet)).unwrap(), 30.48);
        near(course_deg(" 262 ").unwrap(), 262.0);
        near(course_deg("-90°").unwrap(), -90.0);
        for wrong in ["", "hot", "99999", "12Q", "nan", "inf", "1e300", "--3", "°"] {
            assert!(temperature_k(wrong).is_err() && pressure_pa(wrong).is_err(), "{wrong}");
            assert!(elevation_m(wrong, None).is_err() && course_deg(wrong).is_err(), "{wrong}");
        }
    }
}
