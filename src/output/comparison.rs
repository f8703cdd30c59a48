//! The comparison of flights as text, as HTML and as JSON.

use maud::{Markup, html};
use serde::Serialize;

use super::RenderError;
use super::numbers::{rounded, shown};
use super::page::{cautions, columns, page, sentences, wrapped};
use super::words::{CAUTIONS, step_name};
use crate::compare::{Comparison, StepDifference, Verdict};
use crate::model::estimate::Estimate;
use crate::model::units::Unit;
use crate::propulsion::{ExponentSource, VoltageModel};

/// Number of decimals of the numbers in the JSON (set by judgement).
const DECIMALS: i32 = 6;

/// Unit of the speeds, and the difference that the pilot wants to be able to show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ComparisonStyle {
    /// Unit of the speeds shown.
    pub unit: Unit,
    /// Airspeed difference that the pilot wants to be able to show, in m/s. The results state how many pairs of legs
    /// this takes.
    pub wanted_mps: f64,
}

/// The comparisons as text for the terminal.
#[must_use]
pub fn comparison_text(comparisons: &[Comparison], style: &ComparisonStyle) -> String {
    let mut lines = Vec::new();
    for comparison in comparisons {
        lines.push(format!(
            "{} compared with {}, speeds in {}",
            comparison.later,
            comparison.first,
            style.unit.symbol()
        ));
        lines.push(String::new());
        if !comparison.steps.is_empty() {
            lines.extend(columns(&table(comparison, style)));
            lines.push(String::new());
        }
        lines.extend(wrapped(&summary(comparison, style)));
        let remarks = comparison.notes.iter().cloned().chain(reading(comparison));
        lines.extend(remarks.flat_map(|remark| wrapped(&remark)));
        lines.push(String::new());
    }
    lines.join("\n")
}

/// The comparisons as one HTML page, for screen and paper.
#[must_use]
pub fn comparison_html(comparisons: &[Comparison], style: &ComparisonStyle) -> String {
    let body = html! {
        h1 { "Effect of the change" }
        p.under { "Airspeeds in " (style.unit.symbol()) "; 95 % intervals, not corrected for the number of steps." }
        @for comparison in comparisons {
            section {
                h2 { (comparison.later) " against " (comparison.first) }
                p.verdict { (summary(comparison, style)) }
                @if !comparison.steps.is_empty() { div.scroll { (html_table(comparison, style)) } }
                (sentences("Notes", &comparison.notes))
                @if let Some(reading) = reading(comparison) { p.under { (reading) } }
            }
        }
        (cautions(&CAUTIONS))
    };
    page("Comparison of flights", &body)
}

fn html_table(comparison: &Comparison, style: &ComparisonStyle) -> Markup {
    let rows = table(comparison, style);
    html! {
        table {
            @if let Some(head) = rows.first() {
                thead {
                    tr {
                        @for (place, cell) in head.iter().enumerate() {
                            th.words[place + 1 == head.len()] scope="col" { (cell) }
                        }
                    }
                }
            }
            tbody {
                @for (row, step) in rows.iter().skip(1).zip(&comparison.steps) {
                    tr {
                        @for (place, cell) in row.iter().enumerate() {
                            @if place == 0 {
                                th scope="row" { (cell) }
                            } @else if place + 1 == row.len() {
                                td.words.shown[step.verdict.is_significant()] { (cell) }
                            } @else {
                                td { (cell) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The table of the steps; its first row holds the headings.
pub fn table(comparison: &Comparison, style: &ComparisonStyle) -> Vec<Vec<String>> {
    let wanted = in_unit(style.wanted_mps, style);
    let headings = ["throttle", "first", "later", "voltage", "density", "difference", "95 % interval"]
        .map(str::to_owned)
        .into_iter()
        .chain([format!("pairs for {wanted}"), "verdict".to_owned()]);
    let rows = comparison.steps.iter().map(|step| row(step, style));
    std::iter::once(headings.collect()).chain(rows).collect()
}

fn row(step: &StepDifference, style: &ComparisonStyle) -> Vec<String> {
    let plain = |speed_mps: f64| number(speed_mps, style);
    vec![
        step_name(step.throttle_percent, Some(step.step)),
        plain(step.first_mps),
        plain(step.later_mps),
        part_text(step.voltage_part_mps, style),
        part_text(step.density_part_mps, style),
        signed(step.difference_mps.value, style),
        format!("{} to {}", signed(step.difference_mps.low, style), signed(step.difference_mps.high, style)),
        step.pairs_needed.map_or_else(|| "over 200".to_owned(), |pairs| pairs.to_string()),
        verdict_cell(step),
    ]
}

/// The verdict of a step in words: whether the later flight was faster or slower, or the difference is not significant.
/// The verdict without voltage correction is added if it differs.
fn verdict_cell(step: &StepDifference) -> String {
    verdict_word(step.verdict).to_owned() + &as_flown_words(step)
}

/// The verdict of a step without voltage correction (faster, slower or not significant); `None` if the verdict with
/// correction is the same.
fn differing_verdict_as_flown(step: &StepDifference) -> Option<Verdict> {
    step.verdict_as_flown.filter(|other| !other.agrees_with(step.verdict))
}

fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Faster => "faster",
        Verdict::Slower => "slower",
        Verdict::NotSignificantAfterCorrection => {
            "not significant after correction for the number of steps compared"
        }
        Verdict::NotSignificant => "no difference shown",
    }
}

fn number(speed_mps: f64, style: &ComparisonStyle) -> String {
    shown(speed_mps / style.unit.si_per_unit(), 1)
}

fn signed(speed_mps: f64, style: &ComparisonStyle) -> String {
    with_sign(number(speed_mps, style))
}

fn with_sign(text: String) -> String {
    if text.starts_with('-') || text == "0.0" { text } else { format!("+{text}") }
}

/// The part of a difference that voltage or density explains, as text in the unit of `style`. `speed_mps` is this part
/// in m/s; `None` if the airspeeds were not corrected, which gives `-`.
fn part_text(speed_mps: Option<f64>, style: &ComparisonStyle) -> String {
    speed_mps.map_or_else(|| "-".to_owned(), |speed_mps| signed(speed_mps, style))
}

fn in_unit(speed_mps: f64, style: &ComparisonStyle) -> String {
    format!("{} {}", number(speed_mps, style), style.unit.symbol())
}

/// The result of the comparison in a few sentences: each step, the assumptions, all steps together, and the
/// pairs needed to show the wanted difference.
pub fn summary(comparison: &Comparison, style: &ComparisonStyle) -> String {
    if comparison.steps.is_empty() {
        return "Nothing to compare.".to_owned();
    }
    let (shown, rest): (Vec<_>, Vec<_>) =
        comparison.steps.iter().partition(|step| step.verdict.is_significant());
    let differences = shown.into_iter().map(|step| difference_words(step, style));
    let rest: Vec<String> = rest
        .into_iter()
        .map(|step| step_name(step.throttle_percent, Some(step.step)) + &as_flown_words(step))
        .collect();
    let none = (!rest.is_empty()).then(|| format!("no significant difference at {}", rest.join(", ")));
    let verdicts = capitalised(&differences.chain(none).collect::<Vec<_>>().join("; ")) + ".";
    verdicts
        + &assumption_words(comparison, style)
        + &overall_words(comparison)
        + &pairs_words(comparison, style)
}

fn difference_words(step: &StepDifference, style: &ComparisonStyle) -> String {
    let Estimate { value, low, high, .. } = step.difference_mps;
    let (low, high) = if value < 0.0 { (-high, -low) } else { (low, high) };
    format!(
        "{faster_or_slower} by {difference} at {step_name}, 95 % interval {} to {}{}",
        number(low, style),
        number(high, style),
        as_flown_words(step),
        faster_or_slower = verdict_word(step.verdict),
        difference = in_unit(value.abs(), style),
        step_name = step_name(step.throttle_percent, Some(step.step)),
    )
}

fn as_flown_words(step: &StepDifference) -> String {
    differing_verdict_as_flown(step).map_or_else(String::new, |other| {
        let word = if other.is_significant() { verdict_word(other) } else { "no difference shown" };
        format!(" (without voltage correction: {word})")
    })
}

/// States whether the verdicts (faster, slower or not significant) would be the same without the assumed effect of
/// voltage; empty if no effect is assumed.
fn assumption_words(comparison: &Comparison, style: &ComparisonStyle) -> String {
    let Some(model) = comparison.voltage_model.filter(|model| model.source == ExponentSource::Assumed) else {
        return String::new();
    };
    let matters = |step: &&StepDifference| {
        step.voltage_part_mps.is_some_and(|part_mps| number(part_mps.abs(), style) != number(0.0, style))
    };
    let matched: Vec<&StepDifference> = comparison.steps.iter().filter(matters).collect();
    if matched.is_empty() {
        return String::new();
    }
    let holds = match matched.iter().filter(|step| differing_verdict_as_flown(step).is_some()).count() {
        0 => "without the voltage correction, no verdict would change".to_owned(),
        1 => "without the voltage correction, the verdict of 1 step would change".to_owned(),
        count => format!("without the voltage correction, the verdicts of {count} steps would change"),
    };
    format!(
        " These verdicts rest on an assumption, not on a measurement in these flights: speed is proportional to the voltage to the power {:.1}; {holds}.",
        model.exponent
    )
}

fn overall_words(comparison: &Comparison) -> String {
    let Some(overall) = comparison.overall else { return String::new() };
    let word = overall_word(&overall);
    let as_flown = comparison.overall_as_flown.filter(|as_flown| overall_word(as_flown) != word);
    let otherwise = as_flown.map_or_else(String::new, |as_flown| {
        format!(
            "; without the voltage correction: {}, change of airspeed {}",
            overall_word(&as_flown),
            percentages(&as_flown)
        )
    });
    format!(" All steps together: {word}, change of airspeed {}{otherwise}.", percentages(&overall))
}

fn overall_word(overall: &Estimate) -> &'static str {
    if overall.low > 0.0 {
        "faster"
    } else if overall.high < 0.0 {
        "slower"
    } else {
        "no difference shown"
    }
}

fn percentages(overall: &Estimate) -> String {
    let [share, low, high] =
        [overall.value, overall.low, overall.high].map(|share| with_sign(shown(100.0 * share, 1)));
    format!("{share} % ({low} to {high})")
}

fn pairs_words(comparison: &Comparison, style: &ComparisonStyle) -> String {
    let wanted = in_unit(style.wanted_mps, style);
    let needed: Option<Vec<u32>> = comparison.steps.iter().map(|step| step.pairs_needed).collect();
    match needed.and_then(|pairs| Some((*pairs.iter().min()?, *pairs.iter().max()?))) {
        Some((1, 1)) => {
            format!(" One pair at each step, in each flight, is enough to detect a difference of {wanted}.")
        }
        Some((least, most)) if least == most => {
            format!(
                " To detect a difference of {wanted} in such wind, you need {most} pairs at each step, in each flight."
            )
        }
        Some((least, most)) => {
            format!(
                " To detect a difference of {wanted} in such wind, you need {least} to {most} pairs at each step, in each flight: the number depends on the step."
            )
        }
        None => format!(
            " A difference of {wanted} cannot be detected in such wind with any number of pairs: wait for calmer air, lay the course along the wind, or use a display with finer steps."
        ),
    }
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Explains how to read the table; `None` if there is no table.
pub fn reading(comparison: &Comparison) -> Option<String> {
    let compared = match comparison.steps_compared {
        0 => return None,
        1 => "1 step was".to_owned(),
        steps => format!("{steps} steps were"),
    };
    Some(format!(
        "First and later are the airspeeds as flown, as in the reports. The difference is later minus first, corrected \
         for voltage and density. It is the difference of the middles of the intervals, which are higher than the \
         airspeeds by their expected bias. {compared} compared in all, so a verdict is stricter than the interval of \
         one step (Holm): of twenty comparisons without a change, at most one reports a difference. The number of \
         pairs shows the difference in four of five cases. A setup that draws more current lowers its own voltage; \
         matching the voltage under load leaves that effect out."
    ))
}

#[derive(Serialize)]
struct ComparisonsJson<'a> {
    speed_unit: Unit,
    wanted: Option<f64>,
    comparisons: Vec<ComparisonJson<'a>>,
}

#[derive(Serialize)]
struct ComparisonJson<'a> {
    first: &'a str,
    later: &'a str,
    verdict: String,
    steps_compared: usize,
    voltage_model: Option<VoltageModel>,
    verdict_rests_on_assumption: bool,
    overall_percent: Option<[Option<f64>; 3]>,
    overall_percent_as_flown: Option<[Option<f64>; 3]>,
    steps: Vec<StepDifferenceJson>,
    notes: &'a [String],
}

/// One throttle step in the JSON. Speeds are in `speed_unit`; `low` and `high` are the ends of the 95 % interval of the
/// difference at this step alone.
#[derive(Serialize)]
struct StepDifferenceJson {
    step: u32,
    throttle_percent: Option<f64>,
    first: Option<f64>,
    later: Option<f64>,
    voltage_part: Option<f64>,
    density_part: Option<f64>,
    difference: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    uncertainty: Option<f64>,
    degrees_of_freedom: Option<f64>,
    probability: Option<f64>,
    corrected_probability: Option<f64>,
    verdict: Verdict,
    verdict_as_flown: Option<Verdict>,
    pairs_needed: Option<u32>,
}

/// The comparisons as JSON.
///
/// # Errors
/// [`RenderError::Json`] if the JSON writer refuses a value.
pub fn comparison_json(comparisons: &[Comparison], style: &ComparisonStyle) -> Result<String, RenderError> {
    let one = |comparison: &'_ Comparison| -> Vec<StepDifferenceJson> {
        comparison.steps.iter().map(|step| step_json(step, style)).collect()
    };
    let json = ComparisonsJson {
        speed_unit: style.unit,
        wanted: rounded(style.wanted_mps / style.unit.si_per_unit(), DECIMALS),
        comparisons: comparisons
            .iter()
            .map(|comparison| ComparisonJson {
                first: &comparison.first,
                later: &comparison.later,
                verdict: summary(comparison, style),
                steps_compared: comparison.steps_compared,
                voltage_model: comparison.voltage_model,
                verdict_rests_on_assumption: !assumption_words(comparison, style).is_empty(),
                overall_percent: comparison.overall.map(overall_json),
                overall_percent_as_flown: comparison.overall_as_flown.map(overall_json),
                steps: one(comparison),
                notes: &comparison.notes,
            })
            .collect(),
    };
    Ok(serde_json::to_string_pretty(&json)?)
}

fn overall_json(overall: Estimate) -> [Option<f64>; 3] {
    [overall.value, overall.low, overall.high].map(|share| rounded(100.0 * share, DECIMALS))
}

fn step_json(step: &StepDifference, style: &ComparisonStyle) -> StepDifferenceJson {
    let speed = |speed_mps: f64| rounded(speed_mps / style.unit.si_per_unit(), DECIMALS);
    StepDifferenceJson {
        step: step.step,
        throttle_percent: step.throttle_percent,
        first: speed(step.first_mps),
        later: speed(step.later_mps),
        voltage_part: step.voltage_part_mps.and_then(speed),
        density_part: step.density_part_mps.and_then(speed),
        difference: speed(step.difference_mps.value),
        low: speed(step.difference_mps.low),
        high: speed(step.difference_mps.high),
        uncertainty: speed(step.difference_mps.standard_uncertainty),
        degrees_of_freedom: rounded(step.difference_mps.degrees_of_freedom, DECIMALS),
        probability: rounded(step.probability, DECIMALS),
        corrected_probability: rounded(step.corrected_probability, DECIMALS),
        verdict: step.verdict,
        verdict_as_flown: step.verdict_as_flown,
        pairs_needed: step.pairs_needed,
    }
}
