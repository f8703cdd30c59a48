//! A step.

use super::{Screen, Shared};

/// What this step holds.
#[derive(Default)]
pub struct DigitsScreen {}

impl Screen for DigitsScreen {
    fn show(&mut self, _ui: &mut egui::Ui, _shared: &mut Shared) {}
}
