//! What a reader of a note or an error can do next, as values.
//!
//! The library states the problem and where it is. The program and the window each word the advice: the one names an
//! option or a command, the other a field or a step.

use std::fmt;

/// What to do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Advice {
    /// Give the legs by hand.
    GiveLegs,
    /// Give the throttle of the steps, in the order flown.
    GiveThrottle,
    /// Give the course of the legs over the ground.
    GiveCourse,
    /// Give the elevation of the field, or else temperature and pressure.
    GiveElevationOrAir,
    /// Give the temperature and the pressure at the field.
    GiveTemperatureAndPressure,
    /// Give the temperature at the field.
    GiveTemperature,
    /// Give the pressure at the field.
    GivePressure,
    /// Learn the digits that are not known from labelled readings.
    TeachDigits,
    /// Label at least one reading.
    LabelReading,
    /// Check the labels, or insist on one that is right.
    CheckLabels,
    /// Look at the region in a frame.
    InspectRegion,
    /// Mark the boxes again.
    MarkBoxes,
    /// Look at the regions, then mark the boxes again or learn the digits.
    InspectMarkOrTeach,
    /// Write a new setup file.
    WriteSetup,
    /// Look up the frame size of the clip.
    InspectFrameSize,
    /// Replace the results that are there, or choose another folder.
    ReplaceOrOtherFolder,
    /// Choose another folder for the results.
    OtherFolder,
}

/// A note for the pilot on one flight, with what to do about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FlightNote {
    /// The note, one sentence or two.
    pub sentence: String,
    /// What to do about it, where something can be done.
    pub advice: Option<Advice>,
}

impl From<String> for FlightNote {
    fn from(sentence: String) -> Self {
        Self { sentence, advice: None }
    }
}

impl From<&str> for FlightNote {
    fn from(sentence: &str) -> Self {
        sentence.to_owned().into()
    }
}

impl fmt::Display for FlightNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence)
    }
}

/// An error that may come with advice.
pub trait Advised: fmt::Display {
    /// What to do next; `None` where the message says it.
    fn advice(&self) -> Option<Advice>;
}
