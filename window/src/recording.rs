//! The page on which the pilot chooses the recording, by dropping its clips on the window, picking them in a dialog, or
//! typing a path. Then the clips are opened.

use std::path::PathBuf;

use egui::{Button, Key, RichText, TextEdit};
use image::{DynamicImage, RgbImage};

use super::found::{Search, search};
use super::store::copy_setup;
use super::work::{Outcome, Work};
use super::{Page, Screen, Shared, dialogs, page, progress, theme, wording};
use pairspeed::confinement::Confinement;
use pairspeed::files::{Existing, file_name};
use pairspeed::footage::{ClipInfo, FootageError, FrameSource as _, Recording, frames_near};
use pairspeed::setup::{LoadedSetup, Setup, usual_setup};
use pairspeed::visible;

/// Height at which an image of the recording is shown, in points (set by judgement).
const STILL_HEIGHT: f32 = 260.0;
/// Width that is reserved for the buttons to the right of the field for the path, in points (set by judgement).
const BUTTONS: f32 = 240.0;

/// State of the page on which the pilot chooses the recording.
#[derive(Default)]
pub struct RecordingScreen {
    /// The path as typed.
    path: String,
    choosing: Option<dialogs::Choice>,
    opening: Option<(Vec<PathBuf>, Work<Opened>)>,
    still: Option<egui::TextureHandle>,
    /// Facts about the recording, in sentences.
    facts: Vec<String>,
    /// Job that looks for a camera setup that fits the recording; `None` if no such job runs.
    searching: Option<Work<Search>>,
    /// A remembered setup that fits the recording and is offered to the pilot; `None` if there is none.
    offered: Option<LoadedSetup>,
    /// Whether the last session left unsaved edits of this recording's regions.
    unsaved: bool,
}

/// A recording that was opened.
struct Opened {
    clips: Vec<PathBuf>,
    info: ClipInfo,
    length_s: f64,
    still: Option<RgbImage>,
}

impl RecordingScreen {
    /// Opens clips in the background. The current recording stays open until the new clips have been checked to be one
    /// flight.
    pub(super) fn open(&mut self, ctx: &egui::Context, clips: Vec<PathBuf>) {
        let (theirs, rights) = (clips.clone(), Confinement::default().reading(&clips));
        self.opening = Some((clips, Work::start_confined(ctx, rights, move |_| opened(theirs))));
    }

    fn take(&mut self, ctx: &egui::Context, shared: &mut Shared, opened: Opened) {
        let Opened { clips, info, length_s, still } = opened;
        self.facts = facts(&info, length_s, clips.len());
        self.still = still.map(|still| theme::colour_texture(ctx, "still", &still));
        self.offered = None;
        self.stop_searching();
        shared.notice = None;
        shared.take_recording(clips, info.clone(), length_s);
        let clip = info.path.clone();
        self.unsaved = shared.store.kept::<Setup>(&clip, super::regions::DRAFT).is_some();
        let beside = usual_setup(&clip);
        if beside.exists() {
            match LoadedSetup::load(&beside).and_then(|setup| {
                setup.check_frame(&clip.display().to_string(), info.width, info.height)?;
                Ok(setup)
            }) {
                Ok(setup) => shared.set_setup(Some(setup)),
                Err(error) => shared.wrong(error),
            }
        }
        if shared.setup.is_none() && !beside.exists() {
            let cameras = shared.store.cameras((info.width, info.height));
            self.searching = Some(search(ctx, clip, cameras));
        }
    }

    fn stop_searching(&mut self) {
        if let Some(searching) = self.searching.take() {
            // A search writes nothing, so it does not matter whether it has just ended.
            let _ended = searching.cancel();
        }
    }

    /// Uses the result of the search for a camera setup. A setup beside the recording is used at once, a remembered one
    /// is offered to the pilot, and a new one is shown on the Regions page.
    fn take_camera(&mut self, shared: &mut Shared, camera: Search) {
        match camera {
            Search::Beside(setup) => {
                shared
                    .done(format!("the regions of the setup {} fit this recording", file_name(&setup.path)));
                shared.set_setup(Some(setup));
            }
            Search::Remembered(setup) => self.offered = Some(setup),
            Search::New(camera) => {
                shared.set_found(*camera);
                shared.go_to = Some(Page::Regions);
            }
        }
    }

    fn show_choice(&mut self, ui: &mut egui::Ui, shared: &Shared) {
        let colours = theme::colours(ui);
        let frame = egui::Frame::new().fill(colours.panel).inner_margin(16).corner_radius(4);
        let frame = frame.stroke(egui::Stroke::new(1.5, colours.line));
        frame.show(ui, |ui| {
            ui.set_width(ui.available_width());
            ui.heading("Drop the recording of a flight here");
            ui.label(
                "The recorder's own file, straight from its card: AVI, MP4, MOV, MKV or TS. It is read where it \
                 is, never copied and never changed. Drop the consecutive files of one flight together.",
            );
            if on_wayland() {
                ui.label("Where dropping does nothing, as on some Wayland desktops, choose the file instead.");
            }
            ui.horizontal_wrapped(|ui| {
                if theme::main_button(ui, "Choose a recording…").clicked() && self.choosing.is_none() {
                    self.choosing = Some(dialogs::clips(ui.ctx()));
                }
                let label = ui.label("or its path:");
                let width = (ui.available_width() - BUTTONS).clamp(140.0, 460.0);
                let field = TextEdit::singleline(&mut self.path).desired_width(width).hint_text("path of the file");
                let field = ui.add(field).labelled_by(label.id);
                let entered = field.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
                let path = Some(self.path.trim()).filter(|path| !path.is_empty()).map(PathBuf::from);
                let open = ui.add_enabled(path.is_some(), Button::new("Open"));
                let goes_on = path.as_ref().is_some_and(|path| !shared.clips.is_empty() && !shared.clips.contains(path));
                let add = ui
                    .add_enabled(goes_on, Button::new("Add to this flight"))
                    .on_hover_text("This file continues the flight that is already open");
                let chosen = if add.clicked() {
                    path.map(|path| shared.clips.iter().cloned().chain([path]).collect())
                } else {
                    path.filter(|_| open.clicked() || entered).map(|path| vec![path])
                };
                if let Some(clips) = chosen {
                    self.open(ui.ctx(), clips);
                }
            });
            self.show_opening(ui);
        });
    }

    /// Shows which recording is being opened. The row is always there, so that nothing moves when it fills.
    fn show_opening(&mut self, ui: &mut egui::Ui) {
        ui.horizontal(|ui| {
            ui.set_min_height(ui.spacing().interact_size.y);
            let Some((clips, opening)) = &self.opening else { return };
            let name = clips.first().map(|clip| wording::shown(clip)).unwrap_or_default();
            let stop = progress::cancel(ui, "Keep the recording that is open") && opening.cancel();
            ui.spinner();
            ui.label(format!("Opening {name}"));
            if stop {
                self.opening = None;
            }
        });
    }

    fn show_recording(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        ui.add_space(8.0);
        ui.horizontal_wrapped(|ui| {
            if let Some(still) = &self.still {
                let size = still.size_vec2() * (STILL_HEIGHT / still.size_vec2().y.max(1.0));
                let size = size * (ui.available_width() / size.x).min(1.0);
                let image = egui::Image::new((still.id(), size))
                    .alt_text("A picture from the middle of the recording");
                ui.add(image);
            }
            ui.vertical(|ui| {
                ui.set_max_width(ui.available_width().max(240.0));
                for fact in &self.facts {
                    ui.label(fact);
                }
                ui.add_space(6.0);
                self.show_setup(ui, shared);
            });
        });
    }

    fn show_setup(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        if self.unsaved {
            ui.label("The regions that you marked last time, but did not save, are kept; the Regions page offers them again.");
        }
        if let Some(setup) = &shared.setup {
            let channels: Vec<&str> =
                setup.setup.regions.iter().map(|region| region.channel.name()).collect();
            let words = format!(
                "The regions of this recording are known (from {}): {}.",
                file_name(&setup.path),
                channels.join(", ")
            );
            ui.label(visible::line(&words));
            setup.warnings().iter().for_each(|doubt| {
                ui.label(RichText::new(visible::line(doubt)).color(theme::colours(ui).unsure));
            });
            ui.horizontal_wrapped(|ui| {
                let read = theme::main_button(ui, "Read the flight").on_hover_text("Enter");
                if read.clicked() || (self.opening.is_none() && progress::agrees(ui, None)) {
                    shared.read_flight();
                }
                if ui.button("Look at the regions first").clicked() {
                    shared.go_to = Some(Page::Regions);
                }
            });
            return;
        }
        if let Some(searching) = &self.searching {
            let share = searching.progress().share.unwrap_or(0.0);
            let words = if share < 1.0 { "Looking for the readouts" } else { "Deciphering their digits" };
            if progress::show(ui, Some(share), words, "Stop looking; boxes can be marked by hand") {
                self.stop_searching();
            }
        } else if let Some(setup) = self.offered.clone() {
            let camera = visible::line(&setup.setup.camera.name);
            ui.label(format!("A known camera setup fits: with \"{camera}\" the speed can be read here."));
            let words = format!("Use the regions of \"{camera}\"");
            let clicked = theme::main_button(ui, &words).on_hover_text("Enter").clicked();
            if clicked || (self.opening.is_none() && progress::agrees(ui, None)) {
                self.use_camera(shared, &setup);
            }
        }
        let (words, is_main) = match &shared.found {
            Some(_) => ("Next: see what was found", true),
            None => ("Mark the regions by hand", self.searching.is_none() && self.offered.is_none()),
        };
        if (if is_main { theme::main_button(ui, words) } else { ui.button(words) }).clicked() {
            self.stop_searching();
            shared.go_to = Some(Page::Regions);
        }
    }

    /// Copies a remembered setup to the folder of the recording. If that is not possible, the setup is used
    /// where it is.
    fn use_camera(&mut self, shared: &mut Shared, setup: &LoadedSetup) {
        let Some(clip) = shared.clip() else { return };
        let used = match copy_setup(setup, &usual_setup(clip), Existing::Keep) {
            Ok(copy) => copy,
            Err(_) => setup.clone(),
        };
        shared.done(format!("the regions of \"{}\" are used for this recording", used.setup.camera.name));
        shared.set_setup(Some(used));
        self.offered = None;
    }
}

impl Screen for RecordingScreen {
    fn take_results(&mut self, ctx: &egui::Context, shared: &mut Shared) {
        if let Some(clips) = shared.take_result(&mut self.choosing).filter(|clips| !clips.is_empty()) {
            self.open(ctx, clips);
        }
        let outcome = self.opening.as_mut().and_then(|(_, work)| work.outcome());
        if let Some(outcome) = outcome {
            self.opening = None;
            match outcome {
                Outcome::Done(opened) => self.take(ctx, shared, opened),
                Outcome::Failed(message) => shared.wrong(message),
            }
        }
        if let Some(camera) = shared.take_result(&mut self.searching) {
            self.take_camera(shared, camera);
        }
    }

    fn show(&mut self, ui: &mut egui::Ui, shared: &mut Shared) {
        page(ui, |ui| {
            self.show_choice(ui, shared);
            if shared.info.is_some() {
                self.show_recording(ui, shared);
            }
            ui.add_space(12.0);
            show_cautions(ui);
        });
    }
}

fn show_cautions(ui: &mut egui::Ui) {
    ui.separator();
    ui.label(RichText::new("Before you fly, and after").strong());
    for caution in [
        "For use after landing, never in flight.",
        "Take the propeller off before working on the bench.",
        "Never charge LiPo packs unattended, never fly them flat.",
        "Stay within the airframe's limits.",
        "The local rules and those of your flying club come first.",
    ] {
        ui.label(format!("•  {caution}"));
    }
}

fn on_wayland() -> bool {
    std::env::var_os("WAYLAND_DISPLAY").is_some_and(|name| !name.is_empty())
}

/// Opens clips and takes an image from the middle of the first.
fn opened(clips: Vec<PathBuf>) -> Result<Opened, FootageError> {
    let info = Recording::open(&clips)?.info().clone();
    let mut first = pairspeed::footage::Clip::open(&info.path)?;
    let length_s = frames_near(&mut first, &[f64::MAX])?.first().map_or(0.0, |last| last.time_s);
    let grey = frames_near(&mut first, &[length_s / 2.0])?.pop().map(|frame| frame.image);
    let still = first.colour_image().or(grey.map(|grey| DynamicImage::from(grey).into_rgb8()));
    Ok(Opened { clips, info, length_s, still })
}

fn facts(info: &ClipInfo, length_s: f64, clips: usize) -> Vec<String> {
    let name = file_name(&info.path);
    let name = visible::line(&name);
    let mut facts = vec![
        format!("{name}: {} in {}, {} x {} pixels", info.codec, info.container, info.width, info.height),
        match info.nominal_rate_hz {
            Some(rate_hz) => {
                format!("length {}, stated rate {rate_hz:.2} frames per second", theme::clock(length_s))
            }
            None => format!("{} long", theme::clock(length_s)),
        },
    ];
    if clips > 1 {
        facts.push(format!("{clips} clips of one flight, in this order"));
    }
    facts
}
