//! The frame shown: its image, its boxes, and the reading of each box.

use std::path::PathBuf;

use egui::{Color32, Image, ImageSource, Rect, Sense, Stroke, StrokeKind, TextureHandle};
use egui::{Ui, Vec2, load::SizedTexture, pos2};
use image::{DynamicImage, RgbImage};

use super::action::LegAction;
use super::timeline::stepped;
use super::view_model::{ViewModel, symbol};
use crate::theme;
use crate::work::LatestWinsWorker;
use pairspeed::confinement::Confinement;
use pairspeed::flight::Flight;
use pairspeed::footage::{FootageError, FrameSource as _, LumaImage as _, Recording};
use pairspeed::geometry::PixelRect;
use pairspeed::model::channel::Channel;
use pairspeed::output::blanks::BlankReasons;
use pairspeed::output::numbers;
use pairspeed::output::words::with_symbol;
use pairspeed::series::ChannelReadings;
use pairspeed::visible;

/// Number of frame pixels that are shown on each side of a box (set by judgement).
const AROUND_PX: u32 = 6;
/// Height at which a box that is cut out of the frame is shown, in points (set by judgement).
const CUT_OUT: f32 = 36.0;
/// Width and height of the area for a box with its reading, in points (set by judgement).
const BOX: Vec2 = Vec2::new(112.0, 84.0);

/// A fetched frame: its time in seconds, and its image or the reason why it cannot be shown.
type FetchedFrame = (f64, Result<RgbImage, String>);

/// Fetches frames in the background and keeps the last one.
pub(super) struct Pictures {
    worker: LatestWinsWorker<f64, FetchedFrame>,
    asked_s: Option<f64>,
    shown: Option<(f64, Result<TextureHandle, String>)>,
    /// The channel whose reading was clicked; `None` if no reading was clicked.
    channel: Option<Channel>,
}

impl Pictures {
    pub fn new(ctx: &egui::Context, clips: &[PathBuf]) -> Self {
        let (clips, rights) = (clips.to_vec(), Confinement::default().reading(clips));
        let mut open: Option<Recording> = None;
        let worker = LatestWinsWorker::spawn_confined(ctx, rights, move |time_s, answer| {
            let fetched = fetched(&mut open, &clips, time_s).map_err(|error| error.to_string());
            if fetched.is_err() {
                open = None;
            }
            answer((time_s, fetched));
        });
        Self { worker, asked_s: None, shown: None, channel: None }
    }

    /// Requests the frame at a time in seconds; it is shown once it has been fetched. `channel` is the channel
    /// whose reading was clicked; `None` keeps the one that was clicked before.
    pub fn look_at(&mut self, time_s: f64, channel: Option<Channel>) {
        self.channel = channel.or(self.channel.take());
        self.asked_s = Some(time_s);
        self.worker.submit(time_s);
    }

    /// Takes the frames that were fetched since the last call, and keeps the last of them to be shown.
    pub fn take_results(&mut self, ctx: &egui::Context) {
        while let Some((time_s, fetched)) = self.worker.answer() {
            let texture = fetched.map(|picture| theme::colour_texture(ctx, "frame looked at", &picture));
            self.shown = Some((time_s, texture));
        }
    }

    /// Whether the frame shown is the one that was requested last.
    pub fn is_settled(&self) -> bool {
        self.asked_s == self.shown.as_ref().map(|(time_s, _)| *time_s)
    }

    /// Shows the frame, and each of its boxes with the reading there.
    pub fn show(&self, ui: &mut Ui, view_model: &ViewModel<'_>, actions: &mut Vec<LegAction>) {
        let (Some(index), Some(shown_frame_s)) = (view_model.shown_frame, view_model.shown_frame_s()) else {
            return;
        };
        ui.horizontal_top(|ui| {
            if let Some((_, Ok(texture))) = &self.shown {
                self.show_frame(ui, view_model, texture);
            }
            ui.vertical(|ui| {
                ui.horizontal_wrapped(|ui| self.show_head(ui, view_model, shown_frame_s, actions));
                match &self.shown {
                    Some((_, Ok(texture))) => self.show_boxes(ui, view_model, index, texture),
                    Some((_, Err(reason))) => {
                        ui.colored_label(
                            theme::colours(ui).wrong,
                            format!("No picture: {}", visible::line(reason)),
                        );
                    }
                    None => {}
                }
            });
        });
    }

    fn show_head(
        &self,
        ui: &mut Ui,
        view_model: &ViewModel<'_>,
        shown_frame_s: f64,
        actions: &mut Vec<LegAction>,
    ) {
        ui.strong(format!("Frame at {shown_frame_s:.2} s"));
        for (name, steps, hint) in [("Previous", -1, "The frame before"), ("Next", 1, "The frame after")] {
            if ui.button(name).on_hover_text(hint).clicked() {
                actions.push(stepped(view_model, steps, None));
            }
        }
        if !self.is_settled() {
            ui.spinner();
        }
    }

    fn show_frame(&self, ui: &mut Ui, view_model: &ViewModel<'_>, texture: &TextureHandle) {
        let size = texture.size_vec2();
        let height = (ui.available_height() - 4.0).clamp(90.0, 400.0);
        let shown = Vec2::new(size.x * height / size.y.max(1.0), height);
        let image = Image::new(ImageSource::Texture(SizedTexture::new(texture.id(), shown)));
        let (area, response) = ui.allocate_exact_size(shown, Sense::hover());
        image.paint_at(ui, area);
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, "The frame shown"));
        let scale = shown / size;
        for region in &view_model.flight.setup.regions {
            let pixels = region.rect;
            let at = area.min + Vec2::new(pixels.left as f32, pixels.top as f32) * scale;
            let rect = Rect::from_min_size(at, Vec2::new(pixels.width as f32, pixels.height as f32) * scale);
            let pointed_at = self.channel.as_ref() == Some(&region.channel);
            let colour = if pointed_at { theme::YELLOW } else { Color32::from_gray(200) };
            let stroke = Stroke::new(if pointed_at { 2.0 } else { 1.0 }, colour);
            ui.painter().rect_stroke(rect, 0.0, stroke, StrokeKind::Outside);
        }
    }

    /// Shows the boxes with their readings, the clicked channel first.
    fn show_boxes(&self, ui: &mut Ui, view_model: &ViewModel<'_>, index: usize, texture: &TextureHandle) {
        let mut regions: Vec<_> = view_model.flight.setup.regions.iter().collect();
        regions.sort_by_key(|region| self.channel.as_ref() != Some(&region.channel));
        egui::ScrollArea::vertical().id_salt("boxes").show(ui, |ui| {
            ui.horizontal_wrapped(|ui| {
                for region in regions {
                    let readout = view_model.flight.series.readings.channel(&region.channel);
                    let (value, sure) = readout
                        .map_or_else(Default::default, |readout| in_words(view_model.flight, readout, index));
                    ui.allocate_ui(BOX, |ui| {
                        ui.vertical(|ui| {
                            ui.spacing_mut().item_spacing.y = 2.0;
                            ui.set_width(BOX.x);
                            ui.strong(format!("{} {value}", region.channel.name()));
                            cut_out(ui, region.rect, texture);
                            ui.small(sure);
                        });
                    });
                }
            });
        });
    }
}

/// Shows a box of the frame, enlarged, with a few pixels around it.
fn cut_out(ui: &mut Ui, rect: PixelRect, texture: &TextureHandle) {
    let size = texture.size_vec2();
    let (left, top) = (rect.left.saturating_sub(AROUND_PX) as f32, rect.top.saturating_sub(AROUND_PX) as f32);
    let right = (rect.right() as f32 + AROUND_PX as f32).min(size.x);
    let bottom = (rect.bottom() as f32 + AROUND_PX as f32).min(size.y);
    if right <= left || bottom <= top {
        return;
    }
    let part = Rect::from_min_max(pos2(left / size.x, top / size.y), pos2(right / size.x, bottom / size.y));
    let shown = Vec2::new((right - left) * CUT_OUT / (bottom - top), CUT_OUT);
    let (area, _) = ui.allocate_exact_size(shown, Sense::hover());
    Image::new(ImageSource::Texture(SizedTexture::new(texture.id(), shown))).uv(part).paint_at(ui, area);
}

/// The reading of a channel in the frame with index `index` in words, and the reading's confidence or the reason why
/// the reading is blank.
fn in_words(flight: &Flight, readout: &ChannelReadings, index: usize) -> (String, String) {
    match readout.trusted(index) {
        Some((value, confidence)) => {
            let text = numbers::shown(value, usize::from(readout.decimals));
            let percent = (1000.0 * f64::from(confidence)).floor() / 10.0;
            (with_symbol(&text, symbol(readout)), format!("confidence {percent:.1} %"))
        }
        None => {
            let reason = BlankReasons::of(flight, readout).words(readout.outcome(index));
            ("-".to_owned(), format!("left blank: {reason}"))
        }
    }
}

fn fetched(open: &mut Option<Recording>, clips: &[PathBuf], time_s: f64) -> Result<RgbImage, FootageError> {
    let recording = match open {
        Some(recording) => recording,
        None => open.insert(Recording::open(clips)?),
    };
    recording.seek(time_s)?;
    let grey = recording.next_frame()?.map(|frame| frame.luma.to_image()).unwrap_or_default();
    Ok(recording.colour_image().unwrap_or_else(|| DynamicImage::from(grey).into_rgb8()))
}
