//! Field blending: one frame shows both the previous and the next text, because the overlay changes between
//! the two fields of an interlaced frame, or because an encoder blends two frames. Either text then counts as
//! a correct reading.

use super::frame_observation::{FrameObservation, Posterior, likelihood_weight};
use crate::recognise::Observation;

/// Minimum probability of the values in the frames before and after a blended frame, 0 to 1. Set by
/// judgement.
const MIN_NEIGHBOUR_PROBABILITY: f32 = 0.9;

/// Prior share of changes for which one frame is a blend, 0 to 1. Set by judgement.
const PRIOR_SHARE: f64 = 0.5;

/// Weight of the prior share, as a number of changes. Set by judgement.
const PRIOR_CHANGES: f64 = 2.0;

/// Number of iterations of expectation maximisation, which estimates the share of blended changes. Set by
/// judgement.
const ITERATIONS: usize = 8;

/// A frame at a change of the text, which is read as the text before or after the change.
struct Change {
    /// Index of the frame.
    frame: usize,
    /// Probability that the frame shows the text that it is read as, 0 to 1.
    as_read: f64,
    /// Probability that the frame shows the other one of the two texts, 0 to 1.
    as_other: f64,
    /// Unnormalised probability that the frame is a blend of both texts: `as_read` times the likelihood ratio of the
    /// blend to the text that the frame is read as.
    as_blend: f64,
}

impl Change {
    /// The frame with index `at`, if the frames before and after it almost certainly show two different texts and the
    /// frame itself is read as one of these; otherwise `None`. `probability` returns the probability, 0 to 1, that
    /// the frame shows a given value.
    fn of(
        frames: &[FrameObservation],
        posteriors: &[Option<Posterior>],
        at: usize,
        probability: impl Fn(f64) -> f64,
    ) -> Option<Self> {
        let Posterior { value, probability: own } = posteriors[at]?;
        let neighbour = |frame: usize| posteriors.get(frame).copied().flatten();
        let (before, after) = (neighbour(at.checked_sub(1)?)?, neighbour(at + 1)?);
        let other = if before.value == value { after.value } else { before.value };
        let is_change = before.value != after.value && (before.value == value || after.value == value);
        let min_probability = before.probability.min(after.probability);
        if frames[at].lost || !is_change || min_probability < MIN_NEIGHBOUR_PROBABILITY {
            return None;
        }
        let as_read = f64::from(own);
        let observation = &frames[at].observation;
        let as_blend = as_read
            * f64::from(
                likelihood_weight(observation.legibility) * blend_log_ratio(observation, value, other)?,
            )
            .exp();
        Some(Self { frame: at, as_read, as_other: probability(other), as_blend })
    }

    /// Probability that the frame is a blend, 0 to 1, if the share `share` (0 to 1) of all changes is blended.
    fn blend_probability(&self, share: f64) -> f64 {
        let as_blend = self.as_blend * prior_odds(share);
        as_blend / (self.as_read + self.as_other + as_blend)
    }
}

/// Prior odds, for a frame at a change of text, of a blend of the two texts against one of them alone, if the share
/// `share` (0 to 1) of all changes is blended. A frame that is no blend shows either text with equal probability.
fn prior_odds(share: f64) -> f64 {
    2.0 * share / (1.0 - share)
}

/// Log-likelihood ratio of a blend of two texts in equal parts against the first text. With d2 the squared distance
/// between the texts and r their log-likelihood ratio, the features lie at 1/2 + r/d2 of the way from the second text
/// to the first; for normal noise the ratio is d2/8 - r/2. `None` if the best candidate does not consist of characters
/// of the two texts, or if a distance is unknown.
fn blend_log_ratio(observation: &Observation, first: f64, second: f64) -> Option<f32> {
    let candidate = |value: f64| observation.candidates.iter().find(|candidate| candidate.value == value);
    let (best, first, second) = (observation.candidates.first()?, candidate(first)?, candidate(second)?);
    // Every character has its own pixels. The best candidate therefore lies between the two texts if each of
    // its characters belongs to one of them.
    let same_length = best.text.len() == first.text.len() && best.text.len() == second.text.len();
    let mut characters = best.text.chars().zip(first.text.chars().zip(second.text.chars()));
    let is_between = same_length && characters.all(|(best, (first, second))| best == first || best == second);
    let (distance2, ratio) = (first.distance2 + second.distance2, second.deficit - first.deficit);
    (is_between && distance2.is_finite()).then_some(0.125 * distance2 - 0.5 * ratio)
}

/// Corrects the probabilities of readings at changes of the text: a blend counts as a correct reading of either text,
/// so the probability that the frame is a blend is added. `probability` returns the probability, 0 to 1, that the frame
/// with a given index shows a given value. The share of blended changes is estimated by expectation maximisation; it is
/// almost 0 for progressive recordings.
pub(super) fn accept_either_text(
    frames: &[FrameObservation],
    posteriors: &mut [Option<Posterior>],
    probability: impl Fn(usize, f64) -> f64,
) {
    let changes: Vec<Change> = (0..frames.len())
        .filter_map(|at| Change::of(frames, posteriors, at, |value| probability(at, value)))
        .collect();
    let mut share = PRIOR_SHARE;
    for _ in 0..ITERATIONS {
        let blended: f64 = changes.iter().map(|change| change.blend_probability(share)).sum();
        share = (blended + PRIOR_SHARE * PRIOR_CHANGES) / (changes.len() as f64 + PRIOR_CHANGES);
    }
    for change in &changes {
        let either = change.as_read + change.as_blend * prior_odds(share);
        let rest = 1.0 - change.as_read;
        if let Some(posterior) = &mut posteriors[change.frame] {
            posterior.probability = posterior.probability.max((either / (either + rest)) as f32);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::frame_observation::ChannelLimits;
    use crate::readings::posteriors::posteriors;
    use crate::recognise::{Candidate, MAX_DEFICIT, TextLegibility};

    const LIMITS: ChannelLimits =
        ChannelLimits { quantum: 1.0, range: Some((0.0, 200.0)), max_rate: Some(50.0), traces: false };

    /// Squared Mahalanobis distance between two texts.
    const DISTANCE2: f32 = 40.0;

    fn candidate(value: f64, deficit: f32, distance2: f32) -> Candidate {
        Candidate {
            text: value.to_string().as_str().try_into().unwrap_or_default(),
            value,
            deficit,
            distance2,
        }
    }

    fn observation(candidates: impl IntoIterator<Item = Candidate>) -> Observation {
        let candidates = candidates.into_iter().collect();
        Observation {
            legibility: TextLegibility::Legible,
            candidates,
            floor: MAX_DEFICIT,
            margin: 1.0,
            runner_up: None,
        }
    }

    /// Features at the share `share` of the way from the second text to the first; more than a half.
    fn between(first: f64, second: f64, share: f32) -> Observation {
        observation([candidate(first, 0.0, 0.0), candidate(second, (share - 0.5) * DISTANCE2, DISTANCE2)])
    }

    /// Frames at 25 a second.
    fn frames(observations: Vec<Observation>) -> Vec<FrameObservation> {
        let frame = |(number, observation)| FrameObservation {
            time_s: f64::from(number) * 0.04,
            observation,
            lost: false,
        };
        (0..).zip(observations).map(frame).collect()
    }

    /// Holds of five frames each; the first frame of each is given by `at_change` from the next and the previous value.
    fn holds(values: &[f64], at_change: impl Fn(f64, f64) -> Observation) -> Vec<Observation> {
        let plain = |value: f64| observation([candidate(value, 0.0, 0.0)]);
        let later = values.windows(2).flat_map(|two| {
            std::iter::once(at_change(two[1], two[0])).chain(std::iter::repeat_n(plain(two[1]), 4))
        });
        std::iter::repeat_n(plain(values[0]), 5).chain(later).collect()
    }

    #[test]
    fn the_ratio_is_that_of_normal_distributions() {
        // On the line through both texts, in units of the noise, the second text is at 0 and the first at sqrt(d2).
        let log_density = |at: f32, middle: f32| -0.5 * (at - middle).powi(2);
        let first = DISTANCE2.sqrt();
        for share in [0.5, 0.55, 0.7, 1.0] {
            let at = share * first;
            let expected = log_density(at, 0.5 * first) - log_density(at, first);
            let found = blend_log_ratio(&between(64.0, 63.0, share), 64.0, 63.0);
            assert!(
                found.is_some_and(|found| (found - expected).abs() < 1e-3),
                "{share}: {found:?} {expected}"
            );
            let expected = log_density(at, 0.5 * first) - log_density(at, 0.0);
            let found = blend_log_ratio(&between(64.0, 63.0, share), 63.0, 64.0);
            assert!(
                found.is_some_and(|found| (found - expected).abs() < 1e-3),
                "{share}: {found:?} {expected}"
            );
        }
    }

    #[test]
    fn blends_of_two_changing_digits_lie_between_the_texts() {
        // A blend of 69 and 70 looks most like 60 or 79, equally far from both texts.
        let mixture = |text: f64| {
            observation([
                candidate(text, 0.0, 0.0),
                candidate(69.0, 1.0, 0.5 * DISTANCE2),
                candidate(70.0, 1.5, 0.5 * DISTANCE2),
            ])
        };
        for text in [60.0, 79.0] {
            let found = blend_log_ratio(&mixture(text), 69.0, 70.0);
            assert!(
                found.is_some_and(|found| (found - (0.125 * DISTANCE2 - 0.25)).abs() < 1e-4),
                "{found:?}"
            );
        }
        assert_eq!(blend_log_ratio(&mixture(68.0), 69.0, 70.0), None);
    }

    #[test]
    fn a_blended_frame_has_a_high_probability() {
        let values = [63.0, 64.0, 65.0, 66.0];
        let found =
            posteriors(&frames(holds(&values, |after, before| between(after, before, 0.52))), &LIMITS);
        for (at, posterior) in found.iter().enumerate() {
            let Posterior { value, probability } =
                posterior.unwrap_or(Posterior { value: 0.0, probability: 0.0 });
            assert!(probability > 0.99, "{at}: {posterior:?}");
            assert!(
                value == values[at / 5] || (at % 5 == 0 && value == values[at / 5 - 1]),
                "{at}: {posterior:?}"
            );
        }
    }

    #[test]
    fn a_single_blended_change_is_less_probable_where_others_are_not_blended() {
        let values: Vec<f64> = (0..30).map(|step| f64::from(60 + step)).collect();
        let one_of = |all: bool| {
            let at_change = |after: f64, before: f64| match all || after == 75.0 {
                true => between(after, before, 0.52),
                false => between(after, before, 1.0),
            };
            posteriors(&frames(holds(&values, at_change)), &LIMITS)[75]
                .map_or(0.0, |posterior| posterior.probability)
        };
        assert!(one_of(true) > one_of(false), "{} {}", one_of(true), one_of(false));
    }

    #[test]
    fn inside_a_hold_an_observation_between_two_texts_gains_nothing() {
        let with_distance2 = |distance2: f32| {
            let mut observations = holds(&[63.0, 63.0], |_, _| observation([candidate(63.0, 0.0, 0.0)]));
            observations[4] = observation([candidate(68.0, 0.0, 0.0), candidate(63.0, 4.0, distance2)]);
            posteriors(&frames(observations), &LIMITS)
        };
        assert_eq!(with_distance2(DISTANCE2), with_distance2(f32::INFINITY));
    }
}
