//! The test card as text, as an HTML page to print, and as JSON.

use maud::{Markup, html};
use serde::Serialize;

use super::RenderError;
use super::numbers::{clock, rounded, shown, trimmed};
use super::page::{cautions, columns, page, sentences, wrapped};
use super::words::CAUTIONS;
use crate::model::units::Unit;
use crate::plan::{PlannedRun, PlannedStep, TestCard, UnmetRequirement};

/// Number of decimals of the numbers in the JSON (set by judgement).
const DECIMALS: i32 = 6;

/// Cautions for flying the test card.
pub const IN_FLIGHT: [&str; 4] = [
    "Before arming: control throws, failsafe, range, propeller tight, clear airspace, a spotter beside you.",
    "Land at your own voltage limit or timer, even if the card is not finished. Fly the rest another time.",
    "Break off at any flutter, vibration, smell or odd sound; let motor and controller cool between flights.",
    "Do not read this card while flying: let a helper call out the runs. Fly all turns away from people.",
];

/// The card as text for the terminal, with speeds in `unit`.
#[must_use]
pub fn test_card_text(card: &TestCard, unit: Unit) -> String {
    let mut lines: Vec<String> =
        unmet_sentences(card, unit).iter().flat_map(|sentence| wrapped(sentence)).collect();
    lines.extend(wrapped(&(facts(card, unit).join("; ") + ".")));
    lines.push(String::new());
    lines.extend(columns(&step_rows(card, unit)));
    lines.push(String::new());
    lines.push("Fly one pair of legs (upwind and downwind) at each throttle, in this order:".to_owned());
    for flight in flights(card) {
        let throttles: Vec<String> = flight.iter().map(|run| trimmed(run.throttle_percent)).collect();
        let number = flight.first().map_or(0, |run| run.flight);
        lines.extend(wrapped(&format!("- flight {number}: {} %", throttles.join(", "))));
    }
    lines.push(String::new());
    let remarks = card.assumptions.iter().chain(&card.notes).cloned().chain([order_sentence(card)]);
    lines.extend(remarks.flat_map(|remark| wrapped(&remark)));
    lines.push("Cautions:".to_owned());
    lines.extend(IN_FLIGHT.iter().flat_map(|caution| wrapped(&format!("- {caution}"))));
    lines.join("\n") + "\n"
}

/// The card as one HTML page to print on A4 or Letter, with speeds in `unit`.
#[must_use]
pub fn test_card_html(card: &TestCard, unit: Unit) -> String {
    let body = html! {
        h1 { "Test card" }
        @for sentence in unmet_sentences(card, unit) { p.verdict { strong { (sentence) } } }
        p.under { (facts(card, unit).join("; ")) "." }
        div.blanks {
            @for blank in ["date, place", "aircraft, propeller", "pack, voltage at rest", "wind", "temperature, pressure", "spotter"] {
                div { (blank) }
            }
        }
        (cautions(&IN_FLIGHT))
        div.beside {
            div { h2 { "Steps" } (html_table(&step_rows(card, unit))) }
            div {
                (sentences("Assumed", &card.assumptions))
                (sentences("Notes", &[card.notes.clone(), vec![order_sentence(card)]].concat()))
            }
        }
        div.passes { @for pass in passes(card) { (pass_table(card, pass)) } }
        (cautions(&CAUTIONS))
    };
    page("Test card", &body)
}

/// The runs of each flight.
pub fn flights(card: &TestCard) -> impl Iterator<Item = &[PlannedRun]> {
    card.runs.chunk_by(|one, next| one.flight == next.flight)
}

/// The runs of each pass. A pass is a sequence of runs over all steps within one flight.
fn passes(card: &TestCard) -> impl Iterator<Item = &[PlannedRun]> {
    flights(card).flat_map(|flight| flight.chunks(card.steps.len().max(1)))
}

/// Flights, wanted interval and wind of the card, as one phrase each.
pub fn facts(card: &TestCard, unit: Unit) -> Vec<String> {
    let flights = match card.flights {
        1 => "One flight is needed,".to_owned(),
        flights => format!("{flights} flights are needed, each on a full pack,"),
    };
    let reached = if card.unmet_requirements.is_empty() { "" } else { " (not reached)" };
    let energy = card.flight_wh.map(|wh| format!(" and about {wh:.0} Wh"));
    vec![
        format!("{flights} of {} min{}", clock(card.flight_s), energy.unwrap_or_default()),
        format!(
            "wanted interval: airspeed +/- {} {}{reached}",
            speed(card.wanted_half_width_mps, unit, 1),
            unit.symbol()
        ),
        format!(
            "wind {} {}, gusts {} {} (standard deviation)",
            speed(card.wind_mps, unit, 1),
            unit.symbol(),
            speed(card.gust_mps, unit, 1),
            unit.symbol()
        ),
    ]
}

/// The parts of the request that the card does not fulfil, one sentence each.
pub fn unmet_sentences(card: &TestCard, unit: Unit) -> Vec<String> {
    card.unmet_requirements.iter().map(|unmet| unmet_sentence(unmet, unit)).collect()
}

fn unmet_sentence(unmet: &UnmetRequirement, unit: Unit) -> String {
    match unmet {
        UnmetRequirement::Time { needed_s, given_s, steps_that_fit } => {
            let fix = match steps_that_fit {
                0 => "not even one step can be flown in that time: fly shorter legs".to_owned(),
                1 => "one of these steps can be flown in that time: plan it alone, or fly shorter legs"
                    .to_owned(),
                fit => format!(
                    "{fit} of these steps can be flown in that time: plan fewer steps, or fly shorter legs"
                ),
            };
            format!(
                "This card cannot be flown: one pass over all steps takes {} min with launch and landing, and {} min \
                 were given; {fix}.",
                clock(needed_s.ceil()),
                clock(*given_s)
            )
        }
        UnmetRequirement::Energy { needed_wh, usable_wh } => format!(
            "This card cannot be flown: one pass over all steps takes {needed_wh:.0} Wh with launch and landing, and \
             {usable_wh:.0} Wh of the pack may be used; plan fewer steps, or fly shorter legs."
        ),
        UnmetRequirement::Course { steps_percent, needed_m } => {
            let steps: Vec<String> = steps_percent.iter().map(|percent| trimmed(*percent)).collect();
            format!(
                "The course is too short for {} %: the downwind leg ends before the speed is steady for long enough. \
                 Lengthen the course to {}, or leave those steps out.",
                steps.join(", "),
                course_length(*needed_m, unit)
            )
        }
        UnmetRequirement::Interval { expected_mps } => {
            let instead = expected_mps.map_or_else(String::new, |half_mps| {
                format!(" Expect {} {} instead.", speed(half_mps, unit, 1), unit.symbol())
            });
            format!(
                "No number of pairs gives the wanted interval in this wind: wait for less wind or lengthen the \
                 course.{instead}"
            )
        }
    }
}

/// A length as text, in feet if the speeds are in mph or knots, otherwise in metres.
fn course_length(length_m: f64, unit: Unit) -> String {
    let length = if matches!(unit, Unit::MilesPerHour | Unit::Knots) { Unit::Feet } else { Unit::Metres };
    format!("{} {}", shown((length_m / length.si_per_unit()).ceil(), 0), length.symbol())
}

/// A sentence that explains the order of the runs.
pub fn order_sentence(card: &TestCard) -> String {
    let purpose = if card.runs.len() > card.steps.len() {
        "Every other pass is flown in reverse order, so that a falling voltage affects all steps alike"
    } else {
        "The order keeps a falling voltage from looking like an effect of throttle"
    };
    format!(
        "{purpose}: keep to this order. (The correlation between throttle and time is at most {:.2}; in ascending order of throttle it would be 1.)",
        card.throttle_order_correlation
    )
}

/// The table of the steps; its first row holds the headings.
pub fn step_rows(card: &TestCard, unit: Unit) -> Vec<Vec<String>> {
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
        step.half_width_mps.map_or_else(|| "-".to_owned(), |half_mps| speed(half_mps, unit, 1)),
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

/// The runs of one pass, with boxes to tick and space to write.
fn pass_table(card: &TestCard, pass: &[PlannedRun]) -> Markup {
    html! {
        section {
            h2 { "Flight " (pass.first().map_or(0, |run| run.flight)) }
            table.runs {
                thead {
                    tr {
                        @for heading in ["run", "throttle", "upwind", "downwind", "volts"] { th scope="col" { (heading) } }
                        th.words scope="col" { "remarks" }
                    }
                }
                tbody {
                    @for run in pass {
                        tr {
                            td { (run.run) }
                            td.shown { (trimmed(run.throttle_percent)) " %" }
                            @for seconds in seconds(card, run) { td { (shown(seconds, 0)) " s " span.box {} } }
                            td {}
                            td.words {}
                        }
                    }
                }
            }
        }
    }
}

/// Durations of the upwind and the downwind leg of a run, in seconds.
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
    shortfalls: Vec<String>,
    steps: Vec<PlannedStepJson>,
    runs: &'a [PlannedRun],
    assumptions: &'a [String],
    notes: &'a [String],
    cautions: [&'static str; IN_FLIGHT.len()],
}

/// One throttle step in the JSON. Speeds are in `speed_unit`.
#[derive(Serialize)]
struct PlannedStepJson {
    throttle_percent: f64,
    airspeed: Option<f64>,
    upwind_s: Option<f64>,
    downwind_s: Option<f64>,
    pairs: u32,
    pairs_needed: Option<u32>,
    half_width: Option<f64>,
}

/// The card as JSON, with speeds in `unit`.
///
/// # Errors
///
/// [`RenderError::Json`] if the JSON writer refuses a value.
pub fn test_card_json(card: &TestCard, unit: Unit) -> Result<String, RenderError> {
    let number = |value: f64| rounded(value, DECIMALS);
    let speed = |speed_mps: f64| number(speed_mps / unit.si_per_unit());
    let step = |step: &PlannedStep| PlannedStepJson {
        throttle_percent: step.throttle_percent,
        airspeed: speed(step.airspeed_mps),
        upwind_s: number(step.upwind_s),
        downwind_s: number(step.downwind_s),
        pairs: step.pairs,
        pairs_needed: step.pairs_needed,
        half_width: step.half_width_mps.and_then(speed),
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
        shortfalls: unmet_sentences(card, unit),
        steps: card.steps.iter().map(step).collect(),
        runs: &card.runs,
        assumptions: &card.assumptions,
        notes: &card.notes,
        cautions: IN_FLIGHT,
    })?)
}
