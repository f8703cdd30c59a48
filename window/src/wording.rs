//! The wording of advice in the window, which names a page or a field instead of a command or an option.

use std::path::Path;

use pairspeed::advice::Advice;
use pairspeed::visible;

/// A path with its control characters escaped.
pub(crate) fn shown(path: &Path) -> String {
    visible::line(&path.display().to_string()).into_owned()
}

/// What to do next, as a phrase.
pub(crate) fn advice(advice: Advice) -> &'static str {
    match advice {
        Advice::GiveLegs => "add the legs on this page, or change their ends",
        Advice::GiveThrottle => "enter the throttle of the legs on this page",
        Advice::GiveCourse => "enter the course under \"Wind and air\" on the Reading page",
        Advice::GiveElevationOrAir => {
            "enter the field elevation, or temperature and pressure, under \"Wind and air\" on the Reading page"
        }
        Advice::GiveTemperatureAndPressure => {
            "enter temperature and pressure under \"Wind and air\" on the Reading page"
        }
        Advice::GiveTemperature => "enter the temperature under \"Wind and air\" on the Reading page",
        Advice::GivePressure => "enter the pressure under \"Wind and air\" on the Reading page",
        Advice::TeachDigits => "teach the digits on the Digits page",
        Advice::LabelReading => "type the text of at least one of the images",
        Advice::CheckLabels => "check the labels",
        Advice::InspectRegion => "check the box on the Regions page",
        Advice::MarkBoxes => "mark the boxes again on the Regions page",
        Advice::InspectMarkOrTeach => {
            "mark the boxes again on the Regions page, or teach the digits on the Digits page"
        }
        Advice::WriteSetup => "mark the regions on the Regions page and save them",
        Advice::InspectFrameSize => "the Recording page shows the frame size",
        Advice::ReplaceOrOtherFolder | Advice::OtherFolder => "name another folder",
    }
}
