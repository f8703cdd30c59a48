use super::*;
use crate::recognise::Candidate;

const BOUNDS: Bounds = Bounds { quantum: 1.0, range: Some((0.0, 200.0)), max_rate: Some(50.0), traces: true };

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
fn frames(observations: impl IntoIterator<Item = Observation>) -> Vec<Frame> {
    let frame = |(number, observation)| Frame { time_s: number as f64 * 0.04, observation, lost: false };
    observations.into_iter().enumerate().map(frame).collect()
}

fn clear(value: f64) -> Observation {
    observation(TextLegibility::Legible, &[(value, 0.0)])
}

/// Holds of five frames each.
fn holds(values: &[f64]) -> Vec<Observation> {
    values.iter().flat_map(|value| std::iter::repeat_n(clear(*value), 5)).collect()
}

fn values(verdicts: &[Verdict]) -> Vec<f64> {
    verdicts.iter().map(|verdict| verdict.map_or(f64::NAN, |(value, _)| value)).collect()
}

#[test]
fn clear_looks_are_taken_as_they_are() {
    let shown = [60.0, 61.0, 63.0, 62.0];
    let verdicts = pool(&frames(holds(&shown)), &BOUNDS);
    let expected: Vec<f64> = shown.iter().flat_map(|value| [*value; 5]).collect();
    assert_eq!(values(&verdicts), expected);
    assert!(verdicts.iter().flatten().all(|(_, confidence)| *confidence > 0.99), "{verdicts:?}");
}

#[test]
fn a_doubtful_frame_is_read_with_the_help_of_its_neighbours() {
    let mut observations = holds(&[63.0, 63.0]);
    observations[4] = observation(TextLegibility::Legible, &[(68.0, 0.0), (63.0, 0.8)]);
    let verdicts = pool(&frames(observations), &BOUNDS);
    assert_eq!(verdicts[4].map(|(value, _)| value), Some(63.0));
    assert!(verdicts[4].is_some_and(|(_, confidence)| confidence > 0.95), "{:?}", verdicts[4]);
}

#[test]
fn two_equally_likely_texts_with_no_neighbour_to_decide_leave_a_doubt() {
    let verdicts =
        pool(&frames([observation(TextLegibility::Legible, &[(63.0, 0.0), (68.0, 0.1)])]), &BOUNDS);
    assert!(verdicts[0].is_some_and(|(_, confidence)| confidence < 0.6), "{verdicts:?}");
}

#[test]
fn a_burst_over_one_frame_of_a_hold_costs_nothing() {
    let mut observations = holds(&[63.0, 63.0, 64.0]);
    observations[4] = observation(TextLegibility::Illegible, &[(83.0, 0.0), (88.0, 1.0)]);
    let verdicts = pool(&frames(observations), &BOUNDS);
    assert!(matches!(verdicts[4], Some((63.0, confidence)) if confidence > 0.95), "{:?}", verdicts[4]);
}

#[test]
fn a_value_outside_the_range_gives_way_to_the_likeliest_inside() {
    let mut observations = holds(&[63.0, 63.0]);
    observations[4] = observation(TextLegibility::Legible, &[(630.0, 0.0), (63.0, 2.0)]);
    let verdicts = pool(&frames(observations), &BOUNDS);
    assert_eq!(verdicts[4].map(|(value, _)| value), Some(63.0));
    let alone = pool(&frames([clear(630.0)]), &BOUNDS);
    assert_eq!(alone, [None]);
}

#[test]
fn a_long_stretch_that_looks_like_no_known_text_is_not_filled() {
    let mut observations = holds(&[63.0, 63.0, 63.0, 63.0, 63.0, 63.0, 64.0]);
    for observation_then in &mut observations[8..22] {
        *observation_then = observation(TextLegibility::Illegible, &[(83.0, 0.0)]);
    }
    let verdicts = pool(&frames(observations), &BOUNDS);
    for verdict in &verdicts[11..19] {
        assert!(verdict.is_none_or(|(_, confidence)| confidence < 0.9), "{verdict:?}");
    }
}

#[test]
fn a_hold_that_may_be_a_digit_never_taught_is_not_given_to_its_neighbours() {
    let mut observations = holds(&[850.0, 851.0, 852.0, 853.0, 854.0].map(|value: f64| value - 800.0));
    for observation_then in &mut observations[10..15] {
        *observation_then = observation(TextLegibility::UnknownDigit, &[(53.0, 0.0), (50.0, 0.5)]);
    }
    for verdict in &pool(&frames(observations), &BOUNDS)[10..15] {
        assert!(verdict.is_none_or(|(_, confidence)| confidence < 0.9), "{verdict:?}");
    }
}

#[test]
fn an_impossible_jump_of_one_frame_is_refused_however_sure_it_looks() {
    let mut observations = holds(&[63.0, 63.0, 63.0]);
    observations[7] = observation(TextLegibility::Legible, &[(163.0, 0.0), (63.0, 6.0)]);
    let verdicts = pool(&frames(observations), &BOUNDS);
    assert_eq!(verdicts[7].map(|(value, _)| value), Some(63.0));
}

/// The definition: the sum over all sequences of states of the product of their probabilities.
fn by_enumeration(frames: &[Frame], at: usize) -> Vec<f64> {
    let chain = Chain::of(frames, &BOUNDS);
    let states: Vec<Vec<f64>> = (0..frames.len()).map(|at| states(frames, at, &BOUNDS)).collect();
    let emissions: Vec<Vec<f64>> =
        frames.iter().zip(&states).map(|(frame, states)| emissions(frame, states)).collect();
    let mut weights = vec![0.0; states[at].len() + 1];
    let count: usize = states.iter().map(|states| states.len() + 1).product();
    for number in 0..count {
        let mut rest = number;
        let path: Vec<usize> = states
            .iter()
            .map(|states| {
                let index = rest % (states.len() + 1);
                rest /= states.len() + 1;
                index
            })
            .collect();
        let mut weight = emissions[0][path[0]];
        for step in 1..path.len() {
            let (from, to) = (state(&states[step - 1], path[step - 1]), state(&states[step], path[step]));
            weight *= chain.transition(from, to, step_s(frames, step)) * emissions[step][path[step]];
        }
        weights[path[at]] += weight;
    }
    normalise(&mut weights);
    weights
}

#[test]
fn the_probabilities_are_those_of_summing_over_all_sequences() {
    let observations = [
        clear(63.0),
        observation(TextLegibility::Legible, &[(68.0, 0.0), (63.0, 0.7)]),
        observation(TextLegibility::Illegible, &[(61.0, 0.0), (64.0, 0.5)]),
        observation(TextLegibility::Nothing, &[]),
        clear(64.0),
    ];
    let frames = frames(observations);
    for (at, verdict) in pool(&frames, &BOUNDS).into_iter().enumerate() {
        let weights = by_enumeration(&frames, at);
        let best = weights.iter().copied().fold(0.0, f64::max);
        if let Some((_, confidence)) = verdict {
            assert!((f64::from(confidence) - best).abs() < 1e-5, "{at}: {confidence} {weights:?}");
        }
    }
}

#[test]
fn a_value_that_lies_half_way_to_another_in_most_of_its_frames_is_not_sure() {
    let with_margins = |margins: [f32; 5]| -> Vec<Frame> {
        let mut observations = holds(&[63.0, 64.0]);
        observations.iter_mut().zip(margins).for_each(|(observation, margin)| observation.margin = margin);
        frames(observations)
    };
    let mixed_at_the_change = pool(&with_margins([1.0, 1.0, 0.9, 0.8, 0.5]), &BOUNDS);
    assert!(mixed_at_the_change.iter().flatten().all(|(_, sure)| *sure > 0.9), "{mixed_at_the_change:?}");
    let half_way = pool(&with_margins([0.6, 0.5, 0.9, 0.55, 0.6]), &BOUNDS);
    assert!(half_way[..5].iter().flatten().all(|(_, sure)| *sure <= 0.5), "{half_way:?}");
    assert!(half_way[5..].iter().flatten().all(|(_, sure)| *sure > 0.9), "{half_way:?}");
}

#[test]
fn traces_of_the_text_before_leave_a_value_sure_where_there_can_be_any() {
    let half_way_to = |runner_up: f64, traces: bool| {
        let mut observations = holds(&[63.0, 64.0]);
        observations[5..]
            .iter_mut()
            .for_each(|observation| (observation.margin, observation.runner_up) = (0.6, Some(runner_up)));
        pool(&frames(observations), &Bounds { traces, ..BOUNDS })[5..].to_vec()
    };
    for (runner_up, traces, sure) in [(63.0, true, true), (69.0, true, false), (63.0, false, false)] {
        let verdicts = half_way_to(runner_up, traces);
        let is_as_told = |(_, share): &(f64, f32)| if sure { *share > 0.9 } else { *share <= 0.5 };
        assert!(verdicts.iter().flatten().all(is_as_told), "{runner_up} {traces}: {verdicts:?}");
    }
}
