//! The plot of airspeed against throttle: each pair or pattern with its interval, and the fitted curve with its 95 %
//! band.

use maud::Markup;
use plotters::prelude::*;

use super::palette::AIRSPEED;
use super::plot::{Along, chart, svg};
use crate::flight::Flight;
use crate::output::RenderError;
use crate::output::axis::Axis;
use crate::output::throttle_bars::{axis_limits, bars, by_throttle, curve};
use crate::output::words::{speed_symbol, with_symbol};

/// Width and height of the plot in pixels (set by judgement).
const SIZE: (u32, u32) = (470, 520);

/// Opacity of the band around the curve, 0 to 1 (set by judgement).
const BAND: f64 = 0.15;

/// Plots the airspeed of each pair or pattern with its 95 % interval against throttle, or against the number of the
/// step if the throttle is not known. `None` if there is nothing to draw.
///
/// # Errors
///
/// [`RenderError::Plot`] if plotters cannot draw.
pub(super) fn throttle_plot(flight: &Flight) -> Result<Option<Markup>, RenderError> {
    let (bars, curve, by_throttle) = (bars(flight), curve(flight), by_throttle(flight));
    let Some([left, right, low, high]) = axis_limits(&bars, &curve, by_throttle) else { return Ok(None) };
    let least_step = if by_throttle { 10.0 } else { 1.0 };
    let axes = Axis::between(left, right, least_step).zip(Axis::between(low, high, 0.0));
    let Some((across, up)) = axes else { return Ok(None) };
    let along = Along::Number(if by_throttle { "throttle, %" } else { "throttle step" });
    let name = with_symbol("airspeed,", speed_symbol(flight));
    svg(SIZE, "Airspeed against throttle, with 95 % intervals", |area| {
        let mut chart = chart(area, (&across, &up), along, name.trim_end_matches(','))?;
        let style = AIRSPEED.stroke_width(2).filled();
        let band = curve.iter().map(|at| (at.throttle_or_step, at.low));
        let band: Vec<(f64, f64)> =
            band.chain(curve.iter().rev().map(|at| (at.throttle_or_step, at.high))).collect();
        if !band.is_empty() {
            chart.draw_series(std::iter::once(Polygon::new(band, AIRSPEED.mix(BAND).filled())))?;
            let line = curve.iter().map(|at| (at.throttle_or_step, at.airspeed));
            chart.draw_series(LineSeries::new(line, AIRSPEED.mix(0.6).stroke_width(1)))?;
        }
        chart.draw_series(bars.iter().map(|bar| {
            ErrorBar::new_vertical(bar.throttle_or_step, bar.low, bar.airspeed, bar.high, style, 12)
        }))?;
        chart.draw_series(
            bars.iter().map(|bar| Circle::new((bar.throttle_or_step, bar.airspeed), 4, style)),
        )?;
        Ok(())
    })
    .map(Some)
}
