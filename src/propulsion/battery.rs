//! The pack over a flight: at rest, under load, per cell, against the landing limit.

use serde::Serialize;

use crate::legs::Leg;
use crate::model::channel::Channel;
use crate::series::Series;
use crate::setup::{Aircraft, FULL_CELL_V};
use crate::stats::median;
use crate::stats::{Trend, theil_sen};

/// Speed below which the aircraft stands or is held, in m/s, where throttle is not shown.
const STANDING_MPS: f64 = 1.5;

/// Throttle up to which the motor is taken to rest, in per cent.
const IDLE_PERCENT: f64 = 3.0;

/// Least trusted readings that make a resting voltage.
const LEAST_READINGS: usize = 5;

/// The pack as far as the recording shows it. Voltages in V.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Battery {
    /// At rest before the first leg: motor idle or aircraft standing. `None` where no such time is seen.
    pub resting_before_v: Option<f64>,
    /// At rest after the last leg.
    pub resting_after_v: Option<f64>,
    /// When the rest before the legs ended and that after them began, in seconds of flight time.
    pub between_rests_s: Option<(f64, f64)>,
    /// Lowest median over a leg: the sagged voltage.
    pub lowest_v: f64,
    /// Number of that leg, from 1.
    pub lowest_leg: usize,
    /// Change of the voltage under load with time, V/min over the legs (Theil and Sen, 95 %).
    pub trend_v_per_min: Option<Trend>,
    /// Cells in series, told or guessed from the resting voltage.
    pub cells: Option<u32>,
    /// Whether the cells are a guess.
    pub cells_guessed: bool,
    /// Voltage per cell under load below which to land.
    pub landing_v_per_cell: f64,
    /// Legs, from 1, flown below that.
    pub legs_below_limit: Vec<usize>,
}

impl Battery {
    /// The pack; `None` where no leg has a voltage.
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
            cells_guessed: aircraft.cells.is_none() && cells.is_some(),
            landing_v_per_cell,
            legs_below_limit: loaded.iter().filter(|leg| below(leg.2)).map(|leg| leg.0).collect(),
        })
    }

    /// How far the pack, at rest, had run down by a time between the rests: in a straight line from its
    /// voltage before the legs to that after them, in V. `None` unless both were seen.
    #[must_use]
    pub fn run_down_v(&self, time_s: f64) -> Option<f64> {
        let (first_s, last_s) = self.between_rests_s?;
        let share = ((time_s - first_s) / (last_s - first_s)).clamp(0.0, 1.0);
        Some((self.resting_before_v? - self.resting_after_v?) * share).filter(|volts| volts.is_finite())
    }

    /// The pack in words.
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
            let guess = if self.cells_guessed { "guessed: " } else { "" };
            format!(", {:.2} V a cell ({guess}{cells} cells)", self.lowest_v / f64::from(cells))
        });
        said.push(format!(
            "Pack: {rest}{:.1} V under load at the lowest, in leg {}{}.",
            self.lowest_v,
            self.lowest_leg,
            per_cell.unwrap_or_default()
        ));
        if !self.legs_below_limit.is_empty() {
            said.push(format!(
                "Below the landing limit of {:.2} V a cell (common practice; set it in [aircraft]) in legs {}: land earlier.",
                self.landing_v_per_cell,
                self.legs_below_limit.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
            ));
        }
        said
    }
}

/// The pack at rest: median voltage, first and last moment.
struct Rest {
    volts: f64,
    first_s: f64,
    last_s: f64,
}

/// The pack while the motor rests, or the aircraft stands, at the times asked for.
fn resting(series: &Series, speed_si: f64, when: impl Fn(f64) -> bool) -> Option<Rest> {
    let readings = &series.readings;
    let voltage = readings.channel(&Channel::Voltage)?;
    let alive = |channel: &Channel| readings.channel(channel).filter(|_| !series.dead.contains(channel));
    let (gauge, most) = match (alive(&Channel::Throttle), alive(&Channel::Speed)) {
        (Some(throttle), _) => (throttle, IDLE_PERCENT),
        (None, Some(speed)) => (speed, STANDING_MPS / speed_si),
        (None, None) => return None,
    };
    let rows = readings.time_s.iter().zip(&voltage.values).zip(&gauge.values);
    let (times_s, volts): (Vec<f64>, Vec<f64>) = rows
        .filter(|((time_s, volts), gauge)| when(**time_s) && **gauge <= most && volts.is_finite())
        .map(|((time_s, volts), _)| (*time_s, *volts))
        .unzip();
    let volts = median(&volts).filter(|_| times_s.len() >= LEAST_READINGS)?;
    Some(Rest { volts, first_s: *times_s.first()?, last_s: *times_s.last()? })
}
