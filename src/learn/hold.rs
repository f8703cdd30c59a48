//! Which of the pictures around a told moment still show what was told, judged by the shapes told elsewhere.
//!
//! Texts that differ in one stroke look so much alike under noise that likeness as a whole cannot tell them apart.
//! Shapes can: the text of a picture has changed where one of its characters is another digit from there on.

use std::collections::BTreeMap;

use ndarray::Array2;

use super::Patch;
use super::align::{CharacterCut, mean_features, text_of};
use super::group::Group;
use crate::recognise::patch_at;

/// Columns that the lines of a picture may be shifted against those told, in working pixels.
const SHIFTS_PX: [f32; 9] = [-2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0];

/// Log likelihood ratio from which on a change is believed: that of one text among all that differ in one digit,
/// four characters of nine other digits.
const CHANGE: f32 = 3.6;

/// Rounds: the shapes follow from the pictures, and these from the shapes.
const ROUNDS: usize = 2;

/// Pictures from which on a shape is plain enough to measure noise against it.
const PLAIN: f32 = 6.0;

/// A character's place in its text, and the digit that may stand there instead.
type Other = (usize, char);

/// A sum of cells that show one character, and how many they are.
#[derive(Clone)]
struct Shape {
    sum: Array2<f32>,
    count: f32,
}

impl Shape {
    fn mean(&self) -> Array2<f32> {
        &self.sum / self.count
    }
}

/// Shapes of characters.
type Shapes = BTreeMap<char, Shape>;

/// Features of the pictures of a told moment: of the one told, and of those before and after it, nearest first.
struct Seen {
    centre: Array2<f32>,
    before: Vec<Array2<f32>>,
    after: Vec<Array2<f32>>,
}

/// What a picture's noise comes to.
#[derive(Clone, Copy)]
struct Spread {
    /// Mean sum of squares in a cell.
    cell: f32,
    /// Variance along the difference of two shapes, as correlated as the noise is.
    along: f32,
}

/// Takes for every told reading the pictures around it that show what was told.
pub(super) fn settle(group: &mut Group<'_>, cuts: &[CharacterCut]) {
    let seen: Vec<Vec<Seen>> = seen(group);
    for _ in 0..ROUNDS {
        let all = all_shapes(group, cuts);
        let Some(spread) = spread(cuts, &seen, &all) else { return };
        for (region, moments) in seen.iter().enumerate() {
            for (moment, seen) in moments.iter().enumerate() {
                let text = text_of(cuts, region, moment);
                let shapes = seen_from(group, &text, &all, &seen.centre);
                let unchanged = |pictures: &[Array2<f32>]| {
                    let against = pictures.iter().map(|features| ratios(features, &text, &shapes, spread));
                    change(&against.collect::<Vec<_>>())
                };
                let (before, after) = (unchanged(&seen.before), unchanged(&seen.after));
                let features =
                    [&seen.centre].into_iter().chain(&seen.before[..before]).chain(&seen.after[..after]);
                let told = &mut group.regions[region];
                told.features[moment] = mean_features(features.cloned());
                let one = told.moments[moment];
                told.held[moment] = [&one.centre]
                    .into_iter()
                    .chain(&one.before[..before])
                    .chain(&one.after[..after])
                    .collect();
            }
        }
    }
}

/// What every told moment of every region shows.
fn seen(group: &Group<'_>) -> Vec<Vec<Seen>> {
    let of_all = |patches: &[Patch]| patches.iter().map(|patch| group.features(patch)).collect();
    let told = group.regions.iter().map(|told| {
        let moments = told.moments.iter().map(|one| Seen {
            centre: group.features(&one.centre),
            before: of_all(&one.before),
            after: of_all(&one.after),
        });
        moments.collect()
    });
    told.collect()
}

/// How many pictures, in their order, show the text before it changes; `seen` are their log likelihood ratios of what was
/// told against every other digit.
fn change(seen: &[BTreeMap<Other, f32>]) -> usize {
    let against = |from: usize| {
        let mut sums: BTreeMap<Other, f32> = BTreeMap::new();
        for ratios in &seen[from..] {
            ratios.iter().for_each(|(other, ratio)| *sums.entry(*other).or_default() -= ratio);
        }
        sums.into_values().fold(0.0, f32::max)
    };
    let rated = (0..seen.len()).map(|from| (from, against(from)));
    let best = rated.filter(|(_, ratio)| *ratio > CHANGE).max_by(|a, b| a.1.total_cmp(&b.1));
    best.map_or(seen.len(), |(from, _)| from)
}

/// The shape of every character, from all pictures of all readings.
fn all_shapes(group: &Group<'_>, cuts: &[CharacterCut]) -> Shapes {
    let mut shapes = Shapes::new();
    for cut in cuts {
        let Some(mean) = cut.features_in(group) else { continue };
        add(&mut shapes, cut.character, &mean, pictures(group, cut));
    }
    shapes
}

fn add(shapes: &mut Shapes, character: char, cell: &Array2<f32>, count: f32) {
    let shape =
        shapes.entry(character).or_insert_with(|| Shape { sum: Array2::zeros(cell.dim()), count: 0.0 });
    if shape.sum.dim() == cell.dim() {
        shape.sum.scaled_add(count, cell);
        shape.count += count;
    }
}

fn pictures(group: &Group<'_>, cut: &CharacterCut) -> f32 {
    group.regions[cut.region].held[cut.moment].len() as f32
}

/// The shapes without the pictures around one text, which are to be judged by them: only the told one itself counts.
fn seen_from(group: &Group<'_>, text: &[&CharacterCut], all: &Shapes, centre: &Array2<f32>) -> Shapes {
    let mut shapes = all.clone();
    for cut in text {
        let cells = cut.features_in(group).zip(patch_at(centre, cut.top, cut.left, cut.features.dim()));
        if let Some((mean, told)) = cells {
            add(&mut shapes, cut.character, &mean, -pictures(group, cut));
            add(&mut shapes, cut.character, &told, 1.0);
        }
    }
    shapes
}

/// Log likelihood ratios of what was told against every other digit at every place.
fn ratios(
    features: &Array2<f32>,
    text: &[&CharacterCut],
    shapes: &Shapes,
    spread: Spread,
) -> BTreeMap<Other, f32> {
    let at = |shift: &f32| likeness(features, text, shapes, *shift);
    let best = SHIFTS_PX.into_iter().max_by(|a, b| at(a).total_cmp(&at(b))).unwrap_or(0.0);
    against_others(features, text, shapes, best)
        .into_iter()
        .map(|(other, against)| (other, against.log_ratio(spread)))
        .collect()
}

/// The cell of a picture in which a told character stands, and that character's shape.
fn with_shape<'a>(
    features: &Array2<f32>,
    cut: &CharacterCut,
    shapes: &'a Shapes,
    shift: f32,
) -> Option<(Array2<f32>, &'a Shape)> {
    let cell = patch_at(features, cut.top, cut.left + shift, cut.features.dim())?;
    let own = shapes.get(&cut.character).filter(|own| own.sum.dim() == cell.dim())?;
    Some((cell, own))
}

/// Product of a picture with the shapes of the text told.
fn likeness(features: &Array2<f32>, text: &[&CharacterCut], shapes: &Shapes, shift: f32) -> f32 {
    let product = |cut: &&CharacterCut| {
        let (cell, own) = with_shape(features, cut, shapes, shift)?;
        Some((&cell * &own.sum).sum() / own.count)
    };
    text.iter().filter_map(product).sum()
}

/// What tells a character of a picture from another digit.
struct Against {
    /// Product of the picture with the difference of the two shapes.
    product: f32,
    /// Half the difference of their squares, and the square of their difference.
    half_way: f32,
    square: f32,
    /// Share of a picture's noise in either shape.
    noise: (f32, f32),
}

impl Against {
    /// The square of the difference of the shapes without their noise.
    fn distance2(&self, spread: Spread) -> f32 {
        (self.square - (self.noise.0 + self.noise.1) * spread.cell).max(0.0)
    }

    /// How far the picture is beyond half-way between the shapes, noise of these allowed for.
    fn beyond(&self, spread: Spread) -> f32 {
        self.product - self.half_way + 0.5 * (self.noise.0 - self.noise.1) * spread.cell
    }

    /// For a normal distribution about either end, half the distance from half-way.
    fn log_ratio(&self, spread: Spread) -> f32 {
        self.distance2(spread) * self.beyond(spread) / (spread.along * self.square).max(f32::MIN_POSITIVE)
    }
}

fn against_others(
    features: &Array2<f32>,
    text: &[&CharacterCut],
    shapes: &Shapes,
    shift: f32,
) -> BTreeMap<Other, Against> {
    let mut found = BTreeMap::new();
    for (place, cut) in text.iter().enumerate().filter(|(_, cut)| cut.character.is_ascii_digit()) {
        let Some((cell, own)) = with_shape(features, cut, shapes, shift) else { continue };
        let others = shapes.iter().filter(|(digit, other)| {
            digit.is_ascii_digit() && **digit != cut.character && other.sum.dim() == cell.dim()
        });
        let own_mean = own.mean();
        for (digit, other) in others {
            let other_mean = other.mean();
            let between = &own_mean - &other_mean;
            let against = Against {
                product: (&cell * &between).sum(),
                half_way: 0.5 * ((&own_mean * &own_mean).sum() - (&other_mean * &other_mean).sum()),
                square: (&between * &between).sum(),
                noise: (1.0 / own.count, 1.0 / other.count),
            };
            found.insert((place, *digit), against);
        }
    }
    found
}

/// The noise of told pictures, measured against plain shapes.
fn spread(cuts: &[CharacterCut], seen: &[Vec<Seen>], all: &Shapes) -> Option<Spread> {
    let plain: Shapes =
        all.iter().filter(|(_, shape)| shape.count >= PLAIN).map(|(c, shape)| (*c, shape.clone())).collect();
    let (mut cells, mut products) = ((0.0, 0.0_f32), Vec::new());
    for (region, moments) in seen.iter().enumerate() {
        for (moment, Seen { centre, .. }) in moments.iter().enumerate() {
            let text = text_of(cuts, region, moment);
            for (cell, shape) in text.iter().filter_map(|cut| with_shape(centre, cut, &plain, 0.0)) {
                let off = cell - shape.mean();
                cells.0 += (&off * &off).sum() / (1.0 - 1.0 / shape.count);
                cells.1 += 1.0;
            }
            products.extend(against_others(centre, &text, &plain, 0.0).into_values());
        }
    }
    let cell = (cells.1 > 0.0).then(|| cells.0 / cells.1)?;
    let guess = Spread { cell, along: 1.0 };
    let squares = products
        .iter()
        .filter(|against| against.square > 0.0)
        .map(|against| (against.beyond(guess) - 0.5 * against.distance2(guess)).powi(2) / against.square);
    let squares: Vec<f32> = squares.collect();
    Some(Spread { cell, along: squares.iter().sum::<f32>() / squares.len().max(1) as f32 })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Log likelihood ratios of one picture against two other digits at one place.
    fn ratios(three: f32, eight: f32) -> BTreeMap<Other, f32> {
        BTreeMap::from([((2, '3'), three), ((2, '8'), eight)])
    }

    #[test]
    fn a_text_has_changed_where_one_digit_is_the_same_other_one_from_there_on() {
        let (same, three) = (ratios(3.0, 4.0), ratios(-3.0, 2.0));
        assert_eq!(change(&[same.clone(), same.clone(), three.clone(), three.clone()]), 2);
        assert_eq!(change(&[three.clone(), three.clone()]), 0);
        assert_eq!(change(&[same.clone(), same.clone()]), 2);
    }

    #[test]
    fn noise_that_favours_now_one_digit_now_another_is_no_change() {
        let seen = [ratios(3.0, -2.0), ratios(-2.0, 3.0), ratios(3.0, -2.0), ratios(-2.0, 3.0)];
        assert_eq!(change(&seen), 4);
        // Faint evidence adds up, and one picture that contradicts it in between does not hide it.
        assert_eq!(change(&[ratios(4.0, 4.0), ratios(-3.0, 1.0), ratios(1.0, 1.0), ratios(-3.0, 1.0)]), 1);
    }

    #[test]
    fn the_noise_of_a_shape_seen_once_is_not_held_against_it() {
        // Shapes 10 apart (square 100), one of them the mean of many pictures, the other one picture with a noise
        // whose squares sum to 60.
        let spread = Spread { cell: 60.0, along: 1.0 };
        let noisy = Against { product: 80.0, half_way: 80.0, square: 160.0, noise: (1.0, 0.0) };
        assert!((noisy.distance2(spread) - 100.0).abs() < 1e-3);
        // The picture shows what was told: as far beyond half-way as the shapes without noise are apart.
        assert!((noisy.beyond(spread) - 30.0).abs() < 1e-3);
        assert!(noisy.log_ratio(spread) > 0.0);
    }
}
