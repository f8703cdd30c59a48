//! Goodness of fit: a Hotelling T-square test of whether a cell shows the digit it is read as, or another shape.

use arrayvec::ArrayVec;
use nalgebra::{DMatrix, SMatrix, SVector};

/// How well a cell fits a digit. The T-square distances are divided by the number of digits: about 1 for a cell that
/// differs from the template by noise alone, more for another shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GoodnessOfFit {
    /// T-square distance from the template.
    pub t2: f32,
    /// The same distance once faint traces of other digits are allowed for; equal to `t2` where that is small.
    pub t2_without_traces: f32,
    /// Another digit with traces of others explains the cell better: half a 3 over half a 5 makes an 8.
    pub ambiguous: bool,
    /// Margin over the runner-up: projection on the line from the runner-up (0) to this digit (1). At 1/2 the cell is
    /// as close to the one as to the other.
    pub margin: f32,
    /// Alphabet index of the runner-up, the nearest other digit.
    pub runner_up: Option<usize>,
}

impl GoodnessOfFit {
    /// The fit of a digit that differs from its template by noise alone.
    pub const USUAL: Self =
        Self { t2: 1.0, t2_without_traces: 1.0, ambiguous: false, margin: 1.0, runner_up: None };
}

/// Tests whether scores fit a digit. If the features are template k plus noise, the weighted sums
/// u_c = t_c' S^-1 f have mean G_ck and covariance G, with G_cd = t_c' S^-1 t_d; so
/// (u - G_k)' G^-1 (u - G_k) divided by the number of digits is 1 on average (Hotelling's T^2 with
/// a known covariance; T. W. Anderson, An Introduction to Multivariate Statistical Analysis,
/// section 5.2; cited from memory). A digit never taught lies elsewhere.
///
/// An encoder short of bits, or two mixed fields, leave a trace of the digit shown before: the features are
/// t_k + r (t_b - t_k), and u lies off G_k by r (G_b - G_k). With r found by least squares in the same
/// metric, the rest is tested in the same way.
#[derive(Debug, Clone)]
pub(super) struct GoodnessOfFitTest {
    /// Alphabet indices of the digits.
    digits: ArrayVec<usize, DIGITS>,
    /// G, digits x digits.
    gram: OfPairs,
    /// G^-1.
    inverse: OfPairs,
    /// (G_b - G_k)' G^-1 (G_b - G_k), for digits b and k.
    distances2: OfPairs,
}

/// Digits there are.
pub(super) const DIGITS: usize = 10;

/// A weighted sum of every digit; 0 for those there are not.
type Sums = SVector<f64, DIGITS>;
/// The same of every two digits.
type OfPairs = SMatrix<f64, DIGITS, DIGITS>;

/// T-square distance up to which traces are not tested: three times what noise alone gives.
const LITTLE: f32 = 3.0;

/// Share of its trace added to G's diagonal: templates measured with noise are not exact.
const GRAM_RIDGE_SHARE: f64 = 0.01;

/// Most that the traces of other digits may take of a digit, all together: well below a half, where it
/// would be as much the one as the other.
const MOST_TRACES: f64 = 0.4;

/// How much fainter and stronger than its template a digit may be, before bright and before dark scenery.
const CONTRASTS: (f64, f64) = (-0.4, 0.5);

/// Other digits that may have left a trace.
const TRACES: usize = 2;

impl GoodnessOfFitTest {
    /// Prepares the test; `product` gives G for two alphabet indices. `None` where G cannot be inverted.
    pub(super) fn new(
        digits: ArrayVec<usize, DIGITS>,
        product: impl Fn(usize, usize) -> f64,
    ) -> Option<Self> {
        let count = digits.len();
        let both = |i: usize, j: usize| 0.5 * (product(digits[i], digits[j]) + product(digits[j], digits[i]));
        let gram = DMatrix::from_fn(count, count, both);
        let ridge = GRAM_RIDGE_SHARE * gram.trace() / count.max(1) as f64;
        let inverse = (&gram + DMatrix::identity(count, count) * ridge).try_inverse()?;
        let filled_up =
            |pairs: &DMatrix<f64>| OfPairs::from_fn(|i, j| pairs.get((i, j)).copied().unwrap_or(0.0));
        let (gram, inverse) = (filled_up(&gram), filled_up(&inverse));
        let distances2 = OfPairs::from_fn(|i, j| {
            let between = gram.column(i) - gram.column(j);
            between.dot(&(inverse * between))
        });
        Some(Self { digits, gram, inverse, distances2 })
    }

    /// Squared distance between two digits, by alphabet index: (t_i - t_j)' S^-1 (t_i - t_j).
    pub(super) fn distance2_between(&self, one: usize, other: usize) -> Option<f32> {
        let place = |index: usize| self.digits.iter().position(|digit| *digit == index);
        Some(self.between2(place(one)?, place(other)?) as f32)
    }

    fn between2(&self, one: usize, other: usize) -> f64 {
        let squared = self.gram[(one, one)] + self.gram[(other, other)] - 2.0 * self.gram[(one, other)];
        squared.max(f64::MIN_POSITIVE)
    }

    /// Goodness of fit of a cell to character `index`, given the weighted sum of every digit there. A wider digit whose
    /// cell leaves the features has none: of it nothing is known, so its sum counts as expected.
    pub(super) fn of(&self, index: usize, weighed: impl Fn(usize) -> f32) -> GoodnessOfFit {
        let Some(own) = self.digits.iter().position(|digit| *digit == index) else {
            return GoodnessOfFit::USUAL;
        };
        let sum_of = |other: usize| {
            let sum = self.digits.get(other).map_or(0.0, |digit| f64::from(weighed(*digit)));
            if sum.is_finite() { sum } else { self.gram[(other, own)] }
        };
        let weighed = Sums::from_fn(|other, _| sum_of(other));
        let away = weighed - self.gram.column(own);
        let (margin, runner_up) = self.margin(own, &weighed);
        let t2 = self.length2(&away);
        if t2 <= LITTLE {
            return GoodnessOfFit { t2, t2_without_traces: t2, ambiguous: false, margin, runner_up };
        }
        let beyond = |digit: usize| self.length2_without_traces(digit, weighed - self.gram.column(digit));
        let t2_without_traces = beyond(own);
        let mut others = (0..self.digits.len()).filter(|other| *other != own);
        let beyond_contrast = self.length2_without_traces(own, self.at_its_contrast(own, away));
        GoodnessOfFit {
            t2,
            t2_without_traces: t2_without_traces.min(beyond_contrast),
            ambiguous: others.any(|other| beyond(other) < t2_without_traces),
            margin,
            runner_up,
        }
    }

    /// The projection on the line from the nearest other digit to this one: 1/2 and the log-likelihood ratio of the
    /// two over their squared distance.
    fn margin(&self, own: usize, weighed: &Sums) -> (f32, Option<usize>) {
        let from = |other: usize| {
            let (own2, other2) = (self.gram[(own, own)], self.gram[(other, other)]);
            let ratio = weighed[own] - weighed[other] - 0.5 * (own2 - other2);
            0.5 + ratio / self.between2(own, other)
        };
        let others = (0..self.digits.len()).filter(|other| *other != own).map(|other| (from(other), other));
        let nearest = others.min_by(|one, other| one.0.total_cmp(&other.0));
        nearest.map_or((f32::INFINITY, None), |(margin, other)| (margin as f32, Some(self.digits[other])))
    }

    fn length2(&self, away: &Sums) -> f32 {
        (away.dot(&(self.inverse * away)) / self.digits.len() as f64) as f32
    }

    /// What is left once a digit is allowed to be fainter or stronger than its template.
    fn at_its_contrast(&self, own: usize, mut away: Sums) -> Sums {
        let itself = self.gram.column(own);
        let along = self.inverse * itself;
        let share = along.dot(&away) / along.dot(&itself).max(f64::MIN_POSITIVE);
        away -= itself * share.clamp(CONTRASTS.0, CONTRASTS.1);
        away
    }

    /// The same with the traces that explain most taken off.
    fn length2_without_traces(&self, own: usize, mut away: Sums) -> f32 {
        let mut most = MOST_TRACES;
        for _ in 0..TRACES {
            // (G_b - G_k)' G^-1 away for every digit b.
            let along = self.gram.tr_mul(&(self.inverse * away));
            let trace = |other: usize| {
                let (length2, along) = (self.distances2[(other, own)], along[other] - along[own]);
                let share = (along / length2.max(f64::MIN_POSITIVE)).clamp(0.0, most);
                (share * (2.0 * along - share * length2), share, other)
            };
            let others = (0..self.digits.len()).filter(|other| *other != own);
            let Some((_, share, other)) = others.map(trace).max_by(|a, b| a.0.total_cmp(&b.0)) else {
                break;
            };
            away -= (self.gram.column(other) - self.gram.column(own)) * share;
            most -= share;
        }
        self.length2(&away)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Three digits that share some of their strokes.
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
    fn a_digit_whose_cell_leaves_the_features_says_nothing() {
        let score = |digit: usize| [30.0, 90.0, f32::NEG_INFINITY][digit];
        let known = |digit: usize| [30.0, 90.0, 30.0][digit];
        assert_eq!(test_of_three().of(1, score), test_of_three().of(1, known));
    }
}
