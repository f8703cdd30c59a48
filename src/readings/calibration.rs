//! Confidence calibration (Platt scaling). It is needed because neighbouring frames share background and
//! noise, so that probabilities smoothed over frames are overconfident.

/// Slope and offset of the line that converts the log-odds of a reading to calibrated log-odds. Fitted by
/// logistic regression to the readings of the tuning clips of the benchmark `reading_table`.
const SLOPE_AND_OFFSET: (f64, f64) = (0.556, 1.627);

/// Minimum distance of a probability from 0 and from 1: about the resolution of single precision.
const MIN_DISTANCE: f64 = 1e-6;

/// The calibrated probability that a reading is right, from its probability after smoothing; both 0 to 1.
pub(super) fn calibrated(probability: f32) -> f32 {
    let probability = f64::from(probability).clamp(MIN_DISTANCE, 1.0 - MIN_DISTANCE);
    let (slope, offset) = SLOPE_AND_OFFSET;
    let log_odds = slope * (probability / (1.0 - probability)).ln() + offset;
    (1.0 / (1.0 + (-log_odds).exp())) as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn calibration_is_monotonic_and_never_certain() {
        let calibrated_values: Vec<f32> =
            [0.0, 0.3, 0.9, 0.99, 0.999, 0.9999, 1.0].into_iter().map(calibrated).collect();
        assert!(calibrated_values.is_sorted_by(|one, other| one < other), "{calibrated_values:?}");
        assert!(
            calibrated_values.iter().all(|probability| (0.0..1.0).contains(probability)),
            "{calibrated_values:?}"
        );
        assert!(calibrated(0.9999) < 0.9999 && calibrated(f32::NAN).is_nan());
    }
}
