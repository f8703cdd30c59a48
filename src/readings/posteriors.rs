//! The most probable value of every frame: forward-backward smoothing, corrected for blended frames and for values that
//! are ambiguous in most of their frames.

use super::field_blending::accept_either_text;
use super::forward_backward::smooth;
use super::frame_observation::{ChannelLimits, FrameObservation, Posterior};
use crate::stats::upper_median;

/// Minimum median margin over the frames of a hold; below it the value is ambiguous. It is the smallest value with no
/// wrong reading on the tuning clips with a static background.
const MIN_MARGIN: f32 = 0.75;

/// Maximum probability of a value whose median margin is below [`MIN_MARGIN`]. Set by judgement.
const AMBIGUOUS_PROBABILITY: f32 = 0.5;

/// The most probable value of every frame; `None` if the most probable state is "unknown".
pub(super) fn posteriors(frames: &[FrameObservation], limits: &ChannelLimits) -> Vec<Option<Posterior>> {
    let smoothed = smooth(frames, limits);
    let mut posteriors: Vec<Option<Posterior>> =
        (0..frames.len()).map(|at| smoothed.most_probable(at)).collect();
    accept_either_text(frames, &mut posteriors, |at, value| smoothed.probability(at, value));
    limit_ambiguous(frames, posteriors, limits.traces)
}

/// Limits the probability of a value if its margin over the runner-up is small in most frames that show it. Noise
/// differs between frames, so that most frames are right. A background, the light, or a shape unlike any template
/// causes the same error in all frames. Field blending makes the text ambiguous too, but only in the frame of a change.
/// If `traces` is set, frames whose runner-up is the previous value are not ambiguous, unless the next value is this
/// runner-up again: the encoder leaves traces of the previous text.
fn limit_ambiguous(
    frames: &[FrameObservation],
    mut posteriors: Vec<Option<Posterior>>,
    traces: bool,
) -> Vec<Option<Posterior>> {
    let value = |posterior: &Option<Posterior>| posterior.map(|posterior| posterior.value);
    let values: Vec<Option<f64>> = posteriors.iter().map(value).collect();
    let (mut rest, mut end) = (frames, 0);
    for hold in posteriors.chunk_by_mut(|one, other| value(one) == value(other)) {
        let shown;
        (shown, rest) = rest.split_at(hold.len());
        let before = values[..end].iter().rev().flatten().next();
        end += hold.len();
        let after = values[end..].iter().flatten().next();
        let is_trace = |runner_up: &f64| traces && before == Some(runner_up) && after != Some(runner_up);
        let margin = |frame: &FrameObservation| {
            if frame.observation.runner_up.as_ref().is_some_and(is_trace) {
                1.0
            } else {
                frame.observation.margin
            }
        };
        let shows_value = |frame: &&FrameObservation| {
            frame.observation.candidates.first().map(|best| best.value) == value(&hold[0])
        };
        let counted = shown.iter().filter(|frame| !frame.lost).filter(shows_value);
        let mut margins: Vec<f32> = counted.map(margin).collect();
        if upper_median(&mut margins).is_some_and(|margin| margin < MIN_MARGIN) {
            for posterior in hold.iter_mut().flatten() {
                posterior.probability = posterior.probability.min(AMBIGUOUS_PROBABILITY);
            }
        }
    }
    posteriors
}

#[cfg(test)]
#[path = "posteriors_tests.rs"]
mod tests;
