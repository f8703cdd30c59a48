//! Layout: where the characters of told readings stand, before any shape is known.
//!
//! Overlays set digits at one pitch. For every pitch, width of the decimal point, alignment and
//! position, the told texts say where strokes must be and where not; the layout that the strokes
//! contradict least is taken.

use rayon::prelude::*;

use crate::recognise::Anchor;
use crate::recognise::is_separator;

/// The strokes of one labelled reading.
#[derive(Debug, Clone)]
pub(super) struct ToldInk {
    /// The label.
    text: String,
    /// Energy of every column of the window, floor taken off, summing to 1.
    ink: Vec<f32>,
    /// Sums of the ink, and of the ink times the middle of its column, over all columns before each.
    sums: Vec<(f32, f32)>,
}

impl ToldInk {
    /// A labelled text with the energy of every column of its window.
    pub(super) fn new(text: String, ink: Vec<f32>) -> Self {
        let mut sum = (0.0, 0.0);
        let mut sums = vec![sum];
        for (column, share) in ink.iter().enumerate() {
            sum = (sum.0 + share, sum.1 + share * (column as f32 + 0.5));
            sums.push(sum);
        }
        Self { text, ink, sums }
    }

    /// Ink left of a fractional column.
    fn before(&self, column: f32) -> f32 {
        let column = column.clamp(0.0, self.ink.len() as f32);
        let whole = column as usize;
        self.sums[whole].0 + self.ink.get(whole).map_or(0.0, |share| share * (column - whole as f32))
    }

    /// Ink between two fractional columns.
    fn between(&self, left: f32, right: f32) -> f32 {
        (self.before(right) - self.before(left)).max(0.0)
    }

    /// Distance of the strokes' centre from the cell's centre, in cell widths.
    fn centre_offset(&self, left: f32, right: f32) -> f32 {
        let (first, last) = (left.max(0.0) as usize, (right.max(0.0) as usize).min(self.ink.len()));
        let (before, after) = (self.sums[first.min(last)], self.sums[last]);
        let (weight, moment) = (after.0 - before.0, after.1 - before.1);
        if weight > 1e-6 { (moment / weight - 0.5 * (left + right)) / (right - left) } else { 0.5 }
    }
}

/// The told readings of one region.
#[derive(Debug, Clone)]
pub(super) struct RegionInk {
    pub(super) told: Vec<ToldInk>,
}

/// Where the text of a region stands. Columns are those of the region's window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line {
    /// What stays put when the text's length changes.
    pub(super) anchor: Anchor,
    /// Its column.
    pub(super) position: f32,
}

/// Advances of a face's characters, in working pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Advances {
    /// Of digits and the minus sign.
    pub(super) pitch: f32,
    /// Of the digit 1, which is narrower in proportional faces.
    pub(super) one: f32,
    /// Of the decimal point.
    pub(super) point: f32,
}

impl Advances {
    /// Advance of a character.
    pub(super) fn of(&self, character: char) -> f32 {
        match character {
            '1' => self.one,
            mark if is_separator(mark) => self.point,
            _ => self.pitch,
        }
    }

    fn of_text(&self, text: &str) -> f32 {
        text.chars().map(|character| self.of(character)).sum()
    }

    /// Left edge of every character of a text, and the right edge of the last.
    pub(super) fn edges(&self, text: &str, line: &Line) -> Vec<f32> {
        let mut edge = line.position - line.anchor.share_before() * self.of_text(text);
        let mut edges = vec![edge];
        for character in text.chars() {
            edge += self.of(character);
            edges.push(edge);
        }
        edges
    }
}

/// The advances of a face and where each region's text stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layout {
    pub(super) advances: Advances,
    /// One line a region.
    pub(super) lines: Vec<Line>,
    /// How much the strokes contradict the layout; 0 is not at all.
    pub(super) cost: f32,
}

/// Widths of the decimal point tried, in pitches.
const POINT_WIDTHS: [f32; 7] = [1.0, 0.3, 0.36, 0.42, 0.48, 0.54, 0.62];

/// Widths of the decimal point tried once the pitch is known, in pitches.
const FINE_POINT_WIDTHS: std::ops::RangeInclusive<u8> = 10..=35;

/// Step of the pitch in working pixels.
const PITCH_STEP_PX: f32 = 0.2;

/// Pitch limits in text heights.
const PITCH_LIMITS: (f32, f32) = (0.35, 1.35);

/// Weight of strokes on the borders between characters, as a share of those inside.
const BORDER_WEIGHT: f32 = 0.35;

/// Weight of strokes outside the text.
const OUTSIDE_WEIGHT: f32 = 2.0;

/// Weight of the squared distance between a digit's strokes and the middle of its cell, in cell
/// widths: a digit half a stroke off its middle counts about as much as one stroke outside the text.
const UNEVEN_WEIGHT: f32 = 16.0;

/// Layouts handed on at most, for the shapes to decide between: where there is noise strokes prefer pitches that are too
/// wide.
const MOST_LAYOUTS: usize = 40;

/// The layouts that the strokes contradict least, best first, of regions written in the same face,
/// whose text is `height` working pixels high. No two have the same pitch.
pub(super) fn find_layouts(regions: &[RegionInk], height: f32) -> Vec<Layout> {
    let points = if have(regions, is_separator) { &POINT_WIDTHS[..] } else { &POINT_WIDTHS[..1] };
    let steps = ((PITCH_LIMITS.1 - PITCH_LIMITS.0) * height / PITCH_STEP_PX) as usize;
    let pitches =
        (0..=steps).into_par_iter().map(|step| PITCH_LIMITS.0 * height + step as f32 * PITCH_STEP_PX);
    let best_point = |pitch: f32| {
        let layouts = points
            .iter()
            .filter_map(|share| layout_at(regions, Advances { pitch, one: pitch, point: share * pitch }));
        layouts.min_by(|a, b| a.cost.total_cmp(&b.cost))
    };
    let mut layouts: Vec<Layout> = pitches.filter_map(best_point).collect();
    layouts.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    layouts.truncate(MOST_LAYOUTS);
    layouts
}

/// The same pitch with other widths of the decimal point, in steps of a fiftieth of the pitch.
pub(super) fn with_other_points(layout: &Layout, regions: &[RegionInk]) -> Vec<Layout> {
    if !have(regions, is_separator) {
        return Vec::new();
    }
    let pitch = layout.advances.pitch;
    let widths = FINE_POINT_WIDTHS.map(|fiftieths| pitch * f32::from(fiftieths) / 50.0).chain([pitch]);
    widths.filter_map(|point| layout_at(regions, Advances { point, ..layout.advances })).collect()
}

/// Advances of the digit 1 tried in proportional faces, in pitches, and the pitches, over the one that is best where all
/// digits are equally wide: that is too small where a 1 is narrower.
const NARROW_ONES: [f32; 6] = [0.9, 0.8, 0.7, 0.6, 0.5, 0.4];
const WIDER_PITCHES: [f32; 5] = [1.0, 1.03, 1.06, 1.1, 1.15];

/// Layouts like this one with a narrower 1.
pub(super) fn with_narrow_one(layout: &Layout, regions: &[RegionInk]) -> Vec<Layout> {
    if !have(regions, |character| character == '1') {
        return Vec::new();
    }
    let Advances { pitch, point, .. } = layout.advances;
    let both = WIDER_PITCHES.iter().flat_map(|wider| NARROW_ONES.iter().map(move |narrow| (wider, narrow)));
    let advances = both.map(|(wider, narrow)| {
        let pitch = wider * pitch;
        Advances { pitch, one: narrow * pitch, point }
    });
    advances.collect::<Vec<_>>().into_par_iter().filter_map(|advances| layout_at(regions, advances)).collect()
}

/// Whether some labelled text holds a character of a kind.
fn have(regions: &[RegionInk], kind: impl Fn(char) -> bool) -> bool {
    regions.iter().flat_map(|region| &region.told).any(|reading| reading.text.chars().any(&kind))
}

fn layout_at(regions: &[RegionInk], advances: Advances) -> Option<Layout> {
    let mut lines = Vec::new();
    let mut cost = 0.0;
    for region in regions {
        let (line, line_cost) = best_line(region, &advances)?;
        lines.push(line);
        cost += line_cost;
    }
    Some(Layout { advances, lines, cost })
}

/// The alignment and position with the least cost; the cost is summed over the labelled readings.
fn best_line(region: &RegionInk, advances: &Advances) -> Option<(Line, f32)> {
    let cols = region.told.first()?.ink.len();
    let widest = region.told.iter().map(|reading| advances.of_text(&reading.text)).fold(0.0, f32::max);
    if widest > cols as f32 {
        return None;
    }
    let positions = (0..=2 * cols).map(|half| 0.5 * half as f32);
    positions
        .flat_map(|position| Anchor::ALL.map(|anchor| Line { anchor, position }))
        .filter_map(|line| {
            let costs = region.told.iter().map(|reading| text_cost(reading, &line, advances));
            Some((line, costs.sum::<Option<f32>>()?))
        })
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

/// Strokes outside the text, characters without strokes, strokes on borders; `None` when the text
/// would leave the window.
fn text_cost(told: &ToldInk, line: &Line, advances: &Advances) -> Option<f32> {
    let edges = advances.edges(&told.text, line);
    let (first, last) = (*edges.first()?, *edges.last()?);
    if first < 0.0 || last > told.ink.len() as f32 {
        return None;
    }
    let inside = told.between(first, last);
    let digits = told.text.chars().filter(char::is_ascii_digit).count().max(1) as f32;
    let mut empty = 0.0;
    let mut uneven = 0.0;
    for (character, pair) in told.text.chars().zip(edges.windows(2)) {
        let share = told.between(pair[0], pair[1]) * digits;
        if character.is_ascii_digit() {
            empty += (0.55 - share).max(0.0);
            uneven += told.centre_offset(pair[0], pair[1]).powi(2);
        } else {
            empty += (0.06 - share).max(0.0);
        }
    }
    let density = inside / (last - first).max(1.0);
    let borders: f32 = edges.iter().map(|edge| told.between(edge - 0.5, edge + 0.5)).sum();
    let border_share = borders / edges.len() as f32 / density.max(1e-6);
    Some(
        OUTSIDE_WEIGHT * (1.0 - inside)
            + empty
            + BORDER_WEIGHT * border_share
            + UNEVEN_WEIGHT * uneven / digits,
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const ADVANCES: Advances = Advances { pitch: 10.0, one: 10.0, point: 4.0 };

    /// Strokes of a text set right-aligned at column 50: every character a block of ink, digits 7
    /// columns wide in cells of 10, the point 2 wide in a cell of 4.
    fn set(text: &str) -> ToldInk {
        let line = Line { anchor: Anchor::Right, position: 50.0 };
        let mut ink = vec![0.0; 60];
        for (character, pair) in text.chars().zip(ADVANCES.edges(text, &line).windows(2)) {
            let margin = if is_separator(character) { 1 } else { 2 };
            ink[pair[0] as usize + margin..pair[1] as usize - 1].fill(1.0);
        }
        let total: f32 = ink.iter().sum();
        ToldInk::new(text.to_owned(), ink.iter().map(|value| value / total).collect())
    }

    #[test]
    fn pitch_and_alignment_follow_from_told_texts_of_two_lengths() {
        let region = RegionInk { told: vec![set("8.5"), set("12.3"), set("9.9")] };
        let layouts = find_layouts(&[region], 14.0);
        let layout = layouts.first().unwrap();
        assert!((layout.advances.pitch - 10.0).abs() < 0.6, "{layout:?}");
        assert!((layout.advances.point - 4.0).abs() < 1.1, "{layout:?}");
        assert_eq!(layout.lines[0].anchor, Anchor::Right);
        assert!((layout.lines[0].position - 50.0).abs() < 1.1, "{layout:?}");
    }
}
