//! A step.

use super::{Screen, Shared};

/// What this step holds.
#[derive(Default)]
pub struct RecordingScreen {}

impl Screen for RecordingScreen {
    fn show(&mut self, _ui: &mut egui::Ui, _shared: &mut Shared) {}
}

impl RecordingScreen {
    pub(super) fn open(&mut self, _ctx: &egui::Context, _clips: Vec<std::path::PathBuf>) {}
}
