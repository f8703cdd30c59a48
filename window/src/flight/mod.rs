//! The page that shows the legs and the airspeeds computed from them, and lets the pilot correct the legs.
//!
//! ```text
//! LegEditor (edits; the flight is computed in the background) -> ViewModel (what is shown)
//! -> timeline + ends (plots, legs to drag), leg (the selected one), results, picture (the frame shown)
//! -> LegActions, which the screen carries out
//! ```

mod action;
mod blanks;
mod ends;
mod keys;
mod leg;
mod leg_editor;
mod picture;
mod results;
mod saving;
mod timeline;
mod view_model;

use egui::{Panel, ScrollArea, Ui};

use self::action::LegAction;
use self::blanks::Blanks;
use self::leg::ThrottleEntry;
use self::leg_editor::LegEditor;
use self::picture::Pictures;
use self::saving::Saving;
use self::timeline::Heights;
use self::view_model::ViewModel;
use super::{Screen, Shared};

/// Minimum width of the page for results beside the plots instead of below them, in points (set by judgement).
const WIDE: f32 = 900.0;
/// Initial width of the results beside the plots, in points (set by judgement).
const RESULTS: f32 = 470.0;
/// Height of the frame shown, in points (set by judgement).
const PICTURE: f32 = 164.0;

/// Heights of the plots if they are above the results instead of beside them, in points (set by judgement).
const STACKED: Heights = Heights { speed: 190.0, strip: 56.0 };
/// Minimum height of the speed plot beside the results, in points (set by judgement).
const MIN_SPEED: f32 = 130.0;
/// Height of a plot below the speed plot, as a share of the available height (set by judgement).
const STRIP: f32 = 0.11;

/// Minimum and maximum height of a plot below the speed plot, in points (set by judgement).
const STRIPS: (f32, f32) = (56.0, 110.0);
/// Time shown on either side of a leg that is selected while it is not visible, in seconds (set by judgement).
const AROUND_S: f64 = 8.0;

/// State of the page that shows the legs.
#[derive(Default)]
pub struct LegsScreen {
    /// Number of the flight that is being edited (`finished_number` of the shared state); `None` before the first
    /// flight.
    seen: Option<u64>,
    leg_editor: Option<LegEditor>,
    /// The blank intervals of each channel of the flight.
    blanks: Vec<Blanks>,
    pictures: Option<Pictures>,
    saving: Saving,
    selected: Option<usize>,
    shown_frame: Option<usize>,
    view_s: (f64, f64),
    entry: ThrottleEntry,
}

impl Screen for LegsScreen {
    fn show(&mut self, ui: &mut Ui, shared: &mut Shared) {
        let mut actions = Vec::new();
        let (Some(finished), Some(leg_editor)) = (&shared.finished, &self.leg_editor) else {
            shared.show_empty(ui, "Read a recording first; its legs are then shown here.");
            return;
        };
        let view_model = ViewModel {
            flight: &finished.flight,
            leg_editor,
            blanks: &self.blanks,
            selected: self.selected,
            shown_frame: self.shown_frame,
            view_s: self.view_s,
        };
        keys::take(ui, &view_model, &mut actions);
        saving::bar(ui, &view_model, &self.saving, &mut actions);
        offer(ui, &view_model, &mut actions);
        if ui.available_width() >= WIDE {
            Self::side_by_side(ui, &view_model, (self.pictures.as_ref(), &mut self.entry), &mut actions);
        } else {
            Self::stacked(ui, &view_model, (self.pictures.as_ref(), &mut self.entry), &mut actions);
        }
        for action in actions {
            self.carry_out(ui.ctx(), action, shared);
        }
    }

    fn take_results(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        if self.seen != Some(shared.finished_number) {
            self.seen = Some(shared.finished_number);
            self.start_editing(ctx, shared);
        }
        if let Some(leg_editor) = &mut self.leg_editor {
            leg_editor.take_results(shared);
            self.saving.take_results(leg_editor, shared);
        }
        if let Some(pictures) = &mut self.pictures {
            pictures.take_results(ctx);
        }
    }

    fn save_unsaved(&mut self, _shared: &Shared) {
        if let Some(leg_editor) = &mut self.leg_editor {
            leg_editor.save_unsaved();
        }
    }
}

impl LegsScreen {
    /// Whether all requests that run in the background are answered.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        self.leg_editor.as_ref().is_none_or(LegEditor::is_settled)
            && self.pictures.as_ref().is_none_or(Pictures::is_settled)
            && !self.saving.is_busy()
    }

    /// Number of the selected leg, from 1; `None` if none is selected.
    #[must_use]
    pub fn selected(&self) -> Option<usize> {
        self.selected
    }

    /// Starts editing the flight that was just read.
    fn start_editing(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        *self = Self { seen: self.seen, ..Self::default() };
        let Some(finished) = &shared.finished else { return };
        let (leg_editor, wrong) = LegEditor::of(ctx, finished, shared);
        self.leg_editor = Some(leg_editor);
        self.blanks = Blanks::of_all(&finished.flight);
        self.pictures = Some(Pictures::new(ctx, &shared.clips));
        self.view_s = whole(finished.flight.series.readings.time_s.as_slice());
        self.selected = (!finished.flight.legs.is_empty()).then_some(1);
        if let Some(wrong) = wrong {
            shared.wrong(wrong);
        }
    }

    fn side_by_side(
        ui: &mut Ui,
        view_model: &ViewModel<'_>,
        (pictures, entry): (Option<&Pictures>, &mut ThrottleEntry),
        actions: &mut Vec<LegAction>,
    ) {
        let results = Panel::right("results").resizable(true).default_size(RESULTS).min_size(260.0);
        results.show(ui, |ui| {
            ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                leg::show(ui, view_model, entry, actions);
                ui.separator();
                results::show(ui, view_model, actions);
            });
        });
        if let Some(pictures) = pictures.filter(|_| view_model.shown_frame.is_some()) {
            let panel = Panel::bottom("frame").resizable(true).default_size(PICTURE).min_size(120.0);
            panel.show(ui, |ui| pictures.show(ui, view_model, actions));
        }
        egui::CentralPanel::default().show(ui, |ui| {
            ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                // The rest of the height is needed for the row of names, the time axis under the speed plot,
                // and the gaps.
                let strip = (STRIP * ui.available_height()).clamp(STRIPS.0, STRIPS.1);
                let rest = 36.0 + (strip + 3.0) * timeline::strips(view_model).count() as f32;
                let speed = (ui.available_height() - rest).max(MIN_SPEED);
                timeline::show(ui, view_model, Heights { speed, strip }, actions);
            });
        });
    }

    fn stacked(
        ui: &mut Ui,
        view_model: &ViewModel<'_>,
        (pictures, entry): (Option<&Pictures>, &mut ThrottleEntry),
        actions: &mut Vec<LegAction>,
    ) {
        super::page(ui, |ui| {
            ui.scope(|ui| timeline::show(ui, view_model, STACKED, actions));
            leg::show(ui, view_model, entry, actions);
            if let Some(pictures) = pictures.filter(|_| view_model.shown_frame.is_some()) {
                ui.separator();
                ui.allocate_ui(egui::vec2(ui.available_width(), PICTURE), |ui| {
                    pictures.show(ui, view_model, actions)
                });
            }
            ui.separator();
            results::show(ui, view_model, actions);
        });
    }

    fn carry_out(&mut self, ctx: &egui::Context, action: LegAction, shared: &mut Shared) {
        let Some(leg_editor) = &mut self.leg_editor else { return };
        ctx.request_repaint();
        match action {
            LegAction::Select(number) => self.select(number, shared),
            LegAction::Try(edit) => leg_editor.try_out(edit),
            LegAction::Make(edit) => match leg_editor.make(edit, shared) {
                Ok(()) => self.selected = keys::selected_after(edit, self.selected, leg_editor.legs().len()),
                Err(error) => shared.wrong(error),
            },
            LegAction::Undo => leg_editor.undo(shared),
            LegAction::Redo => leg_editor.redo(shared),
            LegAction::AcceptOffer => leg_editor.accept_offer(),
            LegAction::DiscardOffer => leg_editor.discard_offer(shared),
            LegAction::ShowFrame(index, channel) => self.show_frame(index, channel, shared),
            LegAction::View(from_s, to_s) => self.view(from_s, to_s, shared),
            LegAction::Save(file) => self.saving.one(ctx, file, leg_editor, shared),
            LegAction::SaveAll => self.saving.all(ctx, leg_editor, shared),
            LegAction::OpenFolder => super::page_file::open(leg_editor.folder(), shared),
        }
        let legs = self.leg_editor.as_ref().map_or(0, |leg_editor| leg_editor.legs().len());
        self.selected = self.selected.map(|number| number.min(legs)).filter(|number| *number > 0);
    }

    /// Selects a leg and makes it visible.
    fn select(&mut self, number: usize, shared: &Shared) {
        let leg =
            self.leg_editor.as_ref().and_then(|leg_editor| leg_editor.legs().get(number.checked_sub(1)?));
        let Some(leg) = leg.copied() else { return };
        self.selected = Some(number);
        if leg.start_s < self.view_s.0 || leg.end_s > self.view_s.1 {
            let length_s = (self.view_s.1 - self.view_s.0).max(leg.end_s - leg.start_s + 2.0 * AROUND_S);
            let middle_s = f64::midpoint(leg.start_s, leg.end_s);
            self.view(middle_s - length_s / 2.0, middle_s + length_s / 2.0, shared);
        }
    }

    fn show_frame(
        &mut self,
        index: usize,
        channel: Option<pairspeed::model::channel::Channel>,
        shared: &Shared,
    ) {
        let time_s = shared
            .finished
            .as_ref()
            .and_then(|finished| finished.flight.series.readings.time_s.get(index).copied());
        let (Some(time_s), Some(pictures)) = (time_s, &mut self.pictures) else { return };
        self.shown_frame = Some(index);
        pictures.look_at(time_s, channel);
        let (from_s, to_s) = self.view_s;
        if time_s < from_s || time_s > to_s {
            let half_s = (to_s - from_s) / 2.0;
            self.view(time_s - half_s, time_s + half_s, shared);
        }
    }

    /// Shows an interval of time in seconds, limited to the recording.
    fn view(&mut self, from_s: f64, to_s: f64, shared: &Shared) {
        let Some(finished) = &shared.finished else { return };
        let (first_s, last_s) = whole(&finished.flight.series.readings.time_s);
        let length_s = (to_s - from_s).min(last_s - first_s);
        if length_s.is_finite() && length_s > 0.0 {
            let from_s = from_s.clamp(first_s, last_s - length_s);
            self.view_s = (from_s, from_s + length_s);
        }
    }
}

/// First and last time of a flight in seconds, at least a second apart.
fn whole(time_s: &[f64]) -> (f64, f64) {
    let (first_s, last_s) = (time_s.first().copied().unwrap_or(0.0), time_s.last().copied().unwrap_or(0.0));
    (first_s, last_s.max(first_s + 1.0))
}

/// Asks whether to continue with the edits of an earlier session.
fn offer(ui: &mut Ui, view_model: &ViewModel<'_>, actions: &mut Vec<LegAction>) {
    let Some(offered) = view_model.leg_editor.offered() else { return };
    let edits = match offered.edits().len() {
        1 => "1 edit".to_owned(),
        edits => format!("{edits} edits"),
    };
    egui::Frame::group(ui.style()).show(ui, |ui| {
        ui.horizontal_wrapped(|ui| {
            ui.label(format!("These legs were edited in an earlier session ({edits})."));
            if ui.button("Use those edits").clicked() {
                actions.push(LegAction::AcceptOffer);
            }
            if ui.button("Start from the legs found").clicked() {
                actions.push(LegAction::DiscardOffer);
            }
        });
    });
}
