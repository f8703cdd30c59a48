//! Questions to the pilot about the doubtful digits of a new camera, each with an image.

use image::GrayImage;

use crate::decipher::{DecipheredReadout, DecipheredText};
use crate::footage::FootageError;
use crate::glyphs::{Face, GlyphSet};
use crate::learn::LabelledReading;
use crate::model::channel::Channel;
use crate::setup::Region;

/// Maximum number of questions (set by judgement).
const MAX_QUESTIONS: usize = 6;

/// An image that shows doubtful digits, with the text that it seems to show.
#[derive(Debug, Clone, PartialEq)]
pub struct DigitQuestion {
    /// The channel, the time, and the text that the image seems to show.
    pub guess: LabelledReading,
    /// The doubtful digits in the text.
    pub digits: Vec<char>,
    /// The region in the frame at the time of `guess`.
    pub image: GrayImage,
}

/// Chooses a small set of questions about the digits that the glyph set lacks: together they show each of these
/// digits that occurs in the deciphered texts, as far as [`MAX_QUESTIONS`] questions can. `frame_at` gives the whole
/// frame at a time in seconds, `None` if there is none.
pub(super) fn questions(
    set: &GlyphSet,
    readouts: &[(&Region, &DecipheredReadout)],
    frame_at: &mut dyn FnMut(f64) -> Result<Option<GrayImage>, FootageError>,
) -> Result<Vec<DigitQuestion>, FootageError> {
    let mut questions = Vec::new();
    for face in &set.faces {
        let mut open = face.missing_digits();
        let shown = readouts.iter().filter(|(region, _)| uses_face(face, &region.channel));
        let texts: Vec<(&Region, &DecipheredText)> =
            shown.flat_map(|(region, readout)| readout.texts.iter().map(|text| (*region, text))).collect();
        while questions.len() < MAX_QUESTIONS {
            let merit = |text: &DecipheredText| text.probability * digits_in(&text.text, &open).len() as f32;
            let best = texts.iter().max_by(|one, other| merit(one.1).total_cmp(&merit(other.1)));
            let Some((region, text)) = best.filter(|(_, text)| merit(text) > 0.0) else { break };
            let Some(frame) = frame_at(text.time_s)? else { break };
            let image = region.rect.crop(&frame);
            let digits = digits_in(&text.text, &open);
            open.retain(|digit| !digits.contains(digit));
            let guess = LabelledReading {
                channel: region.channel.clone(),
                time_s: text.time_s,
                text: text.text.clone(),
            };
            questions.push(DigitQuestion { guess, digits, image });
        }
    }
    Ok(questions)
}

/// Whether the readout of a channel is drawn in a face.
pub(super) fn uses_face(face: &Face, channel: &Channel) -> bool {
    face.channels.is_empty() || face.channels.contains(channel)
}

/// The digits in `open`, which no question covers yet, that a text contains.
fn digits_in(text: &str, open: &[char]) -> Vec<char> {
    open.iter().copied().filter(|digit| text.contains(*digit)).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::decipher::Words;
    use crate::geometry::PixelRect;

    fn readout(texts: &[(&str, f32)]) -> DecipheredReadout {
        let text = |(second, (text, probability)): (usize, &(&str, f32))| DecipheredText {
            time_s: second as f64,
            text: (*text).to_owned(),
            probability: *probability,
            character_probabilities: vec![*probability; text.len()],
        };
        DecipheredReadout {
            rect: PixelRect::new(4, 4, 20, 10),
            texts: texts.iter().enumerate().map(text).collect(),
            separator: None,
            decimals: 0,
            digits: 2,
            labels: Vec::new(),
            words: Words::default(),
        }
    }

    #[test]
    fn few_images_cover_the_doubtful_digits() {
        let face =
            Face { name: "face-1".to_owned(), channels: Vec::new(), cell: (10, 6), glyphs: Vec::new() };
        let set = GlyphSet { name: "test".to_owned(), faces: vec![face], any_size: false };
        let readout = readout(&[("12", 0.99), ("21", 0.4), ("34", 0.8), ("3", 0.99), ("22", 0.99)]);
        let region = Region::new(Channel::Speed, readout.rect, None);
        let mut frame_at = |_| Ok(Some(GrayImage::new(40, 20)));
        let asked = questions(&set, &[(&region, &readout)], &mut frame_at).unwrap();
        let texts: Vec<&str> = asked.iter().map(|question| question.guess.text.as_str()).collect();
        assert_eq!(texts, ["12", "34"]);
        assert_eq!(asked[0].digits, ['1', '2']);
        assert_eq!(asked[0].image.dimensions(), (20, 10));
    }
}
