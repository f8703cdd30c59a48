//! An image of a reading with the field for its label.

use egui::{Image, Key, RichText, TextEdit, vec2};
use image::GrayImage;

use super::lesson::PICTURE_HEIGHT;
use super::theme;
use pairspeed::glyphs::CHARACTERS;
use pairspeed::learn::LabelRequest;
use pairspeed::model::channel::Channel;

/// Minimum width of the field for a label, in points (set by judgement).
const MIN_FIELD: f32 = 132.0;

/// Margin around the image and its field, in points (set by judgement).
const CARD_MARGIN: i8 = 6;
/// An image of a reading and the label that the pilot types for it.
pub(super) struct DigitCard {
    pub channel: Channel,
    pub time_s: f64,
    picture: GrayImage,
    texture: Option<egui::TextureHandle>,
    pub text: String,
}

impl DigitCard {
    /// A card for a reading that the pilot is asked to label, with an empty field.
    pub fn of(ask: LabelRequest) -> Self {
        let LabelRequest { channel, time_s, image: picture } = ask;
        Self { channel, time_s, picture, texture: None, text: String::new() }
    }

    /// Width and height of the image, in points.
    fn size(&self) -> egui::Vec2 {
        let (width, height) = self.picture.dimensions();
        vec2(width as f32 / height.max(1) as f32, 1.0) * PICTURE_HEIGHT
    }

    /// Width of the image with its field and frame, in points.
    pub fn width(&self) -> f32 {
        self.size().x.max(MIN_FIELD) + 2.0 * f32::from(CARD_MARGIN)
    }

    /// Shows the image with its field, which gets the keyboard focus if `focus` is true. Returns whether the pilot
    /// has finished typing by pressing Enter.
    pub fn show(&mut self, ui: &mut egui::Ui, focus: bool) -> bool {
        let name = format!("{} at {}", self.channel.name(), theme::clock(self.time_s));
        let size = self.size();
        let width = size.x.max(MIN_FIELD);
        let texture = self.texture.get_or_insert_with(|| theme::texture(ui.ctx(), &name, &self.picture));
        let image = Image::new((texture.id(), size)).alt_text(format!("Picture of {name}"));
        let frame =
            egui::Frame::new().fill(theme::colours(ui).panel).inner_margin(CARD_MARGIN).corner_radius(3);
        let shown = frame.show(ui, |ui| {
            ui.vertical(|ui| {
                ui.set_width(width);
                ui.add(image);
                let label = ui.label(RichText::new(&name).small());
                let field =
                    ui.add(TextEdit::singleline(&mut self.text).desired_width(width)).labelled_by(label.id);
                self.text.retain(|letter| CHARACTERS.contains(letter));
                if focus {
                    field.request_focus();
                }
                field.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter))
            })
        });
        shown.inner.inner
    }
}
