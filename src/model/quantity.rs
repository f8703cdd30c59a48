//! Quantities told by a person, with or without their unit.

use thiserror::Error;

use crate::model::units::{Quantity, Unit};

/// Why a told quantity cannot be followed; starts with what was told.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum QuantityError {
    /// It begins with no number from 0 on.
    #[error("{text}: no number from 0 on; give a number and a unit, such as \"8 {}\"", usual.symbol())]
    NoNumber {
        /// What was told.
        text: String,
        /// The unit it is in where none is told.
        usual: Unit,
    },
    /// Its unit is not known.
    #[error("{text}: unknown unit: give mph, km/h, kn or m/s for a speed, ft or m for a length")]
    UnknownUnit {
        /// What was told.
        text: String,
    },
    /// Its unit measures something else.
    #[error(
        "{text}: {} does not measure {}; give a number and a unit, such as \"8 {}\"",
        unit.symbol(),
        measure(usual.quantity()),
        usual.symbol()
    )]
    OtherQuantity {
        /// What was told.
        text: String,
        /// Its unit.
        unit: Unit,
        /// The unit it is in where none is told.
        usual: Unit,
    },
}

/// Reads a number with an optional unit, such as `8 mph`, `1.5m/s` or `300 m`, into SI units; without a unit
/// it is one of `usual`.
///
/// # Errors
/// [`QuantityError`] says what is wrong with it and gives an example.
pub fn parse(text: &str, usual: Unit) -> Result<f64, QuantityError> {
    let told = || text.trim().to_owned();
    let (value, spelling) = number_and_rest(text)
        .filter(|(value, _)| *value >= 0.0)
        .ok_or_else(|| QuantityError::NoNumber { text: told(), usual })?;
    let unit = if spelling.is_empty() {
        usual
    } else {
        Unit::parse(spelling).map_err(|_| QuantityError::UnknownUnit { text: told() })?
    };
    if unit.quantity() != usual.quantity() {
        return Err(QuantityError::OtherQuantity { text: told(), unit, usual });
    }
    Ok(value * unit.si_per_unit())
}

/// The number a text begins with, and what follows it.
pub(crate) fn number_and_rest(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let ends = text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+')));
    let (number, rest) = text.split_at(ends.unwrap_or(text.len()));
    Some((number.parse().ok().filter(|number: &f64| number.is_finite())?, rest.trim()))
}

fn measure(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Speed => "a speed",
        Quantity::Length => "a length",
        _ => "that",
    }
}
