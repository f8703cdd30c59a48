//! Blame: which told reading is wrong, where some contradict each other.
//!
//! One slip can make several right readings look wrong: it moves the layout, or its shape is taken for
//! what is usual. The slip is the reading without which the others agree; the reading told last is tried
//! first, since what was told before was found to agree.

use super::{Contradiction, TeachError, ToldMoment};

/// Most readings left out in turn.
const MOST_TRIED: usize = 12;

/// The contradictions, headed by the one that names the reading without which the others agree.
pub(super) fn blamed(
    found: Vec<Contradiction>,
    moments: &[ToldMoment],
    without: impl Fn(&[ToldMoment]) -> Result<Vec<Contradiction>, TeachError>,
) -> Vec<Contradiction> {
    if found.is_empty() || moments.len() < 3 {
        return found;
    }
    let clears = |number: &usize| {
        let mut others = moments.to_vec();
        others.remove(*number);
        without(&others).is_ok_and(|found| found.is_empty())
    };
    let culprit = in_order_tried(&found, moments).into_iter().take(MOST_TRIED).find(clears);
    match culprit.and_then(|number| moments.get(number)) {
        Some(culprit) => headed_by(found, culprit),
        None => found,
    }
}

/// The readings named, the one told last first, then the others.
fn in_order_tried(found: &[Contradiction], moments: &[ToldMoment]) -> Vec<usize> {
    let named = |number: &usize| {
        let told = &moments[*number].told;
        found.iter().any(|one| one.suspect == *told || one.witness.as_ref() == Some(told))
    };
    let last_first = (0..moments.len()).rev();
    let (mut named, others): (Vec<usize>, Vec<usize>) = last_first.partition(named);
    named.extend(others);
    named
}

fn headed_by(mut found: Vec<Contradiction>, culprit: &ToldMoment) -> Vec<Contradiction> {
    let told = &culprit.told;
    if let Some(place) = found.iter().position(|one| one.suspect == *told) {
        found[..=place].rotate_right(1);
        return found;
    }
    let said = format!("{}@{}={}", told.channel.name(), told.time_s, told.text);
    let message = match found.iter().find(|one| one.witness.as_ref() == Some(told)) {
        Some(one) => {
            format!("{said} is probably told wrongly: without it the others agree ({})", one.message)
        }
        None => format!("{said} is probably told wrongly: without it the others agree"),
    };
    found.insert(0, Contradiction { message, suspect: told.clone(), witness: None });
    found
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use image::GrayImage;

    use super::*;
    use crate::channel::Channel;
    use crate::recognise::Patch;
    use crate::setup::PixelBox;
    use crate::teach::Told;

    fn moment(time_s: f64) -> ToldMoment {
        let told = Told { channel: Channel::Speed, time_s, text: "84".to_owned() };
        let place = PixelBox { x: 10, y: 10, width: 20, height: 20 };
        let centre = Patch::of(&GrayImage::new(40, 40), place, time_s);
        ToldMoment { told, centre, before: Vec::new(), after: Vec::new() }
    }

    fn at_odds(suspect: &ToldMoment, witness: &ToldMoment) -> Contradiction {
        let (suspect, witness) = (suspect.told.clone(), Some(witness.told.clone()));
        Contradiction { message: "two shapes".to_owned(), suspect, witness }
    }

    #[test]
    fn the_reading_without_which_the_others_agree_is_blamed_though_another_looks_wrong() {
        let moments: Vec<ToldMoment> = [1.0, 2.0, 3.0, 4.0].map(moment).to_vec();
        let found = vec![at_odds(&moments[0], &moments[1])];
        let without = |left: &[ToldMoment]| {
            let slip_there = left.iter().any(|moment| moment.told.time_s == 3.0);
            Ok(if slip_there { vec![at_odds(&moments[0], &moments[1])] } else { Vec::new() })
        };
        let blamed = blamed(found, &moments, without);
        assert_eq!(blamed[0].suspect.time_s, 3.0);
        assert!(blamed[0].message.contains("speed@3=84"), "{}", blamed[0].message);
    }

    #[test]
    fn of_two_readings_that_may_both_be_wrong_the_one_told_last_is_suspected_first() {
        let moments: Vec<ToldMoment> = [1.0, 2.0, 3.0].map(moment).to_vec();
        let found = vec![at_odds(&moments[0], &moments[2])];
        let blamed = blamed(found, &moments, |left| {
            Ok(if left.len() == 3 { vec![at_odds(&moments[0], &moments[2])] } else { Vec::new() })
        });
        assert_eq!(blamed[0].suspect.time_s, 3.0);
    }
}
