//! What the other modules speak of: channels, units and quantities.

pub mod channel;
pub mod quantity;
pub mod units;
