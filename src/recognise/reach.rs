//! Reach: the columns at which the characters of a region's texts can stand, so that no others need be rated.

use std::collections::BTreeSet;

use super::alphabet::Alphabet;
use super::decode::{Anchor, Placement, WITHIN_PLACE_HALVES};
use super::grammar::{Grammar, Slot};

/// Where characters can stand. All digits are rated wherever one of them can.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reach {
    /// By whole column of the window.
    digits: Vec<bool>,
    marks: Vec<bool>,
    /// By alphabet index.
    is_digit: Vec<bool>,
}

impl Reach {
    /// Of texts of a grammar at a placement, in a window of so many columns.
    #[must_use]
    pub fn of(alphabet: &Alphabet, grammar: &Grammar, placement: &Placement, cols: usize) -> Self {
        let is_digit = alphabet.shapes.iter().map(|shape| shape.character.is_ascii_digit()).collect();
        let mut reach = Self { digits: vec![false; cols], marks: vec![false; cols], is_digit };
        let steps = grammar.steps(placement.anchor);
        let beside = (2.0 * alphabet.pitch()).round() as i32;
        // Free ends of the texts under construction, in half columns, after every step.
        let mut ends: Vec<BTreeSet<i32>> = Vec::with_capacity(steps.len());
        for step in steps {
            let from = match step.before {
                Some(before) => ends[before].clone(),
                None => placement.starts(alphabet, steps).collect(),
            };
            let mut edges = BTreeSet::new();
            for shape in alphabet.shapes.iter().filter(|shape| step.slot.takes(shape.character)) {
                for (left, edge) in from.iter().map(|from| placement.anchor.set(*from, shape.advance)) {
                    reach.add(step.slot == Slot::Digit, left, 0);
                    if step.ends {
                        // Whether another digit stands beyond the free end is looked at, to within a rounding.
                        let by = if placement.anchor == Anchor::Right { -beside } else { beside };
                        reach.add(true, left + by, WITHIN_PLACE_HALVES + 1);
                    }
                    if step.before.is_none() && placement.anchor == Anchor::Centre {
                        reach.add(true, left - beside, WITHIN_PLACE_HALVES + 1);
                    }
                    if (0..=2 * cols as i32).contains(&edge) {
                        edges.insert(edge);
                    }
                }
            }
            ends.push(edges);
        }
        reach
    }

    /// Adds the columns that are asked for where a character stands at half column `left`, or up to `further`
    /// half columns off.
    fn add(&mut self, is_digit: bool, left: i32, further: i32) {
        let columns = if is_digit { &mut self.digits } else { &mut self.marks };
        let within = 2 * WITHIN_PLACE_HALVES + further;
        // Between two whole columns both are asked for.
        for column in (left - within).div_euclid(2)..=(left + within + 1).div_euclid(2) {
            if let Some(column) = usize::try_from(column).ok().and_then(|column| columns.get_mut(column)) {
                *column = true;
            }
        }
    }

    /// For every column whether character `index` of the alphabet is to be rated there.
    #[must_use]
    pub fn columns(&self, index: usize) -> &[bool] {
        if self.is_digit.get(index) == Some(&true) { &self.digits } else { &self.marks }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use ndarray::Array2;

    use super::*;
    use crate::recognise::alphabet::Shape;
    use crate::recognise::decode::Decoder;
    use crate::recognise::feature::HighPass;
    use crate::recognise::matcher::Matcher;
    use crate::recognise::noise::Noise;

    const ROWS: usize = 9;
    const COLS: usize = 75;

    /// Levels that look arbitrary.
    fn levels((rows, cols): (usize, usize), seed: usize) -> Array2<f32> {
        Array2::from_shape_fn((rows, cols), |(y, x)| {
            let mixed = (y * 31 + x * 17 + seed * 101).wrapping_mul(2_654_435_761) >> 9;
            (mixed % 61) as f32 - 30.0
        })
    }

    /// Digits of several widths, and the marks.
    fn alphabet(narrow: f32, wide: f32) -> Alphabet {
        let shape = |(seed, character): (usize, char)| {
            let advance = match character {
                '.' | ':' => narrow,
                '1' => 0.5 * (narrow + wide),
                _ => wide,
            };
            let template = levels((ROWS, advance.ceil() as usize), seed);
            Shape { character, template, advance, pictures: None }
        };
        let shapes: Vec<Shape> = "0123456789.:-".chars().enumerate().map(shape).collect();
        let high_pass = HighPass::for_cell_width(wide);
        Alphabet { shapes, rows: ROWS, cols: wide.ceil() as usize, high_pass, factor: 1 }
    }

    #[test]
    fn what_is_read_within_reach_is_what_is_read_with_all_columns_rated() {
        let grammars = [Grammar::new(3, 0, false), Grammar::new(4, 1, true)];
        let mut read = 0;
        for (number, (narrow, wide)) in [(5.0, 9.0), (8.5, 8.5), (3.3, 12.6)].into_iter().enumerate() {
            let alphabet = alphabet(narrow, wide);
            let matcher = Matcher::new(&alphabet, &Noise::white(ROWS, 20.0)).unwrap();
            for (grammar, anchor) in
                grammars.iter().flat_map(|grammar| Anchor::ALL.map(|anchor| (grammar, anchor)))
            {
                let position = 7.5 + 58.5 * anchor.share_before();
                let placement = Placement { top: 1, anchor, position, shifts: (-2, 2) };
                let reach = Reach::of(&alphabet, grammar, &placement, COLS);
                let minus = alphabet.index_of('-').unwrap();
                let few = anchor == Anchor::Centre || reach.columns(minus).contains(&false);
                assert!(few, "marks stand in few places");
                let decoder = |reach| Decoder { alphabet: &alphabet, scorer: &matcher, grammar, reach };
                for seed in 0..40 {
                    let features = levels((ROWS + 2, COLS), 1000 * number + seed);
                    let everywhere = decoder(None).decode(&features, &placement);
                    assert_eq!(decoder(Some(&reach)).decode(&features, &placement), everywhere);
                    read += usize::from(everywhere.is_some());
                }
            }
        }
        assert!(read > 600, "{read}");
    }
}
