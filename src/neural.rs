//! The layers of the two small neural networks that are built in: the shape prior for single digits and the line reader.
//!
//! Images are arrays of rows x columns x channels.

use ndarray::linalg::general_mat_mul;
use ndarray::{Array1, Array2, Array3, ArrayView1, ArrayView2, Axis};

/// Maximum number of output pixels of a convolution whose inputs are copied into one matrix (one row of the image if it is wider).
/// Set by judgement: large enough for the matrix product, and small enough for the memory with wide images.
const MAX_POSITIONS: usize = 1024;

/// A layer: weights (inputs x outputs, where a convolution has kernel rows x columns x channels inputs) and biases.
#[derive(Debug, Clone)]
pub(crate) struct Layer {
    pub(crate) weights: Array2<f32>,
    pub(crate) biases: Array1<f32>,
}

/// Size of a convolution's kernel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Kernel {
    pub(crate) rows: usize,
    pub(crate) cols: usize,
    /// Rows of zeros added above and below the image. On the left and right, half the kernel's width is added.
    pub(crate) pad_rows: usize,
}

impl Kernel {
    /// A square kernel that keeps the size of the image.
    pub(crate) const fn square(size: usize) -> Self {
        Self { rows: size, cols: size, pad_rows: size / 2 }
    }
}

impl Layer {
    /// A layer whose weights, then biases, are taken from `number`.
    pub(crate) fn from_numbers(inputs: usize, outputs: usize, mut number: impl FnMut() -> f32) -> Self {
        Self {
            weights: Array2::from_shape_simple_fn((inputs, outputs), &mut number),
            biases: Array1::from_shape_simple_fn(outputs, &mut number),
        }
    }

    /// The outputs of a dense layer, without rectification.
    pub(crate) fn dense(&self, inputs: ArrayView1<'_, f32>) -> Array1<f32> {
        inputs.dot(&self.weights) + &self.biases
    }

    /// The rectified outputs of a convolution: rows x columns x outputs.
    pub(crate) fn convolved(&self, input: &Array3<f32>, kernel: Kernel) -> Array3<f32> {
        let (rows, cols, channels) = input.dim();
        let margin = kernel.cols / 2;
        let width = (cols + 2 * margin) * channels;
        let mut padded = vec![0.0; (rows + 2 * kernel.pad_rows) * width];
        for (row, levels) in input.outer_iter().enumerate() {
            let first = (row + kernel.pad_rows) * width + margin * channels;
            padded[first..first + cols * channels]
                .iter_mut()
                .zip(&levels)
                .for_each(|(to, level)| *to = *level);
        }
        // A row of the kernel is contiguous: columns and channels follow each other.
        let piece = kernel.cols * channels;
        let rows = (rows + 2 * kernel.pad_rows + 1).saturating_sub(kernel.rows);
        let outputs = self.biases.len();
        let mut sums = Array3::zeros((rows, cols, outputs));
        let rows_at_once = (MAX_POSITIONS / cols.max(1)).max(1);
        let mut inputs = Vec::new();
        for (part, part_sums) in sums.axis_chunks_iter_mut(Axis(0), rows_at_once).enumerate() {
            let (first, positions) = (part * rows_at_once, part_sums.dim().0 * cols);
            inputs.clear();
            for (row, col) in (0..positions).map(|position| (first + position / cols, position % cols)) {
                for line in padded.chunks_exact(width).skip(row).take(kernel.rows) {
                    inputs.extend_from_slice(&line[col * channels..col * channels + piece]);
                }
            }
            if let (Ok(inputs), Ok(mut part_sums)) = (
                ArrayView2::from_shape((positions, kernel.rows * piece), &inputs),
                part_sums.into_shape_with_order((positions, outputs)),
            ) {
                general_mat_mul(1.0, &inputs, &self.weights, 0.0, &mut part_sums);
            }
        }
        sums += &self.biases;
        sums.mapv_inplace(|level: f32| level.max(0.0));
        sums
    }
}

/// Max pooling of each channel over blocks of `down` rows and `across` columns. Incomplete blocks at the lower and right edge
/// are left out.
pub(crate) fn max_pooled(input: &Array3<f32>, (down, across): (usize, usize)) -> Array3<f32> {
    let (rows, cols, channels) = input.dim();
    let mut pooled = Array3::from_elem((rows / down, cols / across, channels), f32::NEG_INFINITY);
    let (Some(input), Some(levels)) = (input.as_slice(), pooled.as_slice_mut()) else { return pooled };
    for (row, line) in input.chunks_exact(cols * channels).take(rows / down * down).enumerate() {
        let target = &mut levels[row / down * (cols / across) * channels..];
        for (col, entries) in line.chunks_exact(channels).take(cols / across * across).enumerate() {
            let target = target[col / across * channels..].iter_mut().zip(entries);
            target.for_each(|(most, level)| *most = most.max(*level));
        }
    }
    pooled
}

/// The matrix, `to` x `from`, of linear interpolation between `from` samples. For downsampling the kernel is widened
/// by the ratio, so that every sample contributes.
pub(crate) fn resampling(from: usize, to: usize) -> Array2<f32> {
    let ratio = from as f32 / to as f32;
    let mut weights = Array2::from_shape_fn((to, from), |(to, from)| {
        let centre = (to as f32 + 0.5) * ratio - 0.5;
        (1.0 - (from as f32 - centre).abs() / ratio.max(1.0)).max(0.0)
    });
    for mut row in weights.rows_mut() {
        let total = row.sum();
        row /= total;
    }
    weights
}
