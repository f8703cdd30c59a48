//! A reading that the pilot labelled.

use std::fmt;

use crate::model::channel::Channel;

/// The channel and the time of a label.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelMoment {
    /// The channel.
    pub channel: Channel,
    /// Time in seconds from the clip's first frame.
    pub time_s: f64,
}

impl fmt::Display for LabelMoment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@{}", self.channel.name(), self.time_s)
    }
}

/// A reading labelled by the pilot: the text that a channel shows at a certain time.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelledReading {
    /// Channel that was labelled.
    pub channel: Channel,
    /// Time in seconds from the clip's first frame.
    pub time_s: f64,
    /// The text on screen at that time.
    pub text: String,
}

impl fmt::Display for LabelledReading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@{}={}", self.channel.name(), self.time_s, self.text)
    }
}
