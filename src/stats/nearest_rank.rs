//! Quantiles without interpolation between values.

/// The quantile of `values` by nearest rank: the value with index `round(share * (n - 1))` in ascending order. 0 without
/// values. The values are reordered.
#[must_use]
pub fn nearest_rank(values: &mut [f32], share: f32) -> f32 {
    let Some(last) = values.len().checked_sub(1) else {
        return 0.0;
    };
    let rank = ((last as f32 * share).round() as usize).min(last);
    *values.select_nth_unstable_by(rank, f32::total_cmp).1
}

/// The upper median of `values`: the value with index `n / 2` in ascending order. `None` without values. The values are
/// reordered.
#[must_use]
pub fn upper_median(values: &mut [f32]) -> Option<f32> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f32::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_upper_median_of_an_even_number_is_the_larger_middle_value() {
        assert_eq!(upper_median(&mut [4.0, 1.0, 3.0, 2.0]), Some(3.0));
        assert_eq!(upper_median(&mut [5.0, 1.0, 3.0]), Some(3.0));
        assert_eq!(upper_median(&mut []), None);
    }

    #[test]
    fn the_quantile_is_one_of_the_values() {
        assert_eq!(nearest_rank(&mut [5.0, 1.0, 3.0, 2.0, 4.0], 0.5), 3.0);
        assert_eq!(nearest_rank(&mut [5.0, 1.0, 3.0], 1.0), 5.0);
        assert_eq!(nearest_rank(&mut [], 0.5), 0.0);
    }
}
