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

use image::GrayImage;
use imageproc::filter::box_filter;
use rayon::prelude::*;

use super::plane::Plane;
use crate::stats::nearest_rank;

/// Minimum persistent gradient of text, in grey levels over two pixels.
const MIN_GRADIENT: f32 = 3.0;
/// Minimum share of the gradients' energy that is persistent where digits change, with many frames.
const MIN_PERSISTENT_SHARE: f32 = 0.08;
/// The same share times the number of frames, with few frames; scenery reaches about 1.
const MIN_PERSISTENT_FRAMES: f32 = 3.2;
/// Gradients are limited to this, in grey levels over two pixels, so that a single glint does not outweigh all other
/// frames.
const MAX_GRADIENT: f32 = 80.0;
/// Radius of the windows over which energies are averaged, in pixels.
const WINDOW_RADIUS_PX: usize = 2;
/// A frame whose agreement with the persistent gradients is below this share of the median has no overlay.
const MIN_AGREEMENT_SHARE: f32 = 0.4;

/// The persistent gradients of a clip's frames.
pub(super) struct PersistentGradients {
    /// Root mean square over small windows, in grey levels over two pixels; 0 where it is too weak for text.
    pub(super) strength: Plane,
    /// The gradient of each single pixel, in the same unit: sharper than the strength, but noisy.
    pub(super) per_pixel: Plane,
    /// The frames that have the overlay, smoothed over three by three pixels.
    pub(super) frames: Vec<GrayImage>,
}

impl PersistentGradients {
    /// The persistent gradients of frames of one size.
    pub(super) fn of(frames: &[&GrayImage]) -> Self {
        let smooth: Vec<GrayImage> = frames.par_iter().map(|frame| box_filter(frame, 1, 1)).collect();
        let frames = frames_with_overlay(&smooth, &GradientSums::of(&smooth));
        let sums = GradientSums::of(&frames);
        let (per_pixel, strength) = (sums.per_pixel(), sums.strength());
        Self { strength, per_pixel, frames }
    }
}

/// Gradients summed over frames.
struct GradientSums {
    /// Number of frames.
    count: usize,
    /// Sum of the horizontal gradients.
    across: Plane,
    /// Sum of the vertical gradients.
    down: Plane,
    /// Sum of the squared gradients.
    energy: Plane,
}

impl GradientSums {
    fn of(frames: &[GrayImage]) -> Self {
        let (width, height) = frames.first().map_or((0, 0), |frame| frame.dimensions());
        let plane = || Plane::new(width as usize, height as usize);
        let mut sums = Self { count: frames.len(), across: plane(), down: plane(), energy: plane() };
        for frame in frames {
            for_each_gradient(frame, |at, across, down| {
                if let (Some(sum_across), Some(sum_down), Some(energy)) = (
                    sums.across.values.get_mut(at),
                    sums.down.values.get_mut(at),
                    sums.energy.values.get_mut(at),
                ) {
                    *sum_across += across;
                    *sum_down += down;
                    *energy += across * across + down * down;
                }
            });
        }
        sums
    }

    /// The squared persistent gradient of each pixel; noise can make it negative.
    fn persistent_energy(&self) -> Plane {
        let count = self.count as f32;
        let mut squared = Plane::new(self.energy.width, self.energy.height);
        let sums = self.across.values.iter().zip(&self.down.values).zip(&self.energy.values);
        for (out, ((across, down), energy)) in squared.values.iter_mut().zip(sums) {
            *out = (across * across + down * down - energy) / (count * (count - 1.0)).max(1.0);
        }
        squared
    }

    fn per_pixel(&self) -> Plane {
        let mut gradient = self.persistent_energy();
        gradient.values.iter_mut().for_each(|value| *value = value.max(0.0).sqrt());
        gradient
    }

    fn strength(&self) -> Plane {
        let count = self.count as f32;
        let share = MIN_PERSISTENT_SHARE.max(MIN_PERSISTENT_FRAMES / count);
        let energy = self.energy.local_mean(WINDOW_RADIUS_PX);
        let mut strength = self.persistent_energy().local_mean(WINDOW_RADIUS_PX);
        for (value, energy) in strength.values.iter_mut().zip(&energy.values) {
            let is_text = *value >= MIN_GRADIENT * MIN_GRADIENT && *value >= share * energy / count.max(1.0);
            *value = if is_text { value.sqrt() } else { 0.0 };
        }
        strength
    }
}

/// The frames whose gradients agree with the persistent ones. Frames without overlay, as after a loss of signal, are left
/// out.
fn frames_with_overlay(frames: &[GrayImage], sums: &GradientSums) -> Vec<GrayImage> {
    let strength = sums.strength();
    let agreement: Vec<f32> = frames
        .iter()
        .map(|frame| {
            let mut sum = 0.0;
            for_each_gradient(frame, |at, across, down| {
                if strength.values.get(at).is_some_and(|value| *value > 0.0) {
                    sum += across * sums.across.values.get(at).unwrap_or(&0.0)
                        + down * sums.down.values.get(at).unwrap_or(&0.0);
                }
            });
            sum
        })
        .collect();
    let min_agreement = MIN_AGREEMENT_SHARE * nearest_rank(&mut agreement.clone(), 0.5);
    let kept = agreement.iter().zip(frames).filter(|(agreement, _)| **agreement >= min_agreement);
    kept.map(|(_, frame)| frame.clone()).collect()
}

/// Calls `visit` with the index of each inner pixel and its horizontal and vertical gradient: the differences of the grey
/// levels on both sides of it, over two pixels.
fn for_each_gradient(frame: &GrayImage, mut visit: impl FnMut(usize, f32, f32)) {
    let (width, pixels) = (frame.width() as usize, frame.as_raw());
    let rows = (frame.height() as usize).saturating_sub(2);
    for row in 0..rows {
        let start = row * width;
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
            visit(start + width + x + 1, across, downward);
        }
    }
}
