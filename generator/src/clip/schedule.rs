//! Determines which frames are recorded, at which times, into which files.
//!
//! Frame times lie on a grid with the nominal rate. Dropped frames are missing from the grid; the remaining
//! frames keep their times. `stamp_wobble_s` makes the intervals uneven: t(k) = k / rate + stamp_wobble_s (1
//! - cos(0.9 k)), where k counts from the file's first frame.

use rand::RngExt;

use crate::random::{Purpose, stream};
use crate::scenario::{Scenario, Video};

/// Increase of the phase of the cosine in the time stamps from one nominal frame time to the next, in radians. Set by
/// judgement.
pub(super) const WOBBLE_RAD: f64 = 0.9;

/// One recorded frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecordedFrame {
    /// Index of the frame's nominal time among those of its file, from 0; dropped frames are counted.
    pub grid: u64,
    /// Index of the frame's nominal time among those of the whole flight, from 0; dropped frames are counted.
    pub number: u64,
    /// Time stamp in seconds since the file's first frame.
    pub time_s: f64,
    /// Time in seconds since the start of the flight.
    pub flight_s: f64,
}

/// One file of the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    /// Time of the file's first frame, in seconds since the start of the flight.
    pub start_s: f64,
    /// Frames of the file, at least one.
    pub shots: Vec<RecordedFrame>,
}

/// The files of the recording of a flight that lasts `flight_s` seconds.
pub(crate) fn recordings(scenario: &Scenario, flight_s: f64) -> Vec<Recording> {
    let video = &scenario.video;
    let end_s = video.length_s.map_or(flight_s, |length_s| length_s.min(flight_s));
    let mut random = stream(scenario.seed, Purpose::Drops);
    let mut recordings = Vec::new();
    for [from_s, to_s] in spans(video, end_s) {
        let (numerator, denominator) = video.frame_rate.fraction().unwrap_or((30, 1));
        let period_s = f64::from(denominator) / f64::from(numerator);
        let first = (from_s / period_s - 1e-9).ceil().max(0.0) as u64;
        let start_s = first as f64 * period_s;
        let frames = ((to_s - start_s) / period_s - 1e-9).ceil().max(0.0) as u64;
        let shots: Vec<RecordedFrame> = (0..frames)
            .filter(|&grid| grid == 0 || !random.random_bool(video.dropped))
            .map(|grid| {
                let wobble_s = video.stamp_wobble_s * (1.0 - (WOBBLE_RAD * grid as f64).cos());
                let time_s = grid as f64 * period_s + wobble_s;
                RecordedFrame { grid, number: first + grid, time_s, flight_s: start_s + time_s }
            })
            .collect();
        if !shots.is_empty() {
            recordings.push(Recording { start_s, shots });
        }
    }
    recordings
}

/// Start and end of each file, in seconds since the start of the flight.
fn spans(video: &Video, end_s: f64) -> Vec<[f64; 2]> {
    let inner = video.split_at_s.iter().copied().filter(|&split| split > 0.0 && split < end_s);
    let mut spans = Vec::new();
    let mut start_s = 0.0;
    for split_s in inner {
        spans.push([start_s, split_s]);
        start_s = split_s + video.split_gap_s;
    }
    spans.push([start_s, end_s]);
    spans
}
