//! The keyboard: keys for everything that the mouse can do with the legs.

use egui::{Key, Modifiers, Ui};

use super::action::LegAction;
use super::ends::End;
use super::leg::{KINDS, addition, throttle_id};
use super::timeline::zoomed;
use super::view_model::ViewModel;
use pairspeed::leg_edits::LegEdit;

/// Factor by which one press of a key shortens (zooming in) or lengthens the interval of time shown (set by
/// judgement).
const ZOOM: f64 = 1.5;

/// The keys and what they do, as shown to the pilot.
pub(super) const KEYS: [(&str, &str); 13] = [
    ("Page Down, Page Up", "the next leg, the previous leg"),
    ("S, E", "select the leg's start, its end"),
    ("Left, Right", "move the selected end by 0.1 s; with Shift by 1 s"),
    ("X", "split the leg at the frame shown or, if that is outside the leg, in the middle of the leg"),
    ("J", "join the leg with the next one"),
    ("Delete", "delete the leg"),
    ("A", "add a leg around the frame shown"),
    (
        "U, D, B, O",
        "mark the leg as upwind or as downwind, let its speed decide between the two, or leave the leg out",
    ),
    ("T", "enter the leg's throttle"),
    ("F", "show the frame in the leg's middle"),
    ("+, -, 0", "zoom in, zoom out, show the whole flight"),
    ("Ctrl Z, Ctrl Y", "undo the last edit, redo it"),
    ("Left, Right in a plot", "the previous frame, the next frame"),
];

/// Handles the keys of this page, unless the pilot is typing.
pub(super) fn take(ui: &Ui, view_model: &ViewModel<'_>, actions: &mut Vec<LegAction>) {
    if ui.ctx().text_edit_focused() {
        return;
    }
    let pressed = |modifiers, key| ui.input_mut(|input| input.consume_key(modifiers, key));
    if pressed(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z) || pressed(Modifiers::COMMAND, Key::Y) {
        actions.push(LegAction::Redo);
    }
    if pressed(Modifiers::COMMAND, Key::Z) {
        actions.push(LegAction::Undo);
    }
    let plain = |key| pressed(Modifiers::NONE, key);
    view_keys(view_model, &plain, actions);
    let legs = view_model.legs().len();
    if plain(Key::PageDown) && legs > 0 {
        actions.push(LegAction::Select(view_model.selected.map_or(1, |number| (number + 1).min(legs))));
    }
    if plain(Key::PageUp) && legs > 0 {
        actions.push(LegAction::Select(
            view_model.selected.map_or(legs, |number| number.saturating_sub(1).max(1)),
        ));
    }
    if plain(Key::A) {
        actions.extend(addition(view_model).map(LegAction::Make));
    }
    leg_keys(ui, view_model, &plain, actions);
}

fn view_keys(view_model: &ViewModel<'_>, plain: &impl Fn(Key) -> bool, actions: &mut Vec<LegAction>) {
    let middle_s =
        view_model.shown_frame_s().unwrap_or(f64::midpoint(view_model.view_s.0, view_model.view_s.1));
    if plain(Key::Plus) || plain(Key::Equals) {
        actions.push(zoomed(view_model, ZOOM, middle_s));
    }
    if plain(Key::Minus) {
        actions.push(zoomed(view_model, 1.0 / ZOOM, middle_s));
    }
    if plain(Key::Num0) {
        actions.push(LegAction::View(0.0, f64::MAX));
    }
}

fn leg_keys(ui: &Ui, view_model: &ViewModel<'_>, plain: &impl Fn(Key) -> bool, actions: &mut Vec<LegAction>) {
    let Some((number, leg)) = view_model.chosen_leg() else { return };
    for (key, end) in [(Key::S, End::Start), (Key::E, End::End)] {
        if plain(key) {
            ui.memory_mut(|memory| memory.request_focus(end.id(number)));
        }
    }
    if plain(Key::T) {
        ui.memory_mut(|memory| memory.request_focus(throttle_id()));
    }
    if plain(Key::F) {
        let middle_s = f64::midpoint(leg.start_s, leg.end_s);
        let index = view_model.flight.series.readings.time_s.partition_point(|time| *time < middle_s);
        actions.push(LegAction::ShowFrame(index, None));
    }
    for (kind, _, key) in KINDS {
        if plain(key) {
            actions.push(LegAction::Make(LegEdit::Mark { leg: number, kind }));
        }
    }
    let edits = [
        (Key::X, LegEdit::Split { leg: number, at_s: view_model.split_s(leg) }),
        (Key::J, LegEdit::Join { leg: number }),
        (Key::Delete, LegEdit::Delete { leg: number }),
    ];
    for (key, edit) in edits {
        if plain(key) {
            actions.push(LegAction::Make(edit));
        }
    }
}

/// Number of the leg to select after an edit, from 1: the edited leg, which may no longer exist. If a leg was
/// added, the selection stays as it is in `selected`, or leg 1 is selected if none was. `legs` is the number of legs
/// after the edit. `None` if no leg was selected and there are no legs.
pub(super) fn selected_after(edit: LegEdit, selected: Option<usize>, legs: usize) -> Option<usize> {
    match edit {
        LegEdit::MoveStart { leg, .. }
        | LegEdit::MoveEnd { leg, .. }
        | LegEdit::Split { leg, .. }
        | LegEdit::Join { leg }
        | LegEdit::Delete { leg }
        | LegEdit::Mark { leg, .. }
        | LegEdit::Throttle { leg, .. } => Some(leg),
        LegEdit::Add { .. } => selected.or((legs > 0).then_some(1)),
    }
}
