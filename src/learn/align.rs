//! Alignment: shifts the characters cut from told readings onto each other.

use std::collections::{BTreeMap, BTreeSet};

use ndarray::{Array2, ArrayView2, s};
use rayon::prelude::*;

use super::group::{Group, ToldRegion};
use super::layout::Layout;
use super::{LabelledReading, Patch, TrainingExample, evidence};
use crate::recognise::HighPass;
use crate::recognise::{correlation, dot, patch_at};

/// Shifts of a whole text tried, in half working pixels.
const SHIFT_HALF_PX: i32 = 5;

/// Rows a region's text may be moved in a round; in the first half a cell's height, since scenery misleads about where
/// its strokes are.
const SHIFT_ROWS: isize = 2;

/// Rounds of averaging and shifting.
const ROUNDS: usize = 4;

/// One character of a told reading.
#[derive(Debug, Clone)]
pub(super) struct CharacterCut {
    pub(super) character: char,
    /// Index of the region in its group.
    pub(super) region: usize,
    /// Index of the moment in the region.
    pub(super) moment: usize,
    /// Place of the reading in the order told.
    pub(super) order: usize,
    /// What was told, for messages.
    pub(super) told: LabelledReading,
    /// Row and column of the cell's top left corner in the window, and its advance.
    pub(super) top: usize,
    pub(super) left: f32,
    pub(super) advance: f32,
    /// Features of the cell.
    pub(super) features: Array2<f32>,
}

impl CharacterCut {
    /// Features of its cell as the group's pictures show it now.
    pub(super) fn features_in(&self, group: &Group<'_>) -> Option<Array2<f32>> {
        let features = group.regions.get(self.region)?.features.get(self.moment)?;
        patch_at(features, self.top, self.left, self.features.dim())
    }
}

/// The told frame and the neighbours that show the same.
pub(super) fn held<'a>(moment: &'a TrainingExample, factor: usize, high_pass: &HighPass) -> Vec<&'a Patch> {
    let features = |patch: &Patch| high_pass.apply(&patch.levels(factor));
    let centre = features(&moment.centre);
    let likeness = |patch: &Patch| correlation(&features(patch), &centre);
    let rated = |patches: &'a [Patch]| -> Vec<(&'a Patch, f32)> {
        patches.iter().map(|patch| (patch, likeness(patch))).collect()
    };
    let (before, after) = (rated(&moment.before), rated(&moment.after));
    let nearest = before.first().into_iter().chain(after.first()).map(|one| one.1).fold(0.0, f32::max);
    let same = |one: &&(&Patch, f32)| one.1 > nearest - 0.06;
    let neighbours = before.iter().take_while(same).chain(after.iter().take_while(same));
    std::iter::once(&moment.centre).chain(neighbours.map(|one| one.0)).collect()
}

/// Mean of the features of pictures of one text.
pub(super) fn mean_features(mut features: impl Iterator<Item = Array2<f32>>) -> Array2<f32> {
    let first = features.next().unwrap_or_default();
    let (sum, count) = features.fold((first, 1.0), |(sum, count), other| (sum + other, count + 1.0_f32));
    sum / count
}

/// The cuts of one told reading.
pub(super) fn text_of(cuts: &[CharacterCut], region: usize, moment: usize) -> Vec<&CharacterCut> {
    cuts.iter().filter(|cut| (cut.region, cut.moment) == (region, moment)).collect()
}

/// Layouts with less in common than another by so much of one text's energy are as good as that, in pictures so plain that
/// cuts of the same character have this mean correlation: under noise, narrow cells agree better whatever they hold.
const AS_GOOD: f32 = 0.1;
const PLAIN: f32 = 0.8;

/// So many of the layouts that are as good are also judged by the shapes of their digits, one unit of mean log probability
/// counting as this correlation: with few labels the cuts of most digits have no others to agree with.
const ASKED_BY_SHAPE: usize = 24;
const SHAPE_WEIGHT: f32 = 0.2;

/// A layout with the cuts it gives.
pub(super) struct LayoutCuts<'a> {
    pub(super) layout: &'a Layout,
    pub(super) cuts: Vec<CharacterCut>,
    /// How much of the pictures' energy the cuts have in common; the energy of one text is 1.
    pub(super) energy: f32,
    /// Mean correlation of two cuts of the same character.
    pub(super) agreement: f32,
    /// The agreement, with how much the digits look like what is labelled where the shape prior was asked.
    likeness: f32,
}

/// Layouts with the cuts they give, those first under which the characters have most in common; of those that have nearly as
/// much, as happens with few labels, the ones under which the cuts of each character agree best and look most like it.
pub(super) fn ranked_cuts<'a>(
    group: &Group<'_>,
    layouts: impl IntoParallelIterator<Item = &'a Layout>,
) -> Vec<LayoutCuts<'a>> {
    let rated = layouts.into_par_iter().map(|layout| {
        let cuts = aligned_cuts(group, layout);
        let (energy, agreement) = (shared_energy(group, &cuts), mean_agreement(&cuts));
        LayoutCuts { layout, cuts, energy, agreement, likeness: agreement }
    });
    let mut all: Vec<LayoutCuts<'_>> = rated.collect();
    all.sort_by(|a, b| b.energy.total_cmp(&a.energy));
    let most = all.first().map_or(0.0, |best| best.energy);
    let as_good = all.partition_point(|rated| rated.energy >= most - AS_GOOD);
    let as_good = &mut all[..as_good];
    if as_good.iter().any(|rated| rated.agreement >= PLAIN) {
        as_good.sort_by(|a, b| b.agreement.total_cmp(&a.agreement));
        let asked = as_good.len().min(ASKED_BY_SHAPE);
        sort_by_shape(&mut as_good[..asked]);
    }
    all
}

/// Sorts layouts by the agreement and by how much the digits look like what is labelled.
fn sort_by_shape(layouts: &mut [LayoutCuts<'_>]) {
    if layouts.len() > 1 {
        layouts.par_iter_mut().for_each(|rated| {
            rated.likeness = rated.agreement + SHAPE_WEIGHT * evidence::mean_log_prior(&rated.cuts);
        });
        layouts.sort_by(|a, b| b.likeness.total_cmp(&a.likeness));
    }
}

/// How much of the pictures' energy the cuts of the same character have in common, the sum over all cuts: each told
/// picture has the energy 1. What two cuts hold of noise and scenery has no products on the average, so that neither wide
/// cells nor narrow ones are preferred.
fn shared_energy(group: &Group<'_>, cuts: &[CharacterCut]) -> f32 {
    let scaled: Vec<(char, Array2<f32>)> = cuts
        .iter()
        .filter_map(|cut| {
            let picture = group.regions.get(cut.region)?.features.get(cut.moment)?;
            Some((cut.character, &cut.features * inverse_length(picture)))
        })
        .collect();
    let mut twins = Twins::default();
    scaled.iter().for_each(|(character, cell)| twins.add_cell(*character, cell, 1.0, 1));
    let several = twins.0.values().filter(|(_, count)| *count > 1);
    let with_themselves: f32 = several.map(|(sum, count)| products(sum, sum) / (count - 1) as f32).sum();
    let own = |(character, cell): &(char, Array2<f32>)| {
        let (_, count) = twins.0.get(character).filter(|(_, count)| *count > 1)?;
        Some(products(cell, cell) / (count - 1) as f32)
    };
    with_themselves - scaled.iter().filter_map(own).sum::<f32>()
}

/// Cuts of each character, each scaled to length 1 and added up: the product of another cut so scaled with the
/// sum is the sum of its correlations with all of them.
#[derive(Debug, Default)]
struct Twins(BTreeMap<char, (Array2<f32>, usize)>);

impl Twins {
    fn of<'a>(cuts: impl IntoIterator<Item = &'a CharacterCut>) -> Self {
        let mut twins = Self::default();
        twins.add(cuts, 1);
        twins
    }

    /// Adds cuts so many times; -1 takes them off again.
    fn add<'a>(&mut self, cuts: impl IntoIterator<Item = &'a CharacterCut>, times: isize) {
        for cut in cuts {
            self.add_cell(cut.character, &cut.features, inverse_length(&cut.features), times);
        }
    }

    /// Adds a cell, scaled, so many times.
    fn add_cell(&mut self, character: char, cell: &Array2<f32>, scale: f32, times: isize) {
        let (sum, count) = self.0.entry(character).or_insert_with(|| (Array2::zeros(cell.dim()), 0));
        sum.scaled_add(times as f32 * scale, cell);
        *count = count.saturating_add_signed(times);
    }

    /// Sum of the correlations of some cuts with these.
    fn agreement(&self, cuts: &[CharacterCut]) -> f32 {
        let with_twins = |cut: &CharacterCut| {
            let (sum, _) = self.0.get(&cut.character)?;
            Some(products(&cut.features, sum) * inverse_length(&cut.features))
        };
        cuts.iter().filter_map(with_twins).sum()
    }

    /// Mean correlation of two cuts of the same character.
    fn mean_agreement(&self) -> f32 {
        let (mut sum, mut pairs) = (0.0, 0);
        for (units, count) in self.0.values() {
            sum += 0.5 * (products(units, units) - *count as f32);
            pairs += count * (count - 1) / 2;
        }
        sum / pairs.max(1) as f32
    }
}

/// Mean correlation of two cuts of the same character.
pub(super) fn mean_agreement<'a>(cuts: impl IntoIterator<Item = &'a CharacterCut>) -> f32 {
    Twins::of(cuts).mean_agreement()
}

/// The mean of each character's cuts, each scaled to length 1.
pub(super) fn class_means<'a>(cuts: impl Iterator<Item = &'a CharacterCut>) -> BTreeMap<char, Array2<f32>> {
    Twins::of(cuts)
        .0
        .into_iter()
        .map(|(character, (sum, count))| (character, sum / count.max(1) as f32))
        .collect()
}

/// Mean correlation of a region's characters with what the other regions have of the same ones; `None` where they have none.
pub(super) fn likeness_to_others(cuts: &[CharacterCut], region: usize) -> Option<f32> {
    let (own, others): (Vec<_>, Vec<_>) = cuts.iter().partition(|cut| cut.region == region);
    let others = Twins::of(others);
    let likeness = |cut: &CharacterCut| {
        let (sum, _) = others.0.get(&cut.character)?;
        Some(products(&cut.features, sum) * inverse_length(&cut.features) * inverse_length(sum))
    };
    let all: Vec<f32> = own.into_iter().filter_map(likeness).collect();
    (!all.is_empty()).then(|| all.iter().sum::<f32>() / all.len() as f32)
}

/// Shifts by up to so many rows and columns each way: (down, right).
pub(super) fn shifts_within(px: isize) -> impl Iterator<Item = (isize, isize)> {
    (-px..=px).flat_map(move |down| (-px..=px).map(move |right| (down, right)))
}

/// What two cells of one size share when the second is shifted down and right.
pub(super) fn overlap<'a>(
    one: &'a Array2<f32>,
    other: &'a Array2<f32>,
    (down, right): (isize, isize),
) -> (ArrayView2<'a, f32>, ArrayView2<'a, f32>) {
    let ranges = |length: usize, by: isize| {
        let first = by.unsigned_abs().min(length);
        if by >= 0 { (first..length, 0..length - first) } else { (0..length - first, first..length) }
    };
    let (rows, cols) = one.dim();
    let ((rows, other_rows), (cols, other_cols)) = (ranges(rows, down), ranges(cols, right));
    (one.slice(s![rows, cols]), other.slice(s![other_rows, other_cols]))
}

fn products(one: &Array2<f32>, other: &Array2<f32>) -> f32 {
    match (one.as_slice(), other.as_slice()) {
        (Some(one), Some(other)) => dot(one, other),
        _ => 0.0,
    }
}

/// 1 over the square root of the sum of squares; 0 for what is flat.
fn inverse_length(features: &Array2<f32>) -> f32 {
    let length = products(features, features).sqrt();
    if length > 0.0 { 1.0 / length } else { 0.0 }
}

/// Cuts all characters of a group at the layout, then shifts texts and regions until the cuts of
/// each character agree best.
pub(super) fn aligned_cuts(group: &Group<'_>, layout: &Layout) -> Vec<CharacterCut> {
    Texts::aligned(group, layout, group.rows as isize / 2).into_cuts()
}

/// The same of regions whose rows are known.
pub(super) fn aligned_cuts_near(group: &Group<'_>, layout: &Layout) -> Vec<CharacterCut> {
    Texts::aligned(group, layout, SHIFT_ROWS).into_cuts()
}

/// Minimum relative gain of the shared energy for all lines of a group to be moved, and minimum number of cuts to judge
/// it: with fewer, neighbours that repeat gain as much by chance. Chosen on the source `bitmap` of benches/world, which
/// gains 0.066 where its cells are 1.5 pixels off; most others gain 0.04 or less.
const ENCLOSING_GAIN: f32 = 0.05;
const ENCLOSING_CUTS: usize = 60;

/// Moves all lines of a group together to where the shared energy is greatest. Alignment moves texts onto each other
/// only, and so cannot see that all cells miss a column of the strokes.
pub(super) fn enclose(group: &Group<'_>, layout: &mut Layout) {
    let texts = Texts::aligned(group, layout, group.rows as isize / 2);
    if texts.cuts.iter().flatten().map(Vec::len).sum::<usize>() < ENCLOSING_CUTS {
        return;
    }
    let energy = |half: i32| texts.energy_moved(0.5 * half as f32);
    let best = best_by(-SHIFT_HALF_PX..=SHIFT_HALF_PX, 0, energy);
    if energy(best) > (1.0 + ENCLOSING_GAIN) * energy(0) {
        layout.lines.iter_mut().for_each(|line| line.position += 0.5 * best as f32);
    }
}

/// The told texts of a group, cut where they stand now.
struct Texts<'a> {
    group: &'a Group<'a>,
    layout: &'a Layout,
    /// Row of every region's cells, and shift of its every text.
    tops: Vec<usize>,
    shifts: Vec<Vec<f32>>,
    /// By region and moment.
    cuts: Vec<Vec<Vec<CharacterCut>>>,
    twins: Twins,
}

impl<'a> Texts<'a> {
    fn unshifted(group: &'a Group<'a>, layout: &'a Layout) -> Self {
        let tops: Vec<usize> = group.regions.iter().map(|told| told.top).collect();
        let shifts: Vec<Vec<f32>> = group.regions.iter().map(|told| vec![0.0; told.moments.len()]).collect();
        let text = |region: usize, moment| cut(group, layout, region, moment, tops[region], 0.0);
        let of_region =
            |region: usize| (0..shifts[region].len()).map(|moment| text(region, moment)).collect();
        let cuts: Vec<Vec<Vec<CharacterCut>>> = (0..tops.len()).map(of_region).collect();
        let mut twins = Twins::default();
        cuts.iter().flatten().for_each(|cuts| twins.add(cuts, 1));
        Self { group, layout, tops, shifts, cuts, twins }
    }

    /// Texts and regions shifted until the cuts of each character agree best; `furthest` is how many rows a region may be
    /// moved in the first round.
    fn aligned(group: &'a Group<'a>, layout: &'a Layout, furthest: isize) -> Self {
        let mut texts = Self::unshifted(group, layout);
        for round in 0..ROUNDS {
            let rows = if round == 0 { furthest } else { SHIFT_ROWS };
            for region in 0..group.regions.len() {
                texts.move_region(region, rows);
                for moment in 0..group.regions[region].moments.len() {
                    texts.shift_text(region, moment);
                }
            }
        }
        texts.level();
        texts
    }

    fn into_cuts(self) -> Vec<CharacterCut> {
        self.cuts.into_iter().flatten().flatten().collect()
    }

    /// The energy that the cuts of the same character have in common with all cells moved to the right.
    fn energy_moved(&self, right: f32) -> f32 {
        let regions = self.tops.iter().enumerate();
        let cuts = regions.flat_map(|(region, top)| self.cuts_of(region, *top, right));
        let cuts: Vec<CharacterCut> = cuts.flatten().collect();
        shared_energy(self.group, &cuts)
    }

    fn cut_at(&self, region: usize, moment: usize, top: usize, shift: f32) -> Vec<CharacterCut> {
        cut(self.group, self.layout, region, moment, top, shift)
    }

    /// Moves a region's texts by up to so many rows to where they agree best with those of the other regions.
    fn move_region(&mut self, region: usize, rows: isize) {
        self.cuts[region].iter().for_each(|cuts| self.twins.add(cuts, -1));
        let now = self.tops[region] as isize;
        let candidates = (now - rows..=now + rows).filter(|top| *top >= 0).map(|top| top as usize);
        let agreement_at = |top: usize| -> f32 {
            self.cuts_of(region, top, 0.0).iter().map(|cuts| self.twins.agreement(cuts)).sum()
        };
        let top = best_by(candidates, self.tops[region], agreement_at);
        self.move_to(region, top);
        self.cuts[region].iter().for_each(|cuts| self.twins.add(cuts, 1));
    }

    /// Moves regions that share no digit with the others to the height of these: all digits are equally high, so the
    /// energy is spread alike over the rows of their cells.
    fn level(&mut self) {
        let mut parts = self.parts();
        let texts = |part: &Vec<usize>| part.iter().map(|region| self.cuts[*region].len()).sum::<usize>();
        let Some(most) = (0..parts.len()).max_by_key(|part| texts(&parts[*part])).filter(|_| parts.len() > 1)
        else {
            return;
        };
        let main = parts.swap_remove(most);
        let by_main = row_shares(main.iter().flat_map(|region| self.cuts[*region].iter().flatten()));
        let furthest = self.group.rows as isize / 4;
        for part in parts {
            let top_at = |region: usize, down: isize| self.tops[region].saturating_add_signed(down);
            let likeness = |down: isize| {
                let cuts = part.iter().flat_map(|region| self.cuts_of(*region, top_at(*region, down), 0.0));
                let shares = row_shares(&cuts.flatten().collect::<Vec<_>>());
                by_main.iter().zip(&shares).map(|(one, other)| one.min(*other)).sum::<f32>()
            };
            let down = best_by(-furthest..=furthest, 0, likeness);
            let tops: Vec<usize> = part.iter().map(|region| top_at(*region, down)).collect();
            part.into_iter().zip(tops).for_each(|(region, top)| self.move_to(region, top));
        }
    }

    /// The regions in groups: two that share a digit, directly or through others, are in one.
    fn parts(&self) -> Vec<Vec<usize>> {
        let digits = |region: usize| -> BTreeSet<char> {
            let characters = self.cuts[region].iter().flatten().map(|cut| cut.character);
            characters.filter(char::is_ascii_digit).collect()
        };
        let mut parts: Vec<(BTreeSet<char>, Vec<usize>)> = Vec::new();
        for region in 0..self.cuts.len() {
            let mut all = (digits(region), vec![region]);
            let (joined, others): (Vec<_>, Vec<_>) =
                parts.into_iter().partition(|(known, _)| !known.is_disjoint(&all.0));
            for (digits, regions) in joined {
                all.0.extend(digits);
                all.1.extend(regions);
            }
            parts = others;
            parts.push(all);
        }
        parts.into_iter().map(|(_, regions)| regions).collect()
    }

    /// The cuts of a region's texts with its cells in row `top`, `right` columns further along the line.
    fn cuts_of(&self, region: usize, top: usize, right: f32) -> Vec<Vec<CharacterCut>> {
        let texts = self.shifts[region].iter().enumerate();
        texts.map(|(moment, shift)| self.cut_at(region, moment, top, shift + right)).collect()
    }

    /// Moves a region's cells to row `top`.
    fn move_to(&mut self, region: usize, top: usize) {
        self.cuts[region] = self.cuts_of(region, top, 0.0);
        self.tops[region] = top;
    }

    /// Shifts a text along its line to where it agrees best with all others.
    fn shift_text(&mut self, region: usize, moment: usize) {
        self.twins.add(&self.cuts[region][moment], -1);
        let (top, now) = (self.tops[region], self.shifts[region][moment]);
        let candidates = (-SHIFT_HALF_PX..=SHIFT_HALF_PX).map(|half| 0.5 * half as f32);
        let agreement_at = |shift| self.twins.agreement(&self.cut_at(region, moment, top, shift));
        let shift = best_by(candidates, now, agreement_at);
        self.cuts[region][moment] = self.cut_at(region, moment, top, shift);
        self.shifts[region][moment] = shift;
        self.twins.add(&self.cuts[region][moment], 1);
    }
}

/// The characters of one told reading.
fn cut(
    group: &Group<'_>,
    layout: &Layout,
    region: usize,
    moment: usize,
    top: usize,
    shift: f32,
) -> Vec<CharacterCut> {
    let told_region = &group.regions[region];
    let ToldRegion { orders, moments, .. } = told_region;
    let (order, told) = (orders[moment], &moments[moment].label);
    let edges = layout.advances.edges(&told.text, &layout.lines[region]);
    let cells = told.text.chars().zip(edges);
    cells
        .filter_map(|(character, edge)| {
            let advance = layout.advances.of(character);
            let left = edge + shift;
            let size = (group.rows, advance.ceil() as usize);
            let features = patch_at(&told_region.features[moment], top, left, size)?;
            Some(CharacterCut {
                character,
                region,
                moment,
                order,
                told: told.clone(),
                top,
                left,
                advance,
                features,
            })
        })
        .collect()
}

/// How the digits' energy is spread over the rows of their cells: the share of each row, mean over some cuts.
fn row_shares<'a>(cuts: impl IntoIterator<Item = &'a CharacterCut>) -> Vec<f32> {
    let mut sums: Vec<f32> = Vec::new();
    for cut in cuts.into_iter().filter(|cut| cut.character.is_ascii_digit()) {
        sums.resize(cut.features.nrows(), 0.0);
        let scale = inverse_length(&cut.features);
        for (sum, row) in sums.iter_mut().zip(cut.features.rows()) {
            // Square roots: a faint stroke counts nearly as much as a strong one.
            *sum += scale * row.dot(&row).sqrt();
        }
    }
    let all = sums.iter().sum::<f32>().max(f32::MIN_POSITIVE);
    sums.iter_mut().for_each(|sum| *sum /= all);
    sums
}

/// The candidate with the highest agreement; `now` unless another is better.
fn best_by<T: Copy>(candidates: impl Iterator<Item = T>, now: T, agreement: impl Fn(T) -> f32) -> T {
    let mut best = (agreement(now), now);
    for candidate in candidates {
        let value = agreement(candidate);
        if value > best.0 + 1e-4 {
            best = (value, candidate);
        }
    }
    best.1
}

#[cfg(test)]
#[path = "align_tests.rs"]
mod tests;
