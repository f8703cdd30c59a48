//! Where the characters of a text are: advances of a face and the line of each region.

use crate::recognise::Anchor;
use crate::recognise::is_separator;

/// Position of a region's text. Columns are those of the region's window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LayoutLine {
    /// The part of the text that keeps its column when the length changes.
    pub(crate) anchor: Anchor,
    /// Column of that part, in working pixels.
    pub(crate) position: f32,
}

/// Advances of a face's characters, in working pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Advances {
    /// Advance of digits and of the minus sign.
    pub(crate) pitch: f32,
    /// Advance of the digit 1, which is narrower in proportional faces.
    pub(crate) one: f32,
    /// Advance of the decimal point and of the colon.
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

    /// Left edge of every character of a text, and right edge of the last one.
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

/// The advances of a face and the text line of each region.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TextLayout {
    pub(crate) advances: Advances,
    /// One line for each region of the group.
    pub(crate) lines: Vec<LayoutLine>,
    /// How strongly the strokes contradict the layout, without unit; 0 is no contradiction.
    pub(crate) cost: f32,
}
