//! Scoring: how well a character explains a cell. The [`matcher`] is a matched filter under a [`noise`]
//! covariance, evaluated at every column by [`cross_correlation`]; [`goodness_of_fit`], [`part_scores`] and
//! the [`shape_prior`] test the character that scores best; [`background`] removes what stays in place behind
//! a text.

pub mod background;
pub mod cross_correlation;
pub mod goodness_of_fit;
pub mod matcher;
pub mod noise;
pub mod part_scores;
pub mod shape_prior;
