//! Warnings about a flight, its legs and its pairs.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::advice::Advice;

/// The reason why two neighbouring legs are not a pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum NotPaired {
    /// There is no other leg.
    Alone,
    /// The pilot gave the kinds of the legs.
    Given,
    /// They are flown at different throttles.
    Throttle,
    /// Their headings are not opposite.
    Heading,
    /// The speeds show no turn between them.
    NoTurn,
    /// Half the difference of their speeds is not the wind of the flight.
    Wind,
    /// One is much longer than the other.
    Lengths,
    /// One is much shorter than the typical leg of the flight.
    Short,
    /// Much less time lies between them than a typical turn of the flight takes.
    QuickTurn,
    /// Too much time lies between them.
    Apart,
    /// The pack's voltage differs.
    Voltage,
    /// They would fit, but no turn joins their pair to another pair, and the pairs that are joined fit better.
    OutsideRuns,
    /// The leg that would fit belongs to another pair.
    Taken,
}

impl NotPaired {
    /// The reason in two or three words, for a diagram.
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
        }
    }
}

impl fmt::Display for NotPaired {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Alone => "there is no other leg",
            Self::Given => "marked as not to be used",
            Self::Throttle => "the legs beside it were flown at another throttle",
            Self::Heading => "no leg beside it was flown the opposite way",
            Self::NoTurn => "no turn is seen between it and the legs beside it",
            Self::Wind => "its difference from the legs beside it is not the wind of this flight",
            Self::Lengths => "the legs beside it are much longer or shorter",
            Self::Short => "it is much shorter than the other legs of this flight",
            Self::QuickTurn => "the turn next to it is much quicker than the others of this flight",
            Self::Apart => "the legs beside it were flown too long before or after",
            Self::Voltage => "the legs beside it were flown at another pack voltage",
            Self::OutsideRuns => "it lies outside the runs",
            Self::Taken => "the leg that would match it belongs to another pair",
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
    /// A single leg was found: no pair can be made.
    OneLeg,
    /// Legs were found, but none has a partner.
    NoPairs,
    /// The pilot edited the legs found.
    Edited {
        /// How many edits there are.
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
        /// Number of these legs.
        legs: usize,
    },
    /// Leg: it is in no pair.
    LeftOut(NotPaired),
    /// Pair: no regular turn joins it to another pair.
    OutsideRuns,
    /// Pair: it is the first or the last of a run and unlike the others.
    UnlikeOthers,
    /// Pair: too few of the legs found fit one wind.
    FewLegsFit {
        /// Legs in pairs.
        paired: usize,
        /// Legs found.
        legs: usize,
    },
    /// Pair: the speed swings as in a circle flown in wind.
    Circling,
    /// Step: all of its pairs are doubtful.
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
    /// Fewer throttle steps were given than the overlay shows, so that they divide the pairs wrongly.
    ThrottleListUnfit {
        /// Number of steps given.
        given: u32,
        /// Number of steps by the throttle shown.
        shown: u32,
    },
    /// The given throttles differ from those that the overlay shows.
    ThrottleContradicts {
        /// Given and shown throttle of the steps that differ, in per cent.
        apart: Vec<(f64, f64)>,
    },
    /// Leg: its steady middle is short.
    ShortLeg {
        /// Length of its steady middle, in seconds.
        steady_s: f64,
    },
    /// Leg: many of its updates are blank.
    ManyBlanks {
        /// Share of the steady middle without a trusted update, 0 to 1.
        share: f64,
    },
    /// Leg: the speed drifts.
    NotSteady {
        /// Change over the steady middle, in the unit of the speed.
        change: f64,
    },
    /// Leg: it contains a gap in the recording.
    RecorderGap,
    /// Leg: the height changes.
    HeightChanges {
        /// Change over the steady middle, in the unit of the altitude, up positive.
        change: f64,
        /// Speed that the change is worth by energy, in the unit of the speed: lost in a climb (positive) or
        /// gained in a descent (negative).
        worth: f64,
    },
    /// Leg: the receiver uses few satellites.
    FewSatellites {
        /// Median number over the steady middle.
        satellites: f64,
    },
    /// Leg: the pack is low.
    LowVoltage {
        /// Median voltage over the steady middle, in volts.
        voltage_v: f64,
        /// The limit, in volts.
        limit_v: f64,
    },
    /// Leg or pair: the kind that the pilot gave contradicts the speeds.
    UpwindFaster,
    /// Pair: its wind differs from the wind that all legs fit.
    WindDiffers {
        /// Wind of this pair, in the unit of the speed.
        wind: f64,
        /// Wind along the course that all legs fit, in the unit of the speed.
        usual: f64,
    },
    /// Pattern: no single airspeed and wind fits its legs.
    LegsDisagree {
        /// Standard deviation of the residuals, in the unit of the speed.
        residual: f64,
    },
    /// Step: its pairs differ by more than their own uncertainties explain.
    PairsDisagree {
        /// Airspeed of the slowest pair, in the unit of the speed.
        slowest: f64,
        /// Airspeed of the fastest pair, in the unit of the speed.
        fastest: f64,
    },
    /// Pair: its interval is wide.
    WideInterval {
        /// Half the width of the interval as a share of the airspeed.
        share: f64,
    },
}

impl Note {
    /// What to do about it, where something can be done.
    #[must_use]
    pub fn advice(&self) -> Option<Advice> {
        match self {
            Self::NoTrustedSpeed => Some(Advice::TeachDigits),
            Self::NoLegs | Self::NoPairs | Self::TooFewPairs { .. } => Some(Advice::GiveLegs),
            _ => None,
        }
    }
}

impl Note {
    /// The words of a note without numbers; `None` for the others.
    fn fixed_words(&self) -> Option<&'static str> {
        Some(match self {
            Self::SpeedNotMarked => "No region is marked as speed: mark it in the setup.",
            Self::NoTrustedSpeed => {
                "Not one speed reading can be trusted: check the region's box and teach its digits."
            }
            Self::ConstantSpeed => "The speed never changes: the readout may be frozen.",
            Self::NoLegs => {
                "No straight, steady leg was found: a leg must hold its speed for 4 s or more; or give the legs by hand."
            }
            Self::OneLeg => "Only one leg was found: an airspeed needs one each way.",
            Self::NoPairs => "No two legs form a pair: give the legs by hand.",
            Self::OutsideRuns => {
                "doubtful: no regular turn joins it to another pair, so it may lie outside the runs"
            }
            Self::UnlikeOthers => {
                "doubtful: first or last of its run, and unlike the others in length, wind, turn or voltage"
            }
            Self::Circling => "doubtful: the speed swings as when circling in wind, without straight legs",
            Self::DoubtfulStep => "doubtful: its pairs may not be two legs flown opposite ways",
            Self::RecorderGap => "the recording stops within it",
            Self::UpwindFaster => "the leg given as upwind is the faster one",
            _ => return None,
        })
    }

    /// Writes a note with numbers on the legs, pairs or throttles of a flight.
    fn write_on_flight(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Edited { edits: 1 } => f.write_str("The legs were edited by hand (1 edit)."),
            Self::Edited { edits } => write!(f, "The legs were edited by hand ({edits} edits)."),
            Self::UnpairedLeg { leg, start_s } => {
                write!(f, "Leg {leg} at {start_s:.1} s has no partner and is not used.")
            }
            Self::LegsLeftOut { legs } => {
                write!(f, "{legs} legs have no partner and are not used: the table of legs says why.")
            }
            Self::UnequalSteps { pairs, steps } => write!(
                f,
                "{pairs} pairs do not divide evenly into {steps} throttle steps: they are divided where the speeds change most; check the throttle column."
            ),
            Self::TooFewPairs { pairs, steps } => write!(
                f,
                "{steps} throttle steps were given but {pairs} pairs were found: the list is not used; give the legs by hand."
            ),
            Self::ThrottleListUnfit { given, shown } => write!(
                f,
                "{given} throttle steps were given but the overlay shows {shown}: the list is not used."
            ),
            Self::ThrottleContradicts { apart } => {
                let each = apart.iter().map(|(given, shown)| format!("{given:.0} given, {shown:.0} shown"));
                let each = each.collect::<Vec<_>>().join("; ");
                write!(
                    f,
                    "The given throttles differ from those that the overlay shows (per cent: {each}): the given ones are used."
                )
            }
            _ => self.write_on_leg(f),
        }
    }

    /// Writes a note with numbers on one leg, pair or step.
    fn write_on_leg(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::LeftOut(why) => write!(f, "not used: {why}"),
            Self::FewLegsFit { paired, legs } => write!(
                f,
                "doubtful: only {paired} of {legs} legs found fit one wind, so this may be no flight up and down one course"
            ),
            Self::ShortLeg { steady_s } => write!(f, "short: {steady_s:.1} s steady"),
            Self::ManyBlanks { share } => write!(f, "{:.0} % of it blank", share * 100.0),
            Self::NotSteady { change } => write!(f, "not steady: changes by {change:.1}"),
            Self::HeightChanges { change, worth } => {
                let (way, effect) = if *change < 0.0 { ("falls", "more") } else { ("rises", "less") };
                write!(
                    f,
                    "height {way} by {:.0}: worth up to {:.1} {effect} speed",
                    change.abs(),
                    worth.abs()
                )
            }
            Self::FewSatellites { satellites } => write!(f, "few satellites: {satellites:.0}"),
            Self::LowVoltage { voltage_v, limit_v } => {
                write!(f, "pack at {voltage_v:.1} V, below the limit of {limit_v:.1} V")
            }
            Self::WindDiffers { wind, usual } => {
                write!(f, "doubtful: its wind of {wind:.1} is at odds with the {usual:.1} of this flight")
            }
            Self::LegsDisagree { residual } => {
                write!(f, "its legs fit no one wind: {residual:.1} is left unexplained")
            }
            Self::PairsDisagree { slowest, fastest } => write!(
                f,
                "its pairs differ more than they should, {slowest:.1} to {fastest:.1}: were they flown at one throttle, on one voltage?"
            ),
            Self::WideInterval { share } => write!(f, "uncertain by {:.0} %", share * 100.0),
            // Written by the others.
            Self::SpeedNotMarked
            | Self::NoTrustedSpeed
            | Self::ConstantSpeed
            | Self::NoLegs
            | Self::OneLeg
            | Self::NoPairs
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
            | Self::ThrottleListUnfit { .. }
            | Self::ThrottleContradicts { .. } => Ok(()),
        }
    }
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
