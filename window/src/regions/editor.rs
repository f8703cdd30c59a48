//! The regions that are being marked, with undo and redo.

use super::change_words::in_words;
use pairspeed::geometry::PixelRect;
use pairspeed::model::channel::Channel;
use pairspeed::setup::{MIN_BOX_PX, Region};

/// Maximum number of changes that can be undone (set by judgement).
const MAX_STEPS: usize = 200;

/// The camera's name and regions that are being edited.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Marks {
    /// Name of the camera.
    pub name: String,
    /// The regions marked so far.
    pub regions: Vec<Region>,
}

/// The kind of a change; successive changes of the same kind are undone together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RegionChange {
    /// A change that is undone separately.
    Once,
    /// Part of the mouse drag with this number.
    Drag(u64),
    /// Moving or resizing a region with keys; the number is the region's index.
    Keys(usize),
    /// A field of a region's form; the number is the region's index, the text the name of the field.
    Field(usize, &'static str),
}

/// The marked regions, which of them is selected, and the changes to undo and redo.
#[derive(Debug, Default)]
pub struct Editor {
    marks: Marks,
    selected: Option<usize>,
    past: Vec<Marks>,
    future: Vec<Marks>,
    last: Option<RegionChange>,
    saved: Marks,
}

impl Editor {
    /// Starts editing the saved name and regions.
    pub fn begin(&mut self, saved: Marks) {
        let selected = (!saved.regions.is_empty()).then_some(0);
        *self = Self { marks: saved.clone(), saved, selected, ..Self::default() };
    }

    /// The current name and regions.
    pub fn marks(&self) -> &Marks {
        &self.marks
    }

    /// The name and regions that were saved last.
    pub fn saved(&self) -> &Marks {
        &self.saved
    }

    /// Index of the selected region; `None` if none is selected.
    pub fn selected(&self) -> Option<usize> {
        self.selected.filter(|selected| *selected < self.marks.regions.len())
    }

    /// Selects a region, or none.
    pub fn select(&mut self, region: Option<usize>) {
        self.selected = region;
    }

    /// Whether there are changes that are not saved.
    pub fn is_unsaved(&self) -> bool {
        self.marks != self.saved
    }

    /// Replaces the current name and regions by those of a setup file, as a change that can be undone, and marks them
    /// as saved.
    pub fn take(&mut self, saved: Marks) {
        self.change(RegionChange::Once, |marks| *marks = saved);
        self.select(self.selected().or((!self.marks.regions.is_empty()).then_some(0)));
        self.mark_saved();
    }

    /// Notes that the current name and regions are saved.
    pub fn mark_saved(&mut self) {
        self.saved = self.marks.clone();
        self.last = None;
    }

    /// Applies `change` to the name and regions, and notes it for undo. If the last change was of the same `kind`, and
    /// not [`RegionChange::Once`], the two are undone together.
    pub fn change(&mut self, kind: RegionChange, change: impl FnOnce(&mut Marks)) {
        let before = self.marks.clone();
        change(&mut self.marks);
        if self.marks == before {
            return;
        }
        if kind == RegionChange::Once || self.last != Some(kind) {
            self.past.push(before);
            let surplus = self.past.len().saturating_sub(MAX_STEPS);
            self.past.drain(..surplus);
        }
        self.future.clear();
        self.last = Some(kind);
    }

    /// Applies `change` to the region with the index `number`, and notes it for undo as a change of the given `kind`.
    /// Does nothing if there is no such region.
    pub fn change_region(&mut self, kind: RegionChange, number: usize, change: impl FnOnce(&mut Region)) {
        self.change(kind, |marks| {
            if let Some(region) = marks.regions.get_mut(number) {
                change(region);
            }
        });
    }

    /// Adds a region with the box `rect` and selects it. It gets the first known channel that has no region yet.
    pub fn add(&mut self, rect: PixelRect) {
        let channel = self.free_channel();
        let unit = channel.usual_unit();
        self.change(RegionChange::Once, |marks| marks.regions.push(Region::new(channel, rect, unit)));
        self.selected = self.marks.regions.len().checked_sub(1);
    }

    /// Adds proposed regions, except those that largely overlap marked ones. A proposed channel that is already marked
    /// is replaced by a numbered one. Returns how many regions were added.
    pub fn add_proposed(&mut self, proposed: Vec<Region>) -> usize {
        let mut added = 0;
        self.change(RegionChange::Once, |marks| {
            for mut region in proposed {
                if marks.regions.iter().any(|marked| overlap(marked.rect, region.rect)) {
                    continue;
                }
                if marks.regions.iter().any(|marked| marked.channel == region.channel) {
                    region.channel = numbered(marks);
                }
                marks.regions.push(region);
                added += 1;
            }
        });
        if self.selected().is_none() && !self.marks.regions.is_empty() {
            self.selected = Some(0);
        }
        added
    }

    /// Removes the region with the index `number`.
    pub fn remove(&mut self, number: usize) {
        if number < self.marks.regions.len() {
            self.change(RegionChange::Once, |marks| drop(marks.regions.remove(number)));
            let last = self.marks.regions.len().checked_sub(1);
            self.selected = self.selected.and_then(|selected| Some(selected.min(last?)));
        }
    }

    /// Undoes the last change and returns its description; `None` if there is none.
    pub fn undo(&mut self) -> Option<String> {
        let words = self.undo_words()?;
        let undone = std::mem::replace(&mut self.marks, self.past.pop()?);
        self.future.push(undone);
        self.last = None;
        Some(words)
    }

    /// Redoes the change that was undone last and returns its description; `None` if there is none.
    pub fn redo(&mut self) -> Option<String> {
        let words = self.redo_words()?;
        let before = std::mem::replace(&mut self.marks, self.future.pop()?);
        self.past.push(before);
        self.last = None;
        Some(words)
    }

    /// Description of the change that can be undone next; `None` if there is none.
    pub fn undo_words(&self) -> Option<String> {
        Some(in_words(&self.past.last()?.regions, &self.marks.regions))
    }

    /// Description of the change that can be redone next; `None` if there is none.
    pub fn redo_words(&self) -> Option<String> {
        Some(in_words(&self.marks.regions, &self.future.last()?.regions))
    }

    fn free_channel(&self) -> Channel {
        let taken = |channel: &Channel| self.marks.regions.iter().any(|region| region.channel == *channel);
        Channel::KNOWN.into_iter().find(|channel| !taken(channel)).unwrap_or_else(|| numbered(&self.marks))
    }
}

/// A channel called `channel-N`, with the smallest number N from 1 that no region uses yet.
fn numbered(marks: &Marks) -> Channel {
    let named = |number: usize| Channel::Other(format!("channel-{number}"));
    let taken = |channel: &Channel| marks.regions.iter().any(|region| region.channel == *channel);
    (1..).map(named).find(|channel| !taken(channel)).unwrap_or_else(|| named(0))
}

/// Whether two boxes overlap by more than a third of the area of the smaller one.
fn overlap(one: PixelRect, other: PixelRect) -> bool {
    3 * one.overlap_px(other) > one.area_px().min(other.area_px())
}

/// The box moved to the right and downwards by whole pixels, and kept within a frame of the given width and height.
pub fn moved(rect: PixelRect, (right, down): (i64, i64), frame: (u32, u32)) -> PixelRect {
    let shift = |from: u32, by: i64, size: u32, room: u32| {
        (i64::from(from) + by).clamp(0, i64::from(room.saturating_sub(size))) as u32
    };
    PixelRect {
        left: shift(rect.left, right, rect.width, frame.0),
        top: shift(rect.top, down, rect.height, frame.1),
        ..rect
    }
}

/// The box with its width and height increased by whole pixels (`right` and `down`; negative numbers shrink it). It
/// stays within a frame of the given width and height, and at least as large as [`MIN_BOX_PX`].
pub fn grown(rect: PixelRect, (right, down): (i64, i64), frame: (u32, u32)) -> PixelRect {
    let size = |size: u32, by: i64, from: u32, least: u32, room: u32| {
        let most = i64::from(room.saturating_sub(from)).max(i64::from(least));
        (i64::from(size) + by).clamp(i64::from(least), most) as u32
    };
    let (least_width, least_height) = MIN_BOX_PX;
    PixelRect {
        width: size(rect.width, right, rect.left, least_width, frame.0),
        height: size(rect.height, down, rect.top, least_height, frame.1),
        ..rect
    }
}

/// The box with two opposite corners in any order, cut to a frame of the given width and height; `None` if it is
/// smaller than [`MIN_BOX_PX`].
pub fn between(one: (f32, f32), other: (f32, f32), frame: (u32, u32)) -> Option<PixelRect> {
    let span = |from: f32, to: f32, room: u32| {
        let whole = |at: f32| at.round().clamp(0.0, room as f32) as u32;
        (whole(from.min(to)), whole(from.max(to)))
    };
    let (left, right) = span(one.0, other.0, frame.0);
    let (top, bottom) = span(one.1, other.1, frame.1);
    let rect = PixelRect { left, top, width: right - left, height: bottom - top };
    (rect.width >= MIN_BOX_PX.0 && rect.height >= MIN_BOX_PX.1).then_some(rect)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const FRAME: (u32, u32) = (640, 480);

    fn rect(x: u32, y: u32) -> PixelRect {
        PixelRect { left: x, top: y, width: 60, height: 30 }
    }

    fn with_two() -> Editor {
        let mut editor = Editor::default();
        editor.begin(Marks::default());
        editor.add(rect(10, 10));
        editor.add(rect(10, 100));
        editor
    }

    #[test]
    fn new_boxes_take_the_channels_that_are_not_marked_yet() {
        let editor = with_two();
        let channels: Vec<&str> = editor.marks().regions.iter().map(|region| region.channel.name()).collect();
        assert_eq!(channels, ["speed", "voltage"]);
        assert_eq!(editor.selected(), Some(1));
    }

    #[test]
    fn a_drag_is_one_step_and_so_are_keys_in_a_row() {
        let mut editor = with_two();
        for x in 11..30 {
            editor.change_region(RegionChange::Drag(1), 0, |region| region.rect.left = x);
        }
        for _ in 0..5 {
            editor.change_region(RegionChange::Keys(0), 0, |region| {
                region.rect = moved(region.rect, (1, 0), FRAME);
            });
        }
        assert_eq!(editor.marks().regions[0].rect.left, 34);
        let moved = Some("moved the speed box".to_owned());
        assert_eq!(editor.undo(), moved);
        assert_eq!(editor.marks().regions[0].rect.left, 29);
        assert_eq!(editor.undo(), moved);
        assert_eq!(editor.marks().regions[0].rect.left, 10);
        assert_eq!((editor.redo(), editor.redo()), (moved.clone(), moved));
        assert_eq!(editor.redo(), None);
        assert_eq!(editor.marks().regions[0].rect.left, 34);
    }

    #[test]
    fn marks_are_unsaved_until_they_are_as_saved_again() {
        let mut editor = with_two();
        assert!(editor.is_unsaved());
        editor.mark_saved();
        assert!(!editor.is_unsaved());
        editor.remove(0);
        assert!(editor.is_unsaved());
        assert_eq!(editor.undo().as_deref(), Some("removed the speed box"));
        assert!(!editor.is_unsaved());
    }

    #[test]
    fn a_setup_taken_from_a_file_is_saved_and_can_be_undone() {
        let mut editor = with_two();
        let taken = Marks { name: "nose".to_owned(), regions: Vec::new() };
        editor.take(taken.clone());
        assert_eq!((editor.marks(), editor.saved()), (&taken, &taken));
        assert!(editor.undo().is_some() && editor.is_unsaved());
        assert_eq!(editor.marks().regions.len(), 2);
    }

    #[test]
    fn proposals_are_added_to_the_marked_regions_and_never_name_a_channel_twice() {
        let mut editor = with_two();
        let speed = |rect| Region::new(Channel::Speed, rect, None);
        assert_eq!(editor.add_proposed(vec![speed(rect(12, 12)), speed(rect(300, 300))]), 1);
        let regions = &editor.marks().regions;
        assert_eq!((regions.len(), regions[2].channel.name()), (3, "channel-1"));
    }

    #[test]
    fn boxes_stay_within_the_frame_and_large_enough_for_a_digit() {
        assert_eq!(moved(rect(570, 10), (50, -50), FRAME), rect(580, 0));
        let small = grown(rect(570, 10), (-100, -100), FRAME);
        assert_eq!((small.width, small.height), MIN_BOX_PX);
        let large = grown(rect(570, 10), (100, 5), FRAME);
        assert_eq!((large.width, large.height), (70, 35));
        let dragged = between((90.2, 80.0), (30.0, 700.0), FRAME).unwrap();
        assert_eq!(dragged, PixelRect { left: 30, top: 80, width: 60, height: 400 });
        assert_eq!(between((10.0, 10.0), (12.0, 30.0), FRAME), None);
    }
}
