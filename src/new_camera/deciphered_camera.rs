//! Turns deciphered readouts into a camera: learns their glyphs, and leaves out digits and regions on which the two
//! readers disagree.

use std::path::Path;

use super::cut_readouts::cut_regions;
use super::questions::{DigitQuestion, questions, uses_face};
use super::search::{OverlaySearch, TimedReadings};
use super::{NamedReadout, NewCameraError};
use crate::decipher::{
    DecipheredReadout, DecipheredText, TextPair, TimedText, agreement, confused_digits, doubtful_digits,
    lacks_first_digits, loses_digits, name_channels, text_pairs,
};
use crate::footage::{Clip, FootageError};
use crate::glyphs::{Face, GlyphSet};
use crate::learn::{LabelFile, LabelledReading, LearnedGlyphs, fetch_examples, learn_glyphs};
use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::recognise::{RegionReading, Sample};
use crate::setup::{Camera, LoadedSetup, Region, Setup, setup_name};

/// Minimum probability of the deciphered texts that are compared with the readings of the learned glyphs, to find
/// doubtful digits and readings that lack their first digits. Set by judgement.
const MIN_EVIDENCE: f32 = 0.3;
/// Minimum probability at which the text of a readout in the frame shown to the pilot is the example of the readout,
/// 0 to 1 (set by judgement).
const MIN_EXAMPLE: f32 = 0.9;
/// Tests of a readout, which is left out if it fails one of them. Each test has two numbers: the minimum probability
/// of the deciphered texts that it compares with the readings of the learned glyphs, and the minimum share of these
/// texts that must equal the readings (set by judgement). Three quarters of the texts with a probability of 0.5 to
/// 0.9 are right, and 98 % of those above 0.9.
pub(super) const MIN_AGREEMENT: [(f32, f64); 2] = [(0.5, 0.7), (0.9, 0.95)];

/// A camera with its glyphs, without what is doubtful.
pub(super) struct LearnedCamera<'a> {
    pub(super) camera: DecipheredCamera<'a>,
    pub(super) set: GlyphSet,
    /// The pixels of the regions in the frames searched.
    pub(super) sample: Sample,
    /// The readouts on which the line reader and the recogniser disagree.
    pub(super) left_out: Vec<&'a DecipheredReadout>,
}

impl<'a> LearnedCamera<'a> {
    /// Learns the glyphs of a camera, and leaves out doubtful digits and readouts and those whose box cuts digits off.
    ///
    /// # Errors
    /// If the clip cannot be read, or nothing can be learned.
    pub(super) fn learn(
        mut camera: DecipheredCamera<'a>,
        search: &OverlaySearch,
        clip: &mut Clip,
    ) -> Result<Self, NewCameraError> {
        let mut sample = search.sample(&camera.setup.setup.regions, clip)?;
        let mut set = learn_from(clip, &camera.setup, &camera.labels, &sample)?.set;
        let read = search.read(&camera.setup.setup.regions, std::slice::from_ref(&set), &sample, clip)?;
        let left_out = camera.leave_out_doubtful(&mut set, &mut sample, &read);
        for region in cut_regions(&camera.setup.setup.regions, &set, search, clip)?.into_iter().rev() {
            camera.remove(region, &mut sample);
        }
        Ok(Self { camera, set, sample, left_out })
    }
}

/// The setup and labels of deciphered readouts.
pub(super) struct DecipheredCamera<'a> {
    pub(super) deciphered: Vec<&'a DecipheredReadout>,
    pub(super) setup: LoadedSetup,
    pub(super) labels: LabelFile,
    pub(super) readouts: Vec<NamedReadout>,
}

impl<'a> DecipheredCamera<'a> {
    pub(super) fn new(
        deciphered: Vec<&'a DecipheredReadout>,
        still_time_s: f64,
        frame: (u32, u32),
        setup_path: &Path,
        clip: &str,
    ) -> Self {
        let guesses = name_channels(&deciphered);
        let (mut regions, mut readouts, mut labels) = (Vec::new(), Vec::new(), LabelFile::default());
        for (readout, guess) in deciphered.iter().zip(guesses) {
            regions.push(region_of(readout, guess.channel.clone()));
            for DecipheredText { time_s, text, .. } in &readout.labels {
                let (channel, time_s, text) = (guess.channel.clone(), *time_s, text.clone());
                labels.add(clip, &LabelledReading { channel, time_s, text });
            }
            let Some(example) = example(readout, still_time_s) else { continue };
            readouts.push(NamedReadout { guess, rect: readout.rect, example });
        }
        let camera = Camera { name: setup_name(setup_path), frame, glyphs: None };
        let setup = Setup { camera, aircraft: None, regions };
        Self { deciphered, setup: LoadedSetup { setup, path: setup_path.to_owned() }, labels, readouts }
    }

    /// Removes everything on which the line reader and the recogniser (`read`) disagree: the glyphs and labels of doubtful
    /// digits, and whole regions. Returns the readouts of these regions.
    fn leave_out_doubtful(
        &mut self,
        set: &mut GlyphSet,
        sample: &mut Sample,
        read: &[TimedReadings],
    ) -> Vec<&'a DecipheredReadout> {
        let mut doubtful = vec![Vec::new(); self.readouts.len()];
        for face in &mut set.faces {
            let is_shown = |region: &usize| {
                self.readouts.get(*region).is_some_and(|named| uses_face(face, &named.guess.channel))
            };
            let regions: Vec<usize> = (0..self.readouts.len()).filter(is_shown).collect();
            let pairs: Vec<TextPair> = regions.iter().flat_map(|region| self.pairs(*region, read)).collect();
            let texts: Vec<Vec<TimedText>> =
                regions.iter().map(|region| timed_texts(*region, read)).collect();
            let digits = [doubtful_digits(&pairs), confused_digits(&texts)].concat();
            face.glyphs.retain(|glyph| !digits.contains(&glyph.character));
            for region in regions {
                doubtful[region].clone_from(&digits);
                if let Some(named) = self.readouts.get(region) {
                    drop_labels(&mut self.labels, &named.guess.channel, &digits);
                }
            }
        }
        let agrees = |region: usize| {
            let mut pairs = self.pairs(region, read);
            let lacks_digits = lacks_first_digits(&pairs) || loses_digits(&timed_texts(region, read));
            // Readings with doubtful digits are left blank.
            pairs.retain(|pair| !pair.read.contains(doubtful[region].as_slice()));
            let agrees_from = |(probability, min_share): &(f32, f64)| {
                agreement(&pairs, *probability).is_some_and(|share| share >= *min_share)
            };
            !lacks_digits && MIN_AGREEMENT.iter().all(agrees_from)
        };
        set.faces.retain(has_digits);
        let left_out: Vec<usize> = (0..self.readouts.len()).filter(|region| !agrees(*region)).collect();
        left_out.into_iter().rev().map(|region| self.remove(region, sample)).collect()
    }

    /// Questions to the pilot about the digits that the glyph set lacks, chosen from the deciphered texts.
    pub(super) fn questions(
        &self,
        set: &GlyphSet,
        search: &OverlaySearch,
        clip: &mut Clip,
    ) -> Result<Vec<DigitQuestion>, FootageError> {
        let regions = self.setup.setup.regions.iter();
        let readouts: Vec<_> = regions.zip(self.deciphered.iter().copied()).collect();
        questions(set, &readouts, &mut |time_s| search.whole_frame(clip, time_s))
    }

    /// Removes a region with its labels and its patches in the sample, and returns its readout.
    fn remove(&mut self, region: usize, sample: &mut Sample) -> &'a DecipheredReadout {
        let NamedReadout { guess, .. } = self.readouts.remove(region);
        self.setup.setup.regions.remove(region);
        sample.regions.remove(region);
        self.labels.labels.retain(|label| label.channel != guess.channel);
        self.deciphered.remove(region)
    }

    /// The deciphered texts of a region with a probability of at least [`MIN_EVIDENCE`], each paired with the text
    /// that the learned glyphs read in the same frame. `region` is an index; `read` has the readings of every frame.
    fn pairs(&self, region: usize, read: &[TimedReadings]) -> Vec<TextPair> {
        let texts = self.deciphered.get(region).map_or(&[][..], |readout| &readout.texts);
        let likely = texts.iter().filter(|text| text.probability >= MIN_EVIDENCE);
        text_pairs(likely, &timed_texts(region, read))
    }
}

/// The text of a readout at `still_time_s`, in seconds, if that text is certain, otherwise the readout's most certain
/// label; `None` if there is no label.
fn example(readout: &DecipheredReadout, still_time_s: f64) -> Option<DecipheredText> {
    let in_still = readout
        .texts
        .iter()
        .find(|text| text.time_s == still_time_s && text.probability >= MIN_EXAMPLE && !text.text.is_empty());
    let best = || readout.labels.iter().max_by(|one, other| one.probability.total_cmp(&other.probability));
    in_still.or_else(best).cloned()
}

/// Whether a face has the glyph of a digit. A face loses all of them if all its digits are doubtful.
fn has_digits(face: &Face) -> bool {
    face.glyphs.iter().any(|glyph| glyph.character.is_ascii_digit())
}

/// Removes the labels of a channel that contain one of these digits. If wrong labels were kept, they would outweigh
/// the labels of these digits that the pilot gives later.
fn drop_labels(labels: &mut LabelFile, channel: &Channel, digits: &[char]) {
    labels.labels.retain(|label| label.channel != *channel || !label.text.contains(digits));
}

/// The texts that the learned glyphs read in a region.
fn timed_texts(region: usize, read: &[TimedReadings]) -> Vec<TimedText> {
    let text = |(time_s, readings): &TimedReadings| match readings.get(region)? {
        RegionReading::Text { text, .. } => Some((*time_s, text.clone())),
        _ => None,
    };
    read.iter().filter_map(text).collect()
}

/// Learns the glyphs from labels.
pub(super) fn learn_from(
    clip: &mut Clip,
    setup: &LoadedSetup,
    labels: &LabelFile,
    sample: &Sample,
) -> Result<LearnedGlyphs, NewCameraError> {
    let fetched = fetch_examples(clip, setup, labels, &|_| ())?;
    // Learning needs the memory of the decoder.
    clip.close();
    let Setup { camera, regions, .. } = &setup.setup;
    Ok(learn_glyphs(&camera.name, regions, &fetched.examples, &labels.insisted(), sample)?)
}

/// Whether a unit measures the quantity of a channel; true for a channel without a required quantity.
pub(super) fn fits(unit: Unit, channel: &Channel) -> bool {
    channel.quantity().is_none_or(|quantity| quantity == unit.quantity())
}

pub(super) fn region_of(readout: &DecipheredReadout, channel: Channel) -> Region {
    let clock = (readout.separator == Some(':')).then_some(Unit::MinutesAndSeconds);
    let unit = clock.or(readout.words.unit.filter(|unit| fits(*unit, &channel)));
    let decimals = if clock.is_some() { 0 } else { readout.decimals };
    Region { decimals, digits: Some(readout.digits), ..Region::new(channel, readout.rect, unit) }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_face_without_digits_is_not_saved() {
        let mut set = crate::glyphs::builtin_sets().unwrap().swap_remove(0);
        assert!(set.faces.iter().all(has_digits));
        set.faces[0].glyphs.retain(|glyph| glyph.character == '.');
        assert!(!has_digits(&set.faces[0]));
    }

    #[test]
    fn labels_of_a_channel_with_doubtful_digits_are_dropped() {
        let mut labels = LabelFile::default();
        let said = [(Channel::Speed, 1.0, "79"), (Channel::Speed, 2.0, "81"), (Channel::Speed, 3.0, "80")];
        for (channel, time_s, text) in said.into_iter().chain([(Channel::Voltage, 1.0, "15.9")]) {
            labels.add("flight.avi", &LabelledReading { channel, time_s, text: text.to_owned() });
        }
        drop_labels(&mut labels, &Channel::Speed, &['9', '0']);
        let texts: Vec<&str> = labels.labels.iter().map(|label| label.text.as_str()).collect();
        assert_eq!(texts, ["81", "15.9"]);
        drop_labels(&mut labels, &Channel::Speed, &[]);
        assert_eq!(labels.labels.len(), 2);
    }
}
