//! Position of the characters of a text: the advances of a face and the text line of each region.

use crate::recognise::Anchor;
use crate::recognise::is_separator;

/// Horizontal position of a region's text. Columns are those of the region's window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LayoutLine {
    /// The edge of the text that keeps its column when the length of the text changes.
    pub(crate) anchor: Anchor,
    /// Column of the anchored edge, in working pixels.
    pub(crate) position: f32,
}

/// Advances of a face's characters, in working pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Advances {
    /// Advance of digits and of the minus sign, in working pixels.
    pub(crate) pitch: f32,
    /// Advance of the digit 1, which is narrower in proportional faces, in working pixels.
    pub(crate) one: f32,
    /// Advance of the decimal point and of the colon, in working pixels.
    pub(crate) point: f32,
}

impl Advances {
    /// Advance of a character.
    pub(crate) fn of(&self, character: char) -> f32 {
        match character {
            '1' => self.one,
            mark if is_separator(mark) => self.point,
            _ => self.pitch,
        }
    }

    /// Advance of a whole text.
    pub(crate) fn of_text(&self, text: &str) -> f32 {
        text.chars().map(|character| self.of(character)).sum()
    }

    /// Left edge of every character of a text, and right edge of the last one, as columns in working pixels.
    pub(crate) fn edges(&self, text: &str, line: &LayoutLine) -> Vec<f32> {
        let mut edge = line.position - line.anchor.share_before() * self.of_text(text);
        let mut edges = vec![edge];
        for character in text.chars() {
            edge += self.of(character);
            edges.push(edge);
        }
        edges
    }
}

/// A text layout: the advances of a face and the text line of each region.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TextLayout {
    pub(crate) advances: Advances,
    /// One text line for each region of the size group.
    pub(crate) lines: Vec<LayoutLine>,
    /// How strongly the strokes of the labelled texts contradict the layout: a number without unit, 0 if there is no
    /// contradiction.
    pub(crate) cost: f32,
}
