//! Determines which recordings have stopped growing.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::listing::Stamp;

/// The recordings of an inbox, as last listed.
#[derive(Debug, Default)]
pub(super) struct Arrivals(BTreeMap<PathBuf, Arrival>);

#[derive(Debug)]
struct Arrival {
    stamp: Stamp,
    /// Time at which the recording is to be read, since the start of the inbox: a fixed time after its last
    /// change, or after a failed attempt to read it. `None` once the recording is done.
    due: Option<Duration>,
    /// Whether an attempt was made to read the recording since its last change.
    tried: bool,
}

impl Arrivals {
    /// Updates the recordings with a listing made at the time `now`, since the start of the inbox. New and changed
    /// recordings are to be read once the time `quiet_time` has passed. Returns the recordings that have disappeared
    /// before they were done.
    pub(super) fn note(
        &mut self,
        now: Duration,
        quiet_time: Duration,
        recordings: &[(PathBuf, Stamp)],
    ) -> Vec<PathBuf> {
        let mut before = std::mem::take(&mut self.0);
        for (path, stamp) in recordings {
            let known = before.remove(path).filter(|arrival| arrival.stamp == *stamp);
            let arrival =
                known.unwrap_or(Arrival { stamp: *stamp, due: Some(now + quiet_time), tried: false });
            self.0.insert(path.clone(), arrival);
        }
        before.into_iter().filter(|(_, gone)| gone.due.is_some()).map(|(path, _)| path).collect()
    }

    /// The recordings to be read at the time `now`, since the start of the inbox, or before it; sorted by path.
    pub(super) fn due(&self, now: Duration) -> Vec<PathBuf> {
        let is_due = |arrival: &Arrival| arrival.due.is_some_and(|due| due <= now);
        self.0.iter().filter(|(_, arrival)| is_due(arrival)).map(|(path, _)| path.clone()).collect()
    }

    /// Whether an attempt was made to read every recording.
    pub(super) fn are_tried(&self) -> bool {
        self.0.values().all(|arrival| arrival.tried)
    }

    /// Records an attempt to read the recording `path`. `due` is the time at which the recording is to be read again;
    /// `None` if it is done.
    pub(super) fn set_tried(&mut self, path: &Path, due: Option<Duration>) {
        if let Some(arrival) = self.0.get_mut(path) {
            (arrival.due, arrival.tried) = (due, true);
        }
    }
}
