//! Channels: the quantities that an overlay shows.

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
    /// Number of satellites in use.
    Satellites,
    /// Throttle, in per cent.
    Throttle,
    /// Current drawn from the pack.
    Current,
    /// Course over ground, or heading of the nose.
    Heading,
    /// Motor speed, in revolutions per minute.
    Rpm,
    /// Any other channel, with the name that the pilot gives it.
    Other(String),
}

impl Channel {
    /// The channels whose meaning the program knows.
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

    /// The channel's name in files, in lower case.
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

    /// The known channel whose name is so similar that this name is probably a misspelling of it: at a
    /// Damerau-Levenshtein distance of 1, or 2 for names of eight letters or more. `None` for known channels,
    /// and for names with characters other than letters, such as `speed2`.
    #[must_use]
    pub fn similar_known(&self) -> Option<Self> {
        let Self::Other(name) = self else { return None };
        let distance = |known: &Self| strsim::damerau_levenshtein(known.name(), name);
        let is_word = name.chars().all(|letter| letter.is_ascii_alphabetic());
        let nearest = Self::KNOWN.iter().min_by_key(|known| distance(known)).filter(|_| is_word)?;
        (distance(nearest) <= (nearest.name().len() / 4).max(1)).then(|| nearest.clone())
    }

    /// The quantity that the channel's unit must measure; `None` if the channel has no unit or may have any
    /// unit.
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

    /// The unit that is assumed if the setup states none; `None` for quantities that are not shown in the
    /// same unit everywhere.
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
    fn a_misspelt_name_is_distinguished_from_a_name_of_the_pilot() {
        let similar = |name: &str| Channel::from(name.to_owned()).similar_known();
        assert_eq!(similar("satelites"), Some(Channel::Satellites));
        assert_eq!(similar("alttiude"), Some(Channel::Altitude));
        assert_eq!(similar("sped"), Some(Channel::Speed));
        for own in ["speed", "speed2", "current_2", "timer", "distance", "lap", "temperature"] {
            assert_eq!(similar(own), None, "{own}");
        }
    }
}
