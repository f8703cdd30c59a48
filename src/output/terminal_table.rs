//! The results as text for the terminal.

use crate::flight::Flight;
use crate::model::channel::Channel;
use crate::series::ChannelReadings;

use super::blanks::BlankReasons;
use super::page::wrapped;
use super::reading_statistics::ReadingStatistics;
use super::result_rows::{HEADINGS, Row, remark, rows};
use super::words::{dead_words, joined, speed_symbol, step_name, throttle_origin};
use super::{conditions, propulsion, unread};

/// The results as text: a row for each pair and for each throttle step with several pairs, then the warnings
/// about them, then the counts of blank frames and their reasons. Lines end in `\n`.
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
        .chain(Some(throttle_origin(flight.throttle_source).to_owned()).filter(|_| !flight.legs.is_empty()));
    lines.push(String::new());
    lines.extend(unread::lines(flight));
    lines.extend(conditions::sentences(flight).iter().flat_map(|line| wrapped(line)));
    lines.extend(propulsion::sentences(flight).iter().flat_map(|line| wrapped(line)));
    lines.extend(remarks.flat_map(|line| wrapped(&line)));
    lines.extend(reading_lines(flight).iter().flat_map(|line| wrapped(line)));
    lines.extend(super::notes_read(flight).iter().flat_map(|note| wrapped(note)));
    lines.join("\n") + "\n"
}

/// Why there is no airspeed.
pub fn no_answer(flight: &Flight) -> &'static str {
    if flight.legibility.unread(&Channel::Speed).is_some() {
        "No airspeed: the speed could not be read."
    } else if flight.legs.is_empty() {
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
    let (step, remark) = match row {
        Row::Pair(pair) => {
            let step = step_name(pair.throttle_percent, Some(pair.step));
            (format!("{step} (pair {})", pair.pair), remark(flight, pair))
        }
        Row::Step(step) => (step_name(step.throttle_percent, Some(step.step)), joined(&step.flags)),
        Row::Pattern(_) => return None,
    };
    (!remark.is_empty()).then(|| format!("{step}: {remark}"))
}

/// One line per channel: how many frames were read, and why the others are blank.
fn reading_lines(flight: &Flight) -> Vec<String> {
    let readings = &flight.series.readings;
    let line = |channel: &ChannelReadings| {
        let statistics = ReadingStatistics::of(readings, channel);
        let reasons = BlankReasons::of(flight, channel).counted(&statistics);
        let blank =
            if reasons.is_empty() { "none blank".to_owned() } else { format!("left blank: {reasons}") };
        let name = channel.channel.name();
        let dead = flight.series.stuck_at(&channel.channel);
        let dead = dead.map(|value| format!("; {}", dead_words(value, channel.decimals, channel.unit)));
        format!(
            "{name}: {} of {} frames read ({} %); {blank}{}",
            statistics.read,
            statistics.frames,
            statistics.percent(),
            dead.unwrap_or_default()
        )
    };
    readings.channels.iter().map(line).collect()
}
