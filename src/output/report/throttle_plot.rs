//! Airspeed against throttle: each pair with its interval, and the curve with its band.

use maud::Markup;
use plotters::prelude::*;

use super::axis::Axis;
use super::palette::AIRSPEED;
use super::plot::{Along, chart, svg};
use crate::airspeed::{Pair, Pattern};
use crate::channel::Channel;
use crate::flight::Flight;
use crate::output::RenderError;
use crate::output::words::{speed_symbol, with_symbol};

/// Size in pixels.
const SIZE: (u32, u32) = (470, 520);

/// Stretches that the curve is drawn in.
const CURVE_POINTS: u32 = 40;

/// Opacity of the curve's band.
const BAND: f64 = 0.15;

/// Distance between pairs of the same step, in throttle per cent or hundredths of a step.
const APART: f64 = 1.0;

/// Airspeed of each pair with its 95 % interval against throttle, or against the number of the
/// step where throttle is not known. `None` when there is nothing to draw.
///
/// # Errors
/// [`RenderError::Plot`] if plotters cannot draw.
pub(super) fn throttle_plot(flight: &Flight) -> Result<Option<Markup>, RenderError> {
    let by_throttle = flight.pairs.iter().all(|pair| pair.throttle_percent.is_some());
    let mut bars = bars(&flight.pairs, by_throttle);
    bars.extend(flight.patterns.iter().filter(|_| by_throttle).filter_map(pattern_bar));
    let curve = if by_throttle { curve(flight) } else { Vec::new() };
    let across = Axis::over(bars.iter().map(|bar| bar.across));
    let across = across.and_then(|axis| with_room(&axis, by_throttle));
    let up = Axis::over(bars.iter().chain(&curve).flat_map(|bar| [bar.low, bar.airspeed, bar.high]));
    let (Some(across), Some(up)) = (across, up) else { return Ok(None) };
    let along = Along::Number(if by_throttle { "throttle, %" } else { "throttle step" });
    let name = with_symbol("airspeed,", speed_symbol(flight));
    svg(SIZE, "Airspeed against throttle with its 95 % interval", |area| {
        let mut chart = chart(area, (&across, &up), along, name.trim_end_matches(','))?;
        let style = AIRSPEED.stroke_width(2).filled();
        let band = curve.iter().map(|at| (at.across, at.low));
        let band: Vec<(f64, f64)> = band.chain(curve.iter().rev().map(|at| (at.across, at.high))).collect();
        if !band.is_empty() {
            chart.draw_series(std::iter::once(Polygon::new(band, AIRSPEED.mix(BAND).filled())))?;
            let line = curve.iter().map(|at| (at.across, at.airspeed));
            chart.draw_series(LineSeries::new(line, AIRSPEED.mix(0.6).stroke_width(1)))?;
        }
        chart.draw_series(
            bars.iter()
                .map(|bar| ErrorBar::new_vertical(bar.across, bar.low, bar.airspeed, bar.high, style, 12)),
        )?;
        chart.draw_series(bars.iter().map(|bar| Circle::new((bar.across, bar.airspeed), 4, style)))?;
        Ok(())
    })
    .map(Some)
}

/// Points of the curve of airspeed against throttle over the throttles flown, with its 95 % band; empty
/// where there is no curve.
fn curve(flight: &Flight) -> Vec<Bar> {
    let (Some(curve), Some(unit)) = (&flight.propulsion.curve, flight.unit(&Channel::Speed)) else {
        return Vec::new();
    };
    let (low, high) = curve.flown_percent;
    let points =
        (0..=CURVE_POINTS).map(|place| low + (high - low) * f64::from(place) / f64::from(CURVE_POINTS));
    points
        .map(|percent| {
            let at = curve.predict(percent, &[]);
            let shown = |speed_mps: f64| speed_mps / unit.si_per_unit();
            Bar {
                across: percent,
                low: shown(at.low_mps),
                airspeed: shown(at.airspeed_mps),
                high: shown(at.high_mps),
            }
        })
        .filter(|bar| [bar.low, bar.airspeed, bar.high].iter().all(|speed| speed.is_finite()))
        .collect()
}

fn pattern_bar(pattern: &Pattern) -> Option<Bar> {
    let across = pattern.throttle_percent?;
    let finite =
        [across, pattern.airspeed_low, pattern.airspeed, pattern.airspeed_high].iter().all(|n| n.is_finite());
    finite.then_some(Bar {
        across,
        low: pattern.airspeed_low,
        airspeed: pattern.airspeed,
        high: pattern.airspeed_high,
    })
}

/// One pair in the plot, or one point of the curve.
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
