//! Writes the files that belong to a clip: truth, readings, camera setup.

use std::path::Path;

use serde::Serialize;

use super::schedule::Recording;
use super::source::FrameSource;
use crate::error::Error;
use crate::files;
use crate::flight::Truth;
use crate::overlay::PlacedField;
use crate::scenario::{Channel, LegKind, Scenario};

#[derive(Serialize)]
struct TruthFile<'a> {
    scenario: &'a str,
    /// Unit of all speeds in this file.
    unit: &'static str,
    clip_start_s: f64,
    wind_speed: f64,
    /// Headwind on the upwind legs, in `unit`.
    wind_along: f64,
    wind_across: f64,
    step: Vec<StepEntry>,
    leg: Vec<LegEntry>,
}

#[derive(Serialize)]
struct StepEntry {
    throttle_percent: f64,
    true_airspeed: f64,
    flown_airspeed: f64,
    wind: f64,
}

#[derive(Serialize)]
struct LegEntry {
    start_s: f64,
    end_s: f64,
    kind: LegKind,
    throttle_percent: f64,
    ground_speed: f64,
}

/// Writes the truth about the flight; times of legs are in seconds since the clip's first frame.
pub(super) fn write_truth(source: &FrameSource, recording: &Recording, path: &Path) -> Result<(), Error> {
    let scenario = source.scenario();
    let (unit, factor) = speed_unit(scenario);
    let wind = scenario.wind;
    let file = TruthFile {
        scenario: &scenario.name,
        unit,
        clip_start_s: rounded(recording.start_s, 4),
        wind_speed: rounded(wind.speed_mps * factor, 3),
        wind_along: rounded(wind.along_mps() * factor, 3),
        wind_across: rounded(wind.across_mps() * factor, 3),
        step: step_entries(source.truth(), wind.along_mps(), factor),
        leg: leg_entries(source.truth(), recording.start_s, factor),
    };
    files::write_toml(path, &file)
}

fn step_entries(truth: &Truth, wind_along_mps: f64, factor: f64) -> Vec<StepEntry> {
    let entry = |step: &crate::flight::Step| StepEntry {
        throttle_percent: step.throttle_percent,
        true_airspeed: rounded(step.true_airspeed_mps * factor, 3),
        flown_airspeed: rounded(step.flown_airspeed_mps * factor, 3),
        wind: rounded(wind_along_mps * factor, 3),
    };
    truth.steps.iter().map(entry).collect()
}

fn leg_entries(truth: &Truth, clip_start_s: f64, factor: f64) -> Vec<LegEntry> {
    let entry = |leg: &crate::flight::Leg| LegEntry {
        start_s: rounded(leg.start_s - clip_start_s, 2),
        end_s: rounded(leg.end_s - clip_start_s, 2),
        kind: leg.kind,
        throttle_percent: leg.throttle_percent,
        ground_speed: rounded(leg.ground_speed_mps * factor, 3),
    };
    truth.legs.iter().map(entry).collect()
}

/// The unit in which the clip shows the speed, and the factor from m/s to that unit.
fn speed_unit(scenario: &Scenario) -> (&'static str, f64) {
    let speed = scenario.overlay.fields.iter().find(|field| field.channel == Channel::Speed);
    match speed.map(crate::scenario::Field::unit_and_factor) {
        Some((Some(unit), factor)) => (unit, factor),
        _ => ("m/s", 1.0),
    }
}

fn rounded(value: f64, places: i32) -> f64 {
    let scale = 10_f64.powi(places);
    (value * scale).round() / scale
}

/// Writes the drawn texts of every frame, one row for each frame.
pub(super) fn write_readings(
    scenario: &Scenario,
    recording: &Recording,
    texts: Vec<Vec<String>>,
    path: &Path,
) -> Result<(), Error> {
    let mut header = vec!["frame".to_owned(), "time_s".to_owned()];
    header.extend(scenario.overlay.fields.iter().map(|field| field.channel.name().to_owned()));
    let rows = texts.into_iter().zip(&recording.shots).enumerate().map(|(frame, (texts, shot))| {
        let mut row = vec![frame.to_string(), format!("{:.6}", shot.time_s)];
        row.extend(texts);
        row
    });
    files::write_csv(path, &header, rows)
}

#[derive(Serialize)]
struct SetupFile {
    camera: CameraEntry,
    region: Vec<RegionEntry>,
}

#[derive(Serialize)]
struct CameraEntry {
    name: String,
    frame: [usize; 2],
}

#[derive(Serialize)]
struct RegionEntry {
    channel: &'static str,
    #[serde(rename = "box")]
    place: [u32; 4],
    #[serde(skip_serializing_if = "Option::is_none")]
    unit: Option<&'static str>,
    digits: usize,
    decimals: usize,
    range: [f64; 2],
    max_rate: f64,
}

/// Writes a camera setup whose boxes are a few pixels larger than the text boxes of the fields.
pub(super) fn write_setup(source: &FrameSource, path: &Path) -> Result<(), Error> {
    let scenario = source.scenario();
    let drift_px = scenario.degradation.overlay_drift_px;
    let frame = [scenario.video.width, scenario.video.height];
    let fields = source.layout.fields.iter();
    let file = SetupFile {
        camera: CameraEntry { name: format!("{} camera", scenario.name), frame },
        region: fields.map(|placed| region(placed, drift_px, frame, scenario)).collect(),
    };
    files::write_toml(path, &file)
}

/// Number of digits of the timer: two of minutes, two of seconds.
const TIMER_DIGITS: usize = 4;

fn region(placed: &PlacedField, drift_px: f32, frame: [usize; 2], scenario: &Scenario) -> RegionEntry {
    let field = &placed.field;
    let (unit, factor) = field.unit_and_factor();
    let (range, max_rate) = plausible(field.channel, scenario);
    let offset = if field.channel == Channel::Altitude && field.over == crate::scenario::AltitudeOver::Sea {
        scenario.flight.field_elevation_m
    } else {
        0.0
    };
    RegionEntry {
        channel: field.channel.name(),
        place: box_with_margin(placed, drift_px, frame),
        unit,
        digits: if field.channel == Channel::Timer {
            TIMER_DIGITS
        } else {
            field.width - usize::from(field.decimals > 0)
        },
        decimals: field.decimals,
        range: range.map(|value| rounded((value + offset) * factor, 1).floor()),
        max_rate: rounded(max_rate * factor, 0).max(1.0),
    }
}

/// Left, top, width and height, in pixels, of a field's text box, enlarged on each side by the field's margin and by
/// `drift_px` pixels, and limited to the frame. `frame` is the width and height of the frame in pixels.
fn box_with_margin(placed: &PlacedField, drift_px: f32, frame: [usize; 2]) -> [u32; 4] {
    let text_box = placed.text_box;
    let margin = placed.margin_px() + drift_px;
    let left = (text_box.x - margin).max(0.0).floor();
    let top = (text_box.y - margin).max(0.0).floor();
    let right = (text_box.x + text_box.width + margin).min(frame[0] as f32).ceil();
    let bottom = (text_box.y + text_box.height + margin).min(frame[1] as f32).ceil();
    [left, top, (right - left).max(1.0), (bottom - top).max(1.0)].map(|edge| edge as u32)
}

/// Plausible range of a channel, and the fastest plausible change of its value per second. Both are in SI units,
/// percent, degrees or mAh.
fn plausible(channel: Channel, scenario: &Scenario) -> ([f64; 2], f64) {
    let cells = f64::from(scenario.pack.cells);
    match channel {
        Channel::Speed => ([0.0, 85.0], 25.0),
        Channel::Voltage => ([2.5 * cells, 4.4 * cells], 1.5 * cells),
        Channel::CellVoltage => ([2.0, 5.0], 2.0),
        Channel::Altitude => ([-50.0, 400.0], 40.0),
        Channel::Satellites => ([0.0, 40.0], 20.0),
        Channel::Throttle => ([0.0, 100.0], 500.0),
        Channel::Current => ([0.0, 200.0], 400.0),
        Channel::Power => ([0.0, 5000.0], 10_000.0),
        Channel::Charge => ([0.0, 20_000.0], 100.0),
        Channel::Heading => ([0.0, 359.0], 400.0),
        Channel::Timer => ([0.0, 7200.0], 2.0),
    }
}
