//! Frames of two texts: where the overlay changes between the two fields of an interlaced picture, or an encoder blends
//! two pictures, one frame shows the text before and the text after, and either of them is right.

use super::pooling::{Frame, Verdict, evidence_kept};
use crate::recognise::Observation;

/// Probability from which on the frames beside one of two texts tell which two these are.
const LEAST_SURE_BESIDE: f32 = 0.9;

/// Share of the changes that are taken to show in one frame of both texts before any was seen.
const SHARE_BEFOREHAND: f64 = 0.5;

/// Changes that this share beforehand counts for.
const CHANGES_BEFOREHAND: f64 = 2.0;

/// Rounds of learning the share from the changes.
const ROUNDS: usize = 8;

/// A frame at a change, read as one of the texts on its two sides.
struct AtChange {
    frame: usize,
    /// Probability of the text it is read as, of the other one, and of both at once while that is as probable
    /// beforehand as the first.
    one: f64,
    other: f64,
    both: f64,
}

impl AtChange {
    /// The frame `at` if the ones beside it surely show the two texts it most probably shows; `probability` gives that
    /// of a value in it.
    fn of(
        frames: &[Frame],
        verdicts: &[Verdict],
        at: usize,
        probability: impl Fn(f64) -> f64,
    ) -> Option<Self> {
        let (value, sure) = verdicts[at]?;
        let beside = |frame: usize| verdicts.get(frame).copied().flatten();
        let (before, after) = (beside(at.checked_sub(1)?)?, beside(at + 1)?);
        let other = if before.0 == value { after.0 } else { before.0 };
        let between = before.0 != after.0 && (before.0 == value || after.0 == value);
        if frames[at].lost || !between || before.1.min(after.1) < LEAST_SURE_BESIDE {
            return None;
        }
        let one = f64::from(sure);
        let observation = &frames[at].observation;
        let both = one
            * f64::from(evidence_kept(observation.legibility) * half_way(observation, value, other)?).exp();
        Some(Self { frame: at, one, other: probability(other), both })
    }

    /// Probability that both are shown, where of all changes this share shows in one frame of both.
    fn mixed(&self, share: f64) -> f64 {
        let both = self.both * weight(share);
        both / (self.one + self.other + both)
    }
}

/// How much more probable both texts at once are than one of them alone beforehand.
fn weight(share: f64) -> f64 {
    2.0 * share / (1.0 - share)
}

/// Logarithm of the likelihood of features half-way between two texts over that of features of the first. With d2 the
/// squared distance between the texts and r their log-likelihood ratio, the features lie 1/2 + r/d2 of the way
/// from the second to the first; for Gaussian noise the logarithm is d2/8 - r/2. `None` where the observation does not
/// decide.
fn half_way(observation: &Observation, first: f64, second: f64) -> Option<f32> {
    let candidate = |value: f64| observation.candidates.iter().find(|candidate| candidate.value == value);
    let (best, first, second) = (observation.candidates.first()?, candidate(first)?, candidate(second)?);
    // Characters lie apart each in its own pixels: the best text is on the way where each of its own is one of theirs.
    let of_both = best.text.len() == first.text.len() && best.text.len() == second.text.len();
    let mut places = best.text.chars().zip(first.text.chars().zip(second.text.chars()));
    let on_the_way = of_both && places.all(|(best, (first, second))| best == first || best == second);
    let (distance2, ratio) = (first.distance2 + second.distance2, second.deficit - first.deficit);
    (on_the_way && distance2.is_finite()).then_some(0.125 * distance2 - 0.5 * ratio)
}

/// Makes frames at a change surer by what either text is right for. How many changes show in a frame of both is learnt
/// from the changes by expectation and maximisation: in progressive pictures next to none do.
pub(super) fn allow_either(
    frames: &[Frame],
    verdicts: &mut [Verdict],
    probability: impl Fn(usize, f64) -> f64,
) {
    let changes: Vec<AtChange> = (0..frames.len())
        .filter_map(|at| AtChange::of(frames, verdicts, at, |value| probability(at, value)))
        .collect();
    let mut share = SHARE_BEFOREHAND;
    for _ in 0..ROUNDS {
        let mixed: f64 = changes.iter().map(|change| change.mixed(share)).sum();
        share = (mixed + SHARE_BEFOREHAND * CHANGES_BEFOREHAND) / (changes.len() as f64 + CHANGES_BEFOREHAND);
    }
    for change in &changes {
        let either = change.one + change.both * weight(share);
        let rest = 1.0 - change.one;
        if let Some((_, sure)) = &mut verdicts[change.frame] {
            *sure = sure.max((either / (either + rest)) as f32);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::pooling::{Bounds, pool};
    use crate::recognise::{Candidate, MAX_DEFICIT, TextLegibility};

    const BOUNDS: Bounds =
        Bounds { quantum: 1.0, range: Some((0.0, 200.0)), max_rate: Some(50.0), traces: false };

    /// Squared distance between two texts.
    const APART: f32 = 40.0;

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

    /// Features that lie `share` of the way from the second text to the first, which is more than a half.
    fn between(first: f64, second: f64, share: f32) -> Observation {
        observation([candidate(first, 0.0, 0.0), candidate(second, (share - 0.5) * APART, APART)])
    }

    /// Frames at 25 a second.
    fn frames(observations: Vec<Observation>) -> Vec<Frame> {
        let frame =
            |(number, observation)| Frame { time_s: f64::from(number) * 0.04, observation, lost: false };
        (0..).zip(observations).map(frame).collect()
    }

    /// Holds of five frames, the first of each with what `at_change` makes of the values after and before.
    fn holds(values: &[f64], at_change: impl Fn(f64, f64) -> Observation) -> Vec<Observation> {
        let plain = |value: f64| observation([candidate(value, 0.0, 0.0)]);
        let later = values.windows(2).flat_map(|two| {
            std::iter::once(at_change(two[1], two[0])).chain(std::iter::repeat_n(plain(two[1]), 4))
        });
        std::iter::repeat_n(plain(values[0]), 5).chain(later).collect()
    }

    #[test]
    fn half_way_is_rated_as_the_normal_distribution_rates_it() {
        // On the line through both texts, in units of the noise, the second stands at 0 and the first at sqrt(d2).
        let log_density = |at: f32, middle: f32| -0.5 * (at - middle).powi(2);
        let first = APART.sqrt();
        for share in [0.5, 0.55, 0.7, 1.0] {
            let at = share * first;
            let expected = log_density(at, 0.5 * first) - log_density(at, first);
            let found = half_way(&between(64.0, 63.0, share), 64.0, 63.0);
            assert!(
                found.is_some_and(|found| (found - expected).abs() < 1e-3),
                "{share}: {found:?} {expected}"
            );
            let expected = log_density(at, 0.5 * first) - log_density(at, 0.0);
            let found = half_way(&between(64.0, 63.0, share), 63.0, 64.0);
            assert!(
                found.is_some_and(|found| (found - expected).abs() < 1e-3),
                "{share}: {found:?} {expected}"
            );
        }
    }

    #[test]
    fn of_two_digits_that_change_at_once_either_mixture_lies_on_the_way() {
        // 69 and 70 half and half look most like 60 or 79, as far from the one as from the other.
        let mixture = |text: f64| {
            observation([
                candidate(text, 0.0, 0.0),
                candidate(69.0, 1.0, 0.5 * APART),
                candidate(70.0, 1.5, 0.5 * APART),
            ])
        };
        for text in [60.0, 79.0] {
            let found = half_way(&mixture(text), 69.0, 70.0);
            assert!(found.is_some_and(|found| (found - (0.125 * APART - 0.25)).abs() < 1e-4), "{found:?}");
        }
        assert_eq!(half_way(&mixture(68.0), 69.0, 70.0), None);
    }

    #[test]
    fn a_frame_of_both_texts_of_a_change_is_sure() {
        let values = [63.0, 64.0, 65.0, 66.0];
        let mixed = pool(&frames(holds(&values, |after, before| between(after, before, 0.52))), &BOUNDS);
        for (at, verdict) in mixed.iter().enumerate() {
            let (value, sure) = verdict.unwrap_or((0.0, 0.0));
            assert!(sure > 0.99, "{at}: {verdict:?}");
            assert!(
                value == values[at / 5] || (at % 5 == 0 && value == values[at / 5 - 1]),
                "{at}: {verdict:?}"
            );
        }
    }

    #[test]
    fn where_changes_do_not_mix_a_doubtful_one_is_less_sure() {
        let values: Vec<f64> = (0..30).map(|step| f64::from(60 + step)).collect();
        let one_of = |all: bool| {
            let at_change = |after: f64, before: f64| match all || after == 75.0 {
                true => between(after, before, 0.52),
                false => between(after, before, 1.0),
            };
            pool(&frames(holds(&values, at_change)), &BOUNDS)[75].map_or(0.0, |(_, sure)| sure)
        };
        assert!(one_of(true) > one_of(false), "{} {}", one_of(true), one_of(false));
    }

    #[test]
    fn inside_a_hold_a_look_between_two_texts_gains_nothing() {
        let with_distance2 = |distance2: f32| {
            let mut observations = holds(&[63.0, 63.0], |_, _| observation([candidate(63.0, 0.0, 0.0)]));
            observations[4] = observation([candidate(68.0, 0.0, 0.0), candidate(63.0, 4.0, distance2)]);
            pool(&frames(observations), &BOUNDS)
        };
        assert_eq!(with_distance2(APART), with_distance2(f32::INFINITY));
    }
}
