//! A small plot of one channel over the flight.

use maud::Markup;
use plotters::style::RGBColor;

use super::plot::{Along, chart, draw_lines, svg};
use crate::flight::Flight;
use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::output::RenderError;
use crate::output::axis::Axis;
use crate::output::decimation::lines;
use crate::output::words::with_symbol;

/// Width and height of the plot in pixels (set by judgement).
const SIZE: (u32, u32) = (470, 216);

/// Plots the trusted readings of a channel as a line, which is broken where there are none for more than a second.
/// `None` if the channel is not in the setup, shows one value for the whole flight, or has no trusted reading.
///
/// # Errors
///
/// [`RenderError::Plot`] if plotters cannot draw.
pub(super) fn channel_plot(
    flight: &Flight,
    channel: &Channel,
    color: RGBColor,
) -> Result<Option<Markup>, RenderError> {
    let points = trusted_points(flight, channel);
    let time = Axis::of_time(flight.series.readings.time_s.iter().copied());
    let (Some(time), Some(up)) = (time, Axis::over(points.iter().map(|point| point.1))) else {
        return Ok(None);
    };
    let symbol = flight.unit(channel).map_or("", Unit::symbol);
    let name = with_symbol(&format!("{},", channel.name()), symbol);
    let label = format!("{} against time", channel.name());
    svg(SIZE, &label, |area| {
        let mut chart = chart(area, (&time, &up), Along::Time, name.trim_end_matches(','))?;
        draw_lines(&mut chart, lines(&points), color)
    })
    .map(Some)
}

/// Times in seconds and trusted values of a channel. Blank frames are left out, because a missing value would break the
/// line even in a short blank.
fn trusted_points(flight: &Flight, channel: &Channel) -> Vec<(f64, f64)> {
    let readings = &flight.series.readings;
    let Some(of_channel) = flight.series.alive(channel) else { return Vec::new() };
    let value = |(index, time_s): (usize, &f64)| Some((*time_s, of_channel.trusted(index)?.0));
    readings.time_s.iter().enumerate().filter_map(value).collect()
}
