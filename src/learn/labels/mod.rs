//! The pilot's labels: single labels, their format, the file that stores them, and labels that cannot be
//! used.

pub(super) mod adapted;
pub(super) mod file;
pub(super) mod format;
pub(super) mod reading;
pub(super) mod rejected;
