//! Options that state the wind, the air, the course and the units.

use clap::{Args, ValueEnum};
use pairspeed::ReadOptions;
use pairspeed::air::{Datum, GivenAir, Pressure};
use pairspeed::airspeed::GivenWind;
use pairspeed::airspeed::multileg::HeadingReference;
use pairspeed::model::channel::Channel;
use pairspeed::model::units::{ResultUnits, Unit};
use pairspeed::setup::{Region, Setup};
use pairspeed::weather::{self, WeatherError};

use super::Failure;
use super::numbers::{course, number};

/// Options for the weather and the units of the results.
#[derive(Debug, Args)]
#[command(next_help_heading = "Wind, air and units")]
pub struct FlightConditions {
    /// Wind speed and the direction it comes from, such as 4@270 or 9mph@270: corrects the airspeed for
    /// crosswind. Default unit: that of the overlay's speed
    #[arg(long, value_name = "SPEED@DEGREES", allow_hyphen_values = true)]
    wind: Option<String>,
    /// Course of the legs over the ground, in either direction, in degrees; needed for --wind if the
    /// overlay shows no course
    #[arg(long, value_name = "DEGREES", value_parser = course, allow_negative_numbers = true)]
    course: Option<f64>,
    /// What the overlay's heading shows: the track over the ground (satellite receiver) or the direction of
    /// the nose (compass)
    #[arg(long, value_enum, value_name = "WHAT", default_value_t = Heading::Track)]
    heading_is: Heading,
    /// Temperature at the field, such as 24 (Celsius) or 75F
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true)]
    temperature: Option<String>,
    /// Pressure that a barometer at the field shows, such as 940 (hPa) or 27.8inHg
    #[arg(long, value_name = "PRESSURE", conflicts_with = "qnh", allow_hyphen_values = true)]
    pressure: Option<String>,
    /// Pressure reduced to sea level, from a forecast or an airfield, such as 1018 (hPa) or 30.06inHg
    #[arg(long, value_name = "PRESSURE", allow_hyphen_values = true)]
    qnh: Option<String>,
    /// Elevation of the field above sea level, such as 1280 (in the unit of the overlay's altitude, or
    /// metres) or 4200ft
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true)]
    field_elevation: Option<String>,
    /// What the altitude shown is measured from; detected if the aircraft stood on the ground at the start or
    /// end
    #[arg(long, value_enum, value_name = "WHERE")]
    altitude_from: Option<AltitudeFrom>,
    /// Units of the results, such as mph,ft: mph, km/h, kn or m/s, and ft or m
    #[arg(long, value_name = "SPEED[,HEIGHT]")]
    units: Option<String>,
    /// Pack voltage below which a leg is flagged. Default: from the description of the aircraft, or 3.5 V per
    /// cell
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

impl FlightConditions {
    /// Sets the options of a reading from these command line options.
    pub fn apply_to(&self, setup: &Setup, options: &mut ReadOptions) -> Result<(), Failure> {
        let unit = |channel: Channel| setup.region(&channel).and_then(Region::unit_shown);
        let list = self.units.as_deref().unwrap_or_default();
        options.units = ResultUnits::parse(list).map_err(|error| wrong("units", list, &error.to_string()))?;
        options.wind = self.given_wind(unit(Channel::Speed))?;
        options.air = self.given_air(unit(Channel::Altitude))?;
        if let Some(volts) = self.least_voltage.filter(|volts| !(0.0..=1000.0).contains(volts)) {
            return Err(wrong(
                "least-voltage",
                &volts.to_string(),
                "give the voltage of the whole pack, such as 21",
            ));
        }
        options.legs.min_voltage_v = self.least_voltage;
        Ok(())
    }

    fn given_wind(&self, speed_unit: Option<Unit>) -> Result<GivenWind, Failure> {
        let heading_reference = match self.heading_is {
            Heading::Track => HeadingReference::Track,
            Heading::Nose => HeadingReference::Heading,
        };
        let wind = given("wind", self.wind.as_deref(), |text| weather::wind(text, speed_unit))?;
        Ok(GivenWind { wind, course_deg: self.course, heading_reference })
    }

    fn given_air(&self, altitude_unit: Option<Unit>) -> Result<GivenAir, Failure> {
        let at_field = given("pressure", self.pressure.as_deref(), weather::pressure_pa)?;
        let reduced = given("qnh", self.qnh.as_deref(), weather::pressure_pa)?;
        let elevation = |text: &str| weather::elevation_m(text, altitude_unit);
        Ok(GivenAir {
            field_elevation_m: given("field-elevation", self.field_elevation.as_deref(), elevation)?,
            temperature_k: given("temperature", self.temperature.as_deref(), weather::temperature_k)?,
            pressure: at_field.map(Pressure::AtField).or(reduced.map(Pressure::SeaLevel)),
            datum: self.altitude_from.map(|from| match from {
                AltitudeFrom::SeaLevel => Datum::SeaLevel,
                AltitudeFrom::Field => Datum::Field,
            }),
        })
    }
}

/// Parses the value of a command line option with `read`; `None` if the option is not given. `option` is the
/// option's name, for the error message.
fn given<T>(
    option: &str,
    text: Option<&str>,
    read: impl FnOnce(&str) -> Result<T, WeatherError>,
) -> Result<Option<T>, Failure> {
    text.map(read).transpose().map_err(|error| Failure::Misuse(format!("--{option} {error}")))
}

fn wrong(option: &str, text: &str, fix: &str) -> Failure {
    Failure::Misuse(format!("--{option} {text}: {fix}"))
}
