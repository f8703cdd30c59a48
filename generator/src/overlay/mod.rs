//! Draws the text of the overlay: layout, painting, and the boxes of the values.

mod colours;
mod face;
mod values;

pub(crate) use colours::TextColours;
pub use face::{Face, FaceChoice};
pub(crate) use values::OverlayTexts;

use std::sync::Arc;

use crate::drawing::Glyph;
use crate::error::Error;
use crate::frame::{Frame, Rows};
use crate::scenario::{Align, Channel, Field, Overlay};

/// A rectangle of the frame in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TextBox {
    /// Left edge, in pixels.
    pub x: f32,
    /// Top edge, in pixels.
    pub y: f32,
    /// Width in pixels.
    pub width: f32,
    /// Height in pixels.
    pub height: f32,
}

/// Space between a value and its icon, prefix or unit, as a share of a digit's advance (set by judgement).
const GAP: f32 = 0.45;

/// A field with its face and position.
#[derive(Debug)]
pub(crate) struct PlacedField {
    pub(crate) field: Field,
    pub(crate) text_box: TextBox,
    face: Arc<Face>,
    colours: TextColours,
    /// Glyphs of icon, prefix and unit, each with the horizontal position of its pen in pixels of the frame.
    decoration: Vec<(Glyph, f32)>,
}

/// All fields of an overlay, ready to be painted.
#[derive(Debug)]
pub(crate) struct Layout {
    pub(crate) fields: Vec<PlacedField>,
}

impl Layout {
    /// Loads the faces and lays out the fields.
    pub(crate) fn new(overlay: &Overlay) -> Result<Self, Error> {
        let mut faces: Vec<(FaceChoice, Arc<Face>)> = Vec::new();
        let mut fields = Vec::new();
        for field in &overlay.fields {
            let choice = FaceChoice {
                font: field.font.clone(),
                height_px: field.height_px,
                stretch: field.stretch,
                edge: field.edge,
                edge_px: field.edge_px,
            };
            let known = faces.iter().find(|(made, _)| *made == choice).map(|(_, face)| face.clone());
            let face = match known {
                Some(face) => face,
                None => {
                    let face = Arc::new(Face::load(&choice)?);
                    faces.push((choice, face.clone()));
                    face
                }
            };
            let colours = TextColours::new(field.colour, field.edge_colour, overlay.brightness);
            fields.push(PlacedField::new(field.clone(), face, colours));
        }
        Ok(Self { fields })
    }

    /// Paints texts, one for each field, on some rows of a frame, moved by `shift` pixels.
    pub(crate) fn paint(&self, frame: &mut Frame, texts: &[String], shift: [f32; 2], rows: Rows) {
        for (placed, text) in self.fields.iter().zip(texts) {
            let top = placed.text_box.y.round() + shift[1];
            placed.paint_shade(frame, shift, rows);
            for (glyph, x) in &placed.decoration {
                paint_glyph(frame, glyph, [x.round() + shift[0], top], &placed.colours, rows);
            }
            let mut x = placed.text_start(text);
            for glyph in text.chars().filter_map(|character| placed.face.glyph(character)) {
                paint_glyph(frame, glyph, [x.round() + shift[0], top], &placed.colours, rows);
                x += glyph.advance + placed.field.letter_spacing_px;
            }
        }
    }
}

/// Space around a value in its shaded box, as a share of the line's height (set by judgement).
const SHADE_MARGIN: f32 = 0.12;

impl PlacedField {
    fn new(field: Field, face: Arc<Face>, colours: TextColours) -> Self {
        let [x, y] = field.position;
        let width = text_width_px(&face, &field, &widest(&field));
        let text_box = TextBox { x, y, width, height: face.height_px() };
        let gap = GAP * face.width_px("0");
        let mut decoration = Vec::new();
        let mut left = x - gap - face.width_px(&field.prefix);
        place_text(&face, &field.prefix, left, &mut decoration);
        if let Some(glyph) = field.icon.and_then(|icon| face.icon(icon)) {
            left -= glyph.width as f32 + if field.prefix.is_empty() { 0.0 } else { gap };
            decoration.push((glyph.clone(), left));
        }
        if field.show_unit {
            place_text(&face, unit_letters(&field), x + width + gap, &mut decoration);
        }
        Self { field, text_box, face, colours, decoration }
    }

    fn text_start(&self, text: &str) -> f32 {
        match self.field.align {
            Align::Left => self.text_box.x,
            Align::Right => self.text_box.x + self.unused_px(text),
            Align::Centre => self.text_box.x + 0.5 * self.unused_px(text),
        }
    }

    /// Width of the text box minus that of `text`, in pixels.
    fn unused_px(&self, text: &str) -> f32 {
        self.text_box.width - text_width_px(&self.face, &self.field, text)
    }

    /// Darkens the box behind the value.
    fn paint_shade(&self, frame: &mut Frame, shift: [f32; 2], rows: Rows) {
        if self.field.shade <= 0.0 {
            return;
        }
        let TextBox { x, y, width, height } = self.text_box;
        let margin = SHADE_MARGIN * height;
        let within = |start: f32, length: f32, limit: usize| {
            let end = (start + length + margin).round().clamp(0.0, limit as f32);
            (start - margin).round().clamp(0.0, limit as f32) as usize..end as usize
        };
        for row in within(y + shift[1], height, frame.height).filter(|row| rows.contains(*row)) {
            for column in within(x + shift[0], width, frame.width) {
                self.colours.cover_pixel(frame, [column, row], 0.0, self.field.shade);
            }
        }
    }

    /// Number of pixels by which a box can be enlarged without touching icon, prefix or unit.
    pub(crate) fn margin_px(&self) -> f32 {
        (GAP * self.face.width_px("0") * 0.7).min(4.0)
    }
}

/// Width of a field's text including letter spacing, in pixels.
fn text_width_px(face: &Face, field: &Field, text: &str) -> f32 {
    face.width_px(text) + field.letter_spacing_px * text.chars().count().saturating_sub(1) as f32
}

/// The text of a field whose width is that of the field's box: all digits 0, with a point if the field has decimals.
fn widest(field: &Field) -> String {
    if field.channel == Channel::Timer {
        return "00:00".to_owned();
    }
    let point = usize::from(field.decimals > 0);
    "0".repeat(field.width.saturating_sub(point)) + if point == 1 { "." } else { "" }
}

/// The letters of the unit, as an overlay writes them.
fn unit_letters(field: &Field) -> &'static str {
    match field.unit_and_factor().0 {
        Some("deg") => "°",
        Some("min:s") => "",
        Some(unit) => unit,
        None => "",
    }
}

fn place_text(face: &Face, text: &str, start: f32, decoration: &mut Vec<(Glyph, f32)>) {
    let mut x = start;
    for glyph in text.chars().filter_map(|letter| face.glyph(letter)) {
        decoration.push((glyph.clone(), x));
        x += glyph.advance;
    }
}

/// Paints a glyph at a pen position. If the position lies between pixels, the opacities are interpolated linearly.
pub(crate) fn paint_glyph(
    frame: &mut Frame,
    glyph: &Glyph,
    pen: [f32; 2],
    colours: &TextColours,
    rows: Rows,
) {
    let (left, top) = (pen[0] + glyph.left, pen[1] + glyph.top);
    let (column0, row0) = (left.floor(), top.floor());
    let (part_x, part_y) = (left - column0, top - row0);
    for row in 0..=glyph.height as i64 {
        let y = row0 as i64 + row;
        if y < 0 || y as usize >= frame.height || !rows.contains(y as usize) {
            continue;
        }
        for column in 0..=glyph.width as i64 {
            let x = column0 as i64 + column;
            if x < 0 || x as usize >= frame.width {
                continue;
            }
            let (light, cover) = shared(glyph, column, row, part_x, part_y);
            if cover > 0.0 {
                colours.cover_pixel(frame, [x as usize, y as usize], light, cover);
            }
        }
    }
}

/// Opacity of the letter, and of letter and edge together, at a pixel of a glyph that is moved by `part_x` pixels to
/// the right and `part_y` down (each 0 to 1). `column` and `row` count from the glyph's upper left corner.
fn shared(glyph: &Glyph, column: i64, row: i64, part_x: f32, part_y: f32) -> (f32, f32) {
    if part_x == 0.0 && part_y == 0.0 {
        return glyph.at(column, row);
    }
    let mut sum = (0.0, 0.0);
    for (y, share_y) in [(row, 1.0 - part_y), (row - 1, part_y)] {
        for (x, share_x) in [(column, 1.0 - part_x), (column - 1, part_x)] {
            let (light, cover) = glyph.at(x, y);
            sum.0 += light * share_x * share_y;
            sum.1 += cover * share_x * share_y;
        }
    }
    sum
}
