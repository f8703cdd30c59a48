//! Finds the frames around a labelled one that still show the labelled text, judged by the glyphs from all
//! labels.
//!
//! Texts that differ in one stroke look so similar under noise that the correlation of the whole images
//! cannot separate them. The glyphs can: from the frame at which the text changes, one of its characters is
//! another digit, the same in all later frames.

use std::collections::BTreeMap;

use ndarray::Array2;

use crate::learn::cut::character::{CharacterCut, cuts_of_text};
use crate::learn::group::repeated_frames::mean_features;
use crate::learn::group::size_group::SizeGroup;
use crate::recognise::{Patch, features_at};

/// Shifts of a frame's text relative to the labelled frame that are tried, in working pixels (set by
/// judgement).
const SHIFTS_PX: [f32; 9] = [-2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0];

/// Minimum log-likelihood ratio (natural logarithm) for deciding that the text has changed. The value is the natural
/// logarithm of the number of texts that differ from a text of four digits in one digit: 4 x 9 = 36.
const MIN_CHANGE_RATIO: f32 = 3.6;

/// Number of iterations: the glyphs depend on the frames, and the frames on the glyphs (set by judgement).
const ITERATIONS: usize = 2;

/// Minimum number of frames averaged in a glyph for the noise to be measured as the difference between cells and that
/// glyph (set by judgement).
const MIN_CLEAR_FRAMES: f32 = 6.0;

/// Another digit that may have replaced a character of the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Alternative {
    position: usize,
    digit: char,
}

/// Sum of the cells of one character, and the number of these cells.
#[derive(Clone)]
struct CellSum {
    sum: Array2<f32>,
    count: f32,
}

impl CellSum {
    fn mean(&self) -> Array2<f32> {
        &self.sum / self.count
    }
}

type CellSums = BTreeMap<char, CellSum>;

/// Features of the frames of a training example: of the labelled frame, and of the frames before and after the
/// labelled frame, nearest first.
struct ExampleFeatures {
    centre: Array2<f32>,
    before: Vec<Array2<f32>>,
    after: Vec<Array2<f32>>,
}

/// Noise of the features in the cell of a character.
#[derive(Clone, Copy)]
struct CellNoise {
    /// Mean sum of squares of the noise over a cell, in squared grey levels.
    energy: f32,
    /// Variance of the noise in the direction of the difference between two glyphs, in squared grey levels.
    /// It includes the correlation of neighbouring pixels.
    variance_along: f32,
}

/// Selects for every training example the frames that show the labelled text, and averages their features.
pub(crate) fn select_hold_frames(group: &mut SizeGroup<'_>, cuts: &[CharacterCut]) {
    let all_features: Vec<Vec<ExampleFeatures>> = example_features(group);
    for _ in 0..ITERATIONS {
        let glyphs = sums_of_all(group, cuts);
        let Some(noise) = cell_noise(cuts, &all_features, &glyphs) else { return };
        for (region, examples) in all_features.iter().enumerate() {
            for (example, features) in examples.iter().enumerate() {
                let text = cuts_of_text(cuts, region, example);
                let glyphs = sums_without_neighbours(group, &text, &glyphs, &features.centre);
                let unchanged = |frames: &[Array2<f32>]| {
                    let ratios = frames.iter().map(|frame| log_ratios(frame, &text, &glyphs, noise));
                    frames_before_change(&ratios.collect::<Vec<_>>())
                };
                let (before, after) = (unchanged(&features.before), unchanged(&features.after));
                select_frames(group, (region, example), features, (before, after));
            }
        }
    }
}

/// Restricts an example to the labelled frame, the `before` nearest frames before it and the `after` nearest frames
/// after it, and averages their features. `region` and `example` are indices in the group.
fn select_frames(
    group: &mut SizeGroup<'_>,
    (region, example): (usize, usize),
    features: &ExampleFeatures,
    (before, after): (usize, usize),
) {
    let kept = [&features.centre].into_iter();
    let kept = kept.chain(&features.before[..before]).chain(&features.after[..after]);
    let region = &mut group.regions[region];
    region.features[example] = mean_features(kept.cloned());
    let patches = region.examples[example];
    region.frames[example] = [&patches.centre]
        .into_iter()
        .chain(&patches.before[..before])
        .chain(&patches.after[..after])
        .collect();
}

/// Features of all frames. The outer list has an entry for each region, the inner list for each training example of
/// the region.
fn example_features(group: &SizeGroup<'_>) -> Vec<Vec<ExampleFeatures>> {
    let of_all = |patches: &[Patch]| patches.iter().map(|patch| group.features(patch)).collect();
    let of_region = group.regions.iter().map(|region| {
        let examples = region.examples.iter().map(|example| ExampleFeatures {
            centre: group.features(&example.centre),
            before: of_all(&example.before),
            after: of_all(&example.after),
        });
        examples.collect()
    });
    of_region.collect()
}

/// Number of frames, counted from the one nearest to the labelled frame, that show the labelled text; all frames if
/// the text does not change. `ratios` has an entry for each frame, in the same order: the log-likelihood ratio of the
/// labelled text against each alternative. The negative sum of these ratios from a frame on is the log-likelihood
/// ratio of a change to one alternative at that frame. The text changes at the frame with the largest such ratio of
/// any alternative, if that exceeds [`MIN_CHANGE_RATIO`].
fn frames_before_change(ratios: &[BTreeMap<Alternative, f32>]) -> usize {
    let change_ratio = |from: usize| {
        let mut sums: BTreeMap<Alternative, f32> = BTreeMap::new();
        for ratios in &ratios[from..] {
            ratios.iter().for_each(|(other, ratio)| *sums.entry(*other).or_default() -= ratio);
        }
        sums.into_values().fold(0.0, f32::max)
    };
    let rated = (0..ratios.len()).map(|from| (from, change_ratio(from)));
    let best = rated.filter(|(_, ratio)| *ratio > MIN_CHANGE_RATIO).max_by(|a, b| a.1.total_cmp(&b.1));
    best.map_or(ratios.len(), |(from, _)| from)
}

/// For every character, the sum of its cells over all frames of all examples.
fn sums_of_all(group: &SizeGroup<'_>, cuts: &[CharacterCut]) -> CellSums {
    let mut sums = CellSums::new();
    for cut in cuts {
        let Some(mean) = cut.features_in(group) else { continue };
        add(&mut sums, cut.character, &mean, frame_count(group, cut));
    }
    sums
}

fn add(sums: &mut CellSums, character: char, cell: &Array2<f32>, count: f32) {
    let total =
        sums.entry(character).or_insert_with(|| CellSum { sum: Array2::zeros(cell.dim()), count: 0.0 });
    if total.sum.dim() == cell.dim() {
        total.sum.scaled_add(count, cell);
        total.count += count;
    }
}

fn frame_count(group: &SizeGroup<'_>, cut: &CharacterCut) -> f32 {
    group.regions[cut.region].frames[cut.example].len() as f32
}

/// The sums of cells without the frames around one labelled frame, because these frames are compared with the
/// resulting glyphs. The labelled frame itself (`centre`) stays in the sums.
fn sums_without_neighbours(
    group: &SizeGroup<'_>,
    text: &[&CharacterCut],
    all: &CellSums,
    centre: &Array2<f32>,
) -> CellSums {
    let mut sums = all.clone();
    for cut in text {
        let cells = cut.features_in(group).zip(features_at(centre, cut.top, cut.left, cut.features.dim()));
        if let Some((mean, labelled)) = cells {
            add(&mut sums, cut.character, &mean, -frame_count(group, cut));
            add(&mut sums, cut.character, &labelled, 1.0);
        }
    }
    sums
}

/// Log-likelihood ratios of the labelled text against every text that differs from it in one digit, at the horizontal
/// shift of the text that fits the frame best.
fn log_ratios(
    features: &Array2<f32>,
    text: &[&CharacterCut],
    glyphs: &CellSums,
    noise: CellNoise,
) -> BTreeMap<Alternative, f32> {
    let match_at = |shift: &f32| matched_product(features, text, glyphs, *shift);
    let best = SHIFTS_PX.into_iter().max_by(|a, b| match_at(a).total_cmp(&match_at(b))).unwrap_or(0.0);
    two_digit_tests(features, text, glyphs, best)
        .into_iter()
        .map(|(other, test)| (other, test.log_ratio(noise)))
        .collect()
}

/// The cell of a labelled character in a frame, and the glyph sum of that character; `None` if the cell does
/// not lie within the features, or no glyph has its size.
fn cell_and_glyph<'a>(
    features: &Array2<f32>,
    cut: &CharacterCut,
    glyphs: &'a CellSums,
    shift: f32,
) -> Option<(Array2<f32>, &'a CellSum)> {
    let cell = features_at(features, cut.top, cut.left + shift, cut.features.dim())?;
    let own = glyphs.get(&cut.character).filter(|own| own.sum.dim() == cell.dim())?;
    Some((cell, own))
}

/// Sum over the characters of a labelled text of the inner product of the frame's features with the character's
/// glyph, in squared grey levels. The text is shifted by `shift` working pixels.
fn matched_product(features: &Array2<f32>, text: &[&CharacterCut], glyphs: &CellSums, shift: f32) -> f32 {
    let product = |cut: &&CharacterCut| {
        let (cell, own) = cell_and_glyph(features, cut, glyphs, shift)?;
        Some((&cell * &own.sum).sum() / own.count)
    };
    text.iter().filter_map(product).sum()
}

/// The terms of a likelihood ratio test that decides between two digits for one cell. The glyphs are means of
/// noisy frames.
struct TwoDigitTest {
    /// Inner product of the cell with the difference of the two glyphs, in squared grey levels.
    product: f32,
    /// Value of `product` for a cell half-way between the glyphs, in squared grey levels: half the difference
    /// of the glyphs' sums of squares.
    half_way: f32,
    /// Sum of squares of the difference of the glyphs, in squared grey levels.
    square: f32,
    /// Noise variance of the labelled digit's glyph and of the other digit's glyph, as a share of that of one frame:
    /// 1 over the number of frames in the glyph.
    noise: (f32, f32),
}

impl TwoDigitTest {
    /// Squared distance between the two glyphs, corrected for the noise of the glyphs, in squared grey levels.
    fn squared_distance(&self, noise: CellNoise) -> f32 {
        (self.square - (self.noise.0 + self.noise.1) * noise.energy).max(0.0)
    }

    /// `product` minus its value for a cell half-way between the glyphs, corrected for the noise of the glyphs, in
    /// squared grey levels.
    fn beyond_half_way(&self, noise: CellNoise) -> f32 {
        self.product - self.half_way + 0.5 * (self.noise.0 - self.noise.1) * noise.energy
    }

    /// Log-likelihood ratio (natural logarithm) of the labelled digit against the other one: each is modelled as a
    /// normal distribution around its glyph, and both have the same variance.
    fn log_ratio(&self, noise: CellNoise) -> f32 {
        self.squared_distance(noise) * self.beyond_half_way(noise)
            / (noise.variance_along * self.square).max(f32::MIN_POSITIVE)
    }
}

/// The tests of every labelled digit of a frame against every other digit.
fn two_digit_tests(
    features: &Array2<f32>,
    text: &[&CharacterCut],
    glyphs: &CellSums,
    shift: f32,
) -> BTreeMap<Alternative, TwoDigitTest> {
    let mut tests = BTreeMap::new();
    for (position, cut) in text.iter().enumerate().filter(|(_, cut)| cut.character.is_ascii_digit()) {
        let Some((cell, own)) = cell_and_glyph(features, cut, glyphs, shift) else { continue };
        let others = glyphs.iter().filter(|(digit, other)| {
            digit.is_ascii_digit() && **digit != cut.character && other.sum.dim() == cell.dim()
        });
        let own_mean = own.mean();
        for (digit, other) in others {
            let other_mean = other.mean();
            let between = &own_mean - &other_mean;
            let test = TwoDigitTest {
                product: (&cell * &between).sum(),
                half_way: 0.5 * ((&own_mean * &own_mean).sum() - (&other_mean * &other_mean).sum()),
                square: (&between * &between).sum(),
                noise: (1.0 / own.count, 1.0 / other.count),
            };
            tests.insert(Alternative { position, digit: *digit }, test);
        }
    }
    tests
}

/// The noise of labelled frames, measured as their difference from glyphs that average many frames; `None` if
/// there are no such glyphs.
fn cell_noise(
    cuts: &[CharacterCut],
    features: &[Vec<ExampleFeatures>],
    glyphs: &CellSums,
) -> Option<CellNoise> {
    let clear: CellSums = glyphs
        .iter()
        .filter(|(_, glyph)| glyph.count >= MIN_CLEAR_FRAMES)
        .map(|(character, glyph)| (*character, glyph.clone()))
        .collect();
    let (mut energy, mut cells, mut tests) = (0.0, 0.0_f32, Vec::new());
    for (region, examples) in features.iter().enumerate() {
        for (example, ExampleFeatures { centre, .. }) in examples.iter().enumerate() {
            let text = cuts_of_text(cuts, region, example);
            for (cell, glyph) in text.iter().filter_map(|cut| cell_and_glyph(centre, cut, &clear, 0.0)) {
                let difference = cell - glyph.mean();
                energy += (&difference * &difference).sum() / (1.0 - 1.0 / glyph.count);
                cells += 1.0;
            }
            tests.extend(two_digit_tests(centre, &text, &clear, 0.0).into_values());
        }
    }
    let energy = (cells > 0.0).then(|| energy / cells)?;
    let first = CellNoise { energy, variance_along: 1.0 };
    let squares = tests
        .iter()
        .filter(|test| test.square > 0.0)
        .map(|test| (test.beyond_half_way(first) - 0.5 * test.squared_distance(first)).powi(2) / test.square);
    let squares: Vec<f32> = squares.collect();
    let variance_along = squares.iter().sum::<f32>() / squares.len().max(1) as f32;
    Some(CellNoise { energy, variance_along })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Log-likelihood ratios of one frame against two other digits at one position.
    fn ratios(three: f32, eight: f32) -> BTreeMap<Alternative, f32> {
        let at = |digit: char| Alternative { position: 2, digit };
        BTreeMap::from([(at('3'), three), (at('8'), eight)])
    }

    #[test]
    fn a_text_has_changed_where_one_digit_is_the_same_other_one_from_there_on() {
        let (same, three) = (ratios(3.0, 4.0), ratios(-3.0, 2.0));
        assert_eq!(frames_before_change(&[same.clone(), same.clone(), three.clone(), three.clone()]), 2);
        assert_eq!(frames_before_change(&[three.clone(), three.clone()]), 0);
        assert_eq!(frames_before_change(&[same.clone(), same.clone()]), 2);
    }

    #[test]
    fn noise_that_favours_varying_digits_is_no_change() {
        let seen = [ratios(3.0, -2.0), ratios(-2.0, 3.0), ratios(3.0, -2.0), ratios(-2.0, 3.0)];
        assert_eq!(frames_before_change(&seen), 4);
        // Faint evidence adds up, and one frame that contradicts it does not hide the change.
        let seen = [ratios(4.0, 4.0), ratios(-3.0, 1.0), ratios(1.0, 1.0), ratios(-3.0, 1.0)];
        assert_eq!(frames_before_change(&seen), 1);
    }

    #[test]
    fn the_noise_of_a_glyph_of_one_frame_does_not_count_against_it() {
        // Two glyphs with a squared distance of 100: one the mean of many frames, the other one frame with a noise whose
        // squares sum to 60.
        let noise = CellNoise { energy: 60.0, variance_along: 1.0 };
        let test = TwoDigitTest { product: 80.0, half_way: 80.0, square: 160.0, noise: (1.0, 0.0) };
        assert!((test.squared_distance(noise) - 100.0).abs() < 1e-3);
        // The frame shows the labelled digit, so the corrected product is beyond half-way.
        assert!((test.beyond_half_way(noise) - 30.0).abs() < 1e-3);
        assert!(test.log_ratio(noise) > 0.0);
    }
}
