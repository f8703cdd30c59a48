//! Tests of the shape prior.

#![allow(clippy::unwrap_used)]

use ndarray::concatenate;

use super::*;
use crate::glyphs::builtin_sets;
use crate::recognise::templates::alphabet::Alphabet;

fn best(logarithms: &[f32; DIGITS]) -> usize {
    (0..DIGITS).max_by(|a, b| logarithms[*a].total_cmp(&logarithms[*b])).unwrap()
}

/// Features of the built-in digits at some size. They were drawn for this program, and the network was not
/// trained on them.
fn builtin_digits(scale: f32) -> Vec<(usize, Array2<f32>)> {
    let faces = builtin_sets().unwrap().into_iter().flat_map(|set| set.faces);
    let shapes = faces.flat_map(|face| Alphabet::new(&face, (scale, scale)).shapes);
    shapes.filter_map(|one| Some((one.character.to_digit(10)? as usize, one.template))).collect()
}

/// Compared with the output of `scripts/digit_shapes/train.py` for the same cell.
#[test]
fn the_network_gives_the_same_probabilities_as_in_training() {
    let cell = Array2::from_shape_fn((19, 11), |(y, x)| {
        let (y, x) = (y as f32, x as f32);
        let stroke = y < 4.0 || (x - (10.0 - 0.5 * y)).abs() < 1.5;
        (if stroke { 60.0 } else { -15.0 }) + 0.5 * x - 0.25 * y
    });
    let expected = [-7.5799, -7.3381, -7.2190, -7.5887, -6.8209, -7.2039, -7.1170, -0.0060, -7.7778, -7.6212];
    let found = ShapePrior::embedded().log_probabilities(&cell);
    for (found, expected) in found.iter().zip(expected) {
        assert!((found - expected).abs() < 0.01, "{found} {expected}");
    }
}

#[test]
fn digits_of_faces_not_trained_on_are_recognised() {
    for scale in [0.7, 1.0, 1.6, 3.0] {
        let digits = builtin_digits(scale);
        assert_eq!(digits.len(), 30);
        for (digit, template) in digits {
            let found = ShapePrior::embedded().log_probabilities(&template);
            assert!(found[digit].exp() > 0.95, "{digit} at {scale}: {found:?}");
        }
    }
}

#[test]
fn parts_of_neighbours_do_not_mislead() {
    let mut right = 0;
    for face in builtin_digits(1.0).chunks(DIGITS) {
        let eight = &face[8].1;
        for (digit, template) in face {
            let text = concatenate![Axis(1), *eight, *template, *eight];
            for left in [eight.ncols() - 1, eight.ncols() + 1] {
                let cell = text.slice(ndarray::s![.., left..left + template.ncols()]).to_owned();
                let found = ShapePrior::embedded().log_probabilities(&cell);
                right += usize::from(best(&found) == *digit);
                assert!(best(&found) == *digit || found[best(&found)] < 0.8_f32.ln(), "{digit}: {found:?}");
            }
        }
    }
    assert!(right >= 57, "{right} of 60");
}

#[test]
fn polarity_makes_no_difference() {
    let prior = ShapePrior::embedded();
    for (digit, template) in builtin_digits(1.0) {
        let (bright, dark) = (prior.log_probabilities(&template), prior.log_probabilities(&-&template));
        let differences = bright.iter().zip(&dark).map(|(bright, dark)| (bright - dark).abs());
        assert!(differences.fold(0.0, f32::max) < 1e-3, "{digit}: {bright:?} {dark:?}");
    }
}

#[test]
fn a_cell_without_a_digit_is_left_open() {
    let noise = |level: f32| {
        Array2::from_shape_fn((18, 12), |(y, x)| ((y * 31 + x * 17) % 7 * 3 % 7) as f32 * level - 3.0 * level)
    };
    let (flat, empty, broken) =
        (Array2::zeros((18, 12)), Array2::zeros((0, 5)), Array2::from_elem((18, 12), f32::NAN));
    for (cell, most) in [(flat, 0.2), (empty, 0.11), (broken, 0.11), (noise(0.1), 0.2), (noise(10.0), 0.5)] {
        let found = ShapePrior::embedded().log_probabilities(&cell);
        let total: f32 = found.iter().map(|logarithm| logarithm.exp()).sum();
        assert!((total - 1.0).abs() < 1e-4, "{total}");
        assert!(found[best(&found)].exp() < most, "{found:?}");
    }
}
