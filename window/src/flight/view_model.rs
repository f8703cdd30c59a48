//! The data that all parts of the page show.

use super::blanks::{Blanks, VisibleBlanks};
use super::leg_editor::LegEditor;
use crate::theme::Colours;
use pairspeed::flight::Flight;
use pairspeed::legs::{GivenLeg, Leg, LegKind, LegUse};
use pairspeed::model::channel::Channel;
use pairspeed::model::units::Unit;
use pairspeed::output::words::{kind_name, use_in_words};
use pairspeed::series::ChannelReadings;

/// Times that differ by less than this are equal, in seconds: files store milliseconds.
const SAME_TIME_S: f64 = 1e-3;

/// A flight, its edited legs, and what is selected.
pub(super) struct ViewModel<'a> {
    /// The flight as it was computed last.
    pub flight: &'a Flight,
    /// The editor, which has the legs after all edits.
    pub leg_editor: &'a LegEditor,
    /// The blank intervals of each channel.
    pub blanks: &'a [Blanks],
    /// Number of the selected leg, from 1; `None` if none is selected.
    pub selected: Option<usize>,
    /// Index in the series of the frame shown; `None` if none is shown.
    pub shown_frame: Option<usize>,
    /// Start and end of the interval of time shown, in seconds of flight time.
    pub view_s: (f64, f64),
}

impl<'a> ViewModel<'a> {
    /// The legs after all edits.
    pub fn legs(&self) -> &[GivenLeg] {
        self.leg_editor.legs()
    }

    /// The selected leg, with its number; `None` if none is selected.
    pub fn chosen_leg(&self) -> Option<(usize, &GivenLeg)> {
        let number = self.selected?;
        Some((number, self.legs().get(number.checked_sub(1)?)?))
    }

    /// The leg as computed; `None` if no speed in it is trusted.
    pub fn flown(&self, leg: &GivenLeg) -> Option<&Leg> {
        self.flight.legs.iter().find(|flown| {
            flown.steady_start_s >= leg.start_s - SAME_TIME_S && flown.steady_end_s <= leg.end_s + SAME_TIME_S
        })
    }

    /// The kind of a leg: as computed, otherwise as given.
    pub fn kind(&self, leg: &GivenLeg) -> LegKind {
        self.flown(leg).map_or(leg.kind, |flown| flown.kind)
    }

    /// How a leg is used, in a few words: its kind, or why it is doubtful or not used.
    pub fn use_in_words(&self, leg: &GivenLeg) -> String {
        let flown = self.flown(leg).filter(|flown| flown.usage != LegUse::Used);
        flown.map_or_else(|| kind_name(self.kind(leg)).to_owned(), use_in_words)
    }

    /// The number of a leg as text, with a question mark if its pair is doubtful.
    pub fn mark(&self, number: usize, leg: &GivenLeg) -> String {
        let doubtful = self.flown(leg).is_some_and(|flown| flown.usage == LegUse::Doubtful);
        if doubtful { format!("{number}?") } else { number.to_string() }
    }

    /// The name of a leg in a few words, such as `leg 3, upwind`.
    pub fn name(&self, number: usize, leg: &GivenLeg) -> String {
        format!("leg {number}, {}", kind_name(self.kind(leg)))
    }

    /// Time of the frame shown, in seconds; `None` if none is shown.
    pub fn shown_frame_s(&self) -> Option<f64> {
        self.flight.series.readings.time_s.get(self.shown_frame?).copied()
    }

    /// Time at which a leg would be split, in seconds of flight time: at the frame shown if that lies within the
    /// leg, otherwise in the middle of the leg.
    pub fn split_s(&self, leg: &GivenLeg) -> f64 {
        let within = |time_s: &f64| (leg.start_s..=leg.end_s).contains(time_s);
        self.shown_frame_s().filter(within).unwrap_or(f64::midpoint(leg.start_s, leg.end_s))
    }

    /// The blank intervals of a channel within the time shown; `None` if the setup has no region for the
    /// channel.
    pub fn visible_blanks(&self, channel: &Channel) -> Option<VisibleBlanks<'a>> {
        let blanks = self.blanks.iter().find(|blanks| blanks.channel() == channel)?;
        Some(blanks.visible(&self.flight.series.readings.time_s, self.view_s))
    }

    /// The readings of a channel; `None` if the setup has no region for it, or if it is dead.
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

/// The symbol of a channel's unit; empty if the unit is not known.
pub(super) fn symbol(readout: &ChannelReadings) -> &'static str {
    readout.unit.map_or("", Unit::symbol)
}
