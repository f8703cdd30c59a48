//! The air that a flight was flown in, from the pilot's values, the overlay and the standard atmosphere.

use super::{Air, Datum, GivenAir, at_sea_level, datum};
use crate::advice::{Advice, FlightNote};
use crate::legs::Leg;
use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::series::Series;
use crate::stats::median;

/// The air that a flight's legs were flown in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FlightAir {
    /// What the shown altitude is measured from; `None` if that is neither given nor recognised.
    pub datum: Option<Datum>,
    /// Whether the pilot gave `datum`.
    pub datum_given: bool,
    /// Elevation of the field above sea level, in metres: given, or the altitude shown on the ground. `None`
    /// if neither is known.
    pub field_elevation_m: Option<f64>,
    /// Typical height of the legs above the field, in metres; 0 where it is not known.
    pub height_m: f64,
    /// Whether the temperature is that of the standard atmosphere.
    pub standard_temperature: bool,
    /// Whether the pressure is that of the standard atmosphere.
    pub standard_pressure: bool,
    /// The air at the typical height of the legs; `None` if too little is known.
    pub at_legs: Option<Air>,
}

impl FlightAir {
    /// The airspeed that the same power would give at sea level in the standard atmosphere, in the unit of
    /// `airspeed`; `None` if the air is not known.
    #[must_use]
    pub fn at_sea_level(&self, airspeed: f64) -> Option<f64> {
        self.at_legs.map(|air| at_sea_level(airspeed, air.density_ratio()))
    }

    /// A note to the pilot on values of the air that are missing or assumed; `None` if there are none.
    #[must_use]
    pub fn note(&self) -> Option<FlightNote> {
        if self.at_legs.is_none() {
            return Some(FlightNote {
                sentence: "The air density is not known: give the elevation of the field, or temperature and pressure."
                    .to_owned(),
                advice: Some(Advice::GiveElevationOrAir),
            });
        }
        // The density is proportional to p / T, and the airspeed at sea level to the cube root of the density.
        let (missing, deviation) = match (self.standard_temperature, self.standard_pressure) {
            (true, true) => ("Temperature and pressure are", "10 degrees Celsius or 30 hPa"),
            (true, false) => ("The temperature is", "10 degrees Celsius"),
            (false, true) => ("The pressure is", "30 hPa"),
            (false, false) => return None,
        };
        let advice = match (self.standard_temperature, self.standard_pressure) {
            (true, true) => Advice::GiveTemperatureAndPressure,
            (true, false) => Advice::GiveTemperature,
            _ => Advice::GivePressure,
        };
        let sentence = format!(
            "{missing} not given: the standard atmosphere is used instead to compute the air density. If the true value deviates from it by {deviation}, the airspeed converted to sea-level density is wrong by about 1 %."
        );
        Some(FlightNote { sentence, advice: Some(advice) })
    }
}

/// The air of a flight from the pilot's values and the overlay.
#[must_use]
pub fn of_flight(series: &Series, legs: &[Leg], given: &GivenAir) -> FlightAir {
    let recognised = datum(series, given.field_elevation_m);
    let datum = given.datum.or(recognised.map(|recognised| recognised.datum));
    let standing_m = recognised.map(|recognised| recognised.standing_m);
    let shown_elevation_m = standing_m.filter(|_| datum == Some(Datum::SeaLevel));
    let field_elevation_m = given.field_elevation_m.or(shown_elevation_m);
    let altitude_m = legs_altitude_m(series, legs);
    // The difference from the altitude shown on the ground cancels the offset of the receiver.
    let ground_m = match datum {
        Some(Datum::Field) => Some(0.0),
        Some(Datum::SeaLevel) => standing_m.or(field_elevation_m),
        None => None,
    };
    let height_m = altitude_m.zip(ground_m).map_or(0.0, |(altitude_m, ground_m)| altitude_m - ground_m);
    FlightAir {
        datum,
        datum_given: given.datum.is_some(),
        field_elevation_m,
        height_m,
        standard_temperature: given.temperature_k.is_none(),
        standard_pressure: given.pressure.is_none(),
        at_legs: given.at_field(field_elevation_m).map(|air| air.above(height_m)),
    }
}

/// Median altitude of the legs as shown, in metres; `None` if the overlay shows no altitude that changes, or
/// none during a leg.
fn legs_altitude_m(series: &Series, legs: &[Leg]) -> Option<f64> {
    let unit = series.alive(&Channel::Altitude)?.unit;
    let altitudes: Vec<f64> = legs.iter().filter_map(|leg| leg.altitude).collect();
    let usual = median(&altitudes)?;
    Some(usual * unit.map_or(1.0, Unit::si_per_unit))
}
