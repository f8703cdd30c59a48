//! The result of learning the digits: the learned shapes, the labels that were not used, and the digits still
//! missing.

use egui::{Image, RichText, TextureHandle, vec2};
use image::GrayImage;
use ndarray::Array2;

use super::theme;
use pairspeed::glyphs::{Glyph, GlyphSet};
use pairspeed::learn::{self, LabelledReading, RejectedLabel, SuspectLabel};
use pairspeed::model::channel::Channel;
use pairspeed::visible;

/// Height of the images shown, in points (set by judgement).
pub(super) const PICTURE_HEIGHT: f32 = 44.0;

/// The result of learning, as it is shown.
pub(super) struct LessonView {
    shapes: Vec<(char, TextureHandle)>,
    pub(super) missing: Vec<char>,
    suspects: Vec<Suspect>,
    rejected: Vec<String>,
    left_out_clips: Vec<String>,
}

/// A label that was not used, with the image of its reading and the image of the label that contradicts it.
struct Suspect {
    channel: Channel,
    time_s: f64,
    /// The text that the image shows according to the other labels.
    likely_text: String,
    sentence: String,
    pictures: Vec<(String, TextureHandle)>,
}

/// The action that the pilot chose.
pub(super) enum LessonAction {
    /// Go to the next page and read the flight.
    Read,
    /// Learn from the label of a channel at a time in seconds, although other labels contradict it.
    Insist(Channel, f64),
    /// Replace the text of a label.
    Correct(LabelledReading),
}

impl LessonView {
    /// Prepares the result of learning for display. `missing` are the digits without a glyph, `left_out_clips` the
    /// names of labelled clips that were not found.
    pub(super) fn of(
        ctx: &egui::Context,
        lesson: &learn::LearnedGlyphs,
        missing: Vec<char>,
        left_out_clips: Vec<String>,
    ) -> Self {
        let suspects = lesson.suspects.iter().map(|suspect| Suspect::of(ctx, suspect)).collect();
        let in_words = |rejected: &RejectedLabel| visible::line(&rejected.to_string()).into_owned();
        let rejected = lesson.rejected.iter().map(in_words).collect();
        Self { shapes: shapes(ctx, &lesson.set), missing, suspects, rejected, left_out_clips }
    }

    /// Shows the result and returns the action that the pilot chose; `None` if there is none.
    pub(super) fn show(&self, ui: &mut egui::Ui) -> Option<LessonAction> {
        let mut action = None;
        ui.label(RichText::new("Learned").strong());
        show_shapes(ui, &self.shapes, &self.missing);
        for suspect in &self.suspects {
            action = suspect.show(ui).or(action);
        }
        for rejected in &self.rejected {
            ui.label(format!("Not used: {rejected}"));
        }
        if !self.left_out_clips.is_empty() {
            let clips = self.left_out_clips.join(", ");
            let clips = visible::line(&clips);
            ui.label(format!(
                "These labelled clips are not in the folder of this recording, so their labels are not used this time: {clips}. To use them, copy the clips into the folder and learn again."
            ));
        }
        if self.missing.is_empty() {
            ui.label("All ten digits are known.");
            if theme::main_button(ui, "Next: read the flight").clicked() {
                action = Some(LessonAction::Read);
            }
        } else {
            let missing: Vec<String> = self.missing.iter().map(char::to_string).collect();
            ui.label(format!(
                "Digits not labelled yet: {}. Readings with these digits stay blank; label some of the images above.",
                missing.join(" ")
            ));
        }
        action
    }
}

impl Suspect {
    fn of(ctx: &egui::Context, suspect: &SuspectLabel) -> Self {
        let texture = |label: &LabelledReading, picture: &GrayImage| {
            let words = visible::line(&label.to_string()).into_owned();
            let texture = theme::texture(ctx, &format!("label {words}"), picture);
            (words, texture)
        };
        let own = std::iter::once(texture(&suspect.label, &suspect.image));
        let conflicting = suspect.conflicting.iter().map(|other| texture(&other.label, &other.image));
        Self {
            channel: suspect.label.channel.clone(),
            time_s: suspect.label.time_s,
            likely_text: suspect.likely_text.clone(),
            sentence: visible::line(&suspect.to_string()).into_owned(),
            pictures: own.chain(conflicting).collect(),
        }
    }

    /// Shows the label beside the one that contradicts it, and returns the action that the pilot chose; `None` if there
    /// is none.
    fn show(&self, ui: &mut egui::Ui) -> Option<LessonAction> {
        ui.label(RichText::new(format!("Left out: {}", self.sentence)).color(theme::colours(ui).unsure));
        ui.horizontal(|ui| {
            for (label, texture) in &self.pictures {
                ui.vertical(|ui| {
                    let size = texture.size_vec2();
                    let size = size * (PICTURE_HEIGHT / size.y.max(1.0));
                    ui.add(Image::new((texture.id(), size)).alt_text(format!("Picture of {label}")));
                    ui.label(label);
                });
            }
        });
        let (yes, no) = if self.pictures.len() > 1 {
            let question =
                "A digit that looks alike in both images is labelled differently. Is it the same digit?";
            ui.label(RichText::new(question).strong());
            (
                format!("Yes: the left image shows {}", self.likely_text),
                "No: the label of the left image is right, learn from it",
            )
        } else {
            (format!("Yes: it shows {}", self.likely_text), "No: the label is right, learn from it")
        };
        let mut action = None;
        ui.horizontal_wrapped(|ui| {
            if ui.button(yes).clicked() {
                let (channel, text) = (self.channel.clone(), self.likely_text.clone());
                action = Some(LessonAction::Correct(LabelledReading { channel, time_s: self.time_s, text }));
            }
            if ui.button(no).clicked() {
                action = Some(LessonAction::Insist(self.channel.clone(), self.time_s));
            }
        });
        action
    }
}

/// The glyphs of a set as images.
fn shapes(ctx: &egui::Context, set: &GlyphSet) -> Vec<(char, TextureHandle)> {
    let glyphs = set.faces.iter().flat_map(|face| &face.glyphs);
    let shape = |glyph: &Glyph| {
        let name = format!("shape of {}", glyph.character);
        (glyph.character, theme::texture(ctx, &name, &picture_of(&glyph.levels)))
    };
    glyphs.map(shape).collect()
}

fn picture_of(levels: &Array2<f32>) -> GrayImage {
    let (rows, cols) = levels.dim();
    GrayImage::from_fn(cols as u32, rows as u32, |x, y| {
        let level = levels.get((y as usize, x as usize)).copied().unwrap_or(0.0);
        image::Luma([level.round().clamp(0.0, 255.0) as u8])
    })
}

fn show_shapes(ui: &mut egui::Ui, shapes: &[(char, TextureHandle)], missing: &[char]) {
    ui.horizontal_wrapped(|ui| {
        for (character, texture) in shapes {
            ui.vertical(|ui| {
                let size = texture.size_vec2();
                let size = size * (PICTURE_HEIGHT / size.y.max(1.0));
                let shape = Image::new((texture.id(), size));
                ui.add(shape.alt_text(format!("The shape learned for {character}")));
                ui.label(RichText::new(character.to_string()).strong());
            });
        }
        for character in missing {
            ui.vertical(|ui| {
                let (rect, _) = ui.allocate_exact_size(vec2(24.0, PICTURE_HEIGHT), egui::Sense::hover());
                let stroke = egui::Stroke::new(1.5, theme::colours(ui).unsure);
                ui.painter().rect_stroke(rect, 2.0, stroke, egui::StrokeKind::Inside);
                ui.label(format!("{character} is missing"));
            });
        }
    });
}
