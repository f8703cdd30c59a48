//! Shifts the labelled texts of a group until the cuts of each character agree best.

use std::collections::BTreeSet;

use crate::learn::cut::character::{CharacterCut, TextPosition, cut_text};
use crate::learn::cut::similarity::{CharacterSums, row_shares, shared_energy};
use crate::learn::group::size_group::SizeGroup;
use crate::learn::layout::text_layout::TextLayout;

/// Maximum shift of a text along its line, in half working pixels (set by judgement).
const MAX_SHIFT_HALF_PX: i32 = 5;

/// Maximum distance by which a region's texts move up or down in one iteration, in rows of working pixels (set by
/// judgement). In the first iteration of [`aligned_cuts`] the maximum is half the height of a cell instead, since
/// structures in the scene disturb the measured rows.
const MAX_SHIFT_ROWS: isize = 2;

/// Number of iterations of averaging and shifting (set by judgement).
const ITERATIONS: usize = 4;

/// Minimum relative gain in shared energy for moving the texts of all regions of a group by one common distance.
/// Chosen on the rendered clip `bitmap` of benches/world, which gains 0.066 when its cells are 1.5 pixels off; most
/// other clips gain 0.04 or less.
const MIN_COMMON_SHIFT_GAIN: f32 = 0.05;

/// Minimum number of cuts for moving the texts of all regions of a group together. With fewer cuts, a pair of digits
/// that occurs several times side by side can cause an equal gain by chance (chosen on the rendered clip `bitmap` of
/// benches/world).
const MIN_COMMON_SHIFT_CUTS: usize = 60;

/// Minimum gain in agreement for a new position to replace the present one, in the unit of the compared agreement (a
/// sum of correlations, shared energy or share of strokes). It prevents changes due to rounding errors (set by
/// judgement).
const MIN_SHIFT_GAIN: f32 = 1e-4;

/// Cuts all characters of a group according to a layout, and aligns them to each other. The rows of each
/// region's text are searched up to half the height of a cell up and down.
pub(crate) fn aligned_cuts(group: &SizeGroup<'_>, layout: &TextLayout) -> Vec<CharacterCut> {
    TextAlignment::aligned(group, layout, group.rows as isize / 2).into_cuts()
}

/// Cuts all characters of a group according to a layout, and aligns them to each other. The rows of each
/// region's text are already known, and move by at most [`MAX_SHIFT_ROWS`] rows in one iteration.
pub(crate) fn aligned_cuts_at_known_rows(group: &SizeGroup<'_>, layout: &TextLayout) -> Vec<CharacterCut> {
    TextAlignment::aligned(group, layout, MAX_SHIFT_ROWS).into_cuts()
}

/// Moves the texts of all regions of a group sideways by the same distance, to where the shared energy is greatest.
/// Alignment only moves texts onto each other, so it does not notice if all cells miss the same column of the
/// strokes.
pub(crate) fn shift_lines_together(group: &SizeGroup<'_>, layout: &mut TextLayout) {
    let texts = TextAlignment::aligned(group, layout, group.rows as isize / 2);
    if texts.cuts.iter().flatten().map(Vec::len).sum::<usize>() < MIN_COMMON_SHIFT_CUTS {
        return;
    }
    let energy = |half_px: i32| texts.energy_shifted(0.5 * half_px as f32);
    let best = best_by(-MAX_SHIFT_HALF_PX..=MAX_SHIFT_HALF_PX, 0, energy);
    if energy(best) > (1.0 + MIN_COMMON_SHIFT_GAIN) * energy(0) {
        layout.lines.iter_mut().for_each(|line| line.position += 0.5 * best as f32);
    }
}

/// The labelled texts of a group, cut at their present positions.
struct TextAlignment<'a> {
    group: &'a SizeGroup<'a>,
    layout: &'a TextLayout,
    /// For each region, the window's row at which its cells begin.
    tops: Vec<usize>,
    /// Shift of each text of each region, in working pixels.
    shifts: Vec<Vec<f32>>,
    /// The cuts of each text of each region.
    cuts: Vec<Vec<Vec<CharacterCut>>>,
    sums: CharacterSums,
}

impl<'a> TextAlignment<'a> {
    fn unshifted(group: &'a SizeGroup<'a>, layout: &'a TextLayout) -> Self {
        let tops: Vec<usize> = group.regions.iter().map(|region| region.top).collect();
        let shifts: Vec<Vec<f32>> =
            group.regions.iter().map(|region| vec![0.0; region.examples.len()]).collect();
        let text = |region: usize, example| {
            cut_text(group, layout, TextPosition { region, example, top: tops[region], shift: 0.0 })
        };
        let of_region =
            |region: usize| (0..shifts[region].len()).map(|example| text(region, example)).collect();
        let cuts: Vec<Vec<Vec<CharacterCut>>> = (0..tops.len()).map(of_region).collect();
        let mut sums = CharacterSums::default();
        cuts.iter().flatten().for_each(|cuts| sums.add(cuts));
        Self { group, layout, tops, shifts, cuts, sums }
    }

    /// Shifts texts and regions until the cuts of each character agree best. `max_rows` limits the number of
    /// rows by which a region moves in the first iteration.
    fn aligned(group: &'a SizeGroup<'a>, layout: &'a TextLayout, max_rows: isize) -> Self {
        let mut texts = Self::unshifted(group, layout);
        for iteration in 0..ITERATIONS {
            let max_rows = if iteration == 0 { max_rows } else { MAX_SHIFT_ROWS };
            for region in 0..group.regions.len() {
                texts.move_region(region, max_rows);
                for example in 0..group.regions[region].examples.len() {
                    texts.shift_text(region, example);
                }
            }
        }
        texts.align_components_by_rows();
        texts
    }

    fn into_cuts(self) -> Vec<CharacterCut> {
        self.cuts.into_iter().flatten().flatten().collect()
    }

    /// The shared energy if all cells are shifted to the right by `right` working pixels.
    fn energy_shifted(&self, right: f32) -> f32 {
        let regions = self.tops.iter().enumerate();
        let cuts = regions.flat_map(|(region, top)| self.cuts_of(region, *top, right));
        let cuts: Vec<CharacterCut> = cuts.flatten().collect();
        shared_energy(self.group, &cuts)
    }

    fn cut_at(&self, region: usize, example: usize, top: usize, shift: f32) -> Vec<CharacterCut> {
        cut_text(self.group, self.layout, TextPosition { region, example, top, shift })
    }

    /// Moves a region's texts up or down by at most `max_rows` rows of working pixels, to where their features agree
    /// best with those of the other regions' texts.
    fn move_region(&mut self, region: usize, max_rows: isize) {
        self.cuts[region].iter().for_each(|cuts| self.sums.remove(cuts));
        let now = self.tops[region] as isize;
        let candidates = (now - max_rows..=now + max_rows).filter(|top| *top >= 0).map(|top| top as usize);
        let agreement_at = |top: usize| -> f32 {
            self.cuts_of(region, top, 0.0).iter().map(|cuts| self.sums.correlation_sum(cuts)).sum()
        };
        let top = best_by(candidates, self.tops[region], agreement_at);
        self.move_to(region, top);
        self.cuts[region].iter().for_each(|cuts| self.sums.add(cuts));
    }

    /// Moves texts up or down that cannot be aligned by shared digits. The component of regions with the most texts
    /// stays in place (see [`components_by_shared_digits`](Self::components_by_shared_digits)). The texts of each
    /// other component move together, to where their strokes are distributed over the rows of the cells most like
    /// those of the first. This works because all digits are equally high.
    fn align_components_by_rows(&mut self) {
        let mut components = self.components_by_shared_digits();
        let count_texts =
            |component: &Vec<usize>| component.iter().map(|region| self.cuts[*region].len()).sum::<usize>();
        let largest = (0..components.len()).max_by_key(|index| count_texts(&components[*index]));
        let Some(largest) = largest.filter(|_| components.len() > 1) else { return };
        let main = components.swap_remove(largest);
        let by_main = row_shares(main.iter().flat_map(|region| self.cuts[*region].iter().flatten()));
        let max_rows = self.group.rows as isize / 4;
        for component in components {
            let top_at = |region: usize, down: isize| self.tops[region].saturating_add_signed(down);
            let similarity = |down: isize| {
                let cuts =
                    component.iter().flat_map(|region| self.cuts_of(*region, top_at(*region, down), 0.0));
                let shares = row_shares(&cuts.flatten().collect::<Vec<_>>());
                by_main.iter().zip(&shares).map(|(one, other)| one.min(*other)).sum::<f32>()
            };
            let down = best_by(-max_rows..=max_rows, 0, similarity);
            let tops: Vec<usize> = component.iter().map(|region| top_at(*region, down)).collect();
            component.into_iter().zip(tops).for_each(|(region, top)| self.move_to(region, top));
        }
    }

    /// Connected components of the regions; two regions that share a digit are connected.
    fn components_by_shared_digits(&self) -> Vec<Vec<usize>> {
        let digits = |region: usize| -> BTreeSet<char> {
            let characters = self.cuts[region].iter().flatten().map(|cut| cut.character);
            characters.filter(char::is_ascii_digit).collect()
        };
        let mut components: Vec<(BTreeSet<char>, Vec<usize>)> = Vec::new();
        for region in 0..self.cuts.len() {
            let mut merged = (digits(region), vec![region]);
            let (joined, others): (Vec<_>, Vec<_>) =
                components.into_iter().partition(|(known, _)| !known.is_disjoint(&merged.0));
            for (digits, regions) in joined {
                merged.0.extend(digits);
                merged.1.extend(regions);
            }
            components = others;
            components.push(merged);
        }
        components.into_iter().map(|(_, regions)| regions).collect()
    }

    /// The cuts of a region's texts with the cells at row `top`, shifted to the right by `right` working pixels.
    fn cuts_of(&self, region: usize, top: usize, right: f32) -> Vec<Vec<CharacterCut>> {
        let texts = self.shifts[region].iter().enumerate();
        texts.map(|(example, shift)| self.cut_at(region, example, top, shift + right)).collect()
    }

    /// Moves a region's cells to row `top`.
    fn move_to(&mut self, region: usize, top: usize) {
        self.cuts[region] = self.cuts_of(region, top, 0.0);
        self.tops[region] = top;
    }

    /// Shifts a text horizontally to where its features agree best with those of all other texts.
    fn shift_text(&mut self, region: usize, example: usize) {
        self.sums.remove(&self.cuts[region][example]);
        let (top, now) = (self.tops[region], self.shifts[region][example]);
        let candidates = (-MAX_SHIFT_HALF_PX..=MAX_SHIFT_HALF_PX).map(|half_px| 0.5 * half_px as f32);
        let agreement_at = |shift| self.sums.correlation_sum(&self.cut_at(region, example, top, shift));
        let shift = best_by(candidates, now, agreement_at);
        self.cuts[region][example] = self.cut_at(region, example, top, shift);
        self.shifts[region][example] = shift;
        self.sums.add(&self.cuts[region][example]);
    }
}

/// The candidate with the highest `agreement`, or `now` if no candidate is better by [`MIN_SHIFT_GAIN`].
fn best_by<T: Copy>(candidates: impl Iterator<Item = T>, now: T, agreement: impl Fn(T) -> f32) -> T {
    let mut best = (agreement(now), now);
    for candidate in candidates {
        let value = agreement(candidate);
        if value > best.0 + MIN_SHIFT_GAIN {
            best = (value, candidate);
        }
    }
    best.1
}

#[cfg(test)]
#[path = "align_texts_tests.rs"]
mod tests;
