//! The shape prior: the probability of each digit given the shape in a cell, in any typeface.
//!
//! A small convolutional network. The cell's features are resampled to a grid and divided by their root mean square. Two
//! convolutions with rectification and 2 x 2 max pooling and two dense layers follow. The network is run on the grid and its
//! negative and the logits are added, so the result does not depend on polarity. The probabilities are calibrated by a
//! temperature and a share of the uniform distribution, both fitted to faces outside the training set.
//!
//! `scripts/digit_shapes` trained it on 285,000 cells of lines rendered in free faces: filled, outlined, hollow, with
//! drop shadow or on a box, as outlines, blocks of pixels and seven segments, 8 to 110 pixels high, shifted by up to 1.5
//! pixels, before textures and horizons, blurred, noisy and compressed. Some cells hold no digit; their target is the uniform
//! distribution. Results on 41,868 cells in held-out families of faces, many of them too faint or small to recognise.
//! The digit with the highest probability is compared with the true one: `right` is the share of cells in which the
//! two agree, `mean probability` the mean of the highest probability; the last two columns are the share of cells
//! with a highest probability of 0.99 or more, and the share of these cells that are right:
//!
//! | cells             | right | mean probability | share at 0.99 or more | right of these |
//! | ----------------- | ----- | ---------------- | --------------------- | -------------- |
//! | all               | 0.912 | 0.916            | 0.64                  | 0.9986         |
//! | filled            | 0.936 | 0.936            | 0.70                  | 0.9996         |
//! | outlined          | 0.913 | 0.915            | 0.64                  | 0.9988         |
//! | hollow            | 0.854 | 0.877            | 0.53                  | 0.9951         |
//! | drop shadow       | 0.901 | 0.900            | 0.58                  | 0.9994         |
//! | on a box          | 0.946 | 0.945            | 0.73                  | 0.9987         |
//! | blocks of pixels  | 0.870 | 0.882            | 0.54                  | 0.9994         |
//! | seven segments    | 0.921 | 0.918            | 0.60                  | 0.9986         |
//! | before a horizon  | 0.905 | 0.910            | 0.63                  | 0.9990         |
//! | 8 to 11 px high   | 0.797 | 0.818            | 0.38                  | 0.9960         |
//! | 20 px and higher  | 0.941 | 0.941            | 0.72                  | 0.9989         |
//!
//! Of the cells with a highest probability of 0.9 to 0.95 (mean 0.928), a share of 0.909 is right. The digits most often
//! confused are 4, 7 and 9; 0 and 8; 5 and 6. Of 5,764 cells without a digit (letters, gaps between digits, scenery),
//! 4 in 100 have a highest probability of 0.9 or more.

use std::sync::LazyLock;

use ndarray::{Array1, Array2, Axis};

use crate::neural::{Kernel, Layer, max_pooled, resampling};

/// Rows x columns of the grid that is the input of the network.
const GRID: (usize, usize) = (20, 16);
/// Number of channels after the first and after the second convolution. Chosen for a table of about 100 kB; other
/// sizes were not tried.
const CHANNELS: (usize, usize) = (12, 24);

/// Number of units of the hidden dense layer. Chosen for a table of about 100 kB; other sizes were not tried.
const HIDDEN: usize = 48;
/// Side lengths of the square kernels of the first and of the second convolution, in grid cells.
const KERNELS: (usize, usize) = (5, 3);
/// Rows and columns of the blocks of the max pooling.
const POOLING: (usize, usize) = (2, 2);
/// Number of inputs of the hidden layer: each pooling halves the grid.
const POOLED: usize = (GRID.0 / 4) * (GRID.1 / 4) * CHANNELS.1;
const DIGITS: usize = 10;

/// Minimum of the root mean square that a cell is divided by, in grey levels: about the noise of an empty
/// cell. Set by judgement.
const MIN_RMS_LEVELS: f32 = 2.0;

/// Number of values in the table: temperature and uniform share, then weights and biases of the four layers.
const NUMBERS: usize = 2
    + CHANNELS.0 * (KERNELS.0 * KERNELS.0 + 1)
    + CHANNELS.1 * (KERNELS.1 * KERNELS.1 * CHANNELS.0 + 1)
    + HIDDEN * (POOLED + 1)
    + DIGITS * (HIDDEN + 1);

/// The table that `scripts/digit_shapes/train.py` writes, as little-endian f32.
static TABLE: &[u8; 4 * NUMBERS] = include_bytes!("../../../templates/digit_shapes/digit_shapes.bin");

static EMBEDDED: LazyLock<ShapePrior> = LazyLock::new(|| ShapePrior::from_table(TABLE));

/// Gives the probability of each digit from the shape in a cell.
#[derive(Debug, Clone)]
pub(crate) struct ShapePrior {
    /// Number that the logits are divided by.
    temperature: f32,
    /// Weight of the uniform distribution in the result, 0 to 1.
    uniform_share: f32,
    first: Layer,
    second: Layer,
    hidden: Layer,
    output: Layer,
}

impl ShapePrior {
    /// The built-in network.
    #[must_use]
    pub(crate) fn embedded() -> &'static Self {
        &EMBEDDED
    }

    fn from_table(table: &[u8; 4 * NUMBERS]) -> Self {
        let (words, _) = table.as_chunks::<4>();
        let mut numbers = words.iter().map(|word| f32::from_le_bytes(*word));
        let mut number = || numbers.next().unwrap_or_default();
        let (temperature, uniform_share) = (number(), number());
        let mut layer = |inputs: usize, outputs: usize| Layer::from_numbers(inputs, outputs, &mut number);
        Self {
            temperature,
            uniform_share,
            first: layer(KERNELS.0 * KERNELS.0, CHANNELS.0),
            second: layer(KERNELS.1 * KERNELS.1 * CHANNELS.0, CHANNELS.1),
            hidden: layer(POOLED, HIDDEN),
            output: layer(HIDDEN, DIGITS),
        }
    }

    /// Natural logarithms of the probabilities that a cell shows the digits 0 to 9.
    ///
    /// `cell` holds the features of one digit in grey levels, rows x columns: as many rows as the digit is
    /// high, plus about one above and below, and as many columns as the pitch. The digit may be off by 1.5
    /// working pixels, and parts of its neighbours may be visible at the left and right edge. The
    /// probabilities are uniform for an empty cell or one with entries that are not finite, and nearly
    /// uniform for a cell without contrast. No probability is below 0.0003.
    #[must_use]
    pub(crate) fn log_probabilities(&self, cell: &Array2<f32>) -> [f32; DIGITS] {
        let uniform = [-(DIGITS as f32).ln(); DIGITS];
        let Some(grid) = normalised(cell) else { return uniform };
        let logits = (self.logits(&grid) + self.logits(&-&grid)) / self.temperature;
        let most = logits.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        let raised = logits.mapv(|logit| (logit - most).exp());
        let total = raised.sum();
        std::array::from_fn(|digit| {
            let share = self.uniform_share;
            ((1.0 - share) * raised[digit] / total + share / DIGITS as f32).ln()
        })
    }

    /// The logits of the ten digits for a grid of one polarity.
    fn logits(&self, grid: &Array2<f32>) -> Array1<f32> {
        let grid = grid.view().insert_axis(Axis(2)).to_owned();
        let first = max_pooled(&self.first.convolved(&grid, Kernel::square(KERNELS.0)), POOLING);
        let second = max_pooled(&self.second.convolved(&first, Kernel::square(KERNELS.1)), POOLING);
        let mut hidden = self.hidden.dense(Array1::from_iter(second).view());
        hidden.mapv_inplace(|level| level.max(0.0));
        self.output.dense(hidden.view())
    }
}

/// A cell resampled to the grid and divided by its root mean square; `None` for an empty cell, or one with entries that are
/// not finite.
fn normalised(cell: &Array2<f32>) -> Option<Array2<f32>> {
    if cell.is_empty() {
        return None;
    }
    let grid = resampling(cell.nrows(), GRID.0).dot(cell).dot(&resampling(cell.ncols(), GRID.1).t());
    let rms = (grid.iter().map(|level| level * level).sum::<f32>() / grid.len() as f32).sqrt();
    rms.is_finite().then(|| grid / rms.max(MIN_RMS_LEVELS))
}

#[cfg(test)]
mod tests;
