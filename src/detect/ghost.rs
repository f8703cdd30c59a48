//! The ghost: what stays put while the picture moves.
//!
//! Over frames far apart in time the brightness gradients of the scenery point anywhere and
//! cancel, those of the overlay agree: wholly for text that never changes, partly for digits,
//! whose shapes share strokes. With the gradients g of N frames,
//!
//! |sum g|^2 - sum |g|^2 over N (N - 1)
//!
//! estimates the square of the lasting gradient without the bias that noise would add, since
//! each term pairs two different frames.

use image::GrayImage;
use imageproc::filter::box_filter;
use rayon::prelude::*;

use super::plane::{Plane, quantile};

/// Weakest lasting gradient of text, in levels over two pixels.
const WEAKEST: f32 = 3.0;
/// Least share of the gradients' energy that lasts where digits change, with many frames.
const LASTING_SHARE: f32 = 0.08;
/// The same times the number of frames, with few: scenery reaches about 1.
const LASTING_FRAMES: f32 = 3.2;
/// Steepest gradient counted, so that single glints do not outweigh all other frames.
const STEEPEST: f32 = 80.0;
/// Radius of the windows over which the energies are averaged.
const WINDOW_PX: usize = 2;
/// A frame that shows the ghost weaker than this share of the middle frame has lost its overlay.
const LOST_SHARE: f32 = 0.4;

/// The lasting text of a clip.
pub(super) struct Ghost {
    /// Lasting gradient, in levels over two pixels; 0 where there is none that could be text.
    pub(super) strength: Plane,
    /// The same pixel by pixel, without the spread of the windows but noisy.
    pub(super) fine: Plane,
    /// The frames that show it, smoothed over three by three pixels.
    pub(super) frames: Vec<GrayImage>,
}

impl Ghost {
    /// Finds what lasts in frames of one size.
    pub(super) fn of(frames: &[&GrayImage]) -> Self {
        let smooth: Vec<GrayImage> = frames.par_iter().map(|frame| box_filter(frame, 1, 1)).collect();
        let frames = shown_in(&smooth, &Sums::of(&smooth));
        let sums = Sums::of(&frames);
        let (fine, strength) = (sums.fine(), sums.strength());
        Self { strength, fine, frames }
    }
}

/// Gradients summed over frames.
struct Sums {
    count: usize,
    across: Plane,
    down: Plane,
    energy: Plane,
}

impl Sums {
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

    /// The square of the lasting gradient of each pixel; below 0 by noise.
    fn lasting(&self) -> Plane {
        let count = self.count as f32;
        let mut lasting = Plane::new(self.energy.width, self.energy.height);
        let sums = self.across.values.iter().zip(&self.down.values).zip(&self.energy.values);
        for (out, ((across, down), energy)) in lasting.values.iter_mut().zip(sums) {
            *out = (across * across + down * down - energy) / (count * (count - 1.0)).max(1.0);
        }
        lasting
    }

    fn fine(&self) -> Plane {
        let mut fine = self.lasting();
        fine.values.iter_mut().for_each(|value| *value = value.max(0.0).sqrt());
        fine
    }

    fn strength(&self) -> Plane {
        let count = self.count as f32;
        let share = LASTING_SHARE.max(LASTING_FRAMES / count);
        let energy = self.energy.local_mean(WINDOW_PX);
        let mut strength = self.lasting().local_mean(WINDOW_PX);
        for (value, energy) in strength.values.iter_mut().zip(&energy.values) {
            let lasts = *value >= WEAKEST * WEAKEST && *value >= share * energy / count.max(1.0);
            *value = if lasts { value.sqrt() } else { 0.0 };
        }
        strength
    }
}

/// The frames whose gradients agree with the ghost: not those of a lost picture.
fn shown_in(frames: &[GrayImage], sums: &Sums) -> Vec<GrayImage> {
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
    let least = LOST_SHARE * quantile(&mut agreement.clone(), 0.5);
    let shown = agreement.iter().zip(frames).filter(|(agrees, _)| **agrees >= least);
    shown.map(|(_, frame)| frame.clone()).collect()
}

/// Calls `visit` with the index of each inner pixel and the brightness differences across and
/// down there, over two pixels.
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
            let across = (f32::from(*right) - f32::from(*left)).clamp(-STEEPEST, STEEPEST);
            let downward = (f32::from(*down) - f32::from(*up)).clamp(-STEEPEST, STEEPEST);
            visit(start + width + x + 1, across, downward);
        }
    }
}
