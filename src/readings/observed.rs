//! What a claimed probability is worth: neighbouring frames share their background and their noise, so that what they
//! say together is claimed too boldly.

/// Slope and offset that take the log-odds claimed to those observed, by logistic regression over the readings of
/// the clips that the benchmark `reading_table` tunes on.
const OBSERVED: (f64, f64) = (0.556, 1.627);

/// A claim is taken for this far from certain at least: single precision tells no more.
const LEAST_DOUBT: f64 = 1e-6;

/// The probability that a reading is right, from the one claimed for it.
pub(super) fn observed(claimed: f32) -> f32 {
    let claimed = f64::from(claimed).clamp(LEAST_DOUBT, 1.0 - LEAST_DOUBT);
    let (slope, offset) = OBSERVED;
    let log_odds = slope * (claimed / (1.0 - claimed)).ln() + offset;
    (1.0 / (1.0 + (-log_odds).exp())) as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bolder_claim_is_worth_more_and_none_is_certain() {
        let worth: Vec<f32> = [0.0, 0.3, 0.9, 0.99, 0.999, 0.9999, 1.0].into_iter().map(observed).collect();
        assert!(worth.is_sorted_by(|one, other| one < other), "{worth:?}");
        assert!(worth.iter().all(|probability| (0.0..1.0).contains(probability)), "{worth:?}");
        assert!(observed(0.9999) < 0.9999 && observed(f32::NAN).is_nan());
    }
}
