//! Electrical power of each leg, if the overlay shows the current.

use nalgebra::{DMatrix, DVector};
use serde::Serialize;

use super::sources::Sources;
use crate::airspeed::StepResult;
use crate::legs::Leg;
use crate::model::channel::Channel;
use crate::stats::linear;
use crate::stats::theil_sen;
use crate::stats::{mean, median};

/// Rise of power from the first to the last pair at one throttle above which there is a warning, as a share of the
/// power (set by judgement).
const RISE_SHARE: f64 = 0.05;

/// Rise of the resistance of pack and wires above which there is a warning, as a share of the resistance (set
/// by judgement).
const RESISTANCE_SHARE: f64 = 0.2;

/// Fall of the voltage under load from the first to the last pair at one throttle above which there is a warning, in
/// per cent; used if the overlay shows no current (set by judgement).
const FALL_PERCENT: f64 = 5.0;

/// The electrical power of one leg.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PowerRun {
    /// Number of the leg, from 1.
    pub leg: usize,
    /// Number of the throttle step, from 1.
    pub step: u32,
    /// Start of the leg, in seconds of flight time.
    pub start_s: f64,
    /// Median current, in A.
    pub current_a: f64,
    /// Electrical power in W: median voltage times median current.
    pub power_w: f64,
    /// Airspeed of the leg's throttle step, in m/s.
    pub airspeed_mps: f64,
    /// Energy used per kilometre through the air, in Wh; `None` if the airspeed is 0.
    pub wh_per_km: Option<f64>,
}

/// The power of every leg that belongs to a throttle step and has voltage and current readings.
pub(super) fn power_runs(from: &Sources<'_>) -> Vec<PowerRun> {
    (1..)
        .zip(from.legs)
        .filter_map(|(number, leg)| {
            let step = leg.step?;
            let current_a = over(from, leg, &Channel::Current)?;
            let airspeed = from.steps.iter().find(|one| one.step == step)?.airspeed.value;
            let (power_w, airspeed_mps) = (leg.voltage_v? * current_a, airspeed * from.speed_si);
            Some(PowerRun {
                leg: number,
                step,
                start_s: leg.steady_start_s,
                current_a,
                power_w,
                airspeed_mps,
                wh_per_km: Some(power_w / 3.6 / airspeed_mps).filter(|wh| wh.is_finite()),
            })
        })
        .collect()
}

/// Median revolutions a minute over the legs of a step; `None` if the overlay shows none.
pub(super) fn rpm_of_step(from: &Sources<'_>, step: u32) -> Option<f64> {
    let legs = from.legs.iter().filter(|leg| leg.step == Some(step));
    median(&legs.filter_map(|leg| over(from, leg, &Channel::Rpm)).collect::<Vec<f64>>())
}

fn over(from: &Sources<'_>, leg: &Leg, channel: &Channel) -> Option<f64> {
    let readings = from.series.readings.channel(channel).filter(|_| !from.series.dead.contains(channel))?;
    let rows = from.series.readings.time_s.iter().zip(&readings.values);
    let within = rows.filter(|(time_s, _)| (leg.steady_start_s..=leg.steady_end_s).contains(*time_s));
    median(&within.map(|(_, value)| *value).collect::<Vec<f64>>())
}

/// The exponent of the power law between power and airspeed: slope of `ln P` over `ln V`. `None` with fewer
/// than three legs, or if all have the same speed.
pub(super) fn speed_exponent(runs: &[PowerRun]) -> Option<f64> {
    let usable: Vec<&PowerRun> =
        runs.iter().filter(|run| run.power_w > 0.0 && run.airspeed_mps > 0.0).collect();
    let design =
        DMatrix::from_fn(
            usable.len(),
            2,
            |row, column| if column == 0 { 1.0 } else { usable[row].airspeed_mps.ln() },
        );
    let powers = DVector::from_iterator(usable.len(), usable.iter().map(|run| run.power_w.ln()));
    linear(&design, &powers).filter(|fit| fit.degrees_of_freedom() > 0).map(|fit| fit.parameters[1])
}

/// Warnings for the pilot: power that rises or voltage that falls between pairs at one throttle, and resistance that
/// rises during the flight.
pub(super) fn cautions(runs: &[PowerRun], from: &Sources<'_>) -> Vec<String> {
    let mut said: Vec<String> = from
        .steps
        .iter()
        .filter_map(|step| rising_power(&runs_of_step(runs, from, step.step), step))
        .collect();
    said.extend(deeper_sag(from, !runs.is_empty()));
    said.extend(rising_resistance(runs));
    said
}

/// One pair of legs: its start in seconds of flight time, its mean power in W and its airspeed in the unit of the
/// flight's speeds.
struct PairRun {
    start_s: f64,
    power_w: f64,
    airspeed: f64,
}

fn runs_of_step(runs: &[PowerRun], from: &Sources<'_>, step: u32) -> Vec<PairRun> {
    let of_step = from.pairs.iter().filter(|pair| pair.step == step);
    of_step
        .filter_map(|pair| {
            let of_leg = |index: usize| runs.iter().find(|run| run.leg == index + 1);
            let (one, other) = (of_leg(pair.legs.upwind)?, of_leg(pair.legs.downwind)?);
            Some(PairRun {
                start_s: one.start_s.min(other.start_s),
                power_w: f64::midpoint(one.power_w, other.power_w),
                airspeed: pair.airspeed.value,
            })
        })
        .collect()
}

/// Warns of power that rises over at least three pairs at one throttle while the airspeed does not. This is a warning
/// rather than a finding, since three values are in rising order by chance once in six times. `None` if there is
/// nothing to warn of.
fn rising_power(runs: &[PairRun], step: &StepResult) -> Option<String> {
    let points: Vec<(f64, f64)> = runs.iter().map(|run| (run.start_s, run.power_w)).collect();
    let trend = theil_sen(&points, 0.9).filter(|_| points.len() >= 3)?;
    let (first, last) = (runs.first()?, runs.last()?);
    let usual_w = median(&runs.iter().map(|run| run.power_w).collect::<Vec<f64>>())?;
    let rise = trend.slope * (last.start_s - first.start_s) / usual_w;
    let faster = last.airspeed - first.airspeed > 2.0 * step.airspeed.standard_uncertainty;
    (trend.low > 0.0 && rise > RISE_SHARE && !faster).then(|| {
        format!(
            "Step {}: power rose by {:.0} % from the first pair to the last while the airspeed did not rise: a sign of a motor or controller running hot. Land and let it cool before flying on.",
            step.step,
            100.0 * rise
        )
    })
}

/// Warns of the throttle step whose voltage under load falls most from its first to its last pair. `None` if the
/// overlay shows the current, or if the voltage falls by no more than [`FALL_PERCENT`].
fn deeper_sag(from: &Sources<'_>, current_shown: bool) -> Option<String> {
    if current_shown {
        return None;
    }
    let fall = |step: &StepResult| {
        let volts: Vec<f64> = from
            .pairs
            .iter()
            .filter(|pair| pair.step == step.step)
            .filter_map(|pair| pair.voltage_v)
            .collect();
        let (first, last) = (volts.first()?, volts.last()?);
        Some((100.0 * (first - last) / first, step.step, *first, *last))
    };
    let falls = from.steps.iter().filter_map(fall);
    let (percent, step, first, last) = falls.max_by(|one, other| one.0.total_cmp(&other.0))?;
    (percent > FALL_PERCENT).then(|| {
        format!(
            "Step {step}: the voltage under load sank from {first:.1} V in its first pair to {last:.1} V in its last: a pack running down, or one that sags more than before."
        )
    })
}

/// Warns of a resistance of pack and wires that rises during the flight; used if the overlay shows the current.
/// `U = U0 - R I` is fitted to the first and to the second half of the flight, each from legs at different currents.
/// `None` if a fit fails, or if the rise is not significant.
fn rising_resistance(runs: &[PowerRun]) -> Option<String> {
    let half = runs.len() / 2;
    let (early, late) = (resistance_ohm(runs.get(..half)?)?, resistance_ohm(runs.get(half..)?)?);
    (late.0 - late.1 > (early.0 + early.1) * (1.0 + RESISTANCE_SHARE)).then(|| {
        format!(
            "The pack sagged more in the second half of the flight ({:.0} milliohm) than in the first ({:.0}): a \
             pack that is tired, cold, or nearly empty.",
            1000.0 * late.0,
            1000.0 * early.0
        )
    })
}

/// Fits `U = U0 - R I` to legs, with a term linear in time for the charge drawn from the pack. Returns the resistance R
/// of pack and wires, and twice its standard uncertainty, both in ohm. `None` with fewer than five legs, or if the fit
/// gives no positive resistance.
fn resistance_ohm(runs: &[PowerRun]) -> Option<(f64, f64)> {
    let volts: Vec<f64> = runs.iter().map(|run| run.power_w / run.current_a).collect();
    let start_s = mean(&runs.iter().map(|run| run.start_s).collect::<Vec<f64>>())?;
    let design = DMatrix::from_fn(runs.len(), 3, |row, column| match column {
        0 => 1.0,
        1 => runs[row].start_s - start_s,
        _ => -runs[row].current_a,
    });
    // Fewer than five legs are too few to decide.
    let fit = linear(&design, &DVector::from_vec(volts)).filter(|fit| fit.degrees_of_freedom() >= 2)?;
    let doubt = 2.0 * fit.covariance()?[(2, 2)].sqrt();
    (fit.parameters[2] > 0.0).then_some((fit.parameters[2], doubt))
}
