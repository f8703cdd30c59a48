//! A pool of workers: one for each core, or fewer if the memory is not enough for their pictures. Each worker decodes chunks of a
//! video and runs the caller's task on every frame where it is decoded. The results are returned in the order of the chunks.

use std::collections::{BTreeMap, VecDeque};
use std::ops::ControlFlow;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::Mutex;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;

use ffmpeg_next::format::Pixel;
use ffmpeg_next::frame::Video;

use super::decoder::{DecoderConfig, DecoderOutput, FrameDecoder};
use super::error::FootageError;
use super::packets::{VideoPacket, timestamp_of};
use super::region_decoder::RegionDecoder;
use super::timestamp_ranges::TimestampRanges;
use super::{FrameTask, TaskFactory, luma};
use crate::geometry::PixelRect;

/// Maximum number of chunks per worker that are queued or being decoded. Set by judgement: enough to keep every core
/// busy, few enough to limit the memory.
const CHUNKS_PER_WORKER: usize = 3;
/// Size of the chunks that are queued or being decoded, in bytes, at which no further chunk is queued, to limit the memory. Set by
/// judgement: two of the largest chunks.
const MAX_QUEUED_BYTES: usize = 48 << 20;
/// Number of consecutive failures after which a worker stops asking its decoder for frames. Set by judgement: no
/// intact video has nearly as many.
const MAX_FAILURES: u32 = 1000;

/// Consecutive packets that one worker decodes.
#[derive(Default)]
pub(super) struct Chunk {
    pub packets: Vec<VideoPacket>,
    /// Receives the decoder of the previous chunk, if this chunk continues the previous one.
    pub from: Option<Receiver<FrameDecoder>>,
    /// Sends the decoder to the next chunk, if the next chunk continues this one.
    pub to: Option<Sender<FrameDecoder>>,
}

impl Chunk {
    fn bytes(&self) -> usize {
        self.packets.iter().map(|packet| packet.packet.size()).sum()
    }
}

/// An event during the decoding of a chunk.
pub(super) enum DecodeEvent<T> {
    /// Packets were lost. The first of their frames would have been one of the next `in_flight` frames.
    Lost { packets: u64, in_flight: u32 },
    /// Part of a packet is missing. The packet's frame is one of the next `in_flight` frames.
    Incomplete { in_flight: u32 },
    /// A frame was decoded.
    Frame(WorkResult<T>),
}

/// A decoded frame with the result of the caller's task.
pub(super) struct WorkResult<T> {
    pub timestamp: Option<i64>,
    /// Whether the decoder reported errors in this frame.
    pub errors: bool,
    pub is_key: bool,
    pub interlaced: bool,
    pub size: (u32, u32),
    pub format: Pixel,
    /// The output of the task. `None` if the frame was not selected, has another size, or has a pixel format whose
    /// luma cannot be read.
    pub output: Option<T>,
}

/// The task and settings of all workers of a pool.
pub(super) struct PoolTask<'a, T> {
    /// Width and height in pixels of the frames to process; others are skipped.
    pub size: (u32, u32),
    /// Number of workers, at least 1.
    pub workers: usize,
    /// Areas of Motion JPEG frames to which decoding is restricted; `None` for whole frames.
    pub only_areas: Option<Vec<PixelRect>>,
    /// Timestamps of the frames to process; `None` for all frames.
    pub selected: Option<TimestampRanges>,
    /// Creates the task for a chunk.
    pub start: &'a TaskFactory<'a, T>,
}

type ChunkResult<T> = Result<Vec<DecodeEvent<T>>, FootageError>;

/// A chunk to be decoded, and its number.
struct ChunkJob {
    number: usize,
    chunk: Chunk,
}

/// The result of one chunk, and the chunk's number; `result` is `None` if the task panicked.
struct FinishedJob<T> {
    number: usize,
    result: Option<ChunkResult<T>>,
}

/// Processes all chunks and passes their results to `take` in order, until `take` stops.
///
/// # Errors
///
/// [`FootageError`] if a decoder cannot be opened, and the errors of `take`.
pub(super) fn run<T: Send>(
    config: &DecoderConfig,
    task: &PoolTask<'_, T>,
    mut chunks: impl FnMut() -> Option<Chunk>,
    mut take: impl FnMut(Vec<DecodeEvent<T>>) -> Result<ControlFlow<()>, FootageError>,
) -> Result<(), FootageError> {
    let (jobs, waiting) = mpsc::channel::<ChunkJob>();
    let (done, finished) = mpsc::channel::<FinishedJob<T>>();
    let waiting = &Mutex::new(waiting);
    thread::scope(move |scope| {
        for _ in 0..task.workers {
            let (config, done) = (config.clone(), done.clone());
            scope.spawn(move || Worker::new(config, task).run(waiting, &done));
        }
        drop(done);
        // Both ends move into the scope, so that the workers end no matter how the scope is left.
        let (jobs, finished) = (jobs, finished);
        let (mut sent, mut taken) = (0, 0);
        let mut early: BTreeMap<usize, ChunkResult<T>> = BTreeMap::new();
        let mut queued_bytes: VecDeque<usize> = VecDeque::new();
        loop {
            while queued_bytes.len() < CHUNKS_PER_WORKER * task.workers
                && queued_bytes.iter().sum::<usize>() < MAX_QUEUED_BYTES
            {
                let Some(chunk) = chunks() else { break };
                queued_bytes.push_back(chunk.bytes());
                if jobs.send(ChunkJob { number: sent, chunk }).is_err() {
                    break;
                }
                sent += 1;
            }
            if taken == sent {
                return Ok(());
            }
            // If a task panicked, the panic continues when the scope ends.
            let Ok(FinishedJob { number, result: Some(result) }) = finished.recv() else { return Ok(()) };
            early.insert(number, result);
            while let Some(result) = early.remove(&taken) {
                taken += 1;
                queued_bytes.pop_front();
                if take(result?)?.is_break() {
                    return Ok(());
                }
            }
        }
    })
}

/// One worker, with the buffers and decoders that it uses again for each chunk.
struct Worker<'r, 'a, T> {
    config: DecoderConfig,
    task: &'r PoolTask<'a, T>,
    region_decoder: Option<RegionDecoder>,
    idle_decoder: Option<FrameDecoder>,
    frame: Video,
    buffer: Vec<u8>,
    events: Vec<DecodeEvent<T>>,
}

impl<'r, 'a, T> Worker<'r, 'a, T> {
    fn new(config: DecoderConfig, task: &'r PoolTask<'a, T>) -> Self {
        let areas = task.only_areas.as_deref();
        let region_decoder = areas.and_then(|areas| RegionDecoder::new(task.size, areas));
        let (frame, buffer) = (Video::empty(), Vec::new());
        Self { config, task, region_decoder, idle_decoder: None, frame, buffer, events: Vec::new() }
    }

    fn run(mut self, waiting: &Mutex<Receiver<ChunkJob>>, done: &Sender<FinishedJob<T>>) {
        loop {
            let job = waiting.lock().map(|waiting| waiting.recv());
            let Ok(Ok(ChunkJob { number, chunk })) = job else { return };
            let (result, panic) = match catch_unwind(AssertUnwindSafe(|| self.process(chunk))) {
                Ok(result) => (Some(result), None),
                Err(panic) => (None, Some(panic)),
            };
            let receiver_is_gone = done.send(FinishedJob { number, result }).is_err();
            if let Some(panic) = panic {
                resume_unwind(panic);
            }
            if receiver_is_gone {
                return;
            }
        }
    }

    fn process(&mut self, chunk: Chunk) -> ChunkResult<T> {
        let task = &mut (self.task.start)();
        let mut decoder = chunk.from.and_then(|from| from.recv().ok()).or_else(|| self.idle_decoder.take());
        for packet in &chunk.packets {
            if self.decode_regions(packet, task) {
                continue;
            }
            let decoder = match &mut decoder {
                Some(decoder) => decoder,
                none => none.insert(FrameDecoder::open(self.config.clone())?),
            };
            self.decode(decoder, packet, task);
        }
        self.config.check_memory()?;
        match (chunk.to, decoder) {
            // If the decoder cannot be sent, the next chunk opens one of its own.
            (Some(to), Some(decoder)) => drop(to.send(decoder)),
            (None, Some(mut decoder)) => {
                decoder.send_end();
                self.receive(&mut decoder, task);
                decoder.flush();
                self.idle_decoder = Some(decoder);
            }
            (_, None) => {}
        }
        Ok(std::mem::take(&mut self.events))
    }

    /// Decodes only the regions of a Motion JPEG frame. Returns `false` if the packet needs the general
    /// decoder.
    fn decode_regions(&mut self, packet: &VideoPacket, task: &mut FrameTask<'_, T>) -> bool {
        let Some((decoder, data)) = self.region_decoder.as_mut().zip(packet.packet.data()) else {
            return false;
        };
        let Some(luma) = decoder.decode(data) else { return false };
        let output = task(luma);
        if packet.missing > 0 {
            self.events.push(DecodeEvent::Lost { packets: packet.missing, in_flight: 1 });
        }
        self.events.push(DecodeEvent::Frame(WorkResult {
            timestamp: timestamp_of(&packet.packet),
            errors: false,
            is_key: true,
            interlaced: false,
            size: self.task.size,
            format: Pixel::GRAY8,
            output: Some(output),
        }));
        true
    }

    fn decode(&mut self, decoder: &mut FrameDecoder, packet: &VideoPacket, task: &mut FrameTask<'_, T>) {
        let in_flight = decoder.in_flight();
        if packet.missing > 0 {
            self.events.push(DecodeEvent::Lost { packets: packet.missing, in_flight });
        }
        if packet.packet.is_corrupt() {
            self.events.push(DecodeEvent::Incomplete { in_flight });
        }
        if !decoder.send(&packet.packet) {
            self.events.push(DecodeEvent::Lost { packets: 1, in_flight });
        }
        self.receive(decoder, task);
    }

    /// Runs the task on all frames that the decoder has ready.
    fn receive(&mut self, decoder: &mut FrameDecoder, task: &mut FrameTask<'_, T>) {
        let mut failures = 0;
        while failures < MAX_FAILURES {
            match decoder.receive(&mut self.frame) {
                DecoderOutput::Frame { errors } => {
                    let result = self.process_frame(errors, task);
                    self.events.push(DecodeEvent::Frame(result));
                }
                DecoderOutput::NeedsPackets | DecoderOutput::End => return,
                DecoderOutput::Lost => {
                    failures += 1;
                    self.events.push(DecodeEvent::Lost { packets: 1, in_flight: decoder.in_flight() });
                }
            }
        }
    }

    fn is_selected(&self, timestamp: Option<i64>) -> bool {
        let contains =
            |selected: &TimestampRanges| timestamp.is_some_and(|timestamp| selected.contains(timestamp));
        self.task.selected.as_ref().is_none_or(contains)
    }

    fn process_frame(&mut self, errors: bool, task: &mut FrameTask<'_, T>) -> WorkResult<T> {
        let frame = &self.frame;
        let size = (frame.width(), frame.height());
        let (width, height) = (size.0 as usize, size.1 as usize);
        let selected = self.is_selected(frame.timestamp());
        let luma = (selected && size == self.task.size)
            .then(|| luma::of_frame(frame, width, height, &mut self.buffer));
        WorkResult {
            timestamp: frame.timestamp(),
            errors,
            is_key: frame.is_key(),
            interlaced: frame.is_interlaced(),
            size,
            format: frame.format(),
            output: luma.flatten().map(task),
        }
    }
}
