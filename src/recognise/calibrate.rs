//! Calibration: before a clip is read, frames spread over it show where each region's text stands,
//! what the noise is like, and how the glyphs look in this very clip.

use std::collections::BTreeMap;

use ndarray::{Array2, s};
use rayon::prelude::*;

use super::alphabet::{Alphabet, Shape};
use super::decode::{Anchor, Decoded, Decoder, Place, Placement};
use super::feature::MARGIN_PX;
use super::grammar::{Grammar, is_mark};
use super::matcher::{Correlator, correlate};
use super::noise::Noise;
use super::patches::{correlation, patch_at};
use super::scenery::CONTRASTS;

/// Frames used to find the row of a region's text.
const ROW_FRAMES: usize = 16;

/// Frames used to find where in its row the text stands.
pub(super) const PLACE_FRAMES: usize = 60;

/// Columns a text may be shifted from its usual place: analog lines are not steady.
const SHIFT_COLS: i32 = 2;

/// Mean distance of an edge from its usual place up to which it stays put, in columns: a rounding, and analog lines. A
/// text is centred if neither edge stays put and the middle's mean distance is below this share of theirs.
const STEADY_COLS: f32 = 0.75;
const CENTRED_SHARE: f32 = 0.5;

/// Correlation with its template that a character of a sample frame must reach to be believed.
pub(super) const BELIEVED_FIT: f32 = 0.55;

/// Share of every stroke that must be there in a character of a sample frame for it to be believed.
pub(super) const BELIEVED_STROKE: f32 = 0.6;

/// A re-estimated template must still correlate this much with the shape it came from.
const GUARD_CORRELATION: f32 = 0.8;

/// The same where the shape was not well seen: its own noise keeps the
/// correlation down. One telling gives nine pictures at most.
const GUARD_CORRELATION_LITTLE_SEEN: f32 = 0.65;

/// How many times as much the contrast of one digit may change as that of the others.
const MOST_UNLIKE: f32 = 1.1;

/// Patches that a template is re-estimated from at least.
const LEAST_PATCHES: usize = 6;

/// Some of a list, spread evenly over it, where it is longer than `most`: half as many at least.
pub(super) fn spread<T>(list: &[T], most: usize) -> impl Iterator<Item = &T> {
    list.iter().step_by(list.len().div_ceil(most).max(1))
}

/// Where a region's text was found and how well it fits there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Registration {
    pub(super) placement: Placement,
    /// Mean correlation of the decoded characters with their templates, over the sample.
    pub(super) fit: f32,
    /// Share of the ink in the text's rows that the characters explain, mean over the sample, 0 to 1.
    pub(super) explained: f32,
    /// Distance of the characters from each other as seen, over the distance that their advances give.
    pub(super) spacing: f32,
}

/// How plainly an alphabet of digits stands in a sample, their cells' top edge in one of `tops`: the mean
/// over the sample of the two best correlations at places that do not overlap; -1 without features.
pub(super) fn presence(alphabet: &Alphabet, features: &[Array2<f32>], tops: &[usize]) -> f32 {
    let at = |top: &usize| -> f32 {
        let pairs = features.iter().map(|features| two_best(alphabet, features, *top));
        pairs.sum::<f32>() / features.len().max(1) as f32
    };
    tops.iter().map(at).fold(-1.0, f32::max)
}

fn two_best(alphabet: &Alphabet, features: &Array2<f32>, top: usize) -> f32 {
    let templates = (0..).zip(alphabet.shapes.iter().map(|shape| &shape.template));
    let mut found = vec![-1.0_f32; alphabet.shapes.len() * features.ncols()];
    correlate(templates, features, top, &mut found);
    let mut by_column = vec![-1.0_f32; features.ncols()];
    for row in found.chunks_exact(features.ncols().max(1)) {
        by_column.iter_mut().zip(row).for_each(|(best, found)| *best = best.max(*found));
    }
    let best = |apart_from: Option<usize>| {
        let apart = |column: &usize| apart_from.is_none_or(|other| column.abs_diff(other) >= alphabet.cols);
        let columns = (0..by_column.len()).filter(apart);
        columns.max_by(|a, b| by_column[*a].total_cmp(&by_column[*b]))
    };
    let first = best(None);
    let value = |column: Option<usize>| column.map_or(-1.0, |column| by_column[column]);
    0.5 * (value(first) + value(best(first)))
}

/// Finds in a region's features the row, the alignment and the position of its text. Where it is known `about`
/// which row that is, only the ones next to it are tried.
pub(super) fn register(
    alphabet: &Alphabet,
    grammar: &Grammar,
    features: &[Array2<f32>],
    about: Option<usize>,
) -> Option<Registration> {
    let (height, cols) = features.first()?.dim();
    let decoder = Decoder { alphabet, scorer: &Correlator::new(alphabet), grammar, reach: None };
    let anywhere = |top| Placement { top, anchor: Anchor::Left, position: 0.0, shifts: (0, cols as i32) };
    let strength_at = |top: usize| -> f32 {
        spread(features, ROW_FRAMES)
            .filter_map(|features| decoder.decode(features, &anywhere(top)))
            .map(|decoded| explained_cells(&decoded))
            .sum()
    };
    let strongest = |tops: Vec<usize>| {
        let rated: Vec<(usize, f32)> = tops.into_par_iter().map(|top| (top, strength_at(top))).collect();
        Some(rated.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0)
    };
    let last = height.checked_sub(alphabet.rows)?;
    // Thin strokes one row off are not seen any more, so every row is tried.
    let rows = match about {
        Some(top) => top.min(last).saturating_sub(1)..=(top + 1).min(last),
        None => 0..=last,
    };
    let top = strongest(rows.collect())?;
    let texts: Vec<Option<(Decoded, f32)>> = features
        .par_iter()
        .map(|features| {
            let decoded = decoder.decode(features, &anywhere(top))?;
            let explained = explained(alphabet, features, top, &decoded);
            Some((decoded, explained))
        })
        .collect();
    let (found, explained): (Vec<Decoded>, Vec<f32>) = texts.into_iter().flatten().unzip();
    let fit = found.iter().map(fit_of).sum::<f32>() / found.len().max(1) as f32;
    Some(Registration {
        placement: placement_of(alphabet, top, &found)?,
        fit,
        explained: explained.iter().sum::<f32>() / found.len().max(1) as f32,
        spacing: spacing_of(alphabet, &found),
    })
}

/// Share of the energy in the text's rows that the characters explain: the energy of their cells times
/// the square of their correlation, as in a regression.
fn explained(alphabet: &Alphabet, features: &Array2<f32>, top: usize, decoded: &Decoded) -> f32 {
    let energy = |cells: &Array2<f32>| cells.iter().map(|level| level * level).sum::<f32>();
    let ink = |place: &Place| {
        let size = alphabet.shapes[alphabet.index_of(place.character)?].template.dim();
        Some(place.fit * place.fit * energy(&patch_at(features, top, place.left, size)?))
    };
    let inside = MARGIN_PX..features.ncols().saturating_sub(MARGIN_PX);
    let all = features.slice(s![top..top + alphabet.rows, inside]).to_owned();
    decoded.places.iter().filter_map(ink).sum::<f32>() / energy(&all).max(f32::MIN_POSITIVE)
}

/// Median over the believed texts of the distance from the first to the last character, over that
/// which the advances give; 1 where no text has two characters.
fn spacing_of(alphabet: &Alphabet, found: &[Decoded]) -> f32 {
    let ratio = |decoded: &Decoded| {
        let (first, last) = (decoded.places.first()?, decoded.places.last()?);
        let given: Option<f32> = decoded.places[..decoded.places.len() - 1]
            .iter()
            .map(|place| Some(alphabet.shapes[alphabet.index_of(place.character)?].advance))
            .sum();
        given.filter(|given| *given > 0.0).map(|given| (last.left - first.left) / given)
    };
    let believed = found.iter().filter(|decoded| fit_of(decoded) > BELIEVED_FIT);
    let mut ratios: Vec<f32> = believed.filter_map(ratio).collect();
    ratios.sort_by(f32::total_cmp);
    ratios.get(ratios.len() / 2).copied().unwrap_or(1.0)
}

/// The weakest character's correlation. The point does not count: it is small, most of its cell is
/// background, and its place is known.
pub(super) fn fit_of(decoded: &Decoded) -> f32 {
    let counted = decoded.places.iter().filter(|place| !is_mark(place.character));
    counted.map(|place| place.fit).fold(1.0, f32::min).max(0.0)
}

/// How many characters' worth of ink the characters explain, as in a regression. Unlike the weakest character's
/// correlation it still finds a text of thin strokes one row off its place.
fn explained_cells(decoded: &Decoded) -> f32 {
    decoded.places.iter().map(|place| place.fit.max(0.0).powi(2)).sum()
}

/// Takes the alignment whose edge stays put the better, or centred where neither does.
fn placement_of(alphabet: &Alphabet, top: usize, found: &[Decoded]) -> Option<Placement> {
    let believed: Vec<&Decoded> = {
        let good: Vec<&Decoded> = found.iter().filter(|decoded| fit_of(decoded) > BELIEVED_FIT).collect();
        if good.len() >= 3 { good } else { found.iter().collect() }
    };
    let ends: Vec<(usize, f32, f32)> = believed
        .iter()
        .filter_map(|decoded| {
            Some((decoded.text.len(), decoded.places.first()?.left, right_edge(alphabet, decoded)?))
        })
        .collect();
    let steadiness = |edge: fn(f32, f32) -> f32| {
        median_and_scatter(ends.iter().map(|(length, left, right)| (*length, edge(*left, *right))).collect())
    };
    let (left, left_scatter) = steadiness(|left, _| left)?;
    let (right, right_scatter) = steadiness(|_, right| right)?;
    let (middle, middle_scatter) = steadiness(f32::midpoint)?;
    let end_scatter = left_scatter.min(right_scatter);
    let (anchor, position) = if end_scatter > STEADY_COLS && middle_scatter < CENTRED_SHARE * end_scatter {
        (Anchor::Centre, middle)
    } else if left_scatter < right_scatter {
        (Anchor::Left, left)
    } else {
        (Anchor::Right, right)
    };
    Some(Placement { top, anchor, position, shifts: (-SHIFT_COLS, SHIFT_COLS) })
}

fn right_edge(alphabet: &Alphabet, decoded: &Decoded) -> Option<f32> {
    let last = decoded.places.last()?;
    Some(last.left + alphabet.shapes[alphabet.index_of(last.character)?].advance)
}

/// Texts of a length that count, where there are as many of some length: fewer may be misread.
const LEAST_OF_LENGTH: usize = 3;

/// Median of the edges of texts, each with its length, and mean distance from it with far values counted as 4 columns. All
/// lengths count alike, since only texts of another length tell which edge stays put.
fn median_and_scatter(mut edges: Vec<(usize, f32)>) -> Option<(f32, f32)> {
    edges.sort_by(|a, b| a.1.total_cmp(&b.1));
    let median = edges.get(edges.len() / 2)?.1;
    let mut by_length: BTreeMap<usize, (f32, usize)> = BTreeMap::new();
    for (length, edge) in edges {
        let (sum, count) = by_length.entry(length).or_default();
        *sum += (edge - median).abs().min(4.0);
        *count += 1;
    }
    let of_length = |least: usize| {
        let means = by_length.values().filter(move |(_, count)| *count >= least);
        means.map(|(sum, count)| sum / *count as f32).collect::<Vec<f32>>()
    };
    let counted = Some(of_length(LEAST_OF_LENGTH)).filter(|means| !means.is_empty());
    let means = counted.unwrap_or_else(|| of_length(1));
    Some((median, means.iter().sum::<f32>() / means.len() as f32))
}

/// Believed characters of the sample: patches of features by character, each with the contrast that it had
/// before it was brought to that of the templates, and all differences from what the model predicts.
#[derive(Default)]
pub(super) struct Believed {
    patches: Vec<Vec<(Array2<f32>, f32)>>,
    differences: Vec<Array2<f32>>,
}

impl Believed {
    /// The texts of a region's sample that are believed.
    pub(super) fn of(
        alphabet: &Alphabet,
        sample: &[Array2<f32>],
        line: (&Placement, f32),
        believed: &[Option<Decoded>],
    ) -> Self {
        let mut this = Self { patches: vec![Vec::new(); alphabet.shapes.len()], differences: Vec::new() };
        for (features, decoded) in sample.iter().zip(believed) {
            if let Some(decoded) = decoded {
                this.add_text(alphabet, features, decoded, line);
            }
        }
        this
    }

    /// Those of several regions, written in one alphabet, together.
    pub(super) fn all(parts: Vec<Self>) -> Self {
        let mut all = Self::default();
        for part in parts {
            all.patches.resize(part.patches.len().max(all.patches.len()), Vec::new());
            all.patches.iter_mut().zip(part.patches).for_each(|(all, part)| all.extend(part));
            all.differences.extend(part.differences);
        }
        all
    }

    fn add_text(
        &mut self,
        alphabet: &Alphabet,
        features: &Array2<f32>,
        decoded: &Decoded,
        (placement, contrast): (&Placement, f32),
    ) {
        for place in &decoded.places {
            let Some(index) = alphabet.index_of(place.character) else { continue };
            let shape = &alphabet.shapes[index];
            let Some(patch) = patch_at(features, placement.top, place.left, shape.template.dim()) else {
                continue;
            };
            if shape.template.ncols() == alphabet.cols {
                self.differences.push((&patch - &shape.template) * contrast);
            }
            self.patches[index].push((patch, contrast));
        }
        self.add_empty_cell(alphabet, features, decoded, (placement, contrast));
    }

    /// The cell left of the text shows the background alone.
    fn add_empty_cell(
        &mut self,
        alphabet: &Alphabet,
        features: &Array2<f32>,
        decoded: &Decoded,
        (placement, contrast): (&Placement, f32),
    ) {
        let Some(first) = decoded.places.first() else { return };
        let left = first.left - alphabet.cols as f32;
        if let Some(patch) = patch_at(features, placement.top, left, (alphabet.rows, alphabet.cols)) {
            self.differences.push(patch * contrast);
        }
    }

    /// Templates as they look in this clip. A shape is replaced only by enough believed patches
    /// whose mean still looks like it was before the clip taught anything (`originals`, in the alphabet's order),
    /// and more like it than like any other shape: so it cannot drift into another, however many the rounds.
    pub(super) fn refine(&self, alphabet: &mut Alphabet, originals: &[Shape]) {
        for (index, patches) in self.patches.iter().enumerate() {
            if patches.len() < LEAST_PATCHES {
                continue;
            }
            let mean = mean_of(patches);
            let own = correlation(&mean, &originals[index].template);
            let rival = originals.iter().enumerate().filter(|(other, _)| *other != index);
            let rival = rival.map(|(_, shape)| correlation(&mean, &shape.template)).fold(-1.0, f32::max);
            let guard = match originals[index].is_well_seen() {
                true => GUARD_CORRELATION,
                false => GUARD_CORRELATION_LITTLE_SEEN,
            };
            if own > guard && own > rival {
                let shape = &mut alphabet.shapes[index];
                shape.template = mean;
                shape.pictures = shape.pictures.map(|count| count.max(patches.len() as u32));
            }
        }
    }

    /// The noise model of the differences.
    pub(super) fn noise(&self, alphabet: &Alphabet) -> Option<Noise> {
        Noise::from_differences(alphabet.rows, alphabet.cols, &self.differences)
    }
}

/// Sees to it that no taught digit's contrast changes much more, or less, than those of the others do: all are written
/// alike, and what is believed of one may be what stands out before scenery that stands still.
pub(super) fn keep_contrasts(shapes: &mut [Shape], originals: &[Shape]) {
    // Of the two the original holds more noise, so the change is found from it to the original.
    let change = |(shape, original): (&Shape, &Shape)| {
        let products = |one: &Array2<f32>| (one * &shape.template).sum();
        let along = products(&original.template);
        let is_taught = shape.character.is_ascii_digit() && original.pictures.is_some();
        (is_taught && along > 0.0).then(|| products(&shape.template) / along)
    };
    let changes: Vec<Option<f32>> = shapes.iter().zip(originals).map(change).collect();
    let mut sorted: Vec<f32> = changes.iter().flatten().copied().collect();
    sorted.sort_by(f32::total_cmp);
    let Some(usual) = sorted.get(sorted.len() / 2) else { return };
    for (shape, change) in shapes.iter_mut().zip(&changes) {
        if let Some(change) = change {
            let beyond = change / usual;
            shape.template *= beyond.clamp(1.0 / MOST_UNLIKE, MOST_UNLIKE) / beyond;
        }
    }
}

/// The mean of patches by least squares: noise weighs less where the contrast was high.
fn mean_of(patches: &[(Array2<f32>, f32)]) -> Array2<f32> {
    let weights: f32 = patches.iter().map(|(_, contrast)| contrast * contrast).sum();
    let size = patches.first().map_or((0, 0), |(patch, _)| patch.dim());
    let add = |sum, (patch, contrast): &(Array2<f32>, f32)| sum + patch * (contrast * contrast);
    patches.iter().fold(Array2::zeros(size), add) / weights
}

/// Contrast of texts over that of the templates: the median strength of their digits.
pub(super) fn contrast_of<'a>(texts: impl Iterator<Item = &'a Decoded>) -> f32 {
    let mut strengths: Vec<f32> = texts.flat_map(digits).map(|place| place.strength).collect();
    strengths.sort_by(f32::total_cmp);
    strengths.get(strengths.len() / 2).map_or(1.0, |median| median.clamp(CONTRASTS.0, CONTRASTS.1))
}

/// Whether a text of the sample may teach: every character looks like its template, part by part.
pub(super) fn is_believed(decoded: &Decoded, max_t2: f32) -> bool {
    fit_of(decoded) > BELIEVED_FIT
        && strangeness_of(decoded) <= max_t2
        && least_stroke_of(decoded) > BELIEVED_STROKE
}

/// The digit of a text with the smallest margin, and its number among the places.
pub(super) fn smallest_margin(decoded: &Decoded) -> Option<(usize, &Place)> {
    let digits = decoded.places.iter().enumerate().filter(|(_, place)| place.character.is_ascii_digit());
    digits.min_by(|(_, one), (_, other)| one.goodness.margin.total_cmp(&other.goodness.margin))
}

/// The digits of a text.
fn digits(decoded: &Decoded) -> impl Iterator<Item = &Place> {
    decoded.places.iter().filter(|place| place.character.is_ascii_digit())
}

/// The strangest digit of a text.
pub(super) fn strangeness_of(decoded: &Decoded) -> f32 {
    digits(decoded).map(|place| place.goodness.t2).fold(0.0, f32::max)
}

/// The least stroke of all digits of a text.
pub(super) fn least_stroke_of(decoded: &Decoded) -> f32 {
    digits(decoded).map(|place| place.least_stroke).fold(f32::INFINITY, f32::min)
}

/// T-square distance beyond which a character of the sample is not used for self-training: three times the median of
/// all digits, which noise alone exceeds once in 300 times (chi-square with 10 degrees of freedom).
pub(super) fn max_t2<'a>(texts: impl Iterator<Item = &'a Decoded>) -> f32 {
    let mut all: Vec<f32> = texts.flat_map(digits).map(|place| place.goodness.t2).collect();
    all.sort_by(f32::total_cmp);
    all.get(all.len() / 2).map_or(f32::INFINITY, |median| 3.0 * median)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recognise::feature::HighPass;

    /// A digit of one stroke, down the columns from `left` on.
    fn shape(character: char, left: usize) -> Shape {
        let level = |(_, x): (usize, usize)| if (left..left + 2).contains(&x) { 60.0 } else { -10.0 };
        Shape { character, template: Array2::from_shape_fn((12, 8), level), advance: 8.0, pictures: None }
    }

    fn mixed(one: &Shape, other: &Shape, share: f32) -> Array2<f32> {
        &one.template * (1.0 - share) + &other.template * share
    }

    #[test]
    fn a_digit_believed_only_where_it_stands_out_keeps_nearly_the_contrast_of_the_others() {
        let taught = |(character, left)| Shape { pictures: Some(20), ..shape(character, left) };
        let originals = [('1', 1), ('2', 5), ('3', 3)].map(taught);
        // The clip shows all of them fainter than told, but of one digit only pictures before dark scenery are believed.
        let patches = [0.8, 1.2, 0.8].iter().zip(&originals);
        let patches = patches.map(|(gain, shape)| vec![(&shape.template * *gain, 1.0); 8]).collect();
        let high_pass = HighPass::for_cell_width(8.0);
        let mut alphabet = Alphabet { shapes: originals.to_vec(), rows: 12, cols: 8, high_pass, factor: 1 };
        Believed { patches, ..Believed::default() }.refine(&mut alphabet, &originals);
        keep_contrasts(&mut alphabet.shapes, &originals);
        for (shape, gain) in alphabet.shapes.iter().zip([0.8, 0.8 * MOST_UNLIKE, 0.8]) {
            let seen = shape.template[(0, 0)] / originals[0].template[(0, 0)];
            assert!((seen - gain).abs() < 1e-4, "{}: {seen}", shape.character);
        }
        // A face that is drawn says nothing of contrasts.
        let drawn = originals.clone().map(|shape| Shape { pictures: None, ..shape });
        let mut shapes = drawn.clone();
        shapes[1].template *= 1.5;
        let before = shapes.clone();
        keep_contrasts(&mut shapes, &drawn);
        assert!(shapes.iter().zip(&before).all(|(shape, before)| shape.template == before.template));
    }

    #[test]
    fn what_is_read_amiss_does_not_turn_one_digit_into_another() {
        let (one, two) = (shape('1', 1), shape('2', 5));
        let originals = [one.clone(), two.clone()];
        let high_pass = HighPass::for_cell_width(8.0);
        let mut alphabet = Alphabet { shapes: originals.to_vec(), rows: 12, cols: 8, high_pass, factor: 1 };
        // The clip shows the digit a little otherwise: that is learnt.
        let believed = Believed {
            patches: vec![vec![(mixed(&one, &two, 0.2), 1.0); 8], Vec::new()],
            ..Believed::default()
        };
        believed.refine(&mut alphabet, &originals);
        assert_eq!(alphabet.shapes[0].template, mixed(&one, &two, 0.2));
        // Each round misreads a little more: the shape stays what it was taught to be.
        for share in [0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0] {
            let patches = vec![vec![(mixed(&one, &two, share), 1.0); 8], Vec::new()];
            Believed { patches, ..Believed::default() }.refine(&mut alphabet, &originals);
            let likeness = |shape: &Shape| correlation(&alphabet.shapes[0].template, &shape.template);
            assert!(likeness(&one) > GUARD_CORRELATION && likeness(&one) > likeness(&two), "{share}");
        }
    }
}
