//! Templates: the glyphs of a face as features ([`alphabet`]), how the face appears in the frames
//! ([`appearance`]), and the columns at which its characters can stand ([`column_mask`]).

pub mod alphabet;
pub mod appearance;
pub mod column_mask;

/// Maximum number of characters of an alphabet. Ten digits, two separators and the minus sign are 13; the
/// rest is spare.
pub(in crate::recognise) const MAX_CHARACTERS: usize = 16;
