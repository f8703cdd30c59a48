//! All pages, from a recording to its results.

use std::path::Path;

use egui_kittest::kittest::Queryable as _;
use pairspeed::learn::LabelFile;
use pairspeed::model::channel::Channel;
use pairspeed::setup::LoadedSetup;
use pairspeed_window::Page;

use super::driving::{Window, demo};

/// The text that the overlay of a demonstration clip shows in a channel at a time, from the truth file of the
/// clip.
fn shown(clip: &str, channel: &str, time_s: f64) -> Option<String> {
    let mut truth = csv::Reader::from_path(demo(clip).with_extension("readings.csv")).unwrap();
    let column = truth.headers().unwrap().iter().position(|name| name == channel)?;
    let rows: Vec<csv::StringRecord> = truth.records().map(Result::unwrap).collect();
    let off = |row: &csv::StringRecord| (row[1].parse::<f64>().unwrap() - time_s).abs();
    let nearest = rows.iter().min_by(|one, other| off(one).total_cmp(&off(other)))?;
    Some(nearest[column].to_owned())
}

/// The true airspeed of the demonstration at a throttle, in km/h, from the truth file of the clip.
fn flown_airspeed(throttle_percent: f64) -> f64 {
    let text = std::fs::read_to_string(demo("salt-flat.truth.toml")).unwrap();
    let truth: toml::Table = toml::from_str(&text).unwrap();
    let steps = truth["step"].as_array().unwrap();
    let step = steps.iter().find(|step| step["throttle_percent"].as_float() == Some(throttle_percent));
    step.unwrap()["flown_airspeed"].as_float().unwrap()
}

/// The channel and the time in the name of an image, such as `speed at 0:12.40`.
fn moment(name: &str) -> Option<(&str, f64)> {
    let (channel, clock) = name.split_once(" at ")?;
    let (minutes, seconds) = clock.split_once(':')?;
    Some((channel, 60.0 * minutes.parse::<f64>().ok()? + seconds.parse::<f64>().ok()?))
}

/// Marks the regions by hand, changes one with keys and takes the change back, and saves the setup.
fn mark_regions(window: &mut Window, clip: &Path) -> LoadedSetup {
    window.click("Mark the regions by hand");
    assert_eq!(window.harness.state().page(), Page::Regions);
    window.click("Propose boxes");
    window.until("boxes are proposed", |app| app.marked().len() >= 4);
    let speed = |app: &pairspeed_window::App| {
        let numbered = app.marked().iter().zip(1..).find(|(region, _)| region.channel == Channel::Speed);
        numbered.map(|(region, number)| (region.clone(), number)).unwrap()
    };
    let (region, number) = speed(window.harness.state());
    window.click(&format!("{number}  speed"));
    window.click("Unit");
    window.click("km/h");
    assert_eq!(speed(window.harness.state()).0.unit.unwrap().symbol(), "km/h");
    window.until_shown(", confidence");

    // The arrow keys move the selected box, and a change can be undone.
    window.harness.get_by_label_contains("Frame with").focus();
    window.harness.run_steps(2);
    window.harness.key_press(egui::Key::ArrowRight);
    window.harness.run_steps(2);
    assert_eq!(speed(window.harness.state()).0.rect.left, region.rect.left + 1);
    window.click("Undo");
    assert_eq!(speed(window.harness.state()).0.rect, region.rect);
    assert!(window.shows("Undone: moved the speed box"));

    let file = clip.with_extension("setup.toml");
    window.click("Save");
    let saved = LoadedSetup::load(&file).unwrap();
    assert_eq!(saved.setup.regions, window.harness.state().marked());
    assert!(window.home.path().join("cameras").read_dir().unwrap().next().is_some());
    saved
}

/// Labels readings of new digits until all ten digits are known.
fn label_readings(window: &mut Window, saved: &LoadedSetup) {
    window.click("3  Digits");
    window.until_shown("Share of the sampled frames in which each channel can be read");
    if window.shows("you need not label anything") {
        window.click("Label readings anyway");
    }
    let decimals = |channel: &str| {
        let region = saved.setup.regions.iter().find(|region| region.channel.name() == channel);
        region.map(|region| usize::from(region.decimals))
    };
    // A reading is labelled only if it has a digit that no earlier label has, as few labels as a pilot would
    // type.
    let mut labelled = String::new();
    for name in window.fields() {
        let Some((channel, time_s)) = moment(&name) else { continue };
        let Some(text) = shown("salt-flat.avi", channel, time_s) else { continue };
        let after = text.split_once('.').map_or(0, |(_, after)| after.len());
        let is_new = text.chars().any(|letter| letter.is_ascii_digit() && !labelled.contains(letter));
        if is_new && decimals(channel) == Some(after) {
            window.write(&name, &text);
            labelled.push_str(&text);
        }
    }
    assert!(('0'..='9').all(|digit| labelled.contains(digit)), "{labelled}");
    window.click("Learn these digits");
    window.until_shown("All ten digits are known");
    assert!(saved.glyph_folder().join("glyphs.toml").exists());
    let learnt = LabelFile::load(&saved.glyph_folder()).unwrap();
    assert_eq!(learnt.labels.iter().map(|label| label.text.as_str()).collect::<String>(), labelled);
}

/// Reads the flight into the folder `results`, and compares its airspeeds with the truth.
fn read_flight(window: &mut Window, results: &Path) {
    window.click("4  Reading");
    window.click("Read the flight");
    window.until("the flight is read", |app| app.shared().finished.is_some());
    for file in ["report.html", "summary.json", "series.csv", "legs.csv", "pairs.csv"] {
        assert!(results.join(file).exists(), "{file}");
    }
    let finished = window.harness.state().shared().finished.as_ref().unwrap();
    assert_eq!(finished.folder, results);
    let steps = &finished.flight.steps;
    assert!(steps.len() >= 5, "{steps:?}");
    for step in steps {
        let flown = flown_airspeed(step.throttle_percent.unwrap());
        assert!((step.airspeed.value / flown - 1.0).abs() < 0.03, "{step:?}, flown {flown}");
    }
}

/// Moves the end of a leg with keys: the results change, and are saved as they are shown.
fn edit_leg(window: &mut Window, results: &Path) {
    window.click("Next: see the legs");
    assert_eq!(window.harness.state().page(), Page::Legs);
    let answer = |window: &Window| {
        let finished = window.harness.state().shared().finished.as_ref().unwrap();
        (finished.flight.legs[0].clone(), finished.flight.pairs.clone())
    };
    let before = answer(window);
    window.harness.key_press(egui::Key::E);
    window.harness.run_steps(2);
    for _ in 0..2 {
        window.harness.key_press_modifiers(egui::Modifiers::SHIFT, egui::Key::ArrowLeft);
        window.harness.run_steps(2);
    }
    window.until("the edit is worked out", |app| app.legs().is_settled());
    let after = answer(window);
    assert!(after.0.samples < before.0.samples && after.1 != before.1);
    assert!(results.join("legs.toml").exists());
    let old = std::fs::read(results.join("pairs.csv")).unwrap();
    window.click("Pairs");
    window.until("the pairs are saved", |app| app.legs().is_settled());
    assert_ne!(std::fs::read(results.join("pairs.csv")).unwrap(), old);
}

#[test]
fn a_recording_is_marked_taught_and_read_in_the_window() {
    let mut window = Window::new();
    let clip = window.put_flight("salt-flat.avi", false);
    window.open_flight(&clip);
    assert!(window.shows("640 x 480 pixels"));
    let saved = mark_regions(&mut window, &clip);
    label_readings(&mut window, &saved);
    let results = clip.with_file_name("flight-result");
    read_flight(&mut window, &results);
    edit_leg(&mut window, &results);

    window.click("4  Reading");
    let report = std::fs::metadata(results.join("report.html")).unwrap().modified().unwrap();
    window.click("Read the flight");
    assert!(window.shows("They are replaced only if you confirm"));
    assert_eq!(std::fs::metadata(results.join("report.html")).unwrap().modified().unwrap(), report);
}

#[test]
fn the_next_file_of_a_flight_is_added_to_the_one_that_is_open() {
    let mut window = Window::new();
    let first = window.put_flight("salt-flat.avi", true);
    let second = window.card.path().join("second.avi");
    std::fs::copy(&first, &second).unwrap();
    window.open_flight(&first);
    window.rewrite("or its path:", &second.display().to_string());
    window.click("Add to this flight");
    window.until("both files are open", |app| app.shared().clips.len() == 2);
    assert_eq!(window.harness.state().shared().clips, [first.clone(), second]);
    assert!(window.shows("2 clips of one flight"));
    // Opening a file that is not a recording changes neither the recording nor the setup.
    let notes = window.card.path().join("notes.txt");
    std::fs::write(&notes, "second motor").unwrap();
    window.rewrite("or its path:", &notes.display().to_string());
    window.click("Add to this flight");
    assert!(window.trouble().contains("notes.txt"));
    assert_eq!(window.harness.state().shared().clips.len(), 2);
}

#[test]
fn a_box_is_dragged_on_the_picture_moved_and_resized() {
    let mut window = Window::new();
    let clip = window.put_flight("salt-flat.avi", false);
    window.open_flight(&clip);
    window.click("Mark the regions by hand");
    let picture = window.harness.get_by_label_contains("Frame with").rect();
    // The frame is scaled to fit, and is in the middle of its area.
    let scale = (picture.width() / 640.0).min(picture.height() / 480.0);
    let at = |x: f32, y: f32| picture.center() + scale * egui::vec2(x - 320.0, y - 240.0);
    let drag = |window: &mut Window, from: egui::Pos2, to: egui::Pos2| {
        window.harness.hover_at(from);
        window.harness.step();
        window.harness.drag_at(from);
        window.harness.step();
        window.harness.hover_at(from + 0.5 * (to - from));
        window.harness.step();
        window.harness.hover_at(to);
        window.harness.step();
        window.harness.drop_at(to);
        window.harness.run_steps(2);
    };
    drag(&mut window, at(62.0, 210.0), at(128.0, 247.0));
    let marked = |window: &Window| window.harness.state().marked().to_vec();
    let near = |window: &Window, wanted: [i64; 4]| {
        let rect: [u32; 4] = marked(window)[0].rect.into();
        let off = rect.iter().zip(wanted).map(|(got, wanted)| (i64::from(*got) - wanted).abs()).max();
        assert!(off <= Some(2), "{rect:?} instead of {wanted:?}");
    };
    assert_eq!(marked(&window).len(), 1);
    assert_eq!(marked(&window)[0].channel, Channel::Speed);
    near(&window, [62, 210, 66, 37]);
    drag(&mut window, at(90.0, 230.0), at(110.0, 260.0));
    near(&window, [82, 240, 66, 37]);
    drag(&mut window, at(148.0, 277.0), at(168.0, 290.0));
    near(&window, [82, 240, 86, 50]);
    window.click("Remove this box");
    assert!(marked(&window).is_empty());
    window.click("Undo");
    near(&window, [82, 240, 86, 50]);
}

#[test]
fn unsaved_boxes_are_offered_again_and_a_marked_camera_is_offered_for_the_next_recording() {
    let mut window = Window::new();
    let clip = window.put_flight("salt-flat.avi", true);
    window.open_flight(&clip);
    assert!(window.shows("The regions of this recording are known (from flight.setup.toml)"));
    window.click("Look at the regions first");
    window.click("5  throttle");
    window.click("Remove this box");
    assert_eq!(window.harness.state().marked().len(), 4);
    window.harness.state_mut().save_unsaved();
    assert!(clip.with_extension("regions.draft.toml").exists());

    // Another session with the same home folder.
    let again = pairspeed_window::App::new(pairspeed_window::store::Store::in_folder(window.home.path()));
    *window.harness.state_mut() = again;
    window.harness.run_steps(2);
    window.open_flight(&clip);
    window.click("2  Regions");
    assert_eq!(window.harness.state().marked().len(), 5);
    window.click("Restore them");
    assert_eq!(window.harness.state().marked().len(), 4);
    window.click("Save");
    assert!(!clip.with_extension("regions.draft.toml").exists());

    // The next flight with this camera, in another folder.
    let next = window.card.path().join("next.avi");
    std::fs::copy(&clip, &next).unwrap();
    window.click("1  Recording");
    window.rewrite("or its path:", &next.display().to_string());
    window.click("Open");
    window.until_shown("A known camera setup fits");
    window.click("Use the regions of \"salt-flat camera\"");
    assert!(next.with_extension("setup.toml").exists());
    assert_eq!(window.harness.state().shared().setup.as_ref().unwrap().setup.regions.len(), 4);
}
