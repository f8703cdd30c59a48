//! Regions written in one size of type, and the characters cut from their labelled readings.

use std::collections::BTreeSet;

use ndarray::Array2;

use super::align::{self, CharacterCut, LayoutCuts, aligned_cuts_near, ranked_cuts};
use super::heights::InkRows;
use super::layout::{Layout, RegionInk, ToldInk, find_layouts, with_narrow_one, with_other_points};
use super::locate::relocate;
use super::{LearnError, TrainingExample, behind, hold};
use crate::recognise::working_factor;
use crate::recognise::{Background, Patch, energy_profile};
use crate::recognise::{HighPass, MARGIN_PX};
use crate::setup::Region;

/// Heights of type that differ by no more than this share count as one face.
const SAME_HEIGHT_SHARE: f32 = 0.3;

/// How far text may stand out of its box, in working pixels.
const BOX_PADDING_PX: usize = 2;

/// Blank rows kept above and below the strokes, in working pixels.
const ROW_PADDING_PX: usize = 1;

/// The told readings of one region, at the working resolution of its face.
pub(super) struct ToldRegion<'a> {
    /// Its place among the setup's regions.
    pub(super) number: usize,
    pub(super) region: &'a Region,
    pub(super) moments: Vec<&'a TrainingExample>,
    /// The place of every moment in the order told.
    pub(super) orders: Vec<usize>,
    /// The pictures that show the told text, the one told first, for every moment.
    pub(super) held: Vec<Vec<&'a Patch>>,
    /// Mean features over the frames that show the told text, one a moment.
    pub(super) features: Vec<Array2<f32>>,
    /// What was taken off these.
    pub(super) backdrop: Background,
    /// Row of the cells' top edge in the window.
    pub(super) top: usize,
}

/// Regions written in one size of type.
pub(super) struct Group<'a> {
    pub(super) regions: Vec<ToldRegion<'a>>,
    /// Rows of a cell in working pixels.
    pub(super) rows: usize,
    pub(super) factor: usize,
    pub(super) high_pass: HighPass,
}

/// Readings of a region that its layout is found from at most: more hardly change it and take as much longer.
const LAYOUT_READINGS: usize = 8;

impl ToldRegion<'_> {
    /// The readings that the layout is found from: first those with digits, or lengths, that others before them do not
    /// have, then the others in the order labelled.
    fn some_readings(&self) -> Vec<usize> {
        let (mut known, mut first, mut others) = (BTreeSet::new(), Vec::new(), Vec::new());
        for (number, moment) in self.moments.iter().enumerate() {
            let text = &moment.label.text;
            let length = char::from_u32(text.len() as u32).unwrap_or_default();
            let unknown = text.chars().chain([length]).filter(|one| known.insert(*one)).count();
            if unknown > 0 { first.push(number) } else { others.push(number) }
        }
        first.extend(others);
        first.truncate(LAYOUT_READINGS);
        first.sort_unstable();
        first
    }
}

impl<'a> Group<'a> {
    /// The same with no more readings of each region than the layout is found from.
    fn with_some_readings(&self) -> Self {
        let of_region = |told: &ToldRegion<'a>| {
            let numbers = told.some_readings();
            ToldRegion {
                moments: numbers.iter().map(|number| told.moments[*number]).collect(),
                orders: numbers.iter().map(|number| told.orders[*number]).collect(),
                held: numbers.iter().map(|number| told.held[*number].clone()).collect(),
                features: numbers.iter().map(|number| told.features[*number].clone()).collect(),
                backdrop: told.backdrop.clone(),
                ..*told
            }
        };
        let regions = self.regions.iter().map(of_region).collect();
        Self { regions, high_pass: self.high_pass.clone(), ..*self }
    }
}

impl Group<'_> {
    /// Features of a picture's window.
    pub(super) fn features(&self, patch: &Patch) -> Array2<f32> {
        self.high_pass.apply(&patch.levels(self.factor))
    }

    /// Height of the strokes in frame pixels.
    pub(super) fn height_px(&self) -> f32 {
        ((self.rows - 2 * ROW_PADDING_PX) * self.factor) as f32
    }

    /// First row of the strokes in frame pixels from the top of a box, of cells whose top edge is a row of the window.
    pub(super) fn ink_top_px(&self, top: usize) -> f32 {
        ((top + ROW_PADDING_PX) as f32 - MARGIN_PX as f32) * self.factor as f32
    }
}

pub(super) fn group_by_height<'a>(
    regions: &'a [Region],
    moments: &'a [TrainingExample],
    heights: &[Option<InkRows>],
) -> Vec<Group<'a>> {
    let mut by_height: Vec<(f32, Vec<Member<'_>>)> = Vec::new();
    for (number, (region, rows)) in regions.iter().zip(heights).enumerate() {
        if !moments.iter().any(|moment| moment.label.channel == region.channel) {
            continue;
        }
        let Some(rows) = *rows else { continue };
        let same =
            |(height, _): &&mut (f32, Vec<_>)| (rows.height_px / *height - 1.0).abs() <= SAME_HEIGHT_SHARE;
        match by_height.iter_mut().find(same) {
            Some((_, members)) => members.push((number, region, rows)),
            None => by_height.push((rows.height_px, vec![(number, region, rows)])),
        }
    }
    by_height.into_iter().map(|(_, members)| group_of(&members, moments)).collect()
}

/// A told region: its place among the setup's regions, itself, and its rows.
pub(super) type Member<'a> = (usize, &'a Region, InkRows);

pub(super) fn group_of<'a>(members: &[Member<'a>], moments: &'a [TrainingExample]) -> Group<'a> {
    let mut heights_px: Vec<f32> = members.iter().map(|(.., rows)| rows.height_px).collect();
    heights_px.sort_by(f32::total_cmp);
    let height_px = heights_px.get(heights_px.len() / 2).copied().unwrap_or(1.0);
    let factor = working_factor(height_px);
    let rows = (height_px / factor as f32).round() as usize + 2 * ROW_PADDING_PX;
    let high_pass = HighPass::for_cell_width(0.6 * rows as f32);
    let told = members.iter().map(|(number, region, ink)| {
        let own = moments.iter().enumerate().filter(|(_, moment)| moment.label.channel == region.channel);
        let (orders, moments): (Vec<usize>, Vec<&TrainingExample>) = own.unzip();
        let held: Vec<Vec<&Patch>> =
            moments.iter().map(|moment| align::held(moment, factor, &high_pass)).collect();
        let features = |patch: &&Patch| high_pass.apply(&patch.levels(factor));
        let features = held.iter().map(|held| align::mean_features(held.iter().map(features))).collect();
        let middle = (ink.top_px + 0.5 * ink.height_px) / factor as f32 + MARGIN_PX as f32;
        let top = (middle - 0.5 * rows as f32).round().max(0.0) as usize;
        ToldRegion {
            number: *number,
            region,
            moments,
            orders,
            held,
            features,
            backdrop: Background::none(),
            top,
        }
    });
    let regions = told.collect();
    Group { regions, rows, factor, high_pass }
}

/// Pitches for which all widths of the decimal point are tried: a coarse width can favour a wrong pitch.
const PITCHES_LOOKED_AT_CLOSELY: usize = 5;

/// What the characters must have more in common with a narrower 1 for it to be taken: share of the energy of one text, and
/// mean correlation. On clips of even pitch one or the other rises by chance, in a proportional face both do.
const NARROW_GAIN: f32 = 0.5;
const NARROW_AGREEMENT: f32 = 0.03;

/// Cuts the characters of a group's labelled readings, aligned to each other, and takes the static background off its
/// pictures.
pub(super) fn cut_group(group: &mut Group<'_>) -> Result<Vec<CharacterCut>, LearnError> {
    let mut some = group.with_some_readings();
    let Some((layout, cuts)) = layout_of(&some) else {
        let channels: Vec<&str> = group.regions.iter().map(|told| told.region.channel.name()).collect();
        return Err(LearnError::NoLayout { channels: channels.join(", ") });
    };
    let mut layout = relocate(&mut some, layout, &cuts);
    align::enclose(&some, &mut layout);
    group.regions.iter_mut().zip(&some.regions).for_each(|(told, some)| told.top = some.top);
    let cuts = aligned_cuts_near(group, &layout);
    hold::settle(group, &cuts);
    let cuts = aligned_cuts_near(group, &layout);
    behind::take_off(group, &cuts);
    Ok(aligned_cuts_near(group, &layout))
}

/// The layout under which the characters of a group agree best, and these.
fn layout_of(group: &Group<'_>) -> Option<(Layout, Vec<CharacterCut>)> {
    let inks: Vec<RegionInk> = group.regions.iter().map(|told| region_ink(told, group.rows)).collect();
    let height = (group.rows - 2 * ROW_PADDING_PX) as f32;
    let layouts = find_layouts(&inks, height);
    let ranked = ranked_cuts(group, &layouts);
    let finer: Vec<Layout> = ranked
        .iter()
        .take(PITCHES_LOOKED_AT_CLOSELY)
        .flat_map(|rated| with_other_points(rated.layout, &inks))
        .collect();
    let even = ranked_cuts(group, &finer).into_iter().chain(ranked).next()?;
    let narrow = with_narrow_one(even.layout, &inks);
    let narrow = ranked_cuts(group, &narrow).into_iter().next();
    let is_better = |narrow: &LayoutCuts<'_>| {
        narrow.energy > even.energy + NARROW_GAIN && narrow.agreement > even.agreement + NARROW_AGREEMENT
    };
    let best = narrow.filter(is_better).unwrap_or(even);
    Some((best.layout.clone(), best.cuts))
}

fn region_ink(told: &ToldRegion<'_>, rows: usize) -> RegionInk {
    let readings = told.moments.iter().zip(&told.features).map(|(moment, features)| {
        let mut energy =
            energy_profile::column_energy(std::slice::from_ref(features), told.top, told.top + rows);
        blank_margins(&mut energy);
        let mut sorted = energy.clone();
        sorted.sort_by(f32::total_cmp);
        let floor = sorted.get(sorted.len() / 8).copied().unwrap_or(0.0);
        // Square roots: a faint stroke counts nearly as much as a strong one.
        let above: Vec<f32> = energy.iter().map(|value| (value - floor).max(0.0).sqrt()).collect();
        let total = above.iter().sum::<f32>().max(f32::MIN_POSITIVE);
        ToldInk::new(moment.label.text.clone(), above.iter().map(|value| value / total).collect())
    });
    RegionInk { told: readings.collect() }
}

/// Strokes beyond the box are those of icons and unit letters: they do not count.
fn blank_margins(energy: &mut [f32]) {
    let beyond = MARGIN_PX.saturating_sub(BOX_PADDING_PX).min(energy.len() / 2);
    let inner = &energy[beyond..energy.len() - beyond];
    let floor = inner.iter().copied().fold(f32::INFINITY, f32::min);
    let last = energy.len() - beyond;
    energy[..beyond].fill(floor);
    energy[last..].fill(floor);
}
