//! The form of a labelled text: whether the region's setup allows it.

use thiserror::Error;

use super::LabelledReading;
use crate::glyphs::CHARACTERS;
use crate::setup::{Region, Separator};

/// Why a label cannot be a text of its region.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LabelFormatError {
    /// The setup has no region for the channel.
    #[error("the setup marks no region for this channel; it marks {marked}")]
    UnknownChannel {
        /// The channels marked.
        marked: String,
    },
    /// The text holds characters that no readout shows.
    #[error("a reading holds only the characters {CHARACTERS}")]
    UnusableText,
    /// The text has another number of digits than the setup gives.
    #[error(
        "the label has {labelled}, but the setup says {key} = {wanted} for {channel}: if the overlay shows this text, \
         set {key} = {fix} there; else label the text as shown, its decimal point included"
    )]
    OtherForm {
        /// The channel.
        channel: String,
        /// Digits of the label.
        labelled: String,
        /// The key of the setup.
        key: &'static str,
        /// Its value.
        wanted: u8,
        /// The value that the label needs.
        fix: usize,
    },
    /// The text and the region's unit disagree on a colon.
    #[error(
        "a readout of unit = \"min:s\" shows minutes, a colon and two digits of seconds, and no other shows a colon: \
         label the text as shown, or fix the unit of {channel} in the setup"
    )]
    NoClock {
        /// The channel.
        channel: String,
    },
}

/// Checks the form of a label; a text of another form would never be read.
///
/// # Errors
/// [`LabelFormatError`] says what is wrong and what to do.
pub(super) fn check(regions: &[Region], label: &LabelledReading) -> Result<(), LabelFormatError> {
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
    let digits = |text: &str| text.chars().filter(char::is_ascii_digit).count();
    let channel = || region.channel.name().to_owned();
    let Separator { character: mark, digits_after: wanted_after } = region.separator();
    let after = label.text.split_once(mark).map_or(0, |(_, after)| digits(after));
    let all = digits(&label.text);
    if (mark == ':' && after != usize::from(wanted_after)) || label.text.contains(':') != (mark == ':') {
        return Err(LabelFormatError::NoClock { channel: channel() });
    }
    let other = |count: usize, place: &str, key: &'static str, wanted: u8| {
        let noun = if count == 1 { "digit" } else { "digits" };
        let labelled = format!("{count} {noun}{place}");
        Err(LabelFormatError::OtherForm { channel: channel(), labelled, key, wanted, fix: count })
    };
    if after != usize::from(wanted_after) {
        return other(after, " after the point", "decimals", wanted_after);
    }
    match region.digits {
        Some(digits) if all > usize::from(digits) => other(all, "", "digits", digits),
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
        let place = PixelRect { left: 0, top: 0, width: 40, height: 20 };
        let region = Region { digits: Some(digits), decimals, ..Region::new(Channel::Voltage, place, None) };
        check(&[region], &LabelledReading { channel: Channel::Voltage, time_s: 12.0, text: text.to_owned() })
    }

    #[test]
    fn a_text_of_another_form_than_the_setup_says_is_rejected_with_the_fix() {
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
    fn shorter_and_signed_texts_of_the_form_of_the_setup_are_taken() {
        for (text, digits, decimals) in [("23.9", 3, 1), ("9.9", 3, 1), ("-12.5", 3, 1), ("7", 3, 0)] {
            assert_eq!(checked(text, digits, decimals), Ok(()), "{text}");
        }
    }
}
