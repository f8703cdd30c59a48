//! Training examples: the labelled readings with the image of their region, fetched from the clips.

pub(super) mod example;
pub(super) mod fetch;
