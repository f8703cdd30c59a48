//! Airspeeds in `summary.json`: the keys that pairs, steps and patterns share.

use serde::{Deserialize, Serialize};

/// An airspeed with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct AirspeedInterval {
    /// Airspeed, in the `speed_unit` of the summary; `None` if not finite.
    #[serde(rename = "airspeed")]
    pub value: Option<f64>,
    /// Lower end of the 95 % interval, in the `speed_unit` of the summary; `None` if not finite.
    #[serde(rename = "airspeed_low")]
    pub low: Option<f64>,
    /// Upper end of the 95 % interval, in the `speed_unit` of the summary; `None` if not finite.
    #[serde(rename = "airspeed_high")]
    pub high: Option<f64>,
}

/// An airspeed with its interval and its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct AirspeedSummary {
    /// Airspeed and its interval.
    #[serde(flatten)]
    pub interval: AirspeedInterval,
    /// Standard uncertainty of the airspeed, in the `speed_unit` of the summary; `None` if not finite.
    #[serde(rename = "airspeed_uncertainty")]
    pub uncertainty: Option<f64>,
    /// Degrees of freedom of the standard uncertainty; `None` if infinite.
    pub degrees_of_freedom: Option<f64>,
}
