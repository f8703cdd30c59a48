//! Findings of one flight on battery pack, motor and propeller.

use serde::Serialize;

use super::battery::Battery;
use super::curve::{DiminishingReturn, Point, SpeedCurve, ThrottleCoverage, diminishing_return, gains};
use super::flown_step::FlownStep;
use super::power::{PowerRun, cautions, power_runs, speed_exponent};
use super::propeller::{advance_ratio, no_load_rpm, pitch_speed_mps, slip};
use super::sources::Sources;
use super::voltage::{VoltageModel, VoltageRun};
use crate::airspeed::StepResult;
use crate::legs::Leg;
use crate::model::units::Unit;
use crate::setup::Aircraft;
use crate::stats::mean;

/// Motor and propeller at one throttle step.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PropellerPoint {
    /// Throttle in per cent; `None` where it is not known.
    pub throttle_percent: Option<f64>,
    /// Revolutions a minute: as measured, or those of the unloaded motor at full throttle.
    pub rpm: f64,
    /// Whether the revolutions were measured.
    pub measured: bool,
    /// Pitch speed at these revolutions, in m/s; `None` if the pitch is not given.
    pub pitch_speed_mps: Option<f64>,
    /// Slip: how far the airspeed is below the pitch speed, as a share of the pitch speed; negative if the
    /// aircraft is faster than the nominal pitch allows. `None` if the pitch is not given.
    pub slip: Option<f64>,
    /// Advance ratio (airspeed per revolution and diameter); `None` if the diameter is not given.
    pub advance_ratio: Option<f64>,
}

/// The speed that a step lacks because the pack had run down. The drop of voltage under load is caused by the
/// throttle itself and is not included.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct VoltageLoss {
    /// Number of the throttle step.
    pub step: u32,
    /// Throttle in per cent; `None` where it is not known.
    pub throttle_percent: Option<f64>,
    /// Fall of the resting voltage from the start of the flight to this step, in V.
    pub run_down_v: f64,
    /// Airspeed on the fresh pack minus airspeed as flown, in m/s.
    pub lost_mps: f64,
    /// Standard uncertainty of that difference, caused by the exponent of the voltage model, in m/s.
    pub uncertainty_mps: f64,
}

/// All findings of one flight. Findings that lack the channels or aircraft data they need are empty.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Findings {
    /// Findings on the battery pack; `None` if no leg has a voltage reading.
    pub battery: Option<Battery>,
    /// How the speed depends on the voltage.
    pub voltage_model: VoltageModel,
    /// Effect of the voltage on each step; empty unless the pack was recorded at rest before and after the legs.
    pub voltage_losses: Vec<VoltageLoss>,
    /// Airspeed against throttle, as flown; `None` with fewer than two throttles, or if the fit fails.
    pub curve: Option<SpeedCurve>,
    /// Airspeed against throttle as it would be on the fresh pack, so that a pack running down is not
    /// mistaken for an effect of throttle. `None` unless the pack was recorded at rest before and after the
    /// legs.
    pub fresh_curve: Option<SpeedCurve>,
    /// The point of diminishing return: computed for a fresh pack if `fresh_curve` is known, otherwise as flown. `None`
    /// with fewer than three steps, or if the gain up to the highest step is not small.
    pub diminishing_return: Option<DiminishingReturn>,
    /// Motor and propeller at each step whose revolutions are measured or can be computed.
    pub propeller: Vec<PropellerPoint>,
    /// Electrical power of each leg that belongs to a throttle step and has voltage and current readings.
    pub power: Vec<PowerRun>,
    /// Exponent of the power law between electrical power and airspeed, over the legs. It is 3 while drag is
    /// proportional to the square of the speed. `None` with fewer than three legs, or if all have the same
    /// speed.
    pub power_exponent: Option<f64>,
    /// Warnings, one sentence each.
    pub cautions: Vec<String>,
    /// The throttles flown, in per cent.
    #[serde(skip)]
    flown_percent: Vec<f64>,
}

/// Computes the findings.
#[must_use]
pub fn findings(from: Sources<'_>, aircraft: &Aircraft) -> Findings {
    let steps: Vec<FlownStep> =
        from.steps.iter().filter_map(|step| FlownStep::of(step, from.speed_si)).collect();
    let points: Vec<Point> = steps.iter().filter_map(FlownStep::point).collect();
    let voltage_model = VoltageModel::of(&runs(&from));
    let battery = Battery::of(from.series, from.legs, from.speed_si, aircraft);
    let loss_of = |step: &FlownStep| voltage_loss(step, &voltage_model, battery.as_ref()?, from.legs);
    let voltage_losses: Vec<VoltageLoss> = steps.iter().filter_map(loss_of).collect();
    let fresh = fresh_points(&steps, &voltage_losses);
    let power = power_runs(&from);
    Findings {
        fresh_curve: fresh.as_deref().and_then(SpeedCurve::of),
        diminishing_return: diminishing_return(&gains(fresh.as_ref().unwrap_or(&points)), None),
        voltage_losses,
        battery,
        voltage_model,
        curve: SpeedCurve::of(&points),
        propeller: steps.iter().filter_map(|step| propeller_point(step, &from, aircraft)).collect(),
        power_exponent: speed_exponent(&power),
        cautions: cautions(&power, &from),
        power,
        flown_percent: points.iter().map(|point| point.throttle_percent).collect(),
    }
}

fn runs(from: &Sources<'_>) -> Vec<Vec<VoltageRun>> {
    let of_step = |step: &StepResult| {
        let pairs = from.pairs.iter().filter(|pair| pair.step == step.step);
        pairs
            .filter_map(|pair| {
                Some(VoltageRun {
                    airspeed: pair.airspeed.value * from.speed_si,
                    uncertainty: pair.airspeed.standard_uncertainty * from.speed_si,
                    voltage_v: pair.voltage_v?,
                })
            })
            .collect()
    };
    from.steps.iter().map(of_step).collect()
}

fn voltage_loss(
    step: &FlownStep,
    model: &VoltageModel,
    battery: &Battery,
    legs: &[Leg],
) -> Option<VoltageLoss> {
    let voltage_v = step.voltage_v?;
    let of_step = legs.iter().filter(|leg| leg.step == Some(step.step));
    let run_down_v =
        battery.run_down_v(mean(&of_step.map(|leg| leg.steady_start_s).collect::<Vec<f64>>())?)?;
    let fresh_v = voltage_v + run_down_v;
    let fresh_mps = step.airspeed_mps * model.factor(voltage_v, fresh_v)?;
    Some(VoltageLoss {
        step: step.step,
        throttle_percent: step.throttle_percent,
        run_down_v,
        lost_mps: fresh_mps - step.airspeed_mps,
        uncertainty_mps: (fresh_mps * (fresh_v / voltage_v).ln() * model.uncertainty).abs(),
    })
}

/// The points of the curve of airspeed against throttle on the fresh pack; `None` unless the fall of the voltage is
/// known for every step.
fn fresh_points(steps: &[FlownStep], losses: &[VoltageLoss]) -> Option<Vec<Point>> {
    let of_step = |step: &FlownStep| {
        let loss = losses.iter().find(|loss| loss.step == step.step)?;
        let point = step.point()?;
        Some(Point {
            airspeed_mps: point.airspeed_mps + loss.lost_mps,
            uncertainty_mps: point.uncertainty_mps.hypot(loss.uncertainty_mps),
            ..point
        })
    };
    steps.iter().map(of_step).collect::<Option<Vec<Point>>>().filter(|points| !points.is_empty())
}

fn propeller_point(step: &FlownStep, from: &Sources<'_>, aircraft: &Aircraft) -> Option<PropellerPoint> {
    let measured = super::power::rpm_of_step(from, step.step);
    let full_throttle = step.throttle_percent.is_some_and(|percent| percent > 99.0);
    let without_load = || Some(no_load_rpm(aircraft.motor_kv?, step.voltage_v?)).filter(|_| full_throttle);
    let rpm = measured.or_else(without_load).filter(|rpm| rpm.is_finite() && *rpm > 0.0)?;
    let pitch_speed = aircraft.propeller_pitch_in.map(|pitch_in| pitch_speed_mps(rpm, pitch_in));
    Some(PropellerPoint {
        throttle_percent: step.throttle_percent,
        rpm,
        measured: measured.is_some(),
        pitch_speed_mps: pitch_speed,
        slip: pitch_speed.map(|pitch_speed| slip(step.airspeed_mps, pitch_speed)),
        advance_ratio: aircraft
            .propeller_diameter_in
            .map(|diameter_in| advance_ratio(step.airspeed_mps, rpm, diameter_in)),
    })
}

impl Findings {
    /// The findings in sentences for the pilot, with speeds in `unit`.
    #[must_use]
    pub fn sentences(&self, unit: Unit) -> Vec<String> {
        let mut said = self.battery.as_ref().map(Battery::sentences).unwrap_or_default();
        said.extend(self.voltage_sentence(unit));
        said.extend(self.curve_sentence(unit));
        said.extend(self.return_sentence(unit));
        said.extend(self.propeller.iter().map(|point| propeller_sentence(point, unit)));
        said.extend(self.power_sentence());
        said.extend(self.cautions.iter().cloned());
        said
    }

    fn voltage_sentence(&self, unit: Unit) -> Option<String> {
        let positive = self.voltage_losses.iter().filter(|loss| loss.lost_mps > 0.0);
        let losses: Vec<String> = positive
            .map(|loss| {
                format!(
                    "{step_name} by {} +/- {} (flown when the resting voltage was {:.1} V lower than before the legs)",
                    number(loss.lost_mps, unit),
                    number(2.0 * loss.uncertainty_mps, unit),
                    loss.run_down_v,
                    step_name = step_name(loss.throttle_percent, loss.step)
                )
            })
            .collect();
        let fresh = self.fresh_curve.as_ref().map(|curve| {
            format!(
                " With a fresh pack, the airspeed would be {} x (throttle / 100 %)^{:.2}.",
                in_unit(curve.full_throttle_mps, unit),
                curve.exponent
            )
        });
        (!losses.is_empty()).then(|| {
            format!(
                "Voltage: with a fresh pack, the speeds would have been higher by these amounts (in {}): {}.{} {}",
                unit.symbol(),
                losses.join(", "),
                fresh.unwrap_or_default(),
                self.voltage_model.sentence()
            )
        })
    }

    fn curve_sentence(&self, unit: Unit) -> Option<String> {
        let curve = self.curve.as_ref()?;
        let (low, high) = curve.flown_percent;
        let between: Vec<String> = (1..=20)
            .map(|place| curve.predict(5.0 * f64::from(place), &self.flown_percent))
            .filter(|one| {
                one.throttle_coverage == ThrottleCoverage::UntestedBetween || one.throttle_percent == 100.0
            })
            .filter(|one| one.throttle_coverage != ThrottleCoverage::Flown)
            .map(|one| {
                format!(
                    "{:.0} %: {} ({} to {})",
                    one.throttle_percent,
                    in_unit(one.airspeed_mps, unit),
                    number(one.low_mps, unit),
                    number(one.high_mps, unit)
                )
            })
            .collect();
        let untested = match between.as_slice() {
            [] => String::new(),
            list => format!(" Airspeeds that this curve gives for throttles not flown: {}.", list.join(", ")),
        };
        let check = match curve.excess_scatter {
            None => {
                " A curve of this form passes through any two steps exactly, so two steps cannot show whether it is right."
            }
            Some(excess) if excess > 2.0 => {
                " The steps lie farther from the curve than their uncertainties explain: the curve describes this flight poorly."
            }
            Some(_) => "",
        };
        Some(format!(
            "Airspeed as flown, at {low:.0} to {high:.0} % throttle: {} x (throttle / 100 %)^{:.2}.{check}{untested}",
            in_unit(curve.full_throttle_mps, unit),
            curve.exponent
        ))
    }

    fn return_sentence(&self, unit: Unit) -> Option<String> {
        let point = self.diminishing_return?;
        let how = if point.significant {
            "statistically significant"
        } else {
            "likely, but not statistically significant"
        };
        Some(format!(
            "Diminishing returns from {:.0} % on: each further per cent of throttle adds less than {:.2} {} of airspeed, half of the average gain ({how}).",
            point.throttle_percent,
            point.threshold_mps / unit.si_per_unit(),
            unit.symbol()
        ))
    }

    fn power_sentence(&self) -> Option<String> {
        let most = self.power.iter().max_by(|one, other| one.power_w.total_cmp(&other.power_w))?;
        let least = self
            .power
            .iter()
            .filter_map(|run| run.wh_per_km)
            .reduce(f64::min)
            .map(|wh| format!("{wh:.1} Wh/km"));
        let exponent = self
            .power_exponent
            .map(|exponent| format!(" Power is proportional to airspeed^{exponent:.1} (exponent 3 if drag is proportional to airspeed^2)."));
        Some(format!(
            "Electrical power: at most {:.0} W, in leg {}{}.{}",
            most.power_w,
            most.leg,
            least
                .map(|least| format!("; the most economical leg used {least} of distance through the air"))
                .unwrap_or_default(),
            exponent.unwrap_or_default()
        ))
    }
}

fn step_name(throttle_percent: Option<f64>, step: u32) -> String {
    throttle_percent.map_or_else(|| format!("step {step}"), |percent| format!("{percent:.0} %"))
}

fn propeller_sentence(point: &PropellerPoint, unit: Unit) -> String {
    let throttle =
        point.throttle_percent.map_or_else(|| "one step".to_owned(), |percent| format!("{percent:.0} %"));
    let revolutions = if point.measured {
        "rpm"
    } else {
        "rpm, as computed for a motor without load (in flight it turns more slowly)"
    };
    let mut parts = vec![format!("Propeller at {throttle}: {:.0} {revolutions}", point.rpm)];
    parts.extend(point.pitch_speed_mps.map(|speed| format!("pitch speed {}", in_unit(speed, unit))));
    parts.extend(point.slip.map(|slip| format!("slip {:.0} %", 100.0 * slip)));
    parts.extend(point.advance_ratio.map(|ratio| format!("advance ratio {ratio:.2}")));
    parts.join(", ") + "."
}

fn number(speed_mps: f64, unit: Unit) -> String {
    format!("{:.1}", speed_mps / unit.si_per_unit())
}

fn in_unit(speed_mps: f64, unit: Unit) -> String {
    format!("{} {}", number(speed_mps, unit), unit.symbol())
}
