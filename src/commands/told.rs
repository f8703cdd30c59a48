//! What the pilot tells of air, wind, course and units on the command line.

use clap::{Args, ValueEnum};
use pairspeed::ReadOptions;
use pairspeed::air::{AirTold, Datum, Pressure, ZERO_CELSIUS_K};
use pairspeed::airspeed::ToldWind;
use pairspeed::airspeed::multileg::Held;
use pairspeed::channel::Channel;
use pairspeed::setup::Setup;
use pairspeed::units::{Quantity, ResultUnits, Unit};

use super::Failure;
use super::numbers::{course, number};

/// Options of the weather and of how results are given.
#[derive(Debug, Args)]
#[command(next_help_heading = "Wind, air and units")]
pub struct ToldArguments {
    /// Wind and the direction it comes from, such as 4@270 or 9mph@270: takes the crosswind out of the
    /// airspeed. Without a unit, in that of the overlay's speed
    #[arg(long, value_name = "SPEED@DEGREES", allow_hyphen_values = true)]
    wind: Option<String>,
    /// Course of the legs over the ground, either way, in degrees; needed for --wind where the overlay
    /// shows no course
    #[arg(long, value_name = "DEGREES", value_parser = course, allow_negative_numbers = true)]
    course: Option<f64>,
    /// What the overlay's heading is: the track over the ground (satellite receiver) or the nose (compass)
    #[arg(long, value_enum, value_name = "WHAT", default_value_t = Heading::Track)]
    heading_is: Heading,
    /// Temperature at the field, such as 24 (Celsius) or 75F
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true)]
    temperature: Option<String>,
    /// Pressure as a barometer at the field shows it, such as 940 (hPa) or 27.8inHg
    #[arg(long, value_name = "PRESSURE", conflicts_with = "qnh", allow_hyphen_values = true)]
    pressure: Option<String>,
    /// Pressure reduced to sea level, as forecasts and airfields give it, such as 1018 (hPa) or 30.06inHg
    #[arg(long, value_name = "PRESSURE", allow_hyphen_values = true)]
    qnh: Option<String>,
    /// Elevation of the field above sea level, such as 1280 (in the unit of the overlay's altitude, else
    /// metres) or 4200ft
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true)]
    field_elevation: Option<String>,
    /// What the altitude shown counts from; recognised where the aircraft stood at the start or end
    #[arg(long, value_enum, value_name = "WHERE")]
    altitude_from: Option<AltitudeFrom>,
    /// Units of the results, such as mph,ft: mph, km/h, kn or m/s, and ft or m
    #[arg(long, value_name = "SPEED[,HEIGHT]")]
    units: Option<String>,
    /// Pack voltage below which a leg is flagged; without it that of the aircraft's notes, or 3.5 V a cell
    #[arg(long, value_name = "VOLTS", value_parser = number, allow_negative_numbers = true)]
    least_voltage: Option<f64>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Heading {
    Track,
    Nose,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum AltitudeFrom {
    SeaLevel,
    Field,
}

/// What is told must lie within these: temperatures in kelvin, pressures in pascal,
/// elevations in metres, winds in m/s.
const TEMPERATURES_K: (f64, f64) = (223.15, 333.15);
const PRESSURES_PA: (f64, f64) = (50_000.0, 110_000.0);
const ELEVATIONS_M: (f64, f64) = (-500.0, 6000.0);
const WINDS_MPS: (f64, f64) = (0.0, 60.0);
/// Directions in degrees: counted clockwise from north, or the other way below 0.
const DIRECTIONS_DEG: (f64, f64) = (-360.0, 360.0);

impl ToldArguments {
    /// Writes what was told into the options of a reading.
    pub fn tell(&self, setup: &Setup, options: &mut ReadOptions) -> Result<(), Failure> {
        let unit = |channel: Channel| {
            let region = setup.regions.iter().find(|region| region.channel == channel);
            region.and_then(pairspeed::setup::Region::unit_shown)
        };
        let list = self.units.as_deref().unwrap_or_default();
        options.units = ResultUnits::parse(list).map_err(|error| wrong("units", list, &error.to_string()))?;
        options.wind = self.told_wind(unit(Channel::Speed))?;
        options.air = self.told_air(unit(Channel::Altitude))?;
        if let Some(volts) = self.least_voltage.filter(|volts| !(0.0..=1000.0).contains(volts)) {
            return Err(wrong(
                "least-voltage",
                &volts.to_string(),
                "give volts of the whole pack, such as 21",
            ));
        }
        options.legs.least_voltage_v = self.least_voltage;
        Ok(())
    }

    fn told_wind(&self, speed_unit: Option<Unit>) -> Result<ToldWind, Failure> {
        let held = match self.heading_is {
            Heading::Track => Held::Track,
            Heading::Nose => Held::Heading,
        };
        let wind = self.wind.as_deref().map(|text| wind(text, speed_unit)).transpose()?;
        Ok(ToldWind { wind, course_deg: self.course, held })
    }

    fn told_air(&self, altitude_unit: Option<Unit>) -> Result<AirTold, Failure> {
        let pressure = |name, told: &Option<String>, kind: fn(f64) -> Pressure| {
            told.as_deref().map(|text| pressure_pa(name, text).map(kind)).transpose()
        };
        let at_field = pressure("pressure", &self.pressure, Pressure::AtField)?;
        let reduced = pressure("qnh", &self.qnh, Pressure::SeaLevel)?;
        let elevation = |text: &str| elevation_m(text, altitude_unit);
        Ok(AirTold {
            field_elevation_m: self.field_elevation.as_deref().map(elevation).transpose()?,
            temperature_k: self.temperature.as_deref().map(temperature_k).transpose()?,
            pressure: at_field.or(reduced),
            datum: self.altitude_from.map(|from| match from {
                AltitudeFrom::SeaLevel => Datum::SeaLevel,
                AltitudeFrom::Field => Datum::Field,
            }),
        })
    }
}

fn wrong(option: &str, text: &str, mend: &str) -> Failure {
    Failure::Misuse(format!("--{option} {text}: {mend}"))
}

/// The number a text begins with, and what follows it.
fn number_and_rest(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let end =
        text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+'))).unwrap_or(text.len());
    let (number, rest) = text.split_at_checked(end)?;
    Some((number.parse().ok().filter(|number: &f64| number.is_finite())?, rest.trim()))
}

fn within(value: f64, (low, high): (f64, f64)) -> Option<f64> {
    (low..=high).contains(&value).then_some(value)
}

/// A number with a unit of `quantity`, or without one in `usual`, in SI units.
fn si(text: &str, quantity: Quantity, usual: Option<Unit>) -> Option<f64> {
    let (number, rest) = number_and_rest(text)?;
    let unit = if rest.is_empty() { usual } else { Unit::parse(rest).ok() };
    unit.filter(|unit| unit.quantity() == quantity).map(|unit| number * unit.si_per_unit())
}

/// Wind in m/s and the direction it comes from in degrees.
fn wind(text: &str, speed_unit: Option<Unit>) -> Result<(f64, f64), Failure> {
    let no = |mend: &str| wrong("wind", text, mend);
    let form = || no("give speed and the direction the wind comes from, such as 4@270, 4m/s@270 or 9mph@270");
    let (speed, from) = text.split_once('@').ok_or_else(form)?;
    let (from_deg, _) = number_and_rest(from).filter(|(_, rest)| rest.is_empty()).ok_or_else(form)?;
    if speed_unit.is_none() && number_and_rest(speed).is_some_and(|(_, unit)| unit.is_empty()) {
        return Err(no("the setup tells no unit of the speed: give one with the wind, such as 4m/s@270"));
    }
    let speed_mps = si(speed, Quantity::Speed, speed_unit).ok_or_else(form)?;
    let speed_mps = within(speed_mps, WINDS_MPS)
        .ok_or_else(|| no("the speed of the wind may be 0 to 60 m/s (134 mph)"))?;
    let from_deg =
        within(from_deg, DIRECTIONS_DEG).ok_or_else(|| no("the direction may be 0 to 360 degrees"))?;
    Ok((speed_mps, from_deg))
}

fn temperature_k(text: &str) -> Result<f64, Failure> {
    let kelvin = number_and_rest(text).and_then(|(number, unit)| match unit.to_lowercase().as_str() {
        "" | "c" | "°c" => Some(number + ZERO_CELSIUS_K),
        "f" | "°f" => Some((number - 32.0) / 1.8 + ZERO_CELSIUS_K),
        _ => None,
    });
    kelvin
        .and_then(|kelvin| within(kelvin, TEMPERATURES_K))
        .ok_or_else(|| wrong("temperature", text, "give -50 to 60 degrees Celsius, such as 24, or 75F"))
}

/// Pascal in a hectopascal, and in an inch of mercury (NIST SP 811, Appendix B; not exact).
const HECTOPASCAL_PA: f64 = 100.0;
const INCH_OF_MERCURY_PA: f64 = 3386.389;

fn pressure_pa(option: &str, text: &str) -> Result<f64, Failure> {
    let pascal = number_and_rest(text).and_then(|(number, unit)| match unit.to_lowercase().as_str() {
        "" | "hpa" | "mbar" | "mb" => Some(number * HECTOPASCAL_PA),
        "inhg" => Some(number * INCH_OF_MERCURY_PA),
        _ => None,
    });
    pascal
        .and_then(|pascal| within(pascal, PRESSURES_PA))
        .ok_or_else(|| wrong(option, text, "give 500 to 1100 hPa, such as 1013, or 29.92inHg"))
}

fn elevation_m(text: &str, altitude_unit: Option<Unit>) -> Result<f64, Failure> {
    si(text, Quantity::Length, altitude_unit.or(Some(Unit::Metres)))
        .and_then(|metres| within(metres, ELEVATIONS_M))
        .ok_or_else(|| wrong("field-elevation", text, "give -500 to 6000 m, such as 1280m or 4200ft"))
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
            assert!(matches!(wind(text, None), Err(Failure::Misuse(_))), "{text}");
        }
    }

    #[test]
    fn a_wind_that_cannot_be_is_refused_for_its_reason() {
        let said = |text: &str, unit: Option<Unit>| match wind(text, unit) {
            Err(Failure::Misuse(said)) => said,
            other => format!("{other:?}"),
        };
        let metric = Some(Unit::MetresPerSecond);
        assert!(said("90m/s@262", metric).contains("0 to 60 m/s"), "{}", said("90m/s@262", metric));
        assert!(said("4@400", metric).contains("0 to 360 degrees"), "{}", said("4@400", metric));
        assert!(said("4@270", None).contains("no unit of the speed"), "{}", said("4@270", None));
    }

    #[test]
    fn weather_is_read_in_the_trades_units() {
        near(temperature_k("75F").unwrap(), 297.038_888_888_9);
        near(temperature_k("-4").unwrap(), 269.15);
        near(pressure_pa("qnh", "29.92 inHg").unwrap(), 29.92 * 3386.389);
        near(pressure_pa("qnh", "1013.25hPa").unwrap(), 101_325.0);
        near(elevation_m("4200ft", None).unwrap(), 1280.16);
        near(elevation_m("100", Some(Unit::Feet)).unwrap(), 30.48);
        for wrong in ["", "hot", "99999", "12Q"] {
            assert!(temperature_k(wrong).is_err() && pressure_pa("qnh", wrong).is_err(), "{wrong}");
            assert!(elevation_m(wrong, None).is_err(), "{wrong}");
        }
    }
}
