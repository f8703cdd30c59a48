//! `summary.json`: the whole result for other programs.

pub(super) mod budget;
mod channels;

use serde::Serialize;

use crate::airspeed::{Pair, StepResult};
use crate::flight::Flight;
use crate::footage::ClipInfo;
use crate::legs::{Flag, Leg, LegKind, ThrottleSource};
use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::series::{Gap, LostLook, LostPicture};

use self::budget::{BudgetSummary, budget_summary};
use self::channels::{ChannelSummary, channel_summary};
use super::RenderError;
use super::notes;
use super::numbers::rounded;
use super::propulsion::{PropulsionSummary, propulsion_summary};
use super::surroundings::{Surroundings, surroundings};
use super::words::CAUTIONS;

/// Version of the layout of `summary.json`; it rises when a field changes its name or meaning.
pub const SUMMARY_FORMAT: u32 = 1;

/// Decimals kept of every number that is not a count.
const DECIMALS: i32 = 6;

/// The layout of `summary.json`. A number that is not known is `null`; times are seconds since
/// the first video frame of the flight.
#[derive(Debug, Serialize)]
struct Summary<'a> {
    /// [`SUMMARY_FORMAT`].
    format: u32,
    /// Name of the program that wrote the file.
    program: &'static str,
    /// Its version.
    version: &'a str,
    /// The clips in the order they were recorded.
    clips: Vec<Clip<'a>>,
    /// The camera and the frame its regions refer to.
    camera: CameraSummary<'a>,
    /// Unit of every speed below; `null` when not known.
    speed_unit: Option<Unit>,
    /// Unit of every altitude below; `null` when not known.
    altitude_unit: Option<Unit>,
    /// Decoded frames.
    frames: usize,
    /// Time of the last frame.
    end_s: Option<f64>,
    /// Rate at which the overlay renews the speed, in updates a second.
    update_rate_hz: Option<f64>,
    /// Stretches without frames.
    gaps: Vec<GapSummary>,
    /// Stretches in which the picture is lost, and how: `damaged`, `static`, `empty` or `frozen`.
    lost_pictures: Vec<LostSummary>,
    /// What became of each channel's frames.
    channels: Vec<ChannelSummary<'a>>,
    /// Where the throttle comes from.
    throttle_source: ThrottleSource,
    /// The legs, in the order flown.
    legs: Vec<LegSummary<'a>>,
    /// The pairs of legs.
    pairs: Vec<PairSummary<'a>>,
    /// The throttle steps.
    steps: Vec<StepSummary<'a>>,
    /// Wind, air and patterns of legs.
    #[serde(flatten)]
    surroundings: Surroundings<'a>,
    /// The aircraft's notes, and what the flight tells of pack, motor and propeller.
    #[serde(flatten)]
    propulsion: PropulsionSummary<'a>,
    /// What the pilot should know, a sentence each.
    notes: Vec<String>,
    /// Cautions that go with the result.
    cautions: [&'static str; CAUTIONS.len()],
}

/// One clip.
#[derive(Debug, Serialize)]
struct Clip<'a> {
    file: String,
    container: &'a str,
    codec: &'a str,
    width: u32,
    height: u32,
    nominal_rate_hz: Option<f64>,
    stated_length_s: Option<f64>,
}

/// The camera.
#[derive(Debug, Serialize)]
struct CameraSummary<'a> {
    name: &'a str,
    frame: (u32, u32),
}

/// A stretch without frames.
#[derive(Debug, Serialize)]
struct GapSummary {
    start_s: Option<f64>,
    end_s: Option<f64>,
}

/// A stretch in which the picture is lost.
#[derive(Debug, Serialize)]
struct LostSummary {
    start_s: Option<f64>,
    end_s: Option<f64>,
    frames: usize,
    look: LostLook,
}

/// One leg. Speeds in `speed_unit`, altitude in `altitude_unit`.
#[derive(Debug, Serialize)]
struct LegSummary<'a> {
    leg: usize,
    kind: LegKind,
    step: Option<u32>,
    throttle_percent: Option<f64>,
    start_s: Option<f64>,
    end_s: Option<f64>,
    steady_start_s: Option<f64>,
    steady_end_s: Option<f64>,
    median: Option<f64>,
    spread: Option<f64>,
    samples: usize,
    uncertainty: Option<f64>,
    voltage_v: Option<f64>,
    altitude: Option<f64>,
    satellites: Option<f64>,
    flags: &'a [Flag],
}

/// One pair. Speeds in `speed_unit`, altitude in `altitude_unit`; low and high are the 95 %
/// interval.
#[derive(Debug, Serialize)]
struct PairSummary<'a> {
    pair: u32,
    step: u32,
    throttle_percent: Option<f64>,
    /// Numbers of the two legs, from 1.
    upwind_leg: usize,
    downwind_leg: usize,
    upwind: Option<f64>,
    downwind: Option<f64>,
    airspeed: Option<f64>,
    airspeed_low: Option<f64>,
    airspeed_high: Option<f64>,
    airspeed_uncertainty: Option<f64>,
    degrees_of_freedom: Option<f64>,
    wind: Option<f64>,
    voltage_v: Option<f64>,
    altitude: Option<f64>,
    /// Whether its legs may not be two legs flown opposite ways; the flags say why.
    doubtful: bool,
    flags: &'a [Flag],
    budget: BudgetSummary,
}

/// One throttle step over its pairs. Speeds in `speed_unit`; low and high are the 95 % interval.
#[derive(Debug, Serialize)]
struct StepSummary<'a> {
    step: u32,
    throttle_percent: Option<f64>,
    airspeed: Option<f64>,
    airspeed_low: Option<f64>,
    airspeed_high: Option<f64>,
    wind: Option<f64>,
    voltage_v: Option<f64>,
    pairs: usize,
    /// Whether all of its pairs are doubtful.
    doubtful: bool,
    /// Its own flags, then those of its pairs and their legs.
    flags: Vec<&'a Flag>,
    budget: BudgetSummary,
}

/// `summary.json` as UTF-8 text, indented, with a closing line end.
///
/// # Errors
/// [`RenderError::Json`] if the JSON writer refuses a value.
pub fn summary_json(flight: &Flight) -> Result<Vec<u8>, RenderError> {
    let mut bytes = serde_json::to_vec_pretty(&summary(flight)?)?;
    bytes.push(b'\n');
    Ok(bytes)
}

fn summary(flight: &Flight) -> Result<Summary<'_>, RenderError> {
    let readings = &flight.series.readings;
    Ok(Summary {
        format: SUMMARY_FORMAT,
        program: env!("CARGO_PKG_NAME"),
        version: &flight.program_version,
        clips: flight.clips.iter().map(clip).collect(),
        camera: CameraSummary { name: &flight.setup.camera.name, frame: flight.setup.camera.frame },
        speed_unit: flight.unit(&Channel::Speed),
        altitude_unit: flight.unit(&Channel::Altitude),
        frames: readings.time_s.len(),
        end_s: readings.time_s.last().copied().and_then(number),
        update_rate_hz: flight.series.update_rate_hz.and_then(number),
        gaps: readings.gaps.iter().map(gap).collect(),
        lost_pictures: readings.lost.iter().map(lost_summary).collect(),
        channels: readings.channels.iter().map(|channel| channel_summary(flight, channel)).collect(),
        throttle_source: flight.throttle_source,
        legs: flight.legs.iter().zip(1..).map(|(leg, number)| leg_summary(leg, number)).collect(),
        pairs: flight.pairs.iter().map(pair_summary).collect(),
        steps: flight.steps.iter().map(step_summary).collect(),
        surroundings: surroundings(flight),
        propulsion: propulsion_summary(flight)?,
        notes: notes(flight),
        cautions: CAUTIONS,
    })
}

fn number(value: f64) -> Option<f64> {
    rounded(value, DECIMALS)
}

fn clip(clip: &ClipInfo) -> Clip<'_> {
    Clip {
        file: clip.path.to_string_lossy().into_owned(),
        container: &clip.container,
        codec: &clip.codec,
        width: clip.width,
        height: clip.height,
        nominal_rate_hz: clip.nominal_rate_hz.and_then(number),
        stated_length_s: clip.stated_length_s.and_then(number),
    }
}

fn lost_summary(lost: &LostPicture) -> LostSummary {
    LostSummary {
        start_s: number(lost.start_s),
        end_s: number(lost.end_s),
        frames: lost.frames,
        look: lost.look,
    }
}

fn gap(gap: &Gap) -> GapSummary {
    GapSummary { start_s: number(gap.start_s), end_s: number(gap.end_s) }
}

fn leg_summary(leg: &Leg, number_of_leg: usize) -> LegSummary<'_> {
    LegSummary {
        leg: number_of_leg,
        kind: leg.kind,
        step: leg.step,
        throttle_percent: leg.throttle_percent.and_then(number),
        start_s: number(leg.start_s),
        end_s: number(leg.end_s),
        steady_start_s: number(leg.steady_start_s),
        steady_end_s: number(leg.steady_end_s),
        median: number(leg.speed_median),
        spread: number(leg.speed_spread),
        samples: leg.samples,
        uncertainty: number(leg.speed_uncertainty),
        voltage_v: leg.voltage_v.and_then(number),
        altitude: leg.altitude.and_then(number),
        satellites: leg.satellites.and_then(number),
        flags: &leg.flags,
    }
}

fn pair_summary(pair: &Pair) -> PairSummary<'_> {
    PairSummary {
        pair: pair.pair,
        step: pair.step,
        throttle_percent: pair.throttle_percent.and_then(number),
        upwind_leg: pair.legs.0.saturating_add(1),
        downwind_leg: pair.legs.1.saturating_add(1),
        upwind: number(pair.upwind),
        downwind: number(pair.downwind),
        airspeed: number(pair.airspeed.value),
        airspeed_low: number(pair.airspeed.low),
        airspeed_high: number(pair.airspeed.high),
        airspeed_uncertainty: number(pair.airspeed.standard_uncertainty),
        degrees_of_freedom: number(pair.airspeed.degrees_of_freedom),
        wind: number(pair.wind),
        voltage_v: pair.voltage_v.and_then(number),
        altitude: pair.altitude.and_then(number),
        doubtful: pair.doubtful,
        flags: &pair.flags,
        budget: budget_summary(&pair.budget),
    }
}

fn step_summary(step: &StepResult) -> StepSummary<'_> {
    StepSummary {
        step: step.step,
        throttle_percent: step.throttle_percent.and_then(number),
        airspeed: number(step.airspeed.value),
        airspeed_low: number(step.airspeed.low),
        airspeed_high: number(step.airspeed.high),
        wind: number(step.wind),
        voltage_v: step.voltage_v.and_then(number),
        pairs: step.pairs.len(),
        doubtful: step.doubtful,
        flags: step.flags.iter().chain(&step.pair_flags).collect(),
        budget: budget_summary(&step.budget),
    }
}
