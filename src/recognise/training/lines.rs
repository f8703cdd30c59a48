//! Training lines: the sample of one region during self-training, with its static background and contrast.

use ndarray::Array2;
use rayon::prelude::*;

use crate::recognise::decode::decoded::{Decoded, median_contrast};
use crate::recognise::decode::margins::DigitMargins;
use crate::recognise::registration::MIN_CALIBRATION_CORRELATION;
use crate::recognise::score::background::{Background, BackgroundEstimate};
use crate::recognise::templates::alphabet::Alphabet;
use crate::recognise::templates::column_mask::ColumnMask;
use crate::recognise::text::grammar::Grammar;
use crate::recognise::text::placement::Placement;

/// The sample of one region, and what self-training estimates from it for this region alone.
pub(in crate::recognise) struct TrainingLine<'a> {
    /// Index of the region in the setup.
    pub index: usize,
    pub grammar: &'a Grammar,
    pub placement: Placement,
    pub mask: &'a ColumnMask,
    /// Features of every sampled frame, in grey levels.
    pub features: Vec<Array2<f32>>,
    /// Features of every sampled frame without the static background, scaled to the contrast of the
    /// templates.
    pub foreground: Vec<Array2<f32>>,
    pub background: Background,
    /// The margins of the digits in the region's pseudo-labels.
    pub margins: DigitMargins,
}

impl TrainingLine<'_> {
    /// Estimates the static background from the pseudo-labels and subtracts it.
    fn estimate_background(&mut self, alphabet: &Alphabet, labels: &[Option<Decoded>], contrast: f32) {
        let size = self.features.first().map_or((0, 0), |features| features.dim());
        let mut estimate = BackgroundEstimate::empty(size);
        for (features, decoded) in self.features.iter().zip(labels) {
            if let Some(decoded) = decoded {
                let templates = decoded.placed_templates(alphabet, self.placement.top);
                estimate.add(features, contrast, templates);
            }
        }
        self.set_background(Background { features: estimate.static_background(), contrast });
    }

    /// Sets the background and subtracts it from the features.
    fn set_background(&mut self, background: Background) {
        self.background = background;
        for (foreground, features) in self.foreground.iter_mut().zip(&self.features) {
            let mut copy = std::mem::take(foreground);
            copy.assign(features);
            *foreground = self.background.subtract_from(copy);
        }
    }
}

/// The contrast of a line is set before there are pseudo-labels only if it differs from the mean contrast of
/// all lines by more than this share of the mean. The contrasts of the digits within one region alone differ
/// by up to a fifth. Set by judgement.
const MIN_CONTRAST_DIFFERENCE: f32 = 0.25;

/// Sets the contrasts of training lines before there are pseudo-labels, from all texts whose characters
/// correlate with their templates. Without this, a text whose contrast differs from that of the templates
/// would never become a pseudo-label, because the difference is far larger than the noise. Returns whether
/// the contrast of at least one line was changed.
pub(super) fn estimate_contrasts(
    lines: &mut [TrainingLine<'_>],
    alphabet: &Alphabet,
    texts: &[Vec<Option<Decoded>>],
) -> bool {
    if !alphabet.has_all_digits() {
        return false;
    }
    let contrast = |texts: &Vec<Option<Decoded>>| {
        let is_good = |text: &&Decoded| text.min_correlation() > MIN_CALIBRATION_CORRELATION;
        median_contrast(texts.iter().flatten().filter(is_good))
    };
    let mut changed = false;
    for (line, contrast) in lines.iter_mut().zip(relative_to_mean(texts.iter().map(contrast).collect())) {
        if (contrast - 1.0).abs() > MIN_CONTRAST_DIFFERENCE {
            line.set_background(Background { features: None, contrast });
            changed = true;
        }
    }
    changed
}

/// Contrasts of lines relative to their mean, since the templates have the mean contrast of all lines.
fn relative_to_mean(contrasts: Vec<f32>) -> Vec<f32> {
    let mean = contrasts.iter().sum::<f32>() / contrasts.len().max(1) as f32;
    contrasts.into_iter().map(|contrast| contrast / mean).collect()
}

/// Estimates the static background and contrast of the training lines of one face from their pseudo-labels.
/// Does nothing if the glyph set lacks digits: a digit without a glyph would be read as another digit, and
/// the difference between the two would become a part of the background.
pub(super) fn estimate_backgrounds(
    lines: &mut [TrainingLine<'_>],
    alphabet: &Alphabet,
    labels: &[Vec<Option<Decoded>>],
) {
    if !alphabet.has_all_digits() {
        return;
    }
    let contrast = |(line, texts): (&TrainingLine<'_>, &Vec<Option<Decoded>>)| {
        line.background.contrast * median_contrast(texts.iter().flatten())
    };
    let contrasts = relative_to_mean(lines.iter().zip(labels).map(contrast).collect());
    lines.par_iter_mut().zip(labels).zip(contrasts).for_each(|((line, texts), contrast)| {
        line.estimate_background(alphabet, texts, contrast);
    });
}

/// Whether at least one of some training lines has a static background.
pub(super) fn have_static_background(lines: &[TrainingLine<'_>]) -> bool {
    lines.iter().any(|line| line.background.features.is_some())
}
