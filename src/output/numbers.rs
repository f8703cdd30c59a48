//! Numbers as text: never `NaN`, never `-0`.

/// Decimals of a time in CSV: microseconds, finer than the stamps of the containers read here.
pub(super) const TIME_DECIMALS: usize = 6;

/// The value with exactly `decimals` decimals; empty when it is not finite.
pub(super) fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return String::new();
    }
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|digit| matches!(digit, '0' | '.')) => digits.to_owned(),
        _ => text,
    }
}

/// As [`fixed`]; empty for `None`.
pub(super) fn fixed_or_empty(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(String::new, |value| fixed(value, decimals))
}

/// The value with at most two decimals and no closing zeros, as throttle is written.
pub(super) fn trimmed(value: f64) -> String {
    let text = fixed(value, 2);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// The value for a reader: `-` when there is none, powers of ten from ten million on so that no
/// column bursts.
pub(super) fn shown(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        "-".to_owned()
    } else if value.abs() >= 1e7 {
        format!("{value:.1e}")
    } else {
        fixed(value, decimals)
    }
}

/// As [`shown`]; `-` for `None`.
pub(super) fn shown_or_dash(value: Option<f64>, decimals: usize) -> String {
    shown(value.unwrap_or(f64::NAN), decimals)
}

/// The finite value rounded to `decimals` decimals, for files that keep numbers as numbers.
pub(super) fn rounded(value: f64, decimals: i32) -> Option<f64> {
    let scale = 10f64.powi(decimals);
    let rounded = (value * scale).round() / scale + 0.0;
    let kept = if rounded.is_finite() { rounded } else { value };
    kept.is_finite().then_some(kept)
}

/// A time of the flight as `m:ss`, or `h:mm:ss` from an hour on.
pub(super) fn clock(time_s: f64) -> String {
    if !time_s.is_finite() {
        return "-".to_owned();
    }
    // The cast saturates: a hostile time stays a number.
    let seconds = time_s.max(0.0).round() as u64;
    let (hours, minutes, seconds) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
}
