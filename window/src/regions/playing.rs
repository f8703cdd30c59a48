//! Plays the recording in real time; frames that cannot be decoded in time are skipped.

use std::time::{Duration, Instant};

use egui::{Button, Key, Modifiers, vec2};

use super::RegionsScreen;
use super::viewer::Wanted;
use crate::Shared;

/// Interval at which frames are requested during playing. It is shorter than the frame interval of a camera with 60
/// frames per second.
const TICK: Duration = Duration::from_millis(15);
/// Minimum width of the play button, in points, so that nothing moves when its label changes (set by judgement).
const BUTTON: f32 = 62.0;

/// State while the recording is played.
pub(super) struct Playing {
    since: Instant,
    from_s: f64,
    /// Whether a requested frame has not arrived yet.
    is_asked: bool,
}

impl Playing {
    fn from(time_s: f64) -> Self {
        Self { since: Instant::now(), from_s: time_s, is_asked: false }
    }

    /// Notes that a requested frame has arrived.
    pub(super) fn frame_arrived(&mut self) {
        self.is_asked = false;
    }
}

impl RegionsScreen {
    /// Shows the button that starts and stops playing, and handles the space bar, which does the same as the button.
    pub(super) fn show_play(&mut self, ui: &mut egui::Ui, shared: &Shared) {
        let words = if self.playing.is_some() { "Stop" } else { "Play" };
        let button = ui.add(Button::new(words).min_size(vec2(BUTTON, 0.0))).on_hover_text("Space bar");
        let focused = ui.ctx().memory(|memory| memory.focused());
        let space = (focused.is_none() || focused == self.canvas.id())
            && ui.input_mut(|input| input.consume_key(Modifiers::NONE, Key::Space));
        if button.clicked() || space {
            let at_end = self.time_s + 0.1 >= shared.length_s;
            let from_s = if at_end { 0.0 } else { self.time_s };
            self.playing = if self.playing.is_some() { None } else { Some(Playing::from(from_s)) };
        }
    }

    /// Requests the frame that is due while the recording is played.
    pub(super) fn play_on(&mut self, ctx: &egui::Context, shared: &Shared) {
        let Some(playing) = &mut self.playing else { return };
        let due_s = playing.from_s + playing.since.elapsed().as_secs_f64();
        if due_s > shared.length_s {
            self.playing = None;
            return;
        }
        ctx.request_repaint_after(TICK);
        if !std::mem::replace(&mut playing.is_asked, true) {
            self.want(Wanted::Near(due_s));
        }
    }
}
