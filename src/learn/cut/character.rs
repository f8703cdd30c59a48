//! Cuts the characters of labelled texts out of the features of their region.

use ndarray::Array2;

use crate::learn::group::size_group::{RegionExamples, SizeGroup};
use crate::learn::layout::text_layout::TextLayout;
use crate::recognise::features_at;

/// One character of a labelled text.
#[derive(Debug, Clone)]
pub(crate) struct CharacterCut {
    pub(crate) character: char,
    /// Index of the region in its size group.
    pub(crate) region: usize,
    /// Index of the labelled text among those of the region.
    pub(crate) example: usize,
    /// Index of the label among all labels.
    pub(crate) label_index: usize,
    /// The whole labelled text.
    pub(crate) text: String,
    /// Position of the character in the text, from 0.
    pub(crate) position: usize,
    /// Row of the cell's top left corner in the region's window, in working pixels.
    pub(crate) top: usize,
    /// Column of the cell's top left corner in the region's window, in working pixels.
    pub(crate) left: f32,
    /// Advance of the character, in working pixels.
    pub(crate) advance: f32,
    /// Features of the cell, in grey levels.
    pub(crate) features: Array2<f32>,
}

impl CharacterCut {
    /// The features of the cell, taken again from the group's current features, which change when the
    /// background is removed; `None` if the cell does not lie within the features.
    pub(crate) fn features_in(&self, group: &SizeGroup<'_>) -> Option<Array2<f32>> {
        let features = group.regions.get(self.region)?.features.get(self.example)?;
        features_at(features, self.top, self.left, self.features.dim())
    }

    /// The features of a cell of the given size (rows, columns) with the character in its middle; `None` if it does not
    /// lie within the features. Narrow characters are compared with others in cells of one size.
    pub(crate) fn features_in_cell(
        &self,
        group: &SizeGroup<'_>,
        size: (usize, usize),
    ) -> Option<Array2<f32>> {
        if self.features.dim() == size {
            return Some(self.features.clone());
        }
        let whole = group.regions.get(self.region)?.features.get(self.example)?;
        let excess = size.1.saturating_sub(self.features.ncols()) as f32;
        features_at(whole, self.top, self.left - 0.5 * excess, size)
    }
}

/// Size of the largest cell of a digit (rows, columns), in working pixels; (0, 0) without digits.
pub(crate) fn largest_digit_cell(cuts: &[CharacterCut]) -> (usize, usize) {
    let digits = cuts.iter().filter(|cut| cut.character.is_ascii_digit());
    digits.map(|cut| cut.features.dim()).max_by_key(|size| size.1).unwrap_or((0, 0))
}

/// The digits among some cuts, in cells of the size of the largest one; without those whose cell does not lie within the
/// features.
pub(crate) fn digits_in_equal_cells(
    group: &SizeGroup<'_>,
    cuts: &[CharacterCut],
) -> Vec<(char, Array2<f32>)> {
    let size = largest_digit_cell(cuts);
    let digits = cuts.iter().filter(|cut| cut.character.is_ascii_digit());
    digits.filter_map(|cut| Some((cut.character, cut.features_in_cell(group, size)?))).collect()
}

/// Position at which a labelled text is cut into characters.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TextPosition {
    /// Index of the region in its size group.
    pub(crate) region: usize,
    /// Index of the labelled text among those of the region.
    pub(crate) example: usize,
    /// Row of the window at which the cells begin, in working pixels.
    pub(crate) top: usize,
    /// Shift of the text to the right, relative to its position in the text layout, in working pixels.
    pub(crate) shift: f32,
}

/// The characters of one labelled text. Characters whose cell extends beyond the window are omitted.
pub(crate) fn cut_text(group: &SizeGroup<'_>, layout: &TextLayout, at: TextPosition) -> Vec<CharacterCut> {
    let TextPosition { region, example, top, shift } = at;
    let RegionExamples { label_indices, examples, features, .. } = &group.regions[region];
    let text = &examples[example].label.text;
    let edges = layout.advances.edges(text, &layout.lines[region]);
    let cut = |(position, (character, edge)): (usize, (char, f32))| {
        let advance = layout.advances.of(character);
        let left = edge + shift;
        let size = (group.rows, advance.ceil() as usize);
        let features = features_at(&features[example], top, left, size)?;
        let (label_index, text) = (label_indices[example], text.clone());
        Some(CharacterCut {
            character,
            region,
            example,
            label_index,
            text,
            position,
            top,
            left,
            advance,
            features,
        })
    };
    text.chars().zip(edges).enumerate().filter_map(cut).collect()
}

/// Selects the cuts of one labelled text from all cuts.
pub(crate) fn cuts_of_text(cuts: &[CharacterCut], region: usize, example: usize) -> Vec<&CharacterCut> {
    cuts.iter().filter(|cut| (cut.region, cut.example) == (region, example)).collect()
}
