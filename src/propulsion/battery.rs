//! The battery pack during a flight: voltage at rest, under load and per cell, and the landing limit.

use serde::Serialize;

use crate::legs::Leg;
use crate::model::channel::Channel;
use crate::series::Series;
use crate::setup::{Aircraft, FULL_CELL_V};
use crate::stats::median;
use crate::stats::{Trend, theil_sen};

/// Ground speed below which the aircraft is standing on the ground or held by hand, in m/s; used if the overlay shows
/// no throttle (set by judgement).
const STANDING_MPS: f64 = 1.5;

/// Throttle up to which the motor is considered at rest, in per cent (set by judgement).
const IDLE_PERCENT: f64 = 3.0;

/// Minimum number of trusted readings for a resting voltage (set by judgement).
const MIN_READINGS: usize = 5;

/// The pack as the recording shows it. Voltages are in V.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Battery {
    /// Voltage at rest before the first leg, in V: with the motor idle or the aircraft standing. `None` if no
    /// such time is recorded.
    pub resting_before_v: Option<f64>,
    /// Voltage at rest after the last leg, in V. `None` if no such time is recorded.
    pub resting_after_v: Option<f64>,
    /// End of the rest before the legs, and start of the rest after the legs, in seconds of flight time. `None`
    /// unless both rests are recorded.
    pub between_rests_s: Option<(f64, f64)>,
    /// Lowest voltage in V: the smallest of the legs' median voltages under load.
    pub lowest_v: f64,
    /// Number of the leg with the lowest voltage, from 1.
    pub lowest_leg: usize,
    /// Change of the voltage under load over the legs, in V/min (Theil-Sen, 95 % interval); `None` with fewer than two
    /// legs that have a voltage.
    pub trend_v_per_min: Option<Trend>,
    /// Number of cells in series: given, or estimated from the resting voltage. `None` if neither is
    /// possible.
    pub cells: Option<u32>,
    /// Whether the number of cells is an estimate.
    pub cells_estimated: bool,
    /// Voltage per cell under load below which the pilot should land, in V.
    pub landing_v_per_cell: f64,
    /// Numbers of the legs flown below the landing voltage, from 1; empty if the number of cells is unknown.
    pub legs_below_limit: Vec<usize>,
}

impl Battery {
    /// Describes the pack; `None` where no leg has a voltage.
    #[must_use]
    pub fn of(series: &Series, legs: &[Leg], speed_si: f64, aircraft: &Aircraft) -> Option<Self> {
        let loaded: Vec<(usize, f64, f64)> = (1..)
            .zip(legs)
            .filter_map(|(number, leg)| Some((number, leg.steady_start_s, leg.voltage_v?)))
            .collect();
        let (lowest_leg, _, lowest_v) =
            loaded.iter().copied().min_by(|one, other| one.2.total_cmp(&other.2))?;
        let first_s = legs.first().map_or(0.0, |leg| leg.start_s);
        let last_s = legs.last().map_or(0.0, |leg| leg.end_s);
        let before = resting(series, speed_si, |time_s| time_s < first_s);
        let after = resting(series, speed_si, |time_s| time_s > last_s);
        let guessed = before
            .as_ref()
            .map(|rest| rest.volts)
            .map(|volts| (volts / FULL_CELL_V).ceil().clamp(1.0, 30.0) as u32);
        let cells = aircraft.cells.or(guessed);
        let landing_v_per_cell = aircraft.landing_v_per_cell();
        let below = |volts: f64| cells.is_some_and(|cells| volts < landing_v_per_cell * f64::from(cells));
        let minutes: Vec<(f64, f64)> =
            loaded.iter().map(|(_, start_s, volts)| (start_s / 60.0, *volts)).collect();
        Some(Self {
            resting_before_v: before.as_ref().map(|rest| rest.volts),
            between_rests_s: before
                .as_ref()
                .zip(after.as_ref())
                .map(|(before, after)| (before.last_s, after.first_s)),
            resting_after_v: after.map(|rest| rest.volts),
            lowest_v,
            lowest_leg,
            trend_v_per_min: theil_sen(&minutes, 0.95),
            cells,
            cells_estimated: aircraft.cells.is_none() && cells.is_some(),
            landing_v_per_cell,
            legs_below_limit: loaded.iter().filter(|leg| below(leg.2)).map(|leg| leg.0).collect(),
        })
    }

    /// Fall of the resting voltage from the rest before the legs to the time `time_s`, in V, interpolated linearly
    /// between the two rests; outside this interval it is that at its nearer end. `None` unless both rests are
    /// recorded.
    #[must_use]
    pub fn run_down_v(&self, time_s: f64) -> Option<f64> {
        let (first_s, last_s) = self.between_rests_s?;
        let share = ((time_s - first_s) / (last_s - first_s)).clamp(0.0, 1.0);
        Some((self.resting_before_v? - self.resting_after_v?) * share).filter(|volts| volts.is_finite())
    }

    /// The findings on the pack, in sentences for the pilot.
    #[must_use]
    pub fn sentences(&self) -> Vec<String> {
        let mut said = Vec::new();
        let rest = match (self.resting_before_v, self.resting_after_v) {
            (Some(before), Some(after)) => {
                format!("{before:.1} V at rest before and {after:.1} V after the legs, ")
            }
            (Some(before), None) => format!("{before:.1} V at rest before the legs, "),
            (None, Some(after)) => format!("{after:.1} V at rest after the legs, "),
            (None, None) => "not seen at rest, ".to_owned(),
        };
        let per_cell = self.cells.map(|cells| {
            let note = if self.cells_estimated { ", their number estimated from the voltage" } else { "" };
            format!(", {:.2} V per cell ({cells} cells{note})", self.lowest_v / f64::from(cells))
        });
        said.push(format!(
            "Pack: {rest}lowest voltage under load {:.1} V, in leg {}{}.",
            self.lowest_v,
            self.lowest_leg,
            per_cell.unwrap_or_default()
        ));
        if !self.legs_below_limit.is_empty() {
            said.push(format!(
                "In legs {}, the voltage under load was below the landing limit of {:.2} V per cell (to change the limit, set landing_v_per_cell in the table [aircraft]): land earlier.",
                self.legs_below_limit.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
                self.landing_v_per_cell
            ));
        }
        said
    }
}

/// A period at rest: its median voltage in V, and its start and end in seconds of flight time.
struct RestPeriod {
    volts: f64,
    first_s: f64,
    last_s: f64,
}

/// The period at rest among the flight times, in seconds, that `when` accepts; `None` with fewer than
/// [`MIN_READINGS`] readings.
fn resting(series: &Series, speed_si: f64, when: impl Fn(f64) -> bool) -> Option<RestPeriod> {
    let readings = &series.readings;
    let voltage = readings.channel(&Channel::Voltage)?;
    let alive = |channel: &Channel| readings.channel(channel).filter(|_| !series.dead.contains(channel));
    let (indicator, most) = match (alive(&Channel::Throttle), alive(&Channel::Speed)) {
        (Some(throttle), _) => (throttle, IDLE_PERCENT),
        (None, Some(speed)) => (speed, STANDING_MPS / speed_si),
        (None, None) => return None,
    };
    let rows = readings.time_s.iter().zip(&voltage.values).zip(&indicator.values);
    let (times_s, volts): (Vec<f64>, Vec<f64>) = rows
        .filter(|((time_s, volts), indicator)| when(**time_s) && **indicator <= most && volts.is_finite())
        .map(|((time_s, volts), _)| (*time_s, *volts))
        .unzip();
    let volts = median(&volts).filter(|_| times_s.len() >= MIN_READINGS)?;
    Some(RestPeriod { volts, first_s: *times_s.first()?, last_s: *times_s.last()? })
}
