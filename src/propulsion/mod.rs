//! Propulsion: battery pack, motor and propeller, and airspeed against throttle. Speeds are in m/s throughout.

mod battery;
mod curve;
mod findings;
mod flown_step;
mod power;
pub mod propeller;
mod sources;
mod voltage;

pub use battery::Battery;
pub use curve::{
    DiminishingReturn, Gain, Point, Prediction, SpeedCurve, SpeedOnCurve, ThrottleCoverage,
    diminishing_return, gains, power_law,
};
pub use findings::{Findings, PropellerPoint, VoltageLoss, findings};
pub(crate) use flown_step::StepAirspeed;
pub use flown_step::{FlownStep, SharedUncertainty};
pub use power::PowerRun;
pub use sources::Sources;
pub use voltage::{ASSUMED, ExponentSource, VOLTAGE_UNCERTAINTY_V, VoltageModel, VoltageRun};
