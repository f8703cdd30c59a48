//! The proof of a lesson: the told readings, read with the shapes learnt from them.

use super::{Contradiction, Told, ToldMoment};
use crate::recognise::{Recogniser, SURE, Shown};
use crate::setup::Region;

/// Told readings of a channel that are surely read otherwise from which on the lesson is wrong, and their share of all
/// told for it: noise alone misreads one here and there.
const LEAST_MISREAD: usize = 2;
const LEAST_SHARE: f32 = 0.2;

/// One contradiction for every channel whose told readings are read otherwise.
pub(super) fn misread(
    regions: &[Region],
    moments: &[ToldMoment],
    recogniser: &Recogniser,
) -> Vec<Contradiction> {
    let of_region = |(number, region): (usize, &Region)| {
        let told: Vec<&ToldMoment> =
            moments.iter().filter(|moment| moment.told.channel == region.channel).collect();
        let otherwise: Vec<(&ToldMoment, String)> = told
            .iter()
            .filter_map(|moment| match recogniser.read_patch(number, &moment.centre) {
                Shown::Text { text, confidence, .. } if confidence > SURE && text != moment.told.text => {
                    Some((*moment, text))
                }
                _ => None,
            })
            .collect();
        is_wrong(otherwise.len(), told.len()).then(|| contradiction(&otherwise, told.len())).flatten()
    };
    regions.iter().enumerate().filter_map(of_region).collect()
}

/// Other tellings of each of its digits from which on a reading that is read as told cannot have taught the digits to
/// look so.
const LEAST_OTHERS: usize = 2;

/// The contradictions left once those are dropped whose readings the shapes learnt surely read as told: under heavy noise
/// true pictures of one digit differ as much as those of two, which the mean of many no longer do.
pub(super) fn unrefuted(
    mut found: Vec<Contradiction>,
    regions: &[Region],
    moments: &[ToldMoment],
    recogniser: &Recogniser,
) -> Vec<Contradiction> {
    let is_read_as_told = |told: &Told| {
        let number = regions.iter().position(|region| region.channel == told.channel);
        let moment = moments.iter().find(|moment| moment.told == *told);
        number.zip(moment).is_some_and(|(number, moment)| {
            let shown = recogniser.read_patch(number, &moment.centre);
            matches!(shown, Shown::Text { text, confidence, .. } if confidence > SURE && text == told.text)
        })
    };
    let is_proven = |told: &Told| is_known_elsewhere(told, moments) && is_read_as_told(told);
    found.retain(|one| !(is_proven(&one.suspect) && one.witness.as_ref().is_none_or(is_proven)));
    found
}

/// Whether every digit of a reading is told in enough others too.
fn is_known_elsewhere(told: &Told, moments: &[ToldMoment]) -> bool {
    let others = |digit: char| {
        let others = moments.iter().filter(|moment| moment.told != *told);
        others.filter(|moment| moment.told.text.contains(digit)).count()
    };
    told.text.chars().filter(char::is_ascii_digit).all(|digit| others(digit) >= LEAST_OTHERS)
}

fn is_wrong(otherwise: usize, told: usize) -> bool {
    otherwise >= LEAST_MISREAD && otherwise as f32 >= LEAST_SHARE * told as f32
}

fn contradiction(otherwise: &[(&ToldMoment, String)], told: usize) -> Option<Contradiction> {
    let (ToldMoment { told: first, .. }, text) = otherwise.first()?;
    let channel = first.channel.name();
    let message = format!(
        "the shapes learnt read {text} in {channel}@{}={}, and {} of the {told} readings told for {channel} otherwise than \
         told: look at its box, which should hold the widest value and little else, and tell moments where it stands \
         out plainly",
        first.time_s,
        first.text,
        otherwise.len()
    );
    Some(Contradiction { message, suspect: first.clone(), witness: None })
}

#[cfg(test)]
mod tests {
    use image::GrayImage;

    use super::*;
    use crate::channel::Channel;
    use crate::recognise::Patch;
    use crate::setup::PixelBox;

    fn moment(time_s: f64, text: &str) -> ToldMoment {
        let told = Told { channel: Channel::Speed, time_s, text: text.to_owned() };
        let place = PixelBox { x: 10, y: 10, width: 20, height: 20 };
        let centre = Patch::of(&GrayImage::new(40, 40), place, time_s);
        ToldMoment { told, centre, before: Vec::new(), after: Vec::new() }
    }

    #[test]
    fn a_reading_can_be_proven_only_where_each_of_its_digits_is_told_twice_elsewhere() {
        let moments = [moment(1.0, "117"), moment(2.0, "71"), moment(3.0, "17"), moment(4.0, "119")];
        let known = |number: usize| is_known_elsewhere(&moments[number].told, &moments);
        assert!(known(0), "1 and 7 stand in two others");
        assert!(!known(3), "no other has a 9");
    }

    #[test]
    fn one_reading_misread_is_noise_and_several_are_a_wrong_lesson() {
        for (otherwise, told, wrong) in
            [(0, 10, false), (1, 2, false), (2, 10, true), (2, 12, false), (3, 12, true), (10, 10, true)]
        {
            assert_eq!(is_wrong(otherwise, told), wrong, "{otherwise} of {told}");
        }
    }
}
