//! The check over time of one channel: what could not have been shown or flown is refused.

use super::mixed::without_mixed;
use super::runs::{LEAST_FRAMES_OF_HOLD, Run, runs, shortest_hold_s};
use super::{Blank, ChannelReadings};
use crate::model::channel::Channel;
use crate::model::units::Unit;

/// A jump that the rate forbids is believed all the same when this many seconds of readings stand
/// behind it on either side: a rate set too tight must not cost the flight.
const BELIEVED_JUMP_S: f64 = 5.0;

/// How many earlier stretches a stretch may link back to.
const LOOK_BACK: usize = 64;

/// A hold is never taken for longer than this, in seconds: a display slower than that is rare, and a
/// channel that hardly changes must not make a quick change look impossible.
const LONGEST_HOLD_S: f64 = 0.25;

/// Refuses values outside the range, shown too shortly to be an update, or off the consistent path.
pub(super) fn check(channels: &mut [ChannelReadings], time_s: &[f64], frame_interval_s: f64) {
    channels.iter_mut().for_each(refuse_out_of_range);
    let all: Vec<Vec<Run>> = channels.iter().map(|channel| runs(time_s, channel)).collect();
    let holds = all.iter().filter_map(|runs| shortest_hold_s(runs, frame_interval_s));
    let hold_s = holds.min_by(f64::total_cmp).map(|hold_s| hold_s.min(LONGEST_HOLD_S));
    let hold_s = hold_s.filter(|hold_s| *hold_s >= LEAST_FRAMES_OF_HOLD * frame_interval_s);
    for (channel, runs) in channels.iter_mut().zip(all) {
        check_channel(channel, runs, hold_s, frame_interval_s);
    }
}

fn check_channel(channel: &mut ChannelReadings, all: Vec<Run>, hold_s: Option<f64>, frame_interval_s: f64) {
    let held = match hold_s {
        Some(hold_s) => held_long_enough(all, hold_s, frame_interval_s),
        None => all,
    };
    let held = without_mixed(held, channel.decimals);
    refuse_others(channel, &held, Blank::TooBrief);
    let kept = match RateRule::of(channel, hold_s.unwrap_or(frame_interval_s)) {
        Some(rule) => consistent_path(&held, &rule, BELIEVED_JUMP_S / frame_interval_s.max(1e-3)),
        None => held,
    };
    refuse_others(channel, &kept, Blank::Jump);
}

fn refuse_out_of_range(channel: &mut ChannelReadings) {
    let (low, high) = channel.range.unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
    for index in 0..channel.values.len() {
        let value = channel.values[index];
        if channel.blank[index] == Blank::No && !(low <= value && value <= high) {
            refuse(channel, index, if value.is_nan() { Blank::Unclear } else { Blank::OutOfRange });
        } else if channel.blank[index] != Blank::No {
            refuse(channel, index, channel.blank[index]);
        }
    }
}

fn refuse(channel: &mut ChannelReadings, index: usize, reason: Blank) {
    channel.values[index] = f64::NAN;
    channel.confidence[index] = 0.0;
    channel.blank[index] = reason;
}

/// Least share of a hold that must lie between its neighbours for a run to be an update, and the same
/// where the neighbours show one value, since then nothing else tells of a change.
const LEAST_SHARE_OF_HOLD: f64 = 0.5;
const LEAST_SHARE_BETWEEN_EQUALS: f64 = 0.85;

/// Drops runs that cannot have been an update, since too little time passed between the neighbours;
/// pieces of one hold on either side of a dropped run grow together again.
fn held_long_enough(runs: Vec<Run>, hold_s: f64, frame_interval_s: f64) -> Vec<Run> {
    let too_short = |before: &Run, after: &Run, share: f64| {
        after.start_s - before.end_s - frame_interval_s < share * hold_s - 1e-9
    };
    let mut joined: Vec<Run> = Vec::with_capacity(runs.len());
    for run in runs {
        if let [.., before, middle] = joined.as_mut_slice()
            && before.value == run.value
            && middle.frames <= run.frames
            && too_short(before, &run, LEAST_SHARE_BETWEEN_EQUALS)
        {
            before.merge(&run);
            joined.pop();
        } else {
            joined.push(run);
        }
    }
    let shown = |index: usize| {
        let before = index.checked_sub(1).and_then(|before| joined.get(before));
        !matches!((before, joined.get(index + 1)), (Some(before), Some(after)) if too_short(before, after, LEAST_SHARE_OF_HOLD))
    };
    (0..joined.len()).filter(|index| shown(*index)).map(|index| joined[index]).collect()
}

/// How far a value may move between two runs.
struct RateRule {
    per_second: f64,
    quantum: f64,
    hold_s: f64,
    /// Full circle of an angle: values wrap around there.
    full_circle: Option<f64>,
}

impl RateRule {
    fn of(channel: &ChannelReadings, hold_s: f64) -> Option<Self> {
        let per_second = channel.max_rate.filter(|rate| *rate > 0.0).or_else(|| usual_rate(channel))?;
        let full_circle = (channel.channel == Channel::Heading).then_some(360.0);
        Some(Self { per_second, quantum: channel.quantum(), hold_s, full_circle })
    }

    /// The value shown last in `before` may be one hold old when `after` begins.
    fn allows(&self, before: &Run, after: &Run) -> bool {
        let mut change = (after.value - before.value).abs();
        if let Some(circle) = self.full_circle {
            change = change.rem_euclid(circle);
            change = change.min(circle - change);
        }
        let time = (after.start_s - before.end_s).max(0.0) + self.hold_s;
        change <= self.per_second * time + self.quantum * 1.000_001
    }
}

/// The fastest change taken for possible when the setup names none: 25 m/s in a second for speed and
/// 60 m/s of climb or dive, both beyond what a model aircraft in level runs does.
fn usual_rate(channel: &ChannelReadings) -> Option<f64> {
    let unit_si = channel.unit.map(Unit::si_per_unit)?;
    match channel.channel {
        Channel::Speed => Some(25.0 / unit_si),
        Channel::Altitude => Some(60.0 / unit_si),
        _ => None,
    }
}

/// Runs that follow each other without a forbidden jump: believed or refused as one.
struct Stretch {
    first: usize,
    last: usize,
    weight: f64,
}

fn stretches(runs: &[Run], rule: &RateRule) -> Vec<Stretch> {
    let mut stretches: Vec<Stretch> = Vec::new();
    for (index, run) in runs.iter().enumerate() {
        match stretches.last_mut() {
            Some(stretch) if rule.allows(&runs[stretch.last], run) => {
                stretch.last = index;
                stretch.weight += run.weight;
            }
            _ => stretches.push(Stretch { first: index, last: index, weight: run.weight }),
        }
    }
    stretches
}

/// The chain of stretches with the greatest weight, where a forbidden jump between two of them costs
/// `jump_cost`: dynamic programming over the stretches (the Viterbi algorithm with refusal as a way out).
fn consistent_path(runs: &[Run], rule: &RateRule, jump_cost: f64) -> Vec<Run> {
    let stretches = stretches(runs, rule);
    let mut best: Vec<(f64, Option<usize>)> = Vec::with_capacity(stretches.len());
    let mut far: Option<(f64, usize)> = None;
    for (index, stretch) in stretches.iter().enumerate() {
        let near = index.saturating_sub(LOOK_BACK);
        if let Some(left) = near.checked_sub(1)
            && far.is_none_or(|(score, _)| best[left].0 > score)
        {
            far = Some((best[left].0, left));
        }
        let links = (near..index).map(|earlier| {
            let allowed = rule.allows(&runs[stretches[earlier].last], &runs[stretch.first]);
            (best[earlier].0 - if allowed { 0.0 } else { jump_cost }, Some(earlier))
        });
        let far_link = far.map(|(score, earlier)| (score - jump_cost, Some(earlier)));
        let (score, link) =
            links.chain(far_link).fold((0.0, None), |kept, link| if link.0 > kept.0 { link } else { kept });
        best.push((score + stretch.weight, link));
    }
    follow_back(runs, &stretches, &best)
}

fn follow_back(runs: &[Run], stretches: &[Stretch], best: &[(f64, Option<usize>)]) -> Vec<Run> {
    let end = (0..best.len()).max_by(|a, b| best[*a].0.total_cmp(&best[*b].0));
    let mut chain: Vec<usize> = std::iter::successors(end, |index| best[*index].1).collect();
    chain.reverse();
    chain.iter().flat_map(|index| &runs[stretches[*index].first..=stretches[*index].last]).copied().collect()
}

/// Blanks every reading that no kept run contains, for this reason.
fn refuse_others(channel: &mut ChannelReadings, kept: &[Run], reason: Blank) {
    let mut kept = kept.iter().peekable();
    for index in 0..channel.values.len() {
        while kept.next_if(|run| run.last < index).is_some() {}
        let trusted = kept.peek().is_some_and(|run| run.first <= index && run.value == channel.values[index]);
        if channel.blank[index] == Blank::No && !trusted {
            refuse(channel, index, reason);
        }
    }
}
