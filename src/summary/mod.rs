//! `summary.json`: the results of one flight for other programs, as one versioned schema.
//!
//! [`Summary`] and the structs in it are both written (`output::summary_json`) and read ([`Summary::read`]), so a
//! field that is renamed changes on both sides. [`FlownFlight`] is the part of a summary that comparing and planning
//! need, in SI units. Only `load.rs` accesses files.

mod airspeed;
mod budget;
mod channels;
mod conditions;
mod flown_flight;
mod format;
mod load;
mod pairs;
mod propulsion;
mod schema;

pub use airspeed::{AirspeedInterval, AirspeedSummary};
pub use budget::{BudgetSummary, ContributionSummary, Extent};
pub use channels::{
    BlankReason, BlankStretchSummary, ChannelSummary, ConfidenceSummary, UnreadReason, UnreadSummary,
};
pub use conditions::{AirSummary, PatternSummary, SeaLevelSummary, WindSummary};
pub use flown_flight::{DensityError, FlownFlight, SpeedUnitError};
pub use format::{SUMMARY_FORMAT, SummaryError};
pub use load::{LoadError, SUMMARY_FILE, load_flight, load_flights, summary_file};
pub use pairs::{LegSummary, PairSummary, StepSummary};
pub use propulsion::{
    BatterySummary, CurveSummary, DiminishingReturnSummary, PowerRunSummary, PropellerSummary,
    PropulsionSummary, TrendSummary, VoltageLossSummary, VoltageModelSummary,
};
pub use schema::{CameraSummary, ClipSummary, GapSummary, SignalLossSummary, Summary};
