//! The wording of advice in the window, which names a step or a field instead of a command or an option.

use pairspeed::advice::Advice;

/// What to do next, as a phrase.
pub(crate) fn advice(advice: Advice) -> &'static str {
    match advice {
        Advice::GiveLegs => "add the legs on this page, or change their ends",
        Advice::GiveThrottle => "enter the throttle of the legs on this page",
        Advice::GiveCourse => "enter the course under \"Wind and air\" in the step Reading",
        Advice::GiveElevationOrAir => {
            "enter the field elevation, or temperature and pressure, under \"Wind and air\" in the step Reading"
        }
        Advice::GiveTemperatureAndPressure => {
            "enter temperature and pressure under \"Wind and air\" in the step Reading"
        }
        Advice::GiveTemperature => "enter the temperature under \"Wind and air\" in the step Reading",
        Advice::GivePressure => "enter the pressure under \"Wind and air\" in the step Reading",
        Advice::TeachDigits => "teach the digits in the step Digits",
        Advice::LabelReading => "type what at least one of the images shows",
        Advice::CheckLabels => "check the labels",
        Advice::InspectRegion => "check the box in the step Regions",
        Advice::MarkBoxes => "mark the boxes again in the step Regions",
        Advice::InspectMarkOrTeach => {
            "mark the boxes again in the step Regions, or teach the digits in the step Digits"
        }
        Advice::WriteSetup => "mark the regions in the step Regions and save them",
        Advice::InspectFrameSize => "the step Recording shows the frame size",
        Advice::ReplaceOrOtherFolder | Advice::OtherFolder => "name another folder",
    }
}
