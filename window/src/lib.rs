//! The desktop window: drop a recording, mark its readouts once, see the airspeeds.
//!
//! ```text
//! App (the frame: pages along the top, notices, dropped files) -> one Screen for each page, over their common state
//! Shared (recording, setup, flight)
//! work (jobs off the window's thread), store (state kept between sessions), theme (colours, type)
//! ```
//!
//! [`App`] needs an [`egui::Ui`] but no window of the operating system, so that tests can drive it.
//!
//! Sizes, distances and times of this crate without a stated origin were set by judgement, looking at the images of the tests.

mod air;
mod card;
mod compare;
mod dialogs;
mod digit_card;
mod digits;
mod flight;
mod found;
mod lesson;
mod native;
mod page_file;
mod progress;
mod questions;
mod reading;
mod recording;
mod regions;
mod shared;
pub mod store;
pub mod theme;
mod typed;
mod view;
mod wording;
pub mod work;

use std::path::PathBuf;

use egui::{Button, Key, Modifiers, Panel, RichText, ScrollArea};

pub use flight::LegsScreen;
pub use found::FoundCamera;
pub use native::{WindowError, has_display, open, try_display};
use pairspeed::setup::Region;
pub use shared::{Finished, Notice, Shared};
use store::Store;

/// Height of the area for messages, in points. Set by judgement: room for two lines, so that nothing moves when a
/// message appears.
const NOTICE: f32 = 46.0;

/// The pages of the window, in the order in which the pilot goes from a recording to its airspeeds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Page {
    /// Choose the recording.
    #[default]
    Recording,
    /// Mark the regions of the readouts.
    Regions,
    /// Learn the digits of the overlay.
    Digits,
    /// Read the recording.
    Reading,
    /// Show and correct the legs.
    Legs,
    /// Compare this flight with others.
    Compare,
    /// Plan the next flight.
    TestCard,
}

impl Page {
    /// All pages in order.
    pub const ALL: [Self; 7] = [
        Self::Recording,
        Self::Regions,
        Self::Digits,
        Self::Reading,
        Self::Legs,
        Self::Compare,
        Self::TestCard,
    ];

    /// The name of the page in the row at the top.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Recording => "Recording",
            Self::Regions => "Regions",
            Self::Digits => "Digits",
            Self::Reading => "Reading",
            Self::Legs => "Legs",
            Self::Compare => "Compare",
            Self::TestCard => "Test card",
        }
    }

    /// What the pilot does on the page, in a sentence.
    fn purpose(self) -> &'static str {
        match self {
            Self::Recording => "Choose the recording of a flight",
            Self::Regions => "Mark where the overlay shows its numbers",
            Self::Digits => "Label some readings, if the overlay's digits are not known",
            Self::Reading => "Read every frame and compute the airspeeds",
            Self::Legs => "Check and correct the legs; see the airspeed of every throttle step",
            Self::Compare => "Compare flights before and after a change",
            Self::TestCard => "Plan the next flight",
        }
    }

    fn key(self) -> Key {
        const KEYS: [Key; 7] = [Key::F1, Key::F2, Key::F3, Key::F4, Key::F5, Key::F6, Key::F7];
        KEYS[self as usize % KEYS.len()]
    }
}

/// The state of one page, and how the page is shown.
pub trait Screen {
    /// Shows the page and handles what the pilot does.
    fn show(&mut self, ui: &mut egui::Ui, shared: &mut Shared);

    /// Processes the results of background work; called before every repaint, whichever page is shown.
    fn take_results(&mut self, _ctx: &egui::Context, _shared: &mut Shared) {}

    /// Saves work that is not saved yet, before the window closes or another recording is opened.
    fn save_unsaved(&mut self, _shared: &Shared) {}
}

/// The whole window: its state and how it is shown.
#[derive(Default)]
pub struct App {
    page: Page,
    shared: Shared,
    view: view::KeptView,
    recording: recording::RecordingScreen,
    regions: regions::RegionsScreen,
    digits: digits::DigitsScreen,
    reading: reading::ReadingScreen,
    legs: flight::LegsScreen,
    compare: compare::CompareScreen,
    card: card::TestCardScreen,
}

impl App {
    /// A window whose state between sessions is kept in `store`.
    #[must_use]
    pub fn new(store: Store) -> Self {
        Self { shared: Shared::new(store), ..Self::default() }
    }

    /// The page that is shown.
    #[must_use]
    pub fn page(&self) -> Page {
        self.page
    }

    /// The state that all pages share.
    #[must_use]
    pub fn shared(&self) -> &Shared {
        &self.shared
    }

    /// The page on which the pilot checks and corrects the legs.
    #[must_use]
    pub fn legs(&self) -> &LegsScreen {
        &self.legs
    }

    /// Shows a flight that was read from these clips.
    pub fn show_flight(&mut self, clips: Vec<PathBuf>, finished: Finished) {
        self.shared.clips = clips;
        self.shared.set_finished(Some(finished));
        self.page = Page::Legs;
    }

    /// The regions marked so far, saved or not.
    #[must_use]
    pub fn marked(&self) -> &[Region] {
        self.regions.marked()
    }

    /// Opens the clips of one flight, in the same way as when they are dropped on the window.
    pub fn open_clips(&mut self, ctx: &egui::Context, clips: Vec<PathBuf>) {
        self.save_unsaved();
        self.page = Page::Recording;
        self.recording.open(ctx, clips);
    }

    /// Saves all work that is not saved yet.
    pub fn save_unsaved(&mut self) {
        for page in Page::ALL {
            let (screen, shared) = self.screen(page);
            screen.save_unsaved(shared);
        }
    }

    /// Shows the window's content.
    pub fn show(&mut self, ui: &mut egui::Ui) {
        let ctx = ui.ctx().clone();
        theme::apply_once(&ctx);
        self.view.update(&ctx, &mut self.shared);
        self.take_dropped(&ctx);
        for page in Page::ALL {
            let (screen, shared) = self.screen(page);
            screen.take_results(&ctx, shared);
        }
        Panel::top("pages").show(ui, |ui| self.show_pages(ui));
        Panel::bottom("notice").show(ui, |ui| {
            ui.set_min_height(NOTICE);
            self.shared.show_foot(ui);
        });
        egui::CentralPanel::default().show(ui, |ui| {
            let (screen, shared) = self.screen(self.page);
            screen.show(ui, shared);
        });
        if let Some(page) = self.shared.go_to.take() {
            self.page = page;
            ctx.request_repaint();
        }
    }

    fn screen(&mut self, page: Page) -> (&mut dyn Screen, &mut Shared) {
        let screen: &mut dyn Screen = match page {
            Page::Recording => &mut self.recording,
            Page::Regions => &mut self.regions,
            Page::Digits => &mut self.digits,
            Page::Reading => &mut self.reading,
            Page::Legs => &mut self.legs,
            Page::Compare => &mut self.compare,
            Page::TestCard => &mut self.card,
        };
        (screen, &mut self.shared)
    }

    /// Opens files that the pilot drops on the window, as the clips of one recording.
    fn take_dropped(&mut self, ctx: &egui::Context) {
        let dropped: Vec<PathBuf> =
            ctx.input(|input| input.raw.dropped_files.iter().map(|file| file.path().to_owned()).collect());
        if !dropped.is_empty() {
            self.open_clips(ctx, dropped);
        }
    }

    fn show_pages(&mut self, ui: &mut egui::Ui) {
        ui.add_space(4.0);
        ui.horizontal_wrapped(|ui| {
            for (number, page) in (1..).zip(Page::ALL) {
                let shown = self.page == page;
                let colours = theme::colours(ui);
                let ink = if shown { theme::on(colours.accent) } else { colours.ink };
                let words = RichText::new(format!("{number}  {}", page.name())).color(ink);
                let button = Button::selectable(shown, words).min_size(egui::vec2(0.0, 28.0));
                let hint = format!("{} (F{number})", page.purpose());
                let pressed = ui.input_mut(|input| input.consume_key(Modifiers::NONE, page.key()));
                if ui.add(button).on_hover_text(hint).clicked() || pressed {
                    self.page = page;
                }
            }
            ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), view::menu);
        });
        ui.add_space(2.0);
    }
}

/// Shows the content of a page, with scroll bars if the window is too small for it.
pub(crate) fn page<R>(ui: &mut egui::Ui, add: impl FnOnce(&mut egui::Ui) -> R) -> R {
    let lines = |ui: &mut egui::Ui| {
        // The margin keeps the focus frame of a widget at the edge visible.
        egui::Frame::new().inner_margin(2).show(ui, add).inner
    };
    ScrollArea::vertical().auto_shrink(false).show(ui, lines).inner
}
