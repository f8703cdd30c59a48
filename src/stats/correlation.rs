//! Pearson's correlation and the least-squares slope of pairs.

/// Sums over pairs (x, y), with the deviations from the means: of the squared deviations of x, of the squared
/// deviations of y, and of the products of both deviations.
fn moments(pairs: &[(f64, f64)]) -> (f64, f64, f64) {
    let count = pairs.len().max(1) as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>() / count;
    let (first_mean, second_mean) = (mean(|pair| pair.0), mean(|pair| pair.1));
    pairs.iter().fold((0.0, 0.0, 0.0), |(first, second, both), (one, other)| {
        let (one, other) = (one - first_mean, other - second_mean);
        (first + one * one, second + other * other, both + one * other)
    })
}

/// Pearson's correlation coefficient of pairs (x, y), -1 to 1; 0 if x or y is constant.
#[must_use]
pub fn correlation(pairs: &[(f64, f64)]) -> f64 {
    let (first, second, both) = moments(pairs);
    let scale = (first * second).sqrt();
    if scale > 0.0 { both / scale } else { 0.0 }
}

/// Slope of the least-squares line of y over x, for pairs (x, y); 0 if x is constant.
#[must_use]
pub fn slope(pairs: &[(f64, f64)]) -> f64 {
    let (first, _, both) = moments(pairs);
    if first > 0.0 { both / first } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Anscombe's quartet, set I (The American Statistician 27, 1973): correlation 0.816, line 3.00 + 0.500 x.
    #[test]
    fn anscombes_first_set_has_its_published_correlation_and_slope() {
        let x = [10.0, 8.0, 13.0, 9.0, 11.0, 14.0, 6.0, 4.0, 12.0, 7.0, 5.0];
        let y = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68];
        let pairs: Vec<(f64, f64)> = x.into_iter().zip(y).collect();
        assert!((correlation(&pairs) - 0.816).abs() < 0.001);
        assert!((slope(&pairs) - 0.500).abs() < 0.001);
    }
}
