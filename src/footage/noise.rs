//! Noise of frames: measures it, and reduces it by a median over neighbouring frames.

use image::GrayImage;

use super::{FootageError, FoundFrame, FrameOutput, FrameSource, LumaImage as _};
use crate::geometry::PixelRect;
use crate::stats::nearest_rank;

/// Side of the blocks in which noise is measured, in pixels. Set by judgement.
const BLOCK_PX: u32 = 16;
/// Quantile over the blocks that gives the noise of the frame: a quarter of a frame usually has little texture. Set by
/// judgement.
const PLAIN_QUANTILE: f32 = 0.25;
/// Number of frames whose neighbours are in memory at the same time while medians are computed. Set by judgement, to
/// limit the memory.
const FRAMES_PER_BATCH: usize = 8;

/// Standard deviation of the noise in grey levels: the quantile [`PLAIN_QUANTILE`] of the estimates of all blocks, each by
/// Immerkær's operator (J. Immerkær, "Fast noise variance estimation", Computer Vision and Image Understanding 64, 1996). Texture
/// raises it, and compression lowers it.
#[must_use]
pub fn noise_sd_levels(image: &GrayImage) -> f32 {
    let blocks = (0..image.height() / BLOCK_PX)
        .flat_map(|row| (0..image.width() / BLOCK_PX).map(move |column| (column * BLOCK_PX, row * BLOCK_PX)));
    let mut estimates: Vec<f32> = blocks.map(|(x, y)| block_noise(image, x, y)).collect();
    if estimates.is_empty() { 0.0 } else { nearest_rank(&mut estimates, PLAIN_QUANTILE) }
}

/// Standard deviation of the noise in the block whose top left corner is at (`left`, `top`), in grey levels: sqrt(pi
/// / 2) / 6 times the mean magnitude of the response of Immerkær's operator (see [`noise_sd_levels`]).
fn block_noise(image: &GrayImage, left: u32, top: u32) -> f32 {
    let level = |x: u32, y: u32| f32::from(image.get_pixel(x, y).0[0]);
    let inner = |first: u32| first + 1..first + BLOCK_PX - 1;
    let response = |x: u32, y: u32| {
        let row = |y: u32| level(x - 1, y) - 2.0 * level(x, y) + level(x + 1, y);
        (row(y - 1) - 2.0 * row(y) + row(y + 1)).abs()
    };
    let responses = inner(top).flat_map(|y| inner(left).map(move |x| response(x, y)));
    let count = (BLOCK_PX - 2).pow(2) as f32;
    (std::f32::consts::PI / 2.0).sqrt() / 6.0 * responses.sum::<f32>() / count
}

/// Replaces each pixel of the frames by its median over the frame and its two neighbours in time. The median shows the
/// same text as the frame, unless the text changed both before and after it. Frames without two undamaged neighbours
/// are unchanged.
///
/// # Errors
/// Errors of the source.
pub fn temporal_medians<S: FrameSource>(
    source: &mut S,
    mut frames: Vec<FoundFrame>,
) -> Result<Vec<FoundFrame>, FootageError> {
    let Some((first, last)) =
        frames.first().zip(frames.last()).filter(|(first, last)| first.index < last.index)
    else {
        return Ok(frames);
    };
    let interval_s = (last.time_s - first.time_s) / (last.index - first.index) as f64;
    let whole = PixelRect::new(0, 0, source.info().width, source.info().height);
    for batch in frames.chunks_mut(FRAMES_PER_BATCH) {
        let times_s: Vec<f64> =
            batch.iter().flat_map(|frame| [frame.time_s - interval_s, frame.time_s + interval_s]).collect();
        let neighbours = source.process_at(&times_s, &[whole], &|luma| luma.to_image())?;
        batch.iter_mut().for_each(|frame| replace_by_median(frame, &neighbours));
    }
    Ok(frames)
}

fn replace_by_median(frame: &mut FoundFrame, neighbours: &[FrameOutput<GrayImage>]) {
    let at = |index: Option<u64>| {
        let mut sound = neighbours.iter().filter(|neighbour| !neighbour.damaged);
        sound.find(|neighbour| Some(neighbour.index) == index).map(|neighbour| &neighbour.output)
    };
    let (Some(before), Some(after)) = (at(frame.index.checked_sub(1)), at(frame.index.checked_add(1))) else {
        return;
    };
    let size = frame.image.dimensions();
    if before.dimensions() == size && after.dimensions() == size {
        for (level, (before, after)) in frame.image.iter_mut().zip(before.iter().zip(after.iter())) {
            // The median of three numbers is the first one, limited by the other two.
            *level = (*level).clamp(*before.min(after), *before.max(after));
        }
    }
}

#[cfg(test)]
mod tests {
    use image::Luma;
    use rand::{RngExt as _, SeedableRng as _};

    use super::*;

    fn output(index: u64, level: u8) -> FrameOutput<GrayImage> {
        let output = GrayImage::from_pixel(4, 4, Luma([level]));
        FrameOutput { index, time_s: index as f64, damaged: false, output }
    }

    fn frame(level: u8) -> FoundFrame {
        let image = GrayImage::from_pixel(4, 4, Luma([level]));
        FoundFrame { requested_s: 5.0, time_s: 5.0, index: 5, damaged: false, image }
    }

    fn median(mut frame: FoundFrame, neighbours: &[FrameOutput<GrayImage>]) -> FoundFrame {
        replace_by_median(&mut frame, neighbours);
        frame
    }

    #[test]
    fn the_median_shows_what_two_of_three_frames_show() {
        let level = |before: u8, this: u8, after: u8| {
            median(frame(this), &[output(4, before), output(6, after)]).image.get_pixel(1, 1).0[0]
        };
        assert_eq!(level(10, 200, 200), 200);
        assert_eq!(level(10, 10, 200), 10);
        assert_eq!(level(10, 90, 50), 50);
    }

    #[test]
    fn a_frame_without_both_neighbours_is_left_alone() {
        let damaged = FrameOutput { damaged: true, ..output(6, 50) };
        assert_eq!(median(frame(90), &[output(4, 10), damaged]), frame(90));
        assert_eq!(median(frame(90), &[output(3, 10), output(6, 10)]), frame(90));
    }

    /// The standard deviation of numbers from 0 to 2a is a / sqrt(3).
    #[test]
    fn uniform_noise_is_measured_over_an_even_and_a_sloping_grey() {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(4);
        for slope in [0, 1] {
            let image = GrayImage::from_fn(128, 96, |x, _| {
                Luma([(80 + slope * x + random.random_range(0..=20_u32)) as u8])
            });
            let expected = 10.0 / 3.0_f32.sqrt();
            assert!((noise_sd_levels(&image) / expected - 1.0).abs() < 0.15, "{}", noise_sd_levels(&image));
        }
        assert_eq!(noise_sd_levels(&GrayImage::from_pixel(64, 64, Luma([90]))), 0.0);
    }
}
