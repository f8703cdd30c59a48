//! The parts of a flight from which the findings on pack, motor and propeller are computed.

use crate::airspeed::{Pair, StepResult};
use crate::legs::Leg;
use crate::series::Series;

/// One flight's series, legs, pairs and steps.
#[derive(Debug, Clone, Copy)]
pub struct Sources<'a> {
    /// The trusted readings.
    pub series: &'a Series,
    /// The legs in order of time.
    pub legs: &'a [Leg],
    /// The pairs of legs.
    pub pairs: &'a [Pair],
    /// The throttle steps.
    pub steps: &'a [StepResult],
    /// Factor from the unit of the speeds to metres per second.
    pub speed_si: f64,
}
