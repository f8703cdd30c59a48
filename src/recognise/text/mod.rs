//! The texts that a region may show ([`grammar`]), and where they stand in the region's window
//! ([`placement`]).

pub mod grammar;
pub mod placement;

use arrayvec::ArrayString;

/// Maximum number of characters of a text: a minus sign, 8 digits and a separator are 10; the rest is spare.
pub const MAX_TEXT_LENGTH: usize = 12;

/// The characters of a region's text, left to right.
pub type Text = ArrayString<MAX_TEXT_LENGTH>;
