mod area;
#[cfg(test)]
mod tests;

pub use area::{Area, of as area_of};

use crate::text::label as name;

pub struct Shape;

impl Shape {
    fn shown(&self) -> String {
        // "crate::nothing::here" and 'a' are no imports.
        name("crate::nothing::here", 'a')
    }
}

#[cfg(test)]
mod more_tests {
    use super::*;
    use crate::nowhere::Thing;
}
