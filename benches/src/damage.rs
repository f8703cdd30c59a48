//! Damages AVI files as failing cards, power failures and bad copies do, from a seed.

use std::ops::Range;
use std::path::Path;

use pairspeed::flight::FlightRecord;
use pairspeed::footage::FootageError;
use pairspeed::readings::{DEFAULT_MIN_CONFIDENCE, Silent};
use pairspeed::setup::LoadedSetup;
use pairspeed::{ReadError, read_record};

use crate::labelled_clip::Random;
use crate::scoring::is_right;
use crate::truth::Truth;

/// Size of a sector of a memory card, in bytes (SD Physical Layer Simplified Specification, 4.3: blocks of 512 bytes).
const SECTOR_BYTES: usize = 512;
/// Number of bytes at the start of a picture that contain its header.
const HEADER_BYTES: usize = 620;

/// Which pictures of a clip are damaged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DamagePlan {
    /// Seed of the pseudo-random numbers.
    pub seed: u64,
    /// Index of the first picture that may be damaged.
    pub first: usize,
    /// Share of the pictures from there on that are damaged, in per cent.
    pub percent: usize,
}

/// The positions in an AVI file of the coded pictures of its first stream, in bytes.
#[must_use]
pub fn picture_ranges(avi: &[u8]) -> Vec<Range<usize>> {
    let Some(mut position) = avi.windows(4).position(|name| name == b"movi").map(|start| start + 4) else {
        return Vec::new();
    };
    let mut ranges = Vec::new();
    while let Some((name, length)) =
        avi.get(position..position + 8).and_then(|head| head.split_first_chunk::<4>())
    {
        let length = length.try_into().map_or(0, u32::from_le_bytes) as usize;
        let range = position + 8..position + 8 + length;
        if name == b"00dc" && range.end <= avi.len() {
            ranges.push(range.clone());
        } else if name == b"idx1" {
            break;
        }
        position = range.end + length % 2;
    }
    ranges
}

/// Damages pictures of an AVI file; its index and the sizes of its pictures are unchanged. Returns the indices of the
/// damaged pictures.
pub fn damage(avi: &mut [u8], plan: DamagePlan) -> Vec<usize> {
    let mut random = Random(plan.seed);
    let all = picture_ranges(avi);
    let mut damaged = Vec::new();
    for (number, range) in all.into_iter().enumerate().skip(plan.first) {
        if number == plan.first || random.below(100) < plan.percent {
            damage_picture(avi, range, &mut random);
            damaged.push(number);
        }
    }
    damaged
}

/// Damages one picture in one of eight ways.
fn damage_picture(avi: &mut [u8], picture: Range<usize>, random: &mut Random) {
    let start = picture.start + random.below(picture.len());
    let up_to = |length: usize| start..(start + length).min(picture.end);
    match random.below(8) {
        0 => avi[start] ^= 1 << random.below(8),
        1 => {
            for _ in 0..2 + random.below(6) {
                avi[picture.start + random.below(picture.len())] ^= 1 << random.below(8);
            }
        }
        2 => {
            let length = 1 + random.below(64);
            avi[up_to(length)].iter_mut().for_each(|byte| *byte = random.below(256) as u8);
        }
        3 => {
            let length = 16 + random.below(SECTOR_BYTES - 16);
            avi[up_to(length)].fill(0);
        }
        4 => {
            // A whole sector with zeros, ones, or the content of another one.
            let first = start / SECTOR_BYTES * SECTOR_BYTES;
            let sector = first.max(picture.start)..(first + SECTOR_BYTES).min(picture.end);
            let other = random.below(avi.len() - SECTOR_BYTES);
            match random.below(3) {
                0 => avi[sector].fill(0),
                1 => avi[sector].fill(0xff),
                _ => avi.copy_within(other..other + sector.len(), sector.start),
            }
        }
        5 => avi[start..picture.end].fill(0),
        6 => {
            // Bytes are lost, and the following bytes move up.
            let lost = (1 + random.below(200)).min(picture.end - start);
            avi.copy_within(start + lost..picture.end, start);
            avi[picture.end - lost..picture.end].fill(0);
        }
        _ => {
            let position = picture.start + random.below(picture.len().min(HEADER_BYTES));
            avi[position] = random.below(256) as u8;
        }
    }
}

/// A reading of one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct WrongReading {
    /// Name of the channel.
    pub channel: String,
    /// Index of the frame.
    pub frame: usize,
    /// The value that was read, in the channel's unit.
    pub value: f64,
    /// Its confidence, 0 to 1.
    pub confidence: f32,
    /// The text that the frame shows.
    pub shown: String,
}

/// The trusted readings of one clip, compared with the texts that it shows.
#[derive(Debug, Clone, Default)]
pub struct DamageComparison {
    /// The wrong readings.
    pub wrong: Vec<WrongReading>,
    /// Number of right readings.
    pub right: usize,
    /// The notes for the pilot, one sentence each.
    pub notes: Vec<String>,
}

/// Reads a clip of constant frame rate `rate_hz` and compares it with its true texts. `damaged` are the indices of the
/// damaged frames, in order. Times count from the first frame that can be decoded, so damaged frames at the start may be
/// missing: the number of missing ones is that with the fewest wrong readings.
///
/// # Errors
/// [`ReadError`] if the clip cannot be read; a clip whose setup does not fit it any more gives no readings.
pub fn compare_with_truth(
    clip: &Path,
    setup: &LoadedSetup,
    (truth, rate_hz): (&Truth, f64),
    damaged: &[usize],
) -> Result<DamageComparison, ReadError> {
    let record = match read_record(&[clip.to_owned()], setup, DEFAULT_MIN_CONFIDENCE, &mut Silent) {
        Ok(record) => record,
        Err(ReadError::Footage(FootageError::Damaged { .. }) | ReadError::Prepare(_)) => {
            return Ok(DamageComparison::default());
        }
        Err(error) => return Err(error),
    };
    let at_start = damaged.iter().enumerate().take_while(|(number, frame)| number == *frame).count();
    let shifted = (0..=at_start).map(|missing| compared(&record, (truth, rate_hz), missing));
    Ok(shifted.min_by_key(|compared| compared.wrong.len()).unwrap_or_default())
}

/// The readings of a clip whose first `missing` frames are missing.
fn compared(record: &FlightRecord, (truth, rate_hz): (&Truth, f64), missing: usize) -> DamageComparison {
    let readings = &record.series.readings;
    let notes = record.notes.iter().map(|note| note.sentence.clone()).collect();
    let mut comparison = DamageComparison { notes, ..DamageComparison::default() };
    for channel in &readings.channels {
        let Some(texts) = truth.get(channel.channel.name()) else { continue };
        for (index, time_s) in readings.time_s.iter().enumerate() {
            let frame = missing + (time_s * rate_hz).round() as usize;
            let Some((value, confidence)) = channel.trusted(index) else { continue };
            let shown = texts.get(frame).cloned().unwrap_or_default();
            if is_right(&shown, value) {
                comparison.right += 1;
            } else {
                let channel = channel.channel.name().to_owned();
                comparison.wrong.push(WrongReading { channel, frame, value, confidence, shown });
            }
        }
    }
    comparison
}
