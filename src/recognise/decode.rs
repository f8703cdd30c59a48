//! Decoding: the text that explains a region's features best, its closest rivals, and how sure that is.

use arrayvec::{ArrayString, ArrayVec};
use ndarray::Array2;

use super::alphabet::Alphabet;
use super::feature::MARGIN_PX;
use super::goodness_of_fit::GoodnessOfFit;
use super::grammar::{Grammar, Step};
use super::matcher::Scorer;
use super::patches::{correlation_of, patch_at, product, take_patch};
use super::reach::Reach;
use super::scenery::Standing;
use super::scores::Scores;

/// Most characters of a text.
pub const LONGEST_TEXT: usize = 12;

/// More characters than there are: digits and marks.
pub(super) const MOST_SHAPES: usize = 16;

/// A short text.
pub type Text = ArrayString<LONGEST_TEXT>;

/// Half columns that a single character may stand off the place its text gives it: glyphs set by a
/// renderer that rounds positions stand up to a column off their even spacing.
pub(super) const WITHIN_PLACE_HALVES: i32 = 2;

/// What stays put of a text when its length changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Left-aligned: the first character's left edge stays put.
    Left,
    /// Right-aligned: the last character's right edge stays put.
    Right,
    /// Centred: the middle between both edges stays put.
    Centre,
}

impl Anchor {
    /// All alignments.
    pub const ALL: [Self; 3] = [Self::Left, Self::Right, Self::Centre];

    /// The share of a text's width that lies left of what stays put.
    #[must_use]
    pub fn share_before(self) -> f32 {
        match self {
            Self::Left => 0.0,
            Self::Right => 1.0,
            Self::Centre => 0.5,
        }
    }

    /// Left edge of a character that continues a text from half column `from` outwards, and the edge that the next
    /// one continues from.
    pub(super) fn set(self, from: i32, advance: f32) -> (i32, i32) {
        // Rounded: an advance is above 0.
        let advance = (2.0 * advance + 0.5) as i32;
        match self {
            Self::Left | Self::Centre => (from, from + advance),
            Self::Right => (from - advance, from - advance),
        }
    }
}

/// Where a region's text stands in its window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placement {
    /// Row of the cells' top edge.
    pub top: usize,
    /// What stays put.
    pub anchor: Anchor,
    /// Its column.
    pub position: f32,
    /// How far a line of text may be shifted from there, in whole columns: (left, right).
    pub shifts: (i32, i32),
}

impl Placement {
    /// Half columns at which texts built by these steps start.
    pub(super) fn starts(&self, alphabet: &Alphabet, steps: &[Step]) -> impl Iterator<Item = i32> + use<> {
        let half = |column: f32| (2.0 * column).round() as i32;
        let (first, last) = (self.position + self.shifts.0 as f32, self.position + self.shifts.1 as f32);
        let (narrowest, widest) = match self.anchor {
            Anchor::Left | Anchor::Right => (0.0, 0.0),
            Anchor::Centre => widths(alphabet, steps),
        };
        (half(first - 0.5 * widest)..=half(last - 0.5 * narrowest)).step_by(2)
    }

    /// Whether a text from one half column to another stands where it may.
    fn takes(&self, start: i32, edge: i32) -> bool {
        let middle = 0.25 * (start + edge) as f32;
        let (left, right) = (self.shifts.0 as f32 - 0.5, self.shifts.1 as f32 + 0.5);
        self.anchor != Anchor::Centre || (left..=right).contains(&(middle - self.position))
    }
}

/// Widths of the narrowest and of the widest text that steps build, in columns.
fn widths(alphabet: &Alphabet, steps: &[Step]) -> (f32, f32) {
    let mut until: Vec<(f32, f32)> = Vec::with_capacity(steps.len());
    let mut all = (f32::INFINITY, 0.0_f32);
    for step in steps {
        let before = step.before.and_then(|before| until.get(before)).copied().unwrap_or((0.0, 0.0));
        let shapes = alphabet.shapes.iter().filter(|shape| step.slot.takes(shape.character));
        let (least, most) = shapes.fold((f32::INFINITY, 0.0_f32), |(least, most), shape| {
            (least.min(shape.advance), most.max(shape.advance))
        });
        let own = (before.0 + least, before.1 + most);
        if step.ends && own.0.is_finite() {
            all = (all.0.min(own.0), all.1.max(own.1));
        }
        until.push(own);
    }
    if all.0.is_finite() { all } else { (0.0, 0.0) }
}

/// What one place of the decoded text says.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The character taken.
    pub character: char,
    /// Column of its left edge.
    pub left: f32,
    /// Log-likelihood ratio of every character of the alphabet against nothing, in alphabet order;
    /// negative infinity for those that may not stand here.
    pub scores: ArrayVec<f32, MOST_SHAPES>,
    /// Normalised correlation of the character's template with the features.
    pub fit: f32,
    /// How much of the least visible stroke is there; 1 for a glyph as taught.
    pub least_stroke: f32,
    /// Goodness of fit of the features to this character.
    pub goodness: GoodnessOfFit,
    /// Strength of the match: 1 for a glyph as taught, 0 for nothing.
    pub strength: f32,
    /// Probabilities of the digits 0 to 9 by the shape alone; `None` where the shape prior was not asked.
    pub by_shape: Option<[f32; 10]>,
}

/// A decoded text.
#[derive(Debug, Clone, PartialEq)]
pub struct Decoded {
    /// The text.
    pub text: Text,
    /// Its places, left to right.
    pub places: Vec<Place>,
    /// Log-likelihood ratio of the text against nothing.
    pub total: f32,
    /// The best text of every other length, and its log-likelihood deficit.
    pub other_lengths: Vec<(Text, f32)>,
    /// Margin in log-likelihood over the best text of another length, or over no text.
    pub length_margin: f32,
    /// Strength of the strongest digit that could stand beyond a free end of the text: about 0
    /// where nothing stands.
    pub beside: f32,
    /// Ink in the cells next to the text, inside the box, over that of the text's own cells: about 0
    /// where nothing stands. 0 for a text that can hold no more digits, and, unless the text has a leading zero, where
    /// all digits are known and well seen.
    pub ink_beside: f32,
    /// Whether the text has a leading zero though it could hold more digits: its first digit may be missing.
    pub has_leading_zero: bool,
    /// Probability by shape alone that a digit not known stands there; 0 where the shape prior was not asked.
    pub unknown_beside: f32,
}

impl Decoded {
    /// The same where the features were brought to the templates' contrast from another: the noise grew
    /// with them, so that they say less, or more.
    pub(super) fn at_contrast(mut self, contrast: f32) -> Self {
        if contrast == 1.0 {
            return self;
        }
        let weight = contrast * contrast;
        self.total *= weight;
        self.length_margin *= weight;
        self.other_lengths.iter_mut().for_each(|(_, deficit)| *deficit *= weight);
        for place in &mut self.places {
            place.scores.iter_mut().for_each(|score| *score *= weight);
            place.goodness.t2 *= weight;
            place.goodness.t2_without_traces *= weight;
        }
        self
    }

    /// The templates of its characters where they stand, their top edge in row `top`.
    pub(super) fn standing<'a>(
        &'a self,
        alphabet: &'a Alphabet,
        top: usize,
    ) -> impl Iterator<Item = Standing<'a>> {
        let standing = move |place: &'a Place| {
            let shape = alphabet.shapes.get(alphabet.index_of(place.character)?)?;
            Some((&shape.template, top, place.left))
        };
        self.places.iter().filter_map(standing)
    }
}

/// Decodes one region.
#[derive(Debug, Clone)]
pub struct Decoder<'a, S> {
    /// The characters.
    pub alphabet: &'a Alphabet,
    /// Rates them.
    pub scorer: &'a S,
    /// The texts allowed.
    pub grammar: &'a Grammar,
    /// Where their characters can stand; `None`: anywhere.
    pub reach: Option<&'a Reach>,
}

/// A text under construction, from the anchored end outwards: its last character and the one before.
#[derive(Debug, Clone, Copy)]
struct Node {
    /// Free end, in half columns.
    edge: i32,
    total: f32,
    /// The kind of the last character.
    kind: usize,
    /// Its left edge, in half columns.
    left: i32,
    /// The node it continues.
    before: Option<usize>,
}

/// Characters, by alphabet index, and their left edges in half columns.
type Path = ArrayVec<(usize, i32), LONGEST_TEXT>;

/// The best complete text of one pattern.
#[derive(Debug, Clone)]
struct Complete {
    total: f32,
    /// Left to right.
    path: Path,
}

/// Texts under construction that end differently after a step; room is made for so many.
const USUAL_NODES: usize = 8;

/// All texts under construction of one frame.
#[derive(Debug)]
struct Search {
    nodes: Vec<Node>,
    /// Nodes of every step of the grammar, as a range.
    by_step: Vec<std::ops::Range<usize>>,
}

impl<S: Scorer> Decoder<'_, S> {
    /// The best text at a placement; `None` where no text explains the features better than nothing.
    #[must_use]
    pub fn decode(&self, features: &Array2<f32>, placement: &Placement) -> Option<Decoded> {
        let scores = Scores::new(self, features, placement.top);
        let steps = self.grammar.steps(placement.anchor);
        let mut best: Vec<Option<Complete>> = vec![None; steps.len()];
        let mut search = Search::with_room(steps.len());
        for start in placement.starts(self.alphabet, steps) {
            self.search(steps, placement.anchor, start, &scores, &mut search);
            for (step, best) in best.iter_mut().enumerate().filter(|(step, _)| steps[*step].ends) {
                let Some((node, total)) = search.best_of(step, |edge| placement.takes(start, edge)) else {
                    continue;
                };
                if best.as_ref().is_none_or(|known| total > known.total) {
                    let path = search.path_to(node, placement.anchor, &scores);
                    *best = Some(Complete { total, path });
                }
            }
        }
        let complete: Vec<Complete> = best.into_iter().flatten().collect();
        let first = (0..complete.len()).max_by(|a, b| complete[*a].total.total_cmp(&complete[*b].total))?;
        Some(self.decoded(&complete, first, &scores, placement.anchor))
    }

    /// Builds all texts that start at half column `start`.
    fn search(&self, steps: &[Step], anchor: Anchor, start: i32, scores: &Scores<'_>, search: &mut Search) {
        search.nodes.clear();
        search.by_step.clear();
        for step in steps {
            let first = search.nodes.len();
            match step.before {
                None => self.extend(None, start, 0.0, (step, anchor, first), scores, &mut search.nodes),
                Some(before) => {
                    for from in search.by_step[before].clone() {
                        let Node { edge, total, .. } = search.nodes[from];
                        self.extend(
                            Some(from),
                            edge,
                            total,
                            (step, anchor, first),
                            scores,
                            &mut search.nodes,
                        );
                    }
                }
            }
            search.by_step.push(first..search.nodes.len());
        }
    }

    /// Extends a text by one character; of texts that end at the same edge the best is kept.
    fn extend(
        &self,
        before: Option<usize>,
        from: i32,
        total: f32,
        (step, anchor, first): (&Step, Anchor, usize),
        scores: &Scores<'_>,
        nodes: &mut Vec<Node>,
    ) {
        for (kind, like) in scores.kinds.iter().enumerate() {
            if !step.slot.takes(like.character) {
                continue;
            }
            let (left, edge) = anchor.set(from, like.advance);
            let Some(score) = scores.best_near_of(kind, left) else { continue };
            let node = Node { edge, total: total + score, kind, left, before };
            match nodes[first..].iter_mut().find(|other| other.edge == edge) {
                Some(twin) if twin.total >= node.total => {}
                Some(twin) => *twin = node,
                None => nodes.push(node),
            }
        }
    }

    fn decoded(&self, complete: &[Complete], first: usize, scores: &Scores<'_>, anchor: Anchor) -> Decoded {
        let Complete { total, path } = &complete[first];
        let others = complete.iter().enumerate().filter(|(other, _)| *other != first);
        let other_lengths: Vec<(Text, f32)> =
            others.map(|(_, other)| (self.text_of(&other.path), total - other.total)).collect();
        let nearest = other_lengths.iter().map(|(_, deficit)| *deficit).fold(*total, f32::min);
        let mut patch = Vec::with_capacity(self.alphabet.rows * self.alphabet.cols);
        let place = |(index, left): &(usize, i32)| self.place(*index, *left, scores, &mut patch);
        let places: Vec<Place> = path.iter().map(place).collect();
        let beside = self.strength_beside(&places, anchor, scores);
        let text = text_from(places.iter().map(|place| place.character));
        let has_leading_zero = self.grammar.has_leading_zero(&text);
        let may_be_longer =
            has_leading_zero || !(self.alphabet.has_all_digits_well_seen() || self.grammar.is_full(&text));
        let ink_beside = match may_be_longer {
            true => self.ink_beside(&places, scores.features, scores.top),
            false => 0.0,
        };
        Decoded {
            text,
            places,
            total: *total,
            other_lengths,
            length_margin: nearest,
            beside,
            ink_beside,
            has_leading_zero,
            unknown_beside: 0.0,
        }
    }

    fn text_of(&self, path: &[(usize, i32)]) -> Text {
        text_from(path.iter().map(|(index, _)| self.alphabet.shapes[*index].character))
    }

    /// The strongest digit that could stand beyond a free end of the text.
    fn strength_beside(&self, places: &[Place], anchor: Anchor, scores: &Scores<'_>) -> f32 {
        let pitch = self.alphabet.pitch();
        let (Some(first), Some(last)) = (places.first(), places.last()) else { return 0.0 };
        let lefts: &[f32] = match anchor {
            Anchor::Right => &[first.left - pitch],
            Anchor::Left => &[last.left + pitch],
            Anchor::Centre => &[first.left - pitch, last.left + pitch],
        };
        let digits = (0..self.alphabet.shapes.len())
            .filter(|index| self.alphabet.shapes[*index].character.is_ascii_digit());
        let strength = |index: usize, left: f32| {
            let score = scores.near(index, (2.0 * left).round() as i32)?;
            Some(score / self.scorer.distance2(index).max(f32::MIN_POSITIVE) + 0.5)
        };
        digits
            .flat_map(|index| lefts.iter().filter_map(move |left| strength(index, *left)))
            .fold(0.0, f32::max)
    }

    /// The ink of the fuller of the two cells next to a text, over the mean of the text's digits.
    fn ink_beside(&self, places: &[Place], features: &Array2<f32>, top: usize) -> f32 {
        let advance = |place: &Place| {
            self.alphabet.index_of(place.character).map_or(0.0, |index| self.alphabet.shapes[index].advance)
        };
        let pitch = self.alphabet.pitch();
        let ink = |left: f32, cols: f32| {
            let patch = patch_at(features, top, left, (self.alphabet.rows, cols.round() as usize))?;
            patch.as_slice().map(|levels| product(levels, levels))
        };
        let own = places.iter().filter(|place| place.character.is_ascii_digit());
        let own: Vec<f32> = own.filter_map(|place| ink(place.left, advance(place))).collect();
        let mean = own.iter().sum::<f32>() / own.len().max(1) as f32;
        let beside = lefts_beside(places, self.alphabet, features.ncols());
        beside.filter_map(|left| ink(left, pitch)).fold(0.0, f32::max) / mean.max(f32::MIN_POSITIVE)
    }

    /// Looks at one place of the chosen text closely: all characters of its kind, where the chosen one
    /// stands best. `patch` is room to work in.
    fn place(&self, index: usize, left: i32, scores: &Scores<'_>, patch: &mut Vec<f32>) -> Place {
        let shape = &self.alphabet.shapes[index];
        let left = scores.best_near(index, left).unwrap_or(left);
        let alike = |other: char| {
            other == shape.character || (other.is_ascii_digit() && shape.character.is_ascii_digit())
        };
        let all: ArrayVec<f32, MOST_SHAPES> = (0..self.alphabet.shapes.len().min(MOST_SHAPES))
            .map(
                |other| {
                    if alike(self.alphabet.shapes[other].character) { scores.at(other, left) } else { None }
                },
            )
            .map(|score| score.unwrap_or(f32::NEG_INFINITY))
            .collect();
        let column = left as f32 / 2.0;
        let is_inside = take_patch(scores.features, scores.top, column, shape.template.dim(), patch);
        let template = shape.template.as_slice().filter(|_| is_inside);
        let fit = template.map_or(0.0, |template| correlation_of(template, patch));
        let least_stroke = if is_inside { self.scorer.least_stroke(index, patch) } else { 0.0 };
        let distance2 = self.scorer.distance2(index).max(f32::MIN_POSITIVE);
        let strength = all[index] / distance2 + 0.5;
        let goodness = self.scorer.goodness_of_fit(index, &all);
        Place {
            character: shape.character,
            left: column,
            scores: all,
            fit,
            strength,
            goodness,
            least_stroke,
            by_shape: None,
        }
    }
}

/// Share of a cell next to a text that may lie outside the box: the pitch and the place of a text are not known exactly.
const OUTSIDE_SHARE: f32 = 0.2;

/// Left edges of the cells next to a text, as far as they lie inside the box of features so many columns wide.
pub(super) fn lefts_beside(places: &[Place], alphabet: &Alphabet, cols: usize) -> impl Iterator<Item = f32> {
    let pitch = alphabet.pitch();
    let advance = |place: &Place| {
        alphabet.index_of(place.character).map_or(0.0, |index| alphabet.shapes[index].advance)
    };
    let outside = (OUTSIDE_SHARE * pitch).max(1.0);
    let inside = MARGIN_PX as f32 - outside..=(cols - MARGIN_PX.min(cols)) as f32 + outside;
    let before = places.first().map(|first| first.left - pitch);
    let after = places.last().map(|last| last.left + advance(last));
    let lefts = before.into_iter().chain(after);
    lefts.filter(move |left| inside.contains(left) && inside.contains(&(left + pitch)))
}

fn text_from(characters: impl Iterator<Item = char>) -> Text {
    let mut text = Text::new();
    for character in characters.take(LONGEST_TEXT) {
        text.push(character);
    }
    text
}

impl Search {
    fn with_room(steps: usize) -> Self {
        Self { nodes: Vec::with_capacity(USUAL_NODES * steps), by_step: Vec::with_capacity(steps) }
    }

    /// The best text that ends with a step, at an edge that is allowed.
    fn best_of(&self, step: usize, is_allowed: impl Fn(i32) -> bool) -> Option<(usize, f32)> {
        let nodes = self.by_step.get(step)?.clone().filter(|node| is_allowed(self.nodes[*node].edge));
        let best = nodes.max_by(|a, b| self.nodes[*a].total.total_cmp(&self.nodes[*b].total))?;
        Some((best, self.nodes[best].total))
    }

    /// The text that ends with a node, left to right.
    fn path_to(&self, node: usize, anchor: Anchor, scores: &Scores<'_>) -> Path {
        let nodes = std::iter::successors(Some(node), |node| self.nodes[*node].before).take(LONGEST_TEXT);
        let mut path: Path = nodes
            .map(|node| {
                let Node { kind, left, .. } = self.nodes[node];
                (scores.best_of(kind, left), left)
            })
            .collect();
        if anchor != Anchor::Right {
            path.reverse();
        }
        path
    }
}
