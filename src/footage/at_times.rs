//! The frames of a clip at given times, each decoded once, on all cores.
//!
//! From each key frame on only what leads to a wanted frame is decoded: nothing behind the last wanted frame, and of
//! H.264 no unwanted picture that no other is predicted from. The worker decides by the stamp of a picture whether it
//! is worked on, so the frames close to each time are all candidates, and the nearest is chosen at the end. What this
//! way does not find is sought frame by frame.

use std::ops::ControlFlow;

use super::clip::Clip;
use super::crew::{self, Chunk, Event, Shot, Task};
use super::error::FootageError;
use super::packets::{Packets, stamp_of};
use super::pass::{MOST_PACKETS, Plan};
use super::random_access::Entry;
use super::suspicion::Suspicion;
use super::{FrameOutput, FrameSource as _, FrameTask, LumaPlane, libav, one_at_a_time};
use crate::geometry::PixelRect;

/// Frames up to this far from a wanted time are candidates, in typical intervals: of steady clips one or two.
const CANDIDATE_INTERVALS: f64 = 0.75;
/// Largest distance between decoding and presentation of a picture, in frames (H.264 and H.265, annex A).
const LARGEST_REORDER: f64 = 16.0;

/// Stamps that are wanted: ranges with both ends, in order and apart from each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct WantedStamps(Vec<(i64, i64)>);

impl WantedStamps {
    /// The union of ranges in order of their first stamp.
    fn of(ranges: impl IntoIterator<Item = (i64, i64)>) -> Self {
        let mut union: Vec<(i64, i64)> = Vec::new();
        for (first, last) in ranges {
            match union.last_mut() {
                Some((_, end)) if first <= *end => *end = last.max(*end),
                _ => union.push((first, last)),
            }
        }
        Self(union)
    }

    /// Whether a stamp is wanted.
    pub(super) fn holds(&self, stamp: i64) -> bool {
        let begun = self.0.partition_point(|(first, _)| *first <= stamp);
        begun.checked_sub(1).and_then(|at| self.0.get(at)).is_some_and(|(_, last)| stamp <= *last)
    }

    /// Whether all of them are before a stamp.
    fn end_before(&self, stamp: i64) -> bool {
        self.0.last().is_none_or(|(_, last)| *last < stamp)
    }

    /// The stamps to seek, in order: one between each key frame that leads to a wanted picture and the next.
    fn seeks(&self, keys: &[i64], reorder: i64) -> Vec<i64> {
        let group_at = |stamp: i64| keys.partition_point(|key| *key <= stamp).saturating_sub(1);
        let mut groups: Vec<usize> = Vec::new();
        for (first, last) in &self.0 {
            let unseen = groups.last().map_or(0, |group| group + 1);
            groups.extend(group_at(first.saturating_sub(reorder)).max(unseen)..=group_at(*last));
        }
        // Halfway to the next, since what a container's index calls a stamp may be that of decoding.
        let behind = |group: usize| {
            let key = keys.get(group)?;
            Some(keys.get(group + 1).map_or(key.saturating_add(reorder), |next| key.midpoint(*next)))
        };
        groups.into_iter().filter_map(behind).collect()
    }
}

impl Clip {
    /// The time of the last frame by the stamps of its packets, in seconds; `None` where no index leads there.
    pub(super) fn last_packet_s(&mut self) -> Option<f64> {
        if !self.stamps_tell_the_time() {
            return None;
        }
        let (mut packets, ..) = Packets::open(&self.info().path).ok()?;
        let stamp = packets.last_stamp()?;
        self.place_of(stamp).map(|(_, time_s)| time_s)
    }

    /// See [`FrameSource::process_at`](super::FrameSource::process_at).
    pub(super) fn decode_at<T: Send>(
        &mut self,
        times_s: &[f64],
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError> {
        let mut times_s = times_s.to_vec();
        times_s.sort_by(f64::total_cmp);
        if times_s.len() < 2 {
            return one_at_a_time(self, &times_s, work);
        }
        let candidates = self.candidates(&mut times_s, areas, work)?;
        let (mut found, missed_s) = nearest(candidates, &times_s, self.candidate_distance_s());
        found.extend(one_at_a_time(self, &missed_s, work)?);
        found.sort_by(|one, other| one.time_s.total_cmp(&other.time_s));
        found.dedup_by(|later, earlier| later.time_s <= earlier.time_s);
        Ok(found)
    }

    fn candidate_distance_s(&self) -> f64 {
        CANDIDATE_INTERVALS * self.placing.timeline.typical_s()
    }

    /// Frames close to `times_s`, which are brought into the clip; none where the clip must be read frame by frame.
    fn candidates<T: Send>(
        &mut self,
        times_s: &mut [f64],
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError> {
        if !self.stamps_tell_the_time() {
            return Ok(Vec::new());
        }
        let Some(mut plan) = Plan::of(self, areas)? else { return Ok(Vec::new()) };
        let last = plan.packets.last_stamp().and_then(|stamp| self.place_of(stamp));
        let Some((_, last_s)) = last else { return Ok(Vec::new()) };
        times_s.iter_mut().for_each(|time_s| *time_s = time_s.max(0.0).min(last_s));
        let Some(wanted) = self.wanted_stamps(times_s) else { return Ok(Vec::new()) };
        let start = || -> FrameTask<'_, T> { Box::new(work) };
        let task = Task { picked: Some(wanted.clone()), ..plan.task(self, &start) };
        let mut seeks = wanted.seeks(&plan.packets.key_stamps(), self.reorder_ticks(&plan)).into_iter();
        let recipe = plan.recipe.clone();
        let chunks = || seeks.find_map(|stamp| plan.chunk_towards(stamp, &wanted));
        let mut found = Vec::new();
        crew::run(&recipe, &task, chunks, |events| {
            found.extend(self.pictures_of(events, libav::is_intra_only(recipe.codec)));
            Ok(ControlFlow::Continue(()))
        })?;
        Ok(found)
    }

    /// The stamps close to times in order; `None` without stamps to go by.
    fn wanted_stamps(&mut self, times_s: &[f64]) -> Option<WantedStamps> {
        let distance_s = self.candidate_distance_s();
        let around = times_s
            .iter()
            .map(|time_s| Some((self.stamp_at(time_s - distance_s)?, self.stamp_at(time_s + distance_s)?)));
        Some(WantedStamps::of(around.collect::<Option<Vec<_>>>()?))
    }

    /// How much later than it is decoded a picture may be shown, in ticks of the stream's time base.
    fn reorder_ticks(&mut self, plan: &Plan) -> i64 {
        let delay_s = LARGEST_REORDER * self.placing.timeline.typical_s();
        let ticks = self.stamp_at(delay_s).zip(self.stamp_at(0.0)).map(|(later, first)| later - first);
        if plan.entry == Entry::Every { 0 } else { ticks.unwrap_or(0) }
    }

    /// The pictures that were worked on, with their places in the clip.
    fn pictures_of<T>(&mut self, events: Vec<Event<T>>, intra_only: bool) -> Vec<FrameOutput<T>> {
        let mut suspicion = Suspicion::new(intra_only);
        let mut pictures = Vec::new();
        for event in events {
            match event {
                Event::Lost { in_flight, .. } => suspicion.packet_lost(in_flight),
                Event::Incomplete { in_flight } => suspicion.packet_incomplete(in_flight),
                Event::Picture(Shot { stamp, errors, is_key, made, .. }) => {
                    let damaged = suspicion.judge(errors, is_key);
                    let place = stamp.and_then(|stamp| self.place_of(stamp));
                    pictures.extend(place.zip(made).map(|((index, time_s), made)| FrameOutput {
                        index,
                        time_s,
                        damaged,
                        output: made,
                    }));
                }
            }
        }
        pictures
    }
}

impl Plan {
    /// The packets from the key frame at or before a stamp on that lead to wanted pictures; `None` where there are
    /// none, or where decoding cannot start there.
    fn chunk_towards(&mut self, stamp: i64, wanted: &WantedStamps) -> Option<Chunk> {
        let first = self.entry_at(stamp)?;
        let mut needed = usize::from(stamp_of(&first.packet).is_some_and(|stamp| wanted.holds(stamp)));
        let mut parcels = vec![first];
        while self.entry != Entry::Every && parcels.len() < MOST_PACKETS {
            let Some(next) = self.packets.next().filter(|next| !self.entry.is_at(&next.packet)) else {
                break;
            };
            if next.packet.dts().is_some_and(|decoded| wanted.end_before(decoded)) {
                break;
            }
            // Without a stamp of its presentation any picture may be a wanted one.
            let is_wanted = next.packet.pts().is_none_or(|shown| wanted.holds(shown));
            if is_wanted || next.missing > 0 || !self.entry.is_disposable(&next.packet) {
                parcels.push(next);
            }
            needed = if is_wanted { parcels.len() } else { needed };
        }
        parcels.truncate(needed);
        (needed > 0).then(|| Chunk { parcels, ..Chunk::default() })
    }
}

/// The nearest of the candidates to each time, the earlier of two as near, and the times that have none within
/// `distance_s`.
fn nearest<T>(
    mut candidates: Vec<FrameOutput<T>>,
    times_s: &[f64],
    distance_s: f64,
) -> (Vec<FrameOutput<T>>, Vec<f64>) {
    candidates.sort_by(|one, other| one.time_s.total_cmp(&other.time_s));
    let mut is_nearest = vec![false; candidates.len()];
    let mut missed_s = Vec::new();
    for time_s in times_s {
        let behind = candidates.partition_point(|candidate| candidate.time_s < *time_s);
        let near = (behind.saturating_sub(1)..candidates.len().min(behind + 1)).filter_map(|at| {
            let away_s = (candidates.get(at)?.time_s - time_s).abs();
            (away_s <= distance_s).then_some((at, away_s))
        });
        match near.min_by(|(_, one), (_, other)| one.total_cmp(other)) {
            Some((at, _)) => is_nearest[at] = true,
            None => missed_s.push(*time_s),
        }
    }
    let kept = candidates.into_iter().zip(is_nearest).filter_map(|(frame, kept)| kept.then_some(frame));
    (kept.collect(), missed_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_that_touch_are_one_and_hold_both_their_ends() {
        let wanted = WantedStamps::of([(0, 10), (5, 7), (10, 20), (30, 40)]);
        assert_eq!(wanted, WantedStamps(vec![(0, 20), (30, 40)]));
        let held = [-1, 0, 20, 21, 30, 40, 41].map(|stamp| wanted.holds(stamp));
        assert_eq!(held, [false, true, true, false, true, true, false]);
        assert!(wanted.end_before(41) && !wanted.end_before(40));
    }

    #[test]
    fn only_groups_that_may_show_a_wanted_picture_are_sought_each_once() {
        let keys = [0, 100, 200, 300];
        let seeks = |ranges: &[(i64, i64)]| WantedStamps::of(ranges.iter().copied()).seeks(&keys, 16);
        assert_eq!(seeks(&[(150, 160), (170, 180)]), [150]);
        assert_eq!(seeks(&[(190, 210)]), [150, 250]);
        assert_eq!(seeks(&[(205, 210)]), [150, 250]);
        assert_eq!(seeks(&[(0, 1), (900, 901)]), [50, 316]);
    }

    #[test]
    fn of_two_candidates_the_nearer_is_taken_and_far_ones_are_not() {
        let frame = |time_s| FrameOutput { index: 0, time_s, damaged: false, output: () };
        let candidates = vec![frame(2.0), frame(1.0), frame(3.0)];
        let (found, missed_s) = nearest(candidates, &[0.0, 1.4, 1.5, 2.9, 3.2], 0.75);
        assert_eq!(found.iter().map(|frame| frame.time_s).collect::<Vec<_>>(), [1.0, 3.0]);
        assert_eq!(missed_s, [0.0]);
    }
}
