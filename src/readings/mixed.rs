//! Frames of two texts: where the overlay changes between the two fields of an interlaced picture, or an encoder blends
//! two pictures, one frame shows the text before and the text after, and either of them is right.

use super::pooling::{Frame, Verdict, evidence_kept};
use crate::recognise::Look;

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
        let look = &frames[at].look;
        let both = one * f64::from(evidence_kept(look.sight) * half_way(look, value, other)?).exp();
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
/// from the second to the first; for Gaussian noise the logarithm is d2/8 - r/2. `None` where the look does not tell.
fn half_way(look: &Look, first: f64, second: f64) -> Option<f32> {
    let candidate = |value: f64| look.candidates.iter().find(|candidate| candidate.value == value);
    let (best, first, second) = (look.candidates.first()?, candidate(first)?, candidate(second)?);
    // Characters lie apart each in its own pixels: the best text is on the way where each of its own is one of theirs.
    let of_both = best.text.len() == first.text.len() && best.text.len() == second.text.len();
    let mut places = best.text.chars().zip(first.text.chars().zip(second.text.chars()));
    let on_the_way = of_both && places.all(|(best, (first, second))| best == first || best == second);
    let (apart, ratio) = (first.apart + second.apart, second.behind - first.behind);
    (on_the_way && apart.is_finite()).then(|| 0.125 * apart - 0.5 * ratio)
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
