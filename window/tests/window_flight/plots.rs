//! The contents of the plots, and the frame of a reading.

use std::fs;
use std::path::PathBuf;
use std::sync::Arc;

use egui::Key;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use pairspeed::setup::LoadedSetup;
use pairspeed::{ReadOptions, work_out};
use pairspeed_window::Finished;

use super::common::{Plan, fly, record};
use super::driving::{Sitting, app_with, demo_clips, simulated};

/// A flight in which the signal is lost for some seconds of its third leg, and no other frame is blank.
pub fn with_signal_loss() -> Finished {
    let plan = Plan { wind: 4.0, leg_s: (11.0, 13.0), blank_share: 0.0, wrong_share: 0.0, ..Plan::default() };
    let plan = Plan { lost: vec![(50.0, 54.0)], gaps: vec![(70.0, 72.0)], ..plan };
    let record = record(fly(&plan).readings);
    let flight = work_out(record.clone(), &ReadOptions::default()).unwrap();
    Finished { flight, record: Arc::new(record), options: ReadOptions::default(), folder: PathBuf::new() }
}

#[test]
fn blank_frames_are_marked_in_the_plot_and_described_in_words() {
    let home = tempfile::tempdir().unwrap();
    let finished = with_signal_loss();
    let readings = &finished.flight.series.readings;
    let speed = finished.flight.speed().unwrap();
    let blank = speed.blank_counts().values().sum::<usize>();
    assert!(blank > 0);
    let words = format!("{blank} of {} frames left blank", readings.time_s.len());
    let (first_s, last_s) = (readings.time_s[0], *readings.time_s.last().unwrap());
    let mut sitting = app_with(Vec::new(), finished, &home);
    let plot = sitting.window.get_by_label_contains("speed km/h against time");
    assert!(plot.accesskit_node().label().unwrap().contains(&words), "{plot:?} does not contain {words}");

    // The value axis is to the left of the plot, the time axis below it.
    let rect = plot.rect();
    let colours = pairspeed_window::theme::Colours::of(egui::Theme::Dark);
    let picture = sitting.window.render().unwrap();
    let x = |time_s: f64| {
        let share = ((time_s - first_s) / (last_s - first_s)) as f32;
        rect.left() + share * rect.width()
    };
    let marked = |time_s: f64| {
        let is_mark = |y: u32| {
            let pixel = picture.get_pixel(x(time_s) as u32, y).0;
            pixel[..3] == colours.blank.to_array()[..3]
        };
        (rect.top() as u32 + 40..rect.bottom() as u32 + 1).any(is_mark)
    };
    assert!(marked(52.0) && marked(71.0), "a gap that nobody sees");
    assert!(!marked(48.0) && !marked(57.0) && !marked(75.0), "a mark where all was read");

    for (time_s, said) in [(52.0, "Left blank, 5"), (71.0, "Nothing recorded, 70.")] {
        sitting.window.hover_at(egui::pos2(x(time_s), rect.bottom() - 4.0));
        sitting.window.run_steps(40);
        assert!(sitting.window.query_by_label_contains(said).is_some(), "{said}");
    }
}

#[test]
fn a_click_on_a_reading_shows_its_frame_and_readings() {
    let home = tempfile::tempdir().unwrap();
    let mut finished = simulated();
    finished.flight.setup = LoadedSetup::load(&demo_clips().join("salt-flat.setup.toml")).unwrap().setup;
    let mut sitting = app_with(vec![demo_clips().join("salt-flat.avi")], finished, &home);
    sitting.window.get_by_label_contains("speed km/h against time").click();
    sitting.settle();
    sitting.window.get_by_label("The frame shown");
    assert!(sitting.window.get_all_by_label_contains("confidence ").count() > 0);
    let frame = |sitting: &Sitting| sitting.window.get_by_label_contains("Frame at").accesskit_node().value();
    let first = frame(&sitting);
    sitting.click("Next");
    assert_ne!(frame(&sitting), first);
}

#[test]
fn a_clip_removed_meanwhile_is_reported_and_the_rest_still_works() {
    let mut sitting = Sitting::new();
    fs::remove_file(sitting.folder.path().join("flight.avi")).unwrap();
    sitting.press(Key::F);
    sitting.window.get_by_label_contains("No picture: ");
    let legs = sitting.flight().legs.len();
    sitting.press(Key::Delete);
    assert_eq!(sitting.flight().legs.len(), legs - 1);
}
