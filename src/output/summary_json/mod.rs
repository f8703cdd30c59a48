//! `summary.json`: the results of a flight in the schema of [`crate::summary`].

mod budget;
mod channels;
mod conditions;
mod pairs;
mod propulsion;

use crate::flight::Flight;
use crate::footage::ClipInfo;
use crate::model::channel::Channel;
use crate::series::{Gap, SignalLoss};
use crate::summary::{CameraSummary, ClipSummary, GapSummary, SUMMARY_FORMAT, SignalLossSummary, Summary};

use self::channels::channel_summary;
use self::conditions::{air_summary, pattern_summary, wind_summary};
use self::pairs::{leg_summary, pair_summary, step_summary};
use self::propulsion::propulsion_summary;
use super::RenderError;
use super::notes;
use super::numbers::rounded;
use super::propulsion::sentences as propulsion_sentences;
use super::words::CAUTIONS;

/// Number of decimals of the numbers in the summary: fine enough for times in microseconds.
const DECIMALS: i32 = 6;

/// `summary.json` as UTF-8 text.
///
/// # Errors
/// [`RenderError::Json`] if the JSON writer refuses a value.
pub fn summary_json(flight: &Flight) -> Result<Vec<u8>, RenderError> {
    Ok(summary(flight).to_json()?)
}

/// Converts the results of a flight to the schema of the summary.
pub(crate) fn summary(flight: &Flight) -> Summary {
    let readings = &flight.series.readings;
    Summary {
        format: SUMMARY_FORMAT,
        program: env!("CARGO_PKG_NAME").to_owned(),
        version: flight.program_version.clone(),
        clips: flight.clips.iter().map(clip).collect(),
        camera: CameraSummary {
            name: Some(flight.setup.camera.name.clone()),
            frame: flight.setup.camera.frame,
        },
        speed_unit: flight.unit(&Channel::Speed),
        altitude_unit: flight.unit(&Channel::Altitude),
        frames: readings.time_s.len(),
        end_s: readings.time_s.last().copied().and_then(number),
        update_rate_hz: flight.series.update_rate_hz.and_then(number),
        gaps: readings.gaps.iter().map(gap).collect(),
        signal_losses: readings.lost.iter().map(signal_loss).collect(),
        channels: readings.channels.iter().map(|channel| channel_summary(flight, channel)).collect(),
        throttle_source: flight.throttle_source,
        legs: flight.legs.iter().zip(1..).map(|(leg, number)| leg_summary(leg, number)).collect(),
        pairs: flight.pairs.iter().map(pair_summary).collect(),
        steps: flight.steps.iter().map(step_summary).collect(),
        wind: flight.wind.as_ref().map(wind_summary),
        air: air_summary(&flight.air, &flight.steps),
        patterns: flight.patterns.iter().map(pattern_summary).collect(),
        aircraft: flight.aircraft.clone(),
        propulsion: propulsion_summary(&flight.propulsion),
        propulsion_in_words: propulsion_sentences(flight),
        notes: notes(flight),
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
    }
}

fn number(value: f64) -> Option<f64> {
    rounded(value, DECIMALS)
}

fn clip(clip: &ClipInfo) -> ClipSummary {
    ClipSummary {
        file: clip.path.to_string_lossy().into_owned(),
        container: clip.container.clone(),
        codec: clip.codec.clone(),
        width: clip.width,
        height: clip.height,
        nominal_rate_hz: clip.nominal_rate_hz.and_then(number),
        stated_length_s: clip.stated_length_s.and_then(number),
    }
}

fn gap(gap: &Gap) -> GapSummary {
    GapSummary { start_s: number(gap.start_s), end_s: number(gap.end_s) }
}

fn signal_loss(lost: &SignalLoss) -> SignalLossSummary {
    SignalLossSummary {
        start_s: number(lost.start_s),
        end_s: number(lost.end_s),
        frames: lost.frames,
        kind: lost.kind,
    }
}
