//! Shows the progress of long work, with a button and a key to cancel it.

use egui::{Key, Modifiers, ProgressBar, Role, Ui, WidgetInfo};

/// Maximum width of the bar, in points (set by judgement).
const MAX_WIDTH: f32 = 620.0;

/// Shows a bar with `words` below it; returns whether the pilot cancels, with the button or with Escape. `share` is the
/// share done, 0 to 1; without it the bar only shows that work is going on.
pub(super) fn show(ui: &mut Ui, share: Option<f32>, words: &str, cancel_hint: &str) -> bool {
    let bar = ProgressBar::new(share.unwrap_or(0.0)).desired_width(ui.available_width().min(MAX_WIDTH));
    let bar = if share.is_some() { bar.show_percentage() } else { bar.animate(true) };
    ui.add(bar).widget_info(|| WidgetInfo::labeled(Role::ProgressIndicator, true, words));
    let mut cancelled = false;
    ui.horizontal(|ui| {
        cancelled = cancel(ui, cancel_hint);
        ui.label(words);
    });
    cancelled
}

/// Shows a button that cancels work; returns whether the button or Escape is pressed.
pub(super) fn cancel(ui: &mut Ui, hint: &str) -> bool {
    let escape = !ui.ctx().text_edit_focused()
        && ui.input_mut(|input| input.consume_key(Modifiers::NONE, Key::Escape));
    ui.button("Cancel").on_hover_text(format!("{hint} (Escape)")).clicked() || escape
}

/// Returns whether the pilot presses Enter, which acts as the main button of a page. It does so if no control has the
/// keyboard focus, or if the control `aside` has it, which does not use Enter itself. With `None`, there is no such
/// control.
pub(super) fn agrees(ui: &Ui, aside: Option<egui::Id>) -> bool {
    let focused = ui.ctx().memory(|memory| memory.focused());
    (focused.is_none() || focused == aside)
        && ui.input_mut(|input| input.consume_key(Modifiers::NONE, Key::Enter))
}
