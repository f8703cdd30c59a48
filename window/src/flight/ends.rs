//! The legs over the plot of the speed: a row of names to select a leg, and handles to move its ends.

use egui::accesskit::Action;
use egui::{CursorIcon, EventFilter, FontId, Id, Key, Modifiers, Pos2, Rect, Sense, Shape, Stroke, Ui, Vec2};
use egui::{Role, WidgetInfo};
use egui_plot::{PlotPoint, PlotTransform};

use super::action::LegAction;
use super::view_model::{ViewModel, colour_of};
use crate::theme::{self, on};
use pairspeed::leg_edits::LegEdit;
use pairspeed::legs::GivenLeg;

/// Width of the area at a leg's end that reacts to the pointer, in points (set by judgement).
const GRIP: f32 = 11.0;
/// Side length of the triangles that mark the ends of the selected leg, in points (set by judgement).
const CORNER: f32 = 7.0;
/// Minimum width of a leg's name, in points (set by judgement).
const MIN_NAME: f32 = 22.0;
/// Distance by which an arrow key moves an end, in seconds: without and with Shift (set by judgement).
const STEPS_S: (f64, f64) = (0.1, 1.0);

/// Start or end of a leg.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum End {
    Start,
    End,
}

impl End {
    /// The edit that moves this end of leg `number` (from 1) to the time `to_s` in seconds, limited to its
    /// possible range and rounded to the millisecond; `None` if the leg does not exist.
    pub fn moved(self, view_model: &ViewModel<'_>, number: usize, to_s: f64) -> Option<LegEdit> {
        let (from_s, until_s) = self.room(view_model, number)?;
        let to_s = ((to_s * 1000.0).round() / 1000.0).clamp(from_s, until_s.max(from_s));
        Some(match self {
            Self::Start => LegEdit::MoveStart { leg: number, to_s },
            Self::End => LegEdit::MoveEnd { leg: number, to_s },
        })
    }

    fn room(self, view_model: &ViewModel<'_>, number: usize) -> Option<(f64, f64)> {
        match self {
            Self::Start => view_model.leg_editor.current().start_limits(number),
            Self::End => view_model.leg_editor.current().end_limits(number),
        }
    }

    fn of(self, leg: &GivenLeg) -> f64 {
        match self {
            Self::Start => leg.start_s,
            Self::End => leg.end_s,
        }
    }

    /// The name of this end, for screen readers.
    pub fn name(self) -> &'static str {
        match self {
            Self::Start => "Start",
            Self::End => "End",
        }
    }

    /// The identifier of this end's widget, so that keys can give it the keyboard focus.
    pub fn id(self, number: usize) -> Id {
        Id::unique(("end of a leg", number, self))
    }
}

/// Shows the names of the legs in a row above the plot.
pub(super) fn ribbon(
    ui: &Ui,
    view_model: &ViewModel<'_>,
    row: Rect,
    transform: &PlotTransform,
    actions: &mut Vec<LegAction>,
) {
    let colours = theme::colours(ui);
    let painter = ui.painter().with_clip_rect(row);
    for (leg, number) in view_model.legs().iter().zip(1..) {
        let Some(across) = across(leg, transform) else { continue };
        let missing = (MIN_NAME - across.span()).max(0.0) / 2.0;
        let rect = Rect::from_x_y_ranges(across.expand(missing), row.y_range()).shrink2(Vec2::new(0.5, 2.0));
        let response = ui.interact(rect, Id::unique(("name of a leg", number)), Sense::click());
        let selected = view_model.selected == Some(number);
        let label = format!("{} from {:.1} to {:.1} s", view_model.name(number, leg), leg.start_s, leg.end_s);
        response.widget_info(|| WidgetInfo::selected(Role::Button, true, selected, &label));
        let fill = colour_of(view_model.kind(leg), &colours);
        painter.rect_filled(rect, 3.0, fill.gamma_multiply(if selected { 1.0 } else { 0.55 }));
        if selected || response.has_focus() {
            let width = if response.has_focus() { 3.0 } else { 2.0 };
            painter.rect_stroke(rect, 3.0, Stroke::new(width, colours.ink), egui::StrokeKind::Inside);
        }
        let words = fitting(ui, rect.width(), &view_model.mark(number, leg), &view_model.use_in_words(leg));
        let ink = if selected { on(fill) } else { colours.ink };
        painter.text(rect.center(), egui::Align2::CENTER_CENTER, words, FontId::proportional(13.0), ink);
        if response.clicked() {
            actions.push(LegAction::Select(number));
        }
        response.on_hover_text(format!("{label}: {}", view_model.use_in_words(leg)));
    }
}

/// The horizontal range of a leg on the screen; `None` if the leg is not visible.
fn across(leg: &GivenLeg, transform: &PlotTransform) -> Option<egui::Rangef> {
    let frame = transform.frame();
    let x = |time_s| transform.position_from_point(&PlotPoint::new(time_s, 0.0)).x;
    let (left, right) = (x(leg.start_s).max(frame.left()), x(leg.end_s).min(frame.right()));
    (right - left > 2.0).then(|| egui::Rangef::new(left, right))
}

/// The longest name of a leg that fits into a width in points: `mark` with `kind`, `mark` alone, or an empty text.
fn fitting(ui: &Ui, width: f32, mark: &str, kind: &str) -> String {
    let names = [format!("{mark} {kind}"), mark.to_owned()];
    let fits = |name: &String| {
        let font = FontId::proportional(13.0);
        ui.painter().layout_no_wrap(name.clone(), font, egui::Color32::WHITE).size().x + 6.0 <= width
    };
    names.into_iter().find(fits).unwrap_or_default()
}

/// Shows handles for the ends of all visible legs, which can be dragged; those of the selected leg can also
/// get the keyboard focus.
pub(super) fn handles(
    ui: &Ui,
    view_model: &ViewModel<'_>,
    transform: &PlotTransform,
    actions: &mut Vec<LegAction>,
) {
    for (leg, number) in view_model.legs().iter().zip(1..) {
        for end in [End::Start, End::End] {
            handle(ui, view_model, transform, (number, leg, end), actions);
        }
    }
}

fn handle(
    ui: &Ui,
    view_model: &ViewModel<'_>,
    transform: &PlotTransform,
    (number, leg, end): (usize, &GivenLeg, End),
    actions: &mut Vec<LegAction>,
) {
    let (frame, selected) = (transform.frame(), view_model.selected == Some(number));
    let x = transform.position_from_point(&PlotPoint::new(end.of(leg), 0.0)).x;
    if !frame.x_range().contains(x) {
        return;
    }
    // Legs that touch have a common edge, so the handle of each end extends into its own leg.
    let beside = if end == End::Start { GRIP / 2.0 } else { -GRIP / 2.0 };
    let rect =
        Rect::from_center_size(Pos2::new(x + beside, frame.center().y), Vec2::new(GRIP, frame.height()));
    let sense = if selected { Sense::click_and_drag() } else { Sense::drag() };
    let response = ui.interact(rect, end.id(number), sense).on_hover_cursor(CursorIcon::ResizeHorizontal);
    if selected || response.hovered() || response.dragged() {
        let across = across(leg, transform).map_or(0.0, egui::Rangef::span);
        draw_grip(ui, (x, frame, end), across, response.has_focus() || response.dragged());
    }
    if response.drag_started() {
        actions.push(LegAction::Select(number));
    }
    let pointed_s = response.interact_pointer_pos().map(|at| transform.value_from_position(at).x);
    if response.dragged() {
        actions.extend(pointed_s.and_then(|to_s| end.moved(view_model, number, to_s)).map(LegAction::Try));
    } else if response.drag_stopped() {
        actions.extend(end.moved(view_model, number, end.of(leg)).map(LegAction::Make));
    }
    if selected {
        describe_end(ui, view_model, (number, leg, end), &response);
        actions.extend(keyed(ui, view_model, (number, leg, end), &response).map(LegAction::Make));
    }
}

/// Draws the end of a leg: a vertical line at `x` in the plot area `frame`, with two triangles that point into the
/// leg. The leg is `across` points wide. The line is thicker and the triangles are larger if `strong` is true.
fn draw_grip(ui: &Ui, (x, frame, end): (f32, &Rect, End), across: f32, strong: bool) {
    let ink = theme::colours(ui).ink;
    let width = if strong { 2.5 } else { 1.2 };
    ui.painter().vline(x, frame.y_range(), Stroke::new(width, ink));
    let size = (if strong { 1.5 * CORNER } else { CORNER }).min(across / 3.0);
    let into = if end == End::Start { size } else { -size };
    for (edge, inward) in [(frame.top(), size), (frame.bottom(), -size)] {
        let corner = Pos2::new(x, edge);
        let points = vec![corner, corner + Vec2::new(into, 0.0), corner + Vec2::new(0.0, inward)];
        ui.painter().add(Shape::convex_polygon(points, ink, Stroke::NONE));
    }
}

/// Describes an end to screen readers as a slider over the time range in which it may be moved.
fn describe_end(
    ui: &Ui,
    view_model: &ViewModel<'_>,
    (number, leg, end): (usize, &GivenLeg, End),
    response: &egui::Response,
) {
    let label = format!("{} of leg {number}", end.name());
    response.widget_info(|| WidgetInfo::slider(true, end.of(leg), &label));
    ui.ctx().accesskit_node_builder(response.id, |node| {
        node.set_role(Role::Slider);
        if let Some((from_s, until_s)) = end.room(view_model, number) {
            node.set_min_numeric_value(from_s);
            node.set_max_numeric_value(until_s);
        }
        node.set_numeric_value_step(STEPS_S.0);
        node.add_action(Action::Increment);
        node.add_action(Action::Decrement);
    });
}

/// The edit that the arrow keys or a screen reader request; `None` if they request none.
fn keyed(
    ui: &Ui,
    view_model: &ViewModel<'_>,
    (number, leg, end): (usize, &GivenLeg, End),
    response: &egui::Response,
) -> Option<LegEdit> {
    if response.has_focus() {
        let arrows = EventFilter { horizontal_arrows: true, ..EventFilter::default() };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, arrows));
    }
    let presses = |modifiers, key| {
        let counted = ui.input_mut(|input| input.count_and_consume_key(modifiers, key));
        if response.has_focus() { counted as f64 } else { 0.0 }
    };
    if !response.has_focus() {
        let asked =
            |action| ui.input(|input| input.num_accesskit_action_requests(response.id, action)) as f64;
        let by_s = STEPS_S.0 * (asked(Action::Increment) - asked(Action::Decrement));
        return (by_s != 0.0).then(|| end.moved(view_model, number, end.of(leg) + by_s)).flatten();
    }
    let far = presses(Modifiers::SHIFT, Key::ArrowRight) - presses(Modifiers::SHIFT, Key::ArrowLeft);
    let near = presses(Modifiers::NONE, Key::ArrowRight) - presses(Modifiers::NONE, Key::ArrowLeft);
    let by_s = STEPS_S.0 * near + STEPS_S.1 * far;
    (by_s != 0.0).then(|| end.moved(view_model, number, end.of(leg) + by_s)).flatten()
}
