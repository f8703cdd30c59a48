//! Drives the page of the legs in tests.

use std::fs;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use pairspeed::flight::Flight;
use pairspeed::leg_edits::LegEdits;
use pairspeed::readings::Silent;
use pairspeed::setup::LoadedSetup;
use pairspeed::{ReadOptions, read_record, work_out};
use pairspeed_window::store::Store;
use pairspeed_window::{App, Finished, Notice};

use super::common::{Plan, fly, record};
use super::wake::Wake;

/// Maximum duration of background work in these tests.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// A window with a simulated flight, and the folder of its results.
pub struct Sitting {
    pub window: Harness<'static, App>,
    pub folder: tempfile::TempDir,
}

pub fn simulated() -> Finished {
    let plan = Plan { wind: 4.0, leg_s: (11.0, 13.0), ..Plan::default() };
    let record = record(fly(&plan).readings);
    let flight = work_out(record.clone(), &ReadOptions::default()).unwrap();
    Finished { flight, record: Arc::new(record), options: ReadOptions::default(), folder: PathBuf::new() }
}

impl Sitting {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("flight.avi"), "not looked into").unwrap();
        fs::create_dir(folder.path().join("flight-result")).unwrap();
        Self::in_folder(folder)
    }

    pub fn in_folder(folder: tempfile::TempDir) -> Self {
        let finished = Finished { folder: folder.path().join("flight-result"), ..simulated() };
        let mut app = App::new(Store::in_folder(folder.path()));
        app.show_flight(vec![folder.path().join("flight.avi")], finished);
        let window = Harness::builder()
            .with_size([1280.0, 720.0])
            .with_max_steps(20)
            .build_ui_state(|ui, app: &mut App| app.show(ui), app);
        let mut sitting = Self { window, folder };
        sitting.settle();
        sitting
    }

    /// Repaints the window until all background work is done.
    pub fn settle(&mut self) {
        let (wake, begun) = (Wake::of(&self.window.ctx), Instant::now());
        self.window.run_steps(4);
        while !self.window.state().legs().is_settled() {
            assert!(begun.elapsed() < PATIENCE, "the work in the background does not end");
            wake.wait();
            self.window.run_steps(1);
        }
        self.window.run_steps(2);
    }

    pub fn press(&mut self, key: Key) {
        self.press_with(Modifiers::NONE, key);
    }

    pub fn press_with(&mut self, modifiers: Modifiers, key: Key) {
        self.window.key_press_modifiers(modifiers, key);
        self.settle();
    }

    pub fn click(&mut self, label: &str) {
        self.window.get_by_label(label).click();
        self.settle();
    }

    /// Types into a field.
    pub fn write(&mut self, label: &str, text: &str) {
        self.window.get_by_role_and_label(Role::TextInput, label).click();
        self.window.run_steps(2);
        self.window.get_by_role_and_label(Role::TextInput, label).type_text(text);
        self.window.run_steps(2);
    }

    pub fn flight(&self) -> &Flight {
        &self.window.state().shared().finished.as_ref().unwrap().flight
    }

    pub fn notice(&self) -> String {
        match &self.window.state().shared().notice {
            Some(Notice::Done(words) | Notice::Said(words)) => format!("done: {words}"),
            Some(Notice::Wrong(words)) => format!("wrong: {words}"),
            None => String::new(),
        }
    }

    pub fn result(&self, name: &str) -> PathBuf {
        self.folder.path().join("flight-result").join(name)
    }

    pub fn clips(&self) -> Vec<PathBuf> {
        vec![self.folder.path().join("flight.avi")]
    }

    pub fn kept(&self) -> LegEdits {
        LegEdits::load(&self.result("legs.toml"), &self.clips()).unwrap()
    }
}

pub fn as_text(flight: &Flight) -> String {
    format!("{:?} {:?} {:?}", flight.legs, flight.pairs, flight.steps)
}

pub fn demo_clips() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../demo-clips")
}

/// The demonstration's flight.
pub fn demonstration() -> (Vec<PathBuf>, Finished) {
    let clips = vec![demo_clips().join("salt-flat.avi")];
    let setup = LoadedSetup::load(&demo_clips().join("salt-flat.setup.toml")).unwrap();
    let options = ReadOptions::default();
    let record = read_record(&clips, &setup, options.min_confidence, &mut Silent).unwrap();
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

pub fn app_with(clips: Vec<PathBuf>, finished: Finished, home: &tempfile::TempDir) -> Sitting {
    let folder = tempfile::tempdir().unwrap();
    let mut app = App::new(Store::in_folder(home.path()));
    app.show_flight(clips, Finished { folder: folder.path().to_owned(), ..finished });
    let window =
        Harness::builder().with_size([1280.0, 720.0]).build_ui_state(|ui, app: &mut App| app.show(ui), app);
    let mut sitting = Sitting { window, folder };
    sitting.settle();
    sitting
}

/// The same flight with its results in another folder.
pub fn again(finished: &Finished, folder: PathBuf) -> Finished {
    let Finished { flight, record, options, .. } = finished;
    Finished { flight: flight.clone(), record: Arc::clone(record), options: options.clone(), folder }
}
