//! Clean shapes: what every told digit looks like once its look-alikes in the sample are averaged.
//!
//! A single picture of a digit is noisy and has its own background. The sample shows each digit many
//! times, at places the layout tells; those most like a told picture are averaged with it, whatever
//! the picture was told to be.

use ndarray::{Array2, s};
use rayon::prelude::*;

use super::align::CharacterCut;
use super::layout::{Layout, advance, edges};
use super::{Group, ToldRegion};
use crate::recognise::{Sample, patch_at};

/// Digits of a text that are looked at where its setup does not say how many it has.
const DIGITS_LOOKED_AT: u8 = 4;
/// How far a cell may stand off the layout, in working pixels.
const SLACK_PX: usize = 1;
/// Look-alikes averaged at most.
const MOST_ALIKE: usize = 24;
/// The look-alike that sets the measure: those are taken that are not much less alike.
const MEASURE: usize = 3;
/// How much less alike, as a share of what the measure lacks.
const LESS_ALIKE: f32 = 1.35;
/// One sampled frame in so many is looked at: neighbours in time show the same.
const SAMPLE_STEP: usize = 2;
/// Shapes may be off by this much when they are compared, in working pixels.
const OFF_PX: isize = 1;

/// Strokes before dark scenery stand out up to so many times more than before bright scenery.
const MOST_CONTRAST: f32 = 1.6;

/// A told digit without most of its noise.
#[derive(Debug, Clone)]
pub(super) struct CleanShape {
    /// Features of the cell.
    pub(super) features: Array2<f32>,
    /// Mean square of the difference between the told picture and one that shows the same; `None`
    /// where the sample has none.
    pub(super) noise: Option<f32>,
    /// Mean square of the scenery that was taken off its cell.
    pub(super) scenery: f32,
}

/// The clean shape of each cut, in their order.
pub(super) fn shapes(
    group: &Group<'_>,
    layout: &Layout,
    cuts: &[CharacterCut],
    sample: &Sample,
) -> Vec<CleanShape> {
    let cells = cells(group, layout, cuts, sample);
    let shape = |cut: &CharacterCut| {
        let (features, noise) = averaged(&cut.features, &cells);
        CleanShape { features, noise, scenery: cut.scenery_in(group) }
    };
    cuts.par_iter().map(shape).collect()
}

/// A picture with the cells most like it, and the mean square of its difference from one of these.
fn averaged(picture: &Array2<f32>, cells: &[Array2<f32>]) -> (Array2<f32>, Option<f32>) {
    let size = picture.dim();
    let mut alike: Vec<(f32, &Array2<f32>, (usize, usize))> = cells
        .iter()
        .filter_map(|cell| best_place(picture, cell).map(|(like, at)| (like, cell, at)))
        .collect();
    alike.sort_by(|one, other| other.0.total_cmp(&one.0));
    let least = alike.get(MEASURE).map_or(1.0, |(like, ..)| 1.0 - LESS_ALIKE * (1.0 - like));
    let taken = alike.iter().take(MOST_ALIKE).take_while(|(like, ..)| *like >= least);
    let measured = alike.get(MEASURE).map(|(_, cell, at)| residual(picture, &part(cell, *at, size)));
    let (mut sum, mut count) = (picture.clone(), 1.0);
    for (_, cell, at) in taken {
        sum += &part(cell, *at, size);
        count += 1.0;
    }
    (sum / count, measured)
}

fn part(cell: &Array2<f32>, (top, left): (usize, usize), (rows, cols): (usize, usize)) -> Array2<f32> {
    cell.slice(s![top..top + rows, left..left + cols]).to_owned()
}

/// The highest correlation of a shape with a larger cell, and where.
fn best_place(shape: &Array2<f32>, cell: &Array2<f32>) -> Option<(f32, (usize, usize))> {
    let (rows, cols) = (cell.nrows().checked_sub(shape.nrows())?, cell.ncols().checked_sub(shape.ncols())?);
    let own: f32 = shape.iter().map(|value| value * value).sum();
    let places = (0..=rows).flat_map(|top| (0..=cols).map(move |left| (top, left)));
    let rated = places.map(|(top, left)| {
        let (mut product, mut energy) = (0.0, 0.0);
        for (row, line) in shape.rows().into_iter().enumerate() {
            let other = cell.slice(s![top + row, left..left + shape.ncols()]);
            for (one, other) in line.iter().zip(&other) {
                product += one * other;
                energy += other * other;
            }
        }
        (product / (own * energy).sqrt().max(f32::MIN_POSITIVE), (top, left))
    });
    rated.max_by(|one, other| one.0.total_cmp(&other.0))
}

/// All places of the sample where a digit may stand, with some slack on every side.
fn cells(group: &Group<'_>, layout: &Layout, cuts: &[CharacterCut], sample: &Sample) -> Vec<Array2<f32>> {
    let cols = advance('0', layout.pitch, layout.point).ceil() as usize;
    let size = (group.rows + 2 * SLACK_PX, cols + 2 * SLACK_PX);
    let mut cells = Vec::new();
    for (index, told) in group.regions.iter().enumerate() {
        let top = cuts.iter().find(|cut| cut.region == index).map_or(told.top, |cut| cut.top);
        let lefts = lefts(told, layout, index);
        for patch in sample.regions.get(told.number).into_iter().flatten().step_by(SAMPLE_STEP) {
            let features = told.backdrop.bare(group.features(patch));
            let cell =
                |left: &f32| patch_at(&features, top.checked_sub(SLACK_PX)?, left - SLACK_PX as f32, size);
            cells.extend(lefts.iter().filter_map(cell));
        }
    }
    cells
}

/// Left edges of the digits of all texts that a region may show.
fn lefts(told: &ToldRegion<'_>, layout: &Layout, index: usize) -> Vec<f32> {
    let (mark, after) = told.region.parted();
    let after = usize::from(after);
    let digits = usize::from(told.region.digits.unwrap_or(DIGITS_LOOKED_AT)).max(after + 1);
    let mut lefts: Vec<f32> = (1..=digits - after)
        .flat_map(|whole| {
            let text = placeholder(whole, mark, after);
            let edges = edges(&text, &layout.lines[index], layout.pitch, layout.point);
            text.chars()
                .zip(edges)
                .filter(|(letter, _)| *letter != mark)
                .map(|(_, edge)| edge)
                .collect::<Vec<_>>()
        })
        .collect();
    lefts.sort_by(f32::total_cmp);
    lefts.dedup_by(|one, other| (*one - *other).abs() < 1.0);
    lefts
}

/// A text of some digits before and after the mark.
fn placeholder(whole: usize, mark: char, after: usize) -> String {
    let mark = if after > 0 { mark.to_string() } else { String::new() };
    format!("{}{mark}{}", "0".repeat(whole), "0".repeat(after))
}

/// Mean square of the difference of two shapes, either of which may be off by a little and stand out less.
pub(super) fn residual(one: &Array2<f32>, other: &Array2<f32>) -> f32 {
    let energy = |shape: &Array2<f32>| shape.iter().map(|level| level * level).sum::<f32>();
    let ratio = (energy(other) / energy(one).max(f32::MIN_POSITIVE)).sqrt();
    let gain = ratio.clamp(1.0 / MOST_CONTRAST, MOST_CONTRAST).sqrt();
    let (one, other) = (one * gain, other / gain);
    let shifts = (-OFF_PX..=OFF_PX).flat_map(|rows| (-OFF_PX..=OFF_PX).map(move |cols| (rows, cols)));
    shifts.map(|(rows, cols)| shifted_residual(&one, &other, rows, cols)).fold(f32::INFINITY, f32::min)
}

fn shifted_residual(one: &Array2<f32>, other: &Array2<f32>, down: isize, right: isize) -> f32 {
    let (mut sum, mut count) = (0.0, 0);
    for ((row, col), level) in one.indexed_iter() {
        let (Some(row), Some(col)) = (row.checked_add_signed(down), col.checked_add_signed(right)) else {
            continue;
        };
        if let Some(other) = other.get((row, col)) {
            sum += (level - other).powi(2);
            count += 1;
        }
    }
    sum / count.max(1) as f32
}
