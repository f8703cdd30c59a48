//! The page on which the pilot marks the regions of the overlay.

mod asking;
mod canvas;
mod change_words;
mod editor;
mod form;
mod playing;
mod saving;
mod tools;
mod viewer;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use egui::{Panel, RichText, ScrollArea, TextEdit};

use super::found::FoundCamera;
use super::work::{Reporter, Work};
use super::{Screen, Shared, dialogs, theme};
use asking::Asking;
use canvas::Canvas;
use editor::{Editor, Marks};
use form::Reads;
use pairspeed::confinement::Confinement;
use pairspeed::footage::{Clip, FootageError};
use pairspeed::new_camera::{NewCamera, propose_regions};
use pairspeed::setup::{Camera, LoadedSetup, Region, Setup, usual_setup};
use playing::Playing;
use viewer::{Frame, Key as ReadingKey, Reading, Viewer, Wanted};

/// Name under which unsaved edits of the regions are kept in the store.
pub(super) const DRAFT: &str = "regions";
/// Time from the last edit until unsaved edits are written to the store (set by judgement).
const KEPT_AFTER: Duration = Duration::from_secs(2);
/// Width of the side panel with the form: the smaller of a number of points and a share of the window's width (set by
/// judgement).
const SIDE: (f32, f32) = (350.0, 0.46);
/// Height of the side panel, in points, from which its buttons stay at the bottom while the rest scrolls; in a lower
/// panel the buttons scroll as well (set by judgement).
const MIN_HEIGHT_FIXED_BUTTONS: f32 = 400.0;

/// State of the Regions page, on which the pilot marks the regions.
#[derive(Default)]
pub struct RegionsScreen {
    /// Values of `recording_number` and `setup_number` in [`Shared`] when editing was started.
    begun: (u64, u64),
    editor: Editor,
    canvas: Canvas,
    viewer: Option<Viewer>,
    frame: Option<Arc<Frame>>,
    playing: Option<Playing>,
    texture: Option<egui::TextureHandle>,
    /// The time of the slider, in seconds.
    time_s: f64,
    reading: Option<Reading>,
    /// The last request to read a frame: the time of the frame in seconds, and the setup; `None` if there was none
    /// yet.
    asked: Option<(f64, Arc<ReadingKey>)>,
    proposing: Option<Work<Vec<Region>>>,
    asking: Asking,
    learning: Option<Work<NewCamera>>,
    /// Whether the pilot has accepted the found setup while the glyphs are still being learned from the answers.
    agreed: bool,
    choosing: Option<dialogs::Choice>,
    /// Path to which the setup will be saved, as shown in a text field.
    file: String,
    /// Whether the last attempt to save failed because the file at that path exists and is not the setup in use.
    in_the_way: bool,
    /// Unsaved edits that were kept in the last session; `None` if there are none.
    kept: Option<Setup>,
    edited: Option<LastEdit>,
}

/// The most recent edit, while it is not saved in the setup file.
struct LastEdit {
    marks: Marks,
    /// Time of the edit; `None` once the edit was written to the store.
    unkept_since: Option<Instant>,
}

impl RegionsScreen {
    /// The regions marked so far.
    pub(super) fn marked(&self) -> &[Region] {
        &self.editor.marks().regions
    }

    /// Starts editing anew if another recording or setup was opened.
    fn follow(&mut self, ctx: &egui::Context, shared: &Shared) {
        let now = (shared.recording_number, shared.setup_number);
        if self.begun == now {
            return;
        }
        let new_recording = self.begun.0 != now.0;
        self.begun = now;
        let Some(clip) = shared.clip() else { return };
        if new_recording {
            *self = Self { begun: now, ..Self::default() };
            self.viewer = Some(Viewer::new(ctx, clip));
            self.kept = shared.store.kept(clip, DRAFT);
            self.time_s = shared.length_s / 2.0;
            self.want(Wanted::Near(self.time_s));
        }
        let found = shared.found.as_ref().map(FoundCamera::setup);
        let marks = match shared.setup.as_ref().or(found) {
            Some(loaded) => marks_of(&loaded.setup),
            None => Marks { name: usual_name(clip), regions: Vec::new() },
        };
        let path = shared.setup.as_ref().map_or_else(|| usual_setup(clip), |loaded| loaded.path.clone());
        self.file = path.display().to_string();
        self.in_the_way = false;
        if found.is_some() && !self.editor.marks().regions.is_empty() {
            // The pilot has marked boxes in the meantime; these stay.
            let _added = self.editor.add_proposed(marks.regions);
        } else if new_recording || found.is_some() {
            self.editor.begin(marks);
        } else if *self.editor.saved() != marks {
            self.editor.take(marks);
        }
        if self.kept.as_ref().is_some_and(|kept| marks_of(kept) == *self.editor.marks()) {
            self.kept = None;
        }
    }

    fn want(&self, wanted: Wanted) {
        if let Some(viewer) = &self.viewer {
            viewer.want(wanted);
        }
    }

    /// Shows frames and readings that the viewer has finished, and requests the reading of the shown frame if it is
    /// missing.
    fn follow_viewer(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        let Some(viewer) = &self.viewer else { return };
        while let Some(frame) = viewer.frame() {
            self.playing.iter_mut().for_each(Playing::frame_arrived);
            match frame {
                Ok(frame) => {
                    self.texture = Some(match &frame.colours {
                        Some(colours) => theme::colour_texture(ctx, "frame", colours),
                        None => theme::texture(ctx, "frame", &frame.image),
                    });
                    self.time_s = frame.time_s;
                    self.frame = Some(frame);
                }
                Err(message) => shared.wrong(message),
            }
        }
        while let Some(reading) = viewer.reading() {
            self.reading = Some(reading);
        }
        let (Some(frame), false) = (&self.frame, self.canvas.is_dragging()) else { return };
        if self.editor.marks().regions.is_empty() {
            return;
        }
        let Some(setup) = self.setup(shared) else { return };
        let glyphs = shared.found.as_ref().map(|found| Arc::clone(found.glyphs()));
        let key = ReadingKey { setup, glyphs, glyphs_number: shared.setup_number };
        let is_asked = |(time_s, asked): &(f64, Arc<ReadingKey>)| *time_s == frame.time_s && **asked == key;
        if self.asked.as_ref().is_none_or(|asked| !is_asked(asked)) {
            let key = Arc::new(key);
            viewer.read(Arc::clone(frame), Arc::clone(&key));
            self.asked = Some((frame.time_s, key));
        }
    }

    /// The setup with the regions marked so far; `None` as long as no recording is open.
    fn setup(&self, shared: &Shared) -> Option<LoadedSetup> {
        let info = shared.info.as_ref()?;
        let Marks { name, regions } = self.editor.marks().clone();
        let current = shared.setup.as_ref().map(|loaded| &loaded.setup);
        let camera = Camera {
            name,
            frame: (info.width, info.height),
            glyphs: current.and_then(|setup| setup.camera.glyphs.clone()),
        };
        let aircraft = current.and_then(|setup| setup.aircraft.clone());
        Some(LoadedSetup {
            setup: Setup { camera, aircraft, regions },
            path: PathBuf::from(self.file.trim()),
        })
    }

    fn propose(&mut self, ctx: &egui::Context, shared: &Shared) {
        if let (Some(clip), None) = (shared.clip(), &self.proposing) {
            let clip = clip.to_owned();
            let rights = Confinement::default().reading([&clip]);
            self.proposing =
                Some(Work::start_confined(ctx, rights, move |reporter| proposals(&clip, reporter)));
        }
    }

    fn load(&self, shared: &mut Shared, path: &Path) {
        let Some(info) = shared.info.clone() else { return };
        let loaded = LoadedSetup::load(path);
        let clip = info.path.display().to_string();
        match loaded.and_then(|setup| setup.check_frame(&clip, info.width, info.height).map(|()| setup)) {
            Ok(setup) => shared.set_setup(Some(setup)),
            Err(error) => shared.wrong(error),
        }
    }

    fn show_side(&mut self, ui: &mut egui::Ui, shared: &Shared) {
        ui.spacing_mut().item_spacing.y = 4.0;
        let mut name = self.editor.marks().name.clone();
        if show_line(ui, "Camera", &mut name) {
            self.editor.change(editor::RegionChange::Field(usize::MAX, "name"), |marks| marks.name = name);
        }
        if self.editor.marks().regions.is_empty() {
            ui.label(
                "Let the boxes be proposed, or drag one around each number on the picture: as wide as its widest \
                 value, without icon and unit letters. Only the speed is needed; voltage, altitude and throttle \
                 improve the result.",
            );
        } else {
            let at_s = self.reading.as_ref().map_or(self.time_s, |reading| reading.time_s);
            let head = match reads(self.reading.as_ref(), self.asked.as_ref()) {
                Reads::Waiting => "Calibrating with these boxes …".to_owned(),
                _ => format!("What the boxes read at {}", theme::clock(at_s)),
            };
            ui.label(RichText::new(head).strong());
            let reads = reads(self.reading.as_ref(), self.asked.as_ref());
            form::show_list(ui, &mut self.editor, &reads, shared.found.as_ref());
            shared.found.iter().for_each(|found| show_missing(ui, found));
            ui.separator();
            form::show_form(ui, &mut self.editor);
        }
    }

    /// Writes unsaved edits to the store, [`KEPT_AFTER`] after the last edit.
    fn keep_edits(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        if !self.editor.is_unsaved() {
            self.edited = None;
            return;
        }
        match &self.edited {
            Some(edit) if edit.marks == *self.editor.marks() => {}
            _ => {
                let marks = self.editor.marks().clone();
                self.edited = Some(LastEdit { marks, unkept_since: Some(Instant::now()) });
                ctx.request_repaint_after(KEPT_AFTER);
            }
        }
        let unkept_since = self.edited.as_ref().and_then(|edit| edit.unkept_since);
        if unkept_since.is_some_and(|since| since.elapsed() >= KEPT_AFTER) {
            self.save_unsaved(shared);
            if let Some(edit) = &mut self.edited {
                edit.unkept_since = None;
            }
        }
    }
}

impl Screen for RegionsScreen {
    fn take_results(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        let files = shared.take_result(&mut self.choosing).unwrap_or_default();
        files.iter().for_each(|file| self.load(shared, file));
        if let Some(regions) = shared.take_result(&mut self.proposing) {
            match self.editor.add_proposed(regions) {
                0 => shared.wrong("no further numbers were found: draw their boxes yourself"),
                1 => shared.done("1 box proposed: check its channel, unit and decimals"),
                added => {
                    shared.done(format!("{added} boxes proposed: check their channels, units and decimals"));
                }
            }
        }
        self.take_learning_results(ctx, shared);
        self.keep_edits(ctx, shared);
    }

    fn show(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        let Some(info) = shared.info.clone() else {
            shared.show_empty(ui, "Open a recording first: then its regions can be marked.");
            return;
        };
        let ctx = ui.ctx().clone();
        self.follow(&ctx, shared);
        self.follow_viewer(&ctx, shared);
        self.play_on(&ctx, shared);
        self.take_question_keys(ui, shared);
        self.take_keys(ui, shared);
        self.show_kept(ui, shared);
        self.show_tools(ui, shared);
        let width = SIDE.0.min(SIDE.1 * ui.available_width());
        Panel::right("regions side").exact_size(width).resizable(false).show(ui, |ui| {
            // In a low window, or with large type, the buttons for saving scroll with the rest; Ctrl+S always
            // saves.
            let is_low = ui.available_height() < MIN_HEIGHT_FIXED_BUTTONS;
            if !is_low {
                Panel::bottom("saving").show(ui, |ui| self.show_saving(ui, shared));
            }
            ScrollArea::both().auto_shrink(false).show(ui, |ui| {
                self.show_question(ui, shared);
                self.show_side(ui, shared);
                if is_low {
                    self.show_saving(ui, shared);
                }
            });
        });
        Panel::bottom("scrub").show_separator_line(false).show(ui, |ui| self.show_scrub(ui, shared));
        let picture = self.texture.as_ref().map(egui::TextureHandle::id);
        self.canvas.show(ui, picture, (info.width, info.height), &mut self.editor);
    }

    fn save_unsaved(&mut self, shared: &Shared) {
        if self.begun.0 != shared.recording_number || !self.editor.is_unsaved() {
            return;
        }
        if let (Some(clip), Some(loaded)) = (shared.clip(), self.setup(shared)) {
            // An error is ignored, because the window may be closing and then nobody could see a message.
            let _unkept = shared.store.keep(clip, DRAFT, &loaded.setup);
        }
    }
}

/// Shows a field with its name to the left; returns whether it was changed.
fn show_line(ui: &mut egui::Ui, name: &str, text: &mut String) -> bool {
    let line = ui.horizontal(|ui| {
        let label = ui.label(name);
        ui.add(TextEdit::singleline(text).desired_width(ui.available_width() - 12.0)).labelled_by(label.id)
    });
    line.inner.changed()
}

/// Shows which digits are not known, if any.
fn show_missing(ui: &mut egui::Ui, found: &FoundCamera) {
    let missing: Vec<String> = found.missing_digits().iter().map(char::to_string).collect();
    if !missing.is_empty() {
        let words = format!(
            "The shapes of these digits are not certain: {}. Readings with them stay blank, unless you label some on the Digits page.",
            missing.join(" ")
        );
        ui.label(RichText::new(words).color(theme::colours(ui).unsure));
    }
}

/// Returns what to show beside the boxes: their readings, the error of reading them, or that they are still being read.
/// `asked` is the last request: its time in seconds and its key. A reading with another key was made for other boxes
/// and is ignored.
fn reads<'a>(reading: Option<&'a Reading>, asked: Option<&(f64, Arc<ReadingKey>)>) -> Reads<'a> {
    let same_boxes = |reading: &&Reading| asked.is_some_and(|(_, key)| reading.key == *key);
    match reading.filter(same_boxes).map(|reading| &reading.shown) {
        Some(Ok(shown)) => Reads::Shown(shown),
        Some(Err(message)) => Reads::Failed(message),
        None => Reads::Waiting,
    }
}

fn marks_of(setup: &Setup) -> Marks {
    Marks { name: setup.camera.name.clone(), regions: setup.regions.clone() }
}

fn usual_name(clip: &Path) -> String {
    format!("{} camera", clip.file_stem().unwrap_or_default().to_string_lossy())
}

fn proposals(clip: &Path, reporter: &Reporter) -> Result<Vec<Region>, FootageError> {
    let mut clip = Clip::open(clip)?;
    Ok(propose_regions(&mut clip, &reporter.share_reporter())?.regions)
}
