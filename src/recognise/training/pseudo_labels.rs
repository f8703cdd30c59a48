//! Pseudo-labels: confidently decoded texts of the recording's sample, from which the templates and the noise
//! are re-estimated (self-training).

use ndarray::Array2;

use crate::recognise::decode::decoded::Decoded;
use crate::recognise::features::cells::{correlation, features_at};
use crate::recognise::registration::MIN_CALIBRATION_CORRELATION;
use crate::recognise::score::noise::Noise;
use crate::recognise::templates::alphabet::{Alphabet, Shape};
use crate::recognise::text::placement::Placement;
use crate::stats::upper_median;

/// Minimum part score of every digit of a pseudo-label. Set by judgement.
const MIN_PART_SCORE: f32 = 0.6;

/// Minimum correlation of a re-estimated template with the original one. Set by judgement.
const MIN_ORIGINAL_CORRELATION: f32 = 0.8;

/// Minimum correlation of a re-estimated template with the original one if the original is not reliable: its
/// noise lowers the correlation. Set by judgement.
const MIN_ORIGINAL_CORRELATION_FEW_IMAGES: f32 = 0.65;

/// Maximum change in contrast of one digit, relative to the median change of all digits; the minimum is the
/// reciprocal. The change is the new contrast divided by the original one. Set by judgement.
const MAX_CONTRAST_CHANGE_RATIO: f32 = 1.1;

/// Minimum number of cells that a template is re-estimated from. Set by judgement.
const MIN_CELLS: usize = 6;

/// Whether a text of the sample is used as a pseudo-label: every character fits its template, as a whole and in parts.
pub(in crate::recognise) fn is_pseudo_label(decoded: &Decoded, max_t2: f32) -> bool {
    decoded.min_correlation() > MIN_CALIBRATION_CORRELATION
        && decoded.max_t2() <= max_t2
        && decoded.min_part_score() > MIN_PART_SCORE
}

/// Maximum T-square distance of a pseudo-label, divided by the number of digits: three times the median over
/// all digits of some texts. Noise alone exceeds this in about 1 of 560 digits (chi-square with 10 degrees of
/// freedom).
pub(super) fn max_t2<'a>(texts: impl Iterator<Item = &'a Decoded>) -> f32 {
    let mut all: Vec<f32> = texts.flat_map(Decoded::digits).map(|digit| digit.goodness.t2).collect();
    upper_median(&mut all).map_or(f32::INFINITY, |median| 3.0 * median)
}

/// Cells of the pseudo-labels. For each character of the alphabet, `cells` holds the features of its cells,
/// each with the contrast that it had before it was scaled to that of the templates. `differences` holds the
/// differences between cells and their templates, at that original contrast.
#[derive(Default)]
pub(super) struct PseudoLabels {
    cells: Vec<Vec<(Array2<f32>, f32)>>,
    differences: Vec<Array2<f32>>,
}

impl PseudoLabels {
    /// Collects the cells of the pseudo-labels of one region. `sample` holds the features of the region in
    /// the sampled frames, and `labels` the pseudo-label of each frame, `None` if it has none. `line` is the
    /// placement and contrast of the region's text.
    pub(super) fn of(
        alphabet: &Alphabet,
        sample: &[Array2<f32>],
        line: (&Placement, f32),
        labels: &[Option<Decoded>],
    ) -> Self {
        let mut this = Self { cells: vec![Vec::new(); alphabet.shapes.len()], differences: Vec::new() };
        for (features, decoded) in sample.iter().zip(labels) {
            if let Some(decoded) = decoded {
                this.add_text(alphabet, features, decoded, line);
            }
        }
        this
    }

    /// Combines the cells of several regions with the same face.
    pub(super) fn merged(parts: Vec<Self>) -> Self {
        let mut all = Self::default();
        for part in parts {
            all.cells.resize(part.cells.len().max(all.cells.len()), Vec::new());
            all.cells.iter_mut().zip(part.cells).for_each(|(all, part)| all.extend(part));
            all.differences.extend(part.differences);
        }
        all
    }

    fn add_text(
        &mut self,
        alphabet: &Alphabet,
        features: &Array2<f32>,
        decoded: &Decoded,
        (placement, contrast): (&Placement, f32),
    ) {
        for character in &decoded.characters {
            let Some(index) = alphabet.index_of(character.character) else { continue };
            let shape = &alphabet.shapes[index];
            let Some(cell) = features_at(features, placement.top, character.left, shape.template.dim())
            else {
                continue;
            };
            if shape.template.ncols() == alphabet.cols {
                self.differences.push((&cell - &shape.template) * contrast);
            }
            self.cells[index].push((cell, contrast));
        }
        self.add_empty_cell(alphabet, features, decoded, (placement, contrast));
    }

    /// Adds the cell to the left of the text to the differences. It shows only the background, so all of its
    /// features are noise.
    fn add_empty_cell(
        &mut self,
        alphabet: &Alphabet,
        features: &Array2<f32>,
        decoded: &Decoded,
        (placement, contrast): (&Placement, f32),
    ) {
        let Some(first) = decoded.characters.first() else { return };
        let left = first.left - alphabet.cols as f32;
        if let Some(cell) = features_at(features, placement.top, left, (alphabet.rows, alphabet.cols)) {
            self.differences.push(cell * contrast);
        }
    }

    /// Re-estimates the templates. A template is replaced only by the mean of enough cells, and only if that
    /// mean correlates well with the template before any self-training (`originals`, in the order of the
    /// alphabet), and better than with any other. So a template cannot drift into another one, whatever the
    /// number of iterations.
    pub(super) fn re_estimate(&self, alphabet: &mut Alphabet, originals: &[Shape]) {
        for (index, cells) in self.cells.iter().enumerate() {
            if cells.len() < MIN_CELLS {
                continue;
            }
            let mean = mean_of(cells);
            let own = correlation(&mean, &originals[index].template);
            let rival = originals.iter().enumerate().filter(|(other, _)| *other != index);
            let rival = rival.map(|(_, shape)| correlation(&mean, &shape.template)).fold(-1.0, f32::max);
            let min_correlation = match originals[index].is_reliable() {
                true => MIN_ORIGINAL_CORRELATION,
                false => MIN_ORIGINAL_CORRELATION_FEW_IMAGES,
            };
            if own > min_correlation && own > rival {
                let shape = &mut alphabet.shapes[index];
                shape.template = mean;
                shape.image_count = shape.image_count.map(|count| count.max(cells.len() as u32));
            }
        }
    }

    /// The noise model computed from the differences between cells and templates; `None` if there are too
    /// few, or if their covariance is not positive definite.
    pub(super) fn noise(&self, alphabet: &Alphabet) -> Option<Noise> {
        Noise::from_differences(alphabet.rows, alphabet.cols, &self.differences)
    }
}

/// Limits how much the contrast of one learned digit may change compared with that of the others. All digits
/// have the same contrast on screen, but in front of a static background the pseudo-labels of one digit may
/// be only its most visible occurrences.
pub(super) fn limit_contrast_changes(shapes: &mut [Shape], originals: &[Shape]) {
    // The original is noisier, so the change is estimated by projecting the new template on it.
    let change = |(shape, original): (&Shape, &Shape)| {
        let products = |one: &Array2<f32>| (one * &shape.template).sum();
        let along = products(&original.template);
        let is_learned = shape.character.is_ascii_digit() && original.image_count.is_some();
        (is_learned && along > 0.0).then(|| products(&shape.template) / along)
    };
    let changes: Vec<Option<f32>> = shapes.iter().zip(originals).map(change).collect();
    let mut known: Vec<f32> = changes.iter().flatten().copied().collect();
    let Some(usual) = upper_median(&mut known) else { return };
    for (shape, change) in shapes.iter_mut().zip(&changes) {
        if let Some(change) = change {
            let beyond = change / usual;
            shape.template *=
                beyond.clamp(1.0 / MAX_CONTRAST_CHANGE_RATIO, MAX_CONTRAST_CHANGE_RATIO) / beyond;
        }
    }
}

/// Least-squares mean of cells: cells of higher contrast have more weight, since scaling amplified their
/// noise less.
fn mean_of(cells: &[(Array2<f32>, f32)]) -> Array2<f32> {
    let weights: f32 = cells.iter().map(|(_, contrast)| contrast * contrast).sum();
    let size = cells.first().map_or((0, 0), |(cell, _)| cell.dim());
    let add = |sum, (cell, contrast): &(Array2<f32>, f32)| sum + cell * (contrast * contrast);
    cells.iter().fold(Array2::zeros(size), add) / weights
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recognise::features::high_pass::HighPass;

    /// A digit with one upright stroke from column `left` on.
    fn shape(character: char, left: usize) -> Shape {
        let level = |(_, x): (usize, usize)| if (left..left + 2).contains(&x) { 60.0 } else { -10.0 };
        Shape { character, template: Array2::from_shape_fn((12, 8), level), advance: 8.0, image_count: None }
    }

    fn mixed(one: &Shape, other: &Shape, share: f32) -> Array2<f32> {
        &one.template * (1.0 - share) + &other.template * share
    }

    #[test]
    fn a_digit_labelled_only_where_it_stands_out_keeps_nearly_the_contrast_of_the_others() {
        let learned = |(character, left)| Shape { image_count: Some(20), ..shape(character, left) };
        let originals = [('1', 1), ('2', 5), ('3', 3)].map(learned);
        // All digits are fainter than learned, but one is labelled before a dark background only.
        let cells = [0.8, 1.2, 0.8].iter().zip(&originals);
        let cells = cells.map(|(gain, shape)| vec![(&shape.template * *gain, 1.0); 8]).collect();
        let high_pass = HighPass::for_cell_width(8.0);
        let mut alphabet = Alphabet { shapes: originals.to_vec(), rows: 12, cols: 8, high_pass, factor: 1 };
        PseudoLabels { cells, ..PseudoLabels::default() }.re_estimate(&mut alphabet, &originals);
        limit_contrast_changes(&mut alphabet.shapes, &originals);
        for (shape, gain) in alphabet.shapes.iter().zip([0.8, 0.8 * MAX_CONTRAST_CHANGE_RATIO, 0.8]) {
            let seen = shape.template[(0, 0)] / originals[0].template[(0, 0)];
            assert!((seen - gain).abs() < 1e-4, "{}: {seen}", shape.character);
        }
        // The contrasts of a built-in face are not those of the overlay.
        let drawn = originals.clone().map(|shape| Shape { image_count: None, ..shape });
        let mut shapes = drawn.clone();
        shapes[1].template *= 1.5;
        let before = shapes.clone();
        limit_contrast_changes(&mut shapes, &drawn);
        assert!(shapes.iter().zip(&before).all(|(shape, before)| shape.template == before.template));
    }

    #[test]
    fn misread_texts_do_not_turn_one_digit_into_another() {
        let (one, two) = (shape('1', 1), shape('2', 5));
        let originals = [one.clone(), two.clone()];
        let high_pass = HighPass::for_cell_width(8.0);
        let mut alphabet = Alphabet { shapes: originals.to_vec(), rows: 12, cols: 8, high_pass, factor: 1 };
        // A small difference is learned.
        let labels = PseudoLabels {
            cells: vec![vec![(mixed(&one, &two, 0.2), 1.0); 8], Vec::new()],
            ..PseudoLabels::default()
        };
        labels.re_estimate(&mut alphabet, &originals);
        assert_eq!(alphabet.shapes[0].template, mixed(&one, &two, 0.2));
        // Each iteration misreads a little more: the template stays like the original.
        for share in [0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0] {
            let cells = vec![vec![(mixed(&one, &two, share), 1.0); 8], Vec::new()];
            PseudoLabels { cells, ..PseudoLabels::default() }.re_estimate(&mut alphabet, &originals);
            let likeness = |shape: &Shape| correlation(&alphabet.shapes[0].template, &shape.template);
            assert!(likeness(&one) > MIN_ORIGINAL_CORRELATION && likeness(&one) > likeness(&two), "{share}");
        }
    }
}
