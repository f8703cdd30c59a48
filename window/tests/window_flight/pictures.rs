//! Images of the page of the legs and the pages after it.

use std::fs;
use std::path::PathBuf;

use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use pairspeed::files::Existing;
use pairspeed::output::folder::write_all;
use pairspeed_window::App;
use pairspeed_window::store::Store;

use super::driving::{Sitting, again, app_with, demonstration, simulated};
use super::plots::with_signal_loss;
use super::snapshot;

/// Number of pixels that another version of the software renderer may draw differently: less than two tenths
/// of a per cent.
const ROUGHNESS: usize = 1800;

fn assert_snapshot(sitting: &mut Sitting, name: &str, fields: &[&str]) {
    sitting.window.remove_cursor();
    sitting.settle();
    snapshot::assert_snapshot(&mut sitting.window, name, fields, ROUGHNESS);
}

#[test]
fn the_legs_the_comparison_and_the_card_look_as_they_did() {
    let mut sitting = Sitting::new();
    assert_snapshot(&mut sitting, "window_legs", &[]);

    let other = sitting.folder.path().join("other");
    for folder in [&sitting.result(""), &other] {
        write_all(folder, sitting.flight(), Existing::Replace).unwrap();
    }
    sitting.press(Key::F6);
    sitting.click("Add this flight");
    sitting.write("Folder of results", other.to_str().unwrap());
    sitting.click("Add");
    sitting.window.get_by_label("other against flight-result");
    assert_snapshot(&mut sitting, "window_compare", &["Page to print"]);

    sitting.press(Key::F7);
    sitting.click("This flight");
    sitting.write("Speed at full throttle", "120");
    assert_snapshot(&mut sitting, "window_card", &["Earlier results", "Page to print"]);
}

#[test]
#[ignore = "makes pictures for people"]
fn flights_with_blank_frames_as_pictures() {
    for (name, finished) in [("lost", with_signal_loss()), ("blanks", simulated())] {
        for theme in [egui::Theme::Light, egui::Theme::Dark] {
            let home = tempfile::tempdir().unwrap();
            let mut sitting = app_with(Vec::new(), again(&finished, PathBuf::new()), &home);
            sitting.window.ctx.set_theme(theme);
            sitting.settle();
            let path = PathBuf::from(std::env::var("PAIRSPEED_PICTURES").unwrap());
            sitting.window.render().unwrap().save(path.join(format!("legs-{name}-{theme:?}.png"))).unwrap();
        }
    }
}

#[test]
#[ignore = "makes pictures for people"]
fn the_screens_as_pictures() {
    let (clips, finished) = demonstration();
    for (theme, size, scale) in [
        (egui::Theme::Light, [1280.0, 720.0], 1.0),
        (egui::Theme::Dark, [1280.0, 720.0], 1.0),
        (egui::Theme::Light, [640.0, 360.0], 2.0),
        (egui::Theme::Dark, [1900.0, 1000.0], 1.0),
    ] {
        let folder = tempfile::tempdir().unwrap();
        write_all(folder.path(), &finished.flight, Existing::Replace).unwrap();
        let mut app = App::new(Store::in_folder(folder.path()));
        app.show_flight(clips.clone(), again(&finished, folder.path().into()));
        let window = Harness::builder()
            .with_size(size)
            .with_pixels_per_point(scale)
            .with_theme(theme)
            .with_max_steps(20)
            .build_ui_state(|ui, app: &mut App| app.show(ui), app);
        let mut sitting = Sitting { window, folder };
        sitting.settle();
        let draw = |sitting: &mut Sitting, name: &str| {
            let path = PathBuf::from(std::env::var("PAIRSPEED_PICTURES").unwrap())
                .join(format!("{name}-{theme:?}-{}x{}-{scale}.png", size[0], size[1]));
            sitting.window.render().unwrap().save(path).unwrap();
        };
        draw(&mut sitting, "legs");
        sitting.press(Key::PageDown);
        sitting.press(Key::F);
        sitting.press(Key::E);
        sitting.press_with(Modifiers::SHIFT, Key::ArrowLeft);
        draw(&mut sitting, "legs-frame");
        sitting.click("This leg");
        draw(&mut sitting, "legs-close");
        sitting.press(Key::F6);
        sitting.click("Add this flight");
        draw(&mut sitting, "compare-one");
        let other = sitting.folder.path().join("other");
        fs::create_dir_all(&other).unwrap();
        write_all(&other, sitting.flight(), Existing::Replace).unwrap();
        sitting.write("Folder of results", other.to_str().unwrap());
        sitting.click("Add");
        draw(&mut sitting, "compare");
        sitting.press(Key::F7);
        draw(&mut sitting, "card-empty");
        sitting.click("This flight");
        draw(&mut sitting, "card");
    }
}
