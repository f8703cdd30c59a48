//! Leave-one-out evidence: whether a labelled reading is explained by the digits of the other readings.
//!
//! Every digit cut from a labelled picture is compared with the mean shape of each digit class, learned from all *other*
//! readings. Given a class, the mean square difference D of n-dimensional features follows a multivariate Student
//! distribution: a Gaussian whose mean is known from m pictures and whose variance differs from picture to picture
//! (A. Gelman et al., Bayesian Data Analysis, 3rd edition, section 3.6). A large difference is thus no evidence against a
//! label by itself; another class that explains the picture clearly better is. A picture that no class explains, as where a
//! horizon crosses it, is put down to its background.

use ndarray::Array2;
use rayon::prelude::*;

use super::align::{self, CharacterCut};
use super::group::Group;
use crate::recognise::MARGIN_PX;
use crate::recognise::{ShapePrior, patch_at};

/// Prior probability that a labelled reading is wrong.
const WRONG_LABEL: f32 = 0.02;

/// Probability that a digit of a wrong reading is wrong: of most slips one or two digits are.
const WRONG_DIGIT: f32 = 0.5;

/// Probability that a rightly labelled digit looks like none of its class, as before a horizon or when damaged.
const OUTLIER: f32 = 0.3;

/// Difference that such a picture has, as a share of the usual difference between classes.
const OUTLIER_DIFFERENCE: f32 = 0.35;

/// Degrees of freedom of the variance from picture to picture.
const FREEDOM: f32 = 4.0;

/// Independent features of a cell: neighbouring pixels are correlated, so far fewer than pixels.
const DIMENSIONS: f32 = 10.0;

/// Differences within a class, as a share of those between classes, at least: differences of fewer cuts are known no
/// better.
const LEAST_SPREAD: f32 = 0.04;

/// The same where no digit is labelled twice.
const USUAL_SPREAD: f32 = 0.15;

/// Cuts of classes labelled elsewhere that the spread within classes is estimated from at least.
const LEAST_PAIRS: usize = 3;

/// Pixels by which a cut may lie off the mean of its class, either way.
const OFF_PX: isize = 1;

/// Contrast of a picture against the mean of its class, at most and, inverted, at least.
const MOST_CONTRAST: f32 = 1.6;

/// Probability that a digit's shape says nothing of which it is, since the face is unlike any other.
const UNUSUAL_FACE: f32 = 0.03;

/// Number of digits, and the number that stands for none of them.
const CLASSES: usize = 10;
const NOTHING: usize = 10;

/// Probability that a wrong reading lacks a digit at one of its ends.
const MISSING_DIGIT: f32 = 0.1;

/// Log ratios above this are taken as this, so that their exponentials stay finite.
const MOST_LOG_RATIO: f32 = 60.0;

/// Differences from every class, where it is known.
type Differences = [Option<Difference>; CLASSES];

/// Differences of a reading's digits, and of the cells beside it.
struct OfReading {
    digits: Vec<Differences>,
    beside: Vec<Differences>,
}

/// What speaks against a labelled reading.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Evidence {
    /// The reading's number in the order labelled.
    pub(super) order: usize,
    /// Log odds that the label is wrong.
    pub(super) log_odds: f32,
    /// The text that the picture seems to show.
    pub(super) seems: String,
    /// The number of the reading that shows the differing digit most like this one.
    pub(super) witness: Option<usize>,
}

/// A digit of a labelled reading.
struct Cell<'a> {
    cut: &'a CharacterCut,
    class: usize,
    /// Its place in the text.
    place: usize,
    /// Logarithms of the probabilities of the classes by the shape alone, whatever the face.
    prior: [f32; CLASSES],
    features: Array2<f32>,
    /// Whether it is the first or the last of several characters, so that there may be nothing.
    is_end: bool,
}

/// The cell next to a labelled text, where another digit may stand.
struct Beside {
    order: usize,
    is_left: bool,
    features: Array2<f32>,
    prior: [f32; CLASSES],
}

/// Sum of the cells of a class.
#[derive(Clone)]
struct Class {
    sum: Array2<f32>,
    count: usize,
}

/// The digits of a face, class by class.
pub(super) struct Evidences<'a> {
    cells: Vec<Cell<'a>>,
    beside: Vec<Beside>,
    classes: Vec<Class>,
}

/// How far the pictures of a face differ.
#[derive(Debug, Clone, Copy)]
struct Spread {
    /// Usual mean square difference of a picture from the exact mean of its class.
    within: f32,
    /// The same from another class.
    between: f32,
}

/// A difference from the mean of so many pictures.
#[derive(Debug, Clone, Copy)]
struct Difference {
    mean_square: f32,
    count: usize,
}

impl<'a> Evidences<'a> {
    /// The digits among the cuts of a face, and what stands beside the texts.
    pub(super) fn of(group: &Group<'_>, cuts: &'a [CharacterCut]) -> Self {
        let is_digit = |cut: &&CharacterCut| cut.character.is_ascii_digit();
        let sizes = cuts.iter().filter(is_digit).map(|cut| cut.features.dim());
        let size = sizes.max_by_key(|size| size.1).unwrap_or((0, 0));
        let texts: Vec<&'a [CharacterCut]> = cuts.chunk_by(|one, next| one.order == next.order).collect();
        let cells = texts.par_iter().flat_map_iter(|text| cells_of(group, text, size));
        let cells: Vec<Cell<'a>> = cells.collect();
        let beside: Vec<Beside> = texts.par_iter().flat_map_iter(|text| beside(group, text, size)).collect();
        let mut classes = vec![Class { sum: Array2::zeros(size), count: 0 }; CLASSES];
        for cell in &cells {
            classes[cell.class].sum += &cell.features;
            classes[cell.class].count += 1;
        }
        Self { cells, beside, classes }
    }

    /// Leaves a reading out.
    pub(super) fn leave_out(&mut self, order: usize) {
        self.classes = self.classes_without(order);
        self.cells.retain(|cell| cell.cut.order != order);
    }

    /// The classes without the digits of a reading.
    fn classes_without(&self, order: usize) -> Vec<Class> {
        let mut classes = self.classes.clone();
        for cell in self.of_reading(order) {
            classes[cell.class].sum -= &cell.features;
            classes[cell.class].count -= 1;
        }
        classes
    }

    /// The evidence against every reading, the strongest first.
    pub(super) fn against_all(&self) -> Vec<Evidence> {
        let mut orders: Vec<usize> = self.cells.iter().map(|cell| cell.cut.order).collect();
        orders.dedup();
        let differences: Vec<OfReading> = orders.par_iter().map(|order| self.differences(*order)).collect();
        let spread = self.spread(&orders, &differences);
        let mut all: Vec<Evidence> = orders
            .iter()
            .zip(&differences)
            .map(|(order, differences)| self.against(*order, differences, spread))
            .collect();
        all.sort_by(|one, other| other.log_odds.total_cmp(&one.log_odds));
        all
    }

    fn of_reading(&self, order: usize) -> impl Iterator<Item = &Cell<'a>> {
        self.cells.iter().filter(move |cell| cell.cut.order == order)
    }

    /// Differences of a reading's digits, and of what stands beside them, from every class, learned from the other
    /// readings.
    fn differences(&self, order: usize) -> OfReading {
        let means: Vec<Option<(Array2<f32>, usize)>> = self
            .classes_without(order)
            .into_iter()
            .map(|Class { sum, count }| (count > 0).then(|| (sum / count as f32, count)))
            .collect();
        let from_all = |features: &Array2<f32>| {
            std::array::from_fn(|class| {
                let (mean, count) = means[class].as_ref()?;
                Some(Difference { mean_square: difference(features, mean), count: *count })
            })
        };
        OfReading {
            digits: self.of_reading(order).map(|cell| from_all(&cell.features)).collect(),
            beside: self.beside_reading(order).map(|beside| from_all(&beside.features)).collect(),
        }
    }

    fn beside_reading(&self, order: usize) -> impl Iterator<Item = &Beside> {
        self.beside.iter().filter(move |beside| beside.order == order)
    }

    fn spread(&self, orders: &[usize], differences: &[OfReading]) -> Spread {
        let (mut within, mut between) = (Vec::new(), Vec::new());
        for (order, differences) in orders.iter().zip(differences) {
            for (cell, differences) in self.of_reading(*order).zip(&differences.digits) {
                for (class, difference) in differences.iter().enumerate() {
                    let Some(difference) = difference else { continue };
                    let list = if class == cell.class { &mut within } else { &mut between };
                    list.push(difference.of_exact_mean());
                }
            }
        }
        let pairs = within.len();
        let between = median(&mut between).unwrap_or(f32::MIN_POSITIVE).max(f32::MIN_POSITIVE);
        let within = match median(&mut within) {
            Some(within) if pairs >= LEAST_PAIRS => within,
            _ => USUAL_SPREAD * between,
        };
        Spread { within: within.max(LEAST_SPREAD * between), between }
    }

    fn against(&self, order: usize, differences: &OfReading, spread: Spread) -> Evidence {
        let prior = prior_log_odds();
        let text = self.of_reading(order).next().map_or("", |cell| cell.cut.told.text.as_str());
        let mut evidence = Evidence { order, log_odds: prior, seems: String::new(), witness: None };
        let mut seems: Vec<String> = text.chars().map(String::from).collect();
        let mut strongest = 0.0;
        for (cell, differences) in self.of_reading(order).zip(&differences.digits) {
            let (log_ratio, other) = spread.against(cell, differences);
            evidence.log_odds += mixed(WRONG_DIGIT, log_ratio);
            if log_ratio > 0.0
                && let Some(seen) = seems.get_mut(cell.place)
            {
                *seen = digit(other);
            }
            if log_ratio > strongest {
                strongest = log_ratio;
                evidence.witness = self.most_like(cell, other);
            }
        }
        for (beside, differences) in self.beside_reading(order).zip(&differences.beside) {
            let (log_ratio, other) = spread.of_another_digit(beside, differences);
            evidence.log_odds += mixed(MISSING_DIGIT, log_ratio);
            if log_ratio > 0.0 {
                let place = if beside.is_left { 0 } else { seems.len() };
                seems.insert(place, digit(other));
            }
        }
        evidence.seems = seems.concat();
        evidence
    }

    /// The reading that shows a digit of a class most like this cell.
    fn most_like(&self, cell: &Cell<'_>, class: usize) -> Option<usize> {
        let others =
            self.cells.iter().filter(|other| other.class == class && other.cut.order != cell.cut.order);
        let rated = others.map(|other| (difference(&cell.features, &other.features), other));
        let (_, nearest) = rated.min_by(|one, other| one.0.total_cmp(&other.0))?;
        Some(nearest.cut.order)
    }
}

impl Difference {
    /// What the mean square difference would be were the mean of the class exact.
    fn of_exact_mean(self) -> f32 {
        self.mean_square / (1.0 + 1.0 / self.count as f32)
    }
}

impl Spread {
    /// Log density of a difference from the mean of `count` pictures, up to a constant.
    fn log_density(&self, Difference { mean_square, count }: Difference) -> f32 {
        let scale = self.within * (1.0 + 1.0 / count as f32);
        let length2 = DIMENSIONS * mean_square / (FREEDOM * scale);
        -0.5 * DIMENSIONS * scale.ln() - 0.5 * (FREEDOM + DIMENSIONS) * (1.0 + length2).ln()
    }

    /// Log density of a picture that looks like no class known.
    fn log_density_of_unknown(&self) -> f32 {
        self.log_density(Difference { mean_square: OUTLIER_DIFFERENCE * self.between, count: usize::MAX })
    }

    /// Log ratio of the probabilities of all other classes and of the one labelled, and the likeliest of the others;
    /// [`NOTHING`] is one of these at the end of a text.
    fn against(&self, cell: &Cell<'_>, differences: &Differences) -> (f32, usize) {
        let nothing = cell.is_end.then(|| self.log_density_of_nothing(&cell.features));
        self.against_classes(cell.class, &cell.prior, differences, nothing)
    }

    fn against_classes(
        &self,
        labelled: usize,
        prior: &[f32; CLASSES],
        differences: &Differences,
        nothing: Option<f32>,
    ) -> (f32, usize) {
        let unknown = self.log_density_of_unknown();
        let density =
            |class: usize| prior[class] + differences[class].map_or(unknown, |d| self.log_density(d));
        let others = (0..CLASSES).filter(|class| *class != labelled).map(|class| (density(class), class));
        let (sum, other) = sum_and_best(others.chain(nothing.map(|density| (density, NOTHING))));
        let outlier = OUTLIER.ln() + prior[labelled] + unknown;
        // A digit is mistaken for one of the nine others.
        (sum - ((CLASSES - 1) as f32).ln() - log_sum(density(labelled), outlier), other)
    }

    /// Log ratio of the probabilities that some digit stands beside a text and that nothing does, and the likeliest digit.
    fn of_another_digit(&self, beside: &Beside, differences: &Differences) -> (f32, usize) {
        let digits = (0..CLASSES)
            .filter_map(|class| Some((beside.prior[class] + self.log_density(differences[class]?), class)));
        let (sum, digit) = sum_and_best(digits);
        let nothing = self.log_density_of_nothing(&beside.features);
        let outlier = OUTLIER.ln() - (CLASSES as f32).ln() + self.log_density_of_unknown();
        (sum - log_sum(nothing, outlier), digit)
    }

    /// Log probability, as far as that of digits, of a cell in which nothing stands.
    fn log_density_of_nothing(&self, features: &Array2<f32>) -> f32 {
        let energy = features.iter().map(|level| level * level).sum::<f32>() / features.len().max(1) as f32;
        self.log_density(Difference { mean_square: energy, count: usize::MAX }) - (CLASSES as f32).ln()
    }
}

/// The digits of a labelled text.
fn cells_of<'a>(group: &Group<'_>, text: &'a [CharacterCut], size: (usize, usize)) -> Vec<Cell<'a>> {
    let last = text.len() - 1;
    let cell = |(place, cut): (usize, &'a CharacterCut)| {
        let class = cut.character.to_digit(10)? as usize;
        let is_end = last > 0 && (place == 0 || place == last);
        let features = widened(group, cut, size)?;
        Some(Cell { cut, class, place, prior: prior(&features), features, is_end })
    };
    text.iter().enumerate().filter_map(cell).collect()
}

/// Features of a digit's cell in this size: a narrow 1 in the middle of a cell as wide as the others'.
fn widened(group: &Group<'_>, cut: &CharacterCut, size: (usize, usize)) -> Option<Array2<f32>> {
    if cut.features.dim() == size {
        return Some(cut.features.clone());
    }
    let picture = group.regions.get(cut.region)?.features.get(cut.moment)?;
    let beyond = size.1.saturating_sub(cut.features.ncols()) as f32;
    patch_at(picture, cut.top, cut.left - 0.5 * beyond, size)
}

/// The cells left and right of a labelled text, as far as they lie in the box and the setup allows more digits there.
fn beside(group: &Group<'_>, text: &[CharacterCut], size: (usize, usize)) -> Vec<Beside> {
    let found = || {
        let (first, last) = (text.first()?, text.last()?);
        let told = group.regions.get(first.region)?;
        let digits = text.iter().filter(|cut| cut.character.is_ascii_digit()).count();
        let is_full = told.region.digits.is_some_and(|most| digits >= usize::from(most));
        let features = told.features.get(first.moment)?;
        let inside = MARGIN_PX as f32..=(features.ncols().saturating_sub(MARGIN_PX)) as f32;
        let cell = |left: f32, is_left: bool| {
            let is_inside = inside.contains(&left) && inside.contains(&(left + size.1 as f32 - 1.0));
            let features = patch_at(features, first.top, left, size).filter(|_| is_inside && !is_full)?;
            Some(Beside { order: first.order, is_left, prior: prior(&features), features })
        };
        let before = cell(first.left - size.1 as f32, true).filter(|_| first.character.is_ascii_digit());
        let after = cell(last.left + last.advance, false).filter(|_| told.region.decimals == 0);
        Some(before.into_iter().chain(after).collect())
    };
    found().unwrap_or_default()
}

fn prior(features: &Array2<f32>) -> [f32; CLASSES] {
    tempered(ShapePrior::embedded().log_probabilities(features))
}

/// Mean log probability, by shape alone, that labelled digits are what the labels say; 0 without digits.
pub(super) fn mean_log_prior<'a>(cuts: impl IntoIterator<Item = &'a CharacterCut>) -> f32 {
    let log_prior = |cut: &CharacterCut| Some(prior(&cut.features)[cut.character.to_digit(10)? as usize]);
    let digits: Vec<f32> = cuts.into_iter().filter_map(log_prior).collect();
    digits.iter().sum::<f32>() / digits.len().max(1) as f32
}

/// The text of a class.
fn digit(class: usize) -> String {
    char::from_digit(class as u32, 10).map(String::from).unwrap_or_default()
}

/// Log odds that a label is wrong before its picture is looked at.
fn prior_log_odds() -> f32 {
    (WRONG_LABEL / (1.0 - WRONG_LABEL)).ln()
}

/// Log likelihood ratio where only a share of all wrong labels is wrong in this way.
fn mixed(share: f32, log_ratio: f32) -> f32 {
    ((1.0 - share) + share * log_ratio.min(MOST_LOG_RATIO).exp()).ln()
}

/// The sum of some probabilities given as logarithms, as a logarithm, and the class of the greatest.
fn sum_and_best(densities: impl Iterator<Item = (f32, usize)>) -> (f32, usize) {
    let start = (f32::NEG_INFINITY, (f32::NEG_INFINITY, 0));
    let (sum, (_, class)) = densities
        .fold(start, |(sum, best), one| (log_sum(sum, one.0), if one.0 > best.0 { one } else { best }));
    (sum, class)
}

/// Probabilities that allow for a face unlike all others.
fn tempered(log_probabilities: [f32; CLASSES]) -> [f32; CLASSES] {
    log_probabilities.map(|log| ((1.0 - UNUSUAL_FACE) * log.exp() + UNUSUAL_FACE / CLASSES as f32).ln())
}

fn log_sum(one: f32, other: f32) -> f32 {
    let most = one.max(other);
    if most == f32::NEG_INFINITY {
        return most;
    }
    most + ((one - most).exp() + (other - most).exp()).ln()
}

fn median(values: &mut [f32]) -> Option<f32> {
    values.sort_by(f32::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Mean square difference of a picture from a mean shape, at the shift and the contrast where it is least.
fn difference(picture: &Array2<f32>, mean: &Array2<f32>) -> f32 {
    let shifts = align::shifts_within(OFF_PX);
    shifts.map(|shift| shifted_difference(picture, mean, shift)).fold(f32::INFINITY, f32::min)
}

fn shifted_difference(picture: &Array2<f32>, mean: &Array2<f32>, shift: (isize, isize)) -> f32 {
    let (picture, mean) = align::overlap(picture, mean, shift);
    let (mut own, mut both, mut other) = (0.0, 0.0, 0.0);
    for (picture, mean) in picture.rows().into_iter().zip(mean.rows()) {
        for (level, mean) in picture.iter().zip(mean) {
            own += level * level;
            both += level * mean;
            other += mean * mean;
        }
    }
    let contrast = if other > 0.0 { both / other } else { 1.0 };
    let contrast = contrast.clamp(1.0 / MOST_CONTRAST, MOST_CONTRAST);
    (own - 2.0 * contrast * both + contrast * contrast * other) / picture.len().max(1) as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Features of a made-up digit: strokes that differ from class to class.
    fn shape(class: usize) -> Array2<f32> {
        Array2::from_shape_fn((16, 12), |(row, col)| {
            let inside = (3..13).contains(&row) && (2..10).contains(&col);
            let stroke = ((row / 2) * 7 + (col / 2) * 3 + class * (row / 2)).is_multiple_of(5);
            if inside && stroke { 60.0 } else { -10.0 }
        })
    }

    /// Differences of a picture from the means of three classes, two of them known well.
    fn differences(picture: &Array2<f32>) -> Differences {
        std::array::from_fn(|class| {
            let mean_square = difference(picture, &shape(class));
            (class < 3).then_some(Difference { mean_square, count: if class == 2 { 1 } else { 5 } })
        })
    }

    fn log_ratio(picture: &Array2<f32>, labelled: usize) -> (f32, usize) {
        let spread = Spread { within: 40.0, between: difference(&shape(0), &shape(1)) };
        let unknown = [-(CLASSES as f32).ln(); CLASSES];
        spread.against_classes(labelled, &unknown, &differences(picture), None)
    }

    /// Log odds against a label whose digits have these log ratios.
    fn log_odds(log_ratios: &[f32]) -> f32 {
        prior_log_odds() + log_ratios.iter().map(|ratio| mixed(WRONG_DIGIT, *ratio)).sum::<f32>()
    }

    #[test]
    fn a_picture_of_another_class_speaks_against_its_label_and_one_of_its_own_does_not() {
        let (against, other) = log_ratio(&shape(1), 0);
        assert!(against > 5.0 && other == 1, "{against} {other}");
        assert!(log_ratio(&shape(0), 0).0 < -5.0);
    }

    #[test]
    fn a_bright_edge_behind_a_digit_speaks_against_no_label() {
        // A horizon: far more than usual, but no class explains it.
        let edge = Array2::from_shape_fn((16, 12), |(row, _)| if row < 8 { 80.0 } else { -80.0 });
        for class in 0..3 {
            let (against, _) = log_ratio(&(shape(class) + &edge), class);
            assert!(log_odds(&[against, against]) < 1.0, "{class}: {against}");
        }
    }

    #[test]
    fn a_class_not_labelled_elsewhere_is_judged_by_whether_it_looks_like_a_known_one() {
        let (of_known, other) = log_ratio(&shape(1), 4);
        assert!(log_odds(&[of_known]) > 1.0 && other == 1, "{of_known} {other}");
        let (of_new, _) = log_ratio(&shape(4), 4);
        assert!(log_odds(&[of_new]) < 1.0, "{of_new}");
    }

    #[test]
    fn differences_allow_for_a_pixel_and_for_contrast() {
        let mut moved = shape(2);
        moved.slice_mut(ndarray::s![1.., ..]).assign(&shape(2).slice(ndarray::s![..15, ..]));
        assert!(difference(&moved, &shape(2)) < 1.0);
        assert!(difference(&(shape(2) * 1.3), &shape(2)) < 1.0);
        assert!(difference(&shape(1), &shape(2)) > 100.0);
    }

    #[test]
    fn probabilities_are_added_as_logarithms() {
        let logs = [(0.25_f32.ln(), 3), (0.5_f32.ln(), 4)];
        let (sum, best) = sum_and_best(logs.into_iter());
        assert!((sum - 0.75_f32.ln()).abs() < 1e-6 && best == 4);
        assert_eq!(log_sum(f32::NEG_INFINITY, f32::NEG_INFINITY), f32::NEG_INFINITY);
    }
}
