//! The pilot's labels: one reading, its format, the file that keeps all of them, and the ones that cannot be used.

pub(super) mod file;
pub(super) mod format;
pub(super) mod reading;
pub(super) mod rejected;
