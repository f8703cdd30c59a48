//! Workers that decode stretches of a video at once, each on a core of its own, and work on the pictures
//! where they lie; what comes of it is handed over in order.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::Mutex;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread::{self, available_parallelism};

use ffmpeg_next::format::Pixel;
use ffmpeg_next::frame::Video;

use super::at_times::WantedStamps;
use super::error::FootageError;
use super::packets::{Parcel, stamp_of};
use super::pictures::{PictureDecoder, Received, Recipe};
use super::region_decoder::RegionDecoder;
use super::{FrameTask, Start, luma};
use crate::geometry::PixelRect;

/// Stretches that wait or are worked on, for each worker.
const CHUNKS_PER_WORKER: usize = 3;
/// Pictures of one packet that cannot be decoded before the decoder is left alone.
const MAX_FAILURES: u32 = 1000;

/// A stretch of packets that is decoded in one go.
#[derive(Default)]
pub(super) struct Chunk {
    pub parcels: Vec<Parcel>,
    /// The decoder comes from the stretch before, which this one continues.
    pub from: Option<Receiver<PictureDecoder>>,
    /// The decoder goes to the stretch behind, which continues this one.
    pub to: Option<Sender<PictureDecoder>>,
}

/// What happened while decoding a stretch, in order.
pub(super) enum Event<T> {
    /// Packets are lost; the first of their pictures would have been one of the next `in_flight`.
    Lost { packets: u64, in_flight: u32 },
    /// A packet of which a part is missing; its picture is one of the next `in_flight`.
    Incomplete { in_flight: u32 },
    /// A picture.
    Picture(Shot<T>),
}

/// A picture that was worked on.
pub(super) struct Shot<T> {
    pub stamp: Option<i64>,
    pub errors: bool,
    pub is_key: bool,
    pub interlaced: bool,
    pub size: (u32, u32),
    pub format: Pixel,
    /// What the work made of it; `None` for a picture that was not picked, is of another size, or has pixels that are
    /// not understood.
    pub made: Option<T>,
}

/// What all workers are to do.
pub(super) struct Task<'a, T> {
    /// Size of the pictures that count.
    pub size: (u32, u32),
    /// Decode only these areas of Motion JPEG frames.
    pub only_areas: Option<Vec<PixelRect>>,
    /// FrameTask only on pictures with these stamps.
    pub picked: Option<WantedStamps>,
    /// Gives the work for a stretch.
    pub start: &'a Start<'a, T>,
}

type Outcome<T> = Result<Vec<Event<T>>, FootageError>;
/// The number of a stretch and what came of it; `None` where the work panicked.
type Done<T> = (usize, Option<Outcome<T>>);

/// Works on all chunks and hands the outcomes over in order, until `take` breaks off.
///
/// # Errors
/// If a decoder cannot be opened, and those of `take`.
pub(super) fn run<T: Send>(
    recipe: &Recipe,
    task: &Task<'_, T>,
    mut chunks: impl FnMut() -> Option<Chunk>,
    mut take: impl FnMut(Vec<Event<T>>) -> Result<ControlFlow<()>, FootageError>,
) -> Result<(), FootageError> {
    let workers = available_parallelism().map_or(1, usize::from);
    let (jobs, waiting) = mpsc::channel::<(usize, Chunk)>();
    let (done, outcomes) = mpsc::channel::<Done<T>>();
    let waiting = &Mutex::new(waiting);
    thread::scope(move |scope| {
        for _ in 0..workers {
            let (recipe, done) = (recipe.clone(), done.clone());
            scope.spawn(move || Worker::new(recipe, task).run(waiting, &done));
        }
        drop(done);
        // Moved in, so that the workers end however this block is left.
        let (jobs, outcomes) = (jobs, outcomes);
        let (mut given, mut taken) = (0, 0);
        let mut early: BTreeMap<usize, Outcome<T>> = BTreeMap::new();
        loop {
            while given - taken < CHUNKS_PER_WORKER * workers {
                let Some(chunk) = chunks() else { break };
                if jobs.send((given, chunk)).is_err() {
                    break;
                }
                given += 1;
            }
            if taken == given {
                return Ok(());
            }
            // Of a panic nothing is hidden: leaving the scope raises it here.
            let Ok((number, Some(outcome))) = outcomes.recv() else { return Ok(()) };
            early.insert(number, outcome);
            while let Some(outcome) = early.remove(&taken) {
                taken += 1;
                if take(outcome?)?.is_break() {
                    return Ok(());
                }
            }
        }
    })
}

/// One worker with what it uses again.
struct Worker<'r, 'a, T> {
    recipe: Recipe,
    task: &'r Task<'a, T>,
    region_decoder: Option<RegionDecoder>,
    spare: Option<PictureDecoder>,
    frame: Video,
    buffer: Vec<u8>,
    events: Vec<Event<T>>,
}

impl<'r, 'a, T> Worker<'r, 'a, T> {
    fn new(recipe: Recipe, task: &'r Task<'a, T>) -> Self {
        let areas = task.only_areas.as_deref();
        let region_decoder = areas.and_then(|areas| RegionDecoder::new(task.size, areas));
        let (frame, buffer) = (Video::empty(), Vec::new());
        Self { recipe, task, region_decoder, spare: None, frame, buffer, events: Vec::new() }
    }

    fn run(mut self, waiting: &Mutex<Receiver<(usize, Chunk)>>, done: &Sender<Done<T>>) {
        loop {
            let job = waiting.lock().map(|waiting| waiting.recv());
            let Ok(Ok((number, chunk))) = job else { return };
            let outcome = catch_unwind(AssertUnwindSafe(|| self.work_on(chunk)));
            let (outcome, panic) = match outcome {
                Ok(outcome) => (Some(outcome), None),
                Err(panic) => (None, Some(panic)),
            };
            let unheard = done.send((number, outcome)).is_err();
            if let Some(panic) = panic {
                resume_unwind(panic);
            }
            if unheard {
                return;
            }
        }
    }

    fn work_on(&mut self, chunk: Chunk) -> Outcome<T> {
        let work = &mut (self.task.start)();
        let mut decoder = chunk.from.and_then(|from| from.recv().ok()).or_else(|| self.spare.take());
        for parcel in &chunk.parcels {
            if self.takes_short_way(parcel, work) {
                continue;
            }
            let decoder = match &mut decoder {
                Some(decoder) => decoder,
                none => none.insert(PictureDecoder::open(self.recipe.clone())?),
            };
            self.give(decoder, parcel, work);
        }
        match (chunk.to, decoder) {
            // The stretch behind opens a decoder of its own if this one does not reach it.
            (Some(to), Some(decoder)) => drop(to.send(decoder)),
            (None, Some(mut decoder)) => {
                decoder.end();
                self.receive(&mut decoder, work);
                decoder.flush();
                self.spare = Some(decoder);
            }
            (_, None) => {}
        }
        Ok(std::mem::take(&mut self.events))
    }

    /// Decodes the wanted parts of a motion JPEG picture, if that is the task and the picture is plain.
    fn takes_short_way(&mut self, parcel: &Parcel, work: &mut FrameTask<'_, T>) -> bool {
        let Some((decoder, data)) = self.region_decoder.as_mut().zip(parcel.packet.data()) else {
            return false;
        };
        let Some(luma) = decoder.decode(data) else { return false };
        let made = work(luma);
        if parcel.missing > 0 {
            self.events.push(Event::Lost { packets: parcel.missing, in_flight: 1 });
        }
        self.events.push(Event::Picture(Shot {
            stamp: stamp_of(&parcel.packet),
            errors: false,
            is_key: true,
            interlaced: false,
            size: self.task.size,
            format: Pixel::GRAY8,
            made: Some(made),
        }));
        true
    }

    fn give(&mut self, decoder: &mut PictureDecoder, parcel: &Parcel, work: &mut FrameTask<'_, T>) {
        let in_flight = decoder.in_flight();
        if parcel.missing > 0 {
            self.events.push(Event::Lost { packets: parcel.missing, in_flight });
        }
        if parcel.packet.is_corrupt() {
            self.events.push(Event::Incomplete { in_flight });
        }
        if !decoder.give(&parcel.packet) {
            self.events.push(Event::Lost { packets: 1, in_flight });
        }
        self.receive(decoder, work);
    }

    /// Works on all pictures that the decoder has ready.
    fn receive(&mut self, decoder: &mut PictureDecoder, work: &mut FrameTask<'_, T>) {
        let mut failures = 0;
        while failures < MAX_FAILURES {
            match decoder.receive(&mut self.frame) {
                Received::Picture { errors } => {
                    let shot = self.worked_on(errors, work);
                    self.events.push(Event::Picture(shot));
                }
                Received::WantsPackets | Received::End => return,
                Received::Lost => {
                    failures += 1;
                    self.events.push(Event::Lost { packets: 1, in_flight: decoder.in_flight() });
                }
            }
        }
    }

    fn is_picked(&self, stamp: Option<i64>) -> bool {
        let holds = |picked: &WantedStamps| stamp.is_some_and(|stamp| picked.holds(stamp));
        self.task.picked.as_ref().is_none_or(holds)
    }

    fn worked_on(&mut self, errors: bool, work: &mut FrameTask<'_, T>) -> Shot<T> {
        let frame = &self.frame;
        let size = (frame.width(), frame.height());
        let (width, height) = (size.0 as usize, size.1 as usize);
        let picked = self.is_picked(frame.timestamp());
        let luma = (picked && size == self.task.size)
            .then(|| luma::of_frame(frame, width, height, &mut self.buffer));
        Shot {
            stamp: frame.timestamp(),
            errors,
            is_key: frame.is_key(),
            interlaced: frame.is_interlaced(),
            size,
            format: frame.format(),
            made: luma.flatten().map(work),
        }
    }
}
