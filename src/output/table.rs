//! The compact table for the terminal.

use crate::flight::Flight;
use crate::legs::{Leg, LegKind};
use crate::series::ChannelReadings;

use super::answer::{HEADINGS, Row, remark, rows};
use super::numbers::{clock, shown};
use super::page::wrapped;
use super::tally::Tally;
use super::words::{dead_words, speed_symbol, step_name, throttle_origin, with_symbol};
use super::{propulsion, surroundings};

/// The answer as text: a row for each pair and for each throttle step flown more than once, then
/// what a pilot should know of them, then what was left blank and why. Lines end in `\n`.
#[must_use]
pub fn table(flight: &Flight) -> String {
    let rows = rows(flight);
    let mut lines = Vec::new();
    if rows.is_empty() {
        lines.push(no_answer(flight).to_owned());
    } else {
        lines.extend(aligned(flight, &rows));
    }
    let remarks = std::iter::empty()
        .chain(rows.iter().filter_map(|row| flag_line(flight, row)))
        .chain(flight.legs.iter().filter(|leg| is_odd(leg)).map(|leg| odd_line(flight, leg)))
        .chain(Some(throttle_origin(flight.throttle_source).to_owned()).filter(|_| !flight.legs.is_empty()));
    lines.push(String::new());
    lines.extend(surroundings::sentences(flight).iter().flat_map(|line| wrapped(line)));
    lines.extend(propulsion::sentences(flight).iter().flat_map(|line| wrapped(line)));
    lines.extend(remarks.flat_map(|line| wrapped(&line)));
    lines.extend(reading_lines(flight).iter().flat_map(|line| wrapped(line)));
    lines.extend(flight.notes.iter().flat_map(|note| wrapped(note)));
    lines.join("\n") + "\n"
}

/// Why there is no airspeed.
pub(crate) fn no_answer(flight: &Flight) -> &'static str {
    if flight.legs.is_empty() {
        "No airspeed: no straight, steady leg was found."
    } else {
        "No airspeed: no upwind leg could be paired with a downwind leg."
    }
}

fn aligned(flight: &Flight, rows: &[Row<'_>]) -> Vec<String> {
    let speed = speed_symbol(flight);
    let units = ["", speed, speed, speed, speed, speed, "V"].map(str::to_owned);
    let mut cells = vec![HEADINGS.map(str::to_owned), units];
    cells.extend(rows.iter().map(Row::cells));
    let widths: [usize; HEADINGS.len()] = std::array::from_fn(|column| {
        cells.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max().unwrap_or(0)
    });
    cells.iter().map(|row| line(row, &widths)).collect()
}

fn line(cells: &[String], widths: &[usize]) -> String {
    let padded = cells.iter().zip(widths).map(|(cell, width)| format!("{cell:>width$}"));
    padded.collect::<Vec<_>>().join("  ").trim_end().to_owned()
}

fn flag_line(flight: &Flight, row: &Row<'_>) -> Option<String> {
    let Row::Pair(pair) = row else { return None };
    let remark = remark(flight, pair);
    let step = step_name(pair.throttle_percent, Some(pair.step));
    (!remark.is_empty()).then(|| format!("{step} (pair {}): {remark}", pair.pair))
}

fn is_odd(leg: &Leg) -> bool {
    leg.kind == LegKind::Odd
}

fn odd_line(flight: &Flight, leg: &Leg) -> String {
    let median = with_symbol(&shown(leg.speed_median, 1), speed_symbol(flight));
    let throttle = match leg.throttle_percent {
        Some(percent) => format!(", throttle {}", step_name(Some(percent), None)),
        None => String::new(),
    };
    format!(
        "A leg without a partner, {} to {}{throttle}: median {median}, not used.",
        clock(leg.start_s),
        clock(leg.end_s)
    )
}

/// One line a channel: how much was read and why the rest is blank.
fn reading_lines(flight: &Flight) -> Vec<String> {
    let readings = &flight.series.readings;
    let line = |channel: &ChannelReadings| {
        let tally = Tally::of(readings, channel);
        let reasons = tally.reasons();
        let blank =
            if reasons.is_empty() { "none blank".to_owned() } else { format!("left blank: {reasons}") };
        let name = channel.channel.name();
        let dead = flight.series.stuck_at(&channel.channel);
        let dead = dead.map(|value| format!("; {}", dead_words(value, channel.decimals, channel.unit)));
        format!(
            "{name}: {} of {} frames read ({} %); {blank}{}",
            tally.read,
            tally.frames,
            tally.percent(),
            dead.unwrap_or_default()
        )
    };
    readings.channels.iter().map(line).collect()
}
