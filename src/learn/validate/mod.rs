//! Validation: finds labels that contradict the others.

pub(super) mod cell_distance;
pub(super) mod conflicts;
pub(super) mod leave_one_out;
pub(super) mod student;
