//! What makes the readings of a leg doubtful, apart from the speed itself.

use super::note::Note;
use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::series::Series;
use crate::setup::{FULL_CELL_V, LANDING_V_PER_CELL};
use crate::stats;

/// Change of height that is flagged, in metres: a receiver's altitude wanders by a few metres by itself
/// (common practice, no source).
const HEIGHT_CHANGE_M: f64 = 5.0;

/// Fewest satellites that are not flagged: four give a position, more make the speed sound (common
/// practice, no source).
const FEWEST_SATELLITES: f64 = 6.0;

/// Standard acceleration of gravity, in m/s^2.
const GRAVITY: f64 = 9.806_65;

/// The limits of a flight, in its units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Limits {
    altitude_si: f64,
    speed_si: f64,
    min_voltage_v: Option<f64>,
}

impl Limits {
    pub fn of(series: &Series, min_voltage_v: Option<f64>) -> Self {
        let altitude = series.readings.channel(&Channel::Altitude);
        let altitude_si = altitude.and_then(|altitude| altitude.unit).map_or(1.0, Unit::si_per_unit);
        let min_voltage_v = min_voltage_v.or_else(|| landing_limit_v(series));
        Self { altitude_si, speed_si: series.speed_si(), min_voltage_v }
    }

    /// A change of height, worth `dV = g dh / V` by energy at the speed `V`; both in the flight's units.
    pub fn height(&self, change: f64, speed: f64) -> Option<Note> {
        let change_m = change * self.altitude_si;
        let worth = GRAVITY * change_m / (speed * self.speed_si) / self.speed_si;
        (change_m.abs() > HEIGHT_CHANGE_M && worth.is_finite())
            .then_some(Note::HeightChanges { change, worth })
    }

    pub fn satellites(&self, satellites: f64) -> Option<Note> {
        (satellites < FEWEST_SATELLITES).then_some(Note::FewSatellites { satellites })
    }

    pub fn voltage(&self, voltage_v: f64) -> Option<Note> {
        let limit_v = self.min_voltage_v?;
        (voltage_v < limit_v).then_some(Note::LowVoltage { voltage_v, limit_v })
    }
}

/// The landing limit of as many cells as the flight's highest usual voltage needs. A pack that starts
/// half empty may be taken for one cell less, which makes the limit too low rather than too high.
fn landing_limit_v(series: &Series) -> Option<f64> {
    let voltage = series.alive(&Channel::Voltage)?;
    let highest_v = stats::quantile(&voltage.values, 0.99)?;
    Some(LANDING_V_PER_CELL * (highest_v / FULL_CELL_V).ceil())
}
