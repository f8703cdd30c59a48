//! The frame with the boxes on it: zooming, and marking boxes with mouse or keyboard.

use egui::{
    Align2, Color32, CursorIcon, EventFilter, FontId, Id, Key, Modifiers, Painter, PointerButton, Pos2, Rect,
    Response, Role, Sense, Stroke, StrokeKind, TextureId, Vec2, WidgetInfo, pos2, vec2,
};

use super::editor::{Editor, RegionChange, between, grown, moved};
use crate::theme;
use pairspeed::geometry::PixelRect;

/// Maximum zoom of the frame, where 1 shows the whole frame (set by judgement).
const MAX_ZOOM: f32 = 12.0;
/// Maximum distance between the pointer and a handle for a drag to move the handle, in points (set by judgement).
const HANDLE_DISTANCE: f32 = 9.0;

/// Width and height of a drawn handle, in points (set by judgement).
const HANDLE_SIZE: f32 = 7.0;
/// Distance by which an arrow key with Shift moves or resizes a box, in pixels of the frame (set by judgement).
const LONG_STEP: i64 = 10;

/// The object that the mouse drags.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Grip {
    /// A new box that starts at this corner.
    New(Pos2),
    /// A whole box: its index, and the offset of the pointer from the box's upper left corner in pixels of the frame.
    Whole(usize, Vec2),
    /// One side of a box, or two sides that meet in a corner. The elements are the index of the box, the sides
    /// (horizontal: -1 left, 1 right, 0 none; vertical: -1 top, 1 bottom, 0 none), and the rectangle of the box before
    /// the drag.
    Edges(usize, (i8, i8), PixelRect),
}

/// The zoom and position of the frame, and what is being dragged.
#[derive(Debug)]
pub struct Canvas {
    zoom: f32,
    /// The point of the frame that is shown in the middle of the canvas, in pixels; `None` for the centre of the frame.
    centre: Option<Pos2>,
    grip: Option<Grip>,
    drags: u64,
    id: Option<Id>,
}

impl Default for Canvas {
    fn default() -> Self {
        Self { zoom: 1.0, centre: None, grip: None, drags: 0, id: None }
    }
}

/// The transform from pixels of the frame to points of the screen.
#[derive(Debug, Clone, Copy)]
struct CanvasTransform {
    rect: Rect,
    scale: f32,
    centre: Pos2,
}

impl CanvasTransform {
    fn to_screen(self, at: Pos2) -> Pos2 {
        self.rect.center() + (at - self.centre) * self.scale
    }

    fn to_picture(self, at: Pos2) -> Pos2 {
        self.centre + (at - self.rect.center()) / self.scale
    }

    fn of_box(self, rect: PixelRect) -> Rect {
        let corner = pos2(rect.left as f32, rect.top as f32);
        let size = vec2(rect.width as f32, rect.height as f32);
        Rect::from_min_max(self.to_screen(corner), self.to_screen(corner + size))
    }
}

impl Canvas {
    /// Zooms out so that the whole frame is visible.
    pub fn fit(&mut self) {
        (self.zoom, self.centre) = (1.0, None);
    }

    /// Multiplies the zoom by `factor`; the point in the middle of the canvas stays in place.
    pub fn zoom_by(&mut self, factor: f32) {
        self.zoom = (self.zoom * factor).clamp(1.0, MAX_ZOOM);
    }

    /// Moves a box into the middle if the frame is zoomed.
    pub fn look_at(&mut self, rect: PixelRect) {
        if self.zoom > 1.0 {
            let (x, y) = (rect.left as f32, rect.top as f32);
            self.centre = Some(pos2(x + 0.5 * rect.width as f32, y + 0.5 * rect.height as f32));
        }
    }

    /// Whether the pilot is dragging a box or one of its sides, or drawing a new box.
    pub fn is_dragging(&self) -> bool {
        self.grip.is_some()
    }

    /// Identifier of the canvas in egui, to compare with the control that has the keyboard focus; `None` before the
    /// canvas was first shown.
    pub fn id(&self) -> Option<Id> {
        self.id
    }

    /// Shows the frame and its boxes in the remaining space, and handles what the pilot does with them.
    pub fn show(
        &mut self,
        ui: &mut egui::Ui,
        picture: Option<TextureId>,
        frame: (u32, u32),
        editor: &mut Editor,
    ) {
        let (rect, response) = ui.allocate_exact_size(ui.available_size(), Sense::click_and_drag());
        self.id = Some(response.id);
        let boxes = editor.marks().regions.len();
        response.widget_info(|| {
            let words =
                format!("Frame with {boxes} boxes: drag to mark a box; arrow keys move the selected box");
            WidgetInfo::labeled(Role::Image, true, words)
        });
        let view = self.view(rect, frame);
        self.take_zoom(ui, &response, view, frame);
        let view = self.view(rect, frame);
        self.take_drag(ui, &response, view, frame, editor);
        if response.clicked() || response.drag_started() {
            response.request_focus();
        }
        self.take_keys(ui, &response, frame, editor);
        let painter = ui.painter_at(rect);
        painter.rect_filled(rect, 0.0, Color32::from_gray(16));
        let all = Rect::from_min_max(
            view.to_screen(Pos2::ZERO),
            view.to_screen(pos2(frame.0 as f32, frame.1 as f32)),
        );
        if let Some(picture) = picture {
            painter.image(picture, all, Rect::from_min_max(Pos2::ZERO, pos2(1.0, 1.0)), Color32::WHITE);
        }
        draw_boxes(&painter, view, editor);
        if let (Some(Grip::New(from)), Some(to)) = (self.grip, response.interact_pointer_pos()) {
            let drawn = Rect::from_two_pos(view.to_screen(from), to);
            painter.rect_stroke(drawn, 0.0, Stroke::new(1.5, Color32::WHITE), StrokeKind::Outside);
        }
        if response.has_focus() {
            let colour = theme::colours(ui).accent;
            painter.rect_stroke(rect, 0.0, Stroke::new(2.0, colour), StrokeKind::Inside);
        }
    }

    fn view(&self, rect: Rect, frame: (u32, u32)) -> CanvasTransform {
        let size = vec2(frame.0.max(1) as f32, frame.1.max(1) as f32);
        let fitting = (rect.width() / size.x).min(rect.height() / size.y).max(0.01);
        let scale = fitting * self.zoom;
        let half = rect.size() / (2.0 * scale);
        let within = |at: f32, half: f32, size: f32| {
            if 2.0 * half >= size { size / 2.0 } else { at.clamp(half, size - half) }
        };
        let centre = self.centre.unwrap_or((size / 2.0).to_pos2());
        let centre = pos2(within(centre.x, half.x, size.x), within(centre.y, half.y, size.y));
        CanvasTransform { rect, scale, centre }
    }

    /// Handles zooming and moving: the wheel zooms around the pointer; the middle or right mouse button drags
    /// the frame.
    fn take_zoom(&mut self, ui: &egui::Ui, response: &Response, view: CanvasTransform, frame: (u32, u32)) {
        let Some(pointer) = response.hover_pos() else { return };
        let (scroll, pinch) = ui.input(|input| (input.smooth_scroll_delta().y, input.zoom_delta()));
        let factor = pinch * (scroll / 240.0).exp();
        if (factor - 1.0).abs() > 1e-4 {
            let fixed = view.to_picture(pointer);
            self.zoom_by(factor);
            let scale = self.view(view.rect, frame).scale;
            self.centre = Some(fixed - (pointer - view.rect.center()) / scale);
        }
        let pans = [PointerButton::Middle, PointerButton::Secondary];
        if pans.into_iter().any(|button| response.dragged_by(button)) {
            self.centre = Some(view.centre - response.drag_delta() / view.scale);
        }
    }

    fn take_drag(
        &mut self,
        ui: &egui::Ui,
        response: &Response,
        view: CanvasTransform,
        frame: (u32, u32),
        editor: &mut Editor,
    ) {
        if let Some(at) = response.hover_pos().filter(|_| self.grip.is_none()) {
            ui.ctx().set_cursor_icon(cursor_for(grip_at(at, view, editor)));
        }
        let pressed = ui.input(|input| input.pointer.press_origin());
        if response.drag_started_by(PointerButton::Primary) {
            self.grip = pressed.map(|at| grip_at(at, view, editor));
            self.drags += 1;
            if let Some(Grip::Whole(number, _) | Grip::Edges(number, ..)) = self.grip {
                editor.select(Some(number));
            }
        }
        if response.clicked_by(PointerButton::Primary)
            && let Some(at) = response.interact_pointer_pos()
        {
            editor.select(box_at(view.to_picture(at), editor));
        }
        let Some((grip, at)) = self.grip.zip(response.interact_pointer_pos()) else {
            self.grip = self.grip.filter(|_| response.dragged());
            return;
        };
        self.drag(grip, view.to_picture(at), frame, editor);
        if response.drag_stopped() {
            if let Grip::New(from) = grip
                && let Some(rect) = between(from.into(), view.to_picture(at).into(), frame)
            {
                editor.add(rect);
            }
            self.grip = None;
        }
    }

    fn drag(&self, grip: Grip, to: Pos2, frame: (u32, u32), editor: &mut Editor) {
        let change = RegionChange::Drag(self.drags);
        match grip {
            Grip::New(_) => {}
            Grip::Whole(number, offset) => editor.change_region(change, number, |region| {
                let corner = to - offset;
                let by = |to: f32, from: u32| to.round() as i64 - i64::from(from);
                let rect = region.rect;
                region.rect = moved(rect, (by(corner.x, rect.left), by(corner.y, rect.top)), frame);
            }),
            Grip::Edges(number, (across, down), from) => editor.change_region(change, number, |region| {
                let (left, top) = (from.left as f32, from.top as f32);
                let (right, bottom) = (from.right() as f32, from.bottom() as f32);
                let ends = |side: i8, start: f32, end: f32, to: f32| match side {
                    -1 => (to, end),
                    1 => (start, to),
                    _ => (start, end),
                };
                let (x, y) = (ends(across, left, right, to.x), ends(down, top, bottom, to.y));
                if let Some(rect) = between((x.0, y.0), (x.1, y.1), frame) {
                    region.rect = rect;
                }
            }),
        }
    }

    /// Handles the keys that change the selected box. Arrow keys move it by one pixel, or with Shift by ten; with Ctrl
    /// they resize it instead. Delete removes it.
    fn take_keys(&mut self, ui: &egui::Ui, response: &Response, frame: (u32, u32), editor: &mut Editor) {
        if !response.has_focus() {
            return;
        }
        let filter = EventFilter { horizontal_arrows: true, vertical_arrows: true, ..EventFilter::default() };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
        let Some(selected) = editor.selected() else { return };
        for (key, (right, down)) in [
            (Key::ArrowLeft, (-1, 0)),
            (Key::ArrowRight, (1, 0)),
            (Key::ArrowUp, (0, -1)),
            (Key::ArrowDown, (0, 1)),
        ] {
            for (modifiers, step, grows) in [
                (Modifiers::COMMAND | Modifiers::SHIFT, LONG_STEP, true),
                (Modifiers::COMMAND, 1, true),
                (Modifiers::SHIFT, LONG_STEP, false),
                (Modifiers::NONE, 1, false),
            ] {
                let times = ui.input_mut(|input| input.count_and_consume_key(modifiers, key)) as i64;
                let by = (right * step * times, down * step * times);
                let change = if grows { grown } else { moved };
                editor.change_region(RegionChange::Keys(selected), selected, |region| {
                    region.rect = change(region.rect, by, frame);
                });
            }
        }
        if ui.input_mut(|input| input.consume_key(Modifiers::NONE, Key::Delete)) {
            editor.remove(selected);
        }
    }
}

/// Index of the smallest box that contains a point of the frame; `None` if there is none.
fn box_at(at: Pos2, editor: &Editor) -> Option<usize> {
    let regions = editor.marks().regions.iter().enumerate();
    let holds = |rect: PixelRect| {
        (rect.left as f32..rect.right() as f32).contains(&at.x)
            && (rect.top as f32..rect.bottom() as f32).contains(&at.y)
    };
    let inside = regions.filter(|(_, region)| holds(region.rect));
    inside
        .min_by_key(|(_, region)| u64::from(region.rect.width) * u64::from(region.rect.height))
        .map(|(n, _)| n)
}

/// What a drag from a point of the screen would move.
fn grip_at(at: Pos2, view: CanvasTransform, editor: &Editor) -> Grip {
    let selected =
        editor.selected().and_then(|number| Some((number, editor.marks().regions.get(number)?.rect)));
    if let Some((number, rect)) = selected
        && let Some((_, sides)) =
            handles(view.of_box(rect)).find(|(handle, _)| handle.distance(at) <= HANDLE_DISTANCE)
    {
        return Grip::Edges(number, sides, rect);
    }
    let point = view.to_picture(at);
    let under =
        box_at(point, editor).and_then(|number| Some((number, editor.marks().regions.get(number)?.rect)));
    match under {
        Some((number, rect)) => Grip::Whole(number, point - pos2(rect.left as f32, rect.top as f32)),
        None => Grip::New(point),
    }
}

/// Positions of the handles of a box, at its corners and the middles of its sides. Each comes with the sides that it
/// moves, in the form of [`Grip::Edges`].
fn handles(rect: Rect) -> impl Iterator<Item = (Pos2, (i8, i8))> {
    let sides = [(-1, -1), (0, -1), (1, -1), (-1, 0), (1, 0), (-1, 1), (0, 1), (1, 1)];
    let half = rect.size() / 2.0;
    sides.into_iter().map(move |(across, down): (i8, i8)| {
        (rect.center() + vec2(f32::from(across) * half.x, f32::from(down) * half.y), (across, down))
    })
}

fn cursor_for(grip: Grip) -> CursorIcon {
    match grip {
        Grip::New(_) => CursorIcon::Crosshair,
        Grip::Whole(..) => CursorIcon::Grab,
        Grip::Edges(_, (0, _), _) => CursorIcon::ResizeVertical,
        Grip::Edges(_, (_, 0), _) => CursorIcon::ResizeHorizontal,
        Grip::Edges(_, (across, down), _) if across == down => CursorIcon::ResizeNwSe,
        Grip::Edges(..) => CursorIcon::ResizeNeSw,
    }
}

fn draw_boxes(painter: &Painter, view: CanvasTransform, editor: &Editor) {
    let boxes = editor.marks().regions.iter().enumerate().zip(theme::BOXES.iter().cycle());
    for ((number, region), colour) in boxes {
        let rect = view.of_box(region.rect);
        let selected = editor.selected() == Some(number);
        let width = if selected { 3.0 } else { 1.5 };
        painter.rect_stroke(
            rect,
            0.0,
            Stroke::new(width + 2.0, Color32::from_black_alpha(170)),
            StrokeKind::Outside,
        );
        painter.rect_stroke(rect, 0.0, Stroke::new(width, *colour), StrokeKind::Outside);
        draw_name(painter, rect, &format!("{}  {}", number + 1, region.channel.name()), *colour);
        if selected {
            // On a small box the handles of the sides would hide the digits.
            let is_roomy = rect.size().min_elem() > 3.0 * HANDLE_SIZE;
            let shown = handles(rect).filter(|(_, (across, down))| is_roomy || across * down != 0);
            for (handle, _) in shown {
                let square = Rect::from_center_size(handle, Vec2::splat(HANDLE_SIZE));
                painter.rect_filled(square, 0.0, *colour);
                painter.rect_stroke(square, 0.0, Stroke::new(1.0, Color32::BLACK), StrokeKind::Outside);
            }
        }
    }
}

/// Draws the name of a box above it, or below if there is no space above.
fn draw_name(painter: &Painter, rect: Rect, name: &str, colour: Color32) {
    let text = painter.layout_no_wrap(name.to_owned(), FontId::proportional(13.0), theme::on(colour));
    let size = text.size() + vec2(10.0, 4.0);
    let above = rect.left_top() - vec2(3.0, size.y + 4.0);
    let clip = painter.clip_rect();
    let corner = if above.y >= clip.top() { above } else { rect.left_bottom() + vec2(-3.0, 4.0) };
    let corner = pos2(corner.x.clamp(clip.left(), (clip.right() - size.x).max(clip.left())), corner.y);
    painter.rect_filled(Rect::from_min_size(corner, size), 2.0, colour);
    painter.galley(
        Align2::LEFT_TOP.anchor_size(corner + vec2(5.0, 2.0), text.size()).min,
        text,
        theme::on(colour),
    );
}
