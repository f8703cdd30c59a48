//! Pairspeed turns the onboard recording of a model aircraft into its airspeed.
//!
//! Data flows one way: footage -> readings -> series -> legs -> pairs -> findings.

pub mod airspeed;
pub mod channel;
pub mod files;
pub mod flight;
pub mod footage;
pub mod glyphs;
pub mod legs;
pub mod output;
pub mod picture;
pub mod recognise;
pub mod series;
pub mod setup;
pub mod teach;
pub mod units;
