//! Room to work in that is used again: what one frame needs, the one before needed too.

use std::cell::RefCell;
use std::ops::{Deref, DerefMut};

use ndarray::Array2;

/// Most that a thread keeps.
const MOST_KEPT: usize = 16;
/// Room is not used for less than one part of it in so many: it may be kept for long.
const LARGEST_SHARE: usize = 4;

thread_local! {
    static KEPT: RefCell<Vec<Vec<f32>>> = const { RefCell::new(Vec::new()) };
}

/// Numbers whose room the thread uses again once they are dropped.
#[derive(Debug)]
pub(super) struct Spare(Vec<f32>);

impl Spare {
    /// So many numbers, all the same.
    pub(super) fn filled(length: usize, value: f32) -> Self {
        Self(filled(length, value))
    }
}

impl Deref for Spare {
    type Target = [f32];

    fn deref(&self) -> &[f32] {
        &self.0
    }
}

impl DerefMut for Spare {
    fn deref_mut(&mut self) -> &mut [f32] {
        &mut self.0
    }
}

impl Drop for Spare {
    fn drop(&mut self) {
        keep(std::mem::take(&mut self.0));
    }
}

/// Zeros, rows x columns, in room that is used again if they are given to [`keep_array`].
pub(super) fn zeros((rows, cols): (usize, usize)) -> Array2<f32> {
    Array2::from_shape_vec((rows, cols), filled(rows * cols, 0.0)).unwrap_or_default()
}

/// Keeps the room of an array.
pub(super) fn keep_array(array: Array2<f32>) {
    keep(array.into_raw_vec_and_offset().0);
}

fn filled(length: usize, value: f32) -> Vec<f32> {
    let found = KEPT.with_borrow_mut(|kept| {
        let fits = |room: &Vec<f32>| (length..=LARGEST_SHARE * length).contains(&room.capacity());
        kept.iter().position(fits).map(|number| kept.swap_remove(number))
    });
    let mut room = found.unwrap_or_else(|| Vec::with_capacity(length));
    room.resize(length, value);
    room
}

fn keep(mut room: Vec<f32>) {
    room.clear();
    KEPT.with_borrow_mut(|kept| {
        if kept.len() < MOST_KEPT {
            kept.push(room);
        }
    });
}
