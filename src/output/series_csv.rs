//! `series.csv`: the trusted reading of every channel in every decoded frame.

use std::io::Write;

use rayon::prelude::*;

use crate::flight::Flight;
use crate::model::channel::Channel;
use crate::series::ChannelReadings;

use super::numbers::{TIME_DECIMALS, fixed};
use super::words::column;
use super::{RenderError, write_csv};

/// Number of rows that are formatted in parallel before they are written (set by judgement).
const ROWS_TOGETHER: usize = 2048;
/// Number of decimals of a confidence (set by judgement).
const CONFIDENCE_DECIMALS: usize = 4;
/// Number of decimals of the smoothed speed (set by judgement).
const SMOOTH_DECIMALS: usize = 2;

/// Writes a row for each decoded frame: `frame,time_s`, then `<channel>[_<unit>]` and `<channel>_confidence`
/// for each channel, then `speed_smooth[_<unit>]`. An untrusted reading and its confidence are empty fields.
/// Values have the decimals of the overlay.
///
/// # Errors
///
/// [`RenderError::Csv`] and [`RenderError::Write`] if a record cannot be written.
pub fn series_csv(flight: &Flight, out: &mut dyn Write) -> Result<(), RenderError> {
    let count = flight.series.readings.time_s.len();
    let together = |first: usize| {
        let frames = (first..count.min(first + ROWS_TOGETHER)).into_par_iter();
        frames.map(|index| row(flight, index)).collect::<Vec<_>>()
    };
    let rows = (0..count).step_by(ROWS_TOGETHER).flat_map(together);
    write_csv(std::iter::once(header(flight)).chain(rows), out)
}

fn header(flight: &Flight) -> Vec<String> {
    let mut cells = vec!["frame".to_owned(), "time_s".to_owned()];
    for channel in &flight.series.readings.channels {
        cells.push(channel.channel.column(channel.unit));
        cells.push(format!("{}_confidence", channel.channel.name()));
    }
    cells.push(column("speed_smooth", flight.unit(&Channel::Speed)));
    cells
}

fn row(flight: &Flight, index: usize) -> Vec<String> {
    let readings = &flight.series.readings;
    let time_s = readings.time_s.get(index).copied().unwrap_or(f64::NAN);
    let mut cells = vec![index.to_string(), fixed(time_s, TIME_DECIMALS)];
    for channel in &readings.channels {
        cells.extend(reading_cells(channel, index));
    }
    let smooth = flight.series.speed_smooth.get(index).copied().unwrap_or(f64::NAN);
    cells.push(fixed(smooth, SMOOTH_DECIMALS));
    cells
}

fn reading_cells(channel: &ChannelReadings, index: usize) -> [String; 2] {
    channel.trusted(index).map_or_else(Default::default, |(value, confidence)| {
        [fixed(value, usize::from(channel.decimals)), confidence_cell(confidence)]
    })
}

/// A confidence as text. A confidence below 1 is never rounded up to 1.
fn confidence_cell(confidence: f32) -> String {
    let most = if confidence < 1.0 { 0.9999 } else { 1.0 };
    fixed(f64::from(confidence).min(most), CONFIDENCE_DECIMALS)
}
