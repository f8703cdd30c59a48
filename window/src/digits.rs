//! The page on which the digits are learned: the pilot types what some images show, and the shapes of the digits
//! are learned from these labels.

use std::path::{Path, PathBuf};

use egui::RichText;

use super::digit_card::DigitCard;
use super::lesson::{LessonAction, LessonView};
use super::typed::{Typed, is_at, requests_of};
use super::work::{Reporter, Work};
use super::{Page, Screen, Shared, page, progress, theme};
use pairspeed::confinement::Confinement;
use pairspeed::files::{Existing, file_name};
use pairspeed::learn::{
    self, LabelFile, LabelRequest, LabelledReading, RejectedLabel, StoredLabel, adapted_to, fetch_examples,
    first_requests, learn_glyphs, open_clip,
};
use pairspeed::model::channel::Channel;
use pairspeed::recognise::{Recogniser, RegionReading, Sample};
use pairspeed::setup::LoadedSetup;
use pairspeed::{glyph_sets, readings, visible};

/// Name under which typed labels are stored until the digits are learned from them.
const DRAFT: &str = "digits";
/// Minimum share of the sampled frames in which a channel must be read to need no labels, 0 to 1 (set by
/// judgement).
const WELL_READ: f64 = 0.6;

/// State of the Digits page.
#[derive(Default)]
pub struct DigitsScreen {
    begun: (u64, u64),
    looking: Option<Work<Found>>,
    cards: Vec<DigitCard>,
    /// For each channel, the share of the sampled frames that is read with the known glyphs, 0 to 1.
    known: Vec<(Channel, f64)>,
    label_file: LabelFile,
    learning: Option<Work<Learnt>>,
    lesson: Option<LessonView>,
    /// Whether the pilot has stopped the search of the recording.
    stopped: bool,
    /// Typed labels whose channel currently has no box.
    without_box: Vec<StoredLabel>,
    /// Whether the pilot labels readings although the known glyphs suffice.
    all_the_same: bool,
    /// Index of the image whose field gets the keyboard focus next; `None` if the focus stays where it is.
    focus: Option<usize>,
    /// Whether the setup's glyphs changed because of this page, so that the page must not start again.
    own_change: bool,
}

/// The result of searching the clip for images to label.
struct Found {
    asks: Vec<LabelRequest>,
    known: Vec<(Channel, f64)>,
    label_file: LabelFile,
    /// Labels that the pilot had typed before this search started.
    typed: Vec<StoredLabel>,
}

/// The result of learning the digits.
struct Learnt {
    lesson: learn::LearnedGlyphs,
    missing: Vec<char>,
    left_out_clips: Vec<String>,
    label_file: LabelFile,
    /// The setup, with each region's numbers of digits and decimals changed to those that the labels need.
    setup: LoadedSetup,
}

impl DigitsScreen {
    fn follow(&mut self, ctx: &egui::Context, shared: &Shared) {
        let now = (shared.recording_number, shared.setup_number);
        if self.begun == now {
            return;
        }
        let same_recording = self.begun.0 == now.0;
        self.begun = now;
        if std::mem::take(&mut self.own_change) {
            return;
        }
        // Typed labels are kept when boxes change.
        let typed = if same_recording { self.typed(shared) } else { Vec::new() };
        *self = Self { begun: now, ..Self::default() };
        if let (Some(clip), Some(setup)) = (shared.clip(), shared.setup.clone()) {
            let kept: Typed = shared.store.kept(clip, DRAFT).unwrap_or_default();
            let is_kept =
                |label: &StoredLabel| !typed.iter().any(|now| is_at(now, &label.channel, label.time_s));
            let kept: Vec<StoredLabel> = kept.labels.into_iter().filter(is_kept).collect();
            let (clip, typed) = (clip.to_owned(), [typed, kept].concat());
            let rights = Confinement::default().reading([&clip]).reading(setup.input_files());
            self.looking = Some(Work::start_confined(ctx, rights, move |_| look_at(&clip, &setup, typed)));
        }
    }

    /// The labels typed so far, including those whose channel currently has no box.
    fn typed(&self, shared: &Shared) -> Vec<StoredLabel> {
        let name = shared.clip().map(file_name).unwrap_or_default();
        let cards = self.cards.iter().filter(|card| !card.text.trim().is_empty());
        let label = |card: &DigitCard| StoredLabel {
            clip: name.clone(),
            channel: card.channel.clone(),
            time_s: card.time_s,
            text: card.text.trim().to_owned(),
            insisted: false,
        };
        cards.map(label).chain(self.without_box.iter().cloned()).collect()
    }

    fn take_found(&mut self, found: Found) {
        let Found { asks, known, label_file, typed } = found;
        (self.known, self.label_file) = (known, label_file);
        self.cards = asks.into_iter().map(DigitCard::of).collect();
        for label in typed {
            let card = self.cards.iter_mut().find(|card| is_at(&label, &card.channel, card.time_s));
            match card {
                Some(card) => card.text = label.text,
                None => self.without_box.push(label),
            }
        }
    }

    /// Learns the digits from earlier labels and from those typed now.
    fn learn(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        let (Some(clip), Some(setup)) = (shared.clip().map(Path::to_owned), shared.setup.clone()) else {
            return;
        };
        let mut label_file = self.label_file.clone();
        let name = file_name(&clip);
        for card in self.cards.iter().filter(|card| !card.text.trim().is_empty()) {
            let text = card.text.trim().to_owned();
            label_file
                .add(&name, &LabelledReading { channel: card.channel.clone(), time_s: card.time_s, text });
        }
        if label_file.labels.is_empty() {
            shared.wrong("nothing is typed yet: below some of the images, type the text that they show");
            return;
        }
        let before = self.label_file.clone();
        let rights = Confinement::default().reading([&clip]).reading(setup.input_files());
        let rights = rights.writing(&setup.path).writing(&setup.glyph_folder());
        let job = move |reporter: &mut Reporter| learnt(&clip, &setup, (label_file, &before), reporter);
        self.learning = Some(Work::start_confined(ctx, rights, job));
    }

    fn take_learnt(&mut self, ctx: &egui::Context, shared: &mut Shared, learnt: Learnt) {
        let Learnt { mut lesson, missing, left_out_clips, label_file, setup } = learnt;
        let asks = std::mem::take(&mut lesson.requests);
        self.label_file = label_file;
        let is_rejected = |card: &DigitCard| {
            lesson.rejected.iter().any(|rejected| {
                rejected.label.channel == card.channel && rejected.label.time_s == card.time_s
            })
        };
        // A rejected text stays, so that it can be corrected.
        let (rejected, others): (Vec<DigitCard>, Vec<DigitCard>) = std::mem::take(&mut self.cards)
            .into_iter()
            .filter(|card| card.text.trim().is_empty() || is_rejected(card))
            .partition(|card| !card.text.trim().is_empty());
        let asked = if !asks.is_empty() || missing.is_empty() {
            asks.into_iter().map(DigitCard::of).collect()
        } else {
            others
        };
        self.cards = rejected.into_iter().chain(asked).collect();
        self.lesson = Some(LessonView::of(ctx, &lesson, missing, left_out_clips));
        if let Some(clip) = shared.clip() {
            shared.store.forget(clip, DRAFT);
        }
        if let Err(error) = shared.store.remember(&setup) {
            shared.wrong(error);
        }
        self.own_change = true;
        shared.set_setup(Some(setup));
    }

    /// Whether no digits have been learned on this page so far, and the known glyphs read every channel in at least
    /// the share [`WELL_READ`] of the sampled frames.
    fn are_known(&self) -> bool {
        self.lesson.is_none() && self.known.iter().all(|(_, share)| *share >= WELL_READ)
    }

    /// Shows the share of the sampled frames in which each channel can be read with the built-in or learned glyphs.
    fn show_known(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        if self.lesson.is_some() {
            return;
        }
        let read = |(channel, share): &(Channel, f64)| format!("{} {:.0} %", channel.name(), 100.0 * share);
        let words: Vec<String> = self.known.iter().map(read).collect();
        let known = self.are_known();
        let head = if known {
            "This overlay can be read with the known glyphs: you need not label anything."
        } else {
            "Not all of this overlay can be read with the known glyphs: type the text of some of the images."
        };
        ui.label(RichText::new(head).strong());
        ui.label(format!(
            "Share of the sampled frames in which each channel can be read: {}.",
            words.join(", ")
        ));
        if !known || self.all_the_same {
            return;
        }
        ui.horizontal_wrapped(|ui| {
            if theme::main_button(ui, "Next: read the flight").clicked() {
                shared.go_to = Some(Page::Reading);
            }
            if ui.button("Label readings anyway").clicked() {
                self.all_the_same = true;
            }
        });
    }

    fn show_cards(&mut self, ui: &mut egui::Ui) {
        if self.cards.is_empty() {
            return;
        }
        ui.label(
            "Type the number as shown, with its point and sign, without the unit. Leave out what you cannot read. \
             Enter goes to the next picture. A handful is enough, as long as all ten digits are among them.",
        );
        let (focus, mut next, mut number) = (self.focus.take(), None, 0);
        for row in self.cards.chunk_by_mut(|one, other| one.channel == other.channel) {
            ui.add_space(4.0);
            let width = row.iter().map(DigitCard::width).fold(0.0, f32::max) + ui.spacing().item_spacing.x;
            let columns = ((ui.available_width() / width) as usize).max(1);
            for line in row.chunks_mut(columns) {
                ui.horizontal(|ui| {
                    for card in line {
                        if card.show(ui, focus == Some(number)) {
                            next = Some(number + 1);
                        }
                        number += 1;
                    }
                });
            }
        }
        self.focus = next.filter(|next| *next < self.cards.len());
        if self.focus.is_some() {
            ui.ctx().request_repaint();
        }
        let seen = self.seen();
        let unseen: String = ('0'..='9').filter(|digit| !seen.contains(*digit)).collect();
        ui.add_space(4.0);
        if unseen.is_empty() {
            ui.label("All ten digits are among your labels.");
        } else {
            ui.label(format!("Not among your labels yet: {}", spaced(&unseen)));
        }
    }

    /// Shows that the recording is being searched, or that the search was stopped; returns whether either is the case.
    fn show_looking(&mut self, ui: &mut egui::Ui, shared: &mut Shared) -> bool {
        if let Some(looking) = &self.looking {
            let words = "Scanning the recording";
            if progress::show(ui, None, words, "Stop looking") && looking.cancel() {
                self.looking = None;
                self.stopped = true;
            }
            return true;
        }
        if self.stopped && theme::main_button(ui, "Look through the recording").clicked() {
            self.begun = (self.begun.0, u64::MAX);
            self.follow(&ui.ctx().clone(), shared);
        }
        self.stopped
    }

    /// All characters that occur in labels: in earlier labels and in those typed now.
    fn seen(&self) -> String {
        let texts = self.label_file.labels.iter().map(|label| label.text.as_str());
        texts.chain(self.cards.iter().map(|card| card.text.as_str())).collect()
    }

    fn show_learning(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        ui.horizontal_wrapped(|ui| {
            let busy = self.learning.is_some();
            let typed = self.cards.iter().any(|card| !card.text.trim().is_empty());
            let words = "Learn these digits";
            ui.add_enabled_ui(!busy && (typed || !self.label_file.labels.is_empty()), |ui| {
                if (if typed { theme::main_button(ui, words) } else { ui.button(words) }).clicked() {
                    self.learn(ui.ctx(), shared);
                }
            });
            if let Some(learning) = &self.learning {
                let stop = progress::cancel(ui, "Stop learning; what you typed stays") && learning.cancel();
                ui.spinner();
                ui.label(match learning.progress().share {
                    Some(share) if share < 1.0 => {
                        format!("Getting the images from the recording, {:.0} %", 100.0 * share)
                    }
                    _ => "Learning".to_owned(),
                });
                if stop {
                    self.learning = None;
                }
            }
        });
    }

    fn show_lesson(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        match self.lesson.as_ref().and_then(|lesson| lesson.show(ui)) {
            Some(LessonAction::Read) => shared.go_to = Some(Page::Reading),
            Some(LessonAction::Insist(channel, time_s)) => {
                let clip = shared.clip().map(file_name).unwrap_or_default();
                self.label_file.insist(&clip, &channel, time_s);
                self.learn(ui.ctx(), shared);
            }
            Some(LessonAction::Correct(label)) => {
                let clip = shared.clip().map(file_name).unwrap_or_default();
                self.label_file.add(&clip, &label);
                self.learn(ui.ctx(), shared);
            }
            None => {}
        }
    }

    fn show_labels(&mut self, ui: &mut egui::Ui) {
        for label in &self.without_box {
            let (channel, at) = (label.channel.name(), theme::clock(label.time_s));
            let words = format!("Label not used while {channel} has no box: {} at {at}", label.text);
            ui.label(visible::line(&words));
        }
        if self.label_file.labels.is_empty() {
            return;
        }
        let mut forget = None;
        egui::CollapsingHeader::new(format!("Labels so far: {}", self.label_file.labels.len())).show(
            ui,
            |ui| {
                for label in &self.label_file.labels {
                    ui.horizontal_wrapped(|ui| {
                        let what =
                            format!("{} at {:.2} s of {}", label.channel.name(), label.time_s, label.clip);
                        let (what, text) = (visible::line(&what), visible::line(&label.text));
                        if ui.button("Remove").on_hover_text(format!("Remove {what}")).clicked() {
                            forget = Some(label.clone());
                        }
                        ui.label(format!("{text}  {what}"));
                    });
                }
            },
        );
        if let Some(label) = forget {
            self.label_file.forget(&label.clip, &label.channel, label.time_s);
        }
    }
}

impl Screen for DigitsScreen {
    fn take_results(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        if let Some(found) = shared.take_result(&mut self.looking) {
            self.take_found(found);
        }
        if let Some(learnt) = shared.take_result(&mut self.learning) {
            self.take_learnt(ctx, shared, learnt);
        }
    }

    fn show(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        if shared.setup.is_none() {
            shared.show_empty(ui, "Mark and save the regions first: then their digits can be taught.");
            return;
        }
        self.follow(&ui.ctx().clone(), shared);
        page(ui, |ui| {
            if self.show_looking(ui, shared) {
                return;
            }
            self.show_known(ui, shared);
            ui.add_space(6.0);
            if self.all_the_same || !self.are_known() {
                self.show_cards(ui);
                self.show_learning(ui, shared);
            }
            ui.add_space(6.0);
            self.show_lesson(ui, shared);
            self.show_labels(ui);
        });
    }

    fn save_unsaved(&mut self, shared: &Shared) {
        let Some(clip) = shared.clip().filter(|_| self.begun.0 == shared.recording_number) else { return };
        let labels = self.typed(shared);
        if !labels.is_empty() {
            // An error is ignored, because the window may be closing and then nobody could see a message.
            let _unkept = shared.store.keep(clip, DRAFT, &Typed { labels });
        }
    }
}

fn spaced(characters: &str) -> String {
    characters.chars().map(String::from).collect::<Vec<_>>().join(" ")
}

/// Searches the clip for images to label, and determines how well the known glyphs read it.
fn look_at(clip: &Path, setup: &LoadedSetup, typed: Vec<StoredLabel>) -> Result<Found, String> {
    let words = |error: &dyn std::fmt::Display| error.to_string();
    let mut open = open_clip(setup, clip).map_err(|error| words(&error))?;
    let sets = glyph_sets(setup).map_err(|error| words(&error))?;
    let sample = readings::sample(&mut open, &setup.setup).map_err(|error| words(&error))?;
    let regions = &setup.setup.regions;
    let recogniser = Recogniser::calibrate(regions, &sets, &sample);
    let label_file = LabelFile::load(&setup.glyph_folder()).map_err(|error| words(&error))?;
    let known = known_shares(setup, &recogniser, &sample);
    let mut asks = first_requests(regions, &sample);
    let again = requests_of(&mut open, regions, &typed, &asks).map_err(|error| words(&error))?;
    asks.extend(again);
    // Requests of one channel stay together on the page.
    asks.sort_by_key(|ask| regions.iter().position(|region| region.channel == ask.channel));
    Ok(Found { asks, known, label_file, typed })
}

/// For each channel, the share of the sampled frames in which `recogniser` reads it, 0 to 1.
fn known_shares(setup: &LoadedSetup, recogniser: &Recogniser, sample: &Sample) -> Vec<(Channel, f64)> {
    let regions = setup.setup.regions.iter().zip(&sample.regions).enumerate();
    let share = |(number, (region, patches)): (
        usize,
        (&pairspeed::setup::Region, &Vec<pairspeed::recognise::Patch>),
    )| {
        let is_read = |patch: &&pairspeed::recognise::Patch| {
            matches!(recogniser.read_patch(number, patch), RegionReading::Text { .. })
        };
        let read = patches.iter().filter(is_read).count();
        (region.channel.clone(), read as f64 / patches.len().max(1) as f64)
    };
    regions.map(share).collect()
}

/// Learns the digits, and saves the glyphs and the labels. Labels that cannot be used are saved only if they were
/// saved before.
fn learnt(
    clip: &Path,
    setup: &LoadedSetup,
    (mut label_file, before): (LabelFile, &LabelFile),
    reporter: &Reporter,
) -> Result<Learnt, String> {
    let mut setup = setup.clone();
    let adapted = adapted_to(&setup.setup.regions, &label_file);
    let is_adapted = adapted != setup.setup.regions;
    setup.setup.regions = adapted;
    let folder: PathBuf = setup.glyph_folder();
    let mut open = open_clip(&setup, clip).map_err(|error| error.to_string())?;
    let sample = readings::sample(&mut open, &setup.setup).map_err(|error| error.to_string())?;
    let found = fetch_examples(&mut open, &setup, &label_file, &reporter.share_reporter())
        .map_err(|error| error.to_string())?;
    let mut lesson = learn_glyphs(
        &setup.setup.camera.name,
        &setup.setup.regions,
        &found.examples,
        &label_file.insisted(),
        &sample,
    )
    .map_err(|error| error.to_string())?;
    lesson.rejected.extend(found.rejected);
    for RejectedLabel { label, .. } in &lesson.rejected {
        if before.labels.iter().all(|stored| stored.reading() != *label) {
            label_file.reject(&file_name(clip), label);
        }
    }
    if !reporter.commit() {
        return Err("cancelled: nothing was written".to_owned());
    }
    if is_adapted {
        setup.setup.save(&setup.path, Existing::Replace).map_err(|error| error.to_string())?;
    }
    lesson.set.save(&folder, Existing::ReplaceOwn).map_err(|error| error.to_string())?;
    label_file.save(&folder).map_err(|error| error.to_string())?;
    let mut missing: Vec<char> =
        lesson.missing.iter().flat_map(|missing| missing.digits.iter().copied()).collect();
    missing.sort_unstable();
    missing.dedup();
    let left_out_clips = found.missing_clips.into_iter().collect();
    Ok(Learnt { lesson, missing, left_out_clips, label_file, setup })
}
