//! The glyph set `round`: a larger cell, strokes with round ends and curves, a black outline.

use super::strokes::Piece::{self, Arc, Dot, Path};
use super::strokes::StrokeStyle;

pub(super) const STYLE: StrokeStyle = StrokeStyle {
    cell: [16, 24],
    body: [3.75, 4.25, 8.5, 15.5],
    half_stroke: 1.25,
    dot_radius: 1.6,
    outline: 1.4,
    halo: 0.0,
    smooth: true,
};

/// Advance of digits and letters, and of the narrow decimal point and colon, in pixels.
pub(super) const ADVANCES: [f32; 2] = [14.0, 8.0];

/// The strokes of a digit or sign; `None` if the set does not contain that character.
pub(super) fn skeleton(character: char) -> Option<&'static [Piece]> {
    Some(match character {
        '0' => ZERO,
        '1' => ONE,
        '2' => TWO,
        '3' => THREE,
        '4' => FOUR,
        '5' => FIVE,
        '6' => SIX,
        '7' => SEVEN,
        '8' => EIGHT,
        '9' => NINE,
        '.' => POINT,
        '-' => MINUS,
        ':' => COLON,
        _ => return None,
    })
}

const ZERO: &[Piece] = &[
    Arc([0.5, 0.3], [0.5, 0.3], [180.0, 360.0]),
    Arc([0.5, 0.7], [0.5, 0.3], [0.0, 180.0]),
    Path(&[[0.0, 0.3], [0.0, 0.7]]),
    Path(&[[1.0, 0.3], [1.0, 0.7]]),
];
const ONE: &[Piece] = &[Path(&[[0.15, 0.22], [0.58, 0.0], [0.58, 1.0]])];
const TWO: &[Piece] =
    &[Arc([0.5, 0.29], [0.5, 0.29], [185.0, 390.0]), Path(&[[0.933, 0.435], [0.0, 1.0], [1.0, 1.0]])];
const THREE: &[Piece] =
    &[Arc([0.47, 0.25], [0.45, 0.25], [205.0, 450.0]), Arc([0.47, 0.74], [0.53, 0.26], [270.0, 515.0])];
const FOUR: &[Piece] = &[Path(&[[0.72, 1.0], [0.72, 0.0], [0.0, 0.7], [1.0, 0.7]])];
const FIVE: &[Piece] =
    &[Path(&[[0.92, 0.0], [0.12, 0.0], [0.054, 0.465]]), Arc([0.48, 0.66], [0.52, 0.34], [215.0, 508.0])];
const SIX: &[Piece] =
    &[Arc([0.5, 0.68], [0.5, 0.32], [0.0, 360.0]), Arc([1.0, 0.68], [1.0, 0.68], [180.0, 250.0])];
const SEVEN: &[Piece] = &[Path(&[[0.0, 0.0], [1.0, 0.0], [0.36, 1.0]])];
const EIGHT: &[Piece] =
    &[Arc([0.5, 0.24], [0.42, 0.24], [0.0, 360.0]), Arc([0.5, 0.74], [0.5, 0.26], [0.0, 360.0])];
const NINE: &[Piece] =
    &[Arc([0.5, 0.32], [0.5, 0.32], [0.0, 360.0]), Arc([0.0, 0.32], [1.0, 0.68], [0.0, 70.0])];
// The point and the colon stand at the left of the cell, since their advance is short.
const POINT: &[Piece] = &[Dot([0.03, 0.97])];
const MINUS: &[Piece] = &[Path(&[[0.1, 0.54], [0.9, 0.54]])];
const COLON: &[Piece] = &[Dot([0.03, 0.3]), Dot([0.03, 0.78])];
