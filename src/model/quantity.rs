//! Parses quantities that a person enters, with or without a unit.

use thiserror::Error;

use crate::model::units::{Quantity, Unit};

/// Why an entered quantity cannot be used. The message begins with the entered text.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum QuantityError {
    /// The text does not begin with a number of at least 0.
    #[error("{text}: not a number of at least 0; give a number and a unit, such as \"8 {}\"", usual.symbol())]
    NoNumber {
        /// The entered text.
        text: String,
        /// The unit that is assumed if none is given.
        usual: Unit,
    },
    /// The unit in the text is not known.
    #[error("{text}: unknown unit; give mph, km/h, kn or m/s for a speed, ft or m for a length")]
    UnknownUnit {
        /// The entered text.
        text: String,
    },
    /// The unit in the text measures another quantity than is required.
    #[error(
        "{text}: {entered} does not measure {wanted}; give a number and a unit, such as \"8 {suitable}\"",
        entered = unit.symbol(),
        wanted = quantity_name(usual.quantity()),
        suitable = usual.symbol()
    )]
    OtherQuantity {
        /// The entered text.
        text: String,
        /// The unit in the text.
        unit: Unit,
        /// The unit that is assumed if none is given.
        usual: Unit,
    },
}

/// Parses a number with an optional unit, such as `8 mph`, `1.5m/s` or `300 m`, and converts it to SI units.
/// A number without a unit is in the unit `usual`.
///
/// # Errors
///
/// [`QuantityError`] says what is wrong and gives an example.
pub fn parse(text: &str, usual: Unit) -> Result<f64, QuantityError> {
    let entered = || text.trim().to_owned();
    let (value, spelling) = number_and_rest(text)
        .filter(|(value, _)| *value >= 0.0)
        .ok_or_else(|| QuantityError::NoNumber { text: entered(), usual })?;
    let unit = if spelling.is_empty() {
        usual
    } else {
        Unit::parse(spelling).map_err(|_| QuantityError::UnknownUnit { text: entered() })?
    };
    if unit.quantity() != usual.quantity() {
        return Err(QuantityError::OtherQuantity { text: entered(), unit, usual });
    }
    Ok(value * unit.si_per_unit())
}

/// The number at the start of a text, and the rest of the text; `None` if there is no finite number.
pub(crate) fn number_and_rest(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let end = text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+')));
    let (number, rest) = text.split_at(end.unwrap_or(text.len()));
    Some((number.parse().ok().filter(|number: &f64| number.is_finite())?, rest.trim()))
}

/// The name of a quantity, for messages.
fn quantity_name(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Speed => "a speed",
        Quantity::Length => "a length",
        _ => "this quantity",
    }
}
