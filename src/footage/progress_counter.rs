//! Counts frames to report progress.

use std::sync::atomic::{AtomicUsize, Ordering};

/// Counts finished frames on several threads and reports the share done, from 0 to 1.
pub(crate) struct ProgressCounter<'a> {
    report: &'a (dyn Fn(f64) + Sync),
    done: AtomicUsize,
    total: usize,
}

impl<'a> ProgressCounter<'a> {
    /// A counter that expects about `total` frames.
    pub(crate) fn new(report: &'a (dyn Fn(f64) + Sync), total: usize) -> Self {
        Self { report, done: AtomicUsize::new(0), total: total.max(1) }
    }

    /// Counts one finished frame.
    pub(crate) fn count(&self) {
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        (self.report)((done as f64 / self.total as f64).min(1.0));
    }
}
