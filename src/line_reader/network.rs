//! The network: a small convolutional network that reads a line of numerals in any typeface, without a segmentation
//! into characters.
//!
//! It is trained by connectionist temporal classification (Graves, Fernandez, Gomez and Schmidhuber, ICML 2006): for every
//! step, two columns of the [line image](super::line_image), it gives the probability of each character and of a blank between
//! characters. `scripts/line_reader` trains it on rendered lines in free faces; never on footage.

use std::ops::Range;
use std::sync::LazyLock;

use ndarray::{Array2, Axis};

use crate::neural::{Kernel, Layer, max_pooled};

/// Characters of the classes: the blank, the digits, decimal point, minus sign and colon, letters regardless of case,
/// and signs of units. The last class stands for every other character and for icons.
pub(super) const CLASSES: [char; 44] = [
    '_', '0', '1', '2', '3', '4', '5', '6', '7', '8', '9', '.', '-', ':', 'a', 'b', 'c', 'd', 'e', 'f', 'g',
    'h', 'i', 'j', 'k', 'l', 'm', 'n', 'o', 'p', 'q', 'r', 's', 't', 'u', 'v', 'w', 'x', 'y', 'z', '/', '%',
    '°', '?',
];
/// Indices of the digits in [`CLASSES`].
pub(super) const DIGITS: Range<usize> = 1..11;
/// Inputs, outputs, kernel and pooling of a convolution.
struct Convolution {
    inputs: usize,
    outputs: usize,
    kernel: Kernel,
    pooling: (usize, usize),
}

const fn convolution(
    (inputs, outputs): (usize, usize),
    (rows, cols, pad_rows): (usize, usize, usize),
    pooling: (usize, usize),
) -> Convolution {
    Convolution { inputs, outputs, kernel: Kernel { rows, cols, pad_rows }, pooling }
}

/// The convolutions, each followed by rectification and max pooling.
const CONVOLUTIONS: [Convolution; 6] = [
    convolution((1, 16), (5, 5, 2), (2, 2)),
    convolution((16, 32), (3, 3, 1), (2, 1)),
    convolution((32, 64), (3, 3, 1), (2, 1)),
    convolution((64, 96), (3, 3, 0), (1, 1)),
    convolution((96, 96), (1, 5, 0), (1, 1)),
    convolution((96, 96), (1, 5, 0), (1, 1)),
];

/// The weights that `scripts/line_reader/train.py` writes, little-endian: the softmax temperature as f32, then for
/// each layer a scale as f32, and weights and biases as i16, which are multiplied by the scale.
static TABLE: &[u8] = include_bytes!("../../templates/line_reader/line_reader.bin");

static EMBEDDED: LazyLock<LineReader> = LazyLock::new(|| LineReader::from_table(TABLE));

/// The network with its weights.
#[derive(Debug, Clone)]
pub(super) struct LineReader {
    /// Softmax temperature: divisor of the network's logits, fitted on faces outside the training set.
    temperature: f32,
    convolutions: Vec<Layer>,
    output: Layer,
}

impl LineReader {
    /// The built-in network.
    pub(super) fn embedded() -> &'static Self {
        &EMBEDDED
    }

    fn from_table(table: &[u8]) -> Self {
        let mut bytes = table.iter().copied();
        let temperature = next_f32(&mut bytes);
        let mut layer = |inputs: usize, outputs: usize| {
            let scale = next_f32(&mut bytes);
            Layer::from_numbers(inputs, outputs, || scale * f32::from(next_i16(&mut bytes)))
        };
        let convolutions = CONVOLUTIONS.map(|Convolution { inputs, outputs, kernel, .. }| {
            layer(inputs * kernel.rows * kernel.cols, outputs)
        });
        let output = layer(CONVOLUTIONS[CONVOLUTIONS.len() - 1].outputs, CLASSES.len());
        Self { temperature, convolutions: convolutions.into(), output }
    }

    /// Natural logarithms of the probabilities for a line image, as output positions x [`CLASSES`].
    pub(super) fn log_probabilities(&self, image: &Array2<f32>) -> Array2<f32> {
        let mut levels = image.view().insert_axis(Axis(2)).to_owned();
        for (layer, Convolution { kernel, pooling, .. }) in self.convolutions.iter().zip(CONVOLUTIONS) {
            levels = layer.convolved(&levels, kernel);
            if pooling != (1, 1) {
                levels = max_pooled(&levels, pooling);
            }
        }
        let steps = levels.index_axis(Axis(0), 0);
        let mut logits = (steps.dot(&self.output.weights) + &self.output.biases) / self.temperature;
        for mut step in logits.rows_mut() {
            let most = step.iter().copied().fold(f32::NEG_INFINITY, f32::max);
            let total = step.iter().map(|logit| (logit - most).exp()).sum::<f32>();
            step -= most + total.ln();
        }
        logits
    }
}

fn next_f32(bytes: &mut impl Iterator<Item = u8>) -> f32 {
    f32::from_le_bytes(std::array::from_fn(|_| bytes.next().unwrap_or_default()))
}

fn next_i16(bytes: &mut impl Iterator<Item = u8>) -> i16 {
    i16::from_le_bytes(std::array::from_fn(|_| bytes.next().unwrap_or_default()))
}
