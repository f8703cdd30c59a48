//! The step after the reading.

use super::{Screen, Shared};

/// What this step holds.
#[derive(Default)]
pub struct LegsScreen {}

impl Screen for LegsScreen {
    fn show(&mut self, _ui: &mut egui::Ui, _shared: &mut Shared) {}
}
