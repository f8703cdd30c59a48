//! Glances: how the picture under the boxes looks as a whole, whatever text stands there.

use image::GrayImage;
use pulp::Arch;

/// Side of the blocks whose mean levels are kept, in pixels.
const BLOCK_PX: usize = 8;

/// Grey levels that a block may differ between pictures that are one and the same: a recorder that
/// repeats a frame compresses it again.
const SAME_LEVELS: u8 = 1;

/// How the picture under all boxes looks.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Glance {
    /// Mean grey level of every block, box by box.
    blocks: Vec<u8>,
    /// Standard deviation of the blocks' levels within their box, in grey levels; the largest of all
    /// boxes.
    pub spread: f32,
    /// Mean difference between neighbours on a line, in grey levels.
    pub roughness: f32,
}

impl Glance {
    /// Looks at the pictures of all boxes.
    pub fn of<'a>(crops: impl IntoIterator<Item = &'a GrayImage>) -> Self {
        let (arch, mut blocks) = (Arch::new(), Vec::new());
        let (mut spread, mut differences, mut pairs) = (0.0_f32, 0_u64, 0_u64);
        for crop in crops {
            let (first, width) = (blocks.len(), crop.width() as usize);
            let rows = crop.as_raw().chunks_exact(width.max(1));
            let mut strip = vec![(0_u32, 0_u32); width.div_ceil(BLOCK_PX)];
            for (row, levels) in rows.enumerate() {
                if row > 0 && row % BLOCK_PX == 0 {
                    blocks.extend(strip.iter_mut().map(|sums| mean(std::mem::take(sums))));
                }
                for ((sum, count), levels) in strip.iter_mut().zip(levels.chunks(BLOCK_PX)) {
                    *sum += levels.iter().map(|level| u32::from(*level)).sum::<u32>();
                    *count += levels.len() as u32;
                }
                differences += u64::from(arch.dispatch(|| steps(levels)));
                pairs += levels.len().saturating_sub(1) as u64;
            }
            blocks.extend(strip.into_iter().map(mean));
            spread = spread.max(deviation(&blocks[first..]));
        }
        Self { blocks, spread, roughness: differences as f32 / pairs.max(1) as f32 }
    }

    /// Whether this is the very picture that another glance saw.
    pub fn is_same(&self, other: &Self) -> bool {
        let alike = |(one, two): (&u8, &u8)| one.abs_diff(*two) <= SAME_LEVELS;
        self.blocks.len() == other.blocks.len() && self.blocks.iter().zip(&other.blocks).all(alike)
    }
}

/// Sum of the differences between neighbours on a line, in grey levels.
#[inline(always)]
fn steps(levels: &[u8]) -> u32 {
    let pairs = levels.iter().zip(levels.iter().skip(1));
    pairs.map(|(one, next)| u32::from(one.abs_diff(*next))).sum()
}

fn mean((sum, count): (u32, u32)) -> u8 {
    ((sum + count / 2) / count.max(1)).min(255) as u8
}

fn deviation(levels: &[u8]) -> f32 {
    let count = levels.len().max(1) as f32;
    let mean = levels.iter().map(|level| f32::from(*level)).sum::<f32>() / count;
    (levels.iter().map(|level| (f32::from(*level) - mean).powi(2)).sum::<f32>() / count).sqrt()
}
