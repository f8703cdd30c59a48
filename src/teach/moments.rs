//! The pictures of told moments, fetched from the clips they were told of.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::{Told, ToldFile, ToldMoment};
use crate::files::file_name;
use crate::footage::{Clip, FootageError, FoundFrame, FrameSource, frames_near};
use crate::recognise::Patch;
use crate::setup::{LoadedSetup, Region, SetupError};

/// Frames looked at before and after a told moment, to see how long its text was held.
const NEIGHBOURS: u64 = 4;
/// Lowest usual frame rate: a moment may lie so much behind the last frame's stamp.
const SLOWEST_RATE_HZ: f64 = 20.0;

/// Why the picture of a told moment cannot be had.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum MomentError {
    /// A clip.
    #[error(transparent)]
    Footage(#[from] FootageError),
    /// A setup that is not the clip's.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// The clip ends before.
    #[error("{channel}@{time_s}={text}: {} ends at {end_s:.2} s: tell an earlier moment", path.display())]
    BehindTheEnd {
        /// The channel told.
        channel: String,
        /// The time told, in seconds.
        time_s: f64,
        /// The text told.
        text: String,
        /// The clip.
        path: PathBuf,
        /// The time of its last frame, in seconds.
        end_s: f64,
    },
}

/// Opens a clip that has the frame size of a setup.
///
/// # Errors
/// Those of opening it, and of [`LoadedSetup::check_frame`].
pub fn open_for(setup: &LoadedSetup, path: &Path) -> Result<Clip, MomentError> {
    let clip = Clip::open(path)?;
    let info = clip.info();
    setup.check_frame(&path.display().to_string(), info.width, info.height)?;
    Ok(clip)
}

/// The pictures of all remembered moments, and the names of clips that are not there any more. Clips other
/// than the one given are looked for beside it.
///
/// # Errors
/// [`MomentError`] names the moment or the clip.
pub fn told_moments(
    clip: &mut Clip,
    setup: &LoadedSetup,
    remembered: &ToldFile,
) -> Result<(Vec<ToldMoment>, BTreeSet<String>), MomentError> {
    let (mut moments, mut left_out) = (Vec::new(), BTreeSet::new());
    let path = clip.info().path.clone();
    let here = file_name(&path);
    let mut others: BTreeMap<&str, Clip> = BTreeMap::new();
    for told in &remembered.told {
        let Some(region) = setup.setup.region(&told.channel) else { continue };
        if told.clip == here {
            moments.push(moment(clip, region, &told.told())?);
            continue;
        }
        let path = path.with_file_name(&told.clip);
        if !path.exists() {
            left_out.insert(told.clip.clone());
            continue;
        }
        let other = match others.entry(told.clip.as_str()) {
            Entry::Occupied(open) => open.into_mut(),
            Entry::Vacant(place) => place.insert(open_for(setup, &path)?),
        };
        moments.push(moment(other, region, &told.told())?);
    }
    Ok((moments, left_out))
}

/// The told frame with those shortly before and after it.
fn moment(clip: &mut Clip, region: &Region, told: &Told) -> Result<ToldMoment, MomentError> {
    let patch = |frame: &FoundFrame| Patch::of(&frame.image, region.place, frame.time_s);
    let path = clip.info().path.clone();
    let last = frames_near(clip, &[f64::MAX])?;
    if let Some(last) = last.first().filter(|last| told.time_s > last.time_s + 1.0 / SLOWEST_RATE_HZ) {
        return Err(MomentError::BehindTheEnd {
            channel: told.channel.name().to_owned(),
            time_s: told.time_s,
            text: told.text.clone(),
            path,
            end_s: last.time_s,
        });
    }
    let centre = frames_near(clip, &[told.time_s])?;
    let centre = centre.first().ok_or(FootageError::NoFrame { path })?;
    let rate_hz = clip.info().nominal_rate_hz.filter(|rate| *rate > 1.0).unwrap_or(25.0);
    let offsets = (1..=NEIGHBOURS).map(|k| k as f64 / rate_hz);
    let before: Vec<f64> =
        offsets.clone().map(|offset| centre.time_s - offset).filter(|t| *t >= 0.0).collect();
    let after: Vec<f64> = offsets.map(|offset| centre.time_s + offset).collect();
    Ok(ToldMoment {
        told: told.clone(),
        centre: patch(centre),
        before: frames_near(clip, &before)?.iter().map(patch).collect(),
        after: frames_near(clip, &after)?.iter().map(patch).collect(),
    })
}
