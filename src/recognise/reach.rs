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
}

impl Reach {
    /// Of texts of a grammar at a placement, in a window of so many columns.
    #[must_use]
    pub fn of(alphabet: &Alphabet, grammar: &Grammar, placement: &Placement, cols: usize) -> Self {
        let mut reach = Self { digits: vec![false; cols], marks: vec![false; cols] };
        let steps = grammar.steps(placement.anchor);
        let beside = (2.0 * alphabet.pitch()).round() as i32;
        // Free ends of the texts under construction, in half columns, after every step.
        let mut ends: Vec<BTreeSet<i32>> = Vec::with_capacity(steps.len());
        for step in steps {
            let from = match step.before {
                Some(before) => ends[before].clone(),
                None => placement.starts().map(|(_, start)| start).collect(),
            };
            let mut edges = BTreeSet::new();
            for shape in alphabet.shapes.iter().filter(|shape| step.slot.takes(shape.character)) {
                for (left, edge) in from.iter().map(|from| placement.anchor.set(*from, shape.advance)) {
                    reach.add(step.slot == Slot::Digit, left, 0);
                    if step.ends {
                        // Whether another digit stands beyond the free end is looked at, to within a rounding.
                        let by = if placement.anchor == Anchor::Left { beside } else { -beside };
                        reach.add(true, left + by, WITHIN_PLACE_HALVES + 1);
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

    /// The columns at which digits, or else marks, can stand.
    #[must_use]
    pub fn columns(&self, digits: bool) -> &[bool] {
        if digits { &self.digits } else { &self.marks }
    }
}
