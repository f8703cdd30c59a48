//! Goodness of fit: a Hotelling T-square test of whether a cell really shows the digit that it is read as.

use arrayvec::ArrayVec;
use nalgebra::{DMatrix, SMatrix, SVector};

/// How well a cell fits a digit. T-square distances are divided by the number of digits: about 1 if the cell differs from the
/// template by noise alone, more for another shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GoodnessOfFit {
    /// T-square distance from the template.
    pub t2: f32,
    /// T-square distance after subtraction of faint traces of other digits, and of a difference in contrast if that
    /// leaves a smaller distance; equal to `t2` if `t2` is small.
    pub t2_without_traces: f32,
    /// Whether another digit together with traces of others explains the cell better: half a 3 and half a 5
    /// look like an 8.
    pub ambiguous: bool,
    /// Margin over the runner-up: position of the cell on the line from the runner-up (0) to this digit (1).
    /// At 1/2 the cell is equally close to both.
    pub margin: f32,
    /// Alphabet index of the runner-up, the nearest other digit; `None` if the alphabet has no other digit.
    pub runner_up: Option<usize>,
}

impl GoodnessOfFit {
    /// The expected fit of a digit that differs from its template by noise alone.
    pub const USUAL: Self =
        Self { t2: 1.0, t2_without_traces: 1.0, ambiguous: false, margin: 1.0, runner_up: None };
}

/// The T-square test of one alphabet.
///
/// If the features f are template k plus noise, the weighted sums u_c = t_c' S^-1 f have mean G_ck and
/// covariance G, with G_cd = t_c' S^-1 t_d. So (u - G_k)' G^-1 (u - G_k), the squared Mahalanobis distance
/// (Hotelling's T-square with a known covariance), has a chi-square distribution with as many degrees of
/// freedom as there are digits; divided by their number it is 1 on average. A digit without a glyph has a
/// larger distance.
///
/// A low bit rate, or two blended fields, leave a trace of the previous digit: the features are t_k + r (t_b
/// - t_k), and u differs from G_k by r (G_b - G_k). r is estimated by least squares in the same metric, and
///   the remainder is tested in the same way.
#[derive(Debug, Clone)]
pub(in crate::recognise) struct GoodnessOfFitTest {
    /// Alphabet indices of the digits.
    digits: ArrayVec<usize, DIGITS>,
    /// The matrix G, digits x digits.
    gram: DigitMatrix,
    /// The inverse of G plus its ridge ([`GRAM_RIDGE_SHARE`]).
    inverse: DigitMatrix,
    /// Squared Mahalanobis distance (G_b - G_k)' G^-1 (G_b - G_k) for each pair of digits b and k.
    distances2: DigitMatrix,
}

/// Number of digits.
pub(in crate::recognise) const DIGITS: usize = 10;

/// One number for each digit; 0 for digits without a glyph.
type DigitVector = SVector<f64, DIGITS>;
/// One number for each pair of digits; 0 for digits without a glyph.
type DigitMatrix = SMatrix<f64, DIGITS, DIGITS>;

/// T-square distance up to which no traces of other digits are estimated: three times the expectation under
/// noise alone.
const MAX_T2_WITHOUT_TEST: f32 = 3.0;

/// Share of the mean diagonal entry of G that is added to its diagonal (ridge), because templates contain
/// noise. Set by judgement.
const GRAM_RIDGE_SHARE: f64 = 0.01;

/// Maximum sum of the shares `r` of all traces (see [`GoodnessOfFitTest`]). With a share of 1/2, the cell
/// would be equally close to the digit and to the digit that left the trace. Set by judgement.
const MAX_TRACE_SHARE: f64 = 0.4;

/// Minimum and maximum relative difference in contrast from the template, as occur in front of bright and
/// dark backgrounds. Set by judgement.
const CONTRAST_DIFFERENCES: (f64, f64) = (-0.4, 0.5);

/// Maximum number of other digits whose traces are estimated in one cell. Set by judgement.
const MAX_TRACES: usize = 2;

impl GoodnessOfFitTest {
    /// The test for some digits, given by their alphabet indices; `product` returns the entry of G for two
    /// alphabet indices. `None` if G is singular.
    pub(in crate::recognise) fn new(
        digits: ArrayVec<usize, DIGITS>,
        product: impl Fn(usize, usize) -> f64,
    ) -> Option<Self> {
        let count = digits.len();
        let both = |i: usize, j: usize| 0.5 * (product(digits[i], digits[j]) + product(digits[j], digits[i]));
        let gram = DMatrix::from_fn(count, count, both);
        let ridge = GRAM_RIDGE_SHARE * gram.trace() / count.max(1) as f64;
        let inverse = (&gram + DMatrix::identity(count, count) * ridge).try_inverse()?;
        let padded =
            |pairs: &DMatrix<f64>| DigitMatrix::from_fn(|i, j| pairs.get((i, j)).copied().unwrap_or(0.0));
        let (gram, inverse) = (padded(&gram), padded(&inverse));
        let distances2 = DigitMatrix::from_fn(|i, j| {
            let between = gram.column(i) - gram.column(j);
            between.dot(&(inverse * between))
        });
        Some(Self { digits, gram, inverse, distances2 })
    }

    /// Squared Mahalanobis distance between two digits, given by their alphabet indices: (t_i - t_j)' S^-1
    /// (t_i - t_j). `None` if one of them is no digit of the alphabet.
    pub(in crate::recognise) fn distance2_between(&self, one: usize, other: usize) -> Option<f32> {
        let place = |index: usize| self.digits.iter().position(|digit| *digit == index);
        Some(self.between2(place(one)?, place(other)?) as f32)
    }

    fn between2(&self, one: usize, other: usize) -> f64 {
        let squared = self.gram[(one, one)] + self.gram[(other, other)] - 2.0 * self.gram[(one, other)];
        squared.max(f64::MIN_POSITIVE)
    }

    /// Goodness of fit of a cell to the character with alphabet index `index`. `weighted_sum` takes the alphabet index of
    /// a digit c and returns u_c, the sum of the cell's features weighted by the digit's matched filter (see
    /// [`GoodnessOfFitTest`]). If the digit's cell would extend beyond the features, u_c is not finite and is
    /// replaced by its expectation for the character `index`.
    pub(in crate::recognise) fn of(
        &self,
        index: usize,
        weighted_sum: impl Fn(usize) -> f32,
    ) -> GoodnessOfFit {
        let Some(own) = self.digits.iter().position(|digit| *digit == index) else {
            return GoodnessOfFit::USUAL;
        };
        let sum_of = |other: usize| {
            let sum = self.digits.get(other).map_or(0.0, |digit| f64::from(weighted_sum(*digit)));
            if sum.is_finite() { sum } else { self.gram[(other, own)] }
        };
        let weighted_sums = DigitVector::from_fn(|other, _| sum_of(other));
        let residual = weighted_sums - self.gram.column(own);
        let (margin, runner_up) = self.margin(own, &weighted_sums);
        let t2 = self.distance2(&residual);
        if t2 <= MAX_T2_WITHOUT_TEST {
            return GoodnessOfFit { t2, t2_without_traces: t2, ambiguous: false, margin, runner_up };
        }
        let without_traces =
            |digit: usize| self.distance2_without_traces(digit, weighted_sums - self.gram.column(digit));
        let t2_without_traces = without_traces(own);
        let mut others = (0..self.digits.len()).filter(|other| *other != own);
        let at_contrast = self.distance2_without_traces(own, self.without_contrast(own, residual));
        GoodnessOfFit {
            t2,
            t2_without_traces: t2_without_traces.min(at_contrast),
            ambiguous: others.any(|other| without_traces(other) < t2_without_traces),
            margin,
            runner_up,
        }
    }

    /// Margin over the runner-up, and the alphabet index of the runner-up. The margin is 1/2 plus the
    /// log-likelihood ratio of the two digits divided by their squared distance.
    fn margin(&self, own: usize, weighted_sums: &DigitVector) -> (f32, Option<usize>) {
        let from = |other: usize| {
            let (own2, other2) = (self.gram[(own, own)], self.gram[(other, other)]);
            let ratio = weighted_sums[own] - weighted_sums[other] - 0.5 * (own2 - other2);
            0.5 + ratio / self.between2(own, other)
        };
        let others = (0..self.digits.len()).filter(|other| *other != own).map(|other| (from(other), other));
        let nearest = others.min_by(|one, other| one.0.total_cmp(&other.0));
        nearest.map_or((f32::INFINITY, None), |(margin, other)| (margin as f32, Some(self.digits[other])))
    }

    /// T-square distance of a residual (observed minus expected weighted sums), divided by the number of
    /// digits.
    fn distance2(&self, residual: &DigitVector) -> f32 {
        (residual.dot(&(self.inverse * residual)) / self.digits.len() as f64) as f32
    }

    /// The residual after a difference in contrast from the template is subtracted.
    fn without_contrast(&self, own: usize, mut residual: DigitVector) -> DigitVector {
        let itself = self.gram.column(own);
        let along = self.inverse * itself;
        let share = along.dot(&residual) / along.dot(&itself).max(f64::MIN_POSITIVE);
        residual -= itself * share.clamp(CONTRAST_DIFFERENCES.0, CONTRAST_DIFFERENCES.1);
        residual
    }

    /// T-square distance of a residual after subtracting the traces of other digits that explain most of it.
    fn distance2_without_traces(&self, own: usize, mut residual: DigitVector) -> f32 {
        let mut max_share = MAX_TRACE_SHARE;
        for _ in 0..MAX_TRACES {
            // (G_b - G_k)' G^-1 residual for every digit b.
            let along = self.gram.tr_mul(&(self.inverse * residual));
            let trace = |other: usize| {
                let (length2, along) = (self.distances2[(other, own)], along[other] - along[own]);
                let share = (along / length2.max(f64::MIN_POSITIVE)).clamp(0.0, max_share);
                (share * (2.0 * along - share * length2), share, other)
            };
            let others = (0..self.digits.len()).filter(|other| *other != own);
            let Some((_, share, other)) = others.map(trace).max_by(|a, b| a.0.total_cmp(&b.0)) else {
                break;
            };
            residual -= (self.gram.column(other) - self.gram.column(own)) * share;
            max_share -= share;
        }
        self.distance2(&residual)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// The test for three digits that share some strokes.
    fn test_of_three() -> GoodnessOfFitTest {
        GoodnessOfFitTest::new(
            [0, 1, 2].into_iter().collect(),
            |one, other| if one == other { 100.0 } else { 30.0 },
        )
        .unwrap()
    }

    #[test]
    fn a_digit_fits_its_own_template_and_another_shape_does_not() {
        let as_expected = test_of_three().of(1, |digit| if digit == 1 { 100.0 } else { 30.0 });
        assert!(as_expected.t2 < 0.01 && (as_expected.margin - 1.0).abs() < 1e-6, "{as_expected:?}");
        let another = test_of_three().of(1, |digit| if digit == 1 { 100.0 } else { -60.0 });
        assert!(another.t2 > 10.0, "{another:?}");
    }

    #[test]
    fn a_digit_whose_cell_leaves_the_features_counts_as_expected() {
        let score = |digit: usize| [30.0, 90.0, f32::NEG_INFINITY][digit];
        let known = |digit: usize| [30.0, 90.0, 30.0][digit];
        assert_eq!(test_of_three().of(1, score), test_of_three().of(1, known));
    }
}
