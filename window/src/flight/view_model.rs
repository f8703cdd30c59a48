//! What all parts of the step look at.

use super::blanks::{Blanks, InSight};
use super::leg_editor::LegEditor;
use crate::theme::Colours;
use pairspeed::flight::Flight;
use pairspeed::legs::{GivenLeg, Leg, LegKind, LegUse};
use pairspeed::model::channel::Channel;
use pairspeed::model::units::Unit;
use pairspeed::output::words::{kind_name, use_in_words};
use pairspeed::series::ChannelReadings;

/// Times closer than this are one, in seconds: files keep milliseconds.
const SAME_TIME_S: f64 = 1e-3;

/// A flight, the legs worked on, and what is chosen of them.
pub(super) struct ViewModel<'a> {
    /// The flight as worked out last.
    pub flight: &'a Flight,
    /// The legs as they stand.
    pub leg_editor: &'a LegEditor,
    /// What each of its channels left blank.
    pub blanks: &'a [Blanks],
    /// Number of the leg chosen, from 1.
    pub chosen: Option<usize>,
    /// Place in the series of the frame looked at.
    pub moment: Option<usize>,
    /// The stretch of time shown, in seconds.
    pub view_s: (f64, f64),
}

impl<'a> ViewModel<'a> {
    /// The legs as they stand.
    pub fn legs(&self) -> &[GivenLeg] {
        self.leg_editor.legs()
    }

    /// The leg chosen, with its number.
    pub fn chosen_leg(&self) -> Option<(usize, &GivenLeg)> {
        let number = self.chosen?;
        Some((number, self.legs().get(number.checked_sub(1)?)?))
    }

    /// What was worked out of a leg; `None` where no speed in it is trusted.
    pub fn flown(&self, leg: &GivenLeg) -> Option<&Leg> {
        self.flight.legs.iter().find(|flown| {
            flown.steady_start_s >= leg.start_s - SAME_TIME_S && flown.steady_end_s <= leg.end_s + SAME_TIME_S
        })
    }

    /// What a leg is.
    pub fn kind(&self, leg: &GivenLeg) -> LegKind {
        self.flown(leg).map_or(leg.kind, |flown| flown.kind)
    }

    /// What became of a leg in a few words: its kind, or why it is doubtful or not used.
    pub fn use_in_words(&self, leg: &GivenLeg) -> String {
        let flown = self.flown(leg).filter(|flown| flown.usage != LegUse::Used);
        flown.map_or_else(|| kind_name(self.kind(leg)).to_owned(), use_in_words)
    }

    /// The number of a leg, with a question mark where its pair is doubtful.
    pub fn mark(&self, number: usize, leg: &GivenLeg) -> String {
        let doubtful = self.flown(leg).is_some_and(|flown| flown.usage == LegUse::Doubtful);
        if doubtful { format!("{number}?") } else { number.to_string() }
    }

    /// A leg in a few words, such as `leg 3, upwind`.
    pub fn name(&self, number: usize, leg: &GivenLeg) -> String {
        format!("leg {number}, {}", kind_name(self.kind(leg)))
    }

    /// Time of the frame looked at.
    pub fn moment_s(&self) -> Option<f64> {
        self.flight.series.readings.time_s.get(self.moment?).copied()
    }

    /// Where the chosen leg would be split: at the frame looked at, else in its middle.
    pub fn split_s(&self, leg: &GivenLeg) -> f64 {
        let within = |time_s: &f64| (leg.start_s..=leg.end_s).contains(time_s);
        self.moment_s().filter(within).unwrap_or(f64::midpoint(leg.start_s, leg.end_s))
    }

    /// What a channel left blank in the stretch of time shown.
    pub fn blanks_in_sight(&self, channel: &Channel) -> Option<InSight<'a>> {
        let blanks = self.blanks.iter().find(|blanks| blanks.channel() == channel)?;
        Some(blanks.in_sight(&self.flight.series.readings.time_s, self.view_s))
    }

    /// The readings of a channel that is marked and alive.
    pub fn readout(&self, channel: &Channel) -> Option<&ChannelReadings> {
        self.flight.series.alive(channel)
    }
}

/// The colour of a kind of leg.
pub(super) fn colour_of(kind: LegKind, colours: &Colours) -> egui::Color32 {
    match kind {
        LegKind::Upwind => colours.upwind,
        LegKind::Downwind => colours.downwind,
        LegKind::Unpaired | LegKind::Leg => colours.odd,
    }
}

/// The symbol of a readout's unit; empty where it is not known.
pub(super) fn symbol(readout: &ChannelReadings) -> &'static str {
    readout.unit.map_or("", Unit::symbol)
}
