//! The glyph set `slim`: a narrow cell, thin angular strokes, a soft dark halo.

use super::strokes::Piece::{self, Dot, Path};
use super::strokes::StrokeStyle;

pub(super) const STYLE: StrokeStyle = StrokeStyle {
    cell: [10, 18],
    body: [2.5, 3.5, 5.0, 11.0],
    half_stroke: 0.7,
    dot_radius: 1.0,
    outline: 0.0,
    halo: 1.8,
    smooth: true,
};

/// Advance of digits and letters, and of the narrow decimal point and colon, in pixels.
pub(super) const ADVANCES: [f32; 2] = [9.0, 5.0];

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

const ZERO: &[Piece] = &[Path(&[
    [0.2, 0.0],
    [0.8, 0.0],
    [1.0, 0.12],
    [1.0, 0.88],
    [0.8, 1.0],
    [0.2, 1.0],
    [0.0, 0.88],
    [0.0, 0.12],
    [0.2, 0.0],
])];
const ONE: &[Piece] = &[Path(&[[0.15, 0.15], [0.55, 0.0], [0.55, 1.0]]), Path(&[[0.2, 1.0], [0.9, 1.0]])];
const TWO: &[Piece] = &[Path(&[
    [0.0, 0.14],
    [0.2, 0.0],
    [0.8, 0.0],
    [1.0, 0.12],
    [1.0, 0.4],
    [0.0, 0.86],
    [0.0, 1.0],
    [1.0, 1.0],
])];
const THREE: &[Piece] = &[Path(&[
    [0.0, 0.0],
    [1.0, 0.0],
    [0.45, 0.42],
    [0.8, 0.42],
    [1.0, 0.56],
    [1.0, 0.86],
    [0.8, 1.0],
    [0.2, 1.0],
    [0.0, 0.88],
])];
const FOUR: &[Piece] = &[Path(&[[0.3, 0.0], [0.0, 0.65], [1.0, 0.65]]), Path(&[[0.75, 0.35], [0.75, 1.0]])];
const FIVE: &[Piece] = &[Path(&[
    [1.0, 0.0],
    [0.0, 0.0],
    [0.0, 0.42],
    [0.8, 0.42],
    [1.0, 0.55],
    [1.0, 0.87],
    [0.8, 1.0],
    [0.2, 1.0],
    [0.0, 0.88],
])];
const SIX: &[Piece] = &[Path(&[
    [0.85, 0.0],
    [0.25, 0.0],
    [0.0, 0.15],
    [0.0, 0.88],
    [0.2, 1.0],
    [0.8, 1.0],
    [1.0, 0.87],
    [1.0, 0.57],
    [0.8, 0.44],
    [0.0, 0.44],
])];
const SEVEN: &[Piece] = &[Path(&[[0.0, 0.0], [1.0, 0.0], [1.0, 0.12], [0.35, 1.0]])];
const EIGHT: &[Piece] = &[
    Path(&[
        [0.2, 0.0],
        [0.8, 0.0],
        [1.0, 0.12],
        [1.0, 0.34],
        [0.85, 0.46],
        [0.15, 0.46],
        [0.0, 0.34],
        [0.0, 0.12],
        [0.2, 0.0],
    ]),
    Path(&[
        [0.85, 0.46],
        [1.0, 0.58],
        [1.0, 0.87],
        [0.8, 1.0],
        [0.2, 1.0],
        [0.0, 0.87],
        [0.0, 0.58],
        [0.15, 0.46],
    ]),
];
const NINE: &[Piece] = &[Path(&[
    [0.15, 1.0],
    [0.75, 1.0],
    [1.0, 0.85],
    [1.0, 0.12],
    [0.8, 0.0],
    [0.2, 0.0],
    [0.0, 0.13],
    [0.0, 0.43],
    [0.2, 0.56],
    [1.0, 0.56],
])];
// The point and the colon stand at the left of the cell, since their advance is short.
const POINT: &[Piece] = &[Dot([0.05, 0.97])];
const MINUS: &[Piece] = &[Path(&[[0.1, 0.52], [0.9, 0.52]])];
const COLON: &[Piece] = &[Dot([0.05, 0.3]), Dot([0.05, 0.78])];
