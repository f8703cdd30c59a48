//! Checks each channel over time and rejects readings that the overlay cannot have shown or the aircraft cannot have
//! flown.

use super::mixed::without_mixed;
use super::runs::{MIN_FRAMES_OF_HOLD, ValueRun, runs, shortest_hold_s};
use super::{Blank, ChannelReadings};
use crate::model::channel::Channel;
use crate::model::units::Unit;

/// A change faster than the rate limit is accepted if consistent readings on both sides last this long, in
/// seconds: a limit that is set too low must not discard the flight (set by judgement).
const TRUSTED_JUMP_S: f64 = 5.0;

/// Number of earlier segments that the search for the best chain of segments may link a segment to; it bounds
/// the computing time (set by judgement).
const LOOK_BACK: usize = 64;

/// Maximum time for which a display is assumed to hold a value, in seconds. Slower displays are rare. Without
/// this limit, the long holds of a channel that rarely changes would make all quick changes look too brief
/// (set by judgement).
const MAX_HOLD_S: f64 = 0.25;

/// Blanks values that are out of range, shown too briefly to be an update of the overlay, or that contradict
/// most of the other readings by changing too fast.
pub(super) fn check(channels: &mut [ChannelReadings], time_s: &[f64], frame_interval_s: f64) {
    channels.iter_mut().for_each(reject_out_of_range);
    let all: Vec<Vec<ValueRun>> = channels.iter().map(|channel| runs(time_s, channel)).collect();
    let holds = all.iter().filter_map(|runs| shortest_hold_s(runs, frame_interval_s));
    let hold_s = holds.min_by(f64::total_cmp).map(|hold_s| hold_s.min(MAX_HOLD_S));
    let hold_s = hold_s.filter(|hold_s| *hold_s >= MIN_FRAMES_OF_HOLD * frame_interval_s);
    for (channel, runs) in channels.iter_mut().zip(all) {
        check_channel(channel, runs, hold_s, frame_interval_s);
    }
}

fn check_channel(
    channel: &mut ChannelReadings,
    all: Vec<ValueRun>,
    hold_s: Option<f64>,
    frame_interval_s: f64,
) {
    let long_enough = match hold_s {
        Some(hold_s) => held_long_enough(all, hold_s, frame_interval_s),
        None => all,
    };
    let long_enough = without_mixed(long_enough, channel.decimals);
    reject_others(channel, &long_enough, Blank::TooBrief);
    let kept = match RateRule::of(channel, hold_s.unwrap_or(frame_interval_s)) {
        Some(rule) => consistent_path(&long_enough, &rule, TRUSTED_JUMP_S / frame_interval_s.max(1e-3)),
        None => long_enough,
    };
    reject_others(channel, &kept, Blank::Jump);
}

fn reject_out_of_range(channel: &mut ChannelReadings) {
    let (low, high) = channel.range.unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
    for index in 0..channel.values.len() {
        let value = channel.values[index];
        if channel.blank[index] == Blank::No && !(low <= value && value <= high) {
            reject(channel, index, if value.is_nan() { Blank::Unclear } else { Blank::OutOfRange });
        } else if channel.blank[index] != Blank::No {
            reject(channel, index, channel.blank[index]);
        }
    }
}

fn reject(channel: &mut ChannelReadings, index: usize, reason: Blank) {
    channel.values[index] = f64::NAN;
    channel.confidence[index] = 0.0;
    channel.blank[index] = reason;
}

/// Minimum duration of a run that is an update of the overlay, as a share of the hold. The duration is the
/// time between the previous run and the next one (set by judgement).
const MIN_SHARE_OF_HOLD: f64 = 0.5;

/// Minimum duration, as for [`MIN_SHARE_OF_HOLD`], of a run between two runs that show the same value. It is
/// larger because nothing else indicates that the value changed and returned (set by judgement).
const MIN_SHARE_BETWEEN_EQUALS: f64 = 0.85;

/// Drops runs that are too short to be updates of the overlay, where `hold_s` is the hold in seconds
/// ([`MIN_SHARE_OF_HOLD`], [`MIN_SHARE_BETWEEN_EQUALS`]). If a run is dropped between two runs that show the
/// same value, the two are joined.
fn held_long_enough(runs: Vec<ValueRun>, hold_s: f64, frame_interval_s: f64) -> Vec<ValueRun> {
    let too_short = |before: &ValueRun, after: &ValueRun, share: f64| {
        after.start_s - before.end_s - frame_interval_s < share * hold_s - 1e-9
    };
    let mut joined: Vec<ValueRun> = Vec::with_capacity(runs.len());
    for run in runs {
        if let [.., before, middle] = joined.as_mut_slice()
            && before.value == run.value
            && middle.frames <= run.frames
            && too_short(before, &run, MIN_SHARE_BETWEEN_EQUALS)
        {
            before.merge(&run);
            joined.pop();
        } else {
            joined.push(run);
        }
    }
    let shown = |index: usize| {
        let before = index.checked_sub(1).and_then(|before| joined.get(before));
        !matches!((before, joined.get(index + 1)), (Some(before), Some(after)) if too_short(before, after, MIN_SHARE_OF_HOLD))
    };
    (0..joined.len()).filter(|index| shown(*index)).map(|index| joined[index]).collect()
}

/// The largest change of a channel's value that is possible between two runs.
struct RateRule {
    per_second: f64,
    quantum: f64,
    hold_s: f64,
    /// Period of an angle, at which values wrap around (360 degrees); `None` for channels that are not
    /// angles.
    full_circle: Option<f64>,
}

impl RateRule {
    fn of(channel: &ChannelReadings, hold_s: f64) -> Option<Self> {
        let per_second = channel.max_rate.filter(|rate| *rate > 0.0).or_else(|| default_rate(channel))?;
        let full_circle = (channel.channel == Channel::Heading).then_some(360.0);
        Some(Self { per_second, quantum: channel.quantum(), hold_s, full_circle })
    }

    /// Whether the value can change from that of `before` to that of `after` in the time between them. The value may
    /// have changed up to one hold before `after` begins.
    fn allows(&self, before: &ValueRun, after: &ValueRun) -> bool {
        let mut change = (after.value - before.value).abs();
        if let Some(circle) = self.full_circle {
            change = change.rem_euclid(circle);
            change = change.min(circle - change);
        }
        let time = (after.start_s - before.end_s).max(0.0) + self.hold_s;
        change <= self.per_second * time + self.quantum * 1.000_001
    }
}

/// Fastest plausible change of a channel whose readings state no rate, in its unit per second: 25 m/s per second for
/// the speed, and 60 m/s for the altitude. Both exceed what model aircraft do on a leg (set by judgement). It applies
/// only to readings without a setup, since a setup always states a rate for these channels: its own, or the default of
/// [`Region::plausible_max_rate`](crate::setup::Region::plausible_max_rate). `None` for other channels, and if the unit
/// is unknown.
fn default_rate(channel: &ChannelReadings) -> Option<f64> {
    let unit_si = channel.unit.map(Unit::si_per_unit)?;
    match channel.channel {
        Channel::Speed => Some(25.0 / unit_si),
        Channel::Altitude => Some(60.0 / unit_si),
        _ => None,
    }
}

/// Successive runs between which no change is too fast. The runs of a segment are trusted or rejected together.
struct RunSegment {
    first: usize,
    last: usize,
    weight: f64,
}

fn segments(runs: &[ValueRun], rule: &RateRule) -> Vec<RunSegment> {
    let mut segments: Vec<RunSegment> = Vec::new();
    for (index, run) in runs.iter().enumerate() {
        match segments.last_mut() {
            Some(segment) if rule.allows(&runs[segment.last], run) => {
                segment.last = index;
                segment.weight += run.weight;
            }
            _ => segments.push(RunSegment { first: index, last: index, weight: run.weight }),
        }
    }
    segments
}

/// Finds the chain of segments with the largest total weight (sum of confidences), and returns its runs. A
/// change between two segments that is too fast costs `jump_cost`, in units of the weight. The chain is found
/// by dynamic programming, as in the Viterbi algorithm, except that segments may be skipped.
fn consistent_path(runs: &[ValueRun], rule: &RateRule, jump_cost: f64) -> Vec<ValueRun> {
    let segments = segments(runs, rule);
    let mut best: Vec<(f64, Option<usize>)> = Vec::with_capacity(segments.len());
    let mut far: Option<(f64, usize)> = None;
    for (index, segment) in segments.iter().enumerate() {
        let near = index.saturating_sub(LOOK_BACK);
        if let Some(left) = near.checked_sub(1)
            && far.is_none_or(|(score, _)| best[left].0 > score)
        {
            far = Some((best[left].0, left));
        }
        let links = (near..index).map(|earlier| {
            let allowed = rule.allows(&runs[segments[earlier].last], &runs[segment.first]);
            (best[earlier].0 - if allowed { 0.0 } else { jump_cost }, Some(earlier))
        });
        let far_link = far.map(|(score, earlier)| (score - jump_cost, Some(earlier)));
        let (score, link) =
            links.chain(far_link).fold((0.0, None), |kept, link| if link.0 > kept.0 { link } else { kept });
        best.push((score + segment.weight, link));
    }
    follow_back(runs, &segments, &best)
}

fn follow_back(runs: &[ValueRun], segments: &[RunSegment], best: &[(f64, Option<usize>)]) -> Vec<ValueRun> {
    let end = (0..best.len()).max_by(|a, b| best[*a].0.total_cmp(&best[*b].0));
    let mut chain: Vec<usize> = std::iter::successors(end, |index| best[*index].1).collect();
    chain.reverse();
    chain.iter().flat_map(|index| &runs[segments[*index].first..=segments[*index].last]).copied().collect()
}

/// Blanks every reading outside the runs in `kept`, with the given reason.
fn reject_others(channel: &mut ChannelReadings, kept: &[ValueRun], reason: Blank) {
    let mut kept = kept.iter().peekable();
    for index in 0..channel.values.len() {
        while kept.next_if(|run| run.last < index).is_some() {}
        let trusted = kept.peek().is_some_and(|run| run.first <= index && run.value == channel.values[index]);
        if channel.blank[index] == Blank::No && !trusted {
            reject(channel, index, reason);
        }
    }
}
