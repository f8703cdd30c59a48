//! Tests the normalised correlation against that of the crate `imageproc` (`match_template` with
//! `CrossCorrelationNormalized`: sum(T I) / sqrt(sum(T T) sum(I I))).

use image::{GrayImage, Luma};
use imageproc::template_matching::{MatchTemplateMethod, match_template};
use ndarray::Array2;
use pairspeed::recognise::correlations;

/// An irregular image: the high bits of a linear congruential sequence.
fn noise(width: u32, height: u32, seed: u32) -> GrayImage {
    let mut state = seed;
    GrayImage::from_fn(width, height, |_, _| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        Luma([(state >> 24) as u8])
    })
}

fn levels(picture: &GrayImage) -> Array2<f32> {
    Array2::from_shape_fn((picture.height() as usize, picture.width() as usize), |(y, x)| {
        f32::from(picture.get_pixel(x as u32, y as u32).0[0])
    })
}

#[test]
fn normalised_correlation_is_that_of_imageproc() {
    for (seed, width, height) in [(1, 9, 13), (2, 12, 18), (3, 7, 5)] {
        let (picture, template) = (noise(40, 30, seed), noise(width, height, seed + 100));
        let expected = match_template(&picture, &template, MatchTemplateMethod::CrossCorrelationNormalized);
        let (features, shape) = (levels(&picture), levels(&template));
        for y in 0..expected.height() {
            let found = correlations(&shape, &features, y as usize);
            assert_eq!(found.len(), expected.width() as usize);
            for (x, found) in (0..).zip(found) {
                let value = expected.get_pixel(x, y).0[0];
                assert!((found - value).abs() < 1e-5, "{x} {y}: {found} {value}");
            }
        }
    }
}
