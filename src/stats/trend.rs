//! A linear trend that is robust against outliers.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

use super::descriptive::{median, sorted};

/// A linear trend: its slope with an interval, and its intercept.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Trend {
    /// Median of the slopes between all pairs of points, in units of y per unit of x.
    pub slope: f64,
    /// Lower end of the interval of the slope, in units of y per unit of x.
    pub low: f64,
    /// Upper end of the interval of the slope, in units of y per unit of x.
    pub high: f64,
    /// Intercept of the line, in units of y: the median of y minus the slope times the median of x.
    pub intercept: f64,
}

/// The Theil-Sen slope: the median of the slopes between all pairs of points with different x, with its
/// interval of `probability` from Kendall's statistic (P. K. Sen, "Estimates of the regression coefficient
/// based on Kendall's tau", Journal of the American Statistical Association 63, 1968). Points are (x, y);
/// those with a number that is not finite are ignored. `None` with fewer than two different x.
#[must_use]
pub fn theil_sen(points: &[(f64, f64)], probability: f64) -> Option<Trend> {
    let points: Vec<(f64, f64)> =
        points.iter().copied().filter(|(place, value)| place.is_finite() && value.is_finite()).collect();
    let slopes = sorted(&pair_slopes(&points));
    let slope = median(&slopes)?;
    let (places, values): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let intercept = median(&values)? - slope * median(&places)?;
    let width = normal_quantile(probability) * kendall_deviation(&places, &values);
    let count = slopes.len() as f64;
    // Ranks start at 0 and are limited to the first and the last.
    let rank = |place: f64| slopes.get((place.max(0.0) as usize).min(slopes.len() - 1)).copied();
    let low = rank(((count - width) / 2.0).round() - 1.0)?;
    let high = rank(((count + width) / 2.0).round())?;
    Some(Trend { slope, low, high, intercept })
}

fn pair_slopes(points: &[(f64, f64)]) -> Vec<f64> {
    points
        .iter()
        .enumerate()
        .flat_map(|(index, one)| points.iter().skip(index + 1).map(move |other| (one, other)))
        .filter(|(one, other)| one.0 != other.0)
        .map(|(one, other)| (other.1 - one.1) / (other.0 - one.0))
        .collect()
}

/// Standard deviation of Kendall's statistic for `n` points whose x (`places`) and y (`values`) are independent:
/// `sqrt((n(n-1)(2n+5) - T) / 18)`. `T` is the sum of `t(t-1)(2t+5)` over the groups of equal x and the groups of
/// equal y; `t` is the size of a group.
fn kendall_deviation(places: &[f64], values: &[f64]) -> f64 {
    let term = |count: f64| count * (count - 1.0) * (2.0 * count + 5.0);
    let of_ties = |numbers: &[f64]| {
        sorted(numbers).chunk_by(|one, next| one == next).map(|tie| term(tie.len() as f64)).sum::<f64>()
    };
    ((term(places.len() as f64) - of_ties(places) - of_ties(values)) / 18.0).max(0.0).sqrt()
}

fn normal_quantile(probability: f64) -> f64 {
    let tail = 0.5 + probability.clamp(0.0, 0.999_999) / 2.0;
    Normal::new(0.0, 1.0).map_or(f64::INFINITY, |normal| normal.inverse_cdf(tail))
}
