//! Pairspeed turns the onboard recording of a model aircraft into its airspeed.
//!
//! Data flows one way: footage -> readings -> series -> legs -> pairs -> findings.

pub mod airspeed;
pub mod channel;
pub mod files;
pub mod footage;
pub mod legs;
pub mod picture;
pub mod series;
pub mod setup;
pub mod units;
