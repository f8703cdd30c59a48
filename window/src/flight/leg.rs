//! The selected leg: its values, and the edits that can be made.

use egui::{DragValue, RichText, TextEdit, Ui};

use super::action::LegAction;
use super::ends::End;
use super::view_model::{ViewModel, colour_of};
use crate::theme;
use pairspeed::leg_edits::LegEdit;
use pairspeed::legs::{GivenLeg, Leg, LegKind};
use pairspeed::model::channel::Channel;
use pairspeed::model::units::Unit;
use pairspeed::output::numbers::{shown, trimmed};
use pairspeed::output::words::{joined, kind_name, speed_symbol, with_symbol};
use pairspeed::visible;

/// The kinds that a leg can be marked as, with their names and keys.
pub(super) const KINDS: [(LegKind, &str, egui::Key); 4] = [
    (LegKind::Upwind, "Upwind", egui::Key::U),
    (LegKind::Downwind, "Downwind", egui::Key::D),
    (LegKind::Leg, "By its speed", egui::Key::B),
    (LegKind::Unpaired, "Leave out", egui::Key::O),
];

/// The identifier of the widget in which the throttle is typed.
pub(super) fn throttle_id() -> egui::Id {
    egui::Id::unique("throttle of the leg")
}

/// The throttle as the pilot types it, for one leg.
#[derive(Debug, Default)]
pub(super) struct ThrottleEntry {
    of: Option<(usize, Option<f64>)>,
    text: String,
}

/// Shows the selected leg.
pub(super) fn show(
    ui: &mut Ui,
    view_model: &ViewModel<'_>,
    entry: &mut ThrottleEntry,
    actions: &mut Vec<LegAction>,
) {
    let Some((number, leg)) = view_model.chosen_leg() else {
        ui.label(if view_model.legs().is_empty() {
            "There is no leg yet. Show a frame within a leg and add the leg there."
        } else {
            "No leg is selected: click a leg, or press Page Down."
        });
        add_button(ui, view_model, actions);
        return;
    };
    let flown = view_model.flown(leg);
    ui.horizontal(|ui| {
        let colour = colour_of(view_model.kind(leg), &theme::colours(ui));
        let (mark, _) = ui.allocate_exact_size(egui::vec2(10.0, 20.0), egui::Sense::hover());
        ui.painter().rect_filled(mark, 2.0, colour);
        ui.label(RichText::new(format!("Leg {number} of {}", view_model.legs().len())).strong().size(17.0));
        ui.label(kind_name(view_model.kind(leg)));
        let neighbours = [("Previous leg", number.checked_sub(1)), ("Next leg", number.checked_add(1))];
        for (name, other) in neighbours {
            let there = other.filter(|other| (1..=view_model.legs().len()).contains(other));
            let button = egui::Button::new(if name.starts_with('P') { "<" } else { ">" });
            let response = ui.add_enabled(there.is_some(), button);
            response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, there.is_some(), name));
            if response.on_hover_text(name).clicked() {
                actions.extend(there.map(LegAction::Select));
            }
        }
    });
    ui.horizontal(|ui| {
        for end in [End::Start, End::End] {
            end_value(ui, view_model, (number, leg, end), actions);
        }
    });
    ui.horizontal_wrapped(|ui| {
        for (kind, words, key) in KINDS {
            let hint = format!("Mark this leg ({})", key.name());
            if ui.selectable_label(leg.kind == kind, words).on_hover_text(hint).clicked() {
                actions.push(LegAction::Make(LegEdit::Mark { leg: number, kind }));
            }
        }
    });
    ui.horizontal_wrapped(|ui| {
        throttle(ui, (number, leg, flown), entry, actions);
        changes(ui, view_model, number, leg, actions);
    });
    if let Some(flown) = flown {
        measured(ui, view_model, flown);
    } else {
        ui.label("No speed reading in this leg is trusted.");
    }
}

fn end_value(
    ui: &mut Ui,
    view_model: &ViewModel<'_>,
    (number, leg, end): (usize, &GivenLeg, End),
    actions: &mut Vec<LegAction>,
) {
    let label = ui.label(end.name());
    let mut time_s = if end == End::Start { leg.start_s } else { leg.end_s };
    let value =
        DragValue::new(&mut time_s).speed(0.05).fixed_decimals(2).suffix(" s").update_while_editing(false);
    let response = ui.add(value).labelled_by(label.id).on_hover_text("Drag to change, or click to type");
    let edit = || end.moved(view_model, number, time_s);
    if response.dragged() {
        actions.extend(edit().map(LegAction::Try));
    } else if response.drag_stopped() || response.changed() {
        actions.extend(edit().map(LegAction::Make));
    }
}

fn throttle(
    ui: &mut Ui,
    (number, leg, flown): (usize, &GivenLeg, Option<&Leg>),
    entry: &mut ThrottleEntry,
    actions: &mut Vec<LegAction>,
) {
    let now = leg.throttle_percent.or_else(|| flown.and_then(|flown| flown.throttle_percent));
    if entry.of != Some((number, now)) {
        entry.of = Some((number, now));
        entry.text = now.map(trimmed).unwrap_or_default();
    }
    let label = ui.label("Throttle %");
    let field = TextEdit::singleline(&mut entry.text).id(throttle_id()).desired_width(48.0).hint_text("?");
    let response = ui.add(field).labelled_by(label.id);
    let response = response.on_hover_text(
        "Throttle of this leg and of the other leg of its pair; if empty, the throttle that the overlay shows, if any",
    );
    if response.lost_focus() {
        let typed = entry.text.trim().trim_end_matches('%').trim().replace(',', ".");
        let percent = if typed.is_empty() { Some(None) } else { typed.parse().ok().map(Some) };
        match percent {
            Some(percent) if percent != now => {
                actions.push(LegAction::Make(LegEdit::Throttle { leg: number, percent }))
            }
            // An entry that is not a number is replaced by the previous value.
            _ => entry.of = None,
        }
    }
}

fn changes(
    ui: &mut Ui,
    view_model: &ViewModel<'_>,
    number: usize,
    leg: &GivenLeg,
    actions: &mut Vec<LegAction>,
) {
    let at_s = view_model.split_s(leg);
    if ui.button("Split").on_hover_text(format!("Split this leg at {at_s:.1} s into two (X)")).clicked() {
        actions.push(LegAction::Make(LegEdit::Split { leg: number, at_s }));
    }
    let joins = number < view_model.legs().len();
    let hint = format!("Join this leg with leg {} (J)", number + 1);
    if ui.add_enabled(joins, egui::Button::new("Join next")).on_hover_text(hint).clicked() {
        actions.push(LegAction::Make(LegEdit::Join { leg: number }));
    }
    if ui.button("Delete").on_hover_text("Delete this leg (Delete)").clicked() {
        actions.push(LegAction::Make(LegEdit::Delete { leg: number }));
    }
    add_button(ui, view_model, actions);
}

/// Length of a leg that is added around the frame shown, in seconds; it is shorter if there is not enough room.
/// Set by judgement.
const ADDED_S: f64 = 8.0;

/// The edit that would add a leg around the frame shown; `None` if that frame lies within a leg or there is
/// no room.
pub(super) fn addition(view_model: &ViewModel<'_>) -> Option<LegEdit> {
    let about_s = view_model.shown_frame_s()?;
    let time_s = &view_model.flight.series.readings.time_s;
    let (first_s, last_s) = (*time_s.first()?, *time_s.last()?);
    let before_s = view_model
        .legs()
        .iter()
        .map(|leg| leg.end_s)
        .filter(|end_s| *end_s <= about_s)
        .fold(first_s, f64::max);
    let after_s = view_model
        .legs()
        .iter()
        .map(|leg| leg.start_s)
        .filter(|start_s| *start_s >= about_s)
        .fold(last_s, f64::min);
    let within = view_model.legs().iter().any(|leg| leg.start_s < about_s && about_s < leg.end_s);
    let (start_s, end_s) = ((about_s - ADDED_S / 2.0).max(before_s), (about_s + ADDED_S / 2.0).min(after_s));
    (!within && end_s - start_s >= pairspeed::leg_edits::SHORTEST_LEG_S)
        .then_some(LegEdit::Add { start_s, end_s })
}

fn add_button(ui: &mut Ui, view_model: &ViewModel<'_>, actions: &mut Vec<LegAction>) {
    let edit = addition(view_model);
    let hint = "Add a leg around the frame shown, if no leg is there (A)";
    if ui.add_enabled(edit.is_some(), egui::Button::new("Add")).on_hover_text(hint).clicked() {
        actions.extend(edit.map(LegAction::Make));
    }
}

fn measured(ui: &mut Ui, view_model: &ViewModel<'_>, flown: &Leg) {
    let speed = speed_symbol(view_model.flight);
    let sure = if flown.speed_uncertainty.is_finite() {
        format!(" +/- {}", shown(flown.speed_uncertainty, 1))
    } else {
        String::new()
    };
    let mut facts = vec![
        format!("median {}", with_symbol(&format!("{}{sure}", shown(flown.speed_median, 1)), speed)),
        format!("over {:.1} s of steady flight", flown.steady_end_s - flown.steady_start_s),
    ];
    facts.extend(flown.voltage_v.map(|volts| format!("{} V", shown(volts, 2))));
    let height = view_model.flight.unit(&Channel::Altitude).map_or("", Unit::symbol);
    facts.extend(flown.altitude.map(|altitude| with_symbol(&shown(altitude, 0), height)));
    facts.extend(flown.satellites.map(|satellites| format!("{satellites:.0} satellites")));
    ui.label(facts.join(", "));
    if !flown.flags.is_empty() {
        let words = format!("Notes: {}", joined(&flown.flags));
        ui.colored_label(theme::colours(ui).unsure, visible::line(&words));
    }
}
