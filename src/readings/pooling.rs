//! Pooling: what neighbouring frames say together.
//!
//! The overlay holds a value for several frames, and values move in small steps. The values shown form
//! a Markov chain that stays with a probability learnt from the readings, and each frame gives an
//! observation of it; the forward-backward algorithm gives the probability of every candidate in every
//! frame (L. R. Rabiner, "A tutorial on hidden Markov models and selected applications in speech
//! recognition", Proc. IEEE 77 (1989) 257-286, equations 19-27; cited from memory).

use super::mixed::allow_either;
use crate::recognise::{MAX_DEFICIT, Observation, TextLegibility};

/// Frames on either side whose candidates a frame's text may be.
const REACH: usize = 3;

/// The same for frames that are not clear themselves.
const REACH_UNCLEAR: usize = 8;

/// Share of changes that may go anywhere, however far.
const WILD_SHARE: f64 = 0.01;

/// Probability, of all changes, that the text becomes one that is no candidate: blank, or not known.
const TO_UNKNOWN: f64 = 0.1;

/// Log-likelihood deficit of the state "not known" against the best candidate of a legible observation.
const UNKNOWN_DEFICIT_LEGIBLE: f32 = 8.0;

/// Log-likelihood deficit of the candidates against the state "not known" where the observation is not legible.
const TEXT_DEFICIT_ILLEGIBLE: f32 = 1.5;
const TEXT_DEFICIT_NOTHING: f32 = 3.0;
const TEXT_DEFICIT_UNKNOWN_DIGIT: f32 = 5.0;

/// Weight of the log-likelihood ratios between the candidates of an observation that is not legible.
const EVIDENCE_OF_ILLEGIBLE: f32 = 0.3;

/// Minimum median margin within a hold: the smallest value with no wrong reading on the tuning clips with a static
/// background.
const MIN_MARGIN: f32 = 0.75;

/// Probability of a value that may as well be another.
const SURENESS_HALFWAY: f32 = 0.5;

/// What the channel and its recording allow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bounds {
    /// Step of the display.
    pub quantum: f64,
    /// Lowest and highest plausible value.
    pub range: Option<(f64, f64)>,
    /// Fastest plausible change per second.
    pub max_rate: Option<f64>,
    /// The encoder may keep traces of the text shown before.
    pub traces: bool,
}

impl Bounds {
    /// Whether a value lies in the plausible range.
    pub(super) fn allow(&self, value: f64) -> bool {
        self.range.is_none_or(|(low, high)| (low..=high).contains(&value))
    }
}

/// One frame of one channel.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    pub time_s: f64,
    pub observation: Observation,
    /// The frame is lost: its observation is not used.
    pub lost: bool,
}

/// The most probable value of a frame and its probability; `None` where no candidate is the most
/// probable.
pub(super) type Verdict = Option<(f64, f32)>;

/// The most probable value of every frame of a stretch.
pub(super) fn pool(frames: &[Frame], bounds: &Bounds) -> Vec<Verdict> {
    let chain = Chain::of(frames, bounds);
    let states: Vec<Vec<f64>> = (0..frames.len()).map(|at| states(frames, at, bounds)).collect();
    let emissions: Vec<Vec<f64>> =
        frames.iter().zip(&states).map(|(frame, states)| emissions(frame, states)).collect();
    let forward = forward(&chain, frames, &states, &emissions);
    let backward = backward(&chain, frames, &states, &emissions);
    let probabilities: Vec<Vec<f64>> =
        forward.iter().zip(&backward).map(|(forward, backward)| both_ways(forward, backward)).collect();
    let mut verdicts: Vec<Verdict> = states
        .iter()
        .zip(&probabilities)
        .map(|(states, here)| {
            let best = (0..here.len()).max_by(|a, b| here[*a].total_cmp(&here[*b]))?;
            states.get(best).map(|value| (*value, here[best] as f32))
        })
        .collect();
    allow_either(frames, &mut verdicts, |at, value| {
        let state = states[at].iter().position(|state| *state == value);
        state.map_or(0.0, |state| probabilities[at][state])
    });
    without_halfway(frames, verdicts, bounds.traces)
}

/// Takes the certainty from every value that lies half-way to another in most frames that show it. Noise differs
/// from frame to frame; scenery, light or a shape that no template knows stay, and all frames err the same way.
/// Two texts mixed at a change lie half-way too, but in the frames of the change only. The traces that an encoder short of
/// bits keeps of the text before, where that does not come again, do not count if there may be `traces`.
fn without_halfway(frames: &[Frame], mut verdicts: Vec<Verdict>, traces: bool) -> Vec<Verdict> {
    let value = |verdict: &Verdict| verdict.map(|(value, _)| value);
    let values: Vec<Option<f64>> = verdicts.iter().map(value).collect();
    let (mut rest, mut end) = (frames, 0);
    for hold in verdicts.chunk_by_mut(|one, other| value(one) == value(other)) {
        let shown;
        (shown, rest) = rest.split_at(hold.len());
        let before = values[..end].iter().rev().flatten().next();
        end += hold.len();
        let after = values[end..].iter().flatten().next();
        let is_trace = |runner_up: &f64| traces && before == Some(runner_up) && after != Some(runner_up);
        let margin = |frame: &Frame| {
            if frame.observation.runner_up.as_ref().is_some_and(is_trace) {
                1.0
            } else {
                frame.observation.margin
            }
        };
        let best =
            |frame: &&Frame| frame.observation.candidates.first().map(|best| best.value) == value(&hold[0]);
        let seen = shown.iter().filter(|frame| !frame.lost).filter(best);
        let mut margins: Vec<f32> = seen.map(margin).collect();
        margins.sort_by(f32::total_cmp);
        if margins.get(margins.len() / 2).is_some_and(|margin| *margin < MIN_MARGIN) {
            hold.iter_mut().flatten().for_each(|(_, sure)| *sure = sure.min(SURENESS_HALFWAY));
        }
    }
    verdicts
}

/// The values a frame may show: its own plausible candidates and those of its neighbours. The state
/// "not known" comes after them.
fn states(frames: &[Frame], at: usize, bounds: &Bounds) -> Vec<f64> {
    let clear = !frames[at].lost && frames[at].observation.legibility == TextLegibility::Legible;
    let reach = if clear { REACH } else { REACH_UNCLEAR };
    let near = &frames[at.saturating_sub(reach)..(at + reach + 1).min(frames.len())];
    let mut states: Vec<f64> = Vec::new();
    for frame in near.iter().filter(|frame| !frame.lost) {
        for candidate in &frame.observation.candidates {
            if bounds.allow(candidate.value) && !states.contains(&candidate.value) {
                states.push(candidate.value);
            }
        }
    }
    states
}

/// Weight of the log-likelihood ratios between the candidates of an observation.
pub(super) fn evidence_kept(legibility: TextLegibility) -> f32 {
    match legibility {
        TextLegibility::Legible => 1.0,
        TextLegibility::Illegible | TextLegibility::UnknownDigit => EVIDENCE_OF_ILLEGIBLE,
        TextLegibility::Nothing => 0.0,
    }
}

/// Probability of the observation under every state, to within a factor.
fn emissions(frame: &Frame, states: &[f64]) -> Vec<f64> {
    if frame.lost {
        return vec![1.0; states.len() + 1];
    }
    let observation = &frame.observation;
    let share = evidence_kept(observation.legibility);
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
    let of_states = states.iter().map(|state| text_deficit + share * deficit(state));
    of_states.chain([unknown_deficit]).map(|deficit| f64::from(-deficit).exp()).collect()
}

/// How values follow each other.
struct Chain<'a> {
    bounds: &'a Bounds,
    /// Probability that the value changes in a second.
    changes_per_s: f64,
    /// Mean size of a change, in steps of the display.
    usual_change: f64,
    /// Number of values that the range holds.
    values: f64,
    /// Longest time a value is held.
    hold_s: f64,
}

impl<'a> Chain<'a> {
    /// Learns from the best candidates of legible observations.
    fn of(frames: &[Frame], bounds: &'a Bounds) -> Self {
        let clear: Vec<(f64, f64)> = frames
            .iter()
            .filter(|frame| !frame.lost && frame.observation.legibility == TextLegibility::Legible)
            .filter_map(|frame| Some((frame.time_s, frame.observation.candidates.first()?.value)))
            .collect();
        let (mut changes, mut moved, mut time_s) = (1.0, 1.0, 1.0);
        for two in clear.windows(2) {
            time_s += (two[1].0 - two[0].0).clamp(0.0, 1.0);
            if two[1].1 != two[0].1 {
                changes += 1.0;
                moved += ((two[1].1 - two[0].1).abs() / bounds.quantum).min(20.0);
            }
        }
        let values = bounds.range.map_or(1000.0, |(low, high)| (high - low) / bounds.quantum);
        Self {
            bounds,
            changes_per_s: changes / time_s,
            usual_change: moved / changes,
            values: values.clamp(10.0, 1e6),
            hold_s: (time_s / changes).min(0.5),
        }
    }

    fn change_probability(&self, step_s: f64) -> f64 {
        (1.0 - (-self.changes_per_s * step_s.max(0.0)).exp()).clamp(1e-4, 0.5)
    }

    /// Probability density, per value, of a change from one value to another, given that it changes.
    fn to(&self, from: f64, to: f64, step_s: f64) -> f64 {
        let steps = (to - from).abs() / self.bounds.quantum;
        let wild = WILD_SHARE / self.values;
        let reachable = self.bounds.max_rate.is_none_or(|rate| {
            (to - from).abs() <= rate * (step_s + self.hold_s) + self.bounds.quantum * 1.001
        });
        if !reachable {
            return wild * WILD_SHARE;
        }
        let usual = (-(steps - 1.0) / self.usual_change).exp() / (2.0 * self.usual_change + 1.0);
        (1.0 - WILD_SHARE - TO_UNKNOWN) * usual + wild
    }

    /// Transition probability between states; `None` is the state "not known".
    fn transition(&self, from: Option<f64>, to: Option<f64>, step_s: f64) -> f64 {
        let change = self.change_probability(step_s);
        match (from, to) {
            (Some(from), Some(to)) if from == to => 1.0 - change,
            (None, None) => 1.0 - change,
            (Some(from), Some(to)) => change * self.to(from, to, step_s),
            (Some(_), None) => change * TO_UNKNOWN,
            (None, Some(_)) => change / self.values,
        }
    }
}

fn step_s(frames: &[Frame], at: usize) -> f64 {
    frames[at].time_s - frames[at - 1].time_s
}

fn state(states: &[f64], index: usize) -> Option<f64> {
    states.get(index).copied()
}

fn forward(
    chain: &Chain<'_>,
    frames: &[Frame],
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
    chain: &Chain<'_>,
    frames: &[Frame],
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

/// Probability of every state from what was before and what came after.
fn both_ways(forward: &[f64], backward: &[f64]) -> Vec<f64> {
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

#[cfg(test)]
#[path = "pooling_tests.rs"]
mod tests;
