//! Column masks: the columns at which the characters of a region's texts can stand; scores are needed only
//! there.

use std::collections::BTreeSet;

use super::alphabet::Alphabet;
use crate::recognise::text::grammar::{Grammar, GrammarNode, Slot};
use crate::recognise::text::placement::{Anchor, POSITION_TOLERANCE_HALF_COLS, Placement};

/// The columns at which characters can stand. All digits have the same columns.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ColumnMask {
    /// For every whole column of the window, whether the decoder needs the score of a digit whose left edge is there.
    digits: Vec<bool>,
    /// For every whole column of the window, whether the decoder needs the score of another character whose left edge
    /// is there.
    others: Vec<bool>,
    /// For every alphabet index, whether the character is a digit.
    is_digit: Vec<bool>,
}

impl ColumnMask {
    /// The mask for the texts of a grammar at a placement, in a window `cols` columns wide.
    #[must_use]
    pub fn new(alphabet: &Alphabet, grammar: &Grammar, placement: &Placement, cols: usize) -> Self {
        let is_digit = alphabet.shapes.iter().map(|shape| shape.character.is_ascii_digit()).collect();
        let mut mask = Self { digits: vec![false; cols], others: vec![false; cols], is_digit };
        let nodes = grammar.nodes(placement.anchor);
        let beside = (2.0 * alphabet.pitch()).round() as i32;
        // Positions of the edge that is not anchored after every node of the prefix tree, in halves of a working
        // pixel.
        let mut ends: Vec<BTreeSet<i32>> = Vec::with_capacity(nodes.len());
        for node in nodes {
            let from = match node.parent {
                Some(parent) => ends[parent].clone(),
                None => start_half_columns(placement, alphabet, nodes).collect(),
            };
            let mut edges = BTreeSet::new();
            for shape in alphabet.shapes.iter().filter(|shape| node.slot.allows(shape.character)) {
                for (left, edge) in from.iter().map(|from| placement.anchor.append(*from, shape.advance)) {
                    mask.add(node.slot == Slot::Digit, left, 0);
                    if node.ends {
                        // The decoder tests whether another digit stands beyond the free edge.
                        let by = if placement.anchor == Anchor::Right { -beside } else { beside };
                        mask.add(true, left + by, POSITION_TOLERANCE_HALF_COLS + 1);
                        if shape.character == '1' && placement.anchor != Anchor::Right {
                            // The next digit may begin in the right half of the cell of a 1.
                            mask.add(
                                true,
                                left + 3 * beside / 4,
                                beside / 4 + POSITION_TOLERANCE_HALF_COLS + 1,
                            );
                        }
                    }
                    if node.parent.is_none() && placement.anchor == Anchor::Centre {
                        mask.add(true, left - beside, POSITION_TOLERANCE_HALF_COLS + 1);
                    }
                    if (0..=2 * cols as i32).contains(&edge) {
                        edges.insert(edge);
                    }
                }
            }
            ends.push(edges);
        }
        mask
    }

    /// Adds the whole columns at which scores are needed for a character whose left edge is at most `further`
    /// from `left`, both in halves of a working pixel. The tolerance of a character's position is added.
    fn add(&mut self, is_digit: bool, left: i32, further: i32) {
        let columns = if is_digit { &mut self.digits } else { &mut self.others };
        let within = 2 * POSITION_TOLERANCE_HALF_COLS + further;
        // A score at a half column between two whole columns needs both of these.
        for column in (left - within).div_euclid(2)..=(left + within + 1).div_euclid(2) {
            if let Some(column) = usize::try_from(column).ok().and_then(|column| columns.get_mut(column)) {
                *column = true;
            }
        }
    }

    /// For every column, whether the character with alphabet index `index` needs a score there.
    #[must_use]
    pub fn columns(&self, index: usize) -> &[bool] {
        if self.is_digit.get(index) == Some(&true) { &self.digits } else { &self.others }
    }
}

/// Positions at which the texts of a prefix tree `nodes` can start, in halves of a working pixel from
/// the left edge of the window.
pub(in crate::recognise) fn start_half_columns(
    placement: &Placement,
    alphabet: &Alphabet,
    nodes: &[GrammarNode],
) -> impl Iterator<Item = i32> + use<> {
    let half = |column: f32| (2.0 * column).round() as i32;
    let Placement { position, shifts, anchor, .. } = *placement;
    let (first, last) = (position + shifts.0 as f32, position + shifts.1 as f32);
    let (narrowest, widest) = match anchor {
        Anchor::Left | Anchor::Right => (0.0, 0.0),
        Anchor::Centre => text_widths(alphabet, nodes),
    };
    (half(first - 0.5 * widest)..=half(last - 0.5 * narrowest)).step_by(2)
}

/// Widths of the narrowest and of the widest text of a prefix tree `nodes`, in columns.
fn text_widths(alphabet: &Alphabet, nodes: &[GrammarNode]) -> (f32, f32) {
    let mut widths: Vec<(f32, f32)> = Vec::with_capacity(nodes.len());
    let mut all = (f32::INFINITY, 0.0_f32);
    for node in nodes {
        let parent = node.parent.and_then(|parent| widths.get(parent)).copied().unwrap_or((0.0, 0.0));
        let shapes = alphabet.shapes.iter().filter(|shape| node.slot.allows(shape.character));
        let (min, max) = shapes.fold((f32::INFINITY, 0.0_f32), |(min, max), shape| {
            (min.min(shape.advance), max.max(shape.advance))
        });
        let own = (parent.0 + min, parent.1 + max);
        if node.ends && own.0.is_finite() {
            all = (all.0.min(own.0), all.1.max(own.1));
        }
        widths.push(own);
    }
    if all.0.is_finite() { all } else { (0.0, 0.0) }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use ndarray::Array2;

    use super::*;
    use crate::recognise::decode::Decoder;
    use crate::recognise::features::high_pass::HighPass;
    use crate::recognise::score::matcher::Matcher;
    use crate::recognise::score::noise::Noise;
    use crate::recognise::templates::alphabet::Shape;

    const ROWS: usize = 9;
    const COLS: usize = 75;

    /// Pseudo-random levels.
    fn levels((rows, cols): (usize, usize), seed: usize) -> Array2<f32> {
        Array2::from_shape_fn((rows, cols), |(y, x)| {
            let mixed = (y * 31 + x * 17 + seed * 101).wrapping_mul(2_654_435_761) >> 9;
            (mixed % 61) as f32 - 30.0
        })
    }

    /// An alphabet whose separators are `narrow` working pixels wide, whose 1 has the mean of the widths `narrow` and
    /// `wide`, and whose other digits and minus sign are `wide` working pixels wide.
    fn alphabet(narrow: f32, wide: f32) -> Alphabet {
        let shape = |(seed, character): (usize, char)| {
            let advance = match character {
                '.' | ':' => narrow,
                '1' => 0.5 * (narrow + wide),
                _ => wide,
            };
            let template = levels((ROWS, advance.ceil() as usize), seed);
            Shape { character, template, advance, image_count: None }
        };
        let shapes: Vec<Shape> = "0123456789.:-".chars().enumerate().map(shape).collect();
        let high_pass = HighPass::for_cell_width(wide);
        Alphabet { shapes, rows: ROWS, cols: wide.ceil() as usize, high_pass, factor: 1 }
    }

    #[test]
    fn decoding_with_the_mask_gives_the_same_as_with_all_columns() {
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
                let mask = ColumnMask::new(&alphabet, grammar, &placement, COLS);
                let minus = alphabet.index_of('-').unwrap();
                let few = anchor == Anchor::Centre || mask.columns(minus).contains(&false);
                assert!(few, "the minus sign needs few columns");
                let decoder = |mask| Decoder { alphabet: &alphabet, scorer: &matcher, grammar, mask };
                for seed in 0..40 {
                    let features = levels((ROWS + 2, COLS), 1000 * number + seed);
                    let everywhere = decoder(None).decode(&features, &placement);
                    assert_eq!(decoder(Some(&mask)).decode(&features, &placement), everywhere);
                    read += usize::from(everywhere.is_some());
                }
            }
        }
        assert!(read > 600, "{read}");
    }
}
