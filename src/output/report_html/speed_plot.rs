//! The plot of speed over the flight, with the legs marked.

use maud::Markup;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::palette::{BLANK, DOT, DOWNWIND, INK, SMOOTH, UNPAIRED, UPWIND};
use super::plot::{Along, Area, Chart, Drawn, TEXT, chart, draw_lines, svg};
use crate::flight::Flight;
use crate::legs::{Leg, LegKind, LegUse};
use crate::output::RenderError;
use crate::output::axis::Axis;
use crate::output::decimation::{dots, lines};
use crate::output::reading_statistics::blank_stretches;
use crate::output::words::{speed_symbol, use_in_words, with_symbol};

/// Width and height of the plot in pixels (set by judgement).
const SIZE: (u32, u32) = (960, 420);

/// Share of the plot's height that is kept free above the data for the names of the legs (set by judgement).
const HEADROOM: f64 = 0.42;

/// Height of the strip that marks blanks, as a share of the plot's height (set by judgement).
const STRIP: f64 = 0.02;

/// Minimum duration of a blank interval that is marked, in seconds (set by judgement).
const LEAST_BLANK_S: f64 = 0.5;

/// Opacity of the band that marks a leg, 0 to 1 (set by judgement).
const STRENGTH: f64 = 0.35;

/// Opacity of the band that marks a leg of a doubtful pair, 0 to 1 (set by judgement).
const DOUBTFUL_STRENGTH: f64 = 0.12;

/// Minimum distance between the names of two legs, as a share of the plot's width (set by judgement).
const LEAST_NAME_DISTANCE: f64 = 0.018;

/// Plots speed over time: trusted readings as dots, the smoothed speed as a line, legs as bands with names,
/// and blanks as a strip along the bottom. `None` if there is nothing to draw.
///
/// # Errors
///
/// [`RenderError::Plot`] if plotters cannot draw.
pub(super) fn speed_plot(flight: &Flight) -> Result<Option<Markup>, RenderError> {
    let data = Data::of(flight);
    let (Some(time), Some(speed)) = (data.time_axis(), data.speed_axis()) else { return Ok(None) };
    let name = with_symbol("ground speed,", speed_symbol(flight));
    svg(SIZE, "Ground speed against time, with the legs marked", |area| {
        draw(area, flight, &data, (&time, &speed), name.trim_end_matches(','))
    })
    .map(Some)
}

/// The points of the plot, one entry for each frame; NaN where the reading is blank.
struct Data<'a> {
    times_s: &'a [f64],
    read: Vec<(f64, f64)>,
    smooth: Vec<(f64, f64)>,
}

impl<'a> Data<'a> {
    fn of(flight: &'a Flight) -> Self {
        let times_s = &flight.series.readings.time_s;
        let value =
            |index| flight.speed().and_then(|speed| speed.trusted(index)).map_or(f64::NAN, |(v, _)| v);
        let read = times_s.iter().enumerate().map(|(index, time_s)| (*time_s, value(index))).collect();
        let smooth = times_s.iter().copied().zip(flight.series.speed_smooth.iter().copied()).collect();
        Self { times_s, read, smooth }
    }

    fn time_axis(&self) -> Option<Axis> {
        Axis::of_time(self.times_s.iter().copied())
    }

    fn speed_axis(&self) -> Option<Axis> {
        let values = self.read.iter().chain(&self.smooth).map(|point| point.1);
        Axis::over(values).map(|axis| axis.with_headroom(HEADROOM))
    }
}

fn draw(area: &Area<'_>, flight: &Flight, data: &Data<'_>, axes: (&Axis, &Axis), name: &str) -> Drawn {
    let mut chart = chart(area, axes, Along::Time, name)?;
    for leg in &flight.legs {
        draw_band(&mut chart, axes, leg)?;
    }
    draw_blanks(&mut chart, axes, flight)?;
    let dots = dots(data.read.iter().copied(), axes, SIZE);
    chart.draw_series(dots.into_iter().map(|dot| Circle::new(dot, 2, DOT.mix(0.6).filled())))?;
    draw_lines(&mut chart, lines(&data.smooth), SMOOTH)?;
    draw_names(&mut chart, axes, &flight.legs)
}

fn draw_band(chart: &mut Chart<'_, '_>, (time, speed): (&Axis, &Axis), leg: &Leg) -> Drawn {
    let color = match leg.kind {
        LegKind::Upwind => UPWIND,
        LegKind::Downwind => DOWNWIND,
        LegKind::Unpaired | LegKind::Leg => UNPAIRED,
    };
    if let Some((start_s, end_s)) = within(time, (leg.start_s, leg.end_s)) {
        let strength = if leg.usage == LegUse::Doubtful { DOUBTFUL_STRENGTH } else { STRENGTH };
        let band = Rectangle::new([(start_s, speed.low), (end_s, speed.high)], color.mix(strength).filled());
        chart.draw_series(std::iter::once(band))?;
    }
    Ok(())
}

/// Marks the intervals in which the speed is blank or the recording has no frames.
fn draw_blanks(chart: &mut Chart<'_, '_>, (time, speed): (&Axis, &Axis), flight: &Flight) -> Drawn {
    let readings = &flight.series.readings;
    let blanks = flight.speed().map(|speed| blank_stretches(&readings.time_s, speed)).unwrap_or_default();
    let long = blanks.iter().filter(|blank| blank.length_s() >= LEAST_BLANK_S);
    let long = long.map(|blank| (blank.start_s, blank.end_s));
    let gaps = readings.gaps.iter().map(|gap| (gap.start_s, gap.end_s));
    let top = speed.low + STRIP * (speed.high - speed.low);
    let strips = long
        .chain(gaps)
        .filter_map(|stretch| within(time, stretch))
        .map(|(start_s, end_s)| Rectangle::new([(start_s, speed.low), (end_s, top)], BLANK.filled()));
    chart.draw_series(strips)?;
    Ok(())
}

/// The part of an interval in seconds that lies on the time axis; `None` if there is none.
fn within(time: &Axis, (start_s, end_s): (f64, f64)) -> Option<(f64, f64)> {
    let shown = (start_s.max(time.low), end_s.min(time.high));
    (start_s.is_finite() && end_s.is_finite() && shown.0 < shown.1).then_some(shown)
}

/// Writes the names of the legs vertically above their bands; a name that would overlap the previous one is
/// left out.
fn draw_names(chart: &mut Chart<'_, '_>, (time, speed): (&Axis, &Axis), legs: &[Leg]) -> Drawn {
    let style = ("sans-serif", TEXT)
        .into_font()
        .transform(FontTransform::Rotate270)
        .color(&INK)
        .pos(Pos::new(HPos::Right, VPos::Center));
    let top = speed.high - 0.015 * (speed.high - speed.low);
    let mut last_place = f64::NEG_INFINITY;
    for leg in legs {
        let Some((start_s, end_s)) = within(time, (leg.start_s, leg.end_s)) else { continue };
        let middle_s = f64::midpoint(start_s, end_s);
        let place = time.place(middle_s);
        if place - last_place >= LEAST_NAME_DISTANCE {
            last_place = place;
            chart.draw_series(std::iter::once(Text::new(
                use_in_words(leg),
                (middle_s, top),
                style.clone(),
            )))?;
        }
    }
    Ok(())
}
