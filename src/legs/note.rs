//! Warnings about a flight, its legs and its pairs.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::advice::Advice;

/// The reason why two neighbouring legs are not a pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum NotPaired {
    /// There is no other leg in the flight.
    Alone,
    /// The pilot gave kinds that rule the pair out, such as unpaired.
    Given,
    /// The legs were flown at different throttles.
    Throttle,
    /// The headings of the legs are not opposite.
    Heading,
    /// The speeds show no turn between the legs.
    NoTurn,
    /// Half the difference of the legs' speeds does not agree with the wind of the flight.
    Wind,
    /// One leg is much longer than the other.
    Lengths,
    /// One leg is much shorter than the typical leg of the flight.
    Short,
    /// The time between the legs is much shorter than a typical turn of the flight.
    QuickTurn,
    /// The time between the legs is too long for a turn.
    Apart,
    /// The pack voltage differs too much between the legs.
    Voltage,
    /// The leg is in a pair that is left out, because no turn of typical length joins it to another pair, and because
    /// it fits badly or has the throttle of a pair in a run.
    OutsideRuns,
    /// Every neighbour of the leg belongs to another pair.
    Taken,
    /// Many speeds of one of the legs are blank because a digit has no glyph.
    UnknownDigits,
}

impl NotPaired {
    /// The reason in two or three words, for a caption in a diagram.
    #[must_use]
    pub fn phrase(self) -> &'static str {
        match self {
            Self::Alone => "no other leg",
            Self::Given => "left out",
            Self::Throttle => "other throttle",
            Self::Heading => "not opposite",
            Self::NoTurn => "no turn seen",
            Self::Wind => "not this wind",
            Self::Lengths => "unequal lengths",
            Self::Short => "too short",
            Self::QuickTurn => "turn too quick",
            Self::Apart => "too far apart",
            Self::Voltage => "other voltage",
            Self::OutsideRuns => "outside the runs",
            Self::Taken => "partner taken",
            Self::UnknownDigits => "digits missing",
        }
    }
}

impl fmt::Display for NotPaired {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Alone => "there is no other leg",
            Self::Given => "marked as not to be used",
            Self::Throttle => "the legs before and after it were flown at another throttle",
            Self::Heading => "the legs before and after it were not flown in the opposite direction",
            Self::NoTurn => "no turn was found between this leg and the legs before and after it",
            Self::Wind => "its speed differs from that of the neighbouring legs by more or less than the wind of this flight predicts",
            Self::Lengths => "the neighbouring legs are much longer or shorter",
            Self::Short => "it is much shorter than the other legs of this flight",
            Self::QuickTurn => "the turn next to it is much shorter than the other turns of this flight",
            Self::Apart => "too much time passed between it and the neighbouring legs",
            Self::Voltage => "the neighbouring legs were flown at another pack voltage",
            Self::OutsideRuns => "it does not belong to a run (legs flown up and down the course, one after the other)",
            Self::Taken => "the leg that would match it belongs to another pair",
            Self::UnknownDigits => "many speeds of this leg, or of the leg before or after it, have digits that are not in the glyph set: label the missing digits",
        })
    }
}

/// A fact about the flight, a leg or a pair that the pilot should know. `Display` gives the sentence.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Note {
    /// No region is marked as speed.
    SpeedNotMarked,
    /// Not one speed reading is trusted.
    NoTrustedSpeed,
    /// The speed never changes.
    ConstantSpeed,
    /// No straight, steady leg was found.
    NoLegs,
    /// Only one leg was found, so no pair can be made.
    OneLeg,
    /// Legs were found, but none has a partner.
    NoPairs,
    /// Legs were found, but none has a partner, because many of their speeds have digits without a glyph.
    UnknownDigits,
    /// The pilot edited the legs found.
    Edited {
        /// Number of edits.
        edits: usize,
    },
    /// A leg has no partner.
    UnpairedLeg {
        /// Number of the leg, from 1.
        leg: usize,
        /// Start of the leg, in seconds of flight time.
        start_s: f64,
    },
    /// Several legs have no partner.
    LegsLeftOut {
        /// Number of legs without a partner.
        legs: usize,
    },
    /// About a leg: it is in no pair. The field gives the reason.
    LeftOut(NotPaired),
    /// About a pair: no turn of typical length joins it to another pair.
    OutsideRuns,
    /// About a pair: it is the first or last of a run, or in no run, and its length, wind, turn or voltage differs
    /// from that of the other pairs.
    UnlikeOthers,
    /// About a pair: fewer than half of the legs found form pairs in one wind, so that all pairs of the flight are
    /// doubtful.
    FewLegsFit {
        /// Number of legs in pairs.
        paired: usize,
        /// Number of legs found.
        legs: usize,
    },
    /// About a pair: the ground speed rises and falls within the legs, as it does in circles flown in wind.
    Circling,
    /// About a step: all of its pairs are doubtful.
    DoubtfulStep,
    /// The pairs do not divide evenly into the given throttle steps.
    UnequalSteps {
        /// Number of pairs found.
        pairs: usize,
        /// Number of steps given.
        steps: usize,
    },
    /// More throttle steps were given than pairs were found.
    TooFewPairs {
        /// Number of pairs found.
        pairs: usize,
        /// Number of steps given.
        steps: usize,
    },
    /// The given throttle steps would join pairs for which the overlay shows different throttles, so that the list is
    /// not used.
    ThrottleStepsMixed {
        /// Number of throttle steps given.
        given: u32,
        /// Number of throttle steps that the overlay shows.
        shown: u32,
    },
    /// The given throttles differ from those that the overlay shows.
    ThrottleContradicts {
        /// Given and shown throttle of each step at which they differ, in per cent.
        differences: Vec<(f64, f64)>,
    },
    /// About a leg: its steady middle is short.
    ShortLeg {
        /// Length of the steady middle, in seconds.
        steady_s: f64,
    },
    /// About a leg: many of its overlay updates are blank.
    ManyBlanks {
        /// Share of the steady middle without a trusted update, 0 to 1.
        share: f64,
    },
    /// About a leg: the speed drifts.
    NotSteady {
        /// Change of the speed over the steady middle, in the unit of the speed.
        change: f64,
    },
    /// About a leg: it contains a gap in the recording.
    RecorderGap,
    /// About a leg: the height changes.
    HeightChanges {
        /// Change of the height over the steady middle, in the unit of the altitude, up positive.
        change: f64,
        /// Speed change with the same energy as the height change, in the unit of the speed; positive if the
        /// aircraft climbs and loses speed, negative if it descends and gains speed.
        equivalent_speed_change: f64,
    },
    /// About a leg: the receiver uses few satellites.
    FewSatellites {
        /// Median number of satellites over the steady middle.
        satellites: f64,
    },
    /// About a leg: the pack voltage is low.
    LowVoltage {
        /// Median voltage over the steady middle, in volts.
        voltage_v: f64,
        /// Voltage limit, in volts.
        limit_v: f64,
    },
    /// About a leg or a pair: the kind that the pilot gave contradicts the speeds, since the upwind leg is
    /// the faster one.
    UpwindFaster,
    /// About a pair: its wind differs from the wind fitted to all legs.
    WindDiffers {
        /// Wind of this pair, in the unit of the speed.
        wind: f64,
        /// Wind fitted to all legs, in the unit of the speed: its component along the course.
        fitted_wind: f64,
    },
    /// About a pattern: no single airspeed and wind fits its legs.
    LegsDisagree {
        /// Standard deviation of the residuals, in the unit of the speed.
        residual: f64,
    },
    /// About a step: its pairs differ by more than their own uncertainties explain.
    PairsDisagree {
        /// Airspeed of the slowest pair, in the unit of the speed.
        slowest: f64,
        /// Airspeed of the fastest pair, in the unit of the speed.
        fastest: f64,
    },
    /// About a pair: its interval is wide.
    WideInterval {
        /// Half the width of the 95 % interval as a share of the airspeed.
        share: f64,
    },
}

impl Note {
    /// What the pilot can do about the fact that the note states; `None` if nothing can be done.
    #[must_use]
    pub fn advice(&self) -> Option<Advice> {
        match self {
            Self::NoTrustedSpeed | Self::UnknownDigits => Some(Advice::TeachDigits),
            Self::NoLegs | Self::NoPairs | Self::TooFewPairs { .. } => Some(Advice::GiveLegs),
            _ => None,
        }
    }
}

impl Note {
    /// The text of a note that contains no numbers; `None` for a note that contains some.
    fn fixed_words(&self) -> Option<&'static str> {
        Some(match self {
            Self::SpeedNotMarked => {
                "No region has the channel `speed`: give this channel to the region of the speed readout."
            }
            Self::NoTrustedSpeed => {
                "No speed reading can be trusted: check the box of the speed region, and teach its digits."
            }
            Self::ConstantSpeed => {
                "The speed never changes: check that its box is around the speed readout. If it is, the readout itself was frozen."
            }
            Self::NoLegs => {
                "No straight, steady leg was found: a leg must hold its speed for at least 4 s. The legs can also be given by hand."
            }
            Self::OneLeg => {
                "Only one leg was found, but an airspeed needs one leg in each direction: if another leg was flown, give the legs by hand."
            }
            Self::NoPairs => "No two legs form a pair: give the legs by hand.",
            Self::UnknownDigits => {
                "No two legs form a pair, because many of their speeds have digits that are not in the glyph set: label the missing digits."
            }
            Self::OutsideRuns => {
                "doubtful: no turn of the usual length lies between this pair and another pair, so its legs may not have been flown up and down the course"
            }
            Self::UnlikeOthers => {
                "doubtful: this pair differs from the other pairs in length, wind, turn or voltage, and it is the first or last of a run, or in no run"
            }
            Self::Circling => {
                "doubtful: the speed rises and falls as in circles flown in wind, so the legs may not be straight"
            }
            Self::DoubtfulStep => {
                "doubtful: the legs of its pairs may not have been flown in opposite directions"
            }
            Self::RecorderGap => "the recording is interrupted within this leg",
            Self::UpwindFaster => {
                "the leg marked as upwind is faster than the downwind leg: check which one is upwind"
            }
            _ => return None,
        })
    }

    /// Writes a note about the flight as a whole. Notes about one leg, pair or step are passed on to
    /// `write_on_leg`.
    fn write_on_flight(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Edited { edits: 1 } => f.write_str("The legs were edited by hand (1 edit)."),
            Self::Edited { edits } => write!(f, "The legs were edited by hand ({edits} edits)."),
            Self::UnpairedLeg { leg, start_s } => {
                write!(f, "Leg {leg} at {start_s:.1} s has no partner and is not used.")
            }
            Self::LegsLeftOut { legs } => {
                write!(
                    f,
                    "{legs} legs have no partner and are not used: the table of legs gives the reasons."
                )
            }

            Self::UnequalSteps { pairs, steps } => write!(
                f,
                "{pairs} pairs cannot be shared equally among {steps} throttle steps: a new step begins where the airspeed changes most; check the throttle column."
            ),
            Self::TooFewPairs { pairs, steps } => write!(
                f,
                "{steps} throttle steps were given, but only {pairs} pairs were found: the given steps are not used; give the legs by hand."
            ),
            Self::ThrottleStepsMixed { given, shown } => write!(
                f,
                "The given throttle steps are not used: they would join pairs for which the overlay shows different throttles ({given} steps given, {shown} shown)."
            ),
            Self::ThrottleContradicts { differences } => {
                let each = differences
                    .iter()
                    .map(|(given, shown)| format!("{given:.0} % given, {shown:.0} % shown"));
                let each = each.collect::<Vec<_>>().join("; ");
                write!(
                    f,
                    "The given throttles differ from those that the overlay shows ({each}): the given ones are used."
                )
            }
            _ => self.write_on_leg(f),
        }
    }

    /// Writes a note about one leg, pair or step that contains numbers.
    fn write_on_leg(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::LeftOut(why) => write!(f, "not used: {why}"),
            Self::FewLegsFit { paired, legs } => write!(
                f,
                "doubtful: one and the same wind explains the speeds of only {paired} of the {legs} legs found, so the flight may not have been up and down one course"
            ),
            Self::ShortLeg { steady_s } => write!(f, "short: the speed is steady for only {steady_s:.1} s"),
            Self::ManyBlanks { share } => write!(f, "{:.0} % of its speed readings are blank", share * 100.0),
            Self::NotSteady { change } => {
                write!(
                    f,
                    "not steady: the speed changes by {change:.1} within the leg (in the unit of the results)"
                )
            }
            Self::HeightChanges { change, equivalent_speed_change } => {
                write_height_change(f, *change, *equivalent_speed_change)
            }
            Self::FewSatellites { satellites } => write!(f, "few satellites: {satellites:.0}"),
            Self::LowVoltage { voltage_v, limit_v } => {
                write!(f, "pack voltage {voltage_v:.1} V, below the limit of {limit_v:.1} V")
            }

            Self::WindDiffers { wind, fitted_wind } => {
                write!(
                    f,
                    "doubtful: this pair shows a wind of {wind:.1} along the course, but the whole flight shows {fitted_wind:.1} (in the unit of the results)"
                )
            }
            Self::LegsDisagree { residual } => {
                write!(
                    f,
                    "no single airspeed and wind explain its legs: their speeds deviate from the best fit by {residual:.1} (standard deviation, in the unit of the results)"
                )
            }
            Self::PairsDisagree { slowest, fastest } => write!(
                f,
                "its pairs differ by more than their uncertainties explain, from {slowest:.1} to {fastest:.1} (in the unit of the results): check that all were flown at one throttle and a similar voltage"
            ),
            Self::WideInterval { share } => {
                write!(f, "wide interval: +/- {:.0} % of the airspeed", share * 100.0)
            }
            // Written by `fixed_words` and `write_on_flight`.
            Self::SpeedNotMarked
            | Self::NoTrustedSpeed
            | Self::ConstantSpeed
            | Self::NoLegs
            | Self::OneLeg
            | Self::NoPairs
            | Self::UnknownDigits
            | Self::OutsideRuns
            | Self::UnlikeOthers
            | Self::Circling
            | Self::DoubtfulStep
            | Self::RecorderGap
            | Self::UpwindFaster
            | Self::Edited { .. }
            | Self::UnpairedLeg { .. }
            | Self::LegsLeftOut { .. }
            | Self::UnequalSteps { .. }
            | Self::TooFewPairs { .. }
            | Self::ThrottleStepsMixed { .. }
            | Self::ThrottleContradicts { .. } => Ok(()),
        }
    }
}

/// Writes the note [`Note::HeightChanges`].
fn write_height_change(f: &mut fmt::Formatter<'_>, change: f64, equivalent_speed_change: f64) -> fmt::Result {
    let (falls_or_rises, higher_or_lower) =
        if change < 0.0 { ("falls", "higher") } else { ("rises", "lower") };
    write!(
        f,
        "the height {falls_or_rises} by {:.0}, which explains a speed that is {higher_or_lower} by up to {:.1} (in the units of the results)",
        change.abs(),
        equivalent_speed_change.abs()
    )
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.fixed_words() {
            Some(words) => f.write_str(words),
            None => self.write_on_flight(f),
        }
    }
}

/// A warning about a leg, a pair or a step, in words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flag(pub String);

impl From<Note> for Flag {
    fn from(note: Note) -> Self {
        Self(note.to_string())
    }
}
