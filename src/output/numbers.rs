//! Numbers as text: never `NaN`, never `-0`.

/// Decimals of a time in CSV: microseconds, finer than the timestamps of the containers supported.
pub(crate) const TIME_DECIMALS: usize = 6;

/// Exponent below which an uncertainty is written in scientific notation (set by judgement).
const MIN_EXPONENT: i32 = -4;

/// The value as text with exactly `decimals` decimals; empty if it is not finite.
pub(crate) fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return String::new();
    }
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|digit| matches!(digit, '0' | '.')) => digits.to_owned(),
        _ => text,
    }
}

/// The value as text with exactly `decimals` decimals; empty if there is none or if it is not finite.
pub(crate) fn fixed_or_empty(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(String::new, |value| fixed(value, decimals))
}

/// The value as text with at most two decimals and without trailing zeros.
pub fn trimmed(value: f64) -> String {
    let text = fixed(value, 2);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// The value as text for a table, with `decimals` decimals: `-` if it is not finite, and scientific notation
/// from ten million, which keeps columns narrow.
pub fn shown(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        "-".to_owned()
    } else if value.abs() >= 1e7 {
        format!("{value:.1e}")
    } else {
        fixed(value, decimals)
    }
}

/// The value as text for a table, with `decimals` decimals; `-` if there is none or if it is not finite.
pub(crate) fn shown_or_dash(value: Option<f64>, decimals: usize) -> String {
    shown(value.unwrap_or(f64::NAN), decimals)
}

/// An uncertainty with two significant digits (JCGM 100:2008, 7.2.6). Zero is `0`; a value that is not finite is `-`.
pub(crate) fn two_digits(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    // The exponent is that of the rounded value: 0.996 becomes 1.0.
    let rounded = format!("{value:.1e}");
    let exponent = rounded.split_once('e').and_then(|(_, exponent)| exponent.parse::<i32>().ok());
    match exponent {
        Some(exponent) if exponent < MIN_EXPONENT => rounded,
        Some(exponent) => shown(value, usize::try_from(1 - exponent).unwrap_or(0)),
        None => shown(value, 0),
    }
}

/// The value rounded to `decimals` decimals; `None` if it is not finite.
pub(crate) fn rounded(value: f64, decimals: i32) -> Option<f64> {
    let scale = 10f64.powi(decimals);
    let rounded = (value * scale).round() / scale + 0.0;
    let kept = if rounded.is_finite() { rounded } else { value };
    kept.is_finite().then_some(kept)
}

/// A time of the flight as `m:ss`, or `h:mm:ss` from an hour on.
pub fn clock(time_s: f64) -> String {
    if !time_s.is_finite() {
        return "-".to_owned();
    }
    // The cast saturates, so that even a meaningless time gives a number.
    let seconds = time_s.max(0.0).round() as u64;
    let (hours, minutes, seconds) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_uncertainty_has_two_significant_digits_and_zero_is_zero() {
        let cases = [
            (0.0, "0"),
            (-0.0, "0"),
            (1.07, "1.1"),
            (0.996, "1.0"),
            (0.0456, "0.046"),
            (9.96, "10"),
            (12.3, "12"),
            (1234.5, "1234"),
            (3.4e-9, "3.4e-9"),
            (2e9, "2.0e9"),
            (f64::NAN, "-"),
            (f64::INFINITY, "-"),
        ];
        for (value, text) in cases {
            assert_eq!(two_digits(value), text, "{value}");
        }
    }
}
