//! Opens a window of the operating system and runs the [`App`] in it.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use eframe::NativeOptions;
use egui::ViewportBuilder;
use thiserror::Error;

use super::App;
use super::store::Store;

/// Initial width and height of the window, in points (set by judgement).
const SIZE: [f32; 2] = [1280.0, 720.0];

/// Minimum width and height of the window, in points (set by judgement).
const MIN_SIZE: [f32; 2] = [560.0, 340.0];

/// Why the window could not be opened.
#[derive(Debug, Error)]
#[error(
    "the window cannot be opened ({reason}); on a computer without a display use the commands, which \
     `pairspeed --help` lists"
)]
pub struct WindowError {
    /// Reason of the failure, from the operating system.
    reason: String,
}

impl WindowError {
    /// Reason of the failure.
    #[must_use]
    pub fn reason(&self) -> &str {
        &self.reason
    }
}

/// Whether there is a display on which a window can be opened. On Linux this is judged by the environment
/// variables `DISPLAY` and `WAYLAND_DISPLAY`; on Windows and macOS it is always true.
#[must_use]
pub fn has_display() -> bool {
    let is_set = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    let needs_server = cfg!(all(unix, not(target_os = "macos")));
    !needs_server || is_set("DISPLAY") || is_set("WAYLAND_DISPLAY")
}

/// Fails if there is no display.
fn require_display() -> Result<(), WindowError> {
    if has_display() {
        return Ok(());
    }
    Err(WindowError {
        reason: "there is no display: neither DISPLAY nor WAYLAND_DISPLAY is set; start the program from a desktop session"
            .to_owned(),
    })
}

/// Opens the window, with clips if some are given, and returns when it is closed.
///
/// # Errors
///
/// [`WindowError`] if there is no display, or the operating system provides no window to draw in.
pub fn open(clips: Vec<PathBuf>) -> Result<(), WindowError> {
    require_display()?;
    let viewport = ViewportBuilder::default()
        .with_title("pairspeed")
        .with_app_id("pairspeed")
        .with_inner_size(SIZE)
        .with_min_inner_size(MIN_SIZE)
        .with_icon(egui::IconData::default());
    let options = NativeOptions { viewport, ..NativeOptions::default() };
    let run = eframe::run_native(
        "pairspeed",
        options,
        Box::new(move |creation| {
            let mut app = App::new(Store::of_user());
            if !clips.is_empty() {
                app.open_clips(&creation.egui_ctx, clips);
            }
            Ok(Box::new(app))
        }),
    );
    run.map_err(|error| WindowError { reason: error.to_string() })
}

/// Opens a hidden window and closes it again. The window library allows one event loop per process, so a process
/// can call this only once, and not together with [`open()`].
///
/// # Errors
///
/// [`WindowError`] if there is no display, or a library is missing that the window needs.
pub fn try_display() -> Result<(), WindowError> {
    require_display()?;
    let options = NativeOptions {
        viewport: ViewportBuilder::default().with_visible(false),
        ..NativeOptions::default()
    };
    let drawable = Arc::new(AtomicBool::new(false));
    let reached = drawable.clone();
    // The app is created once the window can be drawn. The error closes the window again.
    let run = eframe::run_native(
        "pairspeed",
        options,
        Box::new(move |_| {
            reached.store(true, Ordering::Relaxed);
            Err("the display works: the window of this check closes again".into())
        }),
    );
    match run {
        Err(error) if !drawable.load(Ordering::Relaxed) => Err(WindowError { reason: error.to_string() }),
        _ => Ok(()),
    }
}

impl eframe::App for App {
    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut eframe::Frame) {
        self.show(ui);
    }

    fn on_exit(&mut self, _gl: Option<&eframe::glow::Context>) {
        self.save_unsaved();
    }
}
