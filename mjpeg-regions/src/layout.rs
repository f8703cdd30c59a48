//! Determines which blocks of an image are decoded, and where their pixels belong in the plane.

use std::ops::Range;

use arrayvec::ArrayVec;

use super::header::{Component, Header, MAX_BLOCKS, MAX_COMPONENTS};
use super::{BLOCK_SIDE, Region};

/// The blocks that overlap the regions of an image.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct BlockSelection {
    width: usize,
    height: usize,
    /// Columns and rows of blocks that each region overlaps; no range is empty.
    ranges: Vec<(Range<usize>, Range<usize>)>,
}

impl BlockSelection {
    /// The blocks that overlap `regions` in an image of `width` x `height` pixels; `None` if there are none.
    pub(crate) fn new(width: usize, height: usize, regions: &[Region]) -> Option<Self> {
        let blocks = |range: Range<usize>, size: usize| {
            let range = range.start..range.end.min(size);
            (!range.is_empty()).then(|| range.start / BLOCK_SIDE..range.end.div_ceil(BLOCK_SIDE))
        };
        let ranges_of = |region: &Region| {
            Some((blocks(region.left..region.right, width)?, blocks(region.top..region.bottom, height)?))
        };
        let ranges: Vec<_> = regions.iter().filter_map(ranges_of).collect();
        (!ranges.is_empty()).then_some(Self { width, height, ranges })
    }

    /// The selection of no block of an image of `width` x `height` pixels.
    pub(crate) fn none(width: usize, height: usize) -> Self {
        Self { width, height, ranges: Vec::new() }
    }

    /// Width and height of the image in pixels.
    pub(crate) fn size(&self) -> (usize, usize) {
        (self.width, self.height)
    }

    /// Number of columns and rows of blocks of the image.
    pub(crate) fn blocks(&self) -> (usize, usize) {
        (self.width.div_ceil(BLOCK_SIDE), self.height.div_ceil(BLOCK_SIDE))
    }

    fn contains(&self, column: usize, row: usize) -> bool {
        self.ranges.iter().any(|(columns, rows)| columns.contains(&column) && rows.contains(&row))
    }
}

/// The minimum coded units (ITU-T T.81, annex A.2) of images with the same components.
#[derive(Clone, Default)]
pub(crate) struct Layout {
    /// The components from which the other fields were computed.
    components: ArrayVec<Component, MAX_COMPONENTS>,
    /// For each minimum coded unit: one bit for each of its luma blocks, set if the block is decoded; the lowest bit is
    /// that of the first block.
    pub selected: Vec<u16>,
    /// The number of luma blocks in a minimum coded unit; they come first in it.
    pub luma_blocks: usize,
    /// For each block of a minimum coded unit, the index of its block decoder.
    pub decoders: ArrayVec<usize, MAX_BLOCKS>,
    /// The index in the plane of the first pixel of each selected block. The plane consists of whole blocks.
    pub offsets: Vec<usize>,
}

impl Layout {
    /// Computes the layout for an image of the selection's size with the components of `header`. Does nothing if these
    /// are the components of the current layout.
    pub(crate) fn adapt(&mut self, selection: &BlockSelection, header: &Header<'_>) {
        if self.components == header.components {
            return;
        }
        let Some(luma) = header.components.first() else { return };
        self.luma_blocks = luma.columns * luma.rows;
        self.decoders.clear();
        for component in &header.components {
            self.decoders.extend(std::iter::repeat_n(component.decoder, component.columns * component.rows));
        }
        self.select(selection, luma);
        self.components.clone_from(&header.components);
    }

    fn select(&mut self, selection: &BlockSelection, luma: &Component) {
        self.selected.clear();
        self.offsets.clear();
        let (columns, rows) = selection.blocks();
        let (unit_columns, unit_rows) = (columns.div_ceil(luma.columns), rows.div_ceil(luma.rows));
        for unit in 0..unit_columns * unit_rows {
            let (left, top) = (unit % unit_columns * luma.columns, unit / unit_columns * luma.rows);
            let mut bits = 0;
            for block in 0..self.luma_blocks {
                let (column, row) = (left + block % luma.columns, top + block / luma.columns);
                if selection.contains(column, row) {
                    bits |= 1 << block;
                    self.offsets.push((row * BLOCK_SIDE * columns + column) * BLOCK_SIDE);
                }
            }
            self.selected.push(bits);
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    fn rows(top: usize, bottom: usize) -> Region {
        Region { left: 10, top, right: 90, bottom }
    }

    #[test]
    fn blocks_that_regions_touch_inside_the_image_are_selected() {
        let selection = BlockSelection::new(61, 100, &[rows(70, 200), rows(0, 8)]).unwrap();
        assert_eq!(selection.ranges, [(1..8, 8..13), (1..8, 0..1)]);
        assert_eq!(selection.blocks(), (8, 13));
        assert!(selection.contains(1, 8) && selection.contains(7, 0));
        assert!(!selection.contains(0, 8) && !selection.contains(7, 1));
    }

    #[test]
    fn regions_outside_the_image_select_nothing() {
        assert_eq!(BlockSelection::new(64, 100, &[rows(120, 130)]), None);
        assert_eq!(BlockSelection::new(64, 100, &[rows(12, 12)]), None);
        assert_eq!(BlockSelection::new(10, 100, &[rows(12, 20)]), None);
        assert_eq!(BlockSelection::new(64, 100, &[]), None);
    }
}
