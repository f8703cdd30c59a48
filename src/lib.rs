//! Pairspeed turns the onboard recording of a model aircraft into its airspeed.
//!
//! ```
//! use pairspeed::{ReadOptions, read_flight, readings::Silent, setup::LoadedSetup};
//!
//! let setup = LoadedSetup::load("demo-clips/salt-flat.setup.toml".as_ref())?;
//! let clips = ["demo-clips/salt-flat.avi".into()];
//! let flight = read_flight(&clips, &setup, &ReadOptions::default(), &mut Silent)?;
//! for step in &flight.steps {
//!     println!("{:?} %: {:.1} to {:.1}", step.throttle_percent, step.airspeed.low, step.airspeed.high);
//! }
//! # assert_eq!(flight.steps.len(), 6);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Data flows one way, and [`read_flight`] is the whole of it:
//!
//! ```text
//! read_record: footage -> readings -> series (a FlightRecord)
//! work_out:    series -> legs -> pairs -> findings (a Flight, which output writes down)
//! ```

pub mod advice;
pub mod air;
pub mod airspeed;
pub mod compare;
pub mod confinement;
pub mod decipher;
pub mod detect;
pub mod files;
pub mod flight;
pub mod footage;
pub mod geometry;
pub mod glyphs;
pub mod known_camera;
pub mod learn;
pub mod leg_edits;
pub mod legs;
mod line_reader;
mod linux;
pub mod model;
mod neural;
pub mod new_camera;
pub mod output;
pub mod picture;
pub mod plan;
pub mod propulsion;
pub mod readings;
pub mod recognise;
pub mod series;
pub mod setup;
pub mod stats;
pub mod summary;
mod toml_words;
pub mod visible;
pub mod weather;

use std::path::PathBuf;
use std::sync::Arc;

use thiserror::Error;

use advice::{Advice, Advised, FlightNote};
use flight::{Flight, FlightRecord};
use footage::FrameSource as _;
use legs::LegOptions;
use model::{channel, units};
use readings::Progress;
use setup::LoadedSetup;
pub use setup::glyph_sets;

/// Why a flight cannot be read.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ReadError {
    /// A clip cannot be read.
    #[error(transparent)]
    Footage(#[from] footage::FootageError),
    /// The setup does not fit the recording, or the recording cannot be sampled.
    #[error(transparent)]
    Prepare(#[from] readings::PrepareError),
    /// The camera setup is invalid.
    #[error(transparent)]
    Setup(#[from] setup::SetupError),
    /// The glyph set cannot be loaded.
    #[error(transparent)]
    Glyphs(#[from] glyphs::GlyphFileError),
    /// The given legs do not fit the flight.
    #[error(transparent)]
    Legs(#[from] legs::GivenLegError),
}

impl Advised for ReadError {
    fn advice(&self) -> Option<Advice> {
        match self {
            Self::Prepare(error) => error.advice(),
            Self::Setup(error) => error.advice(),
            Self::Glyphs(error) => error.advice(),
            Self::Footage(_) | Self::Legs(_) => None,
        }
    }
}

/// Options for reading a flight.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadOptions {
    /// Legs, throttle steps and limits that the pilot gives.
    pub legs: LegOptions,
    /// Minimum confidence at which a reading is trusted, 0 to 1.
    pub min_confidence: f32,
    /// Description of the aircraft; `None` if that of the setup is to be used.
    pub aircraft: Option<setup::Aircraft>,
    /// Units in which results are stated.
    pub units: units::ResultUnits,
    /// Course and wind that the pilot gives.
    pub wind: airspeed::GivenWind,
    /// Elevation, temperature and pressure that the pilot gives.
    pub air: air::GivenAir,
}

impl Default for ReadOptions {
    fn default() -> Self {
        Self {
            legs: LegOptions::default(),
            min_confidence: readings::DEFAULT_MIN_CONFIDENCE,
            aircraft: None,
            units: units::ResultUnits::default(),
            wind: airspeed::GivenWind::default(),
            air: air::GivenAir::default(),
        }
    }
}

/// Reads the consecutive clips of one flight and computes its airspeeds.
///
/// # Errors
/// [`ReadError`] names the file and what is wrong with it.
pub fn read_flight(
    clips: &[PathBuf],
    setup: &LoadedSetup,
    options: &ReadOptions,
    progress: &mut dyn Progress,
) -> Result<Flight, ReadError> {
    Ok(work_out(read_record(clips, setup, options.min_confidence, progress)?, options)?)
}

/// Reads the consecutive clips of one flight, from footage to series. This takes long; [`work_out`] does not.
///
/// # Errors
/// [`ReadError`] names the file and what is wrong with it.
pub fn read_record(
    clips: &[PathBuf],
    setup: &LoadedSetup,
    min_confidence: f32,
    progress: &mut dyn Progress,
) -> Result<FlightRecord, ReadError> {
    setup.require_speed()?;
    let sets = glyph_sets(setup)?;
    let mut recording = footage::Recording::open(clips)?;
    let info = recording.info().clone();
    let clips = recording.clip_infos().cloned().collect();
    setup.check_frame(&info.path.display().to_string(), info.width, info.height)?;

    let prepared = readings::prepare(&mut recording, &setup.setup, &sets)?;
    let mut read = readings::collect(&mut recording, &prepared, min_confidence, progress)?;
    read.gaps = readings::gaps_between(recording.spans(), &read.time_s);
    let legibility = readings::ChannelLegibility::of(&prepared, recording.spans(), &setup.path);
    legibility.leave_blank(&mut read);
    let mut notes: Vec<FlightNote> =
        readings::lost_sentences(&read).into_iter().map(FlightNote::from).collect();
    notes.extend(setup.warnings().into_iter().map(FlightNote::from));
    notes.extend(prepared.note());
    notes.extend(recording.join_sentences().into_iter().map(FlightNote::from));
    notes.extend(recording.notes().sentences(&info.path).into_iter().map(FlightNote::from));
    Ok(FlightRecord {
        clips,
        series: Arc::new(series::trust(read)),
        setup: prepared.setup,
        legibility,
        notes,
    })
}

/// Computes a flight from its record, from series to findings. It takes milliseconds, so that it can be repeated after every
/// change of the legs.
///
/// # Errors
/// [`legs::GivenLegError`] if given legs do not fit the flight.
pub fn work_out(record: FlightRecord, options: &ReadOptions) -> Result<Flight, legs::GivenLegError> {
    let FlightRecord { clips, setup, series, legibility, mut notes } = record;
    let series = series.in_units(&options.units);
    let aircraft = options.aircraft.clone().or_else(|| setup.aircraft.clone()).unwrap_or_default();
    let min_voltage_v = options.legs.min_voltage_v.or(aircraft.landing_v());
    let legs = legs::find(&series, &LegOptions { min_voltage_v, ..options.legs.clone() })?;
    let wind = airspeed::find_wind(&series, &legs, &options.wind);
    let pairs = airspeed::pair_with(&legs, &wind.as_ref().into());
    let steps = airspeed::steps(&pairs);
    let sources = propulsion::Sources {
        series: &series,
        legs: &legs.legs,
        pairs: &pairs,
        steps: &steps,
        speed_si: legs.speed_si,
    };
    let propulsion = propulsion::findings(sources, &aircraft);
    // If the speed cannot be read, a note that no speed is trusted is redundant.
    let unread = legibility.unread(&channel::Channel::Speed).is_some();
    let leg_notes = legs.notes.iter().filter(|note| !(unread && **note == legs::Note::NoTrustedSpeed));
    notes.extend(leg_notes.map(|note| FlightNote { sentence: note.to_string(), advice: note.advice() }));
    let patterns = airspeed::patterns(&legs, options.wind.heading_reference);
    let air = air::of_flight(&series, &legs.legs, &options.air);
    notes.extend(airspeed::wind_notes(&options.wind, wind.as_ref(), &pairs));
    notes.extend(air.note().filter(|_| !pairs.is_empty()));
    Ok(Flight {
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        clips,
        setup,
        series,
        legibility,
        legs: legs.legs,
        throttle_source: legs.throttle_source,
        pairs,
        steps,
        patterns,
        wind,
        air,
        aircraft,
        propulsion,
        notes,
    })
}
