//! The count of digits: whether as many stand in a box as were told.

use super::layout::{Layout, Line, RegionInk, ToldInk, advance, best_line, text_cost};
use super::{Contradiction, Group, Region, ToldRegion, region_ink};
use crate::recognise::grammar::is_mark;

/// A text of another length must fit this much better, in the measure of the layout's cost.
const PLAIN_LEAD: f32 = 0.5;
/// A line may stand so many half working pixels off the line of the other texts.
const OFF_HALF_PX: i32 = 3;
/// Most digits of a text whose setup does not say.
const MOST_DIGITS: usize = 5;

/// The told readings whose boxes seem to show more or fewer digits than told, the plainest first.
pub(super) fn miscounted(group: &Group<'_>, layout: &Layout) -> Vec<Contradiction> {
    let mut found: Vec<(f32, Contradiction)> = Vec::new();
    for told in &group.regions {
        let ink = region_ink(told, group.rows);
        for number in 0..ink.told.len() {
            if let Some((lead, shown)) = other_count(told.region, &ink, number, layout) {
                found.push((lead, contradiction(told, number, shown)));
            }
        }
    }
    found.sort_by(|one, other| other.0.total_cmp(&one.0));
    found.into_iter().map(|(_, contradiction)| contradiction).collect()
}

/// The count of digits that fits better than the one told, and by how much.
fn other_count(region: &Region, ink: &RegionInk, number: usize, layout: &Layout) -> Option<(f32, usize)> {
    let reading = ink.told.get(number)?;
    let mut others = ink.told.clone();
    others.remove(number);
    // A single text may stand anywhere; beside others it must stand on their line.
    let lines = lines_of(others, layout);
    let cost = |text: String| {
        let reading = ToldInk { text, ink: reading.ink.clone() };
        cost_on(&lines, reading, layout)
    };
    let as_told = cost(reading.text.clone()).unwrap_or(f32::INFINITY);
    let sign = usize::from(reading.text.starts_with('-'));
    let whole = reading.text.split(is_mark).next().map_or(0, str::len) - sign;
    let decimals = usize::from(region.parted().1);
    let most = region.digits.map_or(MOST_DIGITS, usize::from).saturating_sub(decimals).max(1);
    let rest = reading.text.get(sign + whole..).unwrap_or_default();
    let minus = reading.text.get(..sign).unwrap_or_default();
    (1..=most)
        .filter(|count| *count != whole)
        .filter_map(|count| {
            let lead = as_told - cost(format!("{minus}{}{rest}", "0".repeat(count)))?;
            (lead > PLAIN_LEAD).then_some((lead, count + decimals))
        })
        .max_by(|one, other| one.0.total_cmp(&other.0))
}

/// The lines that texts may stand on; texts of one length do not tell which end stays put.
fn lines_of(told: Vec<ToldInk>, layout: &Layout) -> Vec<Line> {
    let text = told.first().map(|told| told.text.clone()).unwrap_or_default();
    let one_length = told.iter().all(|told| told.text.len() == text.len());
    let best = best_line(&RegionInk { told }, layout.pitch, layout.point);
    let Some((line, _)) = best else { return Vec::new() };
    let width: f32 = text.chars().map(|letter| advance(letter, layout.pitch, layout.point)).sum();
    let by_other_end = Line {
        right_aligned: !line.right_aligned,
        position: line.position + if line.right_aligned { -width } else { width },
    };
    let mut lines = vec![line];
    lines.extend(one_length.then_some(by_other_end));
    lines
}

/// The least cost of a text on one of some lines; anywhere where there are none.
fn cost_on(lines: &[Line], reading: ToldInk, layout: &Layout) -> Option<f32> {
    if lines.is_empty() {
        let alone = RegionInk { told: vec![reading] };
        return best_line(&alone, layout.pitch, layout.point).map(|(_, cost)| cost);
    }
    let places = lines.iter().flat_map(|line| {
        (-OFF_HALF_PX..=OFF_HALF_PX).map(|off| Line { position: line.position + 0.5 * off as f32, ..*line })
    });
    places.filter_map(|line| text_cost(&reading, &line, layout.pitch, layout.point)).min_by(f32::total_cmp)
}

fn contradiction(told: &ToldRegion<'_>, number: usize, shown: usize) -> Contradiction {
    let suspect = told.moments[number].told.clone();
    let digits = suspect.text.chars().filter(char::is_ascii_digit).count();
    let message = format!(
        "{}@{}={}: {digits} digits are told, but {shown} seem to stand in the box",
        suspect.channel.name(),
        suspect.time_s,
        suspect.text
    );
    Contradiction { message, suspect, witness: None }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::channel::Channel;
    use crate::setup::PixelBox;

    const LAYOUT: Layout = Layout { pitch: 10.0, point: 4.0, lines: Vec::new(), cost: 0.0 };

    /// The strokes of so many digits, right-aligned at column 50, told as a text.
    fn told(text: &str, shown: usize) -> ToldInk {
        let mut ink = vec![0.0; 60];
        for digit in 0..shown {
            let left = 50 - 10 * (digit + 1);
            ink[left + 2..left + 9].fill(1.0 / (7 * shown) as f32);
        }
        ToldInk { text: text.to_owned(), ink }
    }

    fn counted(told: Vec<ToldInk>) -> Option<usize> {
        let place = PixelBox { x: 0, y: 0, width: 48, height: 20 };
        let region = Region { digits: Some(3), ..Region::new(Channel::Speed, place, None) };
        let last = told.len() - 1;
        other_count(&region, &RegionInk { told }, last, &LAYOUT).map(|(_, count)| count)
    }

    #[test]
    fn a_digit_left_out_or_doubled_is_noticed() {
        assert_eq!(counted(vec![told("96", 2), told("104", 3), told("11", 3)]), Some(3));
        assert_eq!(counted(vec![told("96", 2), told("104", 3), told("888", 2)]), Some(2));
        assert_eq!(counted(vec![told("11", 3)]), Some(3));
    }

    #[test]
    fn as_many_digits_as_are_shown_are_right() {
        assert_eq!(counted(vec![told("96", 2), told("104", 3), told("116", 3)]), None);
        assert_eq!(counted(vec![told("104", 3), told("88", 2)]), None);
        assert_eq!(counted(vec![told("88", 2)]), None);
    }
}
