//! Descriptive statistics, each with its exact definition. Values that are not finite count as missing.

/// Ratio of the standard deviation of normal data to the median absolute deviation: 1 / 0.6744897501960817, where the
/// denominator is the upper quartile of the standard normal distribution.
pub const MAD_TO_SIGMA: f64 = 1.482_602_218_505_602;

/// The finite values in ascending order.
#[must_use]
pub fn sorted(values: &[f64]) -> Vec<f64> {
    let mut finite: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    finite.sort_by(f64::total_cmp);
    finite
}

/// The quantile of `values` at `share`, 0 to 1: linear interpolation between the two order statistics around
/// `share * (n - 1)`. `None` without finite values.
#[must_use]
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let sorted = sorted(values);
    let place = share.clamp(0.0, 1.0) * (sorted.len().checked_sub(1)? as f64);
    let below = *sorted.get(place.floor() as usize)?;
    let above = *sorted.get(place.ceil() as usize)?;
    Some(below + (above - below) * place.fract())
}

/// The median: the middle value, or the mean of the two middle ones. `None` without finite values.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// Robust spread: 1.4826 x median(|x - median(x)|), which equals the standard deviation of normal data.
/// `None` without finite values.
#[must_use]
pub fn scaled_mad(values: &[f64]) -> Option<f64> {
    let middle = median(values)?;
    let deviations: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    median(&deviations).map(|mad| MAD_TO_SIGMA * mad)
}

/// The median of values that a display has rounded to steps of `quantum`, interpolated within the middle step (the
/// grouped-data median): `L + q (n/2 - B) / M` for `n` values and the step `q` = `quantum`. `L` is the lower edge of
/// the step that contains the plain median, `B` the number of values below that step, and `M` the number within it.
///
/// If all values are equal, the result is that value. A plain median between two steps is returned unchanged,
/// and so is the plain median if `quantum` is not positive.
#[must_use]
pub fn grouped_median(values: &[f64], quantum: f64) -> Option<f64> {
    let middle = median(values)?;
    if quantum.is_nan() || quantum <= 0.0 {
        return Some(middle);
    }
    let lower_edge = middle - quantum / 2.0;
    let finite = values.iter().filter(|value| value.is_finite());
    let (mut total, mut below, mut within) = (0.0, 0.0, 0.0);
    for value in finite {
        total += 1.0;
        if *value < lower_edge + 1e-9 * quantum {
            below += 1.0;
        } else if *value < lower_edge + quantum - 1e-9 * quantum {
            within += 1.0;
        }
    }
    Some(if within > 0.0 { lower_edge + quantum * (total / 2.0 - below) / within } else { middle })
}

/// Arithmetic mean, computed in two passes. `None` without finite values.
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    let (sum, count) = sum_and_count(values.iter().copied());
    let first = (count > 0.0).then(|| sum / count)?;
    let (rest, _) = sum_and_count(values.iter().map(|value| value - first));
    Some(first + rest / count)
}

/// Sample standard deviation, with the divisor n - 1. `None` for fewer than two values.
#[must_use]
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    let centre = mean(values)?;
    let (squares, count) = sum_and_count(values.iter().map(|value| (value - centre).powi(2)));
    (count > 1.0).then(|| (squares / (count - 1.0)).sqrt())
}

/// Lag-one autocorrelation: the sum of `(x_i - m)(x_{i+1} - m)` over the sum of `(x_i - m)^2`, with the mean
/// `m`. `None` if it is undefined (fewer than two values, or all equal).
///
/// Source of the definition: NIST/SEMATECH e-Handbook of Statistical Methods, autocorrelation.
#[must_use]
pub fn lag_one_autocorrelation(values: &[f64]) -> Option<f64> {
    let centre = mean(values)?;
    let (squares, count) = sum_and_count(values.iter().map(|value| (value - centre).powi(2)));
    let products = values.windows(2).map(|two| (two[0] - centre) * (two[1] - centre));
    let (products, _) = sum_and_count(products);
    (count > 1.0 && squares > 0.0).then(|| products / squares)
}

/// Effective number of independent samples in the mean of `count` correlated samples whose correlation falls
/// off as `r^k` over `k` samples (a first-order autoregressive process): `n / (1 + 2 sum_{k=1}^{n-1} (1 -
/// k/n) r^k)`, in closed form. For large `n` it tends to `n (1 - r) / (1 + r)`. `r` is limited to the range 0
/// to 1, so that a negative correlation does not increase the number.
#[must_use]
pub fn effective_count(count: f64, r: f64) -> f64 {
    if count.is_nan() || count <= 1.0 {
        return count.max(0.0);
    }
    let r = if r.is_nan() { 0.0 } else { r.clamp(0.0, 1.0) };
    if r > 1.0 - 1e-9 {
        return 1.0;
    }
    let tail = 2.0 * r * (1.0 - r.powf(count)) / (count * (1.0 - r).powi(2));
    (count / ((1.0 + r) / (1.0 - r) - tail)).clamp(1.0, count)
}

fn sum_and_count(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values
        .filter(|value| value.is_finite())
        .fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0))
}
