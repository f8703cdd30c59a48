//! A clip worked through on all cores.
//!
//! Motion JPEG, whose pictures stand alone, takes a short way where its first pictures are plain: only the
//! wanted parts are decoded. Other video is parted where decoding can start anew. What cannot be parted is
//! read one frame after the other.

use std::ops::ControlFlow;
use std::sync::mpsc::{self, Receiver};

use ffmpeg_next::codec::Id;
use ffmpeg_next::frame::Video;

use super::clip::{Clip, unknown_pixels};
use super::crew::{self, Chunk, Event, Shot, Task};
use super::error::FootageError;
use super::packets::{Packets, Parcel, stamp_of};
use super::pictures::{PictureDecoder, Received, Recipe};
use super::placing::Seen;
use super::random_access::Entry;
use super::region_decoder::RegionDecoder;
use super::suspicion::Suspicion;
use super::{FrameOutput, FrameSource as _, FrameTask, LumaPlane, Start, libav, luma, one_by_one};
use crate::geometry::PixelRect;

/// Pictures that stand alone are handed to the workers so many at a time.
const PICTURES_TOGETHER: usize = 24;
/// Most packets and bytes of a stretch; what is longer is continued by the next, on the same decoder.
pub(super) const MOST_PACKETS: usize = 600;
const MOST_BYTES: usize = 24 << 20;
/// Motion JPEG pictures decoded both ways before the short one is trusted.
const TRIED: usize = 12;
/// With fewer key frames than this, frames spread over the clip are looked up one by one.
const FEWEST_KEYS: usize = 20;

/// How a clip is worked on.
pub(super) struct Plan {
    pub packets: Packets,
    tried: Vec<Parcel>,
    pub recipe: Recipe,
    pub entry: Entry,
    only_areas: Option<Vec<PixelRect>>,
    /// The stamp of the place looked at last.
    looked_at: Option<Option<i64>>,
}

impl Plan {
    /// The plan for a clip that is to be right in `areas`; `None` where it must be read frame by frame.
    pub(super) fn of(clip: &mut Clip, areas: &[PixelRect]) -> Result<Option<Self>, FootageError> {
        let Some(entry) = Entry::of(clip.recipe()) else { return Ok(None) };
        let (mut packets, recipe, _) = Packets::open(&clip.info().path)?;
        let mut recipe = Recipe { threads: 1, ..recipe };
        let size = (clip.info().width, clip.info().height);
        if recipe.codec != Id::MJPEG {
            let tried = Vec::new();
            return Ok(Some(Self { packets, tried, recipe, entry, only_areas: None, looked_at: None }));
        }
        // Of one clip the sample is taken first, from areas that hold those of the pass.
        let is_known = areas.iter().all(|area| clip.plain.iter().any(|plain| plain.contains(*area)));
        let tried: Vec<Parcel> =
            std::iter::from_fn(|| packets.next()).take(if is_known { 0 } else { TRIED }).collect();
        let Some(decoder) = RegionDecoder::new(size, areas) else { return Ok(None) };
        if !is_known {
            if !ways_agree(&recipe, &tried, areas, decoder) {
                return Ok(None);
            }
            clip.plain.extend_from_slice(areas);
        }
        recipe.sound = true;
        let only_areas = Some(areas.to_vec());
        Ok(Some(Self { packets, tried, recipe, entry, only_areas, looked_at: None }))
    }

    /// All of the clip, in stretches.
    fn chunks(self) -> Chunks {
        Chunks { packets: self.packets, tried: self.tried, entry: self.entry, held: None, from: None }
    }
}

/// Whether both ways give the same pictures.
fn ways_agree(recipe: &Recipe, parcels: &[Parcel], areas: &[PixelRect], mut short: RegionDecoder) -> bool {
    let Ok(mut full) = PictureDecoder::open(recipe.clone()) else { return false };
    let (mut frame, mut buffer) = (Video::empty(), Vec::new());
    parcels.iter().all(|parcel| {
        let one = parcel.packet.data().and_then(|data| short.decode(data));
        let is_sound = full.give(&parcel.packet)
            && full.receive(&mut frame) == Received::Picture { errors: false }
            && !frame.is_interlaced();
        let (width, height) = (frame.width() as usize, frame.height() as usize);
        let other = luma::of_frame(&frame, width, height, &mut buffer);
        let size = |luma: LumaPlane<'_>| (luma.width, luma.height);
        let pair = one.zip(other).filter(|(one, other)| is_sound && size(*one) == size(*other));
        pair.is_some_and(|(one, other)| areas.iter().all(|area| is_same(one, other, *area)))
    })
}

fn is_same(one: LumaPlane<'_>, other: LumaPlane<'_>, area: PixelRect) -> bool {
    let mut rows = one.rows().zip(other.rows()).take(area.rows().end).skip(area.rows().start);
    rows.all(|(one, other)| {
        let columns = area.columns().start..area.columns().end.min(one.len());
        one.get(columns.clone()) == other.get(columns)
    })
}

/// Parts a clip's packets.
struct Chunks {
    packets: Packets,
    tried: Vec<Parcel>,
    entry: Entry,
    held: Option<Parcel>,
    from: Option<Receiver<PictureDecoder>>,
}

impl Chunks {
    fn next(&mut self) -> Option<Chunk> {
        let from = self.from.take();
        let mut parcels = std::mem::take(&mut self.tried);
        parcels.extend(self.held.take());
        if parcels.is_empty() {
            parcels.push(self.packets.next()?);
        }
        let mut bytes = parcels.iter().map(|parcel| parcel.packet.size()).sum::<usize>();
        while let Some(parcel) = self.packets.next() {
            let full = parcels.len() >= MOST_PACKETS || bytes >= MOST_BYTES;
            if self.parts_before(&parcel, parcels.len()) {
                self.held = Some(parcel);
                break;
            }
            if full {
                self.held = Some(parcel);
                let (to, behind) = mpsc::channel();
                self.from = Some(behind);
                return Some(Chunk { parcels, from, to: Some(to) });
            }
            bytes += parcel.packet.size();
            parcels.push(parcel);
        }
        Some(Chunk { parcels, from, to: None })
    }

    fn parts_before(&self, parcel: &Parcel, packets: usize) -> bool {
        match self.entry {
            Entry::Every => packets >= PICTURES_TOGETHER,
            refresh @ Entry::Refresh(_) => refresh.is_at(&parcel.packet),
        }
    }
}

impl Clip {
    /// Works on all frames; see [`FrameSource::process_all`](super::FrameSource::process_all). Answers
    /// whether `take` broke off.
    pub(super) fn pass<'a, T: Send>(
        &mut self,
        areas: &[PixelRect],
        start: &'a Start<'a, T>,
        take: &mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
    ) -> Result<ControlFlow<()>, FootageError> {
        let Some(plan) = Plan::of(self, areas)? else { return one_by_one(self, start, take) };
        let (recipe, task) = (plan.recipe.clone(), plan.task(self, start));
        let mut chunks = plan.chunks();
        self.stand_behind_the_last();
        let mut row = Row::new(self, take, libav::is_intra_only(recipe.codec));
        crew::run(&recipe, &task, || chunks.next(), |events| row.add(events))?;
        Ok(row.finish(chunks.packets.stopped.clone()))
    }

    /// Works on some frames that are cheap to reach; `None` where these are too few.
    pub(super) fn glances<T: Send>(
        &mut self,
        count: usize,
        areas: &[PixelRect],
        work: &(dyn Fn(LumaPlane<'_>) -> T + Sync),
    ) -> Result<Option<Vec<FrameOutput<T>>>, FootageError> {
        let Some(mut plan) = Plan::of(self, areas)? else { return Ok(None) };
        let Some(moments) = plan.moments(self, count) else { return Ok(None) };
        let start = || -> FrameTask<'_, T> { Box::new(work) };
        let (recipe, task) = (plan.recipe.clone(), plan.task(self, &start));
        let mut moments = moments.into_iter();
        let mut some = Vec::with_capacity(count);
        let each = || moments.find_map(|moment| plan.chunk_at(moment));
        crew::run(&recipe, &task, each, |events| {
            for event in events {
                let Event::Picture(Shot { stamp: Some(stamp), errors: false, made: Some(made), .. }) = event
                else {
                    continue;
                };
                if let Some((index, time_s)) = self.place_of(stamp) {
                    some.push(FrameOutput { index, time_s, damaged: false, output: made });
                }
            }
            Ok(ControlFlow::Continue(()))
        })?;
        Ok((2 * some.len() >= count).then_some(some))
    }
}

/// A place to look at: the stamp to seek, and packets to decode from there.
#[derive(Debug, Clone, Copy)]
struct Moment {
    stamp: i64,
    packets: usize,
}

impl Plan {
    pub(super) fn task<'a, T>(&self, clip: &Clip, start: &'a Start<'a, T>) -> Task<'a, T> {
        let size = (clip.info().width, clip.info().height);
        Task { size, only_areas: self.only_areas.clone(), picked: None, start }
    }

    /// Places spread over the clip that give about `count` pictures.
    fn moments(&mut self, clip: &mut Clip, count: usize) -> Option<Vec<Moment>> {
        let length_s = clip.info().stated_length_s?;
        if self.entry == Entry::Every {
            let time_s = |place: usize| length_s * (place as f64 + 0.5) / count as f64;
            let stamps = (0..count).map(|place| clip.stamp_at(time_s(place)));
            return stamps.map(|stamp| Some(Moment { stamp: stamp?, packets: 1 })).collect();
        }
        let keys = self.packets.key_stamps();
        let places = keys.len().min(count);
        // Halfway to the next, since what a container's index calls a stamp may be that of decoding.
        let behind = |key: usize| Some(keys.get(key)?.midpoint(*keys.get(key + 1).or(keys.get(key))?));
        let packets = count.div_ceil(places.max(1));
        let stamps = (0..places).filter_map(|place| behind(place * keys.len() / places));
        let moments = stamps.map(|stamp| Moment { stamp, packets });
        (places >= FEWEST_KEYS).then(|| moments.collect())
    }

    /// The packet at or before a stamp where decoding can start; `None` where there is none, or it was given before.
    pub(super) fn entry_at(&mut self, stamp: i64) -> Option<Parcel> {
        if !self.packets.seek(stamp) {
            return None;
        }
        let first = self.packets.next().filter(|first| self.entry.is_at(&first.packet))?;
        let stamp = stamp_of(&first.packet);
        if self.looked_at.is_some_and(|last| stamp <= last) {
            return None;
        }
        self.looked_at = Some(stamp);
        Some(first)
    }

    /// The packets of a moment; `None` where decoding cannot start there.
    fn chunk_at(&mut self, moment: Moment) -> Option<Chunk> {
        let mut parcels = vec![self.entry_at(moment.stamp)?];
        while parcels.len() < moment.packets {
            let Some(next) = self.packets.next().filter(|next| !self.entry.is_at(&next.packet)) else {
                break;
            };
            parcels.push(next);
        }
        Some(Chunk { parcels, ..Chunk::default() })
    }
}

/// Brings what the workers made into a row: each picture is handed over when the stamp of the next is known.
struct Row<'a, T> {
    clip: &'a mut Clip,
    take: &'a mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
    suspicion: Suspicion,
    ahead: Option<(Seen, T)>,
    flow: ControlFlow<()>,
}

impl<'a, T> Row<'a, T> {
    fn new(
        clip: &'a mut Clip,
        take: &'a mut dyn FnMut(FrameOutput<T>) -> ControlFlow<()>,
        intra_only: bool,
    ) -> Self {
        clip.stand_before_the_first();
        Self {
            clip,
            take,
            suspicion: Suspicion::new(intra_only),
            ahead: None,
            flow: ControlFlow::Continue(()),
        }
    }

    fn add(&mut self, events: Vec<Event<T>>) -> Result<ControlFlow<()>, FootageError> {
        for event in events {
            match event {
                Event::Lost { packets, in_flight } => {
                    self.clip.placing.notes.packets_lost += packets;
                    self.suspicion.packet_lost(in_flight);
                }
                Event::Incomplete { in_flight } => self.suspicion.packet_incomplete(in_flight),
                Event::Picture(shot) => self.add_picture(shot)?,
            }
            if self.flow.is_break() {
                break;
            }
        }
        Ok(self.flow)
    }

    fn add_picture(&mut self, shot: Shot<T>) -> Result<(), FootageError> {
        let damaged = self.suspicion.judge(shot.errors, shot.is_key);
        let info = self.clip.info();
        if shot.size != (info.width, info.height) {
            self.clip.placing.pass_over(shot.stamp);
            return Ok(());
        }
        let made = shot.made.ok_or_else(|| unknown_pixels(info, shot.format))?;
        let seen = Seen { stamp: shot.stamp, damaged, interlaced: shot.interlaced };
        if let Some(due) = self.ahead.replace((seen, made)) {
            self.hand_over(due, shot.stamp);
        }
        Ok(())
    }

    fn hand_over(&mut self, (seen, made): (Seen, T), next: Option<i64>) {
        let at = self.clip.placing.place(seen, next);
        self.flow = (self.take)(FrameOutput {
            index: at.index,
            time_s: at.time_s,
            damaged: seen.damaged,
            output: made,
        });
    }

    fn finish(mut self, stopped: Option<String>) -> ControlFlow<()> {
        if self.flow.is_continue() {
            if let Some(last) = self.ahead.take() {
                self.hand_over(last, None);
            }
            let length_s = self.clip.info().stated_length_s;
            self.clip.placing.finish(stopped, length_s);
        }
        self.flow
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn plain_motion_jpeg_takes_the_short_way() {
        let area = PixelRect::from_edges(20, 100, 140, 150);
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-clips/salt-flat.avi");
        let mut clip = Clip::open(path.as_ref()).unwrap();
        let plan = Plan::of(&mut clip, &[area]).unwrap().unwrap();
        assert!(plan.only_areas.is_some() && clip.plain == [area]);
    }
}
