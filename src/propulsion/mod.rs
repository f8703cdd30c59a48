//! Propulsion: pack, motor and propeller; airspeed against throttle; what a change brought; the plan of the
//! next flight. Speeds are in m/s throughout.

mod battery;
mod compare;
mod curve;
mod findings;
mod flown;
mod flown_step;
mod matched;
mod plan;
mod power;
pub mod propeller;
mod trend;
mod voltage;

pub use battery::Battery;
pub use compare::{CompareOptions, Comparison, Overall, StepDifference, Verdict, compare, holm, welch};
pub use curve::{
    DiminishingReturn, Gain, Point, Prediction, SpeedCurve, Standing, diminishing_return, gains, power_law,
};
pub use findings::{Findings, PropellerPoint, Sources, VoltageShare, findings};
pub use flown::{DensityError, FlownError, FlownFlight};
pub use flown_step::{FlownStep, SharedUncertainty};
pub use matched::pairs_needed;
pub use plan::{
    PlanError, PlanWish, PlannedRun, PlannedStep, SETTLE_S, Shortfall, TestCard, balanced_order, dryden,
    plan, usual_half_width,
};
pub use power::PowerRun;
pub use trend::{Trend, theil_sen};
pub use voltage::{ASSUMED, ExponentSource, Run, VOLTAGE_UNCERTAINTY_V, VoltageModel};
