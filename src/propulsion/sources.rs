//! The parts of a flight that the findings on pack, motor and propeller are worked out from.

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
    /// Metres per second in one unit of the speeds.
    pub speed_si: f64,
}
