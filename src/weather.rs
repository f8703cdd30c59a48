//! Parses wind, temperature, pressure, elevation and course as a pilot writes them, with or without a unit.

use std::ops::RangeInclusive;

use thiserror::Error;

use crate::air::ZERO_CELSIUS_K;
use crate::airspeed::Wind;
use crate::model::quantity::number_and_rest;
use crate::model::units::{Quantity, Unit};

/// Range of accepted temperatures, in kelvin (set by judgement).
const TEMPERATURES_K: RangeInclusive<f64> = 223.15..=333.15;
/// Range of accepted pressures, in pascal (set by judgement).
const PRESSURES_PA: RangeInclusive<f64> = 50_000.0..=110_000.0;
/// Range of accepted elevations, in metres above sea level (set by judgement).
const ELEVATIONS_M: RangeInclusive<f64> = -500.0..=6000.0;
/// Range of accepted wind speeds, in m/s (set by judgement).
const WINDS_MPS: RangeInclusive<f64> = 0.0..=60.0;
/// Range of accepted directions, in degrees clockwise from north; negative numbers are anticlockwise (set by
/// judgement).
pub const DIRECTIONS_DEG: RangeInclusive<f64> = -360.0..=360.0;

/// Number of pascals in a hectopascal.
const HECTOPASCAL_PA: f64 = 100.0;

/// Number of pascals in an inch of mercury (NIST SP 811, Appendix B; rounded there).
const INCH_OF_MERCURY_PA: f64 = 3386.389;

/// A value of the weather that cannot be used, and what to write instead.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{text}: {fix}")]
pub struct WeatherError {
    /// The value as the pilot wrote it.
    pub text: String,
    /// What to write instead.
    pub fix: WeatherFix,
}

/// What to write instead of a value that cannot be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum WeatherFix {
    /// A wind as speed and direction, such as `4@270`.
    #[error("give speed and the direction the wind comes from, such as 4@270, 4m/s@270 or 9mph@270")]
    WindForm,
    /// A wind with a unit, since the unit of the overlay is not known.
    #[error("the setup states no unit for the speed: write a unit with the wind, such as 4m/s@270")]
    WindUnit,
    /// A plausible wind speed.
    #[error("the speed of the wind may be 0 to 60 m/s (134 mph)")]
    WindSpeed,
    /// A wind direction within the accepted range.
    #[error("the direction may be 0 to 360 degrees")]
    WindDirection,
    /// A course within the accepted range.
    #[error("give degrees clockwise from north, 0 to 360, such as 270")]
    Course,
    /// A temperature within the accepted range.
    #[error("give -50 to 60 degrees Celsius, such as 24, or 75F")]
    Temperature,
    /// A pressure within the accepted range.
    #[error("give 500 to 1100 hPa, such as 1013, or 29.92inHg")]
    Pressure,
    /// An elevation within the accepted range.
    #[error("give -500 to 6000 m, such as 1280m or 4200ft")]
    Elevation,
}

impl WeatherFix {
    fn of(self, text: &str) -> WeatherError {
        WeatherError { text: text.to_owned(), fix: self }
    }
}

/// Parses a wind such as `4@270`, `4m/s@270` or `9mph@270` into its speed in m/s and the direction it comes
/// from, in degrees clockwise from north. A speed without a unit is in `default_unit`.
///
/// # Errors
///
/// [`WeatherError`] if the form is different, no unit is known, or the wind is out of range.
pub fn wind(text: &str, default_unit: Option<Unit>) -> Result<Wind, WeatherError> {
    let form = || WeatherFix::WindForm.of(text);
    let (speed, from) = text.split_once('@').ok_or_else(form)?;
    let (from_deg, _) = number_and_rest(from).filter(|(_, rest)| rest.is_empty()).ok_or_else(form)?;
    if default_unit.is_none() && number_and_rest(speed).is_some_and(|(_, unit)| unit.is_empty()) {
        return Err(WeatherFix::WindUnit.of(text));
    }
    let speed_mps = si(speed, Quantity::Speed, default_unit).ok_or_else(form)?;
    let speed_mps = within(speed_mps, &WINDS_MPS).ok_or_else(|| WeatherFix::WindSpeed.of(text))?;
    let from_deg = within(from_deg, &DIRECTIONS_DEG).ok_or_else(|| WeatherFix::WindDirection.of(text))?;
    Ok(Wind { speed_mps, from_deg })
}

/// Parses a course over the ground such as `270`, in degrees clockwise from north.
///
/// # Errors
///
/// [`WeatherError`] if the text is not a direction.
pub fn course_deg(text: &str) -> Result<f64, WeatherError> {
    let degrees = number_and_rest(text).filter(|(_, rest)| matches!(*rest, "" | "°"));
    degrees
        .and_then(|(degrees, _)| within(degrees, &DIRECTIONS_DEG))
        .ok_or_else(|| WeatherFix::Course.of(text))
}

/// Parses a temperature such as `24` (Celsius) or `75F`, into kelvin.
///
/// # Errors
///
/// [`WeatherError`] if the text is not a temperature, or out of range.
pub fn temperature_k(text: &str) -> Result<f64, WeatherError> {
    let kelvin = number_and_rest(text).and_then(|(number, unit)| match unit.to_lowercase().as_str() {
        "" | "c" | "°c" => Some(number + ZERO_CELSIUS_K),
        "f" | "°f" => Some((number - 32.0) / 1.8 + ZERO_CELSIUS_K),
        _ => None,
    });
    kelvin.and_then(|kelvin| within(kelvin, &TEMPERATURES_K)).ok_or_else(|| WeatherFix::Temperature.of(text))
}

/// Parses a pressure such as `1013` (hPa) or `29.92inHg`, into pascal.
///
/// # Errors
///
/// [`WeatherError`] if the text is not a pressure, or out of range.
pub fn pressure_pa(text: &str) -> Result<f64, WeatherError> {
    let pascal = number_and_rest(text).and_then(|(number, unit)| match unit.to_lowercase().as_str() {
        "" | "hpa" | "mbar" | "mb" => Some(number * HECTOPASCAL_PA),
        "inhg" => Some(number * INCH_OF_MERCURY_PA),
        _ => None,
    });
    pascal.and_then(|pascal| within(pascal, &PRESSURES_PA)).ok_or_else(|| WeatherFix::Pressure.of(text))
}

/// Parses the elevation of a field such as `1280m` or `4200ft`, into metres above sea level. A number without
/// a unit is in `default_unit`, or in metres if that is `None`.
///
/// # Errors
///
/// [`WeatherError`] if the text is not an elevation, or out of range.
pub fn elevation_m(text: &str, default_unit: Option<Unit>) -> Result<f64, WeatherError> {
    si(text, Quantity::Length, default_unit.or(Some(Unit::Metres)))
        .and_then(|metres| within(metres, &ELEVATIONS_M))
        .ok_or_else(|| WeatherFix::Elevation.of(text))
}

fn within(value: f64, range: &RangeInclusive<f64>) -> Option<f64> {
    range.contains(&value).then_some(value)
}

/// Parses a number in a unit of `quantity` and converts it to SI units. A number without a unit is in
/// `default_unit`. `None` if the text is not such a number, or if it has no unit and `default_unit` is `None`.
fn si(text: &str, quantity: Quantity, default_unit: Option<Unit>) -> Option<f64> {
    let (number, rest) = number_and_rest(text)?;
    let unit = if rest.is_empty() { default_unit } else { Unit::parse(rest).ok() };
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
        let in_miles = wind("10@270", Some(Unit::MilesPerHour)).unwrap();
        near(in_miles.speed_mps, 4.4704);
        near(in_miles.from_deg, 270.0);
        near(wind(" 4.5 m/s @ 30", None).unwrap().speed_mps, 4.5);
        near(wind("10kn@-90", None).unwrap().from_deg, -90.0);
        for text in
            ["10@270", "10", "@270", "x@270", "10V@270", "10m/s@west", "-3m/s@270", "999m/s@1", "4m/s@400"]
        {
            assert!(wind(text, None).is_err_and(|error| error.text == text), "{text}");
        }
    }

    #[test]
    fn a_wind_that_cannot_be_is_refused_for_its_reason() {
        let fix = |text: &str, unit: Option<Unit>| wind(text, unit).unwrap_err().fix;
        let metric = Some(Unit::MetresPerSecond);
        assert_eq!(fix("90m/s@262", metric), WeatherFix::WindSpeed);
        assert_eq!(fix("4@400", metric), WeatherFix::WindDirection);
        assert_eq!(fix("4@270", None), WeatherFix::WindUnit);
        assert_eq!(fix("brisk", metric), WeatherFix::WindForm);
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
