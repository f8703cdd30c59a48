//! The result of deciphering: a readout with its texts and its format.

use super::box_texts::FrameText;
use super::words::Words;
use crate::geometry::PixelRect;

/// A text that the line reader read in one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct DecipheredText {
    /// Time of the frame in seconds.
    pub time_s: f64,
    /// The number that the box shows: digits, decimal point, minus sign and colon; empty if it shows none.
    pub text: String,
    /// Probability that the text is right, 0 to 1.
    pub probability: f32,
    /// Probability of each character of the text, 0 to 1.
    pub character_probabilities: Vec<f32>,
}

/// A readout whose digits were deciphered.
#[derive(Debug, Clone, PartialEq)]
pub struct DecipheredReadout {
    /// The box, cut clear of unit letters and icons.
    pub rect: PixelRect,
    /// The texts of all frames.
    pub texts: Vec<DecipheredText>,
    /// The decimal point or colon of the values, if they have one.
    pub separator: Option<char>,
    /// Number of digits after the separator.
    pub decimals: u8,
    /// Number of digits of the widest value, including those after the point.
    pub digits: u8,
    /// The texts that serve as labels, in order of time; empty if the texts are too uncertain.
    pub labels: Vec<DecipheredText>,
    /// The unit and the caption beside the readout.
    pub words: Words,
}

impl From<&FrameText> for DecipheredText {
    fn from(text: &FrameText) -> Self {
        Self {
            time_s: text.time_s,
            text: text.number.clone(),
            probability: text.probability,
            character_probabilities: text.character_probabilities.clone(),
        }
    }
}

/// The value of a text: a number, or minutes and seconds as seconds. `None` for any other text.
pub(super) fn value_of(text: &str) -> Option<f64> {
    match text.split_once(':') {
        Some((minutes, seconds)) => Some(60.0 * minutes.parse::<f64>().ok()? + seconds.parse::<f64>().ok()?),
        None => text.parse().ok(),
    }
}
