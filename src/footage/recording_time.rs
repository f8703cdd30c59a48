//! Determines when a clip was recorded, from its container or its file name.

use std::path::Path;

/// Plausible years of a recorder's clock. A clock that was never set starts in 1904, 1970 or 1980.
const PLAUSIBLE_YEARS: std::ops::RangeInclusive<i64> = 2001..=2099;
/// Number of digits of a date and a time of day in seconds.
const DIGITS: usize = 14;

/// The time at which the recording of a clip started.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct RecordingTime {
    by_container_s: Option<i64>,
    by_name_s: Option<i64>,
}

impl RecordingTime {
    /// Reads the container's `creation_time`, if there is one, and the date and time in the file's name.
    pub(super) fn new(creation_time: Option<&str>, path: &Path) -> Self {
        let name = path.file_stem().and_then(|stem| stem.to_str());
        Self { by_container_s: creation_time.and_then(clock_s), by_name_s: name.and_then(clock_s) }
    }

    /// Number of seconds from the start of this clip to the start of a later one. `None` if the two clips
    /// have no common source of time, or if the other clip is not later.
    pub(super) fn seconds_until(&self, later: &Self) -> Option<f64> {
        let difference =
            |one: Option<i64>, two: Option<i64>| Some(two? - one?).filter(|seconds| *seconds > 0);
        let by_container = difference(self.by_container_s, later.by_container_s);
        by_container.or_else(|| difference(self.by_name_s, later.by_name_s)).map(|seconds| seconds as f64)
    }
}

/// The time given by the first groups of digits that together are a year, month, day, hour, minute and
/// second, as in `2024-05-01T10:15:00` or `REC_20240501_101500`; in seconds since 1970. `None` if the text
/// contains no such time.
fn clock_s(text: &str) -> Option<i64> {
    let groups: Vec<&str> =
        text.split(|letter: char| !letter.is_ascii_digit()).filter(|group| !group.is_empty()).collect();
    (0..groups.len()).find_map(|start| {
        let mut digits = String::new();
        for group in groups.iter().skip(start) {
            digits.push_str(group);
            if digits.len() >= DIGITS {
                break;
            }
        }
        (digits.len() == DIGITS).then(|| seconds_of(&digits)).flatten()
    })
}

fn seconds_of(digits: &str) -> Option<i64> {
    let number = |from: usize, to: usize| digits.get(from..to)?.parse::<i64>().ok();
    let (year, month, day) = (number(0, 4)?, number(4, 6)?, number(6, 8)?);
    let (hour, minute, second) = (number(8, 10)?, number(10, 12)?, number(12, 14)?);
    let is_date = PLAUSIBLE_YEARS.contains(&year) && (1..=12).contains(&month) && (1..=31).contains(&day);
    let is_time = hour < 24 && minute < 60 && second < 60;
    (is_date && is_time)
        .then(|| days_since_1970(year, month, day) * 86_400 + hour * 3600 + minute * 60 + second)
}

/// Number of days from 1970-01-01 to a date of the Gregorian calendar. In this computation years start in
/// March, so that the leap day is their last day; month `m`, from 0, then starts `(153 m + 2) / 5` days into
/// the year.
fn days_since_1970(year: i64, month: i64, day: i64) -> i64 {
    let (year, month) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    let leap_days = year / 4 - year / 100 + year / 400;
    const MARCH_OF_YEAR_0_TO_1970: i64 = 719_468;
    365 * year + leap_days + (153 * month + 2) / 5 + day - 1 - MARCH_OF_YEAR_0_TO_1970
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unix_times_are_those_of_the_calendar() {
        // The expected value was computed by GNU coreutils: `date -u -d '...' +%s`.
        assert_eq!(clock_s("2024-05-01T10:15:00.000000Z"), Some(1_714_558_500));
        assert_eq!(clock_s("2024-02-29 23:59:59"), Some(1_709_251_199));
        assert_eq!(clock_s("2001-01-01T00:00:00Z"), Some(978_307_200));
    }

    #[test]
    fn names_with_a_date_and_time_give_the_time() {
        let expected = clock_s("2024-05-01T10:15:00Z");
        for name in
            ["20240501101500", "REC_20240501_101500_2", "cam2-2024-05-01-10-15-00", "2024_0501_101500_001"]
        {
            assert_eq!(clock_s(name), expected, "{name}");
        }
    }

    #[test]
    fn numbers_that_are_not_a_date_are_ignored() {
        for name in
            ["PICT0007", "", "20241301_101500", "20240501_256000", "19700101000000", "123456789012345"]
        {
            assert_eq!(clock_s(name), None, "{name}");
        }
    }

    #[test]
    fn only_times_of_the_same_kind_are_compared() {
        let path = Path::new("20240501_101500.mov");
        let both = RecordingTime::new(Some("2024-05-01T08:15:00Z"), path);
        let by_name = RecordingTime::new(None, Path::new("20240501_102000.mov"));
        assert_eq!(both.seconds_until(&by_name), Some(300.0));
        assert_eq!(by_name.seconds_until(&both), None);
        assert_eq!(both.seconds_until(&RecordingTime::new(None, Path::new("b.mov"))), None);
    }
}
