//! Types that all other modules share: channels, units, quantities and estimates.

pub mod channel;
pub mod estimate;
pub mod quantity;
pub mod units;
