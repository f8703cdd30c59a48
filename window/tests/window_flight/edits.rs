//! Tests editing of the legs with keys, mouse and labels.

use std::fs;

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use pairspeed::legs::LegKind;
use pairspeed::output::{legs_csv, pairs_csv, report_html, series_csv};

use super::driving::{Sitting, as_text};

#[test]
fn an_end_moved_by_keys_changes_the_airspeed_at_once_and_is_saved() {
    let mut sitting = Sitting::new();
    let before = sitting.flight().clone();
    sitting.press(Key::PageDown);
    sitting.press(Key::E);
    assert!(sitting.window.get_by_role_and_label(Role::Slider, "End of leg 2").is_focused());
    sitting.press_with(Modifiers::SHIFT, Key::ArrowLeft);
    sitting.press_with(Modifiers::SHIFT, Key::ArrowLeft);
    sitting.press(Key::ArrowRight);
    let kept = sitting.kept();
    let moved_s = before.legs[1].steady_end_s - kept.legs()[1].end_s;
    assert!((moved_s - 1.9).abs() < 1e-6, "{moved_s}");
    assert_eq!(kept.edits().len(), 1, "moves of one end are one edit");
    let after = sitting.flight();
    assert!(after.legs[1].samples < before.legs[1].samples);
    assert_ne!(after.pairs[0].airspeed.value, before.pairs[0].airspeed.value);
    assert_eq!(after.pairs[1].airspeed.value, before.pairs[1].airspeed.value);
    sitting.press_with(Modifiers::COMMAND, Key::Z);
    assert_eq!(as_text(sitting.flight()), as_text(&before));
    sitting.press_with(Modifiers::COMMAND, Key::Y);
    assert_eq!(sitting.kept().legs(), kept.legs());
}

#[test]
fn an_end_is_dragged_with_the_mouse() {
    let mut sitting = Sitting::new();
    let before = sitting.flight().clone();
    let from = sitting.window.get_by_role_and_label(Role::Slider, "End of leg 1").rect().center();
    let to = from - egui::vec2(12.0, 0.0);
    sitting.window.hover_at(from);
    sitting.window.run_steps(1);
    sitting.window.drag_at(from);
    sitting.window.run_steps(1);
    for at in [from - egui::vec2(6.0, 0.0), to] {
        sitting.window.hover_at(at);
        sitting.settle();
    }
    let shown = sitting.flight().clone();
    assert!(shown.legs[0].end_s < before.legs[0].steady_end_s, "the answer follows before the mouse lets go");
    assert!(!sitting.result("legs.toml").exists(), "nothing is kept before the mouse lets go");
    sitting.window.drop_at(to);
    sitting.settle();
    assert_eq!(as_text(sitting.flight()), as_text(&shown));
    assert_eq!(sitting.kept().edits().len(), 1);
}

#[test]
fn legs_are_split_joined_marked_and_deleted_by_keys_and_the_edits_undone() {
    let mut sitting = Sitting::new();
    let before = as_text(sitting.flight());
    let legs = sitting.flight().legs.len();
    sitting.press(Key::X);
    assert_eq!(sitting.flight().legs.len(), legs + 1);
    sitting.press(Key::J);
    assert_eq!(sitting.flight().legs.len(), legs);
    sitting.press(Key::O);
    assert_eq!(sitting.flight().legs[0].kind, LegKind::Unpaired);
    assert_eq!(sitting.flight().pairs.len(), 5);
    sitting.press(Key::Delete);
    assert_eq!(sitting.flight().legs.len(), legs - 1);
    for _ in 0..4 {
        sitting.click("Undo");
    }
    assert_eq!(as_text(sitting.flight()), before);
}

#[test]
fn an_entered_throttle_appears_in_the_results() {
    let mut sitting = Sitting::new();
    sitting.press(Key::T);
    let field = sitting.window.get_by_role_and_label(Role::TextInput, "Throttle %");
    field.type_text("65");
    sitting.window.run_steps(2);
    sitting.press(Key::Enter);
    assert_eq!(sitting.flight().pairs[0].throttle_percent, Some(65.0), "{}", sitting.notice());
    sitting.press(Key::T);
    sitting.window.get_by_role_and_label(Role::TextInput, "Throttle %").type_text("0");
    sitting.window.run_steps(2);
    sitting.press(Key::Enter);
    assert!(sitting.notice().contains("650 % is not possible"), "{}", sitting.notice());
    assert_eq!(sitting.flight().pairs[0].throttle_percent, Some(65.0));
}

#[test]
fn each_result_file_is_saved_unchanged_by_its_own_button() {
    let mut sitting = Sitting::new();
    sitting.press(Key::Delete);
    let mut series = Vec::new();
    series_csv(sitting.flight(), &mut series).unwrap();
    for (button, name, bytes) in [
        ("Series", "series.csv", series),
        ("Legs", "legs.csv", legs_csv(sitting.flight()).unwrap()),
        ("Pairs", "pairs.csv", pairs_csv(sitting.flight()).unwrap()),
        ("Report", "report.html", report_html(sitting.flight()).unwrap()),
    ] {
        let buttons = sitting.window.get_all_by_role_and_label(Role::Button, button);
        buttons.last().unwrap().click();
        sitting.settle();
        assert!(sitting.notice().contains(name), "{}", sitting.notice());
        assert!(fs::read(sitting.result(name)).unwrap() == bytes, "{name} is not the flight shown");
    }
    assert!(!sitting.result("summary.json").exists());
    sitting.click("All");
    assert!(sitting.result("summary.json").exists());
}

#[test]
fn a_failure_to_save_is_reported_and_the_edits_stay() {
    let mut sitting = Sitting::new();
    fs::remove_dir(sitting.folder.path().join("flight-result")).unwrap();
    sitting.press(Key::Delete);
    assert!(sitting.notice().contains("Your edits are kept in the window"), "{}", sitting.notice());
    let legs = sitting.flight().legs.len();
    fs::create_dir(sitting.folder.path().join("flight-result")).unwrap();
    sitting.window.state_mut().save_unsaved();
    assert_eq!(sitting.kept().legs().len(), legs);
}

#[test]
fn edits_of_a_closed_window_are_offered_again() {
    let mut sitting = Sitting::new();
    let found = as_text(sitting.flight());
    sitting.press(Key::Delete);
    let edited = as_text(sitting.flight());
    let Sitting { window, folder } = sitting;
    drop(window);
    let mut sitting = Sitting::in_folder(folder);
    assert_eq!(as_text(sitting.flight()), found);
    sitting.click("Use those edits");
    assert_eq!(as_text(sitting.flight()), edited);
    sitting.press_with(Modifiers::COMMAND, Key::Z);
    assert_eq!(as_text(sitting.flight()), found);
}

#[test]
fn an_edit_made_while_earlier_ones_are_offered_keeps_them_under_another_name() {
    let mut sitting = Sitting::new();
    sitting.press(Key::Delete);
    let earlier = fs::read(sitting.result("legs.toml")).unwrap();
    let Sitting { window, folder } = sitting;
    drop(window);
    let mut sitting = Sitting::in_folder(folder);
    sitting.press(Key::O);
    assert_eq!(fs::read(sitting.result("legs.previous.toml")).unwrap(), earlier);
    assert_eq!(sitting.kept().edits().len(), 1);
    assert!(sitting.window.query_by_label("Use those edits").is_none());
}

#[test]
fn an_edit_that_cannot_be_made_says_why() {
    let mut sitting = Sitting::new();
    let legs = sitting.flight().legs.len();
    for _ in 0..legs {
        sitting.press(Key::PageDown);
    }
    sitting.press(Key::J);
    assert!(sitting.notice().contains("no leg follows"), "{}", sitting.notice());
}

#[test]
fn the_names_of_the_legs_have_number_direction_and_time() {
    let sitting = Sitting::new();
    let leg = &sitting.flight().legs[2];
    let way = if leg.kind == LegKind::Upwind { "upwind" } else { "downwind" };
    let label = format!("leg 3, {way} from {:.1} to {:.1} s", leg.steady_start_s, leg.steady_end_s);
    sitting.window.get_by_label(&label);
}
