//! The keys that answer the questions about a camera that was found.
#![allow(clippy::unwrap_used)]

use std::path::{Path, PathBuf};

use egui::{Event, Key};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;

use crate::found::FoundCamera;
use crate::questions::questions;
use crate::store::Store;
use crate::{App, Page};
use pairspeed::decipher::{ChannelGuess, DecipheredText};
use pairspeed::footage::{Clip, FrameSource as _, frames_near};
use pairspeed::glyphs::builtin_sets;
use pairspeed::learn::{LabelFile, LabelledReading};
use pairspeed::model::channel::Channel;
use pairspeed::new_camera::{DigitQuestion, NamedReadout, NewCamera};
use pairspeed::setup::{LoadedSetup, usual_setup};

/// Number of labels of each channel.
const LABELS: usize = 14;
/// The digit that has no glyph.
const MISSING: char = '8';

/// The texts that the demonstration shows in a channel, with their times in seconds.
fn truth(channel: &Channel) -> Vec<(f64, String)> {
    let mut rows = csv::Reader::from_path(demo("readings.csv")).unwrap();
    let column = rows.headers().unwrap().iter().position(|name| name == channel.name()).unwrap();
    let rows: Vec<csv::StringRecord> = rows.records().map(Result::unwrap).collect();
    let every = rows.len() / LABELS;
    let text = |row: &csv::StringRecord| (row[1].parse().unwrap(), row[column].to_owned());
    rows.iter().step_by(every).map(text).filter(|(_, text)| !text.is_empty()).collect()
}

fn demo(ending: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-clips/salt-flat").with_extension(ending)
}

/// A camera with one missing digit and with a doubtful channel for the voltage.
fn camera(clip: &mut Clip, setup: LoadedSetup) -> NewCamera {
    let mut set = builtin_sets().unwrap().remove(0);
    set.faces.iter_mut().for_each(|face| face.glyphs.retain(|glyph| glyph.character != MISSING));
    let (mut labels, mut readouts) = (LabelFile::default(), Vec::new());
    for region in &setup.setup.regions {
        let texts = truth(&region.channel);
        for (time_s, text) in &texts {
            let label =
                LabelledReading { channel: region.channel.clone(), time_s: *time_s, text: text.clone() };
            labels.add("flight.avi", &label);
        }
        let probability = if region.channel == Channel::Voltage { 0.6 } else { 0.99 };
        let guess = ChannelGuess { channel: region.channel.clone(), probability, reasons: Vec::new() };
        let (time_s, text) = texts.first().cloned().unwrap();
        readouts.push(NamedReadout {
            guess,
            rect: region.rect,
            example: DecipheredText {
                time_s,
                character_probabilities: vec![1.0; text.len()],
                text,
                probability: 1.0,
            },
        });
    }
    let still = frames_near(clip, &[1.0]).unwrap().remove(0).image;
    let doubtful = labels.labels.iter().find(|label| label.text.contains(MISSING)).unwrap();
    let questions =
        vec![DigitQuestion { guess: doubtful.reading(), digits: vec![MISSING], image: still.clone() }];
    let (undeciphered, still_time_s) = (Vec::new(), 1.0);
    NewCamera { setup, set, labels, readouts, undeciphered, questions, still, still_time_s, sample: None }
}

/// A window with such a camera, before any question is answered.
fn window(folder: &Path) -> Harness<'static, App> {
    let path = folder.join("flight.avi");
    std::fs::copy(demo("avi"), &path).unwrap();
    let mut clip = Clip::open(&path).unwrap();
    let mut setup = LoadedSetup::load(&demo("setup.toml")).unwrap();
    setup.path = usual_setup(&path);
    let found = camera(&mut clip, setup);
    let questions = questions(&mut clip, &found).unwrap();
    let mut app = App::new(Store::in_folder(folder));
    app.shared.take_recording(vec![path], clip.info().clone(), 10.0);
    app.shared.set_found(FoundCamera::new(found, questions));
    app.page = Page::Regions;
    let mut harness =
        Harness::builder().with_size([900.0, 600.0]).build_ui_state(|ui, app: &mut App| app.show(ui), app);
    harness.run_steps(3);
    harness
}

fn shows(window: &Harness<'_, App>, words: &str) -> bool {
    window.query_all_by_label_contains(words).next().is_some()
}

fn press(window: &mut Harness<'_, App>, key: Key) {
    window.key_press(key);
    window.run_steps(3);
}

/// The text that the question asks about.
fn asked_text(window: &Harness<'_, App>) -> String {
    let found = window.state().shared.found.as_ref().unwrap();
    let words = found.question().unwrap().words();
    words.trim_end_matches('?').rsplit(' ').next().unwrap().to_owned()
}

#[test]
fn digits_begin_an_answer_and_the_shapes_are_learned_from_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut window = window(folder.path());
    assert!(shows(&window, "Does this"), "digits come before names other than the speed");
    let text = asked_text(&window);
    assert!(text.contains(MISSING), "{text}");
    // The first digit goes to the field, not to the keys of the page.
    for digit in text.chars() {
        window.event(Event::Text(digit.to_string()));
        window.run_steps(2);
    }
    press(&mut window, Key::Enter);
    while shows(&window, "Does this") {
        press(&mut window, Key::Y);
    }
    assert!(shows(&window, "Is this the voltage?"));
    press(&mut window, Key::Y);
    while window.state().regions.learning.is_some() {
        window.step();
        std::thread::yield_now();
    }
    window.run_steps(3);
    let found = window.state().shared.found.as_ref().unwrap();
    assert!(found.missing_digits().is_empty(), "{:?}", window.state().shared.notice);
    assert!(shows(&window, "All questions are answered"));
    assert!(!folder.path().join("flight.setup.toml").exists());

    window.state_mut().shared.notice = None;
    window.key_press_modifiers(egui::Modifiers::COMMAND, Key::S);
    window.run_steps(3);
    let saved = LoadedSetup::load(&folder.path().join("flight.setup.toml")).unwrap();
    let labels = LabelFile::load(&saved.glyph_folder()).unwrap().labels;
    let insisted: Vec<&str> =
        labels.iter().filter(|label| label.insisted).map(|label| label.text.as_str()).collect();
    assert!(insisted.contains(&text.as_str()), "{insisted:?}");
    assert!(labels.iter().all(|label| label.insisted || !label.text.contains(MISSING)));
}

#[test]
fn escape_skips_a_question() {
    let folder = tempfile::tempdir().unwrap();
    let mut window = window(folder.path());
    while shows(&window, "Does this") {
        press(&mut window, Key::Escape);
    }
    assert!(window.state().regions.learning.is_none());
    assert!(shows(&window, "Is this the voltage?"));
    press(&mut window, Key::Escape);
    let marked = window.state().marked();
    assert!(!marked.is_empty() && marked.iter().all(|region| region.channel != Channel::Voltage));
    assert!(shows(&window, "The shapes of these digits are not certain: 8"));
}
