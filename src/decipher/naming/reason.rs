//! Reasons for a channel.

use std::fmt;

use crate::model::units::Unit;

/// A property of a readout that makes a channel likely.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Reason {
    /// Lowest and highest value, in the unit of the readout.
    Range(f64, f64),
    /// All values are multiples of five.
    MultiplesOfFive,
    /// Values fall over the clip.
    Falls,
    /// Values rise and fall with the throttle.
    FollowsThrottle,
    /// Values do not depend on the throttle.
    IgnoresThrottle,
    /// Values rarely change.
    RarelyChanges,
    /// Values differ nearly always between one sampled frame and the next.
    OftenChanges,
    /// Values change by at most about this much from one sampled frame to the next, in the unit of the readout.
    SmallSteps(f64),
    /// The lowest values are close to zero.
    StartsAtRest,
    /// Number of digits after the decimal point.
    Decimals(u8),
    /// Values go through a full circle of degrees.
    FullCircle,
    /// Values advance by one second each second.
    Clock,
    /// Values below zero occur.
    Negative,
    /// The unit beside the value.
    Unit(Unit),
    /// The caption beside the value in the overlay, in lower case.
    Caption(&'static str),
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Range(low, high) if high - low < 10.0 => {
                write!(f, "values from about {low:.1} to {high:.1}")
            }
            Self::Range(low, high) => write!(f, "values from about {low:.0} to {high:.0}"),
            Self::MultiplesOfFive => write!(f, "mostly multiples of 5"),
            Self::Falls => write!(f, "falls over the flight"),
            Self::FollowsThrottle => write!(f, "changes with the throttle"),
            Self::IgnoresThrottle => write!(f, "does not change with the throttle"),
            Self::RarelyChanges => write!(f, "rarely changes"),
            Self::OftenChanges => write!(f, "changes all the time"),
            Self::SmallSteps(most) => {
                write!(f, "changes by at most about {most:.1} from one value to the next")
            }
            Self::StartsAtRest => write!(f, "close to zero at times"),
            Self::Decimals(1) => write!(f, "one decimal"),
            Self::Decimals(count) => write!(f, "{count} decimals"),
            Self::FullCircle => write!(f, "turns through a full circle"),
            Self::Clock => write!(f, "counts seconds like a clock"),
            Self::Negative => write!(f, "below zero at times"),
            Self::Unit(unit) => write!(f, "\"{}\" beside it", unit.symbol()),
            Self::Caption(caption) => write!(f, "\"{caption}\" beside it"),
        }
    }
}
