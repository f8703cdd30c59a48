//! Map of the persistent gradients: the brightness gradients that stay the same over time.
//!
//! In frames far apart in time the gradients of the scenery have random directions and cancel. Those of the overlay
//! agree: fully where the text never changes, partly where digits change, because the shapes of digits share strokes.
//! With the gradients `g` of `N` frames,
//!
//! `(|sum g|^2 - sum |g|^2) / (N (N - 1))`
//!
//! estimates the squared persistent gradient. It is the mean of the products of gradients of two different frames, so
//! noise adds no bias.
//!
//! The mean gradient of a pixel has the direction `d`. In each frame the gradient of a digit's edge along `d` is
//! either near 0 or near `mean (g d)^2 / mean (g d)`. An edge is present in a frame if its gradient exceeds half of
//! the latter. The share of frames in which an edge is present separates digits from captions, icons and airframe,
//! whose edges are present in all frames.

use std::ops::Range;

use image::{GrayImage, imageops};
use imageproc::filter::box_filter;
use rayon::prelude::*;

use super::plane::Plane;
use crate::stats::nearest_rank;

/// Minimum persistent gradient of text, in grey levels over two pixels.
const MIN_GRADIENT: f32 = 3.0;
/// Minimum persistent share of the gradients' energy, for a place to contain text; it is low because digits change.
/// With few frames, [`MIN_SHARE_TIMES_FRAMES`] requires more.
const MIN_PERSISTENT_SHARE: f32 = 0.08;
/// Minimum persistent share of the gradients' energy times the number of frames, for a place to contain text: applies
/// with few frames. Scenery has about 1.
const MIN_SHARE_TIMES_FRAMES: f32 = 3.2;
/// Limit of the horizontal and of the vertical gradient, in grey levels over two pixels; larger ones are reduced to
/// it, so that a single glint does not outweigh all other frames.
const MAX_GRADIENT: f32 = 80.0;
/// Radius of the squares over which energies are averaged, in pixels: the number of pixels on each side of the middle
/// pixel.
const WINDOW_RADIUS_PX: usize = 2;
/// Minimum agreement of a frame with the persistent gradients, as a share of the median over frames; frames below it
/// have no overlay and are left out.
const MIN_AGREEMENT_SHARE: f32 = 0.4;
/// Minimum gradient of an edge in a frame for the edge to count as present there, as a share of the edge's typical
/// gradient.
const MIN_PRESENT_SHARE: f32 = 0.5;
/// Minimum gradient of an edge in a frame for the edge to be present there, in grey levels over two pixels; applies in
/// addition to [`MIN_PRESENT_SHARE`].
const MIN_PRESENT_GRADIENT: f32 = 6.0;

/// Number of rows of which the gradients of all frames are computed together. Set by judgement: large enough that the rows around
/// them, which are smoothed as well, cost little; few enough for the memory and for work on all cores.
const BAND_ROWS: usize = 32;
/// Number of rows above and below a band that its gradients need: one for the gradient, and one for smoothing.
const BAND_MARGIN: usize = 2;

/// The persistent gradients of a clip's frames, smoothed over three by three pixels.
pub(super) struct PersistentGradients {
    /// Root mean square of the persistent gradient over a small square of pixels, in grey levels over two pixels; 0
    /// where the gradient is too weak for text.
    pub(super) strength: Plane,
    /// The persistent gradient of each single pixel, in grey levels over two pixels: sharper than the strength, but
    /// noisy.
    pub(super) per_pixel: Plane,
    /// Share of the frames in which the edge of a pixel is present, 0 to 1, averaged over a small square of pixels. 0
    /// where the strength is 0.
    pub(super) presence: Plane,
    /// For each pixel a vector (horizontal, vertical): its direction is that of the mean gradient, its length the
    /// minimum gradient at which the pixel's edge is present in a frame.
    edges: Vec<[f32; 2]>,
    /// Indices of the frames that have the overlay, among the frames given.
    pub(super) kept: Vec<usize>,
}

impl PersistentGradients {
    /// The persistent gradients of frames of one size.
    pub(super) fn of(frames: &[&GrayImage]) -> Self {
        let sums = GradientSums::of(frames);
        let kept = frames_with_overlay(frames, &sums);
        let with_overlay: Vec<&GrayImage> =
            kept.iter().filter_map(|index| frames.get(*index).copied()).collect();
        let sums = if kept.len() < frames.len() { GradientSums::of(&with_overlay) } else { sums };
        let (per_pixel, strength) = (sums.per_pixel(), sums.strength());
        let edges = sums.edges();
        // The sums take twenty times the memory of a frame.
        drop(sums);
        let mut gradients =
            Self { presence: Plane::new(strength.width, strength.height), strength, per_pixel, edges, kept };
        gradients.presence = gradients.presence_shares(&with_overlay);
        gradients
    }

    /// Counts the pixels of a row whose edge is present in a frame.
    fn count_present_in_row(&self, frame: &SmoothBand, row: usize, counts: &mut [f32]) {
        let width = self.strength.width;
        frame.for_each_gradient_in_row(row, |x, across, down| {
            let Some(count) = counts.get_mut(x).filter(|_| self.strength.at(x, row) > 0.0) else { return };
            let [edge_across, edge_down] = self.edges.get(row * width + x).copied().unwrap_or_default();
            // Compares the gradient along the direction with its minimum, both multiplied by the minimum.
            let least = edge_across * edge_across + edge_down * edge_down;
            let is_present = least > 0.0 && across * edge_across + down * edge_down >= least;
            *count += f32::from(u8::from(is_present));
        });
    }

    /// For each pixel, the share of the frames in which its edge is present, averaged over a small square of pixels
    /// with the gradients as weights.
    fn presence_shares(&self, frames: &[&GrayImage]) -> Plane {
        let (width, height) = (self.strength.width, self.strength.height);
        let mut counted = Plane::new(width, height);
        for_each_band(&mut counted.values, (width, height), |rows, counts| {
            let has_text = |row: &usize| {
                self.strength.values.iter().skip(row * width).take(width).any(|value| *value > 0.0)
            };
            let with_text: Vec<usize> = rows.clone().filter(has_text).collect();
            for frame in frames.iter().filter(|_| !with_text.is_empty()) {
                let smooth = SmoothBand::of(frame, rows.clone());
                for row in &with_text {
                    let start = (row - rows.start) * width;
                    self.count_present_in_row(&smooth, *row, &mut counts[start..start + width]);
                }
            }
        });
        let frames = frames.len().max(1) as f32;
        let mut weights = self.per_pixel.clone();
        for ((weight, count), strength) in
            weights.values.iter_mut().zip(&mut counted.values).zip(&self.strength.values)
        {
            *weight = if *strength > 0.0 { *weight } else { 0.0 };
            *count *= *weight / frames;
        }
        let (mut shares, weights) = (counted.local_mean(1), weights.local_mean(1));
        for ((share, weight), strength) in
            shares.values.iter_mut().zip(&weights.values).zip(&self.strength.values)
        {
            *share = if *weight > 0.0 && *strength > 0.0 { *share / weight } else { 0.0 };
        }
        shares
    }
}

/// Gradients of one pixel summed over frames.
#[derive(Debug, Clone, Copy, Default)]
struct PixelSums {
    across: f32,
    down: f32,
    across_squared: f32,
    down_squared: f32,
    mixed: f32,
}

/// Gradients summed over frames.
struct GradientSums {
    /// Number of frames.
    count: usize,
    width: usize,
    height: usize,
    pixels: Vec<PixelSums>,
}

impl GradientSums {
    fn of(frames: &[&GrayImage]) -> Self {
        let (width, height) = frames.first().map_or((0, 0), |frame| frame.dimensions());
        let (width, height) = (width as usize, height as usize);
        let mut pixels = vec![PixelSums::default(); width * height];
        for_each_band(&mut pixels, (width, height), |rows, sums| {
            for frame in frames {
                let smooth = SmoothBand::of(frame, rows.clone());
                for (row, sums) in rows.clone().zip(sums.chunks_mut(width)) {
                    smooth.for_each_gradient_in_row(row, |x, across, down| {
                        if let Some(sum) = sums.get_mut(x) {
                            sum.across += across;
                            sum.down += down;
                            sum.across_squared += across * across;
                            sum.down_squared += down * down;
                            sum.mixed += across * down;
                        }
                    });
                }
            }
        });
        Self { count: frames.len(), width, height, pixels }
    }

    fn plane(&self, value: impl Fn(&PixelSums) -> f32) -> Plane {
        Plane { width: self.width, height: self.height, values: self.pixels.iter().map(value).collect() }
    }

    /// The squared persistent gradient of each pixel; noise can make it negative.
    fn persistent_energy(&self) -> Plane {
        let pairs = (self.count as f32 * (self.count as f32 - 1.0)).max(1.0);
        self.plane(|sum| (sum.across * sum.across + sum.down * sum.down - sum.energy()) / pairs)
    }

    fn per_pixel(&self) -> Plane {
        let mut gradient = self.persistent_energy();
        gradient.values.iter_mut().for_each(|value| *value = value.max(0.0).sqrt());
        gradient
    }

    fn strength(&self) -> Plane {
        let count = self.count as f32;
        let share = MIN_PERSISTENT_SHARE.max(MIN_SHARE_TIMES_FRAMES / count);
        let energy = self.plane(PixelSums::energy).local_mean(WINDOW_RADIUS_PX);
        let mut strength = self.persistent_energy().local_mean(WINDOW_RADIUS_PX);
        for (value, energy) in strength.values.iter_mut().zip(&energy.values) {
            let is_text = *value >= MIN_GRADIENT * MIN_GRADIENT && *value >= share * energy / count.max(1.0);
            *value = if is_text { value.sqrt() } else { 0.0 };
        }
        strength
    }

    /// For each pixel, the direction of its mean gradient as a vector (horizontal, vertical), whose length is the
    /// minimum gradient of an edge that counts as present.
    fn edges(&self) -> Vec<[f32; 2]> {
        self.pixels.iter().map(PixelSums::edge).collect()
    }
}

impl PixelSums {
    fn energy(&self) -> f32 {
        self.across_squared + self.down_squared
    }

    fn edge(&self) -> [f32; 2] {
        let length = self.across.hypot(self.down);
        if length <= 0.0 {
            return [0.0; 2];
        }
        let (across, down) = (self.across / length, self.down / length);
        let squared = across * across * self.across_squared
            + down * down * self.down_squared
            + 2.0 * across * down * self.mixed;
        let least = (MIN_PRESENT_SHARE * squared / length).clamp(MIN_PRESENT_GRADIENT, MAX_GRADIENT);
        [across * least, down * least]
    }
}

/// The numbers of the frames whose gradients agree with the persistent ones. Those without overlay, as after a loss of signal, are
/// left out.
fn frames_with_overlay(frames: &[&GrayImage], sums: &GradientSums) -> Vec<usize> {
    let strength = sums.strength();
    let agreement = |frame: &&GrayImage| {
        let smooth = SmoothBand::of(frame, 0..sums.height);
        let mut sum = 0.0;
        for row in 0..sums.height {
            smooth.for_each_gradient_in_row(row, |x, across, down| {
                if let Some(pixel) =
                    sums.pixels.get(row * sums.width + x).filter(|_| strength.at(x, row) > 0.0)
                {
                    sum += across * pixel.across + down * pixel.down;
                }
            });
        }
        sum
    };
    let agreements: Vec<f32> = frames.par_iter().map(agreement).collect();
    let min_agreement = MIN_AGREEMENT_SHARE * nearest_rank(&mut agreements.clone(), 0.5);
    (0..frames.len()).filter(|index| agreements[*index] >= min_agreement).collect()
}

/// Calls `visit` for bands of [`BAND_ROWS`] rows, on all cores, with the rows and their values. `size` is the width and height.
fn for_each_band<T: Send>(
    values: &mut [T],
    (width, height): (usize, usize),
    visit: impl Fn(Range<usize>, &mut [T]) + Sync,
) {
    values.par_chunks_mut(width.max(1) * BAND_ROWS).enumerate().for_each(|(band, values)| {
        let first = band * BAND_ROWS;
        visit(first..(first + BAND_ROWS).min(height), values);
    });
}

/// Some rows of a frame, smoothed over three by three pixels, with the rows around them that their gradients need. Smoothed copies
/// of all frames would take as much memory as the frames.
struct SmoothBand {
    /// Number of the first row of `rows` in the frame.
    first: usize,
    rows: GrayImage,
}

impl SmoothBand {
    fn of(frame: &GrayImage, rows: Range<usize>) -> Self {
        let first = rows.start.saturating_sub(BAND_MARGIN);
        let end = (rows.end + BAND_MARGIN).min(frame.height() as usize);
        let cut = imageops::crop_imm(frame, 0, first as u32, frame.width(), (end - first) as u32);
        Self { first, rows: box_filter(&cut.to_image(), 1, 1) }
    }

    /// Calls `visit` with each inner column of a row of the frame and its horizontal and vertical gradient.
    #[inline(always)]
    fn for_each_gradient_in_row(&self, row: usize, visit: impl FnMut(usize, f32, f32)) {
        for_each_gradient_in_row(&self.rows, row - self.first, visit);
    }
}

/// Calls `visit` for each column of a row, except the first and the last, with the column and its horizontal and
/// vertical gradient: the grey level of the right neighbour minus that of the left, and of the lower neighbour minus
/// that of the upper.
#[inline(always)]
fn for_each_gradient_in_row(frame: &GrayImage, row: usize, mut visit: impl FnMut(usize, f32, f32)) {
    let (width, pixels) = (frame.width() as usize, frame.as_raw());
    let Some(start) = row.checked_sub(1).map(|above| above * width) else { return };
    let (Some(above), Some(here), Some(below)) = (
        pixels.get(start..start + width),
        pixels.get(start + width..start + 2 * width),
        pixels.get(start + 2 * width..start + 3 * width),
    ) else {
        return;
    };
    for (x, ((sides, up), down)) in
        here.windows(3).zip(above.iter().skip(1)).zip(below.iter().skip(1)).enumerate()
    {
        let [left, _, right] = sides else { continue };
        let across = (f32::from(*right) - f32::from(*left)).clamp(-MAX_GRADIENT, MAX_GRADIENT);
        let downward = (f32::from(*down) - f32::from(*up)).clamp(-MAX_GRADIENT, MAX_GRADIENT);
        visit(x + 1, across, downward);
    }
}
