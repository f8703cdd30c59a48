//! Which recordings have stopped growing.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::listing::Stamp;

/// The recordings of an inbox, as they were seen last.
#[derive(Debug, Default)]
pub(super) struct Arrivals(BTreeMap<PathBuf, Arrival>);

#[derive(Debug)]
struct Arrival {
    stamp: Stamp,
    /// When the recording is due: some time after it was last seen to change, or after a failed attempt. `None` once it was
    /// dealt with.
    due: Option<Duration>,
    /// Whether it was tried since it last changed.
    tried: bool,
}

impl Arrivals {
    /// Takes note of a listing at `now`. Recordings that are new or have changed are due after `settle`. Returns those that
    /// are gone and were not dealt with.
    pub(super) fn note(
        &mut self,
        now: Duration,
        settle: Duration,
        recordings: &[(PathBuf, Stamp)],
    ) -> Vec<PathBuf> {
        let mut before = std::mem::take(&mut self.0);
        for (path, stamp) in recordings {
            let known = before.remove(path).filter(|arrival| arrival.stamp == *stamp);
            let arrival = known.unwrap_or(Arrival { stamp: *stamp, due: Some(now + settle), tried: false });
            self.0.insert(path.clone(), arrival);
        }
        before.into_iter().filter(|(_, gone)| gone.due.is_some()).map(|(path, _)| path).collect()
    }

    /// The recordings that are due at `now`, by path.
    pub(super) fn due(&self, now: Duration) -> Vec<PathBuf> {
        let is_due = |arrival: &Arrival| arrival.due.is_some_and(|due| due <= now);
        self.0.iter().filter(|(_, arrival)| is_due(arrival)).map(|(path, _)| path.clone()).collect()
    }

    /// Whether every recording was tried.
    pub(super) fn are_tried(&self) -> bool {
        self.0.values().all(|arrival| arrival.tried)
    }

    /// Takes note that a recording was tried, and when it is due again; `None` if it was dealt with.
    pub(super) fn set_tried(&mut self, path: &Path, due: Option<Duration>) {
        if let Some(arrival) = self.0.get_mut(path) {
            (arrival.due, arrival.tried) = (due, true);
        }
    }
}
