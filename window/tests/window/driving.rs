//! Drives the window in tests.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use pairspeed_window::store::Store;
use pairspeed_window::{App, Notice};
use tempfile::TempDir;

use super::wake::Wake;

/// Maximum duration of any step of these tests; a step that takes longer counts as hanging.
const TIMEOUT: Duration = Duration::from_secs(300);

/// A window with a folder for recordings and a home folder of its own.
pub struct Window {
    pub harness: Harness<'static, App>,
    pub card: TempDir,
    pub home: TempDir,
}

/// Path of a demonstration clip.
pub fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-clips").join(name)
}

impl Window {
    /// An empty window of 1280 x 720 points.
    pub fn new() -> Self {
        Self::of([1280.0, 720.0], 1.0, egui::Theme::Light)
    }

    /// An empty window with a size in points.
    pub fn of(size: [f32; 2], pixels_per_point: f32, theme: egui::Theme) -> Self {
        Self::with(size, pixels_per_point, theme, tempfile::tempdir().unwrap())
    }

    /// An empty window of 1280 x 720 points in the light theme, with a home folder that was used before.
    pub fn in_home(home: TempDir) -> Self {
        Self::with([1280.0, 720.0], 1.0, egui::Theme::Light, home)
    }

    fn with(size: [f32; 2], pixels_per_point: f32, theme: egui::Theme, home: TempDir) -> Self {
        let card = tempfile::tempdir().unwrap();
        let app = App::new(Store::in_folder(home.path()));
        let builder = Harness::builder().with_size(size).with_pixels_per_point(pixels_per_point);
        let harness = builder.with_theme(theme).build_ui_state(|ui, app: &mut App| app.show(ui), app);
        Self { harness, card, home }
    }

    /// Copies a demonstration clip into the folder for recordings, and its setup if wanted.
    pub fn put_flight(&self, name: &str, with_setup: bool) -> PathBuf {
        let from = demo(name);
        let clip = self.card.path().join("flight").with_extension(from.extension().unwrap());
        std::fs::copy(&from, &clip).unwrap();
        if with_setup {
            std::fs::copy(from.with_extension("setup.toml"), clip.with_extension("setup.toml")).unwrap();
        }
        clip
    }

    /// Types a path and opens it.
    pub fn open(&mut self, path: &Path) {
        self.write("or its path:", &path.display().to_string());
        self.click("Open");
    }

    /// Opens a recording and waits until it is open.
    pub fn open_flight(&mut self, clip: &Path) {
        self.open(clip);
        self.until("the recording is open", |app| app.shared().info.is_some());
    }

    /// Drops a recording on the window.
    pub fn drop_flight(&mut self, clip: &Path) {
        let ctx = self.harness.ctx.clone();
        self.harness.state_mut().open_clips(&ctx, vec![clip.to_owned()]);
        self.harness.run_steps(2);
    }

    /// Presses a key.
    pub fn press(&mut self, key: egui::Key) {
        self.harness.key_press(key);
        self.harness.run_steps(3);
    }

    /// Types into an empty field.
    pub fn write(&mut self, field: &str, text: &str) {
        self.harness.get_by_label(field).focus();
        self.harness.step();
        self.harness.get_by_label(field).type_text(text);
        self.harness.step();
    }

    /// Replaces the text of a field.
    pub fn rewrite(&mut self, field: &str, text: &str) {
        self.harness.get_by_label(field).focus();
        self.harness.step();
        self.harness.key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::A);
        self.harness.step();
        self.harness.get_by_label(field).type_text(text);
        self.harness.step();
    }

    /// Presses a button.
    pub fn click(&mut self, label: &str) {
        self.harness.get_by_label(label).scroll_to_me();
        self.harness.run_steps(3);
        self.harness.get_by_label(label).click();
        self.harness.run_steps(3);
    }

    /// Repaints the window until a condition holds.
    pub fn until(&mut self, what: &str, so: impl Fn(&App) -> bool) {
        let (wake, begun) = (Wake::of(&self.harness.ctx), Instant::now());
        while !so(self.harness.state()) {
            assert!(
                begun.elapsed() < TIMEOUT,
                "{what}: never; notice: {:?}",
                self.harness.state().shared().notice
            );
            wake.wait();
            self.harness.run_steps(2);
        }
        self.harness.run_steps(3);
    }

    /// Repaints the window until a label contains some words; no error message may appear until then.
    pub fn until_shown(&mut self, words: &str) {
        let (wake, begun) = (Wake::of(&self.harness.ctx), Instant::now());
        while self.harness.query_all_by_label_contains(words).next().is_none() {
            let notice = &self.harness.state().shared().notice;
            let wrong = matches!(notice, Some(Notice::Wrong(_)));
            let shown = || self.words().join("\n");
            assert!(!wrong && begun.elapsed() < TIMEOUT, "{words}: never; notice: {notice:?}\n{}", shown());
            wake.wait();
            self.harness.run_steps(2);
        }
        self.harness.run_steps(3);
    }

    /// Whether a label contains some words.
    pub fn shows(&self, words: &str) -> bool {
        self.harness.query_all_by_label_contains(words).next().is_some()
    }

    /// Waits for an error message and returns it.
    pub fn trouble(&mut self) -> String {
        self.until("something is wrong", |app| matches!(app.shared().notice, Some(Notice::Wrong(_))));
        match &self.harness.state().shared().notice {
            Some(Notice::Wrong(words)) => words.clone(),
            other => panic!("{other:?}"),
        }
    }

    /// The texts of all labels and buttons.
    pub fn words(&self) -> Vec<String> {
        let roles = [egui::accesskit::Role::Label, egui::accesskit::Role::Button];
        let nodes = roles.into_iter().flat_map(|role| self.harness.query_all_by_role(role));
        nodes.filter_map(|node| node.accesskit_node().label().or(node.accesskit_node().value())).collect()
    }

    /// Names of all text fields.
    pub fn fields(&self) -> Vec<String> {
        let fields = self.harness.query_all_by_role(egui::accesskit::Role::TextInput);
        fields.filter_map(|field| field.accesskit_node().label()).collect()
    }
}
