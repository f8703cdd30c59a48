//! Likelihood of the digit classes for one cell, computed from its differences to the means of the classes.
//!
//! Given a class, the mean square difference `D` of `n`-dimensional features from a mean of `m` cells follows
//! a multivariate Student distribution: a Gaussian whose variance differs between images (A. Gelman et al.,
//! Bayesian Data Analysis, 3rd edition, section 3.6). With `v` degrees of freedom and the scale `s = w (1 +
//! 1/m)`, where `w` is the usual mean square difference within a class, the log density up to a constant is
//! `-n/2 ln s - (v + n)/2 ln(1 + n D / (v s))`.

use ndarray::Array2;

use crate::learn::cut::digit_prior::DIGITS;
use crate::stats::upper_median;

/// Probability that a correctly labelled digit resembles no class, for example in front of a horizon or in a
/// damaged frame (set by judgement).
const OUTLIER_PROBABILITY: f32 = 0.3;

/// Mean square difference assumed for a cell that resembles no class, relative to the usual mean square
/// difference between classes (set by judgement).
const OUTLIER_DIFFERENCE: f32 = 0.35;

/// Degrees of freedom of the Student distribution of a cell's difference from a class mean: the fewer, the more the
/// variance differs between images (set by judgement).
const DEGREES_OF_FREEDOM: f32 = 4.0;

/// Number of independent features of a cell. Neighbouring pixels are correlated, so this number is far below the
/// number of pixels (set by judgement).
const DIMENSIONS: f32 = 10.0;

/// Minimum of the mean square difference between cells of one class, as a share of that between cells of different
/// classes. Estimates below this minimum come from too few cuts (set by judgement).
const MIN_RELATIVE_WITHIN: f32 = 0.04;

/// Assumed mean square difference between cells of one class, as a share of that between cells of different classes.
/// It is used if too few digits are labelled twice for an estimate (set by judgement).
const USUAL_RELATIVE_WITHIN: f32 = 0.15;

/// Minimum number of differences between a cell and the mean of its own class for `within` of [`CellVariability`] to
/// be their median; with fewer, [`USUAL_RELATIVE_WITHIN`] is used (set by judgement).
const MIN_WITHIN: usize = 3;

/// The log-likelihood ratio of the alternatives to a labelled digit, and the most probable alternative.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct AlternativeRatio {
    /// Log-likelihood ratio of all alternatives together against the label (natural logarithm); positive if they are
    /// more likely.
    pub(crate) log_ratio: f32,
    /// The most probable alternative: a digit, or `None` for an empty cell.
    pub(crate) digit: Option<usize>,
}

/// Difference of a cell from the mean of a digit class.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ClassDifference {
    /// Mean square difference, in squared grey levels.
    pub(crate) mean_square: f32,
    /// Number of cells that the mean of the class is computed from.
    pub(crate) count: usize,
}

impl ClassDifference {
    /// Mean square difference between the cell and the class mean, less the part that comes from the noise of the
    /// mean, which is computed from `count` cells; in squared grey levels.
    fn corrected_for_class_size(self) -> f32 {
        self.mean_square / (1.0 + 1.0 / self.count as f32)
    }
}

/// Differences of a cell from the means of the ten digit classes; `None` for classes without a cell.
pub(crate) type ClassDifferences = [Option<ClassDifference>; DIGITS];

/// Usual mean square differences between cells of a face, in squared grey levels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct CellVariability {
    /// Mean square difference of a cell from the mean of its own class, without the noise of that mean, in squared
    /// grey levels.
    within: f32,
    /// Mean square difference of a cell from the mean of another class, without the noise of that mean, in squared
    /// grey levels.
    between: f32,
}

impl CellVariability {
    /// Computes both values as medians over all labelled digits. Each digit is given by its class and its differences
    /// from all classes.
    pub(crate) fn of<'a>(digits: impl Iterator<Item = (usize, &'a ClassDifferences)>) -> Self {
        let (mut within, mut between) = (Vec::new(), Vec::new());
        for (labelled, differences) in digits {
            for (class, difference) in differences.iter().enumerate() {
                let Some(difference) = difference else { continue };
                let list = if class == labelled { &mut within } else { &mut between };
                list.push(difference.corrected_for_class_size());
            }
        }
        let count = within.len();
        let between = upper_median(&mut between).unwrap_or(f32::MIN_POSITIVE).max(f32::MIN_POSITIVE);
        let within = match upper_median(&mut within) {
            Some(within) if count >= MIN_WITHIN => within,
            _ => USUAL_RELATIVE_WITHIN * between,
        };
        Self { within: within.max(MIN_RELATIVE_WITHIN * between), between }
    }

    /// Natural logarithm of the Student density of a cell's difference from a class mean, up to a constant.
    fn log_density(&self, ClassDifference { mean_square, count }: ClassDifference) -> f32 {
        let scale = self.within * (1.0 + 1.0 / count as f32);
        let length2 = DIMENSIONS * mean_square / (DEGREES_OF_FREEDOM * scale);
        -0.5 * DIMENSIONS * scale.ln() - 0.5 * (DEGREES_OF_FREEDOM + DIMENSIONS) * (1.0 + length2).ln()
    }

    /// Log density of a cell that resembles no known class.
    fn log_density_of_outlier(&self) -> f32 {
        let mean_square = OUTLIER_DIFFERENCE * self.between;
        self.log_density(ClassDifference { mean_square, count: usize::MAX })
    }

    /// Log density of a cell that shows no digit, up to the same constant as for a digit. The expected features are
    /// zero; an empty cell has the prior probability of one digit in ten.
    fn log_density_of_empty(&self, features: &Array2<f32>) -> f32 {
        let energy = features.iter().map(|level| level * level).sum::<f32>() / features.len().max(1) as f32;
        self.log_density(ClassDifference { mean_square: energy, count: usize::MAX }) - (DIGITS as f32).ln()
    }

    /// Log-likelihood ratio of all other digits against the labelled one. `log_prior` is the shape prior of
    /// each digit. `empty` holds the features of the cell if the cell may also be empty, as at the end of a
    /// text.
    pub(crate) fn other_digit_ratio(
        &self,
        labelled: usize,
        log_prior: &[f32; DIGITS],
        differences: &ClassDifferences,
        empty: Option<&Array2<f32>>,
    ) -> AlternativeRatio {
        let outlier = self.log_density_of_outlier();
        let density =
            |class: usize| log_prior[class] + differences[class].map_or(outlier, |d| self.log_density(d));
        let others =
            (0..DIGITS).filter(|class| *class != labelled).map(|class| (density(class), Some(class)));
        let empty = empty.map(|features| (self.log_density_of_empty(features), None));
        let (sum, digit) = sum_and_best(others.chain(empty));
        let outlier = OUTLIER_PROBABILITY.ln() + log_prior[labelled] + outlier;
        // A wrong digit is one of the nine others.
        let log_ratio = sum - ((DIGITS - 1) as f32).ln() - log_sum(density(labelled), outlier);
        AlternativeRatio { log_ratio, digit }
    }

    /// Log-likelihood ratio of any digit against an empty cell, for a cell next to a labelled text.
    pub(crate) fn extra_digit_ratio(
        &self,
        features: &Array2<f32>,
        log_prior: &[f32; DIGITS],
        differences: &ClassDifferences,
    ) -> AlternativeRatio {
        let digits = (0..DIGITS).filter_map(|class| {
            Some((log_prior[class] + self.log_density(differences[class]?), Some(class)))
        });
        let (sum, digit) = sum_and_best(digits);
        let empty = self.log_density_of_empty(features);
        let outlier = OUTLIER_PROBABILITY.ln() - (DIGITS as f32).ln() + self.log_density_of_outlier();
        AlternativeRatio { log_ratio: sum - log_sum(empty, outlier), digit }
    }
}

/// Natural logarithm of the sum of the probabilities, and the alternative with the greatest probability. `densities`
/// holds the natural logarithm of the probability of each alternative, and the alternative: a digit, or `None` for an
/// empty cell.
fn sum_and_best(densities: impl Iterator<Item = (f32, Option<usize>)>) -> (f32, Option<usize>) {
    let start = (f32::NEG_INFINITY, (f32::NEG_INFINITY, Some(0)));
    let (sum, (_, digit)) = densities
        .fold(start, |(sum, best), one| (log_sum(sum, one.0), if one.0 > best.0 { one } else { best }));
    (sum, digit)
}

/// Logarithm of the sum of two probabilities, which are given as logarithms.
fn log_sum(one: f32, other: f32) -> f32 {
    let max = one.max(other);
    if max == f32::NEG_INFINITY {
        return max;
    }
    max + ((one - max).exp() + (other - max).exp()).ln()
}

#[cfg(test)]
pub(crate) mod tests {
    use super::super::cell_distance::mean_square_difference;
    use super::super::cell_distance::tests::digit_cell;
    use super::*;

    /// Ratio against a label, with three known classes of which two have five cells.
    pub(crate) fn ratio(cell: &Array2<f32>, labelled: usize) -> AlternativeRatio {
        let differences: ClassDifferences = std::array::from_fn(|class| {
            let mean_square = mean_square_difference(cell, &digit_cell(class));
            (class < 3).then_some(ClassDifference { mean_square, count: if class == 2 { 1 } else { 5 } })
        });
        let between = mean_square_difference(&digit_cell(0), &digit_cell(1));
        let variability = CellVariability { within: 40.0, between };
        let log_prior = [-(DIGITS as f32).ln(); DIGITS];
        variability.other_digit_ratio(labelled, &log_prior, &differences, None)
    }

    #[test]
    fn a_cell_of_another_class_contradicts_its_label_and_one_of_its_own_does_not() {
        let AlternativeRatio { log_ratio, digit } = ratio(&digit_cell(1), 0);
        assert!(log_ratio > 5.0 && digit == Some(1), "{log_ratio} {digit:?}");
        assert!(ratio(&digit_cell(0), 0).log_ratio < -5.0);
    }

    #[test]
    fn probabilities_are_added_as_logarithms() {
        let logs = [(0.25_f32.ln(), Some(3)), (0.5_f32.ln(), Some(4))];
        let (sum, best) = sum_and_best(logs.into_iter());
        assert!((sum - 0.75_f32.ln()).abs() < 1e-6 && best == Some(4));
        assert_eq!(log_sum(f32::NEG_INFINITY, f32::NEG_INFINITY), f32::NEG_INFINITY);
    }
}
