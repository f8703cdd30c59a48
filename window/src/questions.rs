//! Questions to the pilot about a camera setup that was found in the recording: doubtful channels and digits. Each
//! question shows an image of the box and a guessed answer.

use image::GrayImage;

use pairspeed::footage::{Clip, FootageError, frames_near};
use pairspeed::geometry::PixelRect;
use pairspeed::learn::LabelledReading;
use pairspeed::model::channel::Channel;
use pairspeed::new_camera::{DigitQuestion, NamedReadout, NewCamera};

/// Maximum number of questions about a new camera setup. One key answers a question and one accepts the setup, so the
/// pilot presses at most five keys (set by judgement).
const MAX_QUESTIONS: usize = 4;
/// Width of the surroundings shown around a box, as a share of the height of the box (set by judgement).
const SURROUNDINGS: f32 = 0.5;

/// What a question asks about, with the guessed answer.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Doubt {
    /// The guessed channel of a box.
    Name(Channel),
    /// The guessed text that a box shows at a time.
    Text(LabelledReading),
}

/// A question with its image.
#[derive(Debug, Clone)]
pub(super) struct Question {
    pub doubt: Doubt,
    /// Rectangle of the box, as the search found it.
    pub rect: PixelRect,
    pub picture: GrayImage,
    /// Why the answer was guessed, in words for the pilot.
    pub reasons: String,
}

impl Question {
    /// The text of the question, as the pilot sees it.
    pub fn words(&self) -> String {
        match &self.doubt {
            Doubt::Name(channel) => format!("Is this the {}?", channel.name()),
            Doubt::Text(label) => format!("Does this {} show {}?", label.channel.name(), label.text),
        }
    }
}

/// The questions about a camera, the most important first: the channel of the speed, then missing digits, then other
/// channels.
///
/// # Errors
/// If the clip cannot be read.
pub(super) fn questions(clip: &mut Clip, camera: &NewCamera) -> Result<Vec<Question>, FootageError> {
    let is_doubtful = |readout: &&NamedReadout| {
        !readout.guess.is_certain() && !matches!(readout.guess.channel, Channel::Other(_))
    };
    let (speed, others): (Vec<&NamedReadout>, Vec<&NamedReadout>) = camera
        .readouts
        .iter()
        .filter(is_doubtful)
        .partition(|readout| readout.guess.channel == Channel::Speed);
    let about_names = |readouts: Vec<&NamedReadout>| readouts.into_iter().map(about_name).collect::<Vec<_>>();
    let texts = camera.questions.iter().filter_map(|asked| about_text(camera, asked));
    let drafts: Vec<Draft> =
        about_names(speed).into_iter().chain(texts).chain(about_names(others)).take(MAX_QUESTIONS).collect();
    let times_s: Vec<f64> = drafts.iter().map(|draft| draft.time_s).collect();
    let frames = frames_near(clip, &times_s)?;
    let picture = |draft: Draft| {
        let frame = frames.iter().find(|frame| frame.requested_s == draft.time_s)?;
        let margin = (SURROUNDINGS * draft.rect.height as f32) as u32;
        let picture = draft.rect.with_margin(margin).clipped_to(frame.image.dimensions()).crop(&frame.image);
        Some(Question { doubt: draft.doubt, rect: draft.rect, picture, reasons: draft.reasons })
    };
    Ok(drafts.into_iter().filter_map(picture).collect())
}

/// A question without its image.
struct Draft {
    doubt: Doubt,
    rect: PixelRect,
    time_s: f64,
    reasons: String,
}

fn about_name(NamedReadout { guess, rect, example }: &NamedReadout) -> Draft {
    let reasons = format!("{:.0} %: {}", 100.0 * guess.probability, guess.reasons_in_words());
    Draft { doubt: Doubt::Name(guess.channel.clone()), rect: *rect, time_s: example.time_s, reasons }
}

fn about_text(camera: &NewCamera, asked: &DigitQuestion) -> Option<Draft> {
    let DigitQuestion { guess, digits, .. } = asked;
    let readout = camera.readouts.iter().find(|readout| readout.guess.channel == guess.channel)?;
    let digits: Vec<String> = digits.iter().map(char::to_string).collect();
    let reasons = format!("The glyph of {} is uncertain: type what the image shows", digits.join(", "));
    Some(Draft { doubt: Doubt::Text(guess.clone()), rect: readout.rect, time_s: guess.time_s, reasons })
}
