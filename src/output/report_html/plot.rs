//! What all plots of the report share: canvas, grid and time axis.

use std::error::Error;

use maud::{Markup, PreEscaped, html};
use plotters::coord::Shift;
use plotters::prelude::*;

use super::palette::{GRID, INK};
use crate::output::RenderError;
use crate::output::axis::Axis;
use crate::output::numbers::{clock, shown};

/// Height of the text in plots, in pixels. plotters expects the line height of the font, which is 1.24 times
/// the letter height.
pub(super) const TEXT: f64 = 13.0 * 1.24;

/// The drawing area of a plot.
pub(super) type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// The chart within a plot.
pub(super) type Chart<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<Axis, Axis>>;

/// Result of a drawing function; the error is only passed on.
pub(super) type Drawn<T = ()> = Result<T, Box<dyn Error>>;

/// What the ticks of the horizontal axis show.
#[derive(Debug, Clone, Copy)]
pub(super) enum Along {
    /// Times of the flight.
    Time,
    /// Plain numbers; the text is the name of the axis.
    Number(&'static str),
}

/// Draws a plot of `size` pixels and returns it for the page. `label` describes the plot for those who cannot
/// see it.
///
/// # Errors
///
/// [`RenderError::Plot`] if plotters cannot draw.
pub(super) fn svg(
    size: (u32, u32),
    label: &str,
    draw: impl FnOnce(&Area<'_>) -> Drawn,
) -> Result<Markup, RenderError> {
    let mut text = String::new();
    {
        let area = SVGBackend::with_string(&mut text, size).into_drawing_area();
        draw(&area)
            .and_then(|()| Ok(area.present()?))
            .map_err(|error| RenderError::Plot(error.to_string()))?;
    }
    // The SVG head that plotters writes fixes the size in pixels; the head written here lets the plot shrink
    // with the page.
    let body = text.split_once('>').map_or("", |(_, rest)| rest).trim_end();
    let body = body.strip_suffix("</svg>").unwrap_or(body).to_owned();
    let view_box = format!("0 0 {} {}", size.0, size.1);
    Ok(html! { svg viewBox=(view_box) role="img" aria-label=(label) { (PreEscaped(body)) } })
}

/// A chart with axes, grid and the name of the vertical axis.
pub(super) fn chart<'a, 'b>(
    area: &'a Area<'b>,
    (across, up): (&Axis, &Axis),
    along: Along,
    name_up: &str,
) -> Drawn<Chart<'a, 'b>> {
    let lower_edge = if matches!(along, Along::Time) { 28 } else { 46 };
    let mut chart = ChartBuilder::on(area)
        .margin(8)
        .margin_right(16)
        .x_label_area_size(lower_edge)
        .y_label_area_size(64)
        .build_cartesian_2d(across.clone(), up.clone())?;
    let name_along = if let Along::Number(name) = along { name } else { "" };
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GRID)
        .axis_style(INK)
        .x_desc(name_along)
        .y_desc(name_up)
        .label_style(("sans-serif", TEXT).into_font().color(&INK))
        .axis_desc_style(("sans-serif", TEXT).into_font().color(&INK))
        .x_label_formatter(&|value| match along {
            Along::Time if across.step < 1.0 => shown(*value, 1),
            Along::Time => clock(*value),
            Along::Number(_) => shown(*value, across.decimals()),
        })
        .y_label_formatter(&|value| shown(*value, up.decimals()))
        .draw()?;
    Ok(chart)
}

/// Draws lines of one colour.
pub(super) fn draw_lines(chart: &mut Chart<'_, '_>, lines: Vec<Vec<(f64, f64)>>, color: RGBColor) -> Drawn {
    for line in lines {
        chart.draw_series(std::iter::once(PathElement::new(line, color.stroke_width(2))))?;
    }
    Ok(())
}
