//! Parses quantities given on the command line, with or without a unit.

use pairspeed::model::units::{Quantity, ResultUnits, Unit};

use super::Failure;

/// Parses a number with an optional unit, as [`pairspeed::model::quantity::parse`] does, into SI units. A number
/// without a unit is in `usual`. `option` is the option's name.
///
/// # Errors
///
/// [`Failure::Misuse`] names the option and its value, and gives an example.
pub fn quantity(option: &str, text: &str, usual: Unit) -> Result<f64, Failure> {
    pairspeed::model::quantity::parse(text, usual)
        .map_err(|error| Failure::Misuse(format!("{option} {error}")))
}

/// The first unit of speed that occurs in the values of some options; `None` if there is none.
pub fn named_speed_unit<'a>(values: impl IntoIterator<Item = &'a Option<String>>) -> Option<Unit> {
    let unit = |text: &String| {
        let name = text.trim_start_matches(|c: char| !c.is_alphabetic());
        Unit::parse(name).ok().filter(|unit| unit.quantity() == Quantity::Speed)
    };
    values.into_iter().flatten().find_map(unit)
}

/// Parses the value of an option as [`quantity()`] does; `None` if the option is not given.
///
/// # Errors
///
/// [`Failure::Misuse`] names the option and its value, and gives an example.
pub fn optional(option: &str, text: Option<&String>, usual: Unit) -> Result<Option<f64>, Failure> {
    text.map(|text| quantity(option, text, usual)).transpose()
}

/// The unit of speed in a list such as `mph,ft`; `None` if there is none. Units of height are ignored here.
///
/// # Errors
/// [`Failure::Misuse`] if the list is invalid.
pub fn speed_unit(list: Option<&str>) -> Result<Option<Unit>, Failure> {
    let list = list.unwrap_or_default();
    let units =
        ResultUnits::parse(list).map_err(|error| Failure::Misuse(format!("--units {list}: {error}")))?;
    Ok(units.speed)
}
