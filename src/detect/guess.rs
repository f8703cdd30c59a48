//! A guess at what a readout shows, from its length, its point and its changes.
//!
//! Common practice, no source: the units of speed are written with two letters or more, so are
//! few others; speed is two or three digits long and changes most. Of the values with a decimal
//! point the pack voltage changes least. Satellites are two digits that seldom change, and a
//! throttle flown in steps keeps its last digit.

use super::ghost::Ghost;
use super::lines::SPREAD_PX;
use super::plane::quantile;
use super::readout::Readout;
use crate::geometry::PixelRect;
use crate::model::channel::Channel;

/// Width of a digit with the space to the next, in heights of a digit.
const DIGIT_PITCH: f32 = 0.75;
/// Fewest places of a value with a point, in digits: two and the point.
const LEAST_WITH_POINT: f32 = 2.2;
/// Least width of two letters, in heights of the line.
const WIDE_UNIT: f32 = 1.1;
/// Readouts that change in more of the steps than this are no count of satellites.
const SELDOM: f32 = 0.7;
/// Above a point there is less ink than this share of what columns usually have there.
const BARE: f32 = 0.3;
/// At the height of a point there is more ink than this share of the usual.
const INKED: f32 = 0.35;
/// Above a point that touches the digits beside it there is less ink than this share of the usual: the
/// foot of a digit is not as free of ink above.
const BARE_THROUGHOUT: f32 = 0.12;
/// Narrowest digit beside such a point, and widest point, in heights of the line: the foot of a 1 stands
/// beside its narrow stem.
const BESIDE_POINT: (f32, f32) = (0.4, 0.4);

/// The channel of each readout, in their order; unknown ones are `channel-1`, `channel-2` and so
/// on.
pub(super) fn guess_channels(ghost: &Ghost, readouts: &[Readout]) -> Vec<Channel> {
    let traits: Vec<Traits> = readouts.iter().map(|readout| Traits::of(ghost, readout)).collect();
    let mut channels: Vec<Option<Channel>> = vec![None; readouts.len()];
    let rules: [(Channel, Likeness); 4] = [
        (Channel::Speed, Traits::like_speed),
        (Channel::Voltage, Traits::like_voltage),
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

/// How well a readout fits a channel, for comparison only; `None` where it does not fit.
type Likeness = fn(&Traits) -> Option<f32>;

/// What tells one readout from another.
struct Traits {
    digits: f32,
    point: bool,
    changed: f32,
    last_stays: bool,
    wide_unit: bool,
}

impl Traits {
    fn of(ghost: &Ghost, readout: &Readout) -> Self {
        let width = readout.span.width.saturating_sub(2 * SPREAD_PX) as f32;
        let height = readout.span.height.saturating_sub(2 * SPREAD_PX).max(1) as f32;
        Self {
            digits: width / (DIGIT_PITCH * height),
            point: point_in(ghost, readout.span).is_some(),
            changed: readout.agreement.changed,
            last_stays: readout.last_stays,
            wide_unit: readout.label >= WIDE_UNIT,
        }
    }

    fn like_voltage(&self) -> Option<f32> {
        (self.point && self.changed > 0.0 && self.digits >= LEAST_WITH_POINT).then_some(-self.changed)
    }

    fn like_speed(&self) -> Option<f32> {
        let possible = self.wide_unit || !self.point && !self.last_stays;
        let preferred = f32::from(u8::from(self.wide_unit));
        (possible && (1.5..4.5).contains(&self.digits)).then_some(preferred + self.changed)
    }

    fn like_throttle(&self) -> Option<f32> {
        (!self.point && self.last_stays && (1.4..4.0).contains(&self.digits)).then_some(-self.changed)
    }

    fn like_satellites(&self) -> Option<f32> {
        (!self.point && self.digits < 2.6 && self.changed < SELDOM).then_some(-self.changed)
    }
}

/// What stands in a column of a readout.
#[derive(Clone, Copy, PartialEq)]
enum Column {
    /// Next to nothing.
    Gap,
    /// Ink near the base line only.
    Foot,
    /// Part of a digit.
    Digit,
}

/// The columns of the last place where between two digits there is ink near the base line only,
/// apart from both: the foot of a 1 hangs on to its stem.
pub(super) fn point_in(ghost: &Ghost, span: PixelRect) -> Option<(u32, u32)> {
    let (columns, above) = columns_of(ghost, span);
    let mut stretches: Vec<(Column, u32, u32)> = Vec::new();
    let mut start = span.left;
    for stretch in columns.chunk_by(|one, next| one == next) {
        let end = start + stretch.len() as u32;
        stretches.extend(stretch.first().map(|kind| (*kind, start, end)));
        start = end;
    }
    let apart = stretches.windows(3).rev().find_map(|three| match three {
        [(Column::Gap, ..), (Column::Foot, start, end), (Column::Gap, ..)] => Some((*start, *end)),
        _ => None,
    });
    apart.or_else(|| touching_point(&stretches, &above, span))
}

/// The last place where the point touches the digits beside it, as outlines in tight type do.
fn touching_point(stretches: &[(Column, u32, u32)], above: &[f32], span: PixelRect) -> Option<(u32, u32)> {
    let height = span.height as f32;
    let usual = quantile(&mut above.to_vec(), 0.6);
    let is_digit = |(kind, start, end): &(Column, u32, u32)| {
        *kind == Column::Digit && (end - start) as f32 >= BESIDE_POINT.0 * height
    };
    let bare = |start: u32, end: u32| {
        let columns = above.iter().skip((start - span.left) as usize).take((end - start) as usize);
        columns.sum::<f32>() < BARE_THROUGHOUT * usual * (end - start) as f32
    };
    let wide =
        |start: u32, end: u32| (2 * SPREAD_PX..=(BESIDE_POINT.1 * height) as u32).contains(&(end - start));
    stretches.windows(3).rev().find_map(|three| match three {
        [before, (Column::Foot, start, end), after]
            if is_digit(before) && is_digit(after) && wide(*start, *end) && bare(*start, *end) =>
        {
            Some((*start, *end))
        }
        _ => None,
    })
}

/// What stands in each column, and the ink of its upper half.
fn columns_of(ghost: &Ghost, span: PixelRect) -> (Vec<Column>, Vec<f32>) {
    let rows = span.height;
    let (middle, base) = (span.top + rows / 2, span.bottom() - rows * 2 / 5);
    let ink = |(from, to): (u32, u32)| -> Vec<f32> {
        let column = |x: u32| (from..to).map(|y| ghost.fine.at(x as usize, y as usize)).sum();
        (span.left..span.right()).map(column).collect()
    };
    let (above, below) = (ink((span.top, middle)), ink((base, span.bottom())));
    let (usual_above, usual_below) = (quantile(&mut above.clone(), 0.6), quantile(&mut below.clone(), 0.6));
    let kind =
        |(above, below): (&f32, &f32)| match (*above < BARE * usual_above, *below > INKED * usual_below) {
            (true, true) => Column::Foot,
            (true, false) => Column::Gap,
            _ => Column::Digit,
        };
    let columns = above.iter().zip(&below).map(kind).collect();
    (columns, above)
}
