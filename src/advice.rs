//! Advice for the reader of a note or an error: what to do next.
//!
//! The library states the problem and names the file, region or leg. The program and the window word the advice
//! separately: the program names an option or a command, the window a field or a page.

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
    /// Give the elevation of the field, or otherwise temperature and pressure.
    GiveElevationOrAir,
    /// Give the temperature and the pressure at the field.
    GiveTemperatureAndPressure,
    /// Give the temperature at the field.
    GiveTemperature,
    /// Give the pressure at the field.
    GivePressure,
    /// Learn the digits that have no glyph, from labelled readings.
    TeachDigits,
    /// Label at least one reading.
    LabelReading,
    /// Check the labels. If a label is right although others contradict it, confirm it: it is then used all the same.
    CheckLabels,
    /// Check the region in a frame.
    InspectRegion,
    /// Mark the boxes again.
    MarkBoxes,
    /// Check the regions, then mark the boxes again or label the digits.
    InspectMarkOrTeach,
    /// Write a new setup file.
    WriteSetup,
    /// Look up the frame size of the clip.
    InspectFrameSize,
    /// Replace the existing results, or choose another folder.
    ReplaceOrOtherFolder,
    /// Choose another folder for the results.
    OtherFolder,
}

/// A note for the pilot on one flight, with what to do about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FlightNote {
    /// The note, one sentence or two.
    pub sentence: String,
    /// What to do about it; `None` if nothing can be done.
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
    /// What to do next; `None` if the message says it already.
    fn advice(&self) -> Option<Advice>;
}
