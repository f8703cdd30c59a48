//! Reads readouts whose texts are too uncertain for the line reader with the glyphs that were learned from the other readouts.

use super::deciphered_camera::{MIN_AGREEMENT, region_of};
use super::search::{MIN_CONFIDENCE, OverlaySearch};
use crate::decipher::{
    DecipheredReadout, DecipheredText, TimedText, agreement, contradicted_share, lacks_first_digits,
    text_pairs,
};
use crate::footage::{Clip, FootageError};
use crate::glyphs::{Face, GlyphSet};
use crate::model::channel::Channel;
use crate::recognise::RegionReading;
use crate::setup::Region;

/// Minimum share of the frames that must have such a reading (set by judgement: digits that the glyph set lacks leave frames
/// blank).
const MIN_SHARE: f64 = 0.3;
/// Maximum share of the characters that the line reader is certain of and that differ from the reading (set by judgement).
const MAX_CONTRADICTED_SHARE: f64 = 0.1;
/// Maximum number of labels of a readout (set by judgement).
const MAX_LABELS: usize = 8;

/// The readouts of `uncertain` that the glyph set reads, with its readings as texts and labels. Readouts that overlap each other
/// or those in `known` are left out, and those with a decimal point if no other readout shows one.
pub(super) fn read_with_known_glyphs(
    uncertain: Vec<&DecipheredReadout>,
    known: &[&DecipheredReadout],
    set: &GlyphSet,
    search: &OverlaySearch,
    clip: &mut Clip,
) -> Result<Vec<DecipheredReadout>, FootageError> {
    let overlaps_known = |one: &&DecipheredReadout| known.iter().any(|other| one.rect.overlaps(other.rect));
    let uncertain: Vec<&DecipheredReadout> =
        uncertain.into_iter().filter(|one| !overlaps_known(one)).collect();
    if uncertain.is_empty() {
        return Ok(Vec::new());
    }
    let channel = |number: usize| Channel::Other(format!("uncertain-{number}"));
    let regions: Vec<Region> =
        uncertain.iter().enumerate().map(|(number, readout)| region_of(readout, channel(number))).collect();
    let sample = search.sample(&regions, clip)?;
    let read = search.read(&regions, &sets_of_one_face(set), &sample, clip)?;
    let mut accepted: Vec<DecipheredReadout> = Vec::new();
    for (index, readout) in uncertain.into_iter().enumerate() {
        let texts = read.iter().filter_map(|(time_s, readings)| text_of(*time_s, readings.get(index)?));
        let texts: Vec<DecipheredText> = texts.collect();
        let is_enough = texts.len() as f64 >= MIN_SHARE * read.len() as f64;
        let overlaps_accepted = accepted.iter().any(|other| readout.rect.overlaps(other.rect));
        if is_enough && !overlaps_accepted && !is_refuted(readout, &texts) {
            accepted.push(DecipheredReadout { labels: labels_of(&texts), texts, ..readout.clone() });
        }
    }
    Ok(accepted)
}

/// A glyph set for each face, in which the face is that of every channel.
fn sets_of_one_face(set: &GlyphSet) -> Vec<GlyphSet> {
    let with_face = |face: &Face| {
        let face = Face { channels: Vec::new(), ..face.clone() };
        GlyphSet { name: set.name.clone(), faces: vec![face], any_size: set.any_size }
    };
    set.faces.iter().map(with_face).collect()
}

/// A reading of high confidence as a text; its characters have the probability 0, so that they do not count as read by the line
/// reader.
fn text_of(time_s: f64, reading: &RegionReading) -> Option<DecipheredText> {
    match reading {
        RegionReading::Text { text, confidence, .. } if *confidence >= MIN_CONFIDENCE => {
            Some(DecipheredText {
                time_s,
                text: text.clone(),
                probability: *confidence,
                character_probabilities: vec![0.0; text.chars().count()],
            })
        }
        _ => None,
    }
}

/// Whether the line reader contradicts the texts of a readout: by single digits, by the first digits, or by whole texts.
fn is_refuted(readout: &DecipheredReadout, texts: &[DecipheredText]) -> bool {
    let read: Vec<TimedText> = texts.iter().map(|text| (text.time_s, text.text.clone())).collect();
    let pairs = text_pairs(&readout.texts, &read);
    lacks_first_digits(&pairs)
        || contradicted_share(&pairs).is_some_and(|share| share > MAX_CONTRADICTED_SHARE)
        || MIN_AGREEMENT.iter().any(|(probability, min_share)| {
            agreement(&pairs, *probability).is_some_and(|share| share < *min_share)
        })
}

/// Texts spread over the clip.
fn labels_of(texts: &[DecipheredText]) -> Vec<DecipheredText> {
    let step = texts.len().div_ceil(MAX_LABELS).max(1);
    texts.iter().step_by(step).cloned().collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use std::path::Path;

    use super::*;
    use crate::new_camera::deciphered_camera::{DecipheredCamera, LearnedCamera};

    #[test]
    fn a_readout_without_labels_is_read_with_the_glyphs_of_the_others_unless_the_line_reader_contradicts() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/salt-flat.avi");
        let mut clip = Clip::open(&path).unwrap();
        let search = OverlaySearch::of(&mut clip, &|_| ()).unwrap();
        let mut others = search.readouts();
        // Only the voltage shows the glyph of the decimal point.
        let whole = others.iter().rposition(|readout| readout.decimals == 0).unwrap();
        let unlabelled = others.remove(whole);
        let camera = DecipheredCamera::new(
            others.to_vec(),
            0.0,
            (640, 480),
            Path::new("wing.setup.toml"),
            "salt-flat.avi",
        );
        let learned = LearnedCamera::learn(camera, &search, &mut clip).unwrap();
        let known = learned.camera.deciphered.clone();
        let mut read = |readout: &DecipheredReadout| {
            read_with_known_glyphs(vec![readout], &known, &learned.set, &search, &mut clip).unwrap()
        };

        let found = read(&DecipheredReadout { labels: Vec::new(), texts: Vec::new(), ..unlabelled.clone() });
        assert_eq!(found.len(), 1, "{found:?}");
        let found = &found[0];
        let same = |label: &&DecipheredText| {
            found.texts.iter().any(|text| text.time_s == label.time_s && text.text == label.text)
        };
        let agreed = unlabelled.labels.iter().filter(same).count();
        assert!(2 * agreed > unlabelled.labels.len(), "{agreed} of {:?}", unlabelled.labels);
        assert!((4..=MAX_LABELS).contains(&found.labels.len()));

        let mut contradicted = unlabelled.clone();
        for text in &mut contradicted.texts {
            text.text = text.text.replace(['0', '1', '2', '3', '4', '5', '6', '8', '9'], "7");
            text.character_probabilities.fill(0.95);
        }
        assert_eq!(read(&contradicted), []);
        assert_eq!(read(others[0]), [], "it overlaps a known readout");
    }
}
