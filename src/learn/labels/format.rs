//! Checks whether the setup of a region allows a labelled text.

use thiserror::Error;

use super::reading::LabelledReading;
use crate::glyphs::CHARACTERS;
use crate::setup::{Region, Separator};

/// Why a region cannot show a labelled text.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LabelFormatError {
    /// The setup has no region for the channel.
    #[error("the setup has no region for this channel; label one of the channels that it has: {marked}")]
    UnknownChannel {
        /// Names of the channels with a region, separated by commas.
        marked: String,
    },
    /// The text is empty, or contains characters that no overlay shows in a number.
    #[error("a label may contain only the characters {CHARACTERS}")]
    UnusableText,
    /// The number of digits after the decimal point differs from that in the setup, or the number of all digits is
    /// larger.
    #[error(
        "the label has {labelled}, but the setup says {key} = {wanted} for {channel}: if the overlay shows this text, \
         set {key} = {fix} there; else label the text as shown, its decimal point included"
    )]
    DigitCount {
        /// Name of the channel.
        channel: String,
        /// The number of digits in the label, or of those after the decimal point, in words.
        labelled: String,
        /// Setup key that states the number of digits.
        key: &'static str,
        /// Number of digits that the setup states under this key.
        wanted: u8,
        /// Value to which the key must be set for the label to be valid.
        fix: usize,
    },
    /// The unit is not minutes and seconds, but the text has a colon. Or the unit is minutes and seconds, but the
    /// text has no colon followed by two digits.
    #[error(
        "only a channel with unit = \"min:s\" shows a colon, between the minutes and two digits of seconds: label the \
         text as shown, or correct the unit of {channel} in the setup"
    )]
    Colon {
        /// Name of the channel.
        channel: String,
    },
}

/// Checks a label against the setup. A text of another format would never be reported as a reading.
///
/// # Errors
///
/// [`LabelFormatError`] names the problem and the fix.
pub(crate) fn check(regions: &[Region], label: &LabelledReading) -> Result<(), LabelFormatError> {
    let Some(region) = regions.iter().find(|region| region.channel == label.channel) else {
        let marked: Vec<&str> = regions.iter().map(|region| region.channel.name()).collect();
        return Err(LabelFormatError::UnknownChannel { marked: marked.join(", ") });
    };
    if label.text.is_empty() || !label.text.chars().all(|character| CHARACTERS.contains(character)) {
        return Err(LabelFormatError::UnusableText);
    }
    check_digits(region, label)
}

fn check_digits(region: &Region, label: &LabelledReading) -> Result<(), LabelFormatError> {
    let count_digits = |text: &str| text.chars().filter(char::is_ascii_digit).count();
    let channel = || region.channel.name().to_owned();
    let Separator { character: mark, digits_after: wanted_after } = region.separator();
    let after = label.text.split_once(mark).map_or(0, |(_, after)| count_digits(after));
    let all = count_digits(&label.text);
    if (mark == ':' && after != usize::from(wanted_after)) || label.text.contains(':') != (mark == ':') {
        return Err(LabelFormatError::Colon { channel: channel() });
    }
    let wrong_count = |count: usize, position: &str, key: &'static str, wanted: u8| {
        let noun = if count == 1 { "digit" } else { "digits" };
        let labelled = format!("{count} {noun}{position}");
        Err(LabelFormatError::DigitCount { channel: channel(), labelled, key, wanted, fix: count })
    };
    if after != usize::from(wanted_after) {
        return wrong_count(after, " after the point", "decimals", wanted_after);
    }
    match region.digits {
        Some(digits) if all > usize::from(digits) => wrong_count(all, "", "digits", digits),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::PixelRect;
    use crate::model::channel::Channel;

    fn checked(text: &str, digits: u8, decimals: u8) -> Result<(), LabelFormatError> {
        let rect = PixelRect { left: 0, top: 0, width: 40, height: 20 };
        let region = Region { digits: Some(digits), decimals, ..Region::new(Channel::Voltage, rect, None) };
        let label = LabelledReading { channel: Channel::Voltage, time_s: 12.0, text: text.to_owned() };
        check(&[region], &label)
    }

    #[test]
    fn a_text_with_another_number_of_digits_than_the_setup_is_rejected_with_the_fix() {
        for (text, digits, decimals, fix) in [
            ("239", 3, 1, "decimals = 0"),
            ("24.26", 4, 0, "decimals = 2"),
            ("1166", 3, 0, "digits = 4"),
            ("123.9", 3, 1, "digits = 4"),
        ] {
            let problem = checked(text, digits, decimals).unwrap_err().to_string();
            assert!(problem.contains(&format!("set {fix}")), "{problem}");
        }
    }

    #[test]
    fn a_label_of_another_channel_or_with_a_colon_in_a_number_is_rejected() {
        let rect = PixelRect { left: 0, top: 0, width: 40, height: 20 };
        let label = LabelledReading { channel: Channel::Altitude, time_s: 12.0, text: "115".to_owned() };
        let problem = check(&[Region::new(Channel::Speed, rect, None)], &label).unwrap_err();
        assert_eq!(problem, LabelFormatError::UnknownChannel { marked: "speed".to_owned() });
        let channel = "voltage".to_owned();
        assert_eq!(checked("12:30", 4, 0), Err(LabelFormatError::Colon { channel }));
    }

    #[test]
    fn shorter_and_signed_texts_are_accepted() {
        for (text, digits, decimals) in [("23.9", 3, 1), ("9.9", 3, 1), ("-12.5", 3, 1), ("7", 3, 0)] {
            assert_eq!(checked(text, digits, decimals), Ok(()), "{text}");
        }
    }
}
