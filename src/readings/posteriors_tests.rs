use super::*;
use crate::readings::forward_backward::by_enumeration;
use crate::recognise::{Candidate, MAX_DEFICIT, Observation, TextLegibility};

const LIMITS: ChannelLimits =
    ChannelLimits { quantum: 1.0, range: Some((0.0, 200.0)), max_rate: Some(50.0), traces: true };

fn observation(legibility: TextLegibility, candidates: &[(f64, f32)]) -> Observation {
    let candidate = |(value, deficit): &(f64, f32)| Candidate {
        text: value.to_string().as_str().try_into().unwrap_or_default(),
        value: *value,
        deficit: *deficit,
        distance2: f32::INFINITY,
    };
    Observation {
        legibility,
        candidates: candidates.iter().map(candidate).collect(),
        floor: MAX_DEFICIT,
        margin: 1.0,
        runner_up: None,
    }
}

/// Frames at 25 a second.
fn frames(observations: impl IntoIterator<Item = Observation>) -> Vec<FrameObservation> {
    let frame =
        |(number, observation)| FrameObservation { time_s: number as f64 * 0.04, observation, lost: false };
    observations.into_iter().enumerate().map(frame).collect()
}

fn clear(value: f64) -> Observation {
    observation(TextLegibility::Legible, &[(value, 0.0)])
}

/// Holds of five frames each.
fn holds(values: &[f64]) -> Vec<Observation> {
    values.iter().flat_map(|value| std::iter::repeat_n(clear(*value), 5)).collect()
}

fn values(posteriors: &[Option<Posterior>]) -> Vec<f64> {
    posteriors.iter().map(|posterior| posterior.map_or(f64::NAN, |posterior| posterior.value)).collect()
}

#[test]
fn clear_observations_keep_their_values() {
    let shown = [60.0, 61.0, 63.0, 62.0];
    let found = posteriors(&frames(holds(&shown)), &LIMITS);
    let expected: Vec<f64> = shown.iter().flat_map(|value| [*value; 5]).collect();
    assert_eq!(values(&found), expected);
    assert!(found.iter().flatten().all(|posterior| posterior.probability > 0.99), "{found:?}");
}

#[test]
fn an_uncertain_frame_is_read_with_the_help_of_its_neighbours() {
    let mut observations = holds(&[63.0, 63.0]);
    observations[4] = observation(TextLegibility::Legible, &[(68.0, 0.0), (63.0, 0.8)]);
    let found = posteriors(&frames(observations), &LIMITS);
    assert_eq!(found[4].map(|posterior| posterior.value), Some(63.0));
    assert!(found[4].is_some_and(|posterior| posterior.probability > 0.95), "{:?}", found[4]);
}

#[test]
fn two_equally_likely_texts_without_neighbours_stay_uncertain() {
    let found =
        posteriors(&frames([observation(TextLegibility::Legible, &[(63.0, 0.0), (68.0, 0.1)])]), &LIMITS);
    assert!(found[0].is_some_and(|posterior| posterior.probability < 0.6), "{found:?}");
}

#[test]
fn a_noise_burst_in_one_frame_of_a_hold_costs_nothing() {
    let mut observations = holds(&[63.0, 63.0, 64.0]);
    observations[4] = observation(TextLegibility::Illegible, &[(83.0, 0.0), (88.0, 1.0)]);
    let found = posteriors(&frames(observations), &LIMITS);
    assert!(
        matches!(found[4], Some(Posterior { value: 63.0, probability }) if probability > 0.95),
        "{:?}",
        found[4]
    );
}

#[test]
fn a_value_outside_the_range_is_replaced_by_the_most_probable_one_inside() {
    let mut observations = holds(&[63.0, 63.0]);
    observations[4] = observation(TextLegibility::Legible, &[(630.0, 0.0), (63.0, 2.0)]);
    let found = posteriors(&frames(observations), &LIMITS);
    assert_eq!(found[4].map(|posterior| posterior.value), Some(63.0));
    let alone = posteriors(&frames([clear(630.0)]), &LIMITS);
    assert_eq!(alone, [None]);
}

#[test]
fn a_long_interval_without_a_known_text_is_not_filled() {
    let mut observations = holds(&[63.0, 63.0, 63.0, 63.0, 63.0, 63.0, 64.0]);
    for observation_then in &mut observations[8..22] {
        *observation_then = observation(TextLegibility::Illegible, &[(83.0, 0.0)]);
    }
    let found = posteriors(&frames(observations), &LIMITS);
    for posterior in &found[11..19] {
        assert!(posterior.is_none_or(|posterior| posterior.probability < 0.9), "{posterior:?}");
    }
}

#[test]
fn a_hold_that_may_show_an_unknown_digit_is_not_read_as_its_neighbours() {
    let mut observations = holds(&[850.0, 851.0, 852.0, 853.0, 854.0].map(|value: f64| value - 800.0));
    for observation_then in &mut observations[10..15] {
        *observation_then = observation(TextLegibility::UnknownDigit, &[(53.0, 0.0), (50.0, 0.5)]);
    }
    for posterior in &posteriors(&frames(observations), &LIMITS)[10..15] {
        assert!(posterior.is_none_or(|posterior| posterior.probability < 0.9), "{posterior:?}");
    }
}

#[test]
fn an_impossible_jump_of_one_frame_is_refused() {
    let mut observations = holds(&[63.0, 63.0, 63.0]);
    observations[7] = observation(TextLegibility::Legible, &[(163.0, 0.0), (63.0, 6.0)]);
    let found = posteriors(&frames(observations), &LIMITS);
    assert_eq!(found[7].map(|posterior| posterior.value), Some(63.0));
}

#[test]
fn the_probabilities_equal_the_sums_over_all_sequences() {
    let observations = [
        clear(63.0),
        observation(TextLegibility::Legible, &[(68.0, 0.0), (63.0, 0.7)]),
        observation(TextLegibility::Illegible, &[(61.0, 0.0), (64.0, 0.5)]),
        observation(TextLegibility::Nothing, &[]),
        clear(64.0),
    ];
    let frames = frames(observations);
    for (at, posterior) in posteriors(&frames, &LIMITS).into_iter().enumerate() {
        let weights = by_enumeration(&frames, at, &LIMITS);
        let best = weights.iter().copied().fold(0.0, f64::max);
        if let Some(Posterior { probability, .. }) = posterior {
            assert!((f64::from(probability) - best).abs() < 1e-5, "{at}: {probability} {weights:?}");
        }
    }
}

#[test]
fn a_value_that_is_ambiguous_in_most_of_its_frames_is_uncertain() {
    let with_margins = |margins: [f32; 5]| -> Vec<FrameObservation> {
        let mut observations = holds(&[63.0, 64.0]);
        observations.iter_mut().zip(margins).for_each(|(observation, margin)| observation.margin = margin);
        frames(observations)
    };
    let blended_at_the_change = posteriors(&with_margins([1.0, 1.0, 0.9, 0.8, 0.5]), &LIMITS);
    assert!(
        blended_at_the_change.iter().flatten().all(|posterior| posterior.probability > 0.9),
        "{blended_at_the_change:?}"
    );
    let ambiguous = posteriors(&with_margins([0.6, 0.5, 0.9, 0.55, 0.6]), &LIMITS);
    assert!(ambiguous[..5].iter().flatten().all(|posterior| posterior.probability <= 0.5), "{ambiguous:?}");
    assert!(ambiguous[5..].iter().flatten().all(|posterior| posterior.probability > 0.9), "{ambiguous:?}");
}

#[test]
fn traces_of_the_previous_text_do_not_count_where_there_may_be_any() {
    let ambiguous_with = |runner_up: f64, traces: bool| {
        let mut observations = holds(&[63.0, 64.0]);
        observations[5..]
            .iter_mut()
            .for_each(|observation| (observation.margin, observation.runner_up) = (0.6, Some(runner_up)));
        posteriors(&frames(observations), &ChannelLimits { traces, ..LIMITS })[5..].to_vec()
    };
    for (runner_up, traces, is_certain) in [(63.0, true, true), (69.0, true, false), (63.0, false, false)] {
        let found = ambiguous_with(runner_up, traces);
        let is_as_expected = |posterior: &Posterior| match is_certain {
            true => posterior.probability > 0.9,
            false => posterior.probability <= 0.5,
        };
        assert!(found.iter().flatten().all(is_as_expected), "{runner_up} {traces}: {found:?}");
    }
}
