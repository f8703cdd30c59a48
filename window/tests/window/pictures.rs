//! Images of the pages.
//!
//! `PAIRSPEED_PICTURES=FOLDER cargo test --test window every_page -- --ignored` saves images of all pages in
//! the light theme, in the dark theme and at 200 %, for a person to look at.

use std::path::Path;

use egui::Theme;

use super::driving::Window;
use super::snapshot::assert_snapshot;

/// Number of pixels that another version of the software renderer may draw differently: less than a tenth of
/// a per cent.
const ROUGHNESS: usize = 900;

/// Prepares a page so that its image can be taken.
fn ready(window: &mut Window, page: &str) {
    let clip = window.put_flight("salt-flat.avi", true);
    window.open_flight(&clip);
    if page != "1  Recording" {
        window.click(page);
    }
    match page {
        "2  Regions" => window.until_shown(", confidence"),
        "3  Digits" => {
            window.until_shown("you need not label anything");
            window.click("Label readings anyway");
        }
        "4  Reading" => {
            window.click("Wind and air");
            window.harness.run_steps(20);
        }
        _ => {}
    }
    window.harness.remove_cursor();
    window.harness.run_steps(4);
}

#[test]
#[ignore = "makes pictures for people"]
fn every_page_in_the_light_in_the_dark_and_at_twice_the_size() {
    let folder = std::env::var("PAIRSPEED_PICTURES").unwrap();
    let snapshot = [
        ("light", [1280.0, 720.0], 1.0, Theme::Light),
        ("dark", [1280.0, 720.0], 1.0, Theme::Dark),
        ("large", [640.0, 360.0], 2.0, Theme::Light),
    ];
    for (name, size, scale, theme) in snapshot {
        let mut empty = Window::of(size, scale, theme);
        empty.harness.run_steps(3);
        empty.harness.render().unwrap().save(Path::new(&folder).join(format!("0-{name}.png"))).unwrap();
        for page in ["1  Recording", "2  Regions", "3  Digits", "4  Reading"] {
            let mut window = Window::of(size, scale, theme);
            ready(&mut window, page);
            let file = Path::new(&folder).join(format!("{}-{name}.png", page.replace("  ", "-")));
            window.harness.render().unwrap().save(file).unwrap();
        }
    }
}

#[test]
#[ignore = "makes pictures for people"]
fn every_page_of_a_new_camera_in_a_small_window() {
    let folder = std::env::var("PAIRSPEED_PICTURES").unwrap();
    let mut window = Window::of([900.0, 600.0], 1.0, Theme::Light);
    let save = |window: &mut Window, name: &str| {
        window.harness.remove_cursor();
        window.harness.run_steps(4);
        let file = Path::new(&folder).join(format!("small-{name}.png"));
        window.harness.render().unwrap().save(file).unwrap();
    };
    // Another recording may be given, which is copied.
    let clip = match std::env::var_os("PAIRSPEED_CLIP") {
        Some(clip) => {
            let to = window.card.path().join(Path::new(&clip).file_name().unwrap());
            std::fs::copy(&clip, &to).unwrap();
            to
        }
        None => window.put_flight("salt-flat.avi", false),
    };
    save(&mut window, "0-empty");
    window.drop_flight(&clip);
    window.until_shown("Cancel");
    save(&mut window, "1-searching");
    window.until_shown("Accept and read the flight");
    save(&mut window, "2-found");
    window.until_shown(", confidence");
    save(&mut window, "3-read");
    while window.shows("Does this") || window.shows("Is this the") {
        save(&mut window, "4-question");
        window.press(egui::Key::Y);
    }
    window.press(egui::Key::Enter);
    window.until("the reading runs", |app| app.page() == pairspeed_window::Page::Reading);
    save(&mut window, "5-reading");
    window.until("the flight is read", |app| app.shared().finished.is_some());
    save(&mut window, "6-answer");
    for (number, page) in [(7, "3  Digits"), (8, "5  Legs"), (9, "6  Compare"), (10, "7  Test card")] {
        window.click(page);
        if number == 7 {
            window.until_shown("Share of the sampled frames");
        }
        save(&mut window, &number.to_string());
    }
}

fn page_looks_as_it_did(page: &str, name: &str, fields: &[&str]) {
    let mut window = Window::of([1280.0, 720.0], 1.0, Theme::Light);
    ready(&mut window, page);
    assert_snapshot(&mut window.harness, name, fields, ROUGHNESS);
}

#[test]
fn the_regions_look_as_they_did() {
    page_looks_as_it_did("2  Regions", "window_regions", &["Setup file"]);
}

#[test]
fn the_digits_look_as_they_did() {
    page_looks_as_it_did("3  Digits", "window_digits", &[]);
}

#[test]
fn the_reading_looks_as_it_did() {
    page_looks_as_it_did("4  Reading", "window_reading", &["Results go to"]);
}

#[test]
fn an_empty_window_looks_as_it_did_in_the_dark() {
    let mut window = Window::of([1280.0, 720.0], 1.0, Theme::Dark);
    window.harness.run_steps(3);
    assert_snapshot(&mut window.harness, "window_empty", &[], ROUGHNESS);
}
