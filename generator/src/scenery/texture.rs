//! Textures that repeat seamlessly, with smaller copies for distant ground (mipmaps).

use rand::RngExt;

use crate::random::{Purpose, stream};

/// Width and height of the texture in pixels, a power of two (set by judgement).
const SIDE_PX: usize = 512;
/// Number of copies that are kept, each with half the width of the one before. A smaller copy, from 4 by 4 pixels, is
/// replaced by the mean (set by judgement).
const LEVELS: usize = 7;

/// A square grey texture, values 0 to 1, that repeats in both directions.
#[derive(Debug)]
pub(super) struct Texture {
    /// The texture and its copies, each with half the width and height of the one before.
    levels: Vec<Level>,
    /// Mean value of the texture, used instead of copies that are too small.
    mean: f32,
}

#[derive(Debug)]
struct Level {
    edge: usize,
    values: Vec<u8>,
}

impl Texture {
    /// A cloud-like texture: value noise over `octaves` octaves, of which the coarsest has `coarsest` cells per side.
    /// `number` selects the random numbers, so that textures of one seed differ.
    pub(super) fn noise(seed: u64, number: u8, coarsest: usize, octaves: u32) -> Self {
        let mut random = stream(seed, Purpose::Texture(number));
        let mut sum = vec![0.0_f32; SIDE_PX * SIDE_PX];
        let (mut strength, mut total) = (1.0, 0.0);
        for octave in 0..octaves {
            let cells = (coarsest << octave).min(SIDE_PX);
            let lattice: Vec<f32> = (0..cells * cells).map(|_| random.random()).collect();
            for (index, value) in sum.iter_mut().enumerate() {
                let place = |pixel: usize| pixel as f32 * cells as f32 / SIDE_PX as f32;
                *value +=
                    strength * lattice_value(&lattice, cells, place(index % SIDE_PX), place(index / SIDE_PX));
            }
            total += strength;
            strength *= 0.55;
        }
        // Sums of octaves are mostly near the middle, so they are stretched over the whole range.
        let stretched = sum.iter().map(|value| ((value / total - 0.5) * 2.2 + 0.5).clamp(0.0, 1.0));
        Self::from_values(stretched.collect())
    }

    /// A net of lines between irregular cells, as on dried ground, with the value 1 on a line. There are `cells` cells
    /// per side. `number` selects the random numbers, so that textures of one seed differ.
    pub(super) fn cracks(seed: u64, number: u8, cells: usize) -> Self {
        let mut random = stream(seed, Purpose::Texture(number));
        let seeds: Vec<[f32; 2]> = (0..cells * cells)
            .map(|_| [random.random_range(0.1..0.9), random.random_range(0.1..0.9)])
            .collect();
        let values = (0..SIDE_PX * SIDE_PX).map(|index| {
            let place = |pixel: usize| pixel as f32 * cells as f32 / SIDE_PX as f32;
            let apart = nearest_two(&seeds, cells, place(index % SIDE_PX), place(index / SIDE_PX));
            1.0 - (apart / 0.13).clamp(0.0, 1.0)
        });
        Self::from_values(values.collect())
    }

    fn from_values(values: Vec<f32>) -> Self {
        let bytes = values.iter().map(|value| (value * 255.0) as u8).collect();
        let mut levels = vec![Level { edge: SIDE_PX, values: bytes }];
        while levels.len() < LEVELS {
            levels.extend(levels.last().map(Level::halved));
        }
        let mean = values.iter().sum::<f32>() / values.len() as f32;
        Self { levels, mean }
    }

    /// The value at a position, where the texture extends from 0 to 1 in x and y and then repeats. The value is
    /// averaged over about `footprint`, a length in the same unit.
    #[inline]
    pub(super) fn at(&self, x: f32, y: f32, footprint: f32) -> f32 {
        // The exponent of a float is the whole part of its base-two logarithm.
        let pixels = (footprint * SIDE_PX as f32).max(1.0);
        let level = ((pixels.to_bits() >> 23) as usize).saturating_sub(127);
        if level < LEVELS { self.levels[level].at(x, y) } else { self.mean }
    }
}

impl Level {
    #[inline]
    fn at(&self, x: f32, y: f32) -> f32 {
        let mask = self.edge - 1;
        let (x, y) = (x * self.edge as f32, y * self.edge as f32);
        let (column, row) = (floor(x), floor(y));
        let (part_x, part_y) = (x - column as f32, y - row as f32);
        let (x0, y0) = (column as usize & mask, row as usize & mask);
        let (x1, y1) = ((x0 + 1) & mask, (y0 + 1) & mask);
        let value = |x: usize, y: usize| f32::from(self.values[y * self.edge + x]);
        let upper = value(x0, y0) + (value(x1, y0) - value(x0, y0)) * part_x;
        let lower = value(x0, y1) + (value(x1, y1) - value(x0, y1)) * part_x;
        (upper + (lower - upper) * part_y) * (1.0 / 255.0)
    }

    fn halved(&self) -> Self {
        let edge = self.edge / 2;
        let value = |x: usize, y: usize| u16::from(self.values[y * self.edge + x]);
        let values = (0..edge * edge)
            .map(|index| {
                let (x, y) = (index % edge * 2, index / edge * 2);
                ((value(x, y) + value(x + 1, y) + value(x, y + 1) + value(x + 1, y + 1) + 2) / 4) as u8
            })
            .collect();
        Self { edge, values }
    }
}

/// The largest whole number that is not above the value; faster than the standard library's function on
/// simple processors.
fn floor(value: f32) -> i32 {
    let whole = value as i32;
    whole - i32::from((whole as f32) > value)
}

fn lattice_value(lattice: &[f32], cells: usize, x: f32, y: f32) -> f32 {
    let (x0, y0) = (x as usize % cells, y as usize % cells);
    let (x1, y1) = ((x0 + 1) % cells, (y0 + 1) % cells);
    let smooth = |part: f32| part * part * (3.0 - 2.0 * part);
    let (part_x, part_y) = (smooth(x.fract()), smooth(y.fract()));
    let row = |y: usize| lattice[y * cells + x0] * (1.0 - part_x) + lattice[y * cells + x1] * part_x;
    row(y0) * (1.0 - part_y) + row(y1) * part_y
}

/// Difference between the distances from a point to the second nearest and to the nearest seed point, all in cells.
fn nearest_two(seeds: &[[f32; 2]], cells: usize, x: f32, y: f32) -> f32 {
    let mut nearest = [f32::INFINITY; 2];
    for row in -1..=1_i32 {
        for column in -1..=1_i32 {
            let cell = [x as i32 + column, y as i32 + row];
            let wrapped = cell.map(|place| place.rem_euclid(cells as i32) as usize);
            let seed = seeds[wrapped[1] * cells + wrapped[0]];
            let distance = (cell[0] as f32 + seed[0] - x).hypot(cell[1] as f32 + seed[1] - y);
            if distance < nearest[0] {
                nearest = [distance, nearest[0]];
            } else if distance < nearest[1] {
                nearest[1] = distance;
            }
        }
    }
    nearest[1] - nearest[0]
}
