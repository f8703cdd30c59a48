//! The sample of a region while the look of its glyphs is learnt, and the scenery behind it.

use ndarray::Array2;
use rayon::prelude::*;

use super::alphabet::Alphabet;
use super::calibrate;
use super::decode::{Decoded, Placement};
use super::grammar::Grammar;
use super::margins::DigitMargins;
use super::reach::Reach;
use super::scenery::{Backdrop, Behind};

/// The sample of one region, as it is learnt from.
pub(super) struct Line<'a> {
    /// Its place among the regions.
    pub index: usize,
    pub grammar: &'a Grammar,
    pub placement: Placement,
    pub reach: &'a Reach,
    pub features: Vec<Array2<f32>>,
    /// The same without the scenery, at the contrast of the templates.
    pub bare: Vec<Array2<f32>>,
    pub backdrop: Backdrop,
    /// The margins of the digits believed in it.
    pub margins: DigitMargins,
}

impl Line<'_> {
    /// Finds the scenery behind the texts that are believed, and frees the features of it and of their contrast.
    fn look_behind(&mut self, alphabet: &Alphabet, believed: &[Option<Decoded>], contrast: f32) {
        let mut behind = Behind::nothing(self.features.first().map_or((0, 0), |features| features.dim()));
        for (features, decoded) in self.features.iter().zip(believed) {
            if let Some(decoded) = decoded {
                behind.add(features, contrast, decoded.standing(alphabet, self.placement.top));
            }
        }
        self.stand_before(Backdrop { scenery: behind.still(), contrast });
    }

    /// Takes a backdrop off the features.
    fn stand_before(&mut self, backdrop: Backdrop) {
        self.backdrop = backdrop;
        for (bare, features) in self.bare.iter_mut().zip(&self.features) {
            let mut freed = std::mem::take(bare);
            freed.assign(features);
            *bare = self.backdrop.bare(freed);
        }
    }
}

/// Contrasts that differ by less than this share from the mean are left to be found from the texts that are believed:
/// the strengths of the digits that a region shows differ by up to a fifth.
const LEAST_OTHER_CONTRAST: f32 = 0.25;

/// Finds the contrasts of lines before any text is believed, from all texts whose every character correlates with its
/// template: one of another contrast is off its template by far more than the noise, so that it would not be believed.
/// Returns whether some line's contrast is far from the mean.
pub(super) fn find_contrasts(
    lines: &mut [Line<'_>],
    alphabet: &Alphabet,
    texts: &[Vec<Option<Decoded>>],
) -> bool {
    if !alphabet.has_all_digits() {
        return false;
    }
    let contrast = |texts: &Vec<Option<Decoded>>| {
        let alike = texts.iter().flatten().filter(|text| calibrate::fit_of(text) > calibrate::BELIEVED_FIT);
        calibrate::contrast_of(alike)
    };
    let mut found = false;
    for (line, contrast) in lines.iter_mut().zip(over_mean(texts.iter().map(contrast).collect())) {
        if (contrast - 1.0).abs() > LEAST_OTHER_CONTRAST {
            line.stand_before(Backdrop { scenery: None, contrast });
            found = true;
        }
    }
    found
}

/// Contrasts of lines over their mean: of all lines together the templates have the contrast.
fn over_mean(contrasts: Vec<f32>) -> Vec<f32> {
    let mean = contrasts.iter().sum::<f32>() / contrasts.len().max(1) as f32;
    contrasts.into_iter().map(|contrast| contrast / mean).collect()
}

/// What stands behind the lines written in an alphabet, and their contrasts, from the texts that are believed. Where
/// not all digits are known nothing is said: one never taught, taken for another, would pass for scenery.
pub(super) fn look_behind(lines: &mut [Line<'_>], alphabet: &Alphabet, believed: &[Vec<Option<Decoded>>]) {
    if !alphabet.has_all_digits() {
        return;
    }
    let contrast = |(line, texts): (&Line<'_>, &Vec<Option<Decoded>>)| {
        line.backdrop.contrast * calibrate::contrast_of(texts.iter().flatten())
    };
    let contrasts = over_mean(lines.iter().zip(believed).map(contrast).collect());
    lines.par_iter_mut().zip(believed).zip(contrasts).for_each(|((line, texts), contrast)| {
        line.look_behind(alphabet, texts, contrast);
    });
}

/// Whether scenery stands still behind one of some lines.
pub(super) fn stands_still(lines: &[Line<'_>]) -> bool {
    lines.iter().any(|line| line.backdrop.scenery.is_some())
}
