//! Legs given and found, throttle steps, and the pairs formed by them.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use std::io::Write as _;

use common::{Flight, Plan, Readout, fly};
use pairspeed::airspeed::{pair, steps};
use pairspeed::legs::{
    GivenLeg, GivenLegError, LegKind, LegOptions, LegSet, LegUse, LegsFileError, NotPaired, Note,
    ThrottleSource, find, read_file,
};
use pairspeed::model::channel::Channel;
use pairspeed::series::{Blank, Readings, Series, trust};

fn found(series: &Series) -> LegSet {
    find(series, &LegOptions::default()).unwrap()
}

fn options(legs: Vec<GivenLeg>) -> LegOptions {
    LegOptions { given: Some(legs), ..LegOptions::default() }
}

fn leg(start_s: f64, end_s: f64, kind: LegKind) -> GivenLeg {
    GivenLeg::new(start_s, end_s, kind)
}

fn true_legs(flight: &Flight, kind: impl Fn(bool) -> LegKind) -> Vec<GivenLeg> {
    flight.legs.iter().map(|truth| leg(truth.start_s + 2.0, truth.end_s, kind(truth.upwind))).collect()
}

fn file(text: &str) -> tempfile::NamedTempFile {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(text.as_bytes()).unwrap();
    file
}

fn message(text: &str) -> String {
    let file = file(text);
    let message = read_file(file.path()).unwrap_err().to_string();
    message.replace(&file.path().display().to_string(), "legs.csv")
}

#[test]
fn steady_parts_given_as_legs_give_the_same_medians() {
    let series = trust(fly(&Plan::default()).readings);
    let first = found(&series);
    let mut text = String::from("leg,kind,throttle_percent,start_s,end_s\n");
    for (index, leg) in first.legs.iter().enumerate() {
        let kind = ["upwind", "downwind", "unpaired"][leg.kind as usize];
        text += &format!("{index},{kind},,{:.3},{:.3}\n", leg.steady_start_s, leg.steady_end_s);
    }
    let again = find(&series, &options(read_file(file(&text).path()).unwrap())).unwrap();
    let medians = |set: &LegSet| -> Vec<f64> { set.legs.iter().map(|leg| leg.speed_median).collect() };
    assert_eq!(medians(&again), medians(&first));
    assert_eq!(again.pairs, first.pairs);
}

#[test]
fn a_legs_file_is_read_in_any_order_of_columns_and_case() {
    let text = "kind,note,end_s,throttle_percent,start_s\r\nDownwind,x,40,60,30.5\r\n UPWIND ,,20,,10\r\n";
    let legs = read_file(file(text).path()).unwrap();
    let expected = [
        leg(10.0, 20.0, LegKind::Upwind),
        GivenLeg { throttle_percent: Some(60.0), ..leg(30.5, 40.0, LegKind::Downwind) },
    ];
    assert_eq!(legs, expected);
}

#[test]
fn an_invalid_legs_file_is_refused_with_the_line_and_the_fix() {
    let header = "start_s,end_s,kind,throttle_percent\n";
    assert_eq!(
        message("start_s,kind,throttle_percent\n1,leg,\n"),
        "legs.csv: no column \"end_s\": the first line must name start_s, end_s, kind and throttle_percent"
    );
    assert_eq!(
        message(&format!("{header}1,9,leg,\n12,x2,leg,\n")),
        "legs.csv, line 3, column end_s: \"x2\" is not a time: give seconds from the first frame, such as 12.5"
    );
    assert_eq!(
        message(&format!("{header}1,9,sideways,\n")),
        "legs.csv, line 2, column kind: \"sideways\" is not a kind of leg: write upwind, downwind, unpaired, or leg (its speed then decides the direction)"
    );
    assert_eq!(
        message(&format!("{header}1,9,leg,150\n")),
        "legs.csv, line 2, column throttle_percent: \"150\" is not a throttle in per cent: write 0 to 100, or nothing if the throttle is not known"
    );
    assert_eq!(
        message(&format!("{header}9,1,leg,\n")),
        "legs.csv, line 2: the leg ends at 1 s, before or at its start at 9 s; swap the two times or fix them"
    );
    assert_eq!(
        message(&format!("{header}8,15,leg,\n1,9,leg,\n")),
        "legs.csv, line 2: the leg from 8 s starts before the leg on line 3 ends at 9 s: legs must not overlap; correct one of the times"
    );
    assert_eq!(message(header), "legs.csv: there is no leg below the header; write one line for each leg");
    assert!(matches!(read_file("no/such/legs.csv").unwrap_err(), LegsFileError::Unreadable { .. }));
}

#[test]
fn given_legs_outside_the_flight_are_refused() {
    let series = trust(fly(&Plan::default()).readings);
    let error = |legs| find(&series, &options(legs)).unwrap_err();
    assert!(matches!(error(vec![leg(10.0, 9e3, LegKind::Leg)]), GivenLegError::OutsideFlight { .. }));
    assert!(matches!(error(vec![leg(20.0, 10.0, LegKind::Leg)]), GivenLegError::Reversed { .. }));
    let overlapping = vec![leg(10.0, 20.0, LegKind::Leg), leg(19.0, 30.0, LegKind::Leg)];
    assert!(matches!(error(overlapping), GivenLegError::Overlap { .. }));
}

#[test]
fn given_legs_are_used_unchanged_and_paired_in_order() {
    let flight = fly(&Plan { whole_flight: false, ..Plan::default() });
    let series = trust(flight.readings.clone());
    let kinds = |upwind| if upwind { LegKind::Upwind } else { LegKind::Downwind };
    for legs in [true_legs(&flight, kinds), true_legs(&flight, |_| LegKind::Leg)] {
        let set = find(&series, &options(legs)).unwrap();
        assert_eq!(set.pairs.len(), 6);
        for (pair, leg) in set.pairs.iter().zip(flight.legs.iter().step_by(2)) {
            assert_eq!(set.legs[pair.upwind].start_s, leg.start_s + 2.0);
            assert_eq!(set.legs[pair.downwind].kind, LegKind::Downwind);
        }
    }
}

#[test]
fn a_leg_given_as_unpaired_is_left_out_of_the_pairs() {
    let flight = fly(&Plan { whole_flight: false, ..Plan::default() });
    let mut legs = true_legs(&flight, |_| LegKind::Leg);
    legs[0].kind = LegKind::Unpaired;
    legs[11].kind = LegKind::Unpaired;
    let set = find(&trust(flight.readings), &options(legs)).unwrap();
    assert_eq!(set.pairs.len(), 5);
    assert!(set.notes.iter().any(|note| matches!(note, Note::UnpairedLeg { leg: 1, .. })));
}

#[test]
fn given_throttle_steps_are_given_to_the_pairs_in_order() {
    let flight = fly(&Plan { legs_per_step: 4, ..Plan::default() });
    let throttles = vec![50.0, 60.0, 70.0, 80.0, 90.0, 100.0];
    let options = LegOptions { throttle_steps: Some(throttles.clone()), ..LegOptions::default() };
    let set = find(&trust(flight.readings), &options).unwrap();
    assert_eq!(set.throttle_source, ThrottleSource::Given);
    let of_pairs: Vec<f64> = set.pairs.iter().filter_map(|pair| pair.throttle_percent).collect();
    assert_eq!(of_pairs, throttles.iter().flat_map(|throttle| [*throttle; 2]).collect::<Vec<f64>>());
    let steps = steps(&pair(&set));
    assert_eq!(steps.len(), 6);
    for (step, truth) in steps.iter().zip(&flight.airspeeds) {
        assert_eq!(step.pairs.len(), 2);
        assert!(
            (step.airspeed.value - truth).abs() < 3.0 * step.airspeed.standard_uncertainty,
            "{step:?} {truth}"
        );
    }
}

#[test]
fn a_given_list_that_lacks_steps_widens_the_intervals_and_is_flagged() {
    let flight = fly(&Plan { whole_flight: false, ..Plan::default() });
    let of_list = |throttles: &[f64]| {
        let options = LegOptions { throttle_steps: Some(throttles.to_vec()), ..LegOptions::default() };
        let pairs = pair(&find(&trust(flight.readings.clone()), &options).unwrap());
        (steps(&pairs), pairs)
    };
    let (right, _) = of_list(&[50.0, 60.0, 70.0, 80.0, 90.0, 100.0]);
    assert!(right.iter().all(|step| step.flags.is_empty()));
    let (lacking, pairs) = of_list(&[50.0, 75.0, 100.0]);
    assert_eq!(lacking.len(), 3);
    for step in &lacking {
        assert!(step.flags.iter().any(|flag| flag.0.contains("one throttle")), "{:?}", step.flags);
        for pair in pairs.iter().filter(|pair| pair.step == step.step) {
            let inside = step.airspeed.holds(pair.airspeed.value);
            assert!(inside, "{} not in {} to {}", pair.airspeed.value, step.airspeed.low, step.airspeed.high);
        }
    }
}

#[test]
fn uneven_pairs_are_divided_among_given_steps_where_the_speeds_change() {
    let flight = fly(&Plan { whole_flight: false, legs_per_step: 4, ..Plan::default() });
    let mut legs = true_legs(&flight, |_| LegKind::Leg);
    legs.drain(4..6);
    let throttle_steps = Some(vec![50.0, 60.0, 70.0, 80.0, 90.0, 100.0]);
    let set = find(
        &trust(flight.readings),
        &LegOptions { given: Some(legs), throttle_steps, ..LegOptions::default() },
    )
    .unwrap();
    let steps: Vec<u32> = set.pairs.iter().map(|pair| pair.step).collect();
    assert_eq!(steps, [1, 1, 2, 3, 3, 4, 4, 5, 5, 6, 6]);
    assert!(set.notes.contains(&Note::UnequalSteps { pairs: 11, steps: 6 }));
}

#[test]
fn more_given_steps_than_pairs_are_not_assigned() {
    let flight = fly(&Plan::default());
    let options = LegOptions { throttle_steps: Some(vec![50.0; 9]), ..LegOptions::default() };
    let set = find(&trust(flight.readings), &options).unwrap();
    assert_eq!(set.throttle_source, ThrottleSource::Numbered);
    assert!(set.notes.iter().any(|note| matches!(note, Note::TooFewPairs { steps: 9, .. })));
}

#[test]
fn a_shown_throttle_separates_the_steps() {
    let plan = Plan { throttle_readout: Readout::Alive, legs_per_step: 4, seed: 5, ..Plan::default() };
    let set = found(&trust(fly(&plan).readings));
    assert_eq!(set.throttle_source, ThrottleSource::Overlay);
    let throttles: Vec<f64> = set.pairs.iter().filter_map(|pair| pair.throttle_percent).collect();
    assert_eq!(throttles, plan.throttles.iter().flat_map(|throttle| [*throttle; 2]).collect::<Vec<f64>>());
    assert_eq!(set.pairs.iter().map(|pair| pair.step).max(), Some(6));
}

#[test]
fn given_throttle_steps_override_a_shown_throttle_and_a_contradiction_is_noted() {
    let plan = Plan { throttle_readout: Readout::Alive, legs_per_step: 4, seed: 5, ..Plan::default() };
    let series = trust(fly(&plan).readings);
    let with = |steps: &[f64]| {
        let throttle_steps = Some(steps.to_vec());
        find(&series, &LegOptions { throttle_steps, ..LegOptions::default() }).unwrap()
    };
    let agreeing = with(&plan.throttles);
    assert_eq!(agreeing.throttle_source, ThrottleSource::Given);
    assert!(!agreeing.notes.iter().any(|note| matches!(note, Note::ThrottleContradicts { .. })));

    let mut other = plan.throttles.clone();
    other[2] += 5.0;
    let set = with(&other);
    let of_pairs: Vec<f64> = set.pairs.iter().filter_map(|pair| pair.throttle_percent).collect();
    assert_eq!(of_pairs, other.iter().flat_map(|throttle| [*throttle; 2]).collect::<Vec<f64>>());
    assert!(set.pairs.iter().all(|pair| set.legs[pair.upwind].throttle_percent == pair.throttle_percent));
    let differences = vec![(other[2], plan.throttles[2])];
    assert!(set.notes.contains(&Note::ThrottleContradicts { differences }), "{:?}", set.notes);
}

#[test]
fn given_steps_that_would_mix_the_throttles_shown_are_not_used() {
    let plan = Plan { throttle_readout: Readout::Alive, legs_per_step: 4, seed: 5, ..Plan::default() };
    let options = LegOptions { throttle_steps: Some(vec![60.0, 80.0, 100.0]), ..LegOptions::default() };
    let set = find(&trust(fly(&plan).readings), &options).unwrap();
    assert_eq!(set.throttle_source, ThrottleSource::Overlay);
    assert!(set.notes.contains(&Note::ThrottleStepsMixed { given: 3, shown: 6 }), "{:?}", set.notes);
    assert_eq!(set.pairs.iter().map(|pair| pair.step).max(), Some(6));
}

#[test]
fn with_more_given_steps_than_pairs_the_shown_throttle_is_used() {
    let plan = Plan { throttle_readout: Readout::Alive, legs_per_step: 4, seed: 5, ..Plan::default() };
    let options = LegOptions { throttle_steps: Some(vec![50.0; 90]), ..LegOptions::default() };
    let set = find(&trust(fly(&plan).readings), &options).unwrap();
    assert_eq!(set.throttle_source, ThrottleSource::Overlay);
    let said: Vec<String> = set.notes.iter().map(ToString::to_string).collect();
    assert!(said.iter().any(|said| said.contains("the given steps are not used")), "{said:?}");
}

#[test]
fn a_file_without_comma_separated_legs_is_refused_with_the_fix() {
    let folder = tempfile::tempdir().unwrap();
    let said = |bytes: &[u8]| {
        let path = folder.path().join("legs.csv");
        std::fs::write(&path, bytes).unwrap();
        read_file(&path).unwrap_err().to_string()
    };
    assert!(said(b"start_s;end_s;kind;throttle_percent\n1,5;9;leg;\n").contains("separate them by commas"));
    assert!(said(b"RIFF\xff\x00\x80AVI ").contains("not the clip"));
    let far = said(b"start_s,end_s,kind,throttle_percent\n1,1e308,leg,\n");
    assert!(far.contains("1e308") && far.len() < 200, "{far}");
}

#[test]
fn a_dead_throttle_is_noted_and_not_used() {
    let series = trust(fly(&Plan { throttle_readout: Readout::Dead, ..Plan::default() }).readings);
    let set = found(&series);
    assert_eq!(series.stuck_at(&Channel::Throttle), Some(0.0));
    assert_eq!(set.throttle_source, ThrottleSource::Numbered);
    assert!(set.pairs.iter().all(|pair| pair.throttle_percent.is_none()));
}

/// The readings of a flight up to `end_s` seconds.
fn until(flight: Flight, end_s: f64) -> Readings {
    let mut readings = flight.readings;
    let frames = readings.time_s.partition_point(|time| *time < end_s);
    readings.time_s.truncate(frames);
    for channel in &mut readings.channels {
        channel.values.truncate(frames);
        channel.confidence.truncate(frames);
        channel.blank.truncate(frames);
    }
    readings
}

#[test]
fn a_single_leg_at_the_end_is_unpaired() {
    let flight = fly(&Plan { whole_flight: false, wind: 4.0, ..Plan::default() });
    let end_s = flight.legs[10].end_s;
    let set = found(&trust(until(flight, end_s)));
    assert_eq!(set.legs.len(), 11);
    assert_eq!(set.legs[10].kind, LegKind::Unpaired);
    assert_eq!(set.pairs.len(), 5);
}

#[test]
fn a_leg_whose_speeds_have_digits_without_a_glyph_is_in_no_pair() {
    let flight = fly(&Plan::default());
    let first = true_legs(&flight, |_| LegKind::Leg).swap_remove(0);
    let usage_with_blanks = |why: Blank| {
        let mut readings = flight.readings.clone();
        let times = readings.time_s.iter().enumerate();
        let in_leg = times.filter(|(_, time_s)| (first.start_s..first.end_s).contains(*time_s));
        for (frame, _) in in_leg.filter(|(frame, _)| frame % 5 == 0) {
            readings.channels[0].blank[frame] = why;
            readings.channels[0].values[frame] = f64::NAN;
        }
        let set = find(&trust(readings), &options(true_legs(&flight, |_| LegKind::Leg))).unwrap();
        set.legs[0].usage
    };
    assert_eq!(usage_with_blanks(Blank::Unclear), LegUse::Used);
    assert_eq!(usage_with_blanks(Blank::DigitUnknown), LegUse::LeftOut(NotPaired::UnknownDigits));

    let mut readings = flight.readings.clone();
    readings.channels[0].blank.iter_mut().step_by(5).for_each(|blank| *blank = Blank::DigitUnknown);
    let set = find(&trust(readings), &options(true_legs(&flight, |_| LegKind::Leg))).unwrap();
    assert!(set.notes.contains(&Note::UnknownDigits), "{:?}", set.notes);
}

#[test]
fn missing_channels_are_noted() {
    let flight = fly(&Plan::default());
    let none = found(&trust(Readings::default()));
    assert_eq!(none.notes, [Note::SpeedNotMarked]);

    let mut blank = flight.readings.clone();
    blank.channels[0].blank.fill(Blank::Unclear);
    let set = found(&trust(blank));
    assert!(set.notes.contains(&Note::NoTrustedSpeed) && pair(&set).is_empty());

    let mut constant = flight.readings.clone();
    constant.channels[0].values.fill(70.0);
    constant.channels[0].blank.fill(Blank::No);
    assert!(found(&trust(constant)).notes.contains(&Note::ConstantSpeed));

    let end_s = flight.legs[0].end_s;
    let set = found(&trust(until(flight, end_s)));
    assert!(set.notes.contains(&Note::OneLeg), "{:?}", set.notes);
    assert!(pair(&set).is_empty() && steps(&[]).is_empty());
}
