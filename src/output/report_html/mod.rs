//! `report.html`: the results on one self-contained page, for screen, phone and paper.

mod budget;
mod channel_plot;
mod palette;
mod plot;
mod sections;
mod speed_plot;
mod throttle_plot;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::flight::Flight;
use crate::model::channel::Channel;
use crate::output::page::POLICY;
use crate::output::{conditions, propulsion, unread};
use crate::visible;

use super::RenderError;

/// The style sheet of the report; its colours are those of [`palette`].
const STYLE: &str = include_str!("style.css");

/// The report as one HTML page. It contains its style sheet and plots, loads nothing, and has no script. Control
/// characters, wherever they come from, are escaped.
///
/// # Errors
///
/// [`RenderError::Plot`] if a plot cannot be drawn.
pub fn report_html(flight: &Flight) -> Result<Vec<u8>, RenderError> {
    let names = visible::line(&flight.clip_names().join(", ")).into_owned();
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { "Airspeed report: " (names) }
                style { (PreEscaped(STYLE)) }
            }
            body { (hatchings()) (content(flight, &names)?) }
        }
    };
    Ok(visible::lines(&page.into_string()).into_owned().into_bytes())
}

fn content(flight: &Flight, names: &str) -> Result<Markup, RenderError> {
    Ok(html! {
        header {
            h1 { "Airspeed report" }
            p.clips { (names) }
            (sections::facts(flight))
        }
        main {
            (sections::answer(flight))
            (unread::section(flight))
            (speed_section(flight)?)
            (small_plots(flight)?)
            (sections::legs(flight))
            (conditions::section(flight))
            (propulsion::section(flight))
            (sections::notes(flight))
            (sections::blanks(flight))
            (budget::budgets(flight))
            (sections::method())
            (sections::cautions())
        }
        footer { "Made by pairspeed " (flight.program_version) " from the recording alone." }
    })
}

fn speed_section(flight: &Flight) -> Result<Markup, RenderError> {
    let plot = speed_plot::speed_plot(flight)?;
    Ok(html! {
        section {
            h2 { "Speed over the flight" }
            @if let Some(plot) = plot {
                div.wide { (plot) }
                (sections::speed_legend())
            } @else {
                p { "There is no plot, because no speed reading is trusted." }
            }
        }
    })
}

fn small_plots(flight: &Flight) -> Result<Markup, RenderError> {
    let curve_words = flight.propulsion.curve.as_ref().map(|_| {
        "Points: the pairs with their intervals. Line: a power of the throttle; the band holds the curve with \
         95 %, not a single pair."
    });
    let plots = [
        ("Airspeed against throttle", throttle_plot::throttle_plot(flight)?, curve_words),
        ("Pack voltage", channel_plot::channel_plot(flight, &Channel::Voltage, palette::VOLTAGE)?, None),
        ("Altitude", channel_plot::channel_plot(flight, &Channel::Altitude, palette::ALTITUDE)?, None),
    ];
    Ok(html! {
        div.small-plots {
            @for (title, plot, words) in plots {
                @if let Some(plot) = plot {
                    section {
                        h2 { (title) }
                        (plot)
                        @if let Some(words) = words { p.origin { (words) } }
                    }
                }
            }
        }
    })
}

/// SVG patterns (hatchings) that distinguish the kinds of legs without colour; the style sheet refers to
/// them.
fn hatchings() -> Markup {
    html! {
        svg.hatchings width="0" height="0" aria-hidden="true" {
            defs {
                (hatching("hatch-upwind", "M-2 2l4-4M0 8l8-8M6 10l4-4"))
                (hatching("hatch-downwind", "M-2 6l4 4M0 0l8 8M6-2l4 4"))
                (hatching("hatch-odd", "M4 0v8"))
            }
        }
    }
}

fn hatching(id: &str, strokes: &str) -> Markup {
    html! {
        pattern id=(id) width="8" height="8" patternUnits="userSpaceOnUse" {
            rect width="8" height="8" {}
            path d=(strokes) {}
        }
    }
}
