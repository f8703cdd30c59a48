//! The proof of a lesson: the told readings, read with the shapes learnt from them.

use super::{Contradiction, ToldMoment};
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
    use super::*;

    #[test]
    fn one_reading_misread_is_noise_and_several_are_a_wrong_lesson() {
        for (otherwise, told, wrong) in
            [(0, 10, false), (1, 2, false), (2, 10, true), (2, 12, false), (3, 12, true), (10, 10, true)]
        {
            assert_eq!(is_wrong(otherwise, told), wrong, "{otherwise} of {told}");
        }
    }
}
