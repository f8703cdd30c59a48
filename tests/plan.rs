//! The test card: its runs, their order, and the requests that it refuses.
#![allow(clippy::unwrap_used, clippy::panic, missing_docs)]

use pairspeed::model::units::Unit;
use pairspeed::plan::{
    Pack, PlanError, PlanQuantity, PlanRequest, TestCard, UnmetRequirement, balanced_order, plan,
};
use pairspeed::propulsion::{FlownStep, SharedUncertainty};
use pairspeed::summary::FlownFlight;

fn request() -> PlanRequest {
    PlanRequest {
        full_throttle_mps: Some(38.0),
        wind_mps: Some(3.5),
        flight_s: Some(420.0),
        ..PlanRequest::default()
    }
}

fn card(request: &PlanRequest) -> TestCard {
    plan(request, None).unwrap()
}

/// Mean position of each throttle within the runs of one flight.
fn mean_positions(card: &TestCard, flight: u32) -> Vec<f64> {
    let runs: Vec<_> = card.runs.iter().filter(|run| run.flight == flight).collect();
    card.steps
        .iter()
        .map(|step| {
            let positions: Vec<f64> = (0..runs.len())
                .filter(|position| runs[*position].throttle_percent == step.throttle_percent)
                .map(|position| position as f64)
                .collect();
            positions.iter().sum::<f64>() / positions.len() as f64
        })
        .collect()
}

#[test]
fn a_mirrored_order_gives_every_throttle_the_same_mean_position() {
    let card = card(&PlanRequest { flight_s: None, half_width_mps: 0.45, ..request() });
    assert!(card.runs.len() >= 2 * card.steps.len() && card.flights == 1);
    let positions = mean_positions(&card, 1);
    assert!(positions.iter().all(|position| (position - positions[0]).abs() < 1e-9), "{positions:?}");
    assert!(card.throttle_order_correlation < 1e-9);
}

#[test]
fn even_in_a_single_pass_throttle_and_time_are_uncorrelated() {
    for count in 3..=12 {
        let steps: Vec<f64> = (1..=count).map(|step| 100.0 * f64::from(step) / f64::from(count)).collect();
        let order = balanced_order(&steps);
        let mut sorted = order.clone();
        sorted.sort_by(f64::total_cmp);
        assert_eq!(sorted, steps, "an order holds every step once");
        let middle = (order.len() - 1) as f64 / 2.0;
        let mean = order.iter().sum::<f64>() / order.len() as f64;
        let moment: f64 = (0..).map(f64::from).zip(&order).map(|(p, n)| (p - middle) * (n - mean)).sum();
        let spread: f64 = order.iter().map(|n| (n - mean).powi(2)).sum();
        let positions: f64 = (0..order.len()).map(|p| (p as f64 - middle).powi(2)).sum();
        let limit = if count == 3 { 0.51 } else { 0.25 };
        assert!((moment / (spread * positions).sqrt()).abs() < limit, "{order:?}");
    }
    assert_eq!(balanced_order(&[]), Vec::<f64>::new());
    assert_eq!(balanced_order(&[100.0]), [100.0]);
}

#[test]
fn a_narrower_interval_needs_more_pairs() {
    let wide = card(&PlanRequest { half_width_mps: 1.5, ..request() });
    let narrow = card(&PlanRequest { half_width_mps: 0.5, ..request() });
    assert!(narrow.runs.len() > wide.runs.len());
    for (card, wanted) in [(&wide, 1.5), (&narrow, 0.5)] {
        assert!(card.steps.iter().all(|step| step.half_width_mps.unwrap() <= wanted));
    }
}

#[test]
fn gusts_need_more_pairs_and_a_longer_course_fewer() {
    let pairs = |request: &PlanRequest| {
        card(request).steps.iter().map(|step| step.pairs_needed.unwrap()).max().unwrap()
    };
    let base = PlanRequest { half_width_mps: 0.6, course_m: Some(300.0), ..request() };
    assert!(
        pairs(&PlanRequest { gust_mps: Some(1.2), ..base.clone() })
            > pairs(&PlanRequest { gust_mps: Some(0.4), ..base.clone() })
    );
    let gusty = PlanRequest { gust_mps: Some(1.2), ..base };
    assert!(pairs(&PlanRequest { course_m: Some(900.0), ..gusty.clone() }) < pairs(&gusty));
}

#[test]
fn no_flight_is_longer_than_the_pack_allows() {
    let by_time = card(&PlanRequest { half_width_mps: 0.5, flight_s: Some(420.0), ..request() });
    assert!(by_time.flights > 1 && by_time.flight_s <= 420.0, "{}", by_time.flight_s);
    let by_energy = card(&PlanRequest {
        half_width_mps: 0.5,
        flight_s: None,
        pack: Some(Pack { energy_wh: 60.0, full_power_w: 700.0 }),
        ..request()
    });
    assert!(by_energy.flight_wh.unwrap() <= 0.8 * 60.0, "{:?}", by_energy.flight_wh);
}

#[test]
fn a_flight_too_short_for_one_pass_is_noted_first_and_expects_no_interval() {
    let tight = card(&PlanRequest { flight_s: Some(150.0), ..request() });
    let [UnmetRequirement::Time { needed_s, given_s, steps_that_fit }] = tight.unmet_requirements[..] else {
        panic!("{:?}", tight.unmet_requirements)
    };
    // Six runs of two legs of 12 s and two turns of 5 s, and 60 s of launch and landing.
    assert_eq!((needed_s, given_s, steps_that_fit), (264.0, 150.0, 2));
    assert!(tight.steps.iter().all(|step| step.half_width_mps.is_none()));
    let energy = card(&PlanRequest {
        flight_s: None,
        pack: Some(Pack { energy_wh: 10.0, full_power_w: 700.0 }),
        ..request()
    });
    assert!(
        matches!(energy.unmet_requirements[..], [UnmetRequirement::Energy { .. }]),
        "{:?}",
        energy.unmet_requirements
    );
    assert!(card(&PlanRequest { flight_s: Some(264.0), ..request() }).unmet_requirements.is_empty());
}

#[test]
fn a_course_too_short_says_what_course_is_needed() {
    let short = card(&PlanRequest { course_m: Some(200.0), ..request() });
    let [UnmetRequirement::Course { steps_percent, needed_m }] = &short.unmet_requirements[..] else {
        panic!("{:?}", short.unmet_requirements)
    };
    // 6 s at 38 + 3.5 m/s downwind are 249 m.
    assert_eq!((steps_percent.last(), *needed_m), (Some(&100.0), 250.0));
    for step in &short.steps {
        assert_eq!(step.half_width_mps.is_none(), steps_percent.contains(&step.throttle_percent));
    }
    assert!(card(&PlanRequest { course_m: Some(*needed_m), ..request() }).unmet_requirements.is_empty());
    let none = plan(&PlanRequest { course_m: Some(3.0), ..request() }, None).unwrap_err().to_string();
    for word in ["course of 3 m (10 ft)", "at 100 %", "0.1 s", "250 m (820 ft)"] {
        assert!(none.contains(word), "{word}: {none}");
    }
}

#[test]
fn an_unreachable_interval_is_noted_with_the_expected_one() {
    let fine = card(&PlanRequest { half_width_mps: 0.01, ..request() });
    let [UnmetRequirement::Interval { expected_mps }] = fine.unmet_requirements[..] else {
        panic!("{:?}", fine.unmet_requirements)
    };
    assert!(fine.steps.iter().all(|step| step.pairs_needed.is_none()));
    assert!(fine.steps.iter().all(|step| step.half_width_mps <= expected_mps), "{expected_mps:?}");
}

#[test]
fn invalid_requests_are_refused_with_the_fix() {
    let refused = |request: PlanRequest| plan(&request, None).unwrap_err();
    assert_eq!(refused(PlanRequest { steps_percent: vec![], ..request() }), PlanError::Steps);
    assert_eq!(refused(PlanRequest { steps_percent: vec![50.0, f64::NAN], ..request() }), PlanError::Steps);
    assert_eq!(refused(PlanRequest { steps_percent: vec![50.0, 50.0], ..request() }), PlanError::Steps);
    let many = (1..=21).map(f64::from).collect();
    assert_eq!(refused(PlanRequest { steps_percent: many, ..request() }), PlanError::TooManySteps(21));
    assert_eq!(refused(PlanRequest { full_throttle_mps: None, ..request() }), PlanError::NoSpeed);
    assert_eq!(refused(PlanRequest { wind_mps: None, ..request() }), PlanError::NoWind);
    let slow = refused(PlanRequest { wind_mps: Some(30.0), ..request() });
    assert_eq!(slow, PlanError::SlowerThanWind { throttle_percent: 50.0 });
    for (asked, quantity) in [
        (PlanRequest { half_width_mps: 0.0, ..request() }, PlanQuantity::HalfWidth),
        (PlanRequest { course_m: Some(f64::INFINITY), ..request() }, PlanQuantity::Course),
    ] {
        let error = refused(asked);
        assert!(
            matches!(error, PlanError::NotPositive { quantity: found, .. } if found == quantity),
            "{error}"
        );
    }
    let turn = refused(PlanRequest { turn_s: -1.0, ..request() });
    assert_eq!(turn, PlanError::Negative { quantity: PlanQuantity::Turn, value: -1.0 });
    assert_eq!(turn.to_string(), "duration of a turn is -1 s, but must not be below 0");
}

#[test]
fn an_earlier_flight_gives_speeds_wind_and_gusts() {
    let step = |number: u32, throttle: f64, airspeed_mps: f64, uncertainty_mps: f64| FlownStep {
        step: number,
        throttle_percent: Some(throttle),
        airspeed_mps,
        reported_mps: airspeed_mps,
        own_uncertainty_mps: uncertainty_mps,
        own_degrees_of_freedom: 30.0,
        shared: SharedUncertainty::default(),
        wind_mps: 4.0,
        voltage_v: None,
        pairs: 1,
    };
    let flown = |uncertainty: f64| FlownFlight {
        name: "earlier".to_owned(),
        camera: None,
        speed_unit: Unit::MetresPerSecond,
        steps: vec![step(1, 50.0, 20.0, uncertainty), step(2, 100.0, 35.0, uncertainty)],
        runs: Vec::new(),
        leg_s: Some(8.0),
        density_kg_m3: None,
    };
    let card = |uncertainty: f64| plan(&PlanRequest::default(), Some(&flown(uncertainty))).unwrap();
    let calm = card(0.35);
    assert_eq!(calm.wind_mps, 4.0);
    assert!(
        (calm.steps[0].airspeed_mps - 20.0).abs() < 1e-6 && (calm.steps[5].airspeed_mps - 35.0).abs() < 1e-6
    );
    assert!(card(0.8).gust_mps > 2.0 * calm.gust_mps);
    // Uncertainties that the steps share, such as that from a crosswind, do not count as gusts.
    let mut sharing = flown(0.35);
    for step in &mut sharing.steps {
        step.shared.crosswind_mps = 0.5;
    }
    assert_eq!(plan(&PlanRequest::default(), Some(&sharing)).unwrap().gust_mps, calm.gust_mps);
}
