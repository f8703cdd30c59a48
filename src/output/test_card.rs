//! The test card as text, as a page to print and for other programs.

use maud::{Markup, html};
use serde::Serialize;

use super::RenderError;
use super::numbers::{clock, rounded, shown, trimmed};
use super::page::{cautions, columns, page, sentences, wrapped};
use super::words::CAUTIONS;
use crate::propulsion::{PlannedRun, PlannedStep, TestCard};
use crate::units::Unit;

/// Cautions for the flight itself.
pub(crate) const IN_FLIGHT: [&str; 4] = [
    "Before arming: control throws, failsafe, range, propeller tight, clear airspace, a spotter beside you.",
    "Land at your own voltage limit or timer, whatever is left on the card. An unfinished card is no loss.",
    "Break off at any flutter, vibration, smell or odd sound; let motor and controller cool between flights.",
    "Do not read this card while flying: let a helper call the runs, and turn away from people.",
];

/// The card as text for the terminal, speeds in `unit`.
#[must_use]
pub fn test_card_text(card: &TestCard, unit: Unit) -> String {
    let mut lines = wrapped(&(facts(card, unit).join("; ") + "."));
    lines.push(String::new());
    lines.extend(columns(&step_rows(card, unit)));
    lines.push(String::new());
    lines.push("Order to fly, one pair of legs (upwind and downwind) at each:".to_owned());
    for flight in flights(card) {
        let throttles: Vec<String> = flight.iter().map(|run| trimmed(run.throttle_percent)).collect();
        let number = flight.first().map_or(0, |run| run.flight);
        lines.extend(wrapped(&format!("  flight {number}: {} %", throttles.join(", "))));
    }
    lines.push(String::new());
    let remarks = card.assumptions.iter().chain(&card.notes).cloned().chain([order_sentence(card)]);
    lines.extend(remarks.flat_map(|remark| wrapped(&remark)));
    lines.extend(IN_FLIGHT.iter().flat_map(|caution| wrapped(&format!("Caution: {caution}"))));
    lines.join("\n") + "\n"
}

/// The card as one HTML page to print on A4 or Letter, speeds in `unit`.
#[must_use]
pub fn test_card_html(card: &TestCard, unit: Unit) -> String {
    let body = html! {
        h1 { "Test card" }
        p.under { (facts(card, unit).join("; ")) "." }
        div.blanks {
            @for blank in ["date, place", "aircraft, propeller", "pack, voltage at rest", "wind", "temperature, pressure", "spotter"] {
                div { (blank) }
            }
        }
        (cautions(&IN_FLIGHT))
        h2 { "Steps" }
        (html_table(&step_rows(card, unit)))
        @for flight in flights(card) { (runs_table(card, flight)) }
        (sentences("Assumed", &card.assumptions))
        (sentences("To mind", &[card.notes.clone(), vec![order_sentence(card)]].concat()))
        p {}
        (cautions(&CAUTIONS))
    };
    page("Test card", &body)
}

/// The runs of each flight.
pub(crate) fn flights(card: &TestCard) -> impl Iterator<Item = &[PlannedRun]> {
    card.runs.chunk_by(|one, next| one.flight == next.flight)
}

/// What the card is about, a phrase each.
pub(crate) fn facts(card: &TestCard, unit: Unit) -> Vec<String> {
    let flights = match card.flights {
        1 => "One flight".to_owned(),
        flights => format!("{flights} flights, each on a full pack,"),
    };
    let energy = card.flight_wh.map(|wh| format!(" and about {wh:.0} Wh"));
    vec![
        format!("{flights} of {} min{}", clock(card.flight_s), energy.unwrap_or_default()),
        format!("wanted: airspeeds within {} {}", speed(card.wanted_half_width_mps, unit, 1), unit.symbol()),
        format!(
            "wind {} {}, gusts {} {} (standard deviation)",
            speed(card.wind_mps, unit, 1),
            unit.symbol(),
            speed(card.gust_mps, unit, 1),
            unit.symbol()
        ),
    ]
}

/// Why the order is as it is.
pub(crate) fn order_sentence(card: &TestCard) -> String {
    let way = if card.runs.len() > card.steps.len() {
        "Every other pass is flown backwards, so that a falling voltage falls on all steps alike"
    } else {
        "The order keeps a falling voltage from looking like throttle"
    };
    format!(
        "{way}: keep to it. (Correlation of throttle with the time of flying: {:.2} at the most; flown in rising \
         order it would be 1.)",
        card.throttle_order_correlation
    )
}

/// Heading and a row for each step.
pub(crate) fn step_rows(card: &TestCard, unit: Unit) -> Vec<Vec<String>> {
    let symbol = unit.symbol();
    let head = [
        "throttle".to_owned(),
        format!("expect, {symbol}"),
        "upwind, s".to_owned(),
        "downwind, s".to_owned(),
        "pairs to fly".to_owned(),
        "pairs needed".to_owned(),
        format!("interval, +/- {symbol}"),
    ];
    std::iter::once(head.to_vec()).chain(card.steps.iter().map(|step| step_row(step, unit))).collect()
}

fn step_row(step: &PlannedStep, unit: Unit) -> Vec<String> {
    vec![
        format!("{} %", trimmed(step.throttle_percent)),
        speed(step.airspeed_mps, unit, 0),
        shown(step.upwind_s, 0),
        shown(step.downwind_s, 0),
        step.pairs.to_string(),
        step.pairs_needed.map_or_else(|| "none".to_owned(), |pairs| pairs.to_string()),
        speed(step.half_width_mps, unit, 1),
    ]
}

fn speed(speed_mps: f64, unit: Unit, decimals: usize) -> String {
    shown(speed_mps / unit.si_per_unit(), decimals)
}

fn html_table(rows: &[Vec<String>]) -> Markup {
    html! {
        table {
            @if let Some(head) = rows.first() {
                thead { tr { @for cell in head { th scope="col" { (cell) } } } }
            }
            tbody {
                @for row in rows.iter().skip(1) { tr { @for cell in row { td { (cell) } } } }
            }
        }
    }
}

/// The runs of one flight, with room to tick off and to write.
fn runs_table(card: &TestCard, flight: &[PlannedRun]) -> Markup {
    let passes = card.steps.len().max(1);
    html! {
        h2 { "Flight " (flight.first().map_or(0, |run| run.flight)) }
        table.runs {
            thead {
                tr {
                    @for heading in ["run", "throttle", "upwind", "downwind", "volts", "remarks"] { th scope="col" { (heading) } }
                }
            }
            tbody {
                @for (place, run) in flight.iter().enumerate() {
                    tr.turn[place % passes == 0] {
                        td { (run.run) }
                        td.shown { (trimmed(run.throttle_percent)) " %" }
                        @for seconds in seconds(card, run) { td { (shown(seconds, 0)) " s " span.box {} } }
                        td.line {}
                        td.line.words {}
                    }
                }
            }
        }
    }
}

/// Seconds of straight flight upwind and downwind in a run.
fn seconds(card: &TestCard, run: &PlannedRun) -> [f64; 2] {
    let step = card.steps.iter().find(|step| step.throttle_percent == run.throttle_percent);
    step.map_or([f64::NAN; 2], |step| [step.upwind_s, step.downwind_s])
}

#[derive(Serialize)]
struct CardJson<'a> {
    speed_unit: Unit,
    flights: u32,
    flight_s: Option<f64>,
    flight_wh: Option<f64>,
    wanted_half_width: Option<f64>,
    wind: Option<f64>,
    gusts: Option<f64>,
    throttle_order_correlation: Option<f64>,
    steps: Vec<StepJson>,
    runs: &'a [PlannedRun],
    assumptions: &'a [String],
    notes: &'a [String],
    cautions: [&'static str; IN_FLIGHT.len()],
}

/// Speeds in `speed_unit`.
#[derive(Serialize)]
struct StepJson {
    throttle_percent: f64,
    airspeed: Option<f64>,
    upwind_s: Option<f64>,
    downwind_s: Option<f64>,
    pairs: u32,
    pairs_needed: Option<u32>,
    half_width: Option<f64>,
}

/// The card as JSON, speeds in `unit`.
///
/// # Errors
/// [`RenderError::Json`] if the JSON writer refuses a value.
pub fn test_card_json(card: &TestCard, unit: Unit) -> Result<String, RenderError> {
    let number = |value: f64| rounded(value, 6);
    let speed = |speed_mps: f64| number(speed_mps / unit.si_per_unit());
    let step = |step: &PlannedStep| StepJson {
        throttle_percent: step.throttle_percent,
        airspeed: speed(step.airspeed_mps),
        upwind_s: number(step.upwind_s),
        downwind_s: number(step.downwind_s),
        pairs: step.pairs,
        pairs_needed: step.pairs_needed,
        half_width: speed(step.half_width_mps),
    };
    Ok(serde_json::to_string_pretty(&CardJson {
        speed_unit: unit,
        flights: card.flights,
        flight_s: number(card.flight_s),
        flight_wh: card.flight_wh.and_then(number),
        wanted_half_width: speed(card.wanted_half_width_mps),
        wind: speed(card.wind_mps),
        gusts: speed(card.gust_mps),
        throttle_order_correlation: number(card.throttle_order_correlation),
        steps: card.steps.iter().map(step).collect(),
        runs: &card.runs,
        assumptions: &card.assumptions,
        notes: &card.notes,
        cautions: IN_FLIGHT,
    })?)
}
