//! Airspeed against throttle, with the interval of each pair.

use maud::Markup;
use plotters::prelude::*;

use super::axis::Axis;
use super::palette::AIRSPEED;
use super::plot::{Along, chart, svg};
use crate::airspeed::Pair;
use crate::flight::Flight;
use crate::output::RenderError;
use crate::output::words::{speed_symbol, with_symbol};

/// Size in pixels.
const SIZE: (u32, u32) = (470, 520);

/// Distance between pairs of the same step, in throttle per cent or hundredths of a step.
const APART: f64 = 1.0;

/// Airspeed of each pair with its 95 % interval against throttle, or against the number of the
/// step where throttle is not known. `None` when there is nothing to draw.
///
/// # Errors
/// [`RenderError::Plot`] if plotters cannot draw.
pub(super) fn throttle_plot(flight: &Flight) -> Result<Option<Markup>, RenderError> {
    let by_throttle = flight.pairs.iter().all(|pair| pair.throttle_percent.is_some());
    let bars = bars(&flight.pairs, by_throttle);
    let across = Axis::over(bars.iter().map(|bar| bar.across));
    let across = across.and_then(|axis| with_room(&axis, by_throttle));
    let up = Axis::over(bars.iter().flat_map(|bar| [bar.low, bar.airspeed, bar.high]));
    let (Some(across), Some(up)) = (across, up) else { return Ok(None) };
    let along = Along::Number(if by_throttle { "throttle, %" } else { "throttle step" });
    let name = with_symbol("airspeed,", speed_symbol(flight));
    svg(SIZE, "Airspeed against throttle with its 95 % interval", |area| {
        let mut chart = chart(area, (&across, &up), along, name.trim_end_matches(','))?;
        let style = AIRSPEED.stroke_width(2).filled();
        chart.draw_series(
            bars.iter()
                .map(|bar| ErrorBar::new_vertical(bar.across, bar.low, bar.airspeed, bar.high, style, 12)),
        )?;
        chart.draw_series(bars.iter().map(|bar| Circle::new((bar.across, bar.airspeed), 4, style)))?;
        Ok(())
    })
    .map(Some)
}

/// One pair in the plot.
struct Bar {
    across: f64,
    low: f64,
    airspeed: f64,
    high: f64,
}

/// The pairs that have an airspeed; those of one step stand beside each other.
fn bars(pairs: &[Pair], by_throttle: bool) -> Vec<Bar> {
    let mut bars: Vec<Bar> = Vec::new();
    for (index, pair) in pairs.iter().enumerate() {
        let earlier = pairs.iter().take(index).filter(|other| other.step == pair.step).count() as f64;
        let across = if by_throttle {
            pair.throttle_percent.unwrap_or(f64::NAN) + earlier * APART
        } else {
            f64::from(pair.step) + earlier * APART / 100.0
        };
        let or_airspeed = |end: f64| if end.is_finite() { end } else { pair.airspeed };
        let (low, high) = (or_airspeed(pair.airspeed_low), or_airspeed(pair.airspeed_high));
        bars.push(Bar { across, low, airspeed: pair.airspeed, high });
    }
    bars.retain(|bar| bar.airspeed.is_finite() && bar.across.is_finite());
    bars
}

/// Gives a single point room beside it and keeps the ticks on whole steps or tens of throttle.
fn with_room(axis: &Axis, by_throttle: bool) -> Option<Axis> {
    let (room, least_step) = if by_throttle { (4.0, 10.0) } else { (0.4, 1.0) };
    Axis::between(axis.low - room, axis.high + room, least_step)
}
