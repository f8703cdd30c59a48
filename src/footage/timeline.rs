//! From the recorder's time stamps to the times of frames.
//!
//! Times are the stamps less the first frame's. Single bad stamps are set between their neighbours'; where
//! the stamps start anew, what follows is joined on one typical interval later. Only when the stamps as a
//! whole are unusable is the time counted from a frame rate.

use std::collections::VecDeque;

use arrayvec::ArrayVec;

use super::notes::{Stretch, TimeBasis};

/// A leap forward longer than this is taken for stamps that start anew, not for a pause of the recorder.
const LARGEST_PAUSE_S: f64 = 3600.0;
/// Intervals looked back on for the typical one.
const INTERVALS_KEPT: usize = 31;
/// Fewer intervals than this do not show a steady rate.
const FEWEST_STEADY: usize = 10;
/// A stretch without a frame is a gap from this length on, if it is also [`GAP_INTERVALS`] long.
const SHORTEST_GAP_S: f64 = 0.5;
/// A gap is at least this many typical intervals long.
const GAP_INTERVALS: f64 = 4.0;
/// Gaps kept; hostile files could make any number.
const MAX_GAPS: usize = 100;
/// Largest distance, in frames, between the place of a frame in the file and in order of presentation that
/// well-formed video shows (H.264 and H.265 allow 16 pictures to wait).
const LARGEST_REORDER: usize = 16;

/// Places the frames of one clip in time.
#[derive(Debug, Clone)]
pub(super) struct Timeline {
    basis: TimeBasis,
    tick_s: f64,
    nominal_s: f64,
    origin: Option<i64>,
    shift_s: f64,
    last_s: Option<f64>,
    intervals: VecDeque<f64>,
    found: Findings,
}

/// What a [`Timeline`] met.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Findings {
    pub repaired: u64,
    pub restarted: u64,
    pub missing: u64,
    pub gaps: Vec<Stretch>,
}

impl Timeline {
    /// A timeline of stamps counted in ticks of `tick_s` seconds; `nominal_s` is the interval expected until
    /// intervals were seen.
    pub(super) fn new(basis: TimeBasis, tick_s: f64, nominal_s: f64) -> Self {
        Self {
            basis,
            tick_s,
            nominal_s,
            origin: None,
            shift_s: 0.0,
            last_s: None,
            intervals: VecDeque::with_capacity(INTERVALS_KEPT),
            found: Findings::default(),
        }
    }

    /// What was met since the start or the last jump.
    pub(super) fn findings(&self) -> &Findings {
        &self.found
    }

    /// Where the times come from.
    pub(super) fn basis(&self) -> TimeBasis {
        self.basis
    }

    /// The typical interval between frames, in seconds: the median of the last ones.
    pub(super) fn typical_s(&self) -> f64 {
        let mut kept: ArrayVec<f64, INTERVALS_KEPT> = self.intervals.iter().copied().collect();
        if kept.is_empty() {
            return self.nominal_s;
        }
        let middle = kept.len() / 2;
        *kept.select_nth_unstable_by(middle, f64::total_cmp).1
    }

    /// The time a stamp stands for, without any repair; `None` without stamps to go by.
    pub(super) fn time_of(&self, stamp: i64) -> Option<f64> {
        let origin = self.origin.filter(|_| self.basis == TimeBasis::Stamps)?;
        Some(stamp.saturating_sub(origin) as f64 * self.tick_s + self.shift_s)
    }

    /// The stamp that stands for a time; `None` without stamps to go by.
    pub(super) fn stamp_at(&self, time_s: f64) -> Option<i64> {
        let origin = self.origin.filter(|_| self.basis == TimeBasis::Stamps)?;
        let ticks = (time_s - self.shift_s) / self.tick_s;
        ticks.is_finite().then(|| origin.saturating_add(ticks.round() as i64))
    }

    /// Makes ready for frames from another place of the same clip: the origin stays.
    pub(super) fn jump(&mut self) {
        self.last_s = None;
        self.found = Findings::default();
    }

    /// Whether the next frame given to [`place`](Self::place) is the first since the start or a jump.
    pub(super) fn is_fresh(&self) -> bool {
        self.last_s.is_none()
    }

    /// The time of the next frame in order of presentation, later than the one before, in seconds. `next` is
    /// the stamp of the frame after it.
    pub(super) fn place(&mut self, stamp: Option<i64>, next: Option<i64>) -> f64 {
        let time_s = match (self.basis, self.last_s) {
            (TimeBasis::Stamps, None) => self.start(stamp),
            (TimeBasis::Stamps, Some(last_s)) => self.follow(last_s, stamp, next),
            (TimeBasis::ContainerRate { .. } | TimeBasis::AssumedRate { .. }, None) => 0.0,
            (TimeBasis::ContainerRate { .. } | TimeBasis::AssumedRate { .. }, Some(last_s)) => {
                last_s + self.nominal_s
            }
        };
        if let Some(last_s) = self.last_s {
            self.remember(last_s, time_s);
        }
        self.last_s = Some(time_s);
        time_s
    }

    fn start(&mut self, stamp: Option<i64>) -> f64 {
        let Some(stamp) = stamp else {
            self.found.repaired += 1;
            return 0.0;
        };
        self.origin.get_or_insert(stamp);
        self.time_of(stamp).unwrap_or(0.0)
    }

    fn follow(&mut self, last_s: f64, stamp: Option<i64>, next: Option<i64>) -> f64 {
        let typical_s = self.typical_s();
        if let (None, Some(first)) = (self.origin, stamp) {
            self.origin = Some(first);
            self.shift_s = last_s + typical_s;
        }
        let stated = stamp.and_then(|stamp| self.time_of(stamp));
        let next_s = next.and_then(|next| self.time_of(next));
        let Some(time_s) = stated else { return self.repair(last_s, next_s, typical_s) };
        let leads_on = next_s.is_none_or(|next_s| next_s > time_s);
        let overshoots = next_s.is_some_and(|next_s| last_s < next_s && next_s < time_s);
        if time_s > last_s && !overshoots && time_s - last_s <= LARGEST_PAUSE_S {
            return time_s;
        }
        let far_off = time_s < last_s - typical_s || time_s > last_s + LARGEST_PAUSE_S;
        let next_returns = next_s.is_some_and(|next_s| last_s < next_s && next_s <= last_s + LARGEST_PAUSE_S);
        if far_off && leads_on && !next_returns && next_s.is_some() {
            self.found.restarted += 1;
            self.shift_s += last_s + typical_s - time_s;
            return last_s + typical_s;
        }
        self.repair(last_s, next_s, typical_s)
    }

    /// A time between the last one and the next, at most a typical interval on. While the next is no help
    /// either, small steps keep clear of the stamps that may come after it.
    fn repair(&mut self, last_s: f64, next_s: Option<f64>, typical_s: f64) -> f64 {
        self.found.repaired += 1;
        last_s
            + match next_s {
                Some(next_s) if next_s > last_s => typical_s.min((next_s - last_s) / 2.0),
                Some(_) => typical_s / LARGEST_REORDER as f64,
                None => typical_s,
            }
    }

    /// Whether the clip has run at one rate of late: nearly all of its last intervals are alike.
    fn is_steady(&self) -> bool {
        let typical_s = self.typical_s();
        let alike =
            self.intervals.iter().filter(|interval_s| (**interval_s - typical_s).abs() < 0.25 * typical_s);
        self.intervals.len() >= FEWEST_STEADY && alike.count() * 10 >= self.intervals.len() * 9
    }

    fn remember(&mut self, last_s: f64, time_s: f64) {
        let interval_s = time_s - last_s;
        let long = interval_s >= SHORTEST_GAP_S && interval_s >= GAP_INTERVALS * self.typical_s();
        if long && self.found.gaps.len() < MAX_GAPS {
            self.found.gaps.push(Stretch { from_s: last_s, to_s: time_s });
        }
        let intervals = interval_s / self.typical_s();
        if intervals > 1.5 && self.is_steady() {
            self.found.missing += (intervals.round() as u64).saturating_sub(1);
        }
        if self.intervals.len() == INTERVALS_KEPT {
            self.intervals.pop_front();
        }
        self.intervals.push_back(interval_s);
    }
}

/// Whether stamps, given in the order of the file, can be used: most frames have one, most differ, and most
/// stand about where their order of presentation says.
pub(super) fn are_usable(stamps: &[Option<i64>]) -> bool {
    let mut present: Vec<(i64, usize)> =
        stamps.iter().flatten().enumerate().map(|(place, &stamp)| (stamp, place)).collect();
    let in_file = present.len();
    if in_file * 2 < stamps.len() {
        return false;
    }
    present.sort_unstable();
    let in_place = present
        .iter()
        .enumerate()
        .filter(|(rank, (_, place))| rank.abs_diff(*place) <= LARGEST_REORDER)
        .count();
    present.dedup_by_key(|(stamp, _)| *stamp);
    (in_file <= 1 || present.len() * 2 > in_file) && in_place * 2 >= in_file
}

/// Frames a second over the stamps given; `None` if they span no time.
pub(super) fn mean_rate_hz(stamps: &[Option<i64>], tick_s: f64) -> Option<f64> {
    let present = || stamps.iter().copied().flatten();
    let span_s = present().max()?.checked_sub(present().min()?)? as f64 * tick_s;
    (span_s > 0.0).then(|| (present().count() - 1) as f64 / span_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Times of stamps in milliseconds, at a nominal 25 frames a second.
    fn times_ms(stamps: &[Option<i64>]) -> (Vec<f64>, Findings) {
        let mut timeline = Timeline::new(TimeBasis::Stamps, 0.001, 0.04);
        let next = stamps.iter().skip(1).copied().chain([None]);
        let times = stamps
            .iter()
            .zip(next)
            .map(|(&stamp, next)| (timeline.place(stamp, next) * 1000.0 * 1000.0).round() / 1000.0)
            .collect();
        (times, timeline.found)
    }

    fn known(stamps: &[i64]) -> Vec<Option<i64>> {
        stamps.iter().copied().map(Some).collect()
    }

    #[test]
    fn time_counts_from_the_first_stamp_and_keeps_uneven_intervals() {
        let (times, found) = times_ms(&known(&[5000, 5033, 5067, 5100, 5233, 5266]));
        assert_eq!(times, [0.0, 33.0, 67.0, 100.0, 233.0, 266.0]);
        assert_eq!(found, Findings::default());
    }

    #[test]
    fn a_missing_a_repeated_and_a_backward_stamp_are_set_between_their_neighbours() {
        let (times, found) =
            times_ms(&[Some(0), Some(40), None, Some(120), Some(120), Some(200), Some(40), Some(280)]);
        assert_eq!(times, [0.0, 40.0, 80.0, 120.0, 160.0, 200.0, 240.0, 280.0]);
        assert_eq!(found.repaired, 3);
        assert_eq!(found.restarted, 0);
    }

    #[test]
    fn a_single_stamp_far_ahead_does_not_move_those_after_it() {
        for far in [9_000, 90_000_000] {
            let (times, found) = times_ms(&known(&[0, 40, far, 120, 160]));
            assert_eq!(times, [0.0, 40.0, 80.0, 120.0, 160.0]);
            assert_eq!(found.repaired, 1);
        }
    }

    #[test]
    fn stamps_that_start_anew_are_joined_on() {
        for anew in [0, 400_000_000] {
            let (times, found) =
                times_ms(&known(&[7000, 7040, 7080, 7120, anew, anew + 40, anew + 80, anew + 120]));
            assert_eq!(times, [0.0, 40.0, 80.0, 120.0, 160.0, 200.0, 240.0, 280.0]);
            assert_eq!((found.repaired, found.restarted), (0, 1));
        }
    }

    #[test]
    fn a_pause_of_the_recorder_stays_and_is_noted() {
        let (times, found) = times_ms(&known(&[0, 40, 80, 5080, 5120]));
        assert_eq!(times, [0.0, 40.0, 80.0, 5080.0, 5120.0]);
        assert_eq!(found.gaps, [Stretch { from_s: 0.08, to_s: 5.08 }]);
        assert_eq!(found.restarted, 0);
    }

    #[test]
    fn frames_missing_from_a_steady_clip_are_counted() {
        let stamps: Vec<i64> = (0..60).map(|n| n * 40).filter(|at| !(1200..1320).contains(at)).collect();
        assert_eq!(times_ms(&known(&stamps)).1.missing, 3);
        let uneven: Vec<i64> = (0..60).map(|n| n * 40).filter(|at| at % 200 < 120).collect();
        assert_eq!(times_ms(&known(&uneven)).1.missing, 0);
    }

    #[test]
    fn a_run_of_equal_stamps_stays_before_the_stamp_that_follows_it() {
        let (times, found) = times_ms(&known(&[0, 40, 40, 40, 40, 80, 120]));
        assert!(times.is_sorted_by(|one, two| one < two), "{times:?}");
        assert_eq!(times[5..], [80.0, 120.0]);
        assert_eq!(found.repaired, 3);
    }

    #[test]
    fn stamps_missing_at_the_start_do_not_shift_those_that_follow() {
        let (times, _) = times_ms(&[None, None, Some(900), Some(940)]);
        assert_eq!(times, [0.0, 40.0, 80.0, 120.0]);
    }

    #[test]
    fn extreme_stamps_do_not_overflow() {
        let (times, _) = times_ms(&known(&[i64::MIN + 1, i64::MAX, 0, i64::MIN + 1, i64::MAX]));
        assert!(times.is_sorted_by(|one, two| one < two), "{times:?}");
    }

    #[test]
    fn a_stated_rate_counts_frames() {
        let basis = TimeBasis::ContainerRate { rate_hz: 50.0 };
        let mut timeline = Timeline::new(basis, 0.001, 0.02);
        let times: Vec<f64> = (0..4).map(|_| timeline.place(Some(7), Some(7))).collect();
        assert_eq!(times, [0.0, 0.02, 0.04, 0.06]);
        assert_eq!(timeline.stamp_at(1.0), None);
    }

    #[test]
    fn a_time_and_its_stamp_are_inverse() {
        let mut timeline = Timeline::new(TimeBasis::Stamps, 1.0 / 90_000.0, 0.04);
        timeline.place(Some(126_000), None);
        assert_eq!(timeline.stamp_at(2.0), Some(306_000));
        assert_eq!(timeline.time_of(306_000), Some(2.0));
    }

    #[test]
    fn stamps_are_usable_when_most_are_there_differ_and_are_in_order() {
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
    fn stamps_absent_equal_or_backwards_are_not_usable() {
        let backwards: Vec<_> = (0..100).rev().map(Some).collect();
        let mostly_absent: Vec<_> = (0..100).map(|n| (n % 3 == 0).then_some(n)).collect();
        assert!(!are_usable(&[Some(5); 100]));
        assert!(!are_usable(&[None; 3]));
        assert!(!are_usable(&backwards) && !are_usable(&mostly_absent));
    }
}
