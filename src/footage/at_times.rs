//! Decodes the frames of a clip nearest to given times, each once, on all cores.
//!
//! After each key frame, only the packets needed for a wanted frame are decoded: nothing after the last wanted frame,
//! and in H.264 no unwanted frame that no other frame is predicted from. A worker thread selects frames by their
//! timestamps alone and does not know which frame is nearest. It therefore returns every frame close to a wanted time,
//! a candidate, and the nearest candidate is chosen at the end. For a time without a candidate the clip is decoded
//! again from an earlier frame, one time after the other.

use std::ops::ControlFlow;

use super::clip::Clip;
use super::error::FootageError;
use super::error_propagation::ErrorPropagation;
use super::frame_timing::FramePosition;
use super::packets::{Packets, timestamp_of};
use super::parallel::{DecodePlan, MAX_CHUNK_PACKETS};
use super::random_access::RandomAccess;
use super::timestamp_ranges::TimestampRanges;
use super::worker_pool::{self, Chunk, DecodeEvent, PoolTask, WorkResult};
use super::{FrameOutput, FrameSource as _, FrameTask, LumaPlane, libav, process_by_seeking};
use crate::geometry::PixelRect;

/// Maximum distance of a candidate frame from the wanted time, in typical frame intervals. Set by judgement:
/// a clip with a constant rate then has one or two candidates for each time.
const MAX_CANDIDATE_INTERVALS: f64 = 0.75;
/// Maximum distance between decoding and presentation order, in frames (H.264 and H.265, annex A).
const MAX_REORDER_FRAMES: f64 = 16.0;

impl Clip {
    /// The time of the last frame in seconds since the first, computed from the timestamps of the clip's packets.
    /// `None` if times cannot be computed from timestamps alone, or if the container has no index of key frames.
    pub(super) fn last_packet_s(&mut self) -> Option<f64> {
        if !self.timestamps_are_times() {
            return None;
        }
        let (mut packets, ..) = Packets::open(&self.info().path).ok()?;
        let timestamp = packets.last_timestamp()?;
        self.position_of(timestamp).map(|position| position.time_s)
    }

    /// Decodes the frames nearest to given times and runs the caller's task on them, as
    /// [`FrameSource::process_at`](super::FrameSource::process_at) describes.
    pub(super) fn decode_at<T: Send>(
        &mut self,
        times_s: &[f64],
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError> {
        let mut times_s = times_s.to_vec();
        times_s.sort_by(f64::total_cmp);
        if times_s.len() < 2 {
            return process_by_seeking(self, &times_s, work);
        }
        let candidates = self.candidates(&mut times_s, areas, work)?;
        let (mut found, missed_s) = nearest(candidates, &times_s, self.candidate_distance_s());
        found.extend(process_by_seeking(self, &missed_s, work)?);
        found.sort_by(|one, other| one.time_s.total_cmp(&other.time_s));
        found.dedup_by(|later, earlier| later.time_s <= earlier.time_s);
        Ok(found)
    }

    fn candidate_distance_s(&self) -> f64 {
        MAX_CANDIDATE_INTERVALS * self.timing.timeline.typical_interval_s()
    }

    /// Decodes the frames close to `times_s` and runs `work` on them. `times_s` are times in seconds; the function
    /// first limits them to the length of the clip. The result is empty if timestamps or random access cannot be used;
    /// the caller then decodes one time after the other.
    fn candidates<T: Send>(
        &mut self,
        times_s: &mut [f64],
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Vec<FrameOutput<T>>, FootageError> {
        if !self.timestamps_are_times() {
            return Ok(Vec::new());
        }
        let Some(mut plan) = DecodePlan::of(self, areas)? else { return Ok(Vec::new()) };
        let last = plan.packets.last_timestamp().and_then(|timestamp| self.position_of(timestamp));
        let Some(FramePosition { time_s: last_s, .. }) = last else { return Ok(Vec::new()) };
        times_s.iter_mut().for_each(|time_s| *time_s = time_s.max(0.0).min(last_s));
        let Some(ranges) = self.timestamps_near(times_s) else { return Ok(Vec::new()) };
        let start = || -> FrameTask<'_, T> { Box::new(work) };
        let task = PoolTask { selected: Some(ranges.clone()), ..plan.task(self, &start) };
        let reorder = self.reorder_ticks(&plan);
        let mut seeks = ranges.seek_timestamps(&plan.packets.key_timestamps(), reorder).into_iter();
        let (config, distance_s) = (plan.config.clone(), self.candidate_distance_s());
        let chunks = || seeks.find_map(|timestamp| plan.chunk_towards(timestamp, &ranges));
        let mut found = Vec::new();
        worker_pool::run(&config, &task, chunks, |events| {
            found.extend(self.outputs_of(events, libav::is_intra_only(config.codec)));
            // The others are dropped at once: in a sample of whole frames they would take as much memory again.
            found = nearest(std::mem::take(&mut found), times_s, distance_s).0;
            Ok(ControlFlow::Continue(()))
        })?;
        Ok(found)
    }

    /// The ranges of timestamps close to the times `times_s`, which are in seconds and in ascending order; `None` if
    /// the clip has no usable timestamps.
    fn timestamps_near(&mut self, times_s: &[f64]) -> Option<TimestampRanges> {
        let distance_s = self.candidate_distance_s();
        let around = times_s.iter().map(|time_s| {
            Some((self.timestamp_at(time_s - distance_s)?, self.timestamp_at(time_s + distance_s)?))
        });
        Some(TimestampRanges::union(around.collect::<Option<Vec<_>>>()?))
    }

    /// Largest delay from decoding a frame to its presentation, in ticks of the stream's time base.
    fn reorder_ticks(&mut self, plan: &DecodePlan) -> i64 {
        let delay_s = MAX_REORDER_FRAMES * self.timing.timeline.typical_interval_s();
        let ticks =
            self.timestamp_at(delay_s).zip(self.timestamp_at(0.0)).map(|(later, first)| later - first);
        if plan.access == RandomAccess::Every { 0 } else { ticks.unwrap_or(0) }
    }

    /// The outputs of the selected frames, with the frames' positions in the clip and whether they are damaged.
    /// `intra_only` is true if every frame of the codec is decoded without others, so that damage does not spread.
    fn outputs_of<T>(&mut self, events: Vec<DecodeEvent<T>>, intra_only: bool) -> Vec<FrameOutput<T>> {
        let mut propagation = ErrorPropagation::new(intra_only);
        let mut outputs = Vec::new();
        for event in events {
            match event {
                DecodeEvent::Lost { in_flight, .. } => propagation.packet_lost(in_flight),
                DecodeEvent::Incomplete { in_flight } => propagation.packet_incomplete(in_flight),
                DecodeEvent::Frame(WorkResult { timestamp, errors, is_key, output, .. }) => {
                    let damaged = propagation.is_damaged(errors, is_key);
                    let position = timestamp.and_then(|timestamp| self.position_of(timestamp));
                    outputs.extend(position.zip(output).map(|(position, output)| FrameOutput {
                        index: position.index,
                        time_s: position.time_s,
                        damaged,
                        output,
                    }));
                }
            }
        }
        outputs
    }
}

impl DecodePlan {
    /// The packets from the key frame at or before `timestamp` to the last packet that is needed for frames in
    /// `wanted`. `None` if no frame between this key frame and the next one is wanted, or if decoding cannot start at
    /// the key frame.
    fn chunk_towards(&mut self, timestamp: i64, wanted: &TimestampRanges) -> Option<Chunk> {
        let first = self.access_at(timestamp)?;
        let first_timestamp = timestamp_of(&first.packet);
        let mut needed = usize::from(first_timestamp.is_some_and(|timestamp| wanted.contains(timestamp)));
        let mut packets = vec![first];
        while self.access != RandomAccess::Every && packets.len() < MAX_CHUNK_PACKETS {
            let Some(next) = self.packets.next().filter(|next| !self.access.is_at(&next.packet)) else {
                break;
            };
            if next.packet.dts().is_some_and(|decoded| wanted.end_before(decoded)) {
                break;
            }
            // A packet without presentation timestamp may contain any frame, so also a wanted one.
            let is_wanted = next.packet.pts().is_none_or(|presented| wanted.contains(presented));
            if is_wanted || next.missing > 0 || !self.access.is_disposable(&next.packet) {
                packets.push(next);
            }
            needed = if is_wanted { packets.len() } else { needed };
        }
        packets.truncate(needed);
        (needed > 0).then(|| Chunk { packets, ..Chunk::default() })
    }
}

/// The candidate nearest to each time (the earlier one of two that are equally near), and the times, in seconds, that
/// have no candidate at most `distance_s` seconds away.
fn nearest<T>(
    mut candidates: Vec<FrameOutput<T>>,
    times_s: &[f64],
    distance_s: f64,
) -> (Vec<FrameOutput<T>>, Vec<f64>) {
    candidates.sort_by(|one, other| one.time_s.total_cmp(&other.time_s));
    let mut is_nearest = vec![false; candidates.len()];
    let mut missed_s = Vec::new();
    for time_s in times_s {
        let after = candidates.partition_point(|candidate| candidate.time_s < *time_s);
        let near = (after.saturating_sub(1)..candidates.len().min(after + 1)).filter_map(|at| {
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
    fn candidates_dropped_early_do_not_change_what_is_found() {
        let frame = |tenths: u64| FrameOutput {
            index: tenths,
            time_s: tenths as f64 / 10.0,
            damaged: false,
            output: (),
        };
        let times_s = [0.3, 1.0, 1.15, 2.5, 4.0];
        let parts = [vec![12, 3, 5], vec![11, 10, 27], vec![2, 24, 26, 45]];
        let all: Vec<_> = parts.iter().flatten().map(|tenths| frame(*tenths)).collect();
        let mut kept = Vec::new();
        for part in &parts {
            kept.extend(part.iter().map(|tenths| frame(*tenths)));
            kept = nearest(kept, &times_s, 0.75).0;
        }
        let indices = |(frames, missed_s): (Vec<FrameOutput<()>>, Vec<f64>)| {
            (frames.iter().map(|frame| frame.index).collect::<Vec<_>>(), missed_s)
        };
        assert_eq!(indices(nearest(kept, &times_s, 0.75)), indices(nearest(all, &times_s, 0.75)));
    }

    #[test]
    fn the_nearer_of_two_candidates_is_used_and_far_ones_are_not() {
        let frame = |time_s| FrameOutput { index: 0, time_s, damaged: false, output: () };
        let candidates = vec![frame(2.0), frame(1.0), frame(3.0)];
        let (found, missed_s) = nearest(candidates, &[0.0, 1.4, 1.5, 2.9, 3.2], 0.75);
        assert_eq!(found.iter().map(|frame| frame.time_s).collect::<Vec<_>>(), [1.0, 3.0]);
        assert_eq!(missed_s, [0.0]);
    }
}
