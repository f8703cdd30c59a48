//! The sections of the report that consist of text and tables.

use maud::{Markup, html};

use crate::flight::Flight;
use crate::legs::{Flag, Leg};
use crate::model::channel::Channel;
use crate::model::units::Unit;
use crate::output::blanks::{self, BlankReasons};
use crate::output::numbers::{clock, shown, shown_or_dash};
use crate::output::reading_statistics::ReadingStatistics;
use crate::output::result_rows::{HEADINGS, Row, remark, rows};
use crate::output::terminal_table::no_answer;
use crate::output::words::{
    CAUTIONS, dead_words, joined, kind_in_words, speed_symbol, step_name, throttle_origin, with_symbol,
};
use crate::series::ChannelReadings;

/// The facts about the recording: clips, camera and length.
pub(super) fn facts(flight: &Flight) -> Markup {
    let readings = &flight.series.readings;
    let rate = flight.series.update_rate_hz.map(|rate| format!("{} a second", shown(rate, 1)));
    html! {
        dl.facts {
            div { dt { "Camera" } dd { (flight.setup.camera.name) } }
            div { dt { "Length" } dd { (clock(readings.time_s.last().copied().unwrap_or(f64::NAN))) } }
            div { dt { "Frames" } dd { (readings.time_s.len()) } }
            @if let Some(rate) = rate { div { dt { "Speed updates" } dd { (rate) } } }
            div { dt { "Legs, pairs" } dd { (flight.legs.len()) ", " (flight.pairs.len()) } }
        }
    }
}

/// The main result: the fastest pair in one line, then every row of the results table.
pub(super) fn answer(flight: &Flight) -> Markup {
    let rows = rows(flight);
    html! {
        section.answer {
            h2 { "How fast it flies" }
            @if let Some(best) = fastest(flight) {
                (headline(flight, &best))
                (answer_table(flight, &rows))
                p.origin { (throttle_origin(flight.throttle_source)) }
            } @else {
                p.headline { (no_answer(flight)) }
            }
        }
    }
}

/// The main result in one line: an airspeed, its interval, the throttle, and the pairs or legs that it is
/// computed from.
struct Headline {
    airspeed: f64,
    low: f64,
    high: f64,
    throttle: String,
    basis: String,
    doubtful: bool,
}

/// The fastest throttle step, with the airspeed over all of its pairs, or the fastest pattern of legs in three or more
/// directions; `None` without steps and patterns. Pairs are not compared one by one, because the fastest of several is
/// likely to have a large error. A doubtful step is used only if all steps are doubtful and there is no pattern.
fn fastest(flight: &Flight) -> Option<Headline> {
    let throttle = |percent: Option<f64>, step| {
        let name = step_name(percent, step);
        if percent.is_some() { format!(", at {name} throttle") } else { format!(", at {name}") }
    };
    let steps = flight.steps.iter().map(|step| Headline {
        airspeed: step.airspeed.value,
        low: step.airspeed.low,
        high: step.airspeed.high,
        throttle: throttle(step.throttle_percent, Some(step.step)),
        basis: if step.pairs.len() > 1 {
            format!(", over {} pairs", step.pairs.len())
        } else {
            String::new()
        },
        doubtful: step.doubtful,
    });
    let patterns = flight.patterns.iter().map(|pattern| Headline {
        airspeed: pattern.airspeed.value,
        low: pattern.airspeed.low,
        high: pattern.airspeed.high,
        throttle: pattern.throttle_percent.map_or_else(String::new, |percent| throttle(Some(percent), None)),
        basis: format!(", from legs in {} directions", pattern.legs.len()),
        doubtful: false,
    });
    let sound_and_fast = |one: &Headline, other: &Headline| {
        other.doubtful.cmp(&one.doubtful).then(one.airspeed.total_cmp(&other.airspeed))
    };
    steps.chain(patterns).max_by(sound_and_fast)
}

fn headline(flight: &Flight, best: &Headline) -> Markup {
    let symbol = speed_symbol(flight);
    html! {
        p.headline {
            strong { (with_symbol(&shown(best.airspeed, 1), symbol)) }
            span {
                @if best.doubtful { "doubtful: its legs may not have been flown in opposite directions; " }
                "fastest" (best.throttle) (best.basis) "; 95 % interval " (shown(best.low, 1)) " to "
                (with_symbol(&shown(best.high, 1), symbol))
            }
        }
    }
}

fn answer_table(flight: &Flight, rows: &[Row<'_>]) -> Markup {
    let speed = speed_symbol(flight);
    let units = ["", speed, speed, speed, speed, speed, "V"];
    let remarks = rows.iter().any(|row| !row_remark(flight, row).is_empty());
    html! {
        table.cards {
            thead {
                tr {
                    @for (heading, unit) in HEADINGS.iter().zip(units) {
                        th scope="col" { (heading) @if !unit.is_empty() { " " span.unit { (unit) } } }
                    }
                    @if remarks { th.words scope="col" { "notes" } }
                }
            }
            tbody { @for row in rows { (answer_row(row, units, remarks.then(|| row_remark(flight, row)))) } }
        }
    }
}

fn row_remark(flight: &Flight, row: &Row<'_>) -> String {
    match row {
        Row::Pair(pair) => remark(flight, pair),
        Row::Step(step) => with_flags(format!("over its {} pairs", step.pairs.len()), &step.flags),
        Row::Pattern(pattern) => {
            with_flags(format!("wind from {} degrees", shown(pattern.wind_from_deg, 0)), &pattern.flags)
        }
    }
}

fn with_flags(words: String, flags: &[Flag]) -> String {
    if flags.is_empty() { words } else { format!("{words}; {}", joined(flags)) }
}

fn answer_row(row: &Row<'_>, units: [&str; HEADINGS.len()], remark: Option<String>) -> Markup {
    html! {
        tr.step[matches!(row, Row::Step(_))] {
            @for ((cell, heading), unit) in row.cells().iter().zip(HEADINGS).zip(units) {
                @if heading == "throttle" {
                    th scope="row" { (cell) }
                } @else if !cell.is_empty() {
                    td.main[heading == "airspeed"] data-label=(heading) data-unit=(unit) { (cell) }
                } @else {
                    td.none {}
                }
            }
            @if let Some(remark) = remark { td.words data-label="notes" { (remark) } }
        }
    }
}

/// The legend of the speed plot.
pub(super) fn speed_legend() -> Markup {
    html! {
        ul.legend {
            li { span.swatch.line {} "smoothed speed" }
            li { span.swatch.dot {} "single trusted readings" }
            li { (band_swatch("upwind")) "upwind leg" }
            li { (band_swatch("downwind")) "downwind leg" }
            li { (band_swatch("odd")) "leg without a partner, not used; the text at its top says why" }
            li { "paler colour: leg of a doubtful pair" }
            li { span.swatch.blank {} "strip at the bottom: times without a trusted speed" }
        }
    }
}

fn band_swatch(kind: &str) -> Markup {
    html! { svg.swatch viewBox="0 0 24 14" aria-hidden="true" { rect.(kind) width="24" height="14" {} } }
}

/// The table of the legs with the values measured in them.
pub(super) fn legs(flight: &Flight) -> Markup {
    let speed = speed_symbol(flight);
    let altitude = flight.unit(&Channel::Altitude).map_or("", Unit::symbol);
    let headings = [
        ("leg", ""),
        ("whole leg", ""),
        ("kind", ""),
        ("throttle", ""),
        ("median", speed),
        ("spread", speed),
        ("updates", ""),
        ("voltage", "V"),
        ("altitude", altitude),
        ("satellites", ""),
    ];
    html! {
        @if !flight.legs.is_empty() {
            section {
                h2 { "The legs" }
                div.scroll {
                    table {
                        thead {
                            tr {
                                @for (heading, unit) in headings {
                                    th scope="col" { (heading) @if !unit.is_empty() { " " span.unit { (unit) } } }
                                }
                                th.words scope="col" { "notes" }
                            }
                        }
                        tbody { @for (leg, number) in flight.legs.iter().zip(1..) { (leg_row(leg, number)) } }
                    }
                }
            }
        }
    }
}

fn leg_row(leg: &Leg, number: usize) -> Markup {
    html! {
        tr {
            td { (number) }
            td { (clock(leg.start_s)) " - " (clock(leg.end_s)) }
            td { (kind_in_words(leg.kind)) }
            td { (step_name(leg.throttle_percent, leg.step)) }
            td.main { (shown(leg.speed_median, 1)) }
            td { (shown(leg.speed_spread, 1)) }
            td { (leg.samples) }
            td { (shown_or_dash(leg.voltage_v, 2)) }
            td { (shown_or_dash(leg.altitude, 1)) }
            td { (shown_or_dash(leg.satellites, 0)) }
            td.words { (joined(&leg.flags)) }
        }
    }
}

/// The table of blank frames for each channel.
pub(super) fn blanks(flight: &Flight) -> Markup {
    let readings = &flight.series.readings;
    html! {
        section {
            h2 { "What was left blank, and why" }
            p { "A number that could not be read with enough confidence is left out, because a gap is \
                 better than a wrong number." }
            table.blanks.cards {
                thead { tr { th scope="col" { "channel" } th scope="col" { "read" } th.words scope="col" { "frames left blank" } th.words scope="col" { "longest blank" } } }
                tbody {
                    @for channel in &readings.channels {
                        (blank_row(flight, channel, &ReadingStatistics::of(readings, channel)))
                    }
                }
            }
        }
    }
}

/// The notes on the flight as a whole.
pub(super) fn notes(flight: &Flight) -> Markup {
    let notes: Vec<String> =
        blanks::sentences(flight).into_iter().chain(flight.notes.iter().map(ToString::to_string)).collect();
    html! {
        @if !notes.is_empty() {
            section {
                h2 { "Notes" }
                ul { @for note in &notes { li { (note) } } }
            }
        }
    }
}

fn blank_row(flight: &Flight, channel: &ChannelReadings, statistics: &ReadingStatistics) -> Markup {
    let reasons = BlankReasons::of(flight, channel);
    html! {
        tr {
            th scope="row" { (channel.channel.name()) }
            td data-label="read" data-unit="%" { (statistics.percent()) span.in-table { " %" } }
            td.words data-label="left blank" {
                @if statistics.blank.is_empty() { "none" } @else { (reasons.counted(statistics)) }
                @if let Some(value) = flight.series.stuck_at(&channel.channel) {
                    br;
                    strong { (dead_words(value, channel.decimals, channel.unit)) }
                }
            }
            td.words data-label="longest blank" { (longest_blank(statistics, &reasons)) }
        }
    }
}

fn longest_blank(statistics: &ReadingStatistics, reasons: &BlankReasons) -> String {
    statistics.longest_blanks.first().map_or_else(String::new, |longest| {
        let length = shown(longest.length_s(), 1);
        format!("{length} s, from {}: {}", clock(longest.start_s), reasons.words(longest.reason))
    })
}

/// Explains in plain words how the numbers were computed.
pub(super) fn method() -> Markup {
    html! {
        section {
            h2 { "How the numbers were made" }
            ol {
                li { "The numerals of the overlay were read frame by frame from the marked regions. Values \
                      that are unclear, implausible or change too fast are blank." }
                li { "Legs are the straight, steady parts of the flight. The speed of a leg is the median \
                      over its steady middle, so that turns and single wrong readings do not affect it." }
                li { "The airspeed of a pair is the mean of its upwind and its downwind leg: the wind \
                      along the course slows one and speeds up the other, and cancels. It is half their \
                      difference." }
                li { "A crosswind makes the airspeed read low, by about half its square divided by the \
                      airspeed: by 2 % for a crosswind of a fifth of the airspeed." }
                li { "The 95 % interval includes gusts and noise within the legs (neighbouring readings are \
                      not independent), the rounding of the overlay, the accuracy of the receiver and \
                      the change of the wind from one leg to the next. Because of an unknown crosswind, \
                      and of displays that truncate instead of rounding, it lies a little higher than \
                      the airspeed. It does not cover errors of the speed that the overlay itself shows." }
            }
        }
    }
}

/// The section with the cautions.
pub(super) fn cautions() -> Markup {
    html! {
        section.cautions {
            h2 { "Cautions" }
            ul { @for caution in CAUTIONS { li { (caution) } } }
        }
    }
}
