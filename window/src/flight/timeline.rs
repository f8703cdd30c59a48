//! The flight over time: readings as dots, the smoothed speed as a line, and the legs in their colours.

use egui::{
    Color32, EventFilter, Key, Modifiers, PointerButton, Pos2, Role, Sense, TextStyle, Ui, Vec2, WidgetInfo,
};
use egui_plot::{
    GridMark, Line, LineStyle, Plot, PlotBounds, PlotPoint, PlotTransform, PlotUi, Points, Span, VLine,
};

use super::action::LegAction;
use super::ends;
use super::view_model::{ViewModel, colour_of, symbol};
use crate::theme::{self, Colours};
use pairspeed::model::channel::Channel;
use pairspeed::output::axis::Axis;
use pairspeed::output::decimation::{dots, lines};
use pairspeed::output::numbers;
use pairspeed::series::ChannelReadings;

/// Height of the row of leg names, in points (set by judgement).
const RIBBON: f32 = 26.0;
/// Minimum width of the space for the numbers of the vertical axes, in points (set by judgement).
const AXIS_WIDTH: f32 = 46.0;
/// Maximum distance of a click from the reading that it selects, in points (set by judgement).
const CLICK_DISTANCE: f32 = 14.0;
/// Minimum distance between the numbers of a vertical axis, in points (set by judgement).
const BETWEEN_NUMBERS: f64 = 20.0;

/// Minimum distance from a number to the end of the vertical axis, in points (set by judgement).
const FROM_ENDS: f64 = 8.0;
/// Minimum length of the interval shown, in seconds (set by judgement).
const MIN_VIEW_S: f64 = 2.0;
/// The channels shown below the speed, each in a plot of its own.
const STRIPS: [Channel; 3] = [Channel::Voltage, Channel::Altitude, Channel::Satellites];

/// Heights of the plots, in points.
#[derive(Debug, Clone, Copy)]
pub(super) struct Heights {
    pub speed: f32,
    pub strip: f32,
}

/// The channels that have a plot below the speed.
pub(super) fn strips(view_model: &ViewModel<'_>) -> impl Iterator<Item = Channel> {
    STRIPS.into_iter().filter(|channel| view_model.readout(channel).is_some())
}

/// Shows all plots, one below the other, over the same interval of time.
pub(super) fn show(ui: &mut Ui, view_model: &ViewModel<'_>, heights: Heights, actions: &mut Vec<LegAction>) {
    ui.spacing_mut().item_spacing.y = 3.0;
    let (ribbon, _) = ui.allocate_exact_size(Vec2::new(ui.available_width(), RIBBON), Sense::hover());
    let Some(speed) = view_model.readout(&Channel::Speed) else {
        ui.label("No changing speed was read from the recording, so there is no plot.");
        return;
    };
    let transform = plot(ui, view_model, speed, heights.speed, actions);
    ends::ribbon(ui, view_model, ribbon, &transform, actions);
    ends::handles(ui, view_model, &transform, actions);
    for channel in strips(view_model) {
        if let Some(readout) = view_model.readout(&channel) {
            plot(ui, view_model, readout, heights.strip, actions);
        }
    }
}

/// Shows one plot; returns the transform between its points and the screen.
fn plot(
    ui: &mut Ui,
    view_model: &ViewModel<'_>,
    readout: &ChannelReadings,
    height: f32,
    actions: &mut Vec<LegAction>,
) -> PlotTransform {
    let colours = theme::colours(ui);
    let (low, high) = value_range(readout);
    let (from_s, to_s) = view_model.view_s;
    let is_speed = readout.channel == Channel::Speed;
    let name = format!("{} {}", readout.channel.name(), symbol(readout)).trim().to_owned();
    let size = (ui.available_width(), height);
    let shown = still(("over time", readout.channel.name()), &colours)
        .height(height)
        .show_axes([is_speed, true])
        .y_axis_min_width(AXIS_WIDTH)
        .x_grid_spacer(|_| time_marks(from_s, to_s))
        .x_axis_formatter(|mark, _| time_words(mark.value, to_s - from_s))
        .y_grid_spacer(|_| value_marks(low, high, height))
        .y_axis_formatter(|mark, _| numbers::trimmed(mark.value))
        .sense(Sense::click_and_drag())
        .show(ui, |plot| {
            plot.set_plot_bounds(PlotBounds::from_min_max([from_s, low], [to_s, high]));
            legs(plot, view_model, &colours, is_speed);
            readings(plot, view_model, readout, ((low, high), size), &colours);
            if let Some(shown_frame_s) = view_model.shown_frame_s() {
                plot.vline(VLine::new("", shown_frame_s).color(colours.ink).style(LineStyle::dashed_loose()));
            }
        });
    let corner = shown.transform.frame().left_top() + Vec2::new(6.0, 3.0);
    let font = TextStyle::Small.resolve(ui.style());
    let name_place = ui.painter().text(corner, egui::Align2::LEFT_TOP, &name, font, colours.ink);
    let blanks = view_model.visible_blanks(&readout.channel);
    if let Some(blanks) = &blanks {
        blanks.draw(ui, &shown.transform, name_place, &colours);
    }
    let label = format!(
        "{name} against time, from {} to {}{}; the arrow keys go from frame to frame",
        numbers::clock(from_s),
        numbers::clock(to_s),
        blanks.as_ref().map(|blanks| format!(", {}", blanks.in_words())).unwrap_or_default()
    );
    let mut response = shown.response;
    response.widget_info(|| WidgetInfo::labeled(Role::Figure, true, &label));
    let words = response.hover_pos().and_then(|pointer| blanks?.at(&shown.transform, pointer));
    if let Some(words) = words {
        response = response.on_hover_text_at_pointer(words);
    }
    follow(ui, view_model, readout, &response, &shown.transform, actions);
    shown.transform
}

/// A plot that does not react to the mouse itself: the caller sets the range it shows.
pub(super) fn still<'a>(name: impl egui::AsIdSalt, colours: &Colours) -> Plot<'a> {
    Plot::new(name)
        .allow_drag(false)
        .allow_zoom(false)
        .allow_scroll(false)
        .allow_boxed_zoom(false)
        .allow_axis_zoom_drag(false)
        .allow_double_click_reset(false)
        .show_crosshair(false)
        .grid_color(colours.line)
        .label_formatter(|_| None)
}

/// Ticks of the time axis from `from_s` to `to_s` in seconds, at round numbers.
fn time_marks(from_s: f64, to_s: f64) -> Vec<GridMark> {
    marks(Axis::of_time([from_s, to_s].into_iter()).as_ref())
}

/// Ticks of the value axis from `low` to `high`, as many as the height of the plot, in points, allows.
fn value_marks(low: f64, high: f64, height: f32) -> Vec<GridMark> {
    let least_step = (high - low) * BETWEEN_NUMBERS / f64::from(height.max(1.0));
    let from_end = (high - low) * FROM_ENDS / f64::from(height.max(1.0));
    let mut marks = marks(Axis::between(low, high, least_step).as_ref());
    marks.retain(|mark| (low + from_end..=high - from_end).contains(&mark.value));
    marks
}

/// The ticks of an axis, all drawn equally strong, since they were chosen so that each has room.
pub(super) fn marks(axis: Option<&Axis>) -> Vec<GridMark> {
    let ticks = axis.into_iter().flat_map(|axis| axis.ticks.iter().map(|tick| (*tick, axis.high - axis.low)));
    ticks.map(|(value, step_size)| GridMark { value, step_size }).collect()
}

/// A time in seconds as text for an axis that shows `length_s` seconds: minutes and seconds, or seconds with
/// tenths if fewer than 8 seconds are shown and the time is not a whole second.
fn time_words(time_s: f64, length_s: f64) -> String {
    let tenths = (time_s * 10.0).round() / 10.0;
    if length_s < 8.0 && (tenths - tenths.round()).abs() > 0.01 {
        return format!("{tenths:.1} s");
    }
    numbers::clock(tenths)
}

/// Lower and upper end of a plot's value axis: the range of all trusted readings, with space above them for the name
/// of the plot.
fn value_range(readout: &ChannelReadings) -> (f64, f64) {
    let above = if readout.channel == Channel::Speed { 0.1 } else { 0.4 };
    let axis = Axis::over(readout.values.iter().copied()).map(|axis| axis.with_headroom(above));
    axis.map_or((0.0, 1.0), |axis| (axis.low, axis.high))
}

/// Draws the legs as coloured bands; if `medians` is true, also the median speed of each leg.
fn legs(plot: &mut PlotUi<'_>, view_model: &ViewModel<'_>, colours: &Colours, medians: bool) {
    for (leg, number) in view_model.legs().iter().zip(1..) {
        let colour = colour_of(view_model.kind(leg), colours);
        let strength = if view_model.selected == Some(number) { 0.42 } else { 0.2 };
        let span = Span::new("", leg.start_s..=leg.end_s).fill(colour.gamma_multiply(strength));
        plot.span(span.border_color(Color32::TRANSPARENT));
        if let Some(flown) = view_model.flown(leg).filter(|_| medians) {
            let at = |time_s| [time_s, flown.speed_median];
            let points = vec![at(flown.steady_start_s), at(flown.steady_end_s)];
            plot.line(Line::new("", points).color(colours.ink).width(2.5).allow_hover(false));
        }
    }
}

fn readings(
    plot: &mut PlotUi<'_>,
    view_model: &ViewModel<'_>,
    readout: &ChannelReadings,
    ((low, high), (width, height)): ((f64, f64), (f32, f32)),
    colours: &Colours,
) {
    let time_s = &view_model.flight.series.readings.time_s;
    let (from, until) = (
        time_s.partition_point(|time| *time < view_model.view_s.0),
        time_s.partition_point(|time| *time <= view_model.view_s.1),
    );
    let shown = |values: &[f64]| -> Vec<(f64, f64)> {
        (from..until).filter_map(|index| Some((*time_s.get(index)?, *values.get(index)?))).collect()
    };
    let axes =
        Axis::between(view_model.view_s.0, view_model.view_s.1, 0.0).zip(Axis::between(low, high, 0.0));
    if let Some((time, value)) = axes {
        let size = (width.max(1.0) as u32, height.max(1.0) as u32);
        let dots: Vec<[f64; 2]> = dots(shown(&readout.values).into_iter(), (&time, &value), size)
            .into_iter()
            .map(Into::into)
            .collect();
        plot.points(Points::new("", dots).color(dot_colour(readout, colours)).radius(1.6).allow_hover(false));
    }
    if readout.channel == Channel::Speed {
        for line in lines(&shown(&view_model.flight.series.speed_smooth)) {
            let line: Vec<[f64; 2]> = line.into_iter().map(Into::into).collect();
            plot.line(Line::new("", line).color(colours.airspeed).width(1.5).allow_hover(false));
        }
    }
}

fn dot_colour(readout: &ChannelReadings, colours: &Colours) -> Color32 {
    match readout.channel {
        Channel::Voltage => colours.voltage,
        Channel::Altitude => colours.altitude,
        _ => colours.dot,
    }
}

/// Handles the mouse and the keys: clicks show a frame, drags and the wheel change the interval shown, arrow
/// keys go from frame to frame.
fn follow(
    ui: &Ui,
    view_model: &ViewModel<'_>,
    readout: &ChannelReadings,
    response: &egui::Response,
    transform: &PlotTransform,
    actions: &mut Vec<LegAction>,
) {
    if response.clicked_by(PointerButton::Primary) {
        let at = response.interact_pointer_pos();
        actions.extend(at.and_then(|at| looked_at(view_model, readout, transform, at)));
        response.request_focus();
    }
    let per_point_s =
        (view_model.view_s.1 - view_model.view_s.0) / f64::from(transform.frame().width().max(1.0));
    let (zoom, scrolled) = ui.input(|input| (input.zoom_delta(), input.smooth_scroll_delta().x));
    let moved = if response.dragged_by(PointerButton::Primary) { response.drag_delta().x } else { 0.0 };
    let moved = moved + if response.hovered() { scrolled } else { 0.0 };
    if moved != 0.0 {
        let by_s = -f64::from(moved) * per_point_s;
        actions.push(LegAction::View(view_model.view_s.0 + by_s, view_model.view_s.1 + by_s));
    }
    if let Some(at) = response.hover_pos().filter(|_| zoom != 1.0) {
        let about_s = transform.value_from_position(at).x;
        actions.push(zoomed(view_model, f64::from(zoom), about_s));
    }
    if response.has_focus() {
        let arrows = EventFilter { horizontal_arrows: true, ..EventFilter::default() };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, arrows));
        let keyed = |key| ui.input_mut(|input| input.count_and_consume_key(Modifiers::NONE, key)) as isize;
        let steps = keyed(Key::ArrowRight) - keyed(Key::ArrowLeft);
        if steps != 0 {
            actions.push(stepped(view_model, steps, Some(readout.channel.clone())));
        }
    }
}

/// The action that shows the frame `steps` frames after the one shown now, or before it if `steps` is negative. If
/// no frame is shown, counting starts at the first frame in the interval shown. The action shows `channel` first.
pub(super) fn stepped(view_model: &ViewModel<'_>, steps: isize, channel: Option<Channel>) -> LegAction {
    let time_s = &view_model.flight.series.readings.time_s;
    let now =
        view_model.shown_frame.unwrap_or_else(|| time_s.partition_point(|time| *time < view_model.view_s.0));
    LegAction::ShowFrame(now.saturating_add_signed(steps).min(time_s.len().saturating_sub(1)), channel)
}

/// The action that divides the interval of time shown by `factor` (below 1 it zooms out). The time `about_s`, in
/// seconds, stays at its place in the plot.
pub(super) fn zoomed(view_model: &ViewModel<'_>, factor: f64, about_s: f64) -> LegAction {
    let (from_s, to_s) = view_model.view_s;
    let factor = factor.min((to_s - from_s) / MIN_VIEW_S);
    LegAction::View(about_s + (from_s - about_s) / factor, about_s + (to_s - about_s) / factor)
}

/// The action that shows the frame of the reading under the pointer, or otherwise the frame at the pointer's
/// time; `None` if there are no frames.
fn looked_at(
    view_model: &ViewModel<'_>,
    readout: &ChannelReadings,
    transform: &PlotTransform,
    at: Pos2,
) -> Option<LegAction> {
    let time_s = &view_model.flight.series.readings.time_s;
    let reach_s = transform.dvalue_dpos()[0].abs() * f64::from(CLICK_DISTANCE);
    let about_s = transform.value_from_position(at).x;
    let near = time_s.partition_point(|time| *time < about_s - reach_s)
        ..time_s.partition_point(|time| *time <= about_s + reach_s);
    let distance = |index: &usize| {
        let (value, _) = readout.trusted(*index)?;
        Some(transform.position_from_point(&PlotPoint::new(*time_s.get(*index)?, value)).distance(at))
    };
    let dot = near
        .filter_map(|index| Some((index, distance(&index)?)))
        .filter(|(_, distance)| *distance <= CLICK_DISTANCE)
        .min_by(|one, other| one.1.total_cmp(&other.1));
    let at_time = || time_s.partition_point(|time| *time < about_s).min(time_s.len().saturating_sub(1));
    let index = dot.map_or_else(at_time, |(index, _)| index);
    (!time_s.is_empty()).then(|| LegAction::ShowFrame(index, Some(readout.channel.clone())))
}
