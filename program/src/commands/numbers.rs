//! Parses numbers on the command line; an error shows how to write them.

use pairspeed::weather::{DIRECTIONS_DEG, WeatherFix};

/// Maximum absolute value of a number that an option accepts. Messages repeat a number in full, which could take
/// 309 digits; this limit keeps them short. Set by judgement, far above any time in seconds, speed, height or
/// power.
pub const MAX_NUMBER: f64 = 1e9;

/// Parses a number whose absolute value is at most [`MAX_NUMBER`].
pub fn number(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let value = text.parse().ok().filter(|value: &f64| value.is_finite()).ok_or_else(|| no_number(text))?;
    if value.abs() > MAX_NUMBER {
        return Err(format!("the number is too large; give at most {MAX_NUMBER}"));
    }
    Ok(value)
}

/// Parses a time in seconds from the first frame, 0 or more.
pub fn seconds(text: &str) -> Result<f64, String> {
    within(text, 0.0..=f64::MAX, "give seconds from the first frame, 0 or more, such as 12.5")
}

/// Parses a throttle in per cent, 0 to 100.
pub fn percent(text: &str) -> Result<f64, String> {
    within(text, 0.0..=100.0, "give a throttle between 0 and 100 per cent")
}

/// Parses a number above 0.
pub fn positive(text: &str) -> Result<f64, String> {
    within(text, f64::MIN_POSITIVE..=f64::MAX, "give a number above 0")
}

/// Parses a probability, 0 to 1.
pub fn probability(text: &str) -> Result<f32, String> {
    within(text, 0.0..=1.0, "give a number between 0 and 1").map(|value| value as f32)
}

/// Parses a course in degrees clockwise from north, -360 to 360.
pub fn course(text: &str) -> Result<f64, String> {
    within(text, DIRECTIONS_DEG, &WeatherFix::Course.to_string())
}

fn within(text: &str, range: std::ops::RangeInclusive<f64>, fix: &str) -> Result<f64, String> {
    let value = number(text).map_err(|reason| format!("{reason}; {fix}"))?;
    if range.contains(&value) { Ok(value) } else { Err(fix.to_owned()) }
}

fn no_number(text: &str) -> String {
    if let Some(seconds) = minutes_and_seconds(text) {
        return format!("give the time in seconds only, without minutes: write {seconds}");
    }
    if text.is_empty() {
        return "give a number".to_owned();
    }
    let with_point = text.replacen(',', ".", 1);
    match with_point.parse::<f64>() {
        Ok(_) if with_point != text => format!("use a decimal point: write {with_point}"),
        _ => "this is not a number".to_owned(),
    }
}

/// The time in seconds that a text such as `1:30` (minutes and seconds) states; `None` for a text of another form.
fn minutes_and_seconds(text: &str) -> Option<f64> {
    let (minutes, seconds) = text.split_once(':')?;
    let (minutes, seconds): (u32, f64) = (minutes.parse().ok()?, seconds.parse().ok()?);
    (0.0..60.0).contains(&seconds).then(|| 60.0 * f64::from(minutes) + seconds)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_mistyped_number_is_refused_with_the_number_to_write() {
        assert_eq!(number(" 2.5 "), Ok(2.5));
        assert!(number("2,5").unwrap_err().ends_with("write 2.5"));
        assert!(seconds("1:30").unwrap_err().contains("write 90"));
        for text in ["", "a", "nan", "inf", "1e999", "2.5 s", "1:75"] {
            let said = number(text).unwrap_err();
            assert!(!said.contains("float") && said.contains("number"), "{text}: {said}");
        }
    }

    #[test]
    fn a_number_that_would_fill_the_screen_is_refused() {
        for text in ["1e308", "-1e300", "123456789012345678901234567890"] {
            let said = number(text).unwrap_err();
            assert!(said.contains("too large") && said.len() < 80, "{text}: {said}");
        }
    }

    #[test]
    fn numbers_out_of_range_are_refused_with_the_range() {
        assert_eq!(course("-90"), Ok(-90.0));
        assert!(course("999").unwrap_err().contains("0 to 360"));
        assert!(percent("101").unwrap_err().contains("0 and 100"));
        assert!(seconds("-5").unwrap_err().contains("0 or more"));
        assert!(probability("1.5").is_err() && positive("0").is_err() && positive("-3").is_err());
    }
}
