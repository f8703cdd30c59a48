//! A guess at what a readout shows, from its length, its point and its changes.
//!
//! Common practice, no source: of the values with a decimal point the pack voltage changes
//! least; of those without, speed is two or three digits long and changes most, satellites are
//! two digits that seldom change, and a throttle flown in steps keeps its last digit.

use super::ghost::Ghost;
use super::lines::{SPREAD_PX, Span};
use super::plane::quantile;
use super::readout::Readout;
use crate::channel::Channel;

/// Width of a digit with the space to the next, in heights of a digit.
const DIGIT_PITCH: f32 = 0.75;
/// Readouts that change in more of the steps than this are no count of satellites.
const SELDOM: f32 = 0.7;
/// Above a point there is less ink than this share of what columns usually have there.
const BARE: f32 = 0.3;
/// At the height of a point there is more ink than this share of the usual.
const INKED: f32 = 0.35;

/// The channel of each readout, in their order; unknown ones are `channel-1`, `channel-2` and so
/// on.
pub(super) fn guess_channels(ghost: &Ghost, readouts: &[Readout]) -> Vec<Channel> {
    let traits: Vec<Traits> = readouts.iter().map(|readout| Traits::of(ghost, readout)).collect();
    let mut channels: Vec<Option<Channel>> = vec![None; readouts.len()];
    let rules: [(Channel, fn(&Traits) -> Option<f32>); 4] = [
        (Channel::Voltage, Traits::like_voltage),
        (Channel::Speed, Traits::like_speed),
        (Channel::Throttle, Traits::like_throttle),
        (Channel::Satellites, Traits::like_satellites),
    ];
    for (channel, likeness) in rules {
        let free = channels.iter_mut().zip(&traits).filter(|(taken, _)| taken.is_none());
        let fitting = free.filter_map(|(slot, traits)| Some((slot, likeness(traits)?)));
        if let Some((slot, _)) = fitting.max_by(|one, other| one.1.total_cmp(&other.1)) {
            *slot = Some(channel);
        }
    }
    let mut unknown = 0;
    channels
        .into_iter()
        .map(|channel| {
            channel.unwrap_or_else(|| {
                unknown += 1;
                Channel::Other(format!("channel-{unknown}"))
            })
        })
        .collect()
}

/// What tells one readout from another.
struct Traits {
    digits: f32,
    point: bool,
    changed: f32,
    last_stays: bool,
}

impl Traits {
    fn of(ghost: &Ghost, readout: &Readout) -> Self {
        let width = readout.span.width().saturating_sub(2 * SPREAD_PX) as f32;
        let height = readout.span.height().saturating_sub(2 * SPREAD_PX).max(1) as f32;
        Self {
            digits: width / (DIGIT_PITCH * height),
            point: has_point(ghost, readout.span),
            changed: readout.agreement.changed,
            last_stays: readout.last_stays,
        }
    }

    fn like_voltage(&self) -> Option<f32> {
        (self.point && self.changed > 0.0).then_some(-self.changed)
    }

    fn like_speed(&self) -> Option<f32> {
        (!self.point && !self.last_stays && (1.5..4.0).contains(&self.digits)).then_some(self.changed)
    }

    fn like_throttle(&self) -> Option<f32> {
        (!self.point && self.last_stays && (1.4..4.0).contains(&self.digits)).then_some(-self.changed)
    }

    fn like_satellites(&self) -> Option<f32> {
        (!self.point && self.digits < 2.6 && self.changed < SELDOM).then_some(-self.changed)
    }
}

/// Whether between two digits there is ink near the base line only.
fn has_point(ghost: &Ghost, span: Span) -> bool {
    let rows = span.height();
    let middle = span.top + rows / 2;
    let base = span.bottom - rows * 2 / 5;
    let ink = |from: u32, to: u32, x: u32| -> f32 {
        (from..to).map(|y| ghost.fine.at(x as usize, y as usize)).sum()
    };
    let columns = |from: u32, to: u32| (span.left..span.right).map(move |x| ink(from, to, x));
    let (above, below): (Vec<f32>, Vec<f32>) =
        (columns(span.top, middle).collect(), columns(base, span.bottom).collect());
    let usual_above = quantile(&mut above.clone(), 0.6);
    let usual_below = quantile(&mut below.clone(), 0.6);
    let margin = (rows / 3) as usize;
    let inner = above.len().saturating_sub(2 * margin);
    above
        .iter()
        .zip(&below)
        .skip(margin)
        .take(inner)
        .any(|(above, below)| *above < BARE * usual_above && *below > INKED * usual_below)
}
