//! A recording without a setup: its readouts are found, and the pilot only accepts them.

use egui::Key;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use pairspeed::learn::LabelFile;
use pairspeed::model::channel::Channel;
use pairspeed::setup::LoadedSetup;
use pairspeed_window::Page;

use super::driving::Window;

/// Width and height of a small window, in points.
const SMALL: [f32; 2] = [900.0, 600.0];

/// A small window in which the readouts of a demonstration were found.
fn with_found_readouts() -> (Window, std::path::PathBuf) {
    let mut window = Window::of(SMALL, 1.0, egui::Theme::Light);
    let clip = window.put_flight("salt-flat.avi", false);
    window.drop_flight(&clip);
    window.until_shown("Accept and read the flight");
    (window, clip)
}

/// Asserts that controls lie inside the small window as a whole.
fn assert_all_inside(window: &Window, names: &[&str]) {
    let inside = egui::Rect::from_min_size(egui::Pos2::ZERO, SMALL.into());
    for name in names {
        let rect = window.harness.get_by_label(name).rect();
        assert!(inside.contains_rect(rect), "{name}: {rect:?}");
    }
}

#[test]
fn a_pilot_who_accepts_reaches_the_airspeeds_with_at_most_five_keys() {
    let (mut window, clip) = with_found_readouts();
    assert_eq!(window.harness.state().page(), Page::Regions);
    assert!(window.harness.state().marked().iter().any(|region| region.channel == Channel::Speed));
    assert!(window.shows("such as"), "the reasons and an example are shown");
    assert_all_inside(
        &window,
        &[
            "Propose boxes",
            "Undo",
            "Redo",
            "Zoom in",
            "Another setup…",
            "Play",
            "Accept and read the flight",
            "Save",
        ],
    );
    window.until_shown(", confidence");
    let setup = clip.with_extension("setup.toml");
    assert!(!setup.exists(), "nothing is saved before the pilot agrees");

    let mut keys = 1;
    while window.shows("Is this the") || window.shows("Does this") {
        window.press(Key::Y);
        keys += 1;
    }
    window.press(Key::Enter);
    assert!(keys <= 5, "{keys} keys");
    window.until("the flight is read", |app| app.shared().finished.is_some());
    assert!(window.shows("Open the report"));
    assert_all_inside(&window, &["Open the report", "Next: see the legs"]);
    assert!(clip.with_file_name("flight-result").join("report.html").exists());
    assert!(!window.harness.state().shared().finished.as_ref().unwrap().flight.pairs.is_empty());
    let saved = LoadedSetup::load(&setup).unwrap();
    assert!(saved.glyph_folder().join("glyphs.toml").exists());
}

#[test]
fn a_renamed_readout_keeps_its_labels_and_a_removed_one_has_none() {
    let (mut window, clip) = with_found_readouts();
    let marked: Vec<Channel> =
        window.harness.state().marked().iter().map(|region| region.channel.clone()).collect();
    let number = |channel: &Channel| 1 + marked.iter().position(|marked| marked == channel).unwrap();
    let rename = |window: &mut Window, from: &Channel, to: &str| {
        window.click(&format!("{}  {}", number(from), from.name()));
        window.click("Channel");
        window.click(to);
    };
    rename(&mut window, &Channel::Voltage, "current");
    window.click(&format!("{}  {}", number(&Channel::Altitude), "altitude"));
    window.click("Remove this box");
    window.click("Save");

    let saved = LoadedSetup::load(&clip.with_extension("setup.toml")).unwrap();
    let labels = LabelFile::load(&saved.glyph_folder()).unwrap().labels;
    let has = |channel: Channel| labels.iter().any(|label| label.channel == channel);
    assert!(has(Channel::Current) && !has(Channel::Voltage) && !has(Channel::Altitude));
    assert_eq!(saved.setup.regions, window.harness.state().marked());
}

#[test]
fn a_setup_beside_the_recording_that_fits_is_used() {
    let (mut window, clip) = with_found_readouts();
    window.click("Save");
    let next = clip.with_file_name("next.avi");
    std::fs::copy(&clip, &next).unwrap();
    window.drop_flight(&next);
    window.until("the next recording is open", |app| app.shared().clip() == Some(next.as_path()));
    window.until("a setup is found", |app| app.shared().setup.is_some());
    let shared = window.harness.state().shared();
    assert_eq!(shared.setup.as_ref().unwrap().path, clip.with_extension("setup.toml"));
    assert!(window.shows("Read the flight"));
    assert!(!next.with_extension("setup.toml").exists());
}

#[test]
fn escape_stops_the_search_and_boxes_can_be_marked_by_hand() {
    let mut window = Window::new();
    let clip = window.put_flight("salt-flat.avi", false);
    window.drop_flight(&clip);
    window.until_shown("Looking for the readouts");
    window.press(Key::Escape);
    assert!(!window.shows("Cancel") && window.shows("Mark the regions by hand"));
    window.click("Mark the regions by hand");
    assert!(window.harness.state().marked().is_empty());
    assert!(window.harness.state().shared().found.is_none());
}

#[test]
fn the_recording_plays_and_stops() {
    let mut window = Window::new();
    let clip = window.put_flight("salt-flat.avi", true);
    window.open_flight(&clip);
    window.click("2  Regions");
    window.until_shown(", confidence");
    let label = |window: &Window| {
        let labels = window.harness.query_all_by_label_contains(" of 2:3");
        labels.filter_map(|node| node.accesskit_node().label().or(node.accesskit_node().value())).next()
    };
    let before = label(&window).unwrap();
    window.click("Play");
    while label(&window).as_ref() == Some(&before) {
        window.harness.step();
        std::thread::yield_now();
    }
    window.click("Stop");
    assert!(window.shows("Play"));
}
