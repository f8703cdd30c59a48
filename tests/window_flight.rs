//! The step of the legs in the window, driven as a pilot drives it: with keys, mouse and labels.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use std::fs;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use common::{Plan, fly, record};
use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use pairspeed::files::Existing;
use pairspeed::flight::Flight;
use pairspeed::legs::{LegEdits, LegKind};
use pairspeed::output::folder::write_all;
use pairspeed::output::{legs_csv, pairs_csv, report_html, series_csv};
use pairspeed::readings::Silent;
use pairspeed::setup::LoadedSetup;
use pairspeed::window::store::Store;
use pairspeed::window::{Desk, Finished, Notice, Step};
use pairspeed::{ReadOptions, read_record, work_out};

/// Longest that work in the background may take, machine and all.
const PATIENCE: Duration = Duration::from_secs(60);

/// A desk with a simulated flight on it, and the folder its results are in.
struct Sitting {
    window: Harness<'static, Desk>,
    folder: tempfile::TempDir,
}

fn simulated() -> Finished {
    let plan = Plan { wind: 4.0, leg_s: (11.0, 13.0), ..Plan::default() };
    let record = record(fly(&plan).readings);
    let flight = work_out(record.clone(), &ReadOptions::default()).unwrap();
    Finished { flight, record: Arc::new(record), options: ReadOptions::default(), folder: PathBuf::new() }
}

impl Sitting {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("flight.avi"), "not looked into").unwrap();
        fs::create_dir(folder.path().join("flight-result")).unwrap();
        Self::in_folder(folder)
    }

    fn in_folder(folder: tempfile::TempDir) -> Self {
        let finished = Finished { folder: folder.path().join("flight-result"), ..simulated() };
        let mut desk = Desk::new(Store::in_folder(folder.path()));
        desk.show_flight(vec![folder.path().join("flight.avi")], finished);
        let window = Harness::builder()
            .with_size([1280.0, 720.0])
            .with_max_steps(20)
            .build_ui_state(|ui, desk: &mut Desk| desk.show(ui), desk);
        let mut sitting = Self { window, folder };
        sitting.settle();
        sitting
    }

    /// Lets the window go on until nothing is left to wait for.
    fn settle(&mut self) {
        let begun = Instant::now();
        self.window.run_steps(4);
        while !self.window.state().legs().is_settled() {
            assert!(begun.elapsed() < PATIENCE, "the work in the background does not end");
            std::thread::sleep(Duration::from_millis(2));
            self.window.run_steps(1);
        }
        self.window.run_steps(2);
    }

    fn press(&mut self, key: Key) {
        self.press_with(Modifiers::NONE, key);
    }

    fn press_with(&mut self, modifiers: Modifiers, key: Key) {
        self.window.key_press_modifiers(modifiers, key);
        self.settle();
    }

    fn click(&mut self, label: &str) {
        self.window.get_by_label(label).click();
        self.settle();
    }

    /// Writes into a field.
    fn write(&mut self, label: &str, text: &str) {
        self.window.get_by_role_and_label(Role::TextInput, label).click();
        self.window.run_steps(2);
        self.window.get_by_role_and_label(Role::TextInput, label).type_text(text);
        self.window.run_steps(2);
    }

    fn flight(&self) -> &Flight {
        &self.window.state().shared().finished.as_ref().unwrap().flight
    }

    fn notice(&self) -> String {
        match &self.window.state().shared().notice {
            Some(Notice::Done(words)) => format!("done: {words}"),
            Some(Notice::Wrong(words)) => format!("wrong: {words}"),
            None => String::new(),
        }
    }

    fn result(&self, name: &str) -> PathBuf {
        self.folder.path().join("flight-result").join(name)
    }

    fn clips(&self) -> Vec<PathBuf> {
        vec![self.folder.path().join("flight.avi")]
    }

    fn kept(&self) -> LegEdits {
        LegEdits::load(&self.result("legs.toml"), &self.clips()).unwrap()
    }
}

fn as_text(flight: &Flight) -> String {
    format!("{:?} {:?} {:?}", flight.legs, flight.pairs, flight.steps)
}

#[test]
fn an_end_moved_by_keys_changes_the_answer_at_once_and_is_kept() {
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
    assert_ne!(after.pairs[0].airspeed, before.pairs[0].airspeed);
    assert_eq!(after.pairs[1].airspeed, before.pairs[1].airspeed);
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
fn legs_are_split_joined_marked_and_deleted_by_keys_and_taken_back() {
    let mut sitting = Sitting::new();
    let before = as_text(sitting.flight());
    let legs = sitting.flight().legs.len();
    sitting.press(Key::X);
    assert_eq!(sitting.flight().legs.len(), legs + 1);
    sitting.press(Key::J);
    assert_eq!(sitting.flight().legs.len(), legs);
    sitting.press(Key::O);
    assert_eq!(sitting.flight().legs[0].kind, LegKind::Odd);
    assert_eq!(sitting.flight().pairs.len(), 5);
    sitting.press(Key::Delete);
    assert_eq!(sitting.flight().legs.len(), legs - 1);
    for _ in 0..4 {
        sitting.click("Undo");
    }
    assert_eq!(as_text(sitting.flight()), before);
}

#[test]
fn a_throttle_is_written_and_shows_in_the_answer() {
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
    assert!(sitting.notice().contains("650 % cannot be"), "{}", sitting.notice());
    assert_eq!(sitting.flight().pairs[0].throttle_percent, Some(65.0));
}

#[test]
fn each_result_is_saved_by_its_own_button_as_it_stands() {
    let mut sitting = Sitting::new();
    sitting.press(Key::Delete);
    for (button, name, bytes) in [
        ("Series", "series.csv", series_csv(sitting.flight()).unwrap()),
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
fn what_cannot_be_saved_is_said_and_the_edits_stay() {
    let mut sitting = Sitting::new();
    fs::remove_dir(sitting.folder.path().join("flight-result")).unwrap();
    sitting.press(Key::Delete);
    assert!(sitting.notice().contains("Your edits are still here"), "{}", sitting.notice());
    let legs = sitting.flight().legs.len();
    fs::create_dir(sitting.folder.path().join("flight-result")).unwrap();
    sitting.window.state_mut().keep();
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
fn an_edit_made_while_others_are_offered_keeps_those_under_another_name() {
    let mut sitting = Sitting::new();
    sitting.press(Key::Delete);
    let earlier = fs::read(sitting.result("legs.toml")).unwrap();
    let Sitting { window, folder } = sitting;
    drop(window);
    let mut sitting = Sitting::in_folder(folder);
    sitting.press(Key::O);
    assert_eq!(fs::read(sitting.result("legs.former.toml")).unwrap(), earlier);
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
    assert!(sitting.notice().contains("none to join it with"), "{}", sitting.notice());
}

#[test]
fn the_legs_have_names_that_tell_number_way_and_time() {
    let sitting = Sitting::new();
    let leg = &sitting.flight().legs[2];
    let way = if leg.kind == LegKind::Upwind { "upwind" } else { "downwind" };
    let label = format!("leg 3, {way} from {:.1} to {:.1} s", leg.steady_start_s, leg.steady_end_s);
    sitting.window.get_by_label(&label);
}

/// A flight whose picture is lost for some seconds of its third leg, and not a frame more is blank.
fn with_a_lost_picture() -> Finished {
    let plan = Plan { wind: 4.0, leg_s: (11.0, 13.0), blank_share: 0.0, wrong_share: 0.0, ..Plan::default() };
    let plan = Plan { lost: vec![(50.0, 54.0)], gaps: vec![(70.0, 72.0)], ..plan };
    let record = record(fly(&plan).readings);
    let flight = work_out(record.clone(), &ReadOptions::default()).unwrap();
    Finished { flight, record: Arc::new(record), options: ReadOptions::default(), folder: PathBuf::new() }
}

#[test]
fn frames_left_blank_are_marked_in_the_plot_and_told_in_words() {
    let home = tempfile::tempdir().unwrap();
    let finished = with_a_lost_picture();
    let readings = &finished.flight.series.readings;
    let speed = finished.flight.speed().unwrap();
    let blank = speed.blank_counts().values().sum::<usize>();
    assert!(blank > 0);
    let words = format!("{blank} of {} frames left blank", readings.time_s.len());
    let (first_s, last_s) = (readings.time_s[0], *readings.time_s.last().unwrap());
    let mut sitting = at_desk(Vec::new(), finished, &home);
    let plot = sitting.window.get_by_label_contains("speed km/h over time");
    assert!(plot.accesskit_node().label().unwrap().contains(&words), "{plot:?} does not tell {words}");

    // The axis of the values stands before the plot, that of the times below it.
    let place = plot.rect();
    let colours = pairspeed::window::look::Colours::of(egui::Theme::Dark);
    let picture = sitting.window.render().unwrap();
    let x = |time_s: f64| {
        let share = ((time_s - first_s) / (last_s - first_s)) as f32;
        place.left() + share * place.width()
    };
    let marked = |time_s: f64| {
        let is_mark = |y: u32| {
            let pixel = picture.get_pixel(x(time_s) as u32, y).0;
            pixel[..3] == colours.blank.to_array()[..3]
        };
        (place.top() as u32 + 40..place.bottom() as u32 + 1).any(is_mark)
    };
    assert!(marked(52.0) && marked(71.0), "a gap that nobody sees");
    assert!(!marked(48.0) && !marked(57.0) && !marked(75.0), "a mark where all was read");

    for (time_s, said) in [(52.0, "Left blank, 5"), (71.0, "Nothing recorded, 70.")] {
        sitting.window.hover_at(egui::pos2(x(time_s), place.bottom() - 4.0));
        std::thread::sleep(Duration::from_millis(20));
        sitting.window.run_steps(40);
        assert!(sitting.window.query_by_label_contains(said).is_some(), "{said}");
    }
}

#[test]
fn every_step_passes_the_check_of_accessibility_at_every_size() {
    for size in [[1280.0, 720.0], [640.0, 360.0]] {
        let folder = tempfile::tempdir().unwrap();
        let finished = Finished { folder: folder.path().to_owned(), ..simulated() };
        let mut desk = Desk::new(Store::in_folder(folder.path()));
        desk.show_flight(vec![folder.path().join("flight.avi")], finished);
        let mut window = Harness::builder()
            .with_size(size)
            .with_accessibility_check(true)
            .build_ui_state(|ui, desk: &mut Desk| desk.show(ui), desk);
        for step in [Step::Legs, Step::Compare, Step::TestCard] {
            window.key_press([Key::F5, Key::F6, Key::F7][step as usize - 4]);
            window.run_steps(5);
            assert_eq!(window.state().step(), step);
        }
        // Nothing of a window may be nameless to a program that reads it aloud.
        let nameless: Vec<String> = window
            .root()
            .children_recursive()
            .filter(|node| {
                matches!(node.accesskit_node().role(), Role::Button | Role::TextInput | Role::Slider)
            })
            .filter(|node| node.accesskit_node().label().is_none_or(|label| label.trim().is_empty()))
            .map(|node| format!("{node:?}"))
            .collect();
        assert!(nameless.is_empty(), "{nameless:?}");
    }
}

#[test]
fn flights_are_compared_with_table_and_verdict_and_saved_as_a_page() {
    let mut sitting = Sitting::new();
    write_all(&sitting.result(""), sitting.flight(), Existing::Replace).unwrap();
    let plan = Plan { airspeeds: vec![23.0, 25.5, 28.0, 30.5, 33.0, 36.0], ..Plan::default() };
    let faster = work_out(record(fly(&plan).readings), &ReadOptions::default()).unwrap();
    let after = sitting.folder.path().join("after");
    write_all(&after, &faster, Existing::Keep).unwrap();
    sitting.press(Key::F6);
    sitting.click("Add this flight");
    assert!(sitting.window.query_by_label_contains("against").is_none());
    sitting.write("Folder of results", after.to_str().unwrap());
    sitting.click("Add");
    sitting.window.get_by_label("after against flight-result");
    let verdict = sitting.window.get_by_label_contains("All steps together: faster");
    assert!(verdict.accesskit_node().value().is_some_and(|words| words.contains("Faster by")), "{verdict:?}");
    sitting.click("Save the page");
    let page = fs::read_to_string(sitting.result("comparison.html")).unwrap();
    assert!(page.contains("after against flight-result"));
    sitting.click("Save the page");
    assert!(sitting.result("comparison-2.html").exists(), "{}", sitting.notice());
}

#[test]
fn a_folder_without_results_is_said_when_flights_are_compared() {
    let mut sitting = Sitting::new();
    sitting.press(Key::F6);
    for folder in ["one", "other"] {
        fs::create_dir(sitting.folder.path().join(folder)).unwrap();
        let path = sitting.folder.path().join(folder);
        sitting.write("Folder of results", path.to_str().unwrap());
        sitting.click("Add");
    }
    sitting.window.get_by_label_contains("no summary.json in it");
    sitting.window.get_all_by_label("Remove").next().unwrap().click();
    sitting.settle();
    assert!(sitting.window.query_by_label_contains("no summary.json in it").is_none());
}

#[test]
fn a_test_card_is_made_of_what_is_written_and_saved_as_a_page() {
    let mut sitting = Sitting::new();
    sitting.press(Key::F7);
    sitting.window.get_by_label_contains("Tell the speed to expect");
    sitting.write("Speed at full throttle", "110 km/h");
    sitting.write("Wind", "10");
    sitting.write("Throttle steps, %", "60, 80, 100");
    sitting.settle();
    sitting.window.get_by_label_contains("wind 10.0 km/h");
    sitting.click("Save the page");
    let page = fs::read_to_string(sitting.result("test-card.html")).unwrap();
    assert!(page.contains("Test card") && page.contains("wind 10.0 km/h"), "{}", sitting.notice());
}

fn demo_clips() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("demo-clips")
}

/// The demonstration's flight.
fn demonstration() -> (Vec<PathBuf>, Finished) {
    let clips = vec![demo_clips().join("salt-flat.avi")];
    let setup = LoadedSetup::load(&demo_clips().join("salt-flat.setup.toml")).unwrap();
    let options = ReadOptions::default();
    let record = read_record(&clips, &setup, options.least_confidence, &mut Silent).unwrap();
    let flight = work_out(record.clone(), &options).unwrap();
    (
        clips,
        Finished {
            flight,
            record: Arc::new(record),
            options: ReadOptions::default(),
            folder: PathBuf::new(),
        },
    )
}

fn at_desk(clips: Vec<PathBuf>, finished: Finished, home: &tempfile::TempDir) -> Sitting {
    let folder = tempfile::tempdir().unwrap();
    let mut desk = Desk::new(Store::in_folder(home.path()));
    desk.show_flight(clips, Finished { folder: folder.path().to_owned(), ..finished });
    let window = Harness::builder()
        .with_size([1280.0, 720.0])
        .build_ui_state(|ui, desk: &mut Desk| desk.show(ui), desk);
    let mut sitting = Sitting { window, folder };
    sitting.settle();
    sitting
}

#[test]
fn a_click_on_a_reading_shows_its_frame_and_what_was_read_there() {
    let home = tempfile::tempdir().unwrap();
    let mut finished = simulated();
    finished.flight.setup = LoadedSetup::load(&demo_clips().join("salt-flat.setup.toml")).unwrap().setup;
    let mut sitting = at_desk(vec![demo_clips().join("salt-flat.avi")], finished, &home);
    sitting.window.get_by_label_contains("speed km/h over time").click();
    sitting.settle();
    sitting.window.get_by_label("The frame looked at");
    assert!(sitting.window.get_all_by_label_contains("% sure").count() > 0);
    let frame = |sitting: &Sitting| sitting.window.get_by_label_contains("Frame at").accesskit_node().value();
    let first = frame(&sitting);
    sitting.click("Next");
    assert_ne!(frame(&sitting), first);
}

#[test]
fn a_clip_removed_meanwhile_is_said_and_the_rest_goes_on() {
    let mut sitting = Sitting::new();
    fs::remove_file(sitting.folder.path().join("flight.avi")).unwrap();
    sitting.press(Key::F);
    sitting.window.get_by_label_contains("No picture: ");
    let legs = sitting.flight().legs.len();
    sitting.press(Key::Delete);
    assert_eq!(sitting.flight().legs.len(), legs - 1);
}

#[test]
#[ignore = "makes pictures for people"]
fn flights_with_blank_frames_as_pictures() {
    for (name, finished) in [("lost", with_a_lost_picture()), ("blanks", simulated())] {
        for theme in [egui::Theme::Light, egui::Theme::Dark] {
            let home = tempfile::tempdir().unwrap();
            let Finished { flight, record, options, .. } = &finished;
            let read = Finished {
                flight: flight.clone(),
                record: Arc::clone(record),
                options: options.clone(),
                folder: PathBuf::new(),
            };
            let mut sitting = at_desk(Vec::new(), read, &home);
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
        let mut desk = Desk::new(Store::in_folder(folder.path()));
        let Finished { flight, record, options, .. } = &finished;
        let read = Finished {
            flight: flight.clone(),
            record: Arc::clone(record),
            options: options.clone(),
            folder: folder.path().into(),
        };
        desk.show_flight(clips.clone(), read);
        let window = Harness::builder()
            .with_size(size)
            .with_pixels_per_point(scale)
            .with_theme(theme)
            .with_max_steps(20)
            .build_ui_state(|ui, desk: &mut Desk| desk.show(ui), desk);
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
