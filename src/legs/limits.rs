//! Limits of height change, satellites and voltage beyond which a leg is flagged.

use super::note::Note;
use crate::model::channel::Channel;
use crate::series::Series;
use crate::setup::{FULL_CELL_V, LANDING_V_PER_CELL};
use crate::stats;

/// Change of height above which a leg is flagged, in metres. The altitude that a receiver shows wanders by a
/// few metres even in level flight (common practice, no source).
const HEIGHT_CHANGE_M: f64 = 5.0;

/// Number of satellites below which a leg is flagged. Four give a position; more make the speed reliable (common
/// practice, no source).
const MIN_SATELLITES: f64 = 6.0;

/// Standard acceleration of gravity, in m/s^2 (3rd General Conference on Weights and Measures, 1901).
const GRAVITY: f64 = 9.806_65;

/// The limits of one flight, in the units of its series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LegLimits {
    altitude_si: f64,
    speed_si: f64,
    min_voltage_v: Option<f64>,
}

impl LegLimits {
    pub fn of(series: &Series, min_voltage_v: Option<f64>) -> Self {
        let min_voltage_v = min_voltage_v.or_else(|| landing_limit_v(series));
        Self { altitude_si: series.altitude_si(), speed_si: series.speed_si(), min_voltage_v }
    }

    /// Flags a change of height. The note states the speed change with the same energy, `dV = g dh / V` at
    /// the speed `V`. `change` and `speed` are in the units of the series. `None` for a small change.
    pub fn height(&self, change: f64, speed: f64) -> Option<Note> {
        let change_m = change * self.altitude_si;
        let equivalent_speed_change = GRAVITY * change_m / (speed * self.speed_si) / self.speed_si;
        (change_m.abs() > HEIGHT_CHANGE_M && equivalent_speed_change.is_finite())
            .then_some(Note::HeightChanges { change, equivalent_speed_change })
    }

    pub fn satellites(&self, satellites: f64) -> Option<Note> {
        (satellites < MIN_SATELLITES).then_some(Note::FewSatellites { satellites })
    }

    pub fn voltage(&self, voltage_v: f64) -> Option<Note> {
        let limit_v = self.min_voltage_v?;
        (voltage_v < limit_v).then_some(Note::LowVoltage { voltage_v, limit_v })
    }
}

/// The landing limit of the pack, in volts: the usual limit of a cell times the number of cells. That number is the
/// smallest with which fully charged cells reach the highest voltage of the flight. For a pack that starts half empty
/// it may be one too small; the limit is then too low rather than too high. `None` if the overlay shows no voltage.
fn landing_limit_v(series: &Series) -> Option<f64> {
    let voltage = series.alive(&Channel::Voltage)?;
    let highest_v = stats::quantile(&voltage.values, 0.99)?;
    Some(LANDING_V_PER_CELL * (highest_v / FULL_CELL_V).ceil())
}
