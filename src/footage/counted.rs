//! How far a look through frames has come.

use std::sync::atomic::{AtomicUsize, Ordering};

/// Counts frames on several threads and tells the share that is done, 0 to 1.
pub(crate) struct ProgressCounter<'a> {
    tell: &'a (dyn Fn(f64) + Sync),
    done: AtomicUsize,
    all: usize,
}

impl<'a> ProgressCounter<'a> {
    /// For about so many frames.
    pub(crate) fn new(tell: &'a (dyn Fn(f64) + Sync), all: usize) -> Self {
        Self { tell, done: AtomicUsize::new(0), all: all.max(1) }
    }

    /// Counts a frame.
    pub(crate) fn count(&self) {
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        (self.tell)((done as f64 / self.all as f64).min(1.0));
    }
}
