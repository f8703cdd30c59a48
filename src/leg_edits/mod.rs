//! Edits of the found legs, as a list with undo and redo.
//!
//! The found legs are stored with the edits, so that applying the edits again gives the same legs even if a
//! later version of the program finds others. An edit changes the leg it names and the pair of that leg; all
//! other pairs stay.

use std::fmt;

use serde::{Deserialize, Serialize};
use thiserror::Error;

mod file;

pub use file::{EDITS_FILE, EditsFileError};

use crate::flight::Flight;
use crate::legs::{GivenLeg, LegKind, LegOptions, ThrottleSource};

/// Minimum length of a leg after an edit, in seconds (set by judgement).
pub const SHORTEST_LEG_S: f64 = 1.0;

/// One edit. Legs are numbered from 1 in order of time, as before the edit. Times are in seconds of flight time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case", deny_unknown_fields)]
pub enum LegEdit {
    /// Moves the start of a leg.
    MoveStart {
        /// Number of the leg, from 1.
        leg: usize,
        /// New start of the leg, in seconds of flight time.
        to_s: f64,
    },
    /// Moves the end of a leg.
    MoveEnd {
        /// Number of the leg, from 1.
        leg: usize,
        /// New end of the leg, in seconds of flight time.
        to_s: f64,
    },
    /// Splits a leg into two.
    Split {
        /// Number of the leg, from 1.
        leg: usize,
        /// Time at which the leg is split, in seconds of flight time.
        at_s: f64,
    },
    /// Joins a leg with the next one.
    Join {
        /// Number of the first of the two legs, from 1.
        leg: usize,
    },
    /// Removes a leg.
    Delete {
        /// Number of the leg, from 1.
        leg: usize,
    },
    /// Sets the kind of a leg.
    Mark {
        /// Number of the leg, from 1.
        leg: usize,
        /// The new kind.
        kind: LegKind,
    },
    /// Sets the throttle of a leg and of its partner, since a pair is flown at one throttle.
    Throttle {
        /// Number of the leg, from 1.
        leg: usize,
        /// Throttle in per cent; `None` restores the throttle that the overlay shows, if any.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        percent: Option<f64>,
    },
    /// Adds a leg.
    Add {
        /// Start of the leg, in seconds of flight time.
        start_s: f64,
        /// End of the leg, in seconds of flight time.
        end_s: f64,
    },
}

impl fmt::Display for LegEdit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::MoveStart { leg, to_s } => write!(f, "move the start of leg {leg} to {to_s:.1} s"),
            Self::MoveEnd { leg, to_s } => write!(f, "move the end of leg {leg} to {to_s:.1} s"),
            Self::Split { leg, at_s } => write!(f, "split leg {leg} at {at_s:.1} s"),
            Self::Join { leg } => write!(f, "join leg {leg} and leg {}", leg + 1),
            Self::Delete { leg } => write!(f, "delete leg {leg}"),
            Self::Mark { leg, kind: LegKind::Upwind } => write!(f, "mark leg {leg} as upwind"),
            Self::Mark { leg, kind: LegKind::Downwind } => write!(f, "mark leg {leg} as downwind"),
            Self::Mark { leg, kind: LegKind::Unpaired } => write!(f, "leave leg {leg} out"),
            Self::Mark { leg, kind: LegKind::Leg } => {
                write!(f, "let the speeds decide whether leg {leg} is upwind or downwind")
            }
            Self::Throttle { leg, percent: Some(percent) } => {
                write!(f, "set the throttle of leg {leg} to {percent} %")
            }
            Self::Throttle { leg, percent: None } => write!(f, "remove the throttle given for leg {leg}"),
            Self::Add { start_s, end_s } => write!(f, "add a leg from {start_s:.1} s to {end_s:.1} s"),
        }
    }
}

/// The reason why an edit cannot be made.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LegEditError {
    /// No leg has the number that the edit names.
    #[error("there is no leg {leg}: the flight has {legs} legs")]
    NoSuchLeg {
        /// The number that the edit names.
        leg: usize,
        /// Number of legs in the flight.
        legs: usize,
    },
    /// The leg is the last one, so that it cannot be joined with a next one.
    #[error("leg {leg} is the last: no leg follows that it could be joined with")]
    NothingFollows {
        /// Number of the leg, from 1.
        leg: usize,
    },
    /// A leg would become too short.
    #[error(
        "a leg from {start_s:.1} s to {end_s:.1} s is too short: make it {SHORTEST_LEG_S} s or longer, or delete it"
    )]
    TooShort {
        /// Start that the leg would have, in seconds of flight time.
        start_s: f64,
        /// End that the leg would have, in seconds of flight time.
        end_s: f64,
    },
    /// A leg would overlap another.
    #[error(
        "a leg from {start_s:.1} s to {end_s:.1} s would overlap leg {other}: move or delete leg {other} first"
    )]
    Overlap {
        /// Start that the leg would have, in seconds of flight time.
        start_s: f64,
        /// End that the leg would have, in seconds of flight time.
        end_s: f64,
        /// Number of the other leg, from 1.
        other: usize,
    },
    /// A leg would extend beyond the recording.
    #[error(
        "a leg from {start_s:.1} s to {end_s:.1} s is not within the recording, which lasts from {first_s:.1} s to {last_s:.1} s"
    )]
    OutsideRecording {
        /// Start that the leg would have, in seconds of flight time.
        start_s: f64,
        /// End that the leg would have, in seconds of flight time.
        end_s: f64,
        /// Time of the recording's first frame, in seconds of flight time.
        first_s: f64,
        /// Time of the recording's last frame, in seconds of flight time.
        last_s: f64,
    },
    /// The throttle of the edit is not between 0 and 100 %.
    #[error("a throttle of {percent} % is not possible: give 0 to 100, or leave it out if it is not known")]
    Throttle {
        /// Throttle of the edit, in per cent.
        percent: f64,
    },
}

/// The legs found in a flight, with the pilot's edits.
#[derive(Debug, Clone, PartialEq)]
pub struct LegEdits {
    pub(super) recording_s: (f64, f64),
    pub(super) found: Vec<GivenLeg>,
    pub(super) edits: Vec<LegEdit>,
    undone: Vec<LegEdit>,
    legs: Vec<GivenLeg>,
}

impl LegEdits {
    /// The legs found in a flight, without edits.
    #[must_use]
    pub fn of(flight: &Flight) -> Self {
        let time_s = &flight.series.readings.time_s;
        let recording_s = (time_s.first().copied().unwrap_or(0.0), time_s.last().copied().unwrap_or(0.0));
        let given = matches!(flight.throttle_source, ThrottleSource::Given | ThrottleSource::LegsFile);
        let pair_of = |index: usize| {
            let holds = |pair: &&crate::airspeed::Pair| pair.legs.contains(index);
            flight.pairs.iter().find(holds).map(|pair| pair.pair)
        };
        let as_found = flight.legs.iter().enumerate().map(|(index, leg)| GivenLeg {
            start_s: leg.steady_start_s,
            end_s: leg.steady_end_s,
            // The speeds decide which leg of a pair is the upwind one.
            kind: if leg.kind == LegKind::Unpaired { LegKind::Unpaired } else { LegKind::Leg },
            // A throttle from the overlay is read again when the ends move.
            throttle_percent: leg.throttle_percent.filter(|_| given),
            whole_s: Some((leg.start_s, leg.end_s)),
            pair: pair_of(index),
        });
        Self::from_found(recording_s, as_found.collect())
    }

    pub(super) fn from_found(recording_s: (f64, f64), found: Vec<GivenLeg>) -> Self {
        Self { recording_s, legs: found.clone(), found, edits: Vec::new(), undone: Vec::new() }
    }

    /// The edited legs, in order of time.
    #[must_use]
    pub fn legs(&self) -> &[GivenLeg] {
        &self.legs
    }

    /// The edits in the order they were made, without the undone ones.
    #[must_use]
    pub fn edits(&self) -> &[LegEdit] {
        &self.edits
    }

    /// The undone edit that [`LegEdits::redo`] would apply again; `None` if there is none.
    #[must_use]
    pub fn next_redo(&self) -> Option<&LegEdit> {
        self.undone.last()
    }

    /// Earliest and latest possible start of a leg, in seconds of flight time. The earliest is the end of the
    /// previous leg, or the first frame; the latest leaves the minimum length of a leg. `None` if there is no
    /// such leg.
    #[must_use]
    pub fn start_limits(&self, leg: usize) -> Option<(f64, f64)> {
        let index = index_of(&self.legs, leg).ok()?;
        let before = index.checked_sub(1).and_then(|before| self.legs.get(before));
        Some((before.map_or(self.recording_s.0, |leg| leg.end_s), self.legs[index].end_s - SHORTEST_LEG_S))
    }

    /// Earliest and latest possible end of a leg, in seconds of flight time. The earliest leaves the minimum
    /// length of a leg; the latest is the start of the next leg, or the last frame. `None` if there is no
    /// such leg.
    #[must_use]
    pub fn end_limits(&self, leg: usize) -> Option<(f64, f64)> {
        let index = index_of(&self.legs, leg).ok()?;
        let after = self.legs.get(index + 1);
        let latest_s = after.map_or(self.recording_s.1, |leg| leg.start_s);
        Some((self.legs[index].start_s + SHORTEST_LEG_S, latest_s))
    }

    /// The options with the edited legs as given legs. Without edits the options stay unchanged.
    #[must_use]
    pub fn applied_to(&self, options: &LegOptions) -> LegOptions {
        if self.edits.is_empty() {
            return options.clone();
        }
        LegOptions { given: Some(self.legs.clone()), edits: self.edits.len(), ..options.clone() }
    }

    /// Applies an edit. If the last edit moved the same start or the same end of the same leg, the new edit replaces
    /// it, so that undo restores the time before both moves.
    ///
    /// # Errors
    ///
    /// [`LegEditError`] tells why the edit is not possible; nothing is changed then.
    pub fn make(&mut self, edit: LegEdit) -> Result<(), LegEditError> {
        apply(&mut self.legs, edit, self.recording_s)?;
        if self.edits.last().is_some_and(|last| same_end(last, &edit)) {
            self.edits.pop();
        }
        self.edits.push(edit);
        self.undone.clear();
        Ok(())
    }

    /// Undoes the last edit, if there is one.
    pub fn undo(&mut self) {
        self.undone.extend(self.edits.pop());
        self.apply_all();
    }

    /// Applies the last undone edit again, if there is one.
    pub fn redo(&mut self) {
        self.edits.extend(self.undone.pop());
        self.apply_all();
    }

    fn apply_all(&mut self) {
        self.legs.clone_from(&self.found);
        for edit in &self.edits {
            // Every edit was possible on exactly these legs before.
            let _made = apply(&mut self.legs, *edit, self.recording_s);
        }
    }
}

fn same_end(last: &LegEdit, edit: &LegEdit) -> bool {
    match (last, edit) {
        (LegEdit::MoveStart { leg, .. }, LegEdit::MoveStart { leg: again, .. })
        | (LegEdit::MoveEnd { leg, .. }, LegEdit::MoveEnd { leg: again, .. }) => leg == again,
        _ => false,
    }
}

/// Applies one edit, or leaves the legs unchanged and returns an error.
fn apply(legs: &mut Vec<GivenLeg>, edit: LegEdit, recording_s: (f64, f64)) -> Result<(), LegEditError> {
    match edit {
        LegEdit::MoveStart { leg, to_s } => {
            let index = index_of(legs, leg)?;
            let end_s = legs[index].end_s;
            move_ends(legs, index, (to_s, end_s), recording_s)
        }
        LegEdit::MoveEnd { leg, to_s } => {
            let index = index_of(legs, leg)?;
            let start_s = legs[index].start_s;
            move_ends(legs, index, (start_s, to_s), recording_s)
        }
        LegEdit::Split { leg, at_s } => {
            let index = index_of(legs, leg)?;
            split(legs, index, at_s)
        }
        LegEdit::Join { leg } => {
            let index = index_of(legs, leg)?;
            join(legs, index)
        }
        LegEdit::Delete { leg } => {
            let index = index_of(legs, leg)?;
            dissolve_pair(legs, index);
            legs.remove(index);
            Ok(())
        }
        LegEdit::Mark { leg, kind } => {
            let index = index_of(legs, leg)?;
            mark(legs, index, kind);
            Ok(())
        }
        LegEdit::Throttle { leg, percent } => {
            let index = index_of(legs, leg)?;
            throttle(legs, index, percent)
        }
        LegEdit::Add { start_s, end_s } => add(legs, (start_s, end_s), recording_s),
    }
}

fn index_of(legs: &[GivenLeg], leg: usize) -> Result<usize, LegEditError> {
    let index = leg.checked_sub(1).filter(|index| *index < legs.len());
    index.ok_or(LegEditError::NoSuchLeg { leg, legs: legs.len() })
}

/// Checks that an interval lies within the recording, is long enough, and overlaps no leg except the one at
/// `index`.
fn check(
    legs: &[GivenLeg],
    index: Option<usize>,
    (start_s, end_s): (f64, f64),
    (first_s, last_s): (f64, f64),
) -> Result<(), LegEditError> {
    if !(start_s >= first_s && end_s <= last_s) {
        return Err(LegEditError::OutsideRecording { start_s, end_s, first_s, last_s });
    }
    if end_s - start_s < SHORTEST_LEG_S {
        return Err(LegEditError::TooShort { start_s, end_s });
    }
    let in_the_way = |(other, leg): &(usize, &GivenLeg)| {
        Some(*other) != index && leg.start_s < end_s && start_s < leg.end_s
    };
    match legs.iter().enumerate().find(in_the_way) {
        Some((other, _)) => Err(LegEditError::Overlap { start_s, end_s, other: other + 1 }),
        None => Ok(()),
    }
}

fn move_ends(
    legs: &mut [GivenLeg],
    index: usize,
    (start_s, end_s): (f64, f64),
    recording_s: (f64, f64),
) -> Result<(), LegEditError> {
    check(legs, Some(index), (start_s, end_s), recording_s)?;
    let before = legs[index];
    let whole_s = before.whole_s.map(|whole_s| {
        // Where the pilot moved an end, the whole leg ends there too.
        let kept = |now: f64, then: f64, whole: f64| if now == then { whole } else { now };
        (kept(start_s, before.start_s, whole_s.0), kept(end_s, before.end_s, whole_s.1))
    });
    legs[index] = GivenLeg { start_s, end_s, whole_s, ..before };
    if let Some(other) = index.checked_sub(1).and_then(|other| legs.get_mut(other)) {
        other.whole_s = other.whole_s.map(|(from_s, until_s)| (from_s, until_s.min(start_s)));
    }
    if let Some(other) = legs.get_mut(index + 1) {
        other.whole_s = other.whole_s.map(|(from_s, until_s)| (from_s.max(end_s), until_s));
    }
    Ok(())
}

fn split(legs: &mut Vec<GivenLeg>, index: usize, at_s: f64) -> Result<(), LegEditError> {
    let GivenLeg { start_s, end_s, .. } = legs[index];
    for (start_s, end_s) in [(start_s, at_s), (at_s, end_s)] {
        let length_s = end_s - start_s;
        if length_s.is_nan() || length_s < SHORTEST_LEG_S {
            return Err(LegEditError::TooShort { start_s, end_s });
        }
    }
    dissolve_pair(legs, index);
    let leg = legs[index];
    let half = |start_s: f64, end_s: f64| GivenLeg {
        start_s,
        end_s,
        whole_s: leg.whole_s.map(|(from_s, until_s)| {
            (if start_s == at_s { at_s } else { from_s }, if end_s == at_s { at_s } else { until_s })
        }),
        ..leg
    };
    legs.splice(index..=index, [half(start_s, at_s), half(at_s, end_s)]);
    Ok(())
}

fn join(legs: &mut Vec<GivenLeg>, index: usize) -> Result<(), LegEditError> {
    if index + 1 >= legs.len() {
        return Err(LegEditError::NothingFollows { leg: index + 1 });
    }
    dissolve_pair(legs, index);
    dissolve_pair(legs, index + 1);
    let (first, second) = (legs[index], legs[index + 1]);
    let (from, until) = (first.whole_s, second.whole_s);
    let joined = GivenLeg {
        start_s: first.start_s,
        end_s: second.end_s,
        kind: if first.kind == second.kind { first.kind } else { LegKind::Leg },
        throttle_percent: first.throttle_percent.or(second.throttle_percent),
        whole_s: from.zip(until).map(|((from_s, _), (_, until_s))| (from_s, until_s)),
        pair: None,
    };
    legs.splice(index..=index + 1, [joined]);
    Ok(())
}

fn mark(legs: &mut [GivenLeg], index: usize, kind: LegKind) {
    let partner = partner(legs, index);
    let same_way = partner.is_some_and(|partner| legs[partner].kind == kind && kind != LegKind::Leg);
    if same_way || kind == LegKind::Unpaired {
        dissolve_pair(legs, index);
    }
    legs[index].kind = kind;
}

fn throttle(legs: &mut [GivenLeg], index: usize, percent: Option<f64>) -> Result<(), LegEditError> {
    if let Some(percent) = percent.filter(|percent| !(0.0..=100.0).contains(percent)) {
        return Err(LegEditError::Throttle { percent });
    }
    for index in [Some(index), partner(legs, index)].into_iter().flatten() {
        legs[index].throttle_percent = percent;
    }
    Ok(())
}

fn add(
    legs: &mut Vec<GivenLeg>,
    (start_s, end_s): (f64, f64),
    recording_s: (f64, f64),
) -> Result<(), LegEditError> {
    check(legs, None, (start_s, end_s), recording_s)?;
    let index = legs.partition_point(|leg| leg.start_s < start_s);
    legs.insert(index, GivenLeg::new(start_s, end_s, LegKind::Leg));
    let between = |leg: &mut GivenLeg| {
        leg.whole_s = leg.whole_s.map(|(from_s, until_s)| {
            if leg.end_s <= start_s { (from_s, until_s.min(start_s)) } else { (from_s.max(end_s), until_s) }
        });
    };
    let beside = [index.checked_sub(1), Some(index + 1)];
    for other in beside.into_iter().flatten() {
        legs.get_mut(other).into_iter().for_each(between);
    }
    Ok(())
}

/// Index of the other leg of the same pair; `None` if the leg is in no pair.
fn partner(legs: &[GivenLeg], index: usize) -> Option<usize> {
    let pair = legs[index].pair?;
    legs.iter().enumerate().position(|(other, leg)| other != index && leg.pair == Some(pair))
}

/// Dissolves the pair that a leg belongs to.
fn dissolve_pair(legs: &mut [GivenLeg], index: usize) {
    if let Some(partner) = partner(legs, index) {
        legs[partner].pair = None;
    }
    legs[index].pair = None;
}
