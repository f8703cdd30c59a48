//! The quantities an overlay shows, one channel each.

use serde::{Deserialize, Serialize};

use crate::model::units::{Quantity, Unit};

/// A channel of the overlay.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(from = "String", into = "String")]
pub enum Channel {
    /// Speed over ground.
    Speed,
    /// Voltage of the flight pack.
    Voltage,
    /// Altitude above sea level or above the field.
    Altitude,
    /// Satellites in use.
    Satellites,
    /// Throttle, in per cent.
    Throttle,
    /// Current drawn from the pack.
    Current,
    /// Course over ground or heading.
    Heading,
    /// Motor speed.
    Rpm,
    /// Any other channel, under the pilot's own name.
    Other(String),
}

impl Channel {
    /// The channels with a meaning of their own.
    pub const KNOWN: [Self; 8] = [
        Self::Speed,
        Self::Voltage,
        Self::Altitude,
        Self::Satellites,
        Self::Throttle,
        Self::Current,
        Self::Heading,
        Self::Rpm,
    ];

    /// The channel's name in files: lower case.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Speed => "speed",
            Self::Voltage => "voltage",
            Self::Altitude => "altitude",
            Self::Satellites => "satellites",
            Self::Throttle => "throttle",
            Self::Current => "current",
            Self::Heading => "heading",
            Self::Rpm => "rpm",
            Self::Other(name) => name,
        }
    }

    /// The known channel whose name this one's is a slip away from (Damerau-Levenshtein distance 1, or 2 in
    /// long names); `None` for known channels and for names of the pilot's own, such as `speed2`.
    #[must_use]
    pub fn similar_known(&self) -> Option<Self> {
        let Self::Other(name) = self else { return None };
        let slips = |known: &Self| strsim::damerau_levenshtein(known.name(), name);
        let is_word = name.chars().all(|letter| letter.is_ascii_alphabetic());
        let nearest = Self::KNOWN.iter().min_by_key(|known| slips(known)).filter(|_| is_word)?;
        (slips(nearest) <= (nearest.name().len() / 4).max(1)).then(|| nearest.clone())
    }

    /// What the channel's unit must measure; `None` when it takes no unit or any unit.
    #[must_use]
    pub fn quantity(&self) -> Option<Quantity> {
        match self {
            Self::Speed => Some(Quantity::Speed),
            Self::Voltage => Some(Quantity::Voltage),
            Self::Altitude => Some(Quantity::Length),
            Self::Throttle => Some(Quantity::Share),
            Self::Current => Some(Quantity::Current),
            Self::Heading => Some(Quantity::Angle),
            Self::Rpm => Some(Quantity::RotationalSpeed),
            Self::Satellites | Self::Other(_) => None,
        }
    }

    /// The unit taken when the setup names none: only where the trade knows just one.
    #[must_use]
    pub fn usual_unit(&self) -> Option<Unit> {
        match self {
            Self::Voltage => Some(Unit::Volts),
            Self::Throttle => Some(Unit::Percent),
            Self::Current => Some(Unit::Amperes),
            Self::Heading => Some(Unit::Degrees),
            _ => None,
        }
    }

    /// The column name in result files, such as `speed_kmh`, `voltage_v` or `satellites`.
    #[must_use]
    pub fn column(&self, unit: Option<Unit>) -> String {
        match unit {
            Some(unit) if unit.suffix() != self.name() => format!("{}_{}", self.name(), unit.suffix()),
            _ => self.name().to_owned(),
        }
    }
}

impl From<String> for Channel {
    fn from(name: String) -> Self {
        match name.trim().to_lowercase().as_str() {
            "speed" => Self::Speed,
            "voltage" => Self::Voltage,
            "altitude" => Self::Altitude,
            "satellites" => Self::Satellites,
            "throttle" => Self::Throttle,
            "current" => Self::Current,
            "heading" => Self::Heading,
            "rpm" => Self::Rpm,
            other => Self::Other(other.to_owned()),
        }
    }
}

impl From<Channel> for String {
    fn from(channel: Channel) -> Self {
        channel.name().to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_in_a_name_is_told_from_a_name_of_the_pilots_own() {
        let nearly = |name: &str| Channel::from(name.to_owned()).similar_known();
        assert_eq!(nearly("satelites"), Some(Channel::Satellites));
        assert_eq!(nearly("alttiude"), Some(Channel::Altitude));
        assert_eq!(nearly("sped"), Some(Channel::Speed));
        for own in ["speed", "speed2", "current_2", "timer", "distance", "lap", "temperature"] {
            assert_eq!(nearly(own), None, "{own}");
        }
    }
}
