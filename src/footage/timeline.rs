//! Computes the times of frames from the recorder's timestamps.
//!
//! A frame's time is its timestamp minus that of the first frame. A single bad timestamp is replaced by one
//! between those of its neighbours. If the timestamps start again from a lower value, the next frame follows
//! one typical interval later. Only if the timestamps as a whole cannot be used, times are computed from a
//! frame rate.

use std::collections::VecDeque;

use arrayvec::ArrayVec;

use super::notes::{FrameGap, TimeBasis};

/// Longest pause of a recorder, in seconds. A longer jump forward means that the timestamps start again. Set
/// by judgement.
const MAX_PAUSE_S: f64 = 3600.0;
/// Number of frame intervals whose median is the typical interval. Set by judgement: about a second.
const INTERVALS_KEPT: usize = 31;
/// Minimum number of frame intervals for deciding that the rate is constant. Set by judgement.
const MIN_STEADY_INTERVALS: usize = 10;
/// Minimum length of a gap between frames, in seconds. A gap must also have [`MIN_GAP_INTERVALS`]. Set by
/// judgement.
const MIN_GAP_S: f64 = 0.5;
/// Minimum length of a gap between frames, in typical frame intervals. Set by judgement.
const MIN_GAP_INTERVALS: f64 = 4.0;
/// Maximum number of gaps that are stored. Set by judgement, to limit the memory that a malicious file can take.
const MAX_GAPS: usize = 100;
/// Maximum distance between file order and presentation order in valid video, in frames (H.264 and H.265,
/// annex A).
const MAX_REORDER: usize = 16;

/// Computes the times of the frames of one clip.
#[derive(Debug, Clone)]
pub(super) struct Timeline {
    basis: TimeBasis,
    tick_s: f64,
    nominal_s: f64,
    /// The first timestamp of the clip; `None` until a frame has one.
    origin: Option<i64>,
    /// Time that is added after restarts of the timestamps, in seconds.
    shift_s: f64,
    last_s: Option<f64>,
    intervals: VecDeque<f64>,
    repairs: TimestampRepairs,
}

/// Counts of repaired timestamps and of missing frames.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct TimestampRepairs {
    pub repaired: u64,
    pub restarted: u64,
    pub missing: u64,
    pub gaps: Vec<FrameGap>,
}

impl Timeline {
    /// A timeline whose timestamps count ticks of `tick_s` seconds. `nominal_s` is the frame interval in
    /// seconds that is used until intervals are known.
    pub(super) fn new(basis: TimeBasis, tick_s: f64, nominal_s: f64) -> Self {
        Self {
            basis,
            tick_s,
            nominal_s,
            origin: None,
            shift_s: 0.0,
            last_s: None,
            intervals: VecDeque::with_capacity(INTERVALS_KEPT),
            repairs: TimestampRepairs::default(),
        }
    }

    /// The repairs since the start or the last reset.
    pub(super) fn repairs(&self) -> &TimestampRepairs {
        &self.repairs
    }

    /// What the times are computed from.
    pub(super) fn basis(&self) -> TimeBasis {
        self.basis
    }

    /// The typical interval between frames, in seconds: the median of the last intervals.
    pub(super) fn typical_interval_s(&self) -> f64 {
        let mut kept: ArrayVec<f64, INTERVALS_KEPT> = self.intervals.iter().copied().collect();
        if kept.is_empty() {
            return self.nominal_s;
        }
        let middle = kept.len() / 2;
        *kept.select_nth_unstable_by(middle, f64::total_cmp).1
    }

    /// Converts a timestamp to a time in seconds since the first frame, without repairs. `None` if the clip has no
    /// usable timestamps.
    pub(super) fn time_of(&self, timestamp: i64) -> Option<f64> {
        let origin = self.origin.filter(|_| self.basis == TimeBasis::Timestamps)?;
        Some(timestamp.saturating_sub(origin) as f64 * self.tick_s + self.shift_s)
    }

    /// The timestamp at a time in seconds. `None` if the clip has no usable timestamps.
    pub(super) fn timestamp_at(&self, time_s: f64) -> Option<i64> {
        let origin = self.origin.filter(|_| self.basis == TimeBasis::Timestamps)?;
        let ticks = (time_s - self.shift_s) / self.tick_s;
        ticks.is_finite().then(|| origin.saturating_add(ticks.round() as i64))
    }

    /// Prepares for frames from another position in the same clip. The origin of the time is kept.
    pub(super) fn reset(&mut self) {
        self.last_s = None;
        self.repairs = TimestampRepairs::default();
    }

    /// Whether no frame has been given a time since the start or the last reset.
    pub(super) fn is_at_start(&self) -> bool {
        self.last_s.is_none()
    }

    /// Returns the time, in seconds, of the frame that follows the last one in presentation order; it is later than
    /// the time of that one. `timestamp` is the timestamp of the frame, `next` that of the frame after it, each in
    /// ticks of the stream's time base; `None` if there is none.
    pub(super) fn advance(&mut self, timestamp: Option<i64>, next: Option<i64>) -> f64 {
        let time_s = match (self.basis, self.last_s) {
            (TimeBasis::Timestamps, None) => self.start(timestamp),
            (TimeBasis::Timestamps, Some(last_s)) => self.follow(last_s, timestamp, next),
            (TimeBasis::ContainerRate { .. } | TimeBasis::AssumedRate { .. }, None) => 0.0,
            (TimeBasis::ContainerRate { .. } | TimeBasis::AssumedRate { .. }, Some(last_s)) => {
                last_s + self.nominal_s
            }
        };
        if let Some(last_s) = self.last_s {
            self.add_interval(last_s, time_s);
        }
        self.last_s = Some(time_s);
        time_s
    }

    fn start(&mut self, timestamp: Option<i64>) -> f64 {
        let Some(timestamp) = timestamp else {
            self.repairs.repaired += 1;
            return 0.0;
        };
        self.origin.get_or_insert(timestamp);
        self.time_of(timestamp).unwrap_or(0.0)
    }

    fn follow(&mut self, last_s: f64, timestamp: Option<i64>, next: Option<i64>) -> f64 {
        let typical_s = self.typical_interval_s();
        if let (None, Some(first)) = (self.origin, timestamp) {
            self.origin = Some(first);
            self.shift_s = last_s + typical_s;
        }
        let stamped = timestamp.and_then(|timestamp| self.time_of(timestamp));
        let next_s = next.and_then(|next| self.time_of(next));
        let Some(time_s) = stamped else { return self.repair(last_s, next_s, typical_s) };
        let next_follows = next_s.is_none_or(|next_s| next_s > time_s);
        let overshoots = next_s.is_some_and(|next_s| last_s < next_s && next_s < time_s);
        if time_s > last_s && !overshoots && time_s - last_s <= MAX_PAUSE_S {
            return time_s;
        }
        let far_off = time_s < last_s - typical_s || time_s > last_s + MAX_PAUSE_S;
        let next_is_close = next_s.is_some_and(|next_s| last_s < next_s && next_s <= last_s + MAX_PAUSE_S);
        if far_off && next_follows && !next_is_close && next_s.is_some() {
            self.repairs.restarted += 1;
            self.shift_s += last_s + typical_s - time_s;
            return last_s + typical_s;
        }
        self.repair(last_s, next_s, typical_s)
    }

    /// A time in seconds between the last frame and the next one, at most one typical interval after the
    /// last. If the next timestamp is bad as well, the step is small, so that the time stays before any good
    /// timestamps that follow.
    fn repair(&mut self, last_s: f64, next_s: Option<f64>, typical_s: f64) -> f64 {
        self.repairs.repaired += 1;
        last_s
            + match next_s {
                Some(next_s) if next_s > last_s => typical_s.min((next_s - last_s) / 2.0),
                Some(_) => typical_s / MAX_REORDER as f64,
                None => typical_s,
            }
    }

    /// Whether the frame rate is constant: at least 90 % of the last frame intervals differ from the typical interval
    /// by less than a quarter of it.
    fn is_steady(&self) -> bool {
        let typical_s = self.typical_interval_s();
        let alike =
            self.intervals.iter().filter(|interval_s| (**interval_s - typical_s).abs() < 0.25 * typical_s);
        self.intervals.len() >= MIN_STEADY_INTERVALS && alike.count() * 10 >= self.intervals.len() * 9
    }

    fn add_interval(&mut self, last_s: f64, time_s: f64) {
        let interval_s = time_s - last_s;
        let long = interval_s >= MIN_GAP_S && interval_s >= MIN_GAP_INTERVALS * self.typical_interval_s();
        if long && self.repairs.gaps.len() < MAX_GAPS {
            self.repairs.gaps.push(FrameGap { from_s: last_s, to_s: time_s });
        }
        let intervals = interval_s / self.typical_interval_s();
        if intervals > 1.5 && self.is_steady() {
            self.repairs.missing += (intervals.round() as u64).saturating_sub(1);
        }
        if self.intervals.len() == INTERVALS_KEPT {
            self.intervals.pop_front();
        }
        self.intervals.push_back(interval_s);
    }
}

/// Whether timestamps, given in file order, can be used: at least half of the frames have one, more than half of the
/// timestamps differ, and sorting moves at least half of them by at most [`MAX_REORDER`] positions.
pub(super) fn are_usable(timestamps: &[Option<i64>]) -> bool {
    let mut present: Vec<(i64, usize)> =
        timestamps.iter().flatten().enumerate().map(|(position, &timestamp)| (timestamp, position)).collect();
    let in_file = present.len();
    if in_file * 2 < timestamps.len() {
        return false;
    }
    present.sort_unstable();
    let in_order = present
        .iter()
        .enumerate()
        .filter(|(rank, (_, position))| rank.abs_diff(*position) <= MAX_REORDER)
        .count();
    present.dedup_by_key(|(timestamp, _)| *timestamp);
    (in_file <= 1 || present.len() * 2 > in_file) && in_order * 2 >= in_file
}

/// Mean frame rate over the given timestamps, in hertz; `None` if they span no time.
pub(super) fn mean_rate_hz(timestamps: &[Option<i64>], tick_s: f64) -> Option<f64> {
    let present = || timestamps.iter().copied().flatten();
    let span_s = present().max()?.checked_sub(present().min()?)? as f64 * tick_s;
    (span_s > 0.0).then(|| (present().count() - 1) as f64 / span_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Times of timestamps in milliseconds, at a nominal 25 frames a second.
    fn times_ms(timestamps: &[Option<i64>]) -> (Vec<f64>, TimestampRepairs) {
        let mut timeline = Timeline::new(TimeBasis::Timestamps, 0.001, 0.04);
        let next = timestamps.iter().skip(1).copied().chain([None]);
        let times = timestamps
            .iter()
            .zip(next)
            .map(|(&timestamp, next)| (timeline.advance(timestamp, next) * 1000.0 * 1000.0).round() / 1000.0)
            .collect();
        (times, timeline.repairs)
    }

    fn known(timestamps: &[i64]) -> Vec<Option<i64>> {
        timestamps.iter().copied().map(Some).collect()
    }

    #[test]
    fn time_counts_from_the_first_timestamp_and_keeps_uneven_intervals() {
        let (times, found) = times_ms(&known(&[5000, 5033, 5067, 5100, 5233, 5266]));
        assert_eq!(times, [0.0, 33.0, 67.0, 100.0, 233.0, 266.0]);
        assert_eq!(found, TimestampRepairs::default());
    }

    #[test]
    fn missing_repeated_and_backward_timestamps_are_set_between_their_neighbours() {
        let (times, found) =
            times_ms(&[Some(0), Some(40), None, Some(120), Some(120), Some(200), Some(40), Some(280)]);
        assert_eq!(times, [0.0, 40.0, 80.0, 120.0, 160.0, 200.0, 240.0, 280.0]);
        assert_eq!(found.repaired, 3);
        assert_eq!(found.restarted, 0);
    }

    #[test]
    fn a_single_timestamp_far_ahead_does_not_move_those_after_it() {
        for far in [9_000, 90_000_000] {
            let (times, found) = times_ms(&known(&[0, 40, far, 120, 160]));
            assert_eq!(times, [0.0, 40.0, 80.0, 120.0, 160.0]);
            assert_eq!(found.repaired, 1);
        }
    }

    #[test]
    fn timestamps_that_restart_are_joined() {
        for restart in [0, 400_000_000] {
            let (times, found) = times_ms(&known(&[
                7000,
                7040,
                7080,
                7120,
                restart,
                restart + 40,
                restart + 80,
                restart + 120,
            ]));
            assert_eq!(times, [0.0, 40.0, 80.0, 120.0, 160.0, 200.0, 240.0, 280.0]);
            assert_eq!((found.repaired, found.restarted), (0, 1));
        }
    }

    #[test]
    fn a_pause_of_the_recorder_is_kept_and_noted() {
        let (times, found) = times_ms(&known(&[0, 40, 80, 5080, 5120]));
        assert_eq!(times, [0.0, 40.0, 80.0, 5080.0, 5120.0]);
        assert_eq!(found.gaps, [FrameGap { from_s: 0.08, to_s: 5.08 }]);
        assert_eq!(found.restarted, 0);
    }

    #[test]
    fn frames_missing_from_a_steady_clip_are_counted() {
        let timestamps: Vec<i64> = (0..60).map(|n| n * 40).filter(|at| !(1200..1320).contains(at)).collect();
        assert_eq!(times_ms(&known(&timestamps)).1.missing, 3);
        let uneven: Vec<i64> = (0..60).map(|n| n * 40).filter(|at| at % 200 < 120).collect();
        assert_eq!(times_ms(&known(&uneven)).1.missing, 0);
    }

    #[test]
    fn a_run_of_equal_timestamps_stays_before_the_timestamp_that_follows_it() {
        let (times, found) = times_ms(&known(&[0, 40, 40, 40, 40, 80, 120]));
        assert!(times.is_sorted_by(|one, two| one < two), "{times:?}");
        assert_eq!(times[5..], [80.0, 120.0]);
        assert_eq!(found.repaired, 3);
    }

    #[test]
    fn timestamps_missing_at_the_start_do_not_shift_those_that_follow() {
        let (times, _) = times_ms(&[None, None, Some(900), Some(940)]);
        assert_eq!(times, [0.0, 40.0, 80.0, 120.0]);
    }

    #[test]
    fn extreme_timestamps_do_not_overflow() {
        let (times, _) = times_ms(&known(&[i64::MIN + 1, i64::MAX, 0, i64::MIN + 1, i64::MAX]));
        assert!(times.is_sorted_by(|one, two| one < two), "{times:?}");
    }

    #[test]
    fn a_stated_rate_counts_frames() {
        let basis = TimeBasis::ContainerRate { rate_hz: 50.0 };
        let mut timeline = Timeline::new(basis, 0.001, 0.02);
        let times: Vec<f64> = (0..4).map(|_| timeline.advance(Some(7), Some(7))).collect();
        assert_eq!(times, [0.0, 0.02, 0.04, 0.06]);
        assert_eq!(timeline.timestamp_at(1.0), None);
    }

    #[test]
    fn a_time_and_its_timestamp_are_inverse() {
        let mut timeline = Timeline::new(TimeBasis::Timestamps, 1.0 / 90_000.0, 0.04);
        timeline.advance(Some(126_000), None);
        assert_eq!(timeline.timestamp_at(2.0), Some(306_000));
        assert_eq!(timeline.time_of(306_000), Some(2.0));
    }

    #[test]
    fn timestamps_are_usable_when_most_are_there_differ_and_are_in_order() {
        let steady: Vec<_> = (0..100).map(|n| Some(n * 40)).collect();
        let reordered: Vec<_> = steady.chunks(4).flat_map(|four| four.iter().rev().copied()).collect();
        let some_missing: Vec<_> = steady.iter().enumerate().map(|(n, s)| s.filter(|_| n % 3 != 0)).collect();
        assert!(are_usable(&steady) && are_usable(&reordered) && are_usable(&some_missing));
        assert!(are_usable(&[Some(7)]) && are_usable(&[]));
    }

    #[test]
    fn the_mean_rate_counts_intervals_not_frames() {
        assert_eq!(mean_rate_hz(&known(&[100, 180, 140, 220, 260]), 0.001), Some(25.0));
        assert_eq!(mean_rate_hz(&known(&[100]), 0.001), None);
        assert_eq!(mean_rate_hz(&known(&[i64::MIN, i64::MAX]), 0.001), None);
        assert_eq!(mean_rate_hz(&[None, None], 0.001), None);
    }

    #[test]
    fn timestamps_absent_equal_or_backwards_are_not_usable() {
        let backwards: Vec<_> = (0..100).rev().map(Some).collect();
        let mostly_absent: Vec<_> = (0..100).map(|n| (n % 3 == 0).then_some(n)).collect();
        assert!(!are_usable(&[Some(5); 100]));
        assert!(!are_usable(&[None; 3]));
        assert!(!are_usable(&backwards) && !are_usable(&mostly_absent));
    }
}
