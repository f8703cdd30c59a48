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

use super::align::CharacterCut;
use crate::recognise::ShapePrior;

/// Prior probability that a labelled reading is wrong.
const WRONG_LABEL: f32 = 0.02;

/// Probability that a digit of a wrong reading is wrong: of most slips one or two digits are.
const WRONG_DIGIT: f32 = 0.5;

/// Probability that a rightly labelled digit looks like none of its class, as before a horizon or when damaged.
const OUTLIER: f32 = 0.1;

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

/// Number of digits.
const CLASSES: usize = 10;

/// What speaks against a labelled reading.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Evidence {
    /// The reading's number in the order labelled.
    pub(super) order: usize,
    /// Log odds that the label is wrong.
    pub(super) log_odds: f32,
    /// The text that the picture seems to show.
    pub(super) seems: String,
    /// The number of the reading that shows the differing digit most like this one, and that digit.
    pub(super) witness: Option<(usize, char)>,
}

/// A digit of a labelled reading.
struct Cell<'a> {
    cut: &'a CharacterCut,
    class: usize,
    /// Its place in the text.
    place: usize,
    /// Logarithms of the probabilities of the classes by the shape alone, whatever the face.
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
    /// The digits among the cuts of a face.
    pub(super) fn of(cuts: &'a [CharacterCut]) -> Self {
        let mut place = 0;
        let mut before: Option<usize> = None;
        let cells = cuts.iter().filter_map(|cut| {
            place = if before == Some(cut.order) { place + 1 } else { 0 };
            before = Some(cut.order);
            let class = cut.character.to_digit(10)? as usize;
            Some((cut, class, place))
        });
        let cells: Vec<(&CharacterCut, usize, usize)> = cells.collect();
        let size = cells.first().map_or((0, 0), |(cut, ..)| cut.features.dim());
        let cell = |(cut, class, place): (&'a CharacterCut, usize, usize)| {
            let prior = tempered(ShapePrior::embedded().log_probabilities(&cut.features));
            (cut.features.dim() == size).then_some(Cell { cut, class, place, prior })
        };
        let cells: Vec<Cell<'a>> = cells.into_par_iter().filter_map(cell).collect();
        let mut classes = vec![Class { sum: Array2::zeros(size), count: 0 }; CLASSES];
        for cell in &cells {
            classes[cell.class].sum += &cell.cut.features;
            classes[cell.class].count += 1;
        }
        Self { cells, classes }
    }

    /// Leaves a reading out.
    pub(super) fn leave_out(&mut self, order: usize) {
        let (out, left) =
            std::mem::take(&mut self.cells).into_iter().partition(|cell| cell.cut.order == order);
        self.cells = left;
        let out: Vec<Cell<'a>> = out;
        for cell in out {
            self.classes[cell.class].sum -= &cell.cut.features;
            self.classes[cell.class].count -= 1;
        }
    }

    /// The evidence against every reading, the strongest first.
    pub(super) fn against_all(&self) -> Vec<Evidence> {
        let mut orders: Vec<usize> = self.cells.iter().map(|cell| cell.cut.order).collect();
        orders.dedup();
        let differences: Vec<Vec<[Option<Difference>; CLASSES]>> =
            orders.iter().map(|order| self.differences(*order)).collect();
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

    /// Differences of a reading's digits from every class, learned from the other readings.
    fn differences(&self, order: usize) -> Vec<[Option<Difference>; CLASSES]> {
        let mut classes = self.classes.clone();
        for cell in self.of_reading(order) {
            classes[cell.class].sum -= &cell.cut.features;
            classes[cell.class].count -= 1;
        }
        let means: Vec<Option<(Array2<f32>, usize)>> = classes
            .into_iter()
            .map(|Class { sum, count }| (count > 0).then(|| (sum / count as f32, count)))
            .collect();
        let of_cell = |cell: &Cell<'_>| {
            std::array::from_fn(|class| {
                let (mean, count) = means[class].as_ref()?;
                let mean_square = difference(&cell.cut.features, mean);
                Some(Difference { mean_square, count: *count })
            })
        };
        self.of_reading(order).map(of_cell).collect()
    }

    fn spread(&self, orders: &[usize], differences: &[Vec<[Option<Difference>; CLASSES]>]) -> Spread {
        let (mut within, mut between) = (Vec::new(), Vec::new());
        for (order, differences) in orders.iter().zip(differences) {
            for (cell, differences) in self.of_reading(*order).zip(differences) {
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

    fn against(
        &self,
        order: usize,
        differences: &[[Option<Difference>; CLASSES]],
        spread: Spread,
    ) -> Evidence {
        let prior = (WRONG_LABEL / (1.0 - WRONG_LABEL)).ln();
        let text = self.of_reading(order).next().map_or("", |cell| cell.cut.told.text.as_str());
        let mut evidence = Evidence { order, log_odds: prior, seems: text.to_owned(), witness: None };
        let mut seems: Vec<char> = text.chars().collect();
        let mut strongest = 0.0;
        for (cell, differences) in self.of_reading(order).zip(differences) {
            let (log_ratio, other) = spread.against(cell, differences);
            evidence.log_odds += ((1.0 - WRONG_DIGIT) + WRONG_DIGIT * log_ratio.min(60.0).exp()).ln();
            if log_ratio <= 0.0 {
                continue;
            }
            if let (Some(seen), Some(digit)) = (seems.get_mut(cell.place), char::from_digit(other as u32, 10))
            {
                *seen = digit;
            }
            if log_ratio > strongest {
                strongest = log_ratio;
                evidence.witness = self.most_like(cell, other);
            }
        }
        evidence.seems = seems.into_iter().collect();
        evidence
    }

    /// The reading that shows a digit of a class most like this cell, and the digit.
    fn most_like(&self, cell: &Cell<'_>, class: usize) -> Option<(usize, char)> {
        let others =
            self.cells.iter().filter(|other| other.class == class && other.cut.order != cell.cut.order);
        let rated = others.map(|other| (difference(&cell.cut.features, &other.cut.features), other));
        let (_, nearest) = rated.min_by(|one, other| one.0.total_cmp(&other.0))?;
        Some((nearest.cut.order, nearest.cut.character))
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

    /// Log density of a picture that looks like no class known, differing by a share of what classes differ by.
    fn log_density_of_unknown(&self, share: f32) -> f32 {
        self.log_density(Difference { mean_square: share * self.between, count: usize::MAX })
    }

    /// Log ratio of the probabilities of all other classes and of the one labelled, and the likeliest of the others.
    fn against(&self, cell: &Cell<'_>, differences: &[Option<Difference>; CLASSES]) -> (f32, usize) {
        let unknown = self.log_density_of_unknown(OUTLIER_DIFFERENCE);
        let density =
            |class: usize| cell.prior[class] + differences[class].map_or(unknown, |d| self.log_density(d));
        let others = (0..CLASSES).filter(|class| *class != cell.class).map(|class| (density(class), class));
        let (best, other) =
            others.clone().fold((f32::NEG_INFINITY, 0), |best, one| if one.0 > best.0 { one } else { best });
        let sum: f32 = others.map(|(density, _)| (density - best).exp()).sum();
        let outlier = OUTLIER.ln() + cell.prior[cell.class] + unknown;
        (best + sum.ln() - log_sum(density(cell.class), outlier), other)
    }
}

/// Probabilities that allow for a face unlike all others.
fn tempered(log_probabilities: [f32; CLASSES]) -> [f32; CLASSES] {
    log_probabilities.map(|log| ((1.0 - UNUSUAL_FACE) * log.exp() + UNUSUAL_FACE / CLASSES as f32).ln())
}

fn log_sum(one: f32, other: f32) -> f32 {
    let most = one.max(other);
    most + ((one - most).exp() + (other - most).exp()).ln()
}

fn median(values: &mut [f32]) -> Option<f32> {
    values.sort_by(f32::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Mean square difference of a picture from a mean shape, at the shift and the contrast where it is least.
fn difference(picture: &Array2<f32>, mean: &Array2<f32>) -> f32 {
    let shifts = (-OFF_PX..=OFF_PX).flat_map(|down| (-OFF_PX..=OFF_PX).map(move |right| (down, right)));
    shifts.map(|(down, right)| shifted_difference(picture, mean, down, right)).fold(f32::INFINITY, f32::min)
}

fn shifted_difference(picture: &Array2<f32>, mean: &Array2<f32>, down: isize, right: isize) -> f32 {
    let (rows, cols) = picture.dim();
    let overlap = |length: usize, off: isize| {
        let first = off.unsigned_abs().min(length);
        if off >= 0 { (0..length - first, first..length) } else { (first..length, 0..length - first) }
    };
    let ((rows, mean_rows), (cols, mean_cols)) = (overlap(rows, down), overlap(cols, right));
    let picture = picture.slice(ndarray::s![rows, cols]);
    let mean = mean.slice(ndarray::s![mean_rows, mean_cols]);
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
