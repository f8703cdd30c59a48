//! Processes the frames of a clip on all cores.
//!
//! The packets are divided into chunks at random access points, where decoding can start. A clip without such
//! points is processed frame by frame. In Motion JPEG only the wanted areas are decoded, if the region
//! decoder gives the correct pixels for the first frames.

use std::ops::ControlFlow;
use std::sync::mpsc::{self, Receiver};
use std::thread::available_parallelism;

use ffmpeg_next::codec::Id;
use ffmpeg_next::frame::Video;

use super::clip::{Clip, unknown_pixels};
use super::decoder::{DecoderConfig, DecoderOutput, FrameDecoder};
use super::error::FootageError;
use super::error_propagation::ErrorPropagation;
use super::frame_timing::{FramePosition, FrameStatus};
use super::packets::{Packets, VideoPacket, timestamp_of};
use super::random_access::RandomAccess;
use super::region_decoder::RegionDecoder;
use super::worker_pool::{self, Chunk, DecodeEvent, PoolTask, WorkResult};
use super::{
    FrameOutput, FrameSource as _, FrameTask, LumaPlane, TaskFactory, libav, luma, process_sequentially,
};
use crate::geometry::PixelRect;

/// Number of packets per chunk if every packet is a random access point. Set by judgement.
const INTRA_PACKETS_PER_CHUNK: usize = 24;
/// Maximum number of packets of a chunk. If no random access point follows within this number, the next chunk
/// continues with the same decoder. Set by judgement, to limit the memory.
pub(super) const MAX_CHUNK_PACKETS: usize = 600;
/// Maximum size of a chunk in bytes. Set by judgement, to limit the memory.
const MAX_CHUNK_BYTES: usize = 24 << 20;
/// Number of Motion JPEG frames for which the region decoder must give the same pixels as the general decoder
/// before it is used. Set by judgement.
const VERIFIED_FRAMES: usize = 12;
/// Minimum number of key frames for a sample that consists of key frames and frames close after them. Set by
/// judgement: fewer would not be spread evenly enough over the clip.
const MIN_KEY_FRAMES: usize = 20;

/// The settings and packets with which a clip is decoded on all cores.
pub(super) struct DecodePlan {
    pub packets: Packets,
    verified: Vec<VideoPacket>,
    pub config: DecoderConfig,
    pub access: RandomAccess,
    /// Number of workers, as far as the memory allows.
    workers: usize,
    only_areas: Option<Vec<PixelRect>>,
    /// Timestamp of the random access point that was returned last. The outer `None` means that none was returned
    /// yet, the inner `None` that the packet has no timestamp.
    last_access_timestamp: Option<Option<i64>>,
}

impl DecodePlan {
    /// The plan for a clip in whose frames `areas` must be valid. `None` if the clip must be processed frame
    /// by frame.
    pub(super) fn of(clip: &mut Clip, areas: &[PixelRect]) -> Result<Option<Self>, FootageError> {
        let Some(access) = RandomAccess::of(clip.decoder_config()) else { return Ok(None) };
        let workers = clip.further_decoders().min(available_parallelism().map_or(1, usize::from));
        if workers == 0 {
            return Ok(None);
        }
        let (mut packets, config, _) = Packets::open(&clip.info().path)?;
        let config = DecoderConfig { threads: 1, pictures: clip.decoder_config().pictures.clone(), ..config };
        let plan = |packets, config, verified, only_areas| {
            Some(Self { packets, verified, config, access, workers, only_areas, last_access_timestamp: None })
        };
        if config.codec != Id::MJPEG {
            return Ok(plan(packets, config, Vec::new(), None));
        }
        let size = (clip.info().width, clip.info().height);
        if config.checked_size != Some(size) {
            return Ok(None);
        }
        // The sample is taken first, from areas that contain those of the reading, so that one verification
        // is enough.
        let is_known = areas.iter().all(|area| clip.verified_areas.iter().any(|known| known.contains(*area)));
        let verified: Vec<VideoPacket> =
            std::iter::from_fn(|| packets.next()).take(if is_known { 0 } else { VERIFIED_FRAMES }).collect();
        let Some(decoder) = RegionDecoder::new(size, areas) else { return Ok(None) };
        if !is_known {
            if !decoders_agree(&config, &verified, areas, decoder) {
                return Ok(None);
            }
            clip.verified_areas.extend_from_slice(areas);
        }
        Ok(plan(packets, config, verified, Some(areas.to_vec())))
    }

    /// Reads the whole clip in chunks.
    fn chunks(self) -> ChunkReader {
        ChunkReader {
            packets: self.packets,
            verified: self.verified,
            access: self.access,
            next_packet: None,
            from: None,
        }
    }
}

/// Whether the region decoder and the general decoder give the same pixels in `areas` of each frame. Frames that the
/// region decoder rejects are not compared, because later only the general decoder decodes such frames.
fn decoders_agree(
    config: &DecoderConfig,
    packets: &[VideoPacket],
    areas: &[PixelRect],
    mut region_decoder: RegionDecoder,
) -> bool {
    let Ok(mut general) = FrameDecoder::open(config.clone()) else { return false };
    let (mut frame, mut buffer) = (Video::empty(), Vec::new());
    let mut agreements = packets.iter().filter_map(|packet| {
        let regions = packet.packet.data().and_then(|data| region_decoder.decode(data))?;
        let is_intact = general.send(&packet.packet)
            && general.receive(&mut frame) == DecoderOutput::Frame { errors: false }
            && !frame.is_interlaced();
        let (width, height) = (frame.width() as usize, frame.height() as usize);
        let whole = luma::of_frame(&frame, width, height, &mut buffer);
        let whole = whole.filter(|whole| (whole.width, whole.height) == (regions.width, regions.height));
        Some(is_intact && whole.is_some_and(|whole| areas.iter().all(|area| is_equal(regions, whole, *area))))
    });
    agreements.next() == Some(true) && agreements.all(|agree| agree)
}

fn is_equal(one: LumaPlane<'_>, other: LumaPlane<'_>, area: PixelRect) -> bool {
    let mut rows = one.rows().zip(other.rows()).take(area.rows().end).skip(area.rows().start);
    rows.all(|(one, other)| {
        let columns = area.columns().start..area.columns().end.min(one.len());
        one.get(columns.clone()) == other.get(columns)
    })
}

/// Reads a clip's packets in chunks.
struct ChunkReader {
    packets: Packets,
    verified: Vec<VideoPacket>,
    access: RandomAccess,
    /// The first packet of the next chunk, if it has already been read.
    next_packet: Option<VideoPacket>,
    from: Option<Receiver<FrameDecoder>>,
}

impl ChunkReader {
    fn next(&mut self) -> Option<Chunk> {
        let from = self.from.take();
        let mut packets = std::mem::take(&mut self.verified);
        packets.extend(self.next_packet.take());
        if packets.is_empty() {
            packets.push(self.packets.next()?);
        }
        let mut bytes = packets.iter().map(|packet| packet.packet.size()).sum::<usize>();
        while let Some(packet) = self.packets.next() {
            let is_full = packets.len() >= MAX_CHUNK_PACKETS || bytes >= MAX_CHUNK_BYTES;
            if self.splits_before(&packet, packets.len()) {
                self.next_packet = Some(packet);
                break;
            }
            if is_full {
                self.next_packet = Some(packet);
                let (to, next_from) = mpsc::channel();
                self.from = Some(next_from);
                return Some(Chunk { packets, from, to: Some(to) });
            }
            bytes += packet.packet.size();
            packets.push(packet);
        }
        Some(Chunk { packets, from, to: None })
    }

    /// Whether a new chunk starts at `packet`; `packets` is the number of packets in the current chunk.
    fn splits_before(&self, packet: &VideoPacket, packets: usize) -> bool {
        match self.access {
            RandomAccess::Every => packets >= INTRA_PACKETS_PER_CHUNK,
            idr @ RandomAccess::Idr(_) => idr.is_at(&packet.packet),
        }
    }
}

impl Clip {
    /// Processes all frames, as [`FrameSource::process_all`](super::FrameSource::process_all) describes. Returns
    /// `Break` if `take` stopped before the last frame.
    pub(super) fn process_in_parallel<'a, T: Send>(
        &mut self,
        areas: &[PixelRect],
        start: &'a TaskFactory<'a, T>,
        take: &mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
    ) -> Result<ControlFlow<()>, FootageError> {
        let Some(plan) = DecodePlan::of(self, areas)? else { return process_sequentially(self, start, take) };
        let (config, task) = (plan.config.clone(), plan.task(self, start));
        let mut chunks = plan.chunks();
        self.close();
        let mut ordered = OrderedOutputs::new(self, take, libav::is_intra_only(config.codec));
        worker_pool::run(&config, &task, || chunks.next(), |events| ordered.add(events))?;
        Ok(ordered.finish(chunks.packets.stopped.clone()))
    }

    /// Processes about `count` frames that need little decoding: those at random access points and, if there are too
    /// few of these, some of the frames after each. `None` if the clip has too few random access points, or if fewer
    /// than half of `count` frames could be decoded.
    pub(super) fn process_random_access_frames<T: Send>(
        &mut self,
        count: usize,
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Option<Vec<FrameOutput<T>>>, FootageError> {
        let Some(mut plan) = DecodePlan::of(self, areas)? else { return Ok(None) };
        let Some(points) = plan.seek_points(self, count) else { return Ok(None) };
        let start = || -> FrameTask<'_, T> { Box::new(work) };
        let (config, task) = (plan.config.clone(), plan.task(self, &start));
        let mut points = points.into_iter();
        let mut outputs = Vec::with_capacity(count);
        let chunks = || points.find_map(|point| plan.chunk_at(point));
        worker_pool::run(&config, &task, chunks, |events| {
            for event in events {
                let DecodeEvent::Frame(WorkResult {
                    timestamp: Some(timestamp),
                    errors: false,
                    output: Some(output),
                    ..
                }) = event
                else {
                    continue;
                };
                if let Some(FramePosition { index, time_s }) = self.position_of(timestamp) {
                    outputs.push(FrameOutput { index, time_s, damaged: false, output });
                }
            }
            Ok(ControlFlow::Continue(()))
        })?;
        Ok((2 * outputs.len() >= count).then_some(outputs))
    }
}

/// The timestamp to seek, and the number of packets to decode from there.
#[derive(Debug, Clone, Copy)]
struct SeekPoint {
    timestamp: i64,
    packets: usize,
}

impl DecodePlan {
    /// The task that the workers run for a clip.
    pub(super) fn task<'a, T>(&self, clip: &Clip, start: &'a TaskFactory<'a, T>) -> PoolTask<'a, T> {
        let size = (clip.info().width, clip.info().height);
        PoolTask { size, workers: self.workers, only_areas: self.only_areas.clone(), selected: None, start }
    }

    /// Positions spread over the clip from which about `count` frames can be decoded. `None` if there are too few, or
    /// if the container does not state the length of the clip.
    fn seek_points(&mut self, clip: &mut Clip, count: usize) -> Option<Vec<SeekPoint>> {
        let length_s = clip.info().stated_length_s?;
        if self.access == RandomAccess::Every {
            let time_s = |number: usize| length_s * (number as f64 + 0.5) / count as f64;
            let timestamps = (0..count).map(|number| clip.timestamp_at(time_s(number)));
            return timestamps
                .map(|timestamp| Some(SeekPoint { timestamp: timestamp?, packets: 1 }))
                .collect();
        }
        let keys = self.packets.key_timestamps();
        let points = keys.len().min(count);
        // Halfway to the next key frame, since the index may contain decoding timestamps.
        let after = |key: usize| Some(keys.get(key)?.midpoint(*keys.get(key + 1).or(keys.get(key))?));
        let packets = count.div_ceil(points.max(1));
        let timestamps = (0..points).filter_map(|number| after(number * keys.len() / points));
        let seek_points = timestamps.map(|timestamp| SeekPoint { timestamp, packets });
        (points >= MIN_KEY_FRAMES).then(|| seek_points.collect())
    }

    /// The packet of the random access point at or before a timestamp. `None` if there is none, or if it was
    /// already returned.
    pub(super) fn access_at(&mut self, timestamp: i64) -> Option<VideoPacket> {
        if !self.packets.seek(timestamp) {
            return None;
        }
        let first = self.packets.next().filter(|first| self.access.is_at(&first.packet))?;
        let timestamp = timestamp_of(&first.packet);
        if self.last_access_timestamp.is_some_and(|last| timestamp <= last) {
            return None;
        }
        self.last_access_timestamp = Some(timestamp);
        Some(first)
    }

    /// The packets of a seek point; `None` if decoding cannot start there.
    fn chunk_at(&mut self, point: SeekPoint) -> Option<Chunk> {
        let mut packets = vec![self.access_at(point.timestamp)?];
        while packets.len() < point.packets {
            let Some(next) = self.packets.next().filter(|next| !self.access.is_at(&next.packet)) else {
                break;
            };
            packets.push(next);
        }
        Some(Chunk { packets, ..Chunk::default() })
    }
}

/// Puts outputs in presentation order. Each is passed on once the timestamp of the next frame is known,
/// because the time of a frame may depend on it.
struct OrderedOutputs<'a, T> {
    clip: &'a mut Clip,
    take: &'a mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
    propagation: ErrorPropagation,
    pending: Option<(FrameStatus, T)>,
    flow: ControlFlow<()>,
}

impl<'a, T> OrderedOutputs<'a, T> {
    fn new(
        clip: &'a mut Clip,
        take: &'a mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
        intra_only: bool,
    ) -> Self {
        clip.reset_to_start();
        Self {
            clip,
            take,
            propagation: ErrorPropagation::new(intra_only),
            pending: None,
            flow: ControlFlow::Continue(()),
        }
    }

    fn add(&mut self, events: Vec<DecodeEvent<T>>) -> Result<ControlFlow<()>, FootageError> {
        for event in events {
            match event {
                DecodeEvent::Lost { packets, in_flight } => {
                    self.clip.timing.notes.packets_lost += packets;
                    self.propagation.packet_lost(in_flight);
                }
                DecodeEvent::Incomplete { in_flight } => self.propagation.packet_incomplete(in_flight),
                DecodeEvent::Frame(result) => self.add_frame(result)?,
            }
            if self.flow.is_break() {
                break;
            }
        }
        Ok(self.flow)
    }

    fn add_frame(&mut self, result: WorkResult<T>) -> Result<(), FootageError> {
        let damaged = self.propagation.is_damaged(result.errors, result.is_key);
        let info = self.clip.info();
        if result.size != (info.width, info.height) {
            self.clip.timing.skip_other_size(result.timestamp);
            return Ok(());
        }
        let output = result.output.ok_or_else(|| unknown_pixels(info, result.format))?;
        let status = FrameStatus { timestamp: result.timestamp, damaged, interlaced: result.interlaced };
        if let Some((status, output)) = self.pending.replace((status, output)) {
            self.pass_on(status, output, result.timestamp);
        }
        Ok(())
    }

    /// Passes on the output of a frame; `next` is the timestamp of the following frame, in ticks of the stream's time
    /// base, `None` if it has none or if the frame is the last.
    fn pass_on(&mut self, status: FrameStatus, output: T, next: Option<i64>) {
        let position = self.clip.timing.advance(status, next);
        let (index, time_s, damaged) = (position.index, position.time_s, status.damaged);
        self.flow = (self.take)(FrameOutput { index, time_s, damaged, output });
    }

    fn finish(mut self, stopped: Option<String>) -> ControlFlow<()> {
        if self.flow.is_continue() {
            if let Some((status, output)) = self.pending.take() {
                self.pass_on(status, output, None);
            }
            self.clip.finish_timing(stopped);
        }
        self.flow
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn only_the_areas_of_motion_jpeg_are_decoded() {
        let area = PixelRect::from_edges(20, 100, 140, 150);
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-clips/salt-flat.avi");
        let mut clip = Clip::open(path.as_ref()).unwrap();
        let plan = DecodePlan::of(&mut clip, &[area]).unwrap().unwrap();
        assert!(plan.only_areas.is_some() && clip.verified_areas == [area]);
    }
}
