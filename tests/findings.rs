//! The findings on pack, motor and propeller, tested with invented readings whose results are known.
#![allow(clippy::unwrap_used, missing_docs)]

use pairspeed::airspeed::{Budget, Pair, PairedLegs, StepResult};
use pairspeed::legs::{Leg, LegKind, LegUse};
use pairspeed::model::channel::Channel;
use pairspeed::model::estimate::Estimate;
use pairspeed::model::units::Unit;
use pairspeed::propulsion::{Findings, Sources, findings};
use pairspeed::series::{Blank, ChannelReadings, Readings, Series};
use pairspeed::setup::Aircraft;

/// One pair of legs as flown: throttle, airspeed in km/h, and the values that the overlay shows.
#[derive(Clone, Copy)]
struct Shown {
    throttle: f64,
    airspeed: f64,
    voltage: f64,
    current: f64,
    rpm: f64,
}

const LEG_S: f64 = 10.0;
const REST_S: f64 = 6.0;

struct MadeUp {
    series: Series,
    legs: Vec<Leg>,
    pairs: Vec<Pair>,
    steps: Vec<StepResult>,
}

/// A flight with two legs per pair and one frame per second, with the pack at rest for 6 s before and after.
/// Channels whose value is NaN have no region.
fn made_up(rest_v: (f64, f64), shown: &[Shown]) -> MadeUp {
    let rest = |volts| Shown { throttle: 0.0, airspeed: 0.0, voltage: volts, current: 0.0, rpm: 0.0 };
    let seconds = |shown: Shown, count: f64| std::iter::repeat_n(shown, count as usize);
    let mut rows: Vec<Shown> = seconds(rest(rest_v.0), REST_S).collect();
    rows.extend(shown.iter().flat_map(|pair| seconds(*pair, 2.0 * LEG_S)));
    rows.extend(seconds(rest(rest_v.1), REST_S));
    let channel = |channel: Channel, unit: Unit, of: fn(&Shown) -> f64| ChannelReadings {
        channel,
        unit: Some(unit),
        decimals: 1,
        step: None,
        range: None,
        max_rate: None,
        values: rows.iter().map(of).collect(),
        confidence: vec![0.99; rows.len()],
        blank: vec![Blank::No; rows.len()],
    };
    let mut channels = vec![
        channel(Channel::Speed, Unit::KilometresPerHour, |row| row.airspeed),
        channel(Channel::Throttle, Unit::Percent, |row| row.throttle),
        channel(Channel::Voltage, Unit::Volts, |row| row.voltage),
        channel(Channel::Current, Unit::Amperes, |row| row.current),
        channel(Channel::Rpm, Unit::RevolutionsPerMinute, |row| row.rpm),
    ];
    channels.retain(|channel| channel.values.iter().all(|value| value.is_finite()));
    let readings = Readings {
        time_s: (0..rows.len()).map(|second| second as f64).collect(),
        channels,
        gaps: vec![],
        lost: vec![],
        crops: Default::default(),
    };
    let series = Series {
        speed_smooth: vec![f64::NAN; rows.len()],
        readings,
        update_rate_hz: Some(5.0),
        dead: vec![],
    };
    let mut throttles: Vec<f64> = shown.iter().map(|pair| pair.throttle).collect();
    throttles.sort_by(f64::total_cmp);
    throttles.dedup();
    let step_of = |throttle: f64| throttles.iter().position(|one| *one == throttle).unwrap() as u32 + 1;
    let legs = (0..2 * shown.len()).map(|leg| leg_of(leg, &shown[leg / 2], step_of(shown[leg / 2].throttle)));
    let pairs: Vec<Pair> =
        (0..shown.len()).map(|index| pair_of(index, &shown[index], step_of(shown[index].throttle))).collect();
    let steps = throttles.iter().map(|throttle| step_result(*throttle, step_of(*throttle), &pairs)).collect();
    MadeUp { series, legs: legs.collect(), pairs, steps }
}

fn leg_of(index: usize, shown: &Shown, step: u32) -> Leg {
    let start_s = REST_S + LEG_S * index as f64;
    Leg {
        start_s,
        end_s: start_s + LEG_S,
        steady_start_s: start_s + 1.0,
        steady_end_s: start_s + LEG_S - 1.0,
        kind: if index.is_multiple_of(2) { LegKind::Upwind } else { LegKind::Downwind },
        throttle_percent: Some(shown.throttle),
        step: Some(step),
        speed_median: shown.airspeed,
        speed_spread: 0.5,
        samples: 40,
        speed_uncertainty: 0.5,
        voltage_v: Some(shown.voltage),
        altitude: None,
        satellites: None,
        usage: LegUse::Used,
        flags: vec![],
    }
}

fn estimate(value: f64) -> Estimate {
    Estimate {
        value,
        standard_uncertainty: 0.5,
        degrees_of_freedom: 30.0,
        low: value - 1.0,
        high: value + 1.0,
    }
}

fn pair_of(index: usize, shown: &Shown, step: u32) -> Pair {
    Pair {
        pair: index as u32 + 1,
        throttle_percent: Some(shown.throttle),
        step,
        legs: PairedLegs { upwind: 2 * index, downwind: 2 * index + 1 },
        upwind: shown.airspeed,
        downwind: shown.airspeed,
        airspeed: estimate(shown.airspeed),
        wind: 0.0,
        voltage_v: Some(shown.voltage),
        altitude: None,
        doubtful: false,
        flags: vec![],
        leg_flags: vec![],
        budget: Budget::default(),
    }
}

fn step_result(throttle: f64, step: u32, pairs: &[Pair]) -> StepResult {
    let members: Vec<&Pair> = pairs.iter().filter(|pair| pair.step == step).collect();
    let mean =
        |of: &dyn Fn(&Pair) -> f64| members.iter().map(|pair| of(pair)).sum::<f64>() / members.len() as f64;
    let airspeed = mean(&|pair| pair.airspeed.value);
    StepResult {
        step,
        throttle_percent: Some(throttle),
        pairs: members.iter().map(|pair| pair.pair).collect(),
        airspeed: estimate(airspeed),
        wind: 0.0,
        voltage_v: Some(mean(&|pair| pair.voltage_v.unwrap())),
        altitude: None,
        doubtful: false,
        flags: Vec::new(),
        pair_flags: Vec::new(),
        budget: Budget::default(),
    }
}

fn of(made_up: &MadeUp, aircraft: &Aircraft) -> Findings {
    let sources = Sources {
        series: &made_up.series,
        legs: &made_up.legs,
        pairs: &made_up.pairs,
        steps: &made_up.steps,
        speed_si: Unit::KilometresPerHour.si_per_unit(),
    };
    findings(sources, aircraft)
}

fn shown(throttle: f64, airspeed: f64, voltage: f64) -> Shown {
    Shown { throttle, airspeed, voltage, current: f64::NAN, rpm: f64::NAN }
}

fn words(findings: &Findings) -> String {
    findings.sentences(Unit::KilometresPerHour).join("\n")
}

#[test]
fn the_voltage_of_the_pack_is_given_at_rest_under_load_and_per_cell() {
    let flight = made_up(
        (25.2, 22.8),
        &[shown(60.0, 90.0, 23.4), shown(80.0, 110.0, 22.4), shown(100.0, 130.0, 20.7)],
    );
    let battery = of(&flight, &Aircraft::default()).battery.unwrap();
    assert_eq!((battery.resting_before_v, battery.resting_after_v), (Some(25.2), Some(22.8)));
    assert_eq!((battery.cells, battery.cells_estimated), (Some(6), true));
    assert_eq!((battery.lowest_v, battery.lowest_leg), (20.7, 5));
    // 3.5 V a cell is 21.0 V: the last two legs lie below.
    assert_eq!(battery.legs_below_limit, [5, 6]);
    let brave = Aircraft { landing_v_per_cell: Some(3.3), ..Aircraft::default() };
    assert!(of(&flight, &brave).battery.unwrap().legs_below_limit.is_empty());
}

#[test]
fn the_share_of_voltage_comes_from_the_discharge_of_the_pack_not_from_its_sag() {
    let flight = made_up((25.0, 23.0), &[shown(50.0, 80.0, 24.5), shown(100.0, 130.0, 21.0)]);
    let findings = of(&flight, &Aircraft::default());
    // 42 s lie between the rests; the second pair's legs start 22 s and 32 s after the end of the first rest,
    // so that the voltage has fallen by 27/42 of 2 V.
    let last = findings.voltage_losses[1];
    assert!((last.run_down_v - 2.0 * 27.0 / 42.0).abs() < 1e-9, "{last:?}");
    let expected = 130.0 / 3.6 * (((21.0 + 2.0 * 27.0 / 42.0) / 21.0f64).powf(0.9) - 1.0);
    assert!((last.lost_mps - expected).abs() < 1e-9, "{last:?}");
    // Two points fit the curve exactly: at full throttle the curve gives the step's airspeed and, for the
    // fresh pack, the airspeed plus what was missing.
    let (flown, fresh) = (findings.curve.as_ref().unwrap(), findings.fresh_curve.as_ref().unwrap());
    assert!((fresh.full_throttle_mps - flown.full_throttle_mps - last.lost_mps).abs() < 1e-6);
    assert!(fresh.exponent > flown.exponent, "a pack running down looks like less from more throttle");
    let words = words(&findings);
    assert!(
        words.contains(
            "100 % by 7.1 +/- 2.4 (flown when the resting voltage was 1.3 V lower than before the legs)"
        ),
        "{words}"
    );
    let unseen = made_up((f64::NAN, f64::NAN), &[shown(50.0, 80.0, 24.5), shown(100.0, 130.0, 21.0)]);
    let unseen = of(&unseen, &Aircraft::default());
    assert!(unseen.curve.is_some() && unseen.fresh_curve.is_none() && unseen.voltage_losses.is_empty());
}

#[test]
fn propeller_and_motor_need_notes_and_use_measured_revolutions() {
    let rows = [60.0, 80.0, 100.0]
        .map(|throttle| Shown { rpm: 180.0 * throttle, ..shown(throttle, throttle, 23.0) });
    let notes = Aircraft {
        motor_kv: Some(1000.0),
        propeller_diameter_in: Some(6.0),
        propeller_pitch_in: Some(6.0),
        ..Aircraft::default()
    };
    let measured = of(&made_up((25.0, 24.0), &rows), &notes).propeller;
    assert_eq!(measured.len(), 3);
    let full = measured[2];
    assert!(full.measured && full.rpm == 18_000.0);
    // 18 000 rpm x 6 in is 45.72 m/s; 100 km/h are 27.78 m/s: slip 39.2 %, J 27.78 / (300 x 0.1524) = 0.6076.
    assert!((full.pitch_speed_mps.unwrap() - 45.72).abs() < 1e-9);
    assert!((full.slip.unwrap() - 0.3924).abs() < 1e-4);
    assert!((full.advance_ratio.unwrap() - 0.6076).abs() < 1e-4);
    let without = rows.map(|row| Shown { rpm: f64::NAN, ..row });
    let no_load = of(&made_up((25.0, 24.0), &without), &notes).propeller;
    assert_eq!(no_load.len(), 1, "without measured revolutions only full throttle gives them");
    assert!(!no_load[0].measured && (no_load[0].rpm - 23_000.0).abs() < 1e-9);
    assert!(of(&made_up((25.0, 24.0), &without), &Aircraft::default()).propeller.is_empty());
}

#[test]
fn power_rises_with_the_cube_of_the_speed_and_is_given_per_kilometre() {
    let rows = [60.0, 80.0, 100.0].map(|throttle: f64| Shown {
        current: 40.0 * (throttle / 100.0).powi(3),
        ..shown(throttle, 1.2 * throttle, 20.0)
    });
    let findings = of(&made_up((25.0, 24.0), &rows), &Aircraft::default());
    assert_eq!(findings.power.len(), 6);
    let last = findings.power[5];
    assert!((last.power_w - 800.0).abs() < 1e-9);
    // 800 W at 120 km/h: 800 / 120 Wh/km.
    assert!((last.wh_per_km.unwrap() - 800.0 / 120.0).abs() < 1e-9);
    assert!((findings.power_exponent.unwrap() - 3.0).abs() < 1e-9);
    assert!(words(&findings).contains("800 W"), "{}", words(&findings));
}

#[test]
fn rising_power_at_constant_speed_is_a_sign_of_heat() {
    let hot =
        [0, 1, 2].map(|run| Shown { current: 40.0 + 3.0 * f64::from(run), ..shown(100.0, 120.0, 22.0) });
    let sentences = words(&of(&made_up((25.0, 24.0), &hot), &Aircraft::default()));
    assert!(sentences.contains("running hot"), "{sentences}");
    let steady = hot.map(|row| Shown { current: 40.0, ..row });
    assert!(!words(&of(&made_up((25.0, 24.0), &steady), &Aircraft::default())).contains("hot"));
    let faster = [0, 1, 2].map(|run| Shown {
        current: 40.0 + 3.0 * f64::from(run),
        ..shown(100.0, 120.0 + 4.0 * f64::from(run), 22.0)
    });
    assert!(!words(&of(&made_up((25.0, 24.0), &faster), &Aircraft::default())).contains("hot"));
}

#[test]
fn a_pack_that_sags_more_at_the_same_throttle_is_noted() {
    let rows = [shown(100.0, 120.0, 22.0), shown(60.0, 90.0, 23.5), shown(100.0, 118.0, 20.6)];
    let sentences = words(&of(&made_up((25.0, 24.0), &rows), &Aircraft::default()));
    assert!(sentences.contains("sank from 22.0 V in its first pair to 20.6 V in its last"), "{sentences}");
}

#[test]
fn empty_input_gives_no_findings_and_does_not_fail() {
    let nothing = made_up((25.0, 24.0), &[]);
    let findings = of(&nothing, &Aircraft::default());
    assert!(findings.battery.is_none() && findings.curve.is_none() && findings.power.is_empty());
    assert!(words(&findings).is_empty());
    let mut blank = made_up((25.0, 24.0), &[shown(60.0, 90.0, 23.0)]);
    for channel in &mut blank.series.readings.channels {
        channel.values.fill(f64::NAN);
    }
    for leg in &mut blank.legs {
        leg.voltage_v = None;
    }
    assert!(of(&blank, &Aircraft::default()).battery.is_none());
    blank.steps[0].airspeed.low = f64::NAN;
    assert!(of(&blank, &Aircraft::default()).curve.is_none());
}
