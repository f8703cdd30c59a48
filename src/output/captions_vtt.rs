//! `captions.vtt`: the trusted numbers as captions for the video, in WebVTT (W3C).

use std::fmt::Write as _;

use crate::flight::Flight;
use crate::legs::Leg;
use crate::model::channel::Channel;
use crate::model::units::Unit;

use super::RenderError;
use super::numbers::shown;
use super::words::{kind_name, step_name, with_symbol};

/// Interval between updates of the caption, in seconds: long enough to read (set by judgement).
const CAPTION_S: f64 = 0.5;

/// Latest time with a caption, in seconds: far longer than any flight, and exact in whole milliseconds.
const LATEST_S: f64 = 1e9;

/// A caption from `start_s` to `end_s`; its text is not yet escaped.
#[derive(Debug, Clone, PartialEq)]
struct Cue {
    start_s: f64,
    end_s: f64,
    text: String,
}

/// A caption for each half second of the flight in which there is a number or a leg to show; successive equal
/// captions are merged. Times are flight times: with several clips, those of the joined clips including gaps.
///
/// # Errors
///
/// Currently none; all serializers have this return type.
pub fn captions_vtt(flight: &Flight) -> Result<Vec<u8>, RenderError> {
    let mut vtt = "WEBVTT\n\nNOTE\nTimes count from the first video frame of the flight.\n".to_owned();
    for cue in cues(flight) {
        // Writing to a `String` cannot fail.
        let _ = write!(
            vtt,
            "\n{} --> {}\n{}\n",
            timestamp(cue.start_s),
            timestamp(cue.end_s),
            escaped(&cue.text)
        );
    }
    Ok(vtt.into_bytes())
}

fn cues(flight: &Flight) -> Vec<Cue> {
    let mut cues: Vec<Cue> = Vec::new();
    for frames in intervals(&flight.series.readings.time_s) {
        let Some(cue) = cue(flight, frames).filter(|cue| !cue.text.is_empty()) else { continue };
        match cues.last_mut() {
            Some(last) if last.text == cue.text && last.end_s == cue.start_s => last.end_s = cue.end_s,
            _ => cues.push(cue),
        }
    }
    cues
}

/// Number of the caption interval that contains `time_s`, a flight time of at most [`LATEST_S`] seconds.
fn interval_number(time_s: f64) -> f64 {
    (time_s / CAPTION_S).floor()
}

/// The frames of each caption interval that has frames, as ranges of frame indices.
fn intervals(time_s: &[f64]) -> Vec<std::ops::Range<usize>> {
    let mut end = 0;
    time_s
        .chunk_by(|one, next| interval_number(*one) == interval_number(*next))
        .map(|frames| {
            let start = end;
            end += frames.len();
            start..end
        })
        .collect()
}

/// The caption of one interval's frames; `None` if their time exceeds [`LATEST_S`].
fn cue(flight: &Flight, frames: std::ops::Range<usize>) -> Option<Cue> {
    let first_s = *flight.series.readings.time_s.get(frames.start)?;
    if !(0.0..LATEST_S).contains(&first_s) {
        return None;
    }
    let start_s = interval_number(first_s) * CAPTION_S;
    let end_s = start_s + CAPTION_S;
    let numbers = numbers_text(flight, frames);
    let leg = leg_text(&flight.legs, f64::midpoint(start_s, end_s));
    let text = [numbers, leg].into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join("\n");
    Some(Cue { start_s, end_s, text })
}

fn numbers_text(flight: &Flight, frames: std::ops::Range<usize>) -> String {
    let shown = [("speed", Channel::Speed), ("pack", Channel::Voltage), ("altitude", Channel::Altitude)];
    let parts = shown.iter().filter_map(|(label, channel)| {
        let number = latest(flight, channel, frames.clone())?;
        let symbol = flight.unit(channel).map_or("", Unit::symbol);
        Some(format!("{label} {}", with_symbol(&number, symbol)))
    });
    parts.collect::<Vec<_>>().join(", ")
}

/// The last number of a channel within the frames, as text: the smoothed speed, or the trusted reading of another
/// channel. `None` if the frames have none, or if the channel never changes during the flight.
fn latest(flight: &Flight, channel: &Channel, frames: std::ops::Range<usize>) -> Option<String> {
    let readings = flight.series.alive(channel)?;
    let smooth = &flight.series.speed_smooth;
    let value_at = |index: usize| match channel {
        Channel::Speed => smooth.get(index).copied().filter(|value| value.is_finite()),
        _ => readings.trusted(index).map(|(value, _)| value),
    };
    frames.rev().find_map(value_at).map(|value| shown(value, usize::from(readings.decimals)))
}

fn leg_text(legs: &[Leg], time_s: f64) -> String {
    let Some(leg) = legs.iter().find(|leg| (leg.start_s..leg.end_s).contains(&time_s)) else {
        return String::new();
    };
    let step = step_name(leg.throttle_percent, leg.step);
    if step.is_empty() { kind_name(leg.kind).to_owned() } else { format!("{}, {step}", kind_name(leg.kind)) }
}

/// A time as `hh:mm:ss.ttt`; the hours may have more than two digits.
fn timestamp(time_s: f64) -> String {
    let milliseconds = (time_s * 1000.0).round() as u64;
    let seconds = milliseconds / 1000;
    format!("{:02}:{:02}:{:02}.{:03}", seconds / 3600, seconds / 60 % 60, seconds % 60, milliseconds % 1000)
}

/// Caption text with the characters reserved by WebVTT written as references (an arrow would end the text), and without
/// blank lines (one would end the caption).
fn escaped(text: &str) -> String {
    let lines = text.lines().filter(|line| !line.trim().is_empty());
    let text = lines.collect::<Vec<_>>().join("\n");
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
