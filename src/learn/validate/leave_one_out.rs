//! Leave-one-out validation: the log odds that a label is wrong, given the digits of all other labels.
//!
//! Each digit of a label is compared with the mean of each digit class, computed from all *other* labels
//! ([`CellVariability`]). A large difference alone proves nothing; a label is suspected if another class
//! explains its image clearly better. If no class explains the image, for example because a horizon crosses
//! it, the difference is attributed to the background.

use ndarray::Array2;
use rayon::prelude::*;

use super::cell_distance::mean_square_difference;
use super::student::{AlternativeRatio, CellVariability, ClassDifference, ClassDifferences};
use crate::learn::cut::character::{CharacterCut, largest_digit_cell};
use crate::learn::cut::digit_prior::{DIGITS, digit_log_prior};
use crate::learn::group::size_group::SizeGroup;
use crate::learn::segment::cut_group::CutGroup;
use crate::recognise::MARGIN_PX;
use crate::recognise::features_at;

/// Prior probability that a label is wrong (set by judgement).
const WRONG_LABEL: f32 = 0.02;

/// Probability that a digit of a wrong label is wrong. Most mistakes concern one or two digits (set by judgement).
const WRONG_DIGIT: f32 = 0.5;

/// Probability that a wrong label lacks the digit at one of its ends (set by judgement).
const MISSING_DIGIT: f32 = 0.1;

/// Maximum share of a cell next to a text that may lie outside the box for the cell to be tested for a digit. The strokes
/// of a digit do not fill its cell, so a box that holds all strokes may cut the cell of the first or last digit (set by
/// judgement).
const MAX_OUTSIDE_BOX: f32 = 0.2;

/// Maximum of the log-likelihood ratio, so that its exponential stays finite.
const MAX_LOG_RATIO: f32 = 60.0;

/// The odds that a label is wrong.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LabelOdds {
    /// Index of the label among all labels.
    pub(crate) label_index: usize,
    /// Log odds that the label is wrong (natural logarithm).
    pub(crate) log_odds: f32,
    /// The most probable text of the label's image, judged by the other labels.
    pub(crate) likely_text: String,
    /// Whether the label has more characters than fit into the readout's box.
    pub(crate) is_too_long: bool,
    /// Index of another label for comparison. It contains the digit that replaces the most doubtful digit of this
    /// label in `likely_text`; of all labels with that digit, its image of the digit is the most similar one. `None`
    /// if no digit of this label is doubtful, or if no other label contains the replacing digit.
    pub(crate) conflicting: Option<usize>,
}

/// A digit of a label, with its cell.
struct DigitCell<'a> {
    cut: &'a CharacterCut,
    class: usize,
    /// Log probability of each digit, by the shape prior.
    log_prior: [f32; DIGITS],
    features: Array2<f32>,
    /// Whether the digit is the first or last of several characters. Only such a cell is tested for being empty: the
    /// label may have a digit too many at an end.
    is_end: bool,
}

/// The cell next to a labelled text, for the case that the label lacks a digit there.
struct AdjacentCell {
    label_index: usize,
    is_left: bool,
    features: Array2<f32>,
    log_prior: [f32; DIGITS],
}

/// Differences of a label's digits, and of the cells next to its text, from all digit classes.
struct LabelDifferences {
    digits: Vec<ClassDifferences>,
    adjacent: Vec<ClassDifferences>,
}

/// Sum of the cells of a digit class, and their number.
#[derive(Clone)]
struct ClassSum {
    sum: Array2<f32>,
    count: usize,
}

/// The labelled digits of a face, with the sums of each digit class.
pub(crate) struct LeaveOneOut<'a> {
    cells: Vec<DigitCell<'a>>,
    adjacent: Vec<AdjacentCell>,
    classes: Vec<ClassSum>,
    /// Indices, among all labels, of those whose text extends beyond its window.
    too_long: &'a [usize],
}

impl<'a> LeaveOneOut<'a> {
    /// Collects the digits of a face and the cells next to its texts.
    pub(crate) fn of(CutGroup { group, cuts, too_long }: &'a CutGroup<'_>) -> Self {
        let size = largest_digit_cell(cuts);
        let texts: Vec<&'a [CharacterCut]> =
            cuts.chunk_by(|one, next| one.label_index == next.label_index).collect();
        let cells = texts.par_iter().flat_map_iter(|text| digit_cells(group, text, size));
        let cells: Vec<DigitCell<'a>> = cells.collect();
        let adjacent = texts.par_iter().flat_map_iter(|text| adjacent_cells(group, text, size));
        let adjacent: Vec<AdjacentCell> = adjacent.collect();
        let mut classes = vec![ClassSum { sum: Array2::zeros(size), count: 0 }; DIGITS];
        for cell in &cells {
            classes[cell.class].sum += &cell.features;
            classes[cell.class].count += 1;
        }
        Self { cells, adjacent, classes, too_long }
    }

    /// Removes the digits of a label from the class sums for good.
    pub(crate) fn remove(&mut self, label_index: usize) {
        self.classes = self.classes_without(label_index);
        self.cells.retain(|cell| cell.cut.label_index != label_index);
    }

    /// The class sums without the digits of one label.
    fn classes_without(&self, label_index: usize) -> Vec<ClassSum> {
        let mut classes = self.classes.clone();
        for cell in self.digits_of(label_index) {
            classes[cell.class].sum -= &cell.features;
            classes[cell.class].count -= 1;
        }
        classes
    }

    /// The odds of every label that it is wrong, the most suspect label first.
    pub(crate) fn odds_of_all(&self) -> Vec<LabelOdds> {
        let mut labels: Vec<usize> = self.cells.iter().map(|cell| cell.cut.label_index).collect();
        labels.dedup();
        let differences: Vec<LabelDifferences> =
            labels.par_iter().map(|label| self.differences(*label)).collect();
        let digits = labels.iter().zip(&differences).flat_map(|(label, differences)| {
            self.digits_of(*label).map(|cell| cell.class).zip(&differences.digits)
        });
        let variability = CellVariability::of(digits);
        let odds = |(label, differences): (&usize, &LabelDifferences)| {
            self.odds_of(*label, differences, variability)
        };
        let mut all: Vec<LabelOdds> = labels.iter().zip(&differences).map(odds).collect();
        all.sort_by(|one, other| other.log_odds.total_cmp(&one.log_odds));
        all
    }

    fn digits_of(&self, label_index: usize) -> impl Iterator<Item = &DigitCell<'a>> {
        self.cells.iter().filter(move |cell| cell.cut.label_index == label_index)
    }

    fn adjacent_to(&self, label_index: usize) -> impl Iterator<Item = &AdjacentCell> {
        self.adjacent.iter().filter(move |cell| cell.label_index == label_index)
    }

    /// Differences of a label's digits, and of the cells next to its text, from the digit classes of the
    /// other labels.
    fn differences(&self, label_index: usize) -> LabelDifferences {
        let means: Vec<Option<(Array2<f32>, usize)>> = self
            .classes_without(label_index)
            .into_iter()
            .map(|ClassSum { sum, count }| (count > 0).then(|| (sum / count as f32, count)))
            .collect();
        let from_all = |features: &Array2<f32>| {
            std::array::from_fn(|class| {
                let (mean, count) = means[class].as_ref()?;
                let mean_square = mean_square_difference(features, mean);
                Some(ClassDifference { mean_square, count: *count })
            })
        };
        LabelDifferences {
            digits: self.digits_of(label_index).map(|cell| from_all(&cell.features)).collect(),
            adjacent: self.adjacent_to(label_index).map(|cell| from_all(&cell.features)).collect(),
        }
    }

    fn odds_of(
        &self,
        label_index: usize,
        differences: &LabelDifferences,
        variability: CellVariability,
    ) -> LabelOdds {
        let text = self.digits_of(label_index).next().map_or("", |cell| cell.cut.text.as_str());
        let mut log_odds = prior_log_odds();
        let mut conflicting = None;
        let mut likely: Vec<String> = text.chars().map(String::from).collect();
        let is_too_long = self.too_long.contains(&label_index);
        if is_too_long {
            log_odds += partial_log_ratio(WRONG_DIGIT, MAX_LOG_RATIO);
            let has_cell = |position| self.digits_of(label_index).any(|cell| cell.cut.position == position);
            let is_outside =
                |(position, character): &(usize, char)| character.is_ascii_digit() && !has_cell(*position);
            text.chars().enumerate().filter(is_outside).for_each(|(position, _)| likely[position].clear());
        }
        let mut strongest = 0.0;
        for (cell, differences) in self.digits_of(label_index).zip(&differences.digits) {
            let empty = cell.is_end.then_some(&cell.features);
            let AlternativeRatio { log_ratio, digit } =
                variability.other_digit_ratio(cell.class, &cell.log_prior, differences, empty);
            log_odds += partial_log_ratio(WRONG_DIGIT, log_ratio);
            if log_ratio > 0.0
                && let Some(character) = likely.get_mut(cell.cut.position)
            {
                *character = digit_text(digit);
            }
            if log_ratio > strongest {
                strongest = log_ratio;
                conflicting = digit.and_then(|digit| self.most_similar_label(cell, digit));
            }
        }
        for (cell, differences) in self.adjacent_to(label_index).zip(&differences.adjacent) {
            let AlternativeRatio { log_ratio, digit } =
                variability.extra_digit_ratio(&cell.features, &cell.log_prior, differences);
            log_odds += partial_log_ratio(MISSING_DIGIT, log_ratio);
            if log_ratio > 0.0 {
                let position = if cell.is_left { 0 } else { likely.len() };
                likely.insert(position, digit_text(digit));
            }
        }
        LabelOdds { label_index, log_odds, likely_text: likely.concat(), is_too_long, conflicting }
    }

    /// Index of the other label whose digit of the given class resembles a cell most; `None` if no other
    /// label has such a digit.
    fn most_similar_label(&self, cell: &DigitCell<'_>, class: usize) -> Option<usize> {
        let others = self
            .cells
            .iter()
            .filter(|other| other.class == class && other.cut.label_index != cell.cut.label_index);
        let rated = others.map(|other| (mean_square_difference(&cell.features, &other.features), other));
        let (_, nearest) = rated.min_by(|one, other| one.0.total_cmp(&other.0))?;
        Some(nearest.cut.label_index)
    }
}

/// The digits of a labelled text, each in a cell of the same size.
fn digit_cells<'a>(
    group: &SizeGroup<'_>,
    text: &'a [CharacterCut],
    size: (usize, usize),
) -> Vec<DigitCell<'a>> {
    let cell = |cut: &'a CharacterCut| {
        let class = cut.character.to_digit(10)? as usize;
        let last = cut.text.chars().count() - 1;
        let is_end = last > 0 && (cut.position == 0 || cut.position == last);
        let features = cut.features_in_cell(group, size)?;
        Some(DigitCell { cut, class, log_prior: digit_log_prior(&features), features, is_end })
    };
    text.iter().filter_map(cell).collect()
}

/// The cells to the left and right of a labelled text, if they lie inside the box and the setup allows
/// another digit there.
fn adjacent_cells(group: &SizeGroup<'_>, text: &[CharacterCut], size: (usize, usize)) -> Vec<AdjacentCell> {
    let found = || {
        let (first, last) = (text.first()?, text.last()?);
        let examples = group.regions.get(first.region)?;
        let digits = text.iter().filter(|cut| cut.character.is_ascii_digit()).count();
        let is_full = examples.region.digits.is_some_and(|max_digits| digits >= usize::from(max_digits));
        let features = examples.features.get(first.example)?;
        let padding = MAX_OUTSIDE_BOX * size.1 as f32;
        let inside = MARGIN_PX as f32 - padding..=features.ncols().saturating_sub(MARGIN_PX) as f32 + padding;
        let cell = |left: f32, is_left: bool| {
            let is_inside = inside.contains(&left) && inside.contains(&(left + size.1 as f32 - 1.0));
            let features = features_at(features, first.top, left, size).filter(|_| is_inside && !is_full)?;
            let (label_index, log_prior) = (first.label_index, digit_log_prior(&features));
            Some(AdjacentCell { label_index, is_left, log_prior, features })
        };
        let left = cell(first.left - size.1 as f32, true).filter(|_| first.character.is_ascii_digit());
        let right = cell(last.left + last.advance, false).filter(|_| examples.region.decimals == 0);
        Some(left.into_iter().chain(right).collect())
    };
    found().unwrap_or_default()
}

/// A digit as text; an empty text for `None`, which means an empty cell.
fn digit_text(digit: Option<usize>) -> String {
    digit.and_then(|digit| char::from_digit(digit as u32, 10)).map(String::from).unwrap_or_default()
}

/// Log odds that a label is wrong, before its image is considered (natural logarithm).
fn prior_log_odds() -> f32 {
    (WRONG_LABEL / (1.0 - WRONG_LABEL)).ln()
}

/// Log-likelihood ratio (natural logarithm) of a wrong label against a correct one. A part `share` of all wrong
/// labels has a mistake at this cell, for which the ratio is `log_ratio`; for the rest the ratio is 0.
fn partial_log_ratio(share: f32, log_ratio: f32) -> f32 {
    ((1.0 - share) + share * log_ratio.min(MAX_LOG_RATIO).exp()).ln()
}

#[cfg(test)]
mod tests {
    use super::super::cell_distance::tests::digit_cell;
    use super::super::student::tests::ratio;
    use super::*;

    /// Log odds against a label whose digits have these log ratios.
    fn log_odds(log_ratios: &[f32]) -> f32 {
        prior_log_odds() + log_ratios.iter().map(|ratio| partial_log_ratio(WRONG_DIGIT, *ratio)).sum::<f32>()
    }

    #[test]
    fn a_bright_edge_behind_a_digit_contradicts_no_label() {
        // The difference is far above the usual one, but no class explains the cell.
        let edge = Array2::from_shape_fn((16, 12), |(row, _)| if row < 8 { 80.0 } else { -80.0 });
        for class in 0..3 {
            let log_ratio = ratio(&(digit_cell(class) + &edge), class).log_ratio;
            assert!(log_odds(&[log_ratio, log_ratio]) < 1.0, "{class}: {log_ratio}");
        }
    }

    #[test]
    fn a_digit_that_no_other_label_has_is_suspected_only_if_it_resembles_a_known_one() {
        let AlternativeRatio { log_ratio, digit } = ratio(&digit_cell(1), 4);
        assert!(log_odds(&[log_ratio]) > 1.0 && digit == Some(1), "{log_ratio} {digit:?}");
        let new = ratio(&digit_cell(4), 4).log_ratio;
        assert!(log_odds(&[new]) < 1.0, "{new}");
    }
}
