//! The step after the reading.

use super::{Screen, Shared};

/// What this step holds.
#[derive(Default)]
pub struct CardScreen {}

impl Screen for CardScreen {
    fn show(&mut self, _ui: &mut egui::Ui, _shared: &mut Shared) {}
}
