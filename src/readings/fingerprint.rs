//! Frame fingerprints: block means of the pixels inside the boxes, to recognise repeated frames and signal loss.

use image::GrayImage;
use pulp::Arch;

/// Side of the blocks whose mean levels are kept, in pixels. Set by judgement.
const BLOCK_PX: usize = 8;

/// Maximum difference of a block mean between two copies of the same frame, in grey levels. Copies differ a
/// little because a recorder compresses a repeated frame again. Set by judgement.
const MAX_DIFFERENCE_LEVELS: u8 = 1;

/// Block means, spread and roughness of the pixels inside all boxes of a frame.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FrameFingerprint {
    /// Mean grey level of every block, one box after the other.
    blocks: Vec<u8>,
    /// Largest standard deviation of the block means within one box, in grey levels.
    pub spread: f32,
    /// Mean absolute difference of horizontally neighbouring pixels, in grey levels.
    pub roughness: f32,
}

impl FrameFingerprint {
    /// Computes the fingerprint from the pixels of all boxes.
    pub fn of<'a>(crops: impl IntoIterator<Item = &'a GrayImage>) -> Self {
        let (arch, mut blocks) = (Arch::new(), Vec::new());
        let (mut spread, mut differences, mut pairs) = (0.0_f32, 0_u64, 0_u64);
        for crop in crops {
            let (first, width) = (blocks.len(), crop.width() as usize);
            let mut columns = vec![0_u16; width];
            for rows in crop.as_raw().chunks(BLOCK_PX * width.max(1)) {
                columns.fill(0);
                arch.dispatch(|| {
                    for levels in rows.chunks_exact(width.max(1)) {
                        columns.iter_mut().zip(levels).for_each(|(sum, level)| *sum += u16::from(*level));
                        differences += u64::from(steps(levels));
                    }
                });
                let height = rows.len() / width.max(1);
                pairs += (height * width.saturating_sub(1)) as u64;
                blocks.extend(columns.chunks(BLOCK_PX).map(|sums| mean(sums, height)));
            }
            spread = spread.max(deviation(&blocks[first..]));
        }
        Self { blocks, spread, roughness: differences as f32 / pairs.max(1) as f32 }
    }

    /// Whether two fingerprints are those of copies of the same frame.
    pub fn is_same(&self, other: &Self) -> bool {
        let alike = |(one, two): (&u8, &u8)| one.abs_diff(*two) <= MAX_DIFFERENCE_LEVELS;
        self.blocks.len() == other.blocks.len() && self.blocks.iter().zip(&other.blocks).all(alike)
    }
}

/// Sum of the absolute differences between neighbouring pixels of a row, in grey levels.
#[inline(always)]
fn steps(levels: &[u8]) -> u32 {
    let pairs = levels.iter().zip(levels.iter().skip(1));
    pairs.map(|(one, next)| u32::from(one.abs_diff(*next))).sum()
}

/// Mean grey level of a block `height` rows high, from the sums of its columns.
fn mean(sums: &[u16], height: usize) -> u8 {
    let (sum, count) = (sums.iter().map(|sum| u32::from(*sum)).sum::<u32>(), (sums.len() * height) as u32);
    ((sum + count / 2) / count.max(1)).min(255) as u8
}

fn deviation(levels: &[u8]) -> f32 {
    let count = levels.len().max(1) as f32;
    let mean = levels.iter().map(|level| f32::from(*level)).sum::<f32>() / count;
    (levels.iter().map(|level| (f32::from(*level) - mean).powi(2)).sum::<f32>() / count).sqrt()
}
