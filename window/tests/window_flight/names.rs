//! Names and notes with control characters are shown escaped.

use std::fs;

use egui::Key;
use egui::accesskit::Role;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use pairspeed::visible;
use pairspeed_window::Finished;

use super::driving::{Sitting, app_with, simulated};

/// A name that would clear a terminal and change the direction of writing.
const NAME: &str = "a\u{1b}[2J\u{202e}b";

/// The texts of a window with control characters, without those of fields, which the pilot edits.
fn unescaped(sitting: &Sitting) -> Vec<String> {
    let nodes = sitting.window.root().children_recursive();
    let shown = nodes.filter(|node| node.accesskit_node().role() != Role::TextInput).flat_map(|node| {
        let node = node.accesskit_node();
        node.label().into_iter().chain(node.value())
    });
    shown.filter(|text| visible::lines(text) != text.as_str()).collect()
}

#[test]
fn names_and_notes_of_a_flight_are_escaped_on_every_page() {
    let home = tempfile::tempdir().unwrap();
    let card = home.path().join(NAME);
    fs::create_dir(&card).unwrap();
    let clip = card.join("flight.avi");
    fs::write(&clip, "no recording").unwrap();
    let mut finished = simulated();
    finished.flight.setup.camera.name = NAME.into();
    finished.flight.notes.push(NAME.into());
    finished.flight.pairs[0].flags = vec![pairspeed::legs::Flag(NAME.into())];
    let finished = Finished { folder: card.join("flight-result"), ..finished };
    let mut sitting = app_with(vec![clip], finished, &home);
    let escaped = visible::line(NAME).into_owned();
    assert!(sitting.window.query_all_by_label_contains(&escaped).next().is_some(), "the note is shown");
    for key in [Key::F1, Key::F2, Key::F3, Key::F4, Key::F5, Key::F6, Key::F7] {
        sitting.press(key);
        assert_eq!(unescaped(&sitting), [""; 0], "{key:?}");
    }
}
