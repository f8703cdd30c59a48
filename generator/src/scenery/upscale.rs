//! Enlarges a soft image to the size of the frame by linear interpolation.

use crate::frame::Frame;

/// The whole number that stands for the share 1 in the interpolation.
const SHARE_ONE: u32 = 256;

/// Position of a row or column of the enlarged image between two of the original image: the indices of these two, and a
/// share.
#[derive(Debug, Clone, Copy)]
struct Between {
    first: usize,
    second: usize,
    /// Weight of the second one, in units of 1/[`SHARE_ONE`].
    share: u32,
}

/// Interpolation from one frame size to another.
#[derive(Debug)]
pub(super) struct Upscaler {
    size: [usize; 2],
    columns: Vec<Between>,
    colour_columns: Vec<Between>,
    rows: Vec<Between>,
}

impl Upscaler {
    pub(super) fn new(from: [usize; 2], to: [usize; 2]) -> Self {
        Self {
            size: to,
            columns: places(from[0], to[0]),
            colour_columns: places(from[0] / 2, to[0] / 2),
            rows: places(from[1], to[1]),
        }
    }

    pub(super) fn upscale(&self, frame: &Frame) -> Frame {
        let [width, height] = self.size;
        let half = frame.width / 2;
        Frame {
            width,
            height,
            luma: self.plane(&frame.luma, frame.width, &self.columns),
            blue: self.plane(&frame.blue, half, &self.colour_columns),
            red: self.plane(&frame.red, half, &self.colour_columns),
        }
    }

    fn plane(&self, plane: &[u8], width: usize, columns: &[Between]) -> Vec<u8> {
        let mut enlarged = Vec::with_capacity(columns.len() * self.rows.len());
        let mut line = vec![0_u32; width];
        for row in &self.rows {
            let [first, second] = [row.first, row.second].map(|y| &plane[y * width..(y + 1) * width]);
            for ((level, &a), &b) in line.iter_mut().zip(first).zip(second) {
                *level = u32::from(a) * (SHARE_ONE - row.share) + u32::from(b) * row.share;
            }
            enlarged.extend(columns.iter().map(|column| {
                let level =
                    line[column.first] * (SHARE_ONE - column.share) + line[column.second] * column.share;
                (level >> 16) as u8
            }));
        }
        enlarged
    }
}

fn places(from: usize, to: usize) -> Vec<Between> {
    let last = from.saturating_sub(1);
    (0..to)
        .map(|place| {
            let source = ((place as f32 + 0.5) * from as f32 / to as f32 - 0.5).max(0.0);
            let first = (source as usize).min(last);
            let share = ((source - first as f32) * SHARE_ONE as f32) as u32;
            Between { first, second: (first + 1).min(last), share: share.min(SHARE_ONE) }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_even_ramp_stays_an_even_ramp() {
        let mut small = Frame::plain(32, 8, 0, 90, 170);
        for (index, level) in small.luma.iter_mut().enumerate() {
            *level = (index % 32 * 8) as u8;
        }
        let large = Upscaler::new([32, 8], [64, 16]).upscale(&small);
        assert_eq!((large.luma.len(), large.blue.len()), (64 * 16, 32 * 16));
        let steps = large.luma[1..63].windows(2).map(|pair| pair[1] - pair[0]);
        assert!(steps.clone().all(|step| (3..=5).contains(&step)), "{:?}", steps.collect::<Vec<_>>());
        assert!(large.blue.iter().all(|&level| level == 90));
    }
}
