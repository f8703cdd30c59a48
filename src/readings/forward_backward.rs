//! Forward-backward smoothing: the probability of every value in every frame, given the observations of all frames.
//!
//! The overlay holds a value for several frames, and values change in small steps. The values shown form a hidden
//! Markov chain whose probability of a change is estimated from the readings. The probability of a state given all
//! observations is proportional to the product of its forward and backward variables. A test compares the result with
//! the definition of this probability: a sum over all sequences of states.

use super::frame_observation::{ChannelLimits, FrameObservation, Posterior, likelihood_weight};
use crate::recognise::{MAX_DEFICIT, TextLegibility};

/// Number of frames on either side of a legible frame whose candidates are also tried as values of the legible frame.
/// Set by judgement.
const NEIGHBOURS: usize = 3;

/// Number of frames on either side of a frame that is not legible whose candidates are also tried as values of that
/// frame. Set by judgement.
const NEIGHBOURS_ILLEGIBLE: usize = 8;

/// Share of changes of the value for which all values of the range are equally likely; all other changes are mostly
/// small. Set by judgement.
const UNIFORM_SHARE: f64 = 0.01;

/// Probability that a change of the shown value leads to the state "unknown": a blank, or a text that is not among
/// the candidates. Set by judgement.
const TO_UNKNOWN: f64 = 0.1;

/// Log-likelihood deficit of the state "unknown" below the best candidate of a legible observation, as a
/// natural logarithm. Set by judgement.
const UNKNOWN_DEFICIT_LEGIBLE: f32 = 8.0;

/// Log-likelihood deficit of the candidates below the state "unknown" if the text is illegible, as a natural
/// logarithm. Set by judgement.
const TEXT_DEFICIT_ILLEGIBLE: f32 = 1.5;

/// Log-likelihood deficit of the candidates below the state "unknown" if the region shows no text, as a natural
/// logarithm. Set by judgement.
const TEXT_DEFICIT_NOTHING: f32 = 3.0;

/// Log-likelihood deficit of the candidates below the state "unknown" if the text may contain a digit without a
/// glyph, as a natural logarithm. Set by judgement.
const TEXT_DEFICIT_UNKNOWN_DIGIT: f32 = 5.0;

/// Probabilities of the values that every frame may show, given the observations of all frames.
pub(super) struct Smoothed {
    /// For every frame, the values that it may show.
    states: Vec<Vec<f64>>,
    /// For every frame, the probabilities of its possible values (see `states`), followed by that of the
    /// state "unknown", each 0 to 1.
    probabilities: Vec<Vec<f64>>,
}

impl Smoothed {
    /// The most probable value of the frame with index `at`; `None` if the state "unknown" is the most
    /// probable.
    pub(super) fn most_probable(&self, at: usize) -> Option<Posterior> {
        let here = &self.probabilities[at];
        let best = (0..here.len()).max_by(|a, b| here[*a].total_cmp(&here[*b]))?;
        let value = self.states[at].get(best)?;
        Some(Posterior { value: *value, probability: here[best] as f32 })
    }

    /// Probability of a value in the frame with index `at`, 0 to 1.
    pub(super) fn probability(&self, at: usize, value: f64) -> f64 {
        let state = self.states[at].iter().position(|state| *state == value);
        state.map_or(0.0, |state| self.probabilities[at][state])
    }
}

/// Smooths the observations of consecutive frames.
pub(super) fn smooth(frames: &[FrameObservation], limits: &ChannelLimits) -> Smoothed {
    let chain = ValueChain::of(frames, limits);
    let states: Vec<Vec<f64>> = (0..frames.len()).map(|at| states(frames, at, limits)).collect();
    let emissions: Vec<Vec<f64>> =
        frames.iter().zip(&states).map(|(frame, states)| emissions(frame, states)).collect();
    let forward = forward(&chain, frames, &states, &emissions);
    let backward = backward(&chain, frames, &states, &emissions);
    let probabilities = forward
        .iter()
        .zip(&backward)
        .map(|(forward, backward)| state_probabilities(forward, backward))
        .collect();
    Smoothed { states, probabilities }
}

/// The values that the frame with index `at` may show: its own plausible candidates and those of the frames before
/// and after it. The state "unknown" is not among them.
fn states(frames: &[FrameObservation], at: usize, limits: &ChannelLimits) -> Vec<f64> {
    let is_legible = !frames[at].lost && frames[at].observation.legibility == TextLegibility::Legible;
    let range = if is_legible { NEIGHBOURS } else { NEIGHBOURS_ILLEGIBLE };
    let near = &frames[at.saturating_sub(range)..(at + range + 1).min(frames.len())];
    let mut states: Vec<f64> = Vec::new();
    for frame in near.iter().filter(|frame| !frame.lost) {
        for candidate in &frame.observation.candidates {
            if limits.allow(candidate.value) && !states.contains(&candidate.value) {
                states.push(candidate.value);
            }
        }
    }
    states
}

/// Likelihood of every state given the observation of a frame, up to a common factor; the state "unknown" is the last.
fn emissions(frame: &FrameObservation, states: &[f64]) -> Vec<f64> {
    if frame.lost {
        return vec![1.0; states.len() + 1];
    }
    let observation = &frame.observation;
    let weight = likelihood_weight(observation.legibility);
    let (text_deficit, unknown_deficit) = match observation.legibility {
        TextLegibility::Legible => (0.0, UNKNOWN_DEFICIT_LEGIBLE),
        TextLegibility::Illegible => (TEXT_DEFICIT_ILLEGIBLE, 0.0),
        TextLegibility::UnknownDigit => (TEXT_DEFICIT_UNKNOWN_DIGIT, 0.0),
        TextLegibility::Nothing => (TEXT_DEFICIT_NOTHING, 0.0),
    };
    let deficit = |state: &f64| {
        let own = observation.candidates.iter().find(|candidate| candidate.value == *state);
        own.map_or(observation.floor, |candidate| candidate.deficit).min(MAX_DEFICIT)
    };
    let of_states = states.iter().map(|state| text_deficit + weight * deficit(state));
    of_states.chain([unknown_deficit]).map(|deficit| f64::from(-deficit).exp()).collect()
}

/// Model of how the shown values change from frame to frame.
struct ValueChain<'a> {
    limits: &'a ChannelLimits,
    /// Number of changes of the value per second.
    changes_per_s: f64,
    /// Mean absolute change of the value, over the changes only, in display steps.
    usual_change: f64,
    /// Number of values in the channel's range; 1000 if the range is not limited.
    values: f64,
    /// Mean length of a hold in seconds; 0.5 if it is longer.
    hold_s: f64,
}

impl<'a> ValueChain<'a> {
    /// Estimates the model from the best candidates of legible observations.
    fn of(frames: &[FrameObservation], limits: &'a ChannelLimits) -> Self {
        let legible: Vec<(f64, f64)> = frames
            .iter()
            .filter(|frame| !frame.lost && frame.observation.legibility == TextLegibility::Legible)
            .filter_map(|frame| Some((frame.time_s, frame.observation.candidates.first()?.value)))
            .collect();
        let (mut changes, mut moved, mut time_s) = (1.0, 1.0, 1.0);
        for two in legible.windows(2) {
            time_s += (two[1].0 - two[0].0).clamp(0.0, 1.0);
            if two[1].1 != two[0].1 {
                changes += 1.0;
                moved += ((two[1].1 - two[0].1).abs() / limits.quantum).min(20.0);
            }
        }
        let values = limits.range.map_or(1000.0, |(low, high)| (high - low) / limits.quantum);
        Self {
            limits,
            changes_per_s: changes / time_s,
            usual_change: moved / changes,
            values: values.clamp(10.0, 1e6),
            hold_s: (time_s / changes).min(0.5),
        }
    }

    fn change_probability(&self, step_s: f64) -> f64 {
        (1.0 - (-self.changes_per_s * step_s.max(0.0)).exp()).clamp(1e-4, 0.5)
    }

    /// Probability of the new value `to`, given that the value `from` changes within `step_s` seconds.
    fn change_to(&self, from: f64, to: f64, step_s: f64) -> f64 {
        let steps = (to - from).abs() / self.limits.quantum;
        let uniform = UNIFORM_SHARE / self.values;
        let is_reachable = self.limits.max_rate.is_none_or(|rate| {
            (to - from).abs() <= rate * (step_s + self.hold_s) + self.limits.quantum * 1.001
        });
        if !is_reachable {
            return uniform * UNIFORM_SHARE;
        }
        let usual = (-(steps - 1.0) / self.usual_change).exp() / (2.0 * self.usual_change + 1.0);
        (1.0 - UNIFORM_SHARE - TO_UNKNOWN) * usual + uniform
    }

    /// Probability that the state `from` is followed by `to` after `step_s` seconds; `None` stands for the
    /// state "unknown".
    fn transition(&self, from: Option<f64>, to: Option<f64>, step_s: f64) -> f64 {
        let change = self.change_probability(step_s);
        match (from, to) {
            (Some(from), Some(to)) if from == to => 1.0 - change,
            (None, None) => 1.0 - change,
            (Some(from), Some(to)) => change * self.change_to(from, to, step_s),
            (Some(_), None) => change * TO_UNKNOWN,
            (None, Some(_)) => change / self.values,
        }
    }
}

fn step_s(frames: &[FrameObservation], at: usize) -> f64 {
    frames[at].time_s - frames[at - 1].time_s
}

fn state(states: &[f64], index: usize) -> Option<f64> {
    states.get(index).copied()
}

fn forward(
    chain: &ValueChain<'_>,
    frames: &[FrameObservation],
    states: &[Vec<f64>],
    emissions: &[Vec<f64>],
) -> Vec<Vec<f64>> {
    let mut all: Vec<Vec<f64>> = Vec::with_capacity(frames.len());
    for at in 0..frames.len() {
        let mut here = emissions[at].clone();
        if let Some(last) = all.last() {
            let step_s = step_s(frames, at);
            for (to, here) in here.iter_mut().enumerate() {
                let into = last.iter().enumerate().map(|(from, weight)| {
                    weight * chain.transition(state(&states[at - 1], from), state(&states[at], to), step_s)
                });
                *here *= into.sum::<f64>();
            }
        }
        normalise(&mut here);
        all.push(here);
    }
    all
}

fn backward(
    chain: &ValueChain<'_>,
    frames: &[FrameObservation],
    states: &[Vec<f64>],
    emissions: &[Vec<f64>],
) -> Vec<Vec<f64>> {
    let mut all: Vec<Vec<f64>> = vec![Vec::new(); frames.len()];
    for at in (0..frames.len()).rev() {
        let mut here = vec![1.0; states[at].len() + 1];
        if let Some(later) = all.get(at + 1) {
            let step_s = step_s(frames, at + 1);
            for (from, here) in here.iter_mut().enumerate() {
                let out = later.iter().zip(&emissions[at + 1]).enumerate().map(|(to, (weight, emission))| {
                    weight
                        * emission
                        * chain.transition(state(&states[at], from), state(&states[at + 1], to), step_s)
                });
                *here = out.sum::<f64>();
            }
        }
        normalise(&mut here);
        all[at] = here;
    }
    all
}

/// Probability of every state, computed from its forward and backward variables.
fn state_probabilities(forward: &[f64], backward: &[f64]) -> Vec<f64> {
    let mut joint: Vec<f64> =
        forward.iter().zip(backward).map(|(forward, backward)| forward * backward).collect();
    normalise(&mut joint);
    joint
}

fn normalise(weights: &mut [f64]) {
    let total: f64 = weights.iter().sum();
    if total > 0.0 {
        weights.iter_mut().for_each(|weight| *weight /= total);
    }
}

/// Probability of every state of the frame with index `at`, the state "unknown" last. For tests, it is computed from
/// its definition: the sum of the probabilities of all sequences of states that contain the state.
#[cfg(test)]
pub(super) fn by_enumeration(frames: &[FrameObservation], at: usize, limits: &ChannelLimits) -> Vec<f64> {
    let chain = ValueChain::of(frames, limits);
    let states: Vec<Vec<f64>> = (0..frames.len()).map(|at| states(frames, at, limits)).collect();
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
