//! Statistics with exact definitions, independent of flights.

mod correlation;
mod descriptive;
mod inference;
mod least_squares;
mod nearest_rank;
mod trend;

pub use correlation::{correlation, slope};
pub use descriptive::{
    MAD_TO_SIGMA, effective_count, grouped_median, lag_one_autocorrelation, mean, median, quantile,
    scaled_mad, sorted, standard_deviation,
};
pub use inference::{StandardUncertainty, coverage_factor, holm, welch_satterthwaite};
pub use least_squares::{Fit, Linearisation, linear, nonlinear};
pub use nearest_rank::{nearest_rank, upper_median};
pub use trend::{Trend, theil_sen};
