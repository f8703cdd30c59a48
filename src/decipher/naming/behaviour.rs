//! Statistics of a readout's values over the clip.

use super::super::readout::{DecipheredReadout, value_of};
use super::super::words::Words;
use super::reason::Reason;
use crate::stats::{correlation, quantile, slope};

/// Two pairs of limits: minimum probability of a text whose value is used, and share of the smallest and of the
/// largest values that are ignored as possibly misread. The second pair is used if the first leaves too few values.
/// Set by judgement.
const MIN_PROBABILITIES: [(f32, f64); 2] = [(0.9, 0.02), (0.5, 0.15)];
/// Minimum number of values of a readout: with fewer, its channel is not recognised from them.
const MIN_VALUES: usize = 8;
/// Maximum difference between the rate of a displayed clock and 1, in displayed seconds per second of the clip.
const CLOCK_RATE_TOLERANCE: f64 = 0.1;

/// Properties of the values of one readout.
#[derive(Debug, Clone, Default)]
pub(super) struct Behaviour {
    /// Times in seconds, each with the value shown then, in order of time.
    pub(super) values: Vec<(f64, f64)>,
    pub(super) decimals: u8,
    /// Lowest value, in the unit of the readout.
    pub(super) low: f64,
    /// Highest value, in the unit of the readout.
    pub(super) high: f64,
    /// Share of the values that are equal to the value before, 0 to 1.
    pub(super) unchanged_share: f64,
    /// 95th percentile of the absolute changes from one value to the next, in the unit of the readout.
    pub(super) large_step: f64,
    /// Share of the values that are multiples of five, 0 to 1.
    pub(super) fives_share: f64,
    /// Number of different values.
    pub(super) distinct: usize,
    /// Correlation of the values with time, -1 to 1.
    pub(super) trend: f64,
    /// Correlation of the values with those of the readout that looks most like a throttle, -1 to 1; `None` if no
    /// readout looks like one, for that readout itself, and for a readout with too few values.
    pub(super) throttle_correlation: Option<f64>,
    /// Whether the readout shows minutes and seconds that advance with the clip.
    pub(super) is_clock: bool,
    /// The words beside the readout.
    pub(super) words: Words,
}

impl Behaviour {
    pub(super) fn of(readout: &DecipheredReadout) -> Self {
        let values_from = |least: f32| -> Vec<(f64, f64)> {
            let certain = readout.texts.iter().filter(|text| text.probability >= least);
            certain.filter_map(|text| Some((text.time_s, value_of(&text.text)?))).collect()
        };
        let [(certain, few), (likely, many)] = MIN_PROBABILITIES;
        let (mut values, mut outlier_share) = (values_from(certain), few);
        if values.len() < MIN_VALUES {
            (values, outlier_share) = (values_from(likely), many);
        }
        if values.len() < MIN_VALUES {
            let words = readout.words.clone();
            return Self { values, decimals: readout.decimals, words, ..Self::default() };
        }
        let count = values.len() as f64;
        let steps: Vec<f64> = values.windows(2).map(|pair| (pair[1].1 - pair[0].1).abs()).collect();
        let mut different: Vec<f64> = values.iter().map(|(_, value)| *value).collect();
        // Quantiles leave out single misread texts.
        let end = |share: f64| quantile(&different, share).unwrap_or_default();
        let (low, high) = (end(outlier_share), end(1.0 - outlier_share));
        different.sort_by(f64::total_cmp);
        different.dedup();
        let fives = values.iter().filter(|(_, value)| value.rem_euclid(5.0) == 0.0).count();
        let rate = slope(&values);
        Self {
            decimals: readout.decimals,
            low,
            high,
            unchanged_share: steps.iter().filter(|step| **step == 0.0).count() as f64 / steps.len() as f64,
            large_step: quantile(&steps, 0.95).unwrap_or_default(),
            fives_share: fives as f64 / count,
            distinct: different.len(),
            trend: correlation(&values),
            throttle_correlation: None,
            is_clock: readout.separator == Some(':') && (rate - 1.0).abs() < CLOCK_RATE_TOLERANCE,
            words: readout.words.clone(),
            values,
        }
    }

    /// Whether there are enough values to recognise a channel.
    pub(super) fn is_known(&self) -> bool {
        self.values.len() >= MIN_VALUES
    }

    /// The lowest and the highest value, as a [`Reason`]; `None` if there are too few values.
    pub(super) fn range(&self) -> Option<Reason> {
        self.is_known().then_some(Reason::Range(self.low, self.high))
    }

    /// The difference between the highest and the lowest value as a share of the highest; 0 to 1 if all values are
    /// above zero.
    pub(super) fn relative_span(&self) -> f64 {
        (self.high - self.low) / self.high.abs().max(f64::MIN_POSITIVE)
    }
}
