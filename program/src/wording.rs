//! The wording of advice in the program. The library returns advice as values; this file names the options
//! and commands.

use pairspeed::advice::{Advice, Advised};
use pairspeed::learn::LabelProblem;
use pairspeed::plan::{PlanError, PlanQuantity};
use pairspeed::readings::UnreadChannel;

use crate::quoting::quoted;

/// What to do next, as a phrase that names an option or a command.
pub fn advice(advice: Advice) -> &'static str {
    match advice {
        Advice::GiveLegs => "give the legs with --legs",
        Advice::GiveThrottle => "give the throttle of the steps with --throttle",
        Advice::GiveCourse => "give the course of the legs with --course",
        Advice::GiveElevationOrAir => "give --field-elevation, or --temperature and --pressure",
        Advice::GiveTemperatureAndPressure => "give --temperature and --pressure",
        Advice::GiveTemperature => "give --temperature",
        Advice::GivePressure => "give --pressure",
        Advice::TeachDigits => "teach the digits with `pairspeed teach`",
        Advice::LabelReading => "label a reading with --say, such as --say speed@12.4=63",
        Advice::CheckLabels => {
            "check the label with `pairspeed inspect CLIP --setup FILE --at SECONDS`; if it is right, give `--insist CHANNEL@SECONDS`"
        }
        Advice::InspectRegion => "look at the region with `pairspeed inspect CLIP --setup FILE --at SECONDS`",
        Advice::MarkBoxes => "mark the boxes again with `pairspeed setup CLIP`",
        Advice::InspectMarkOrTeach => {
            "check with `pairspeed inspect`, then mark the boxes again with `pairspeed setup` if the camera or its \
             overlay has changed, or teach its digits with `pairspeed teach`"
        }
        Advice::WriteSetup => "`pairspeed setup CLIP` writes a new setup file",
        Advice::InspectFrameSize => "`pairspeed inspect CLIP` shows the frame size of the clip",
        Advice::ReplaceOrOtherFolder => "give --force to replace them, or name another folder with --out",
        Advice::OtherFolder => "name another folder with --out",
    }
}

/// The message of an error, followed by the advice that belongs to it.
pub fn message(error: &dyn Advised) -> String {
    error.advice().map_or_else(|| error.to_string(), |next| format!("{error}; {}", advice(next)))
}

/// Why a label cannot be used, followed by the advice that belongs to it.
pub fn label_problem(problem: &LabelProblem) -> String {
    match problem {
        // The text of this problem ends with the advice to check the box.
        LabelProblem::NoText => format!("{problem} with `pairspeed inspect CLIP --setup FILE`"),
        other => other.to_string(),
    }
}

/// Why the test card cannot be made, and which option to correct.
pub fn plan_error(error: &PlanError) -> String {
    let option = match error {
        PlanError::Steps | PlanError::TooManySteps(_) | PlanError::SlowerThanWind { .. } => "--steps",
        PlanError::NotPositive { quantity, .. } | PlanError::Negative { quantity, .. } => {
            plan_option(*quantity)
        }
        PlanError::NoSpeed => "--top-speed or --from",
        PlanError::NoWind => "--wind or --from",
        PlanError::NoSteadyFlight { .. } => "--course",
    };
    format!("{option}: {error}")
}

/// The option that states a quantity of a plan.
fn plan_option(quantity: PlanQuantity) -> &'static str {
    match quantity {
        PlanQuantity::HalfWidth => "--within",
        PlanQuantity::TopSpeed => "--top-speed",
        PlanQuantity::Wind => "--wind",
        PlanQuantity::Gusts => "--gusts",
        PlanQuantity::Course => "--course",
        PlanQuantity::Height => "--height",
        PlanQuantity::Turn => "--turn-s",
        PlanQuantity::FlightTime => "--minutes",
        PlanQuantity::PackEnergy => "--pack-wh",
        PlanQuantity::FullPower => "--full-power-w",
    }
}

/// The command that teaches the digits of a channel, divided into parts that must each stay on one line; `None` if
/// no frame is known in which the channel's region shows a text.
pub fn teach_command(unread: &UnreadChannel) -> Option<Vec<String>> {
    let label = |time_s: &f64| format!("--say {}@{time_s:.2}=...", unread.channel.name());
    let mut parts = vec![
        format!("pairspeed teach {}", quoted(&unread.clip)),
        format!("--setup {}", quoted(&unread.setup_file)),
    ];
    parts.extend(unread.label_at_s.iter().map(label));
    (!unread.label_at_s.is_empty()).then_some(parts)
}

#[cfg(test)]
mod tests {
    use pairspeed::model::channel::Channel;
    use pairspeed::readings::UnreadCause;

    use super::*;

    #[test]
    fn a_channel_is_taught_from_the_frames_that_show_something() {
        let mut unread = UnreadChannel {
            channel: Channel::Speed,
            cause: UnreadCause::NoGlyphsFit,
            setup_file: "nose.setup.toml".into(),
            clip: "card/last flight.avi".into(),
            label_at_s: vec![4.2, 31.071],
            command: None,
        };
        let command = "pairspeed teach 'card/last flight.avi' --setup nose.setup.toml --say speed@4.20=... \
                       --say speed@31.07=...";
        assert_eq!(teach_command(&unread).map(|parts| parts.join(" ")).as_deref(), Some(command));
        unread.label_at_s.clear();
        assert_eq!(teach_command(&unread), None);
    }

    #[test]
    fn a_quantity_that_is_refused_is_named_by_its_option() {
        for (quantity, option) in [
            (PlanQuantity::HalfWidth, "--within: "),
            (PlanQuantity::Course, "--course: "),
            (PlanQuantity::Turn, "--turn-s: "),
        ] {
            let message = plan_error(&PlanError::Negative { quantity, value: -1.0 });
            assert!(message.starts_with(option), "{message}");
        }
    }
}
