//! Pool of scratch buffers, one for each thread: every frame needs buffers of the same sizes.

use std::cell::RefCell;
use std::ops::{Deref, DerefMut};

use ndarray::Array2;

/// Maximum number of buffers that a thread keeps. Set by judgement.
const MAX_KEPT: usize = 16;
/// Maximum ratio of a buffer's capacity to the requested length for the buffer to be reused. Larger buffers
/// are kept for larger requests. Set by judgement.
const MAX_CAPACITY_RATIO: usize = 4;

thread_local! {
    static KEPT: RefCell<Vec<Vec<f32>>> = const { RefCell::new(Vec::new()) };
}

/// A buffer that returns to the thread's pool when it is dropped.
#[derive(Debug)]
pub(in crate::recognise) struct ScratchBuffer(Vec<f32>);

impl ScratchBuffer {
    /// A buffer with `length` values, all equal to `value`.
    pub(in crate::recognise) fn filled(length: usize, value: f32) -> Self {
        Self(filled(length, value))
    }
}

impl Deref for ScratchBuffer {
    type Target = [f32];

    fn deref(&self) -> &[f32] {
        &self.0
    }
}

impl DerefMut for ScratchBuffer {
    fn deref_mut(&mut self) -> &mut [f32] {
        &mut self.0
    }
}

impl Drop for ScratchBuffer {
    fn drop(&mut self) {
        keep(std::mem::take(&mut self.0));
    }
}

/// An array of zeros, of rows x columns, whose buffer comes from the pool; [`recycle`] returns the buffer to
/// the pool.
pub(in crate::recognise) fn zeros((rows, cols): (usize, usize)) -> Array2<f32> {
    Array2::from_shape_vec((rows, cols), filled(rows * cols, 0.0)).unwrap_or_default()
}

/// Returns the buffer of an array to the pool.
pub(in crate::recognise) fn recycle(array: Array2<f32>) {
    keep(array.into_raw_vec_and_offset().0);
}

fn filled(length: usize, value: f32) -> Vec<f32> {
    let found = KEPT.with_borrow_mut(|kept| {
        let fits = |buffer: &Vec<f32>| (length..=MAX_CAPACITY_RATIO * length).contains(&buffer.capacity());
        kept.iter().position(fits).map(|number| kept.swap_remove(number))
    });
    let mut buffer = found.unwrap_or_else(|| Vec::with_capacity(length));
    buffer.resize(length, value);
    buffer
}

fn keep(mut buffer: Vec<f32>) {
    buffer.clear();
    KEPT.with_borrow_mut(|kept| {
        if kept.len() < MAX_KEPT {
            kept.push(buffer);
        }
    });
}
