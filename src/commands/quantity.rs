//! Quantities told on the command line, with or without their unit.

use pairspeed::units::{Quantity, ResultUnits, Unit};

use super::Failure;

/// Reads a number with an optional unit, such as `8 mph`, `1.5m/s` or `300 m`, into SI units; without a unit
/// it is one of `usual`.
///
/// # Errors
/// [`Failure::Misuse`] names the option, what it was given and an example.
pub fn quantity(option: &str, text: &str, usual: Unit) -> Result<f64, Failure> {
    let text = text.trim();
    let ends = text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+')));
    let (number, unit) = text.split_at(ends.unwrap_or(text.len()));
    let example = format!("give a number and a unit, such as {option} \"{} {}\"", 8, usual.symbol());
    let value: f64 = number
        .parse()
        .ok()
        .filter(|value: &f64| value.is_finite() && *value >= 0.0)
        .ok_or_else(|| Failure::Misuse(format!("{option} {text}: no number from 0 on; {example}")))?;
    let unit = if unit.trim().is_empty() { usual } else { unit_of(option, unit)? };
    if unit.quantity() != usual.quantity() {
        return Err(Failure::Misuse(format!(
            "{option} {text}: {} does not measure {}; {example}",
            unit.symbol(),
            measure(usual.quantity())
        )));
    }
    Ok(value * unit.si_per_unit())
}

/// The unit of speed that one of the options' values names; `None` where none does.
pub fn named_speed_unit<'a>(values: impl IntoIterator<Item = &'a Option<String>>) -> Option<Unit> {
    let unit = |text: &String| {
        let name = text.trim_start_matches(|c: char| !c.is_alphabetic());
        Unit::parse(name).ok().filter(|unit| unit.quantity() == Quantity::Speed)
    };
    values.into_iter().flatten().find_map(unit)
}

/// As [`quantity`], for an option that may be left out.
///
/// # Errors
/// As [`quantity`].
pub fn optional(option: &str, text: Option<&String>, usual: Unit) -> Result<Option<f64>, Failure> {
    text.map(|text| quantity(option, text, usual)).transpose()
}

/// The unit of speeds in a list such as `mph,ft`, as every command takes it; `None` where it names none. No
/// heights are told here.
///
/// # Errors
/// [`Failure::Misuse`] where the list cannot be followed.
pub fn speed_unit(list: Option<&str>) -> Result<Option<Unit>, Failure> {
    let list = list.unwrap_or_default();
    let units =
        ResultUnits::parse(list).map_err(|error| Failure::Misuse(format!("--units {list}: {error}")))?;
    Ok(units.speed)
}

fn unit_of(option: &str, text: &str) -> Result<Unit, Failure> {
    Unit::parse(text).map_err(|_| {
        let units = "give mph, km/h, kn or m/s for a speed, ft or m for a length";
        Failure::Misuse(format!("{option}: unknown unit \"{}\": {units}", text.trim()))
    })
}

fn measure(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Speed => "a speed",
        Quantity::Length => "a length",
        _ => "that",
    }
}
