//! The desktop window: drop a recording, mark the readouts once, see the answer.
//!
//! ```text
//! Desk (the frame: steps along the top, notices, dropping) -> one Screen a step, over what they Share
//! work (jobs off the window's thread), store (what is kept between two sittings), look (colours, type)
//! ```
//!
//! [`App`] needs an [`egui::Ui`] and nothing of the system's window, so that tests can drive it.

mod air;
mod card;
mod compare;
mod dialogs;
mod digits;
mod flight;
mod lesson;
mod native;
mod page_file;
mod reading;
mod recording;
mod regions;
mod shared;
pub mod store;
pub mod theme;
mod view;
mod wording;
pub mod work;

use std::path::PathBuf;

use egui::{Button, Key, Modifiers, Panel, RichText, ScrollArea};

pub use flight::LegsScreen;
pub use native::{WindowError, has_display, open};
use pairspeed::setup::Region;
pub use shared::{Finished, Notice, Shared};
use store::Store;

/// The steps from a recording to the answer, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Step {
    /// Which recording.
    #[default]
    Recording,
    /// Where its readouts stand.
    Regions,
    /// What its digits look like.
    Digits,
    /// Reading it through.
    Reading,
    /// The legs flown and what comes of them.
    Legs,
    /// This flight beside another.
    Compare,
    /// What to fly next.
    TestCard,
}

impl Step {
    /// All steps in order.
    pub const ALL: [Self; 7] = [
        Self::Recording,
        Self::Regions,
        Self::Digits,
        Self::Reading,
        Self::Legs,
        Self::Compare,
        Self::TestCard,
    ];

    /// Its name in the row of steps.
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

    /// What is done there, in a sentence.
    fn purpose(self) -> &'static str {
        match self {
            Self::Recording => "Choose the recording of a flight",
            Self::Regions => "Mark where the overlay shows its numbers",
            Self::Digits => "Tell what the overlay's digits look like, where they are not known",
            Self::Reading => "Read every frame and work out the airspeeds",
            Self::Legs => "See and correct the legs, and the airspeed of every throttle step",
            Self::Compare => "Put two flights beside each other",
            Self::TestCard => "Plan the next flight",
        }
    }

    fn key(self) -> Key {
        const KEYS: [Key; 7] = [Key::F1, Key::F2, Key::F3, Key::F4, Key::F5, Key::F6, Key::F7];
        KEYS[self as usize % KEYS.len()]
    }
}

/// What one step shows.
pub trait Screen {
    /// Shows it and takes what the pilot does.
    fn show(&mut self, ui: &mut egui::Ui, shared: &mut Shared);

    /// Takes what comes from work in the background; called before every picture, whichever step is shown.
    fn attend(&mut self, _ctx: &egui::Context, _shared: &mut Shared) {}

    /// Keeps work that is not saved yet: the window closes, or another recording comes.
    fn keep(&mut self, _shared: &Shared) {}
}

/// The whole window: its state and how it is shown.
#[derive(Default)]
pub struct App {
    step: Step,
    shared: Shared,
    view: view::KeptView,
    recording: recording::RecordingScreen,
    regions: regions::RegionsScreen,
    digits: digits::DigitsScreen,
    reading: reading::ReadingScreen,
    legs: flight::LegsScreen,
    compare: compare::CompareScreen,
    card: card::CardScreen,
}

impl App {
    /// A desk that keeps what it remembers between two sittings in the folder of `store`.
    #[must_use]
    pub fn new(store: Store) -> Self {
        Self { shared: Shared::new(store), ..Self::default() }
    }

    /// The step shown.
    #[must_use]
    pub fn step(&self) -> Step {
        self.step
    }

    /// What the steps share.
    #[must_use]
    pub fn shared(&self) -> &Shared {
        &self.shared
    }

    /// The step of the legs.
    #[must_use]
    pub fn legs(&self) -> &LegsScreen {
        &self.legs
    }

    /// Shows a flight that was read from these clips.
    pub fn show_flight(&mut self, clips: Vec<PathBuf>, finished: Finished) {
        self.shared.clips = clips;
        self.shared.set_finished(Some(finished));
        self.step = Step::Legs;
    }

    /// The regions marked just now, saved or not.
    #[must_use]
    pub fn marked(&self) -> &[Region] {
        self.regions.marked()
    }

    /// Opens the clips of one flight, as when they are dropped.
    pub fn open_clips(&mut self, ctx: &egui::Context, clips: Vec<PathBuf>) {
        self.keep();
        self.step = Step::Recording;
        self.recording.open(ctx, clips);
    }

    /// Keeps all work that is not saved yet.
    pub fn keep(&mut self) {
        for step in Step::ALL {
            let (screen, shared) = self.screen(step);
            screen.keep(shared);
        }
    }

    /// Shows the window's content.
    pub fn show(&mut self, ui: &mut egui::Ui) {
        let ctx = ui.ctx().clone();
        theme::apply_once(&ctx);
        self.view.attend(&ctx, &mut self.shared);
        self.take_dropped(&ctx);
        for step in Step::ALL {
            let (screen, shared) = self.screen(step);
            screen.attend(&ctx, shared);
        }
        Panel::top("steps").show(ui, |ui| self.show_steps(ui));
        Panel::bottom("notice").show(ui, |ui| self.shared.show_foot(ui));
        egui::CentralPanel::default().show(ui, |ui| {
            let (screen, shared) = self.screen(self.step);
            screen.show(ui, shared);
        });
        if let Some(step) = self.shared.go_to.take() {
            self.step = step;
            ctx.request_repaint();
        }
    }

    fn screen(&mut self, step: Step) -> (&mut dyn Screen, &mut Shared) {
        let screen: &mut dyn Screen = match step {
            Step::Recording => &mut self.recording,
            Step::Regions => &mut self.regions,
            Step::Digits => &mut self.digits,
            Step::Reading => &mut self.reading,
            Step::Legs => &mut self.legs,
            Step::Compare => &mut self.compare,
            Step::TestCard => &mut self.card,
        };
        (screen, &mut self.shared)
    }

    /// Files dropped on the window are a recording.
    fn take_dropped(&mut self, ctx: &egui::Context) {
        let dropped: Vec<PathBuf> =
            ctx.input(|input| input.raw.dropped_files.iter().map(|file| file.path().to_owned()).collect());
        if !dropped.is_empty() {
            self.open_clips(ctx, dropped);
        }
    }

    fn show_steps(&mut self, ui: &mut egui::Ui) {
        ui.add_space(4.0);
        ui.horizontal_wrapped(|ui| {
            for (number, step) in (1..).zip(Step::ALL) {
                let shown = self.step == step;
                let colours = theme::colours(ui);
                let ink = if shown { theme::on(colours.accent) } else { colours.ink };
                let words = RichText::new(format!("{number}  {}", step.name())).color(ink);
                let button = Button::selectable(shown, words).min_size(egui::vec2(0.0, 28.0));
                let hint = format!("{} (F{number})", step.purpose());
                let pressed = ui.input_mut(|input| input.consume_key(Modifiers::NONE, step.key()));
                if ui.add(button).on_hover_text(hint).clicked() || pressed {
                    self.step = step;
                }
            }
            ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), view::menu);
        });
        ui.add_space(2.0);
    }
}

/// A step's page: scrolls where the window is too small for it.
pub(crate) fn page<R>(ui: &mut egui::Ui, add: impl FnOnce(&mut egui::Ui) -> R) -> R {
    let lines = |ui: &mut egui::Ui| {
        // The frame of whatever has the keyboard must not be cut off at the edge.
        egui::Frame::new().inner_margin(2).show(ui, add).inner
    };
    ScrollArea::vertical().auto_shrink(false).show(ui, lines).inner
}
