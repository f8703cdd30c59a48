//! Asks the pilot about doubtful channels and digits of a camera setup that was found. Each question shows an image and
//! a guess, and can be answered with one key.

use std::path::Path;

use egui::{ComboBox, Event, Image, Key, Modifiers, RichText, TextEdit, TextureHandle, vec2};

use super::RegionsScreen;
use super::editor::RegionChange;
use crate::found::{Confirmed, FoundCamera};
use crate::questions::{Doubt, Question};
use crate::{Shared, progress, theme};
use pairspeed::glyphs::CHARACTERS;
use pairspeed::learn::{LabelFile, LabelledReading, adapted_to};
use pairspeed::model::channel::Channel;
use pairspeed::model::units::Unit;
use pairspeed::new_camera::is_same_box;
use pairspeed::setup::Region;

/// Height of the area of a question, the same for all questions, in points (set by judgement).
const HEIGHT: f32 = 158.0;

/// Height at which the image of a question is shown, in points (set by judgement).
const PICTURE: f32 = 52.0;

/// The state of the questions: the one shown and the answers so far.
#[derive(Default)]
pub(super) struct Asking {
    typed: String,
    picture: Option<(String, TextureHandle)>,
    /// Whether the text field of the question gets the keyboard focus when it is next shown.
    focus: bool,
    /// The texts that the pilot has confirmed or typed.
    confirmed: Vec<Confirmed>,
}

/// The pilot's answer to a question.
enum Answer {
    Yes,
    Text(String),
    Channel(Channel),
    Blank,
}

impl RegionsScreen {
    /// Shows the next question, or the progress of learning from the answers. The area stays after the last answer, so that
    /// nothing moves under the pointer.
    pub(super) fn show_question(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        let Some(found) = shared.found.as_ref().filter(|found| found.had_questions()) else { return };
        let (question, left) = (found.question().cloned(), found.questions_left());
        let area = vec2(ui.available_width(), HEIGHT);
        let answer = ui.allocate_ui(area, |ui| {
            ui.set_min_height(HEIGHT);
            match (&self.learning, &question) {
                (Some(learning), _) => {
                    let hint = "Stop learning; the texts that you typed are kept";
                    if progress::show(ui, None, "Learning from your answers", hint) && learning.cancel() {
                        self.learning = None;
                        self.agreed = false;
                    }
                    None
                }
                (None, Some(question)) => self.asking.show(ui, question, left),
                (None, None) => {
                    ui.label("All questions are answered.");
                    None
                }
            }
        });
        if let Some((answer, question)) = answer.inner.zip(question) {
            self.take_answer(ui.ctx(), shared, &question, answer);
        }
        ui.separator();
    }

    /// Handles the keys of the question shown, before those of the page.
    pub(super) fn take_question_keys(&mut self, ui: &egui::Ui, shared: &mut Shared) {
        if self.learning.is_some() {
            return;
        }
        let Some(question) = shared.found.as_ref().and_then(FoundCamera::question).cloned() else { return };
        if let Some(answer) = self.asking.take_keys(ui, &question) {
            self.take_answer(ui.ctx(), shared, &question, answer);
        }
    }

    fn take_answer(&mut self, ctx: &egui::Context, shared: &mut Shared, question: &Question, answer: Answer) {
        let region = self.editor.marks().regions.iter().position(|region| covers(region, question));
        match (&question.doubt, answer) {
            (Doubt::Name(_), Answer::Yes) => {}
            (Doubt::Name(_), Answer::Channel(channel)) => {
                region.into_iter().for_each(|number| self.name(number, &channel));
            }
            (Doubt::Name(_), _) => region.into_iter().for_each(|number| self.editor.remove(number)),
            (Doubt::Text(label), Answer::Yes) => self.confirm(question, label.clone()),
            (Doubt::Text(label), Answer::Text(text)) => {
                self.confirm(question, LabelledReading { text, ..label.clone() });
            }
            (Doubt::Text(_), _) => {}
        }
        self.asking = Asking { confirmed: std::mem::take(&mut self.asking.confirmed), ..Asking::default() };
        let Some(found) = &mut shared.found else { return };
        found.answered();
        if found.question().is_none() && !self.asking.confirmed.is_empty() {
            self.learn(ctx, shared);
        }
    }

    /// Gives the box with the index `number` the channel that the pilot chose. If another box had that channel, the two
    /// boxes swap channels.
    fn name(&mut self, number: usize, channel: &Channel) {
        self.editor.change(RegionChange::Once, |marks| {
            let Some(old) = marks.regions.get(number).map(|region| region.channel.clone()) else { return };
            for (other, region) in marks.regions.iter_mut().enumerate() {
                if other == number {
                    region.channel = channel.clone();
                } else if region.channel == *channel {
                    region.channel = old.clone();
                } else {
                    continue;
                }
                if region.channel.quantity() != region.unit.map(Unit::quantity) {
                    region.unit = region.channel.usual_unit();
                }
            }
        });
    }

    fn confirm(&mut self, question: &Question, label: LabelledReading) {
        self.asking.confirmed.push(Confirmed { rect: question.rect, label });
    }

    /// Starts to learn the glyphs again, now from the pilot's answers as well. First it changes the numbers of digits
    /// and decimals of the boxes so that they fit the answers.
    pub(super) fn learn(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        let confirmed = std::mem::take(&mut self.asking.confirmed);
        self.editor.change(RegionChange::Once, |marks| {
            let mut labels = LabelFile::default();
            for answer in &confirmed {
                labels.add("", &answer.reading(&marks.regions).unwrap_or_else(|| answer.label.clone()));
            }
            marks.regions = adapted_to(&marks.regions, &labels);
        });
        let (Some(setup), Some(clip)) = (self.setup(shared), shared.clip().map(Path::to_owned)) else {
            return;
        };
        let Some(found) = &mut shared.found else { return };
        self.learning = Some(found.learn(ctx, clip, setup, &confirmed));
    }

    /// If learning from the answers has ended, replaces the glyphs of the found setup by the learned ones.
    pub(super) fn take_learning_results(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        let camera = shared.take_result(&mut self.learning);
        if let Some((camera, found)) = camera.zip(shared.found.as_mut()) {
            found.set_learned(camera);
            shared.done("the digits have been learned from your answers");
            if std::mem::take(&mut self.agreed) {
                self.agree(ctx, shared);
            }
        }
        self.agreed &= self.learning.is_some();
    }
}

/// Whether a question is about `region`. The pilot may have moved the region's box since the question was made.
fn covers(region: &Region, question: &Question) -> bool {
    is_same_box(question.rect, region.rect)
}

impl Asking {
    /// Whether the pilot has given texts from which the glyphs have not been learned yet.
    pub(super) fn has_answers(&self) -> bool {
        !self.confirmed.is_empty()
    }

    fn show(&mut self, ui: &mut egui::Ui, question: &Question, left: usize) -> Option<Answer> {
        let words = question.words();
        let mut answer = None;
        ui.horizontal(|ui| {
            ui.label(RichText::new(&words).strong());
            ui.weak(if left > 1 { format!("and {} more", left - 1) } else { String::new() });
        });
        if self.picture.as_ref().is_none_or(|(name, _)| *name != words) {
            self.picture = Some((words.clone(), theme::texture(ui.ctx(), &words, &question.picture)));
        }
        if let Some((_, texture)) = &self.picture {
            let size = texture.size_vec2() * (PICTURE / texture.size_vec2().y.max(1.0));
            let size = size * (ui.available_width() / size.x.max(1.0)).min(1.0);
            ui.add(Image::new((texture.id(), size)).alt_text(format!("Picture: {words}")));
        }
        ui.add(egui::Label::new(RichText::new(&question.reasons).small()).wrap());
        ui.horizontal(|ui| {
            if theme::main_button(ui, "Yes").on_hover_text("y").clicked() {
                answer = Some(Answer::Yes);
            }
            match &question.doubt {
                Doubt::Text(_) => self.show_field(ui, &mut answer),
                Doubt::Name(channel) => show_channels(ui, channel, &mut answer),
            }
            if ui.button("Leave out").on_hover_text("Escape").clicked() {
                answer = Some(Answer::Blank);
            }
        });
        answer
    }

    fn show_field(&mut self, ui: &mut egui::Ui, answer: &mut Option<Answer>) {
        let label = ui.label("no, it is");
        let field = ui.add(TextEdit::singleline(&mut self.typed).desired_width(72.0)).labelled_by(label.id);
        self.typed.retain(|letter| CHARACTERS.contains(letter));
        if std::mem::take(&mut self.focus) {
            field.request_focus();
            put_cursor_at_the_end(ui.ctx(), field.id, self.typed.len());
        }
        if field.lost_focus() && ui.input_mut(|input| input.consume_key(Modifiers::NONE, Key::Enter)) {
            let typed = std::mem::take(&mut self.typed);
            *answer = (!typed.is_empty()).then_some(Answer::Text(typed));
        }
    }

    /// Handles the keys of a question: y accepts the guess, Escape leaves the box or label out, and digits start a text
    /// in the field. `None` if no key answers the question.
    fn take_keys(&mut self, ui: &egui::Ui, question: &Question) -> Option<Answer> {
        if ui.ctx().text_edit_focused() {
            return None;
        }
        let pressed = |key| ui.input_mut(|input| input.consume_key(Modifiers::NONE, key));
        if pressed(Key::Y) {
            return Some(Answer::Yes);
        }
        if pressed(Key::Escape) {
            return Some(Answer::Blank);
        }
        if matches!(question.doubt, Doubt::Text(_)) {
            let begun = ui.input_mut(|input| take_typed(&mut input.events));
            self.focus |= !begun.is_empty();
            self.typed += &begun;
        }
        None
    }
}

/// Removes typed digits from the events and returns them.
fn take_typed(events: &mut Vec<Event>) -> String {
    let mut typed = String::new();
    events.retain(|event| match event {
        Event::Text(text) if !text.is_empty() && text.chars().all(|letter| letter.is_ascii_digit()) => {
            typed += text;
            false
        }
        Event::Key { key, modifiers, .. } => !(modifiers.is_none() && (Key::Num0..=Key::Num9).contains(key)),
        _ => true,
    });
    typed
}

fn put_cursor_at_the_end(ctx: &egui::Context, field: egui::Id, letters: usize) {
    let mut state = egui::text_edit::TextEditState::load(ctx, field).unwrap_or_default();
    let end = egui::text::CCursor::new(letters);
    state.cursor.set_char_range(Some(egui::text::CCursorRange::one(end)));
    state.store(ctx, field);
}

fn show_channels(ui: &mut egui::Ui, guess: &Channel, answer: &mut Option<Answer>) {
    let label = ui.label("no, it is").id;
    let combo = ComboBox::from_id_salt("other channel").width(90.0).selected_text("choose");
    let shown = combo.show_ui(ui, |ui| {
        for channel in Channel::KNOWN.into_iter().filter(|channel| channel != guess) {
            let name = channel.name().to_owned();
            if ui.selectable_label(false, name).clicked() {
                *answer = Some(Answer::Channel(channel));
            }
        }
    });
    shown.response.labelled_by(label);
}

#[cfg(test)]
mod tests;
