//! `read --ask`: asks the pilot on the terminal about doubtful channels, units and digits of a new camera.

use std::io::{BufRead, IsTerminal as _, Write};

use image::{GrayImage, imageops};
use pairspeed::footage::Clip;
use pairspeed::glyphs::CHARACTERS;
use pairspeed::learn::LabelledReading;
use pairspeed::model::channel::Channel;
use pairspeed::model::units::{Quantity, Unit};
use pairspeed::new_camera::{NewCamera, NewCameraError};

/// Height of an image in the terminal, in lines; each line shows two rows of pixels (set by judgement).
const PICTURE_LINES: u32 = 9;
/// Maximum width of an image in the terminal, in characters. Set by judgement: the image fits into 80 columns.
const MAX_COLUMNS: u32 = 76;
/// Index of the darkest of the terminal's grey colours (ECMA-48 with the indexed colours of ISO/IEC 8613-6).
const FIRST_GREY: u32 = 232;

/// Number of the terminal's grey colours.
const GREYS: u32 = 24;

/// Asks the pilot questions: writes them to `output`, and reads the answers from `input`.
pub struct Conversation<R, W> {
    input: R,
    output: W,
    /// Whether the terminal can show images.
    draws: bool,
}

impl Conversation<std::io::StdinLock<'static>, std::io::Stderr> {
    /// The conversation on the terminal. Questions go to standard error, so that standard output holds the result alone.
    pub fn on_terminal() -> Self {
        let output = std::io::stderr();
        let draws = output.is_terminal();
        Self { input: std::io::stdin().lock(), output, draws }
    }
}

impl<R: BufRead, W: Write> Conversation<R, W> {
    /// Asks the pilot about doubtful channels, missing units and doubtful digits. Sets the channels and units in
    /// `camera`, and learns the digits from the answers and the frames of `clip`.
    pub fn ask_all(&mut self, camera: &mut NewCamera, clip: &mut Clip) -> Result<(), NewCameraError> {
        for readout in 0..camera.readouts.len() {
            self.ask_name(camera, readout);
            self.ask_unit(camera, readout);
        }
        let answers = self.confirmed(camera);
        if answers.is_empty() { Ok(()) } else { camera.confirm(clip, &answers) }
    }

    /// The answer to a question, without spaces around it; `None` at the end of the input.
    fn answer(&mut self, question: &str) -> Option<String> {
        let written = write!(self.output, "{question} ").and_then(|()| self.output.flush());
        let mut line = String::new();
        let read = written.and_then(|()| self.input.read_line(&mut line)).unwrap_or(0);
        (read > 0).then(|| line.trim().to_owned())
    }

    fn say(&mut self, text: &str) {
        // If a question cannot be written, no answer follows, so the error is ignored.
        drop(writeln!(self.output, "{text}"));
    }

    fn ask_name(&mut self, camera: &mut NewCamera, readout: usize) {
        let Some(named) = camera.readouts.get(readout).filter(|named| !named.guess.is_certain()) else {
            return;
        };
        let question = format!(
            "The readout that shows {} at {:.1} s: is it the {}? Press Enter for yes, or type its name ({}):",
            named.example.text,
            named.example.time_s,
            named.guess.channel.name(),
            Channel::KNOWN.map(|channel| channel.name().to_owned()).join(", ")
        );
        while let Some(answer) = self.answer(&question).filter(|answer| !answer.is_empty()) {
            match camera.rename(readout, &Channel::from(answer.to_lowercase())) {
                Ok(()) => return,
                Err(taken) => self.say(&format!("{taken}; give another name.")),
            }
        }
    }

    /// Asks for the unit of a speed or an altitude that has none.
    fn ask_unit(&mut self, camera: &mut NewCamera, readout: usize) {
        let Some(region) = camera.setup.setup.regions.get_mut(readout) else { return };
        let Some(quantity) = region.channel.quantity() else { return };
        if region.unit.is_some() || !matches!(quantity, Quantity::Speed | Quantity::Length) {
            return;
        }
        let units: Vec<&str> =
            Unit::all().filter(|unit| unit.quantity() == quantity).map(Unit::symbol).collect();
        let question = format!(
            "Unit of the {} ({}; Enter if you do not know it):",
            region.channel.name(),
            units.join(", ")
        );
        while let Some(answer) = self.answer(&question).filter(|answer| !answer.is_empty()) {
            match Unit::parse(&answer) {
                Ok(unit) if unit.quantity() == quantity => {
                    region.unit = Some(unit);
                    return;
                }
                _ => self.say(&format!("\"{answer}\" is not one of these units.")),
            }
        }
    }

    /// Asks the pilot about each doubtful reading. Returns those that the pilot confirms or corrects, as labels.
    fn confirmed(&mut self, camera: &NewCamera) -> Vec<LabelledReading> {
        let mut answers = Vec::new();
        for question in &camera.questions {
            self.draw(&question.image);
            let guess = &question.guess;
            let asked = format!(
                "The {} at {:.2} s: does it show {}? Press Enter for yes, type what it shows, or type - if it is illegible:",
                guess.channel.name(),
                guess.time_s,
                guess.text
            );
            let text = loop {
                let Some(answer) = self.answer(&asked) else { return answers };
                match answer.as_str() {
                    "" => break Some(guess.text.clone()),
                    "-" => break None,
                    text if text.chars().all(|letter| CHARACTERS.contains(letter)) => break Some(answer),
                    _ => self.say("A number has only digits, `.`, `-` and `:`; leave out units and icons."),
                }
            };
            answers.extend(text.map(|text| LabelledReading { text, ..guess.clone() }));
        }
        answers
    }

    /// Draws an image with half blocks: each character shows two pixels, one above the other.
    fn draw(&mut self, picture: &GrayImage) {
        if !self.draws {
            return;
        }
        let height = 2 * PICTURE_LINES;
        let width = (picture.width() * height / picture.height().max(1)).clamp(1, MAX_COLUMNS);
        let small = imageops::resize(picture, width, height, imageops::FilterType::Triangle);
        let grey = |x: u32, y: u32| FIRST_GREY + u32::from(small.get_pixel(x, y)[0]) * (GREYS - 1) / 255;
        for line in 0..PICTURE_LINES {
            let cells: String = (0..width)
                .map(|x| format!("\x1b[38;5;{};48;5;{}m\u{2580}", grey(x, 2 * line), grey(x, 2 * line + 1)))
                .collect();
            self.say(&format!("{cells}\x1b[0m"));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_end_with_the_input_and_are_trimmed() {
        let mut output = Vec::new();
        let mut conversation =
            Conversation { input: " 48 \n\n".as_bytes(), output: &mut output, draws: false };
        assert_eq!(conversation.answer("What?"), Some("48".to_owned()));
        assert_eq!(conversation.answer("What?"), Some(String::new()));
        assert_eq!(conversation.answer("What?"), None);
        assert_eq!(output, b"What? What? What? ");
    }

    #[test]
    fn a_picture_has_a_character_for_two_pixels() {
        let mut output = Vec::new();
        let mut conversation = Conversation { input: "".as_bytes(), output: &mut output, draws: true };
        conversation.draw(&GrayImage::from_pixel(36, 18, image::Luma([255])));
        let drawn = String::from_utf8_lossy(&output).into_owned();
        assert_eq!(drawn.lines().count(), 9);
        assert_eq!(drawn.matches('\u{2580}').count(), 9 * 36);
        assert!(drawn.contains("38;5;255;48;5;255m"), "{drawn}");
    }
}
