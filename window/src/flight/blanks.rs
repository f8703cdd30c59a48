//! Blank readings in a plot: marks along its bottom, described in words under the pointer and for screen
//! readers.

use egui::{Painter, Pos2, Rangef, Rect, TextStyle, Ui, Vec2, pos2};
use egui_plot::{PlotPoint, PlotTransform};

use crate::theme::Colours;
use pairspeed::flight::Flight;
use pairspeed::model::channel::Channel;
use pairspeed::output::blanks::BlankReasons;
use pairspeed::output::reading_statistics::blank_stretches;
use pairspeed::series::{Blank, ChannelReadings, Readings};

/// Height of the mark of a short interval, in points. It is lower than [`LONG`], so that single frames do not look
/// like a gap. Set by judgement.
const SHORT: f32 = 3.5;

/// Height of the mark of a long interval, in points (set by judgement).
const LONG: f32 = 7.0;
/// Minimum duration of a long interval, in seconds (set by judgement).
const LONG_S: f64 = 0.5;
/// Minimum width of a mark, in points (set by judgement).
const MIN_WIDTH: f32 = 1.0;
/// Maximum distances of the pointer at which a mark is described, in points: to the left and right of the mark,
/// and above the bottom of the plot (set by judgement).
const HOVER_DISTANCE: Vec2 = Vec2::new(3.0, 14.0);

/// An interval without readings, drawn as a mark.
#[derive(Debug, Clone, PartialEq)]
struct Mark {
    start_s: f64,
    end_s: f64,
    /// Number of blank frames, and the most frequent reason; `None` if nothing was recorded in the interval.
    left_blank: Option<(usize, Blank)>,
}

/// The intervals without readings of one channel over a whole flight, computed once per flight.
pub(super) struct Blanks {
    channel: Channel,
    marks: Vec<Mark>,
    /// The limits and unknown digits that the wording of the reasons depends on.
    reasons: BlankReasons,
    /// For each frame the number of blank frames before it, followed by the total.
    blank_before: Vec<usize>,
}

/// The blank intervals within the time shown.
pub(super) struct VisibleBlanks<'a> {
    marks: Vec<&'a Mark>,
    reasons: &'a BlankReasons,
    /// Number of frames within the time shown.
    frames: usize,
    /// Number of blank frames within the time shown.
    blank: usize,
}

impl Blanks {
    /// The blank intervals of every channel of a flight.
    pub fn of_all(flight: &Flight) -> Vec<Self> {
        let readings = &flight.series.readings;
        let of = |readout| Self::of(readings, readout, BlankReasons::of(flight, readout));
        readings.channels.iter().map(of).collect()
    }

    fn of(readings: &Readings, readout: &ChannelReadings, reasons: BlankReasons) -> Self {
        let blanks = blank_stretches(&readings.time_s, readout).into_iter().map(|stretch| Mark {
            start_s: stretch.start_s,
            end_s: stretch.end_s,
            left_blank: Some((stretch.frames, stretch.reason)),
        });
        let gaps =
            readings.gaps.iter().map(|gap| Mark { start_s: gap.start_s, end_s: gap.end_s, left_blank: None });
        let mut so_far = 0;
        let mut blank_before = vec![so_far];
        for index in 0..readings.time_s.len() {
            so_far += usize::from(readout.outcome(index) != Blank::No);
            blank_before.push(so_far);
        }
        Self { channel: readout.channel.clone(), marks: gaps.chain(blanks).collect(), reasons, blank_before }
    }

    /// Channel whose readings these are.
    pub fn channel(&self) -> &Channel {
        &self.channel
    }

    /// The blank intervals within the time shown, from `from_s` to `to_s`; `time_s` are the times of all
    /// frames, all in seconds.
    pub fn visible(&self, time_s: &[f64], (from_s, to_s): (f64, f64)) -> VisibleBlanks<'_> {
        let shown = time_s.partition_point(|time_s| *time_s < from_s)
            ..time_s.partition_point(|time_s| *time_s <= to_s);
        let before = |index: usize| self.blank_before.get(index).copied().unwrap_or_default();
        VisibleBlanks {
            marks: self.marks.iter().filter(|mark| mark.end_s >= from_s && mark.start_s <= to_s).collect(),
            reasons: &self.reasons,
            frames: shown.len(),
            blank: before(shown.end) - before(shown.start),
        }
    }
}

impl VisibleBlanks<'_> {
    /// Draws the marks along the bottom of a plot, and a legend next to the plot's name.
    pub fn draw(&self, ui: &Ui, transform: &PlotTransform, name: Rect, colours: &Colours) {
        if self.marks.is_empty() {
            return;
        }
        let frame = *transform.frame();
        let painter: Painter = ui.painter().with_clip_rect(frame.intersect(ui.clip_rect()));
        let mut drawn_to = f32::NEG_INFINITY;
        for mark in &self.marks {
            let across = across(mark, transform);
            // Short marks that overlap the previous mark are skipped: thousands of single frames can be blank.
            if !mark.is_long() && across.max <= drawn_to {
                continue;
            }
            if mark.left_blank.is_some() {
                drawn_to = across.max;
            }
            let height = if mark.is_long() { LONG } else { SHORT };
            let rect = Rect::from_x_y_ranges(across, frame.bottom() - height..=frame.bottom());
            painter.rect_filled(rect, 0.0, colours.blank);
        }
        let swatch =
            Rect::from_min_size(name.right_center() + Vec2::new(14.0, -LONG / 2.0), Vec2::splat(LONG));
        painter.rect_filled(swatch, 0.0, colours.blank);
        let font = TextStyle::Small.resolve(ui.style());
        let at = pos2(swatch.right() + 5.0, name.top());
        painter.text(at, egui::Align2::LEFT_TOP, "left blank", font, colours.ink);
    }

    /// The number of blank frames in words, for the name of a plot, such as `12 of 900 frames left blank`.
    pub fn in_words(&self) -> String {
        match self.blank {
            0 => "no frame left blank".to_owned(),
            blank => format!("{blank} of {} frames left blank", self.frames),
        }
    }

    /// Description of the blank interval under the pointer; `None` if the pointer is on no mark.
    pub fn at(&self, transform: &PlotTransform, pointer: Pos2) -> Option<String> {
        let frame = transform.frame();
        if !(frame.bottom() - HOVER_DISTANCE.y..=frame.bottom()).contains(&pointer.y) {
            return None;
        }
        let off = |mark: &Mark| {
            let across = across(mark, transform);
            (across.min - pointer.x).max(pointer.x - across.max).max(0.0)
        };
        let nearest = self.marks.iter().min_by(|one, other| off(one).total_cmp(&off(other)))?;
        (off(nearest) <= HOVER_DISTANCE.x).then(|| nearest.in_words(self.reasons))
    }
}

impl Mark {
    fn is_long(&self) -> bool {
        self.left_blank.is_none() || self.end_s - self.start_s >= LONG_S
    }

    fn in_words(&self, reasons: &BlankReasons) -> String {
        let span = format!("{:.2} to {:.2} s", self.start_s, self.end_s);
        match self.left_blank {
            Some((frames, reason)) => {
                let frames = if frames == 1 { "1 frame".to_owned() } else { format!("{frames} frames") };
                format!("Left blank, {span}: {frames}, {}", reasons.words(reason))
            }
            None => format!("Nothing recorded, {span}"),
        }
    }
}

/// Horizontal position of a mark on the screen, starting at a whole point.
fn across(mark: &Mark, transform: &PlotTransform) -> Rangef {
    let x = |time_s| transform.position_from_point(&PlotPoint::new(time_s, 0.0)).x;
    let (start, end) = (x(mark.start_s).floor(), x(mark.end_s));
    Rangef::new(start, end.max(start + MIN_WIDTH))
}
