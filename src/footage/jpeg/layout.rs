//! Which blocks of a picture are wanted, and where they go.

use std::ops::Range;

use arrayvec::ArrayVec;

use super::super::area::Area;
use super::SIDE;
use super::header::{Component, Header, MOST_BLOCKS, MOST_COMPONENTS};

/// The rest of a picture is gone through, for the sake of finding damage, where it is at most one part in so
/// many.
const SMALL_REST: usize = 4;

/// The blocks of a picture that are wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::footage) struct Wanted {
    width: usize,
    height: usize,
    /// Columns and rows of blocks that an area touches; none is empty.
    parts: Vec<(Range<usize>, Range<usize>)>,
    /// The row of pixels behind the last area's.
    bottom: usize,
}

impl Wanted {
    /// The blocks that `areas` of a picture touch; `None` where there are none.
    pub(in crate::footage) fn of(areas: &[Area], width: usize, height: usize) -> Option<Self> {
        let within = |range: Range<usize>, size: usize| {
            let range = range.start..range.end.min(size);
            (!range.is_empty()).then(|| range.start / SIDE..range.end.div_ceil(SIDE))
        };
        let part = |area: &Area| {
            Some((within(area.left..area.right, width)?, within(area.top..area.bottom, height)?))
        };
        let parts: Vec<_> = areas.iter().filter_map(part).collect();
        let bottom = areas.iter().filter(|area| part(area).is_some()).map(|area| area.bottom).max()?;
        Some(Self { width, height, parts, bottom: bottom.min(height) })
    }

    /// Width and height of the picture.
    pub(super) fn size(&self) -> (usize, usize) {
        (self.width, self.height)
    }

    /// How many columns and rows of blocks the picture has.
    pub(super) fn blocks(&self) -> (usize, usize) {
        (self.width.div_ceil(SIDE), self.height.div_ceil(SIDE))
    }

    fn has(&self, column: usize, row: usize) -> bool {
        self.parts.iter().any(|(columns, rows)| columns.contains(&column) && rows.contains(&row))
    }

    fn is_rest_small(&self) -> bool {
        self.height - self.bottom <= self.height / SMALL_REST
    }
}

/// How pictures of a kind are gone through: in minimum coded units (ITU-T T.81, annex A.2).
#[derive(Default)]
pub(super) struct Layout {
    /// The components it was made for.
    components: ArrayVec<Component, MOST_COMPONENTS>,
    /// How many units the picture has.
    pub units: usize,
    /// For each unit that is gone through a bit for each luma block that is wanted, the lowest for the first.
    pub wanted: Vec<u16>,
    /// Blocks of luma in a unit; they come first.
    pub luma: usize,
    /// For each block of a unit the component whose Huffman tables it uses.
    pub blocks: ArrayVec<usize, MOST_BLOCKS>,
    /// Where in the plane, whose rows and columns are those of whole blocks, the wanted blocks begin.
    pub places: Vec<usize>,
}

impl Layout {
    /// Makes this the layout of a picture of the wanted size, if it is not.
    pub(super) fn fit(&mut self, wanted: &Wanted, header: &Header<'_>) {
        if self.components == header.components {
            return;
        }
        let Some(luma) = header.components.first() else { return };
        self.luma = luma.across * luma.down;
        self.blocks.clear();
        for component in &header.components {
            self.blocks.extend(std::iter::repeat_n(component.codes, component.across * component.down));
        }
        self.mark(wanted, luma);
        self.components.clone_from(&header.components);
    }

    fn mark(&mut self, wanted: &Wanted, luma: &Component) {
        self.wanted.clear();
        self.places.clear();
        let (columns, rows) = wanted.blocks();
        let (units_across, units_down) = (columns.div_ceil(luma.across), rows.div_ceil(luma.down));
        for unit in 0..units_across * units_down {
            let (left, top) = (unit % units_across * luma.across, unit / units_across * luma.down);
            let mut bits = 0;
            for block in 0..self.luma {
                let (column, row) = (left + block % luma.across, top + block / luma.across);
                if wanted.has(column, row) {
                    bits |= 1 << block;
                    self.places.push((row * SIDE * columns + column) * SIDE);
                }
            }
            self.wanted.push(bits);
        }
        self.units = self.wanted.len();
        if !wanted.is_rest_small() {
            let last = self.wanted.iter().rposition(|bits| *bits != 0);
            self.wanted.truncate(last.map_or(0, |last| last + 1));
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    fn rows(top: usize, bottom: usize) -> Area {
        Area { left: 10, top, right: 90, bottom }
    }

    #[test]
    fn wanted_blocks_are_those_that_areas_touch_within_the_picture() {
        let wanted = Wanted::of(&[rows(70, 200), rows(0, 8)], 61, 100).unwrap();
        assert_eq!(wanted.parts, [(1..8, 8..13), (1..8, 0..1)]);
        assert_eq!(wanted.blocks(), (8, 13));
        assert!(wanted.has(1, 8) && wanted.has(7, 0) && !wanted.has(0, 8) && !wanted.has(7, 1));
    }

    #[test]
    fn areas_outside_the_picture_want_nothing() {
        assert_eq!(Wanted::of(&[rows(120, 130)], 64, 100), None);
        assert_eq!(Wanted::of(&[rows(12, 12)], 64, 100), None);
        assert_eq!(Wanted::of(&[rows(12, 20)], 10, 100), None);
        assert_eq!(Wanted::of(&[], 64, 100), None);
    }

    #[test]
    fn a_small_rest_is_gone_through_and_a_large_one_left() {
        let is_small = |bottom| Wanted::of(&[rows(0, bottom)], 64, 100).unwrap().is_rest_small();
        assert!(is_small(75) && is_small(300) && !is_small(74));
    }
}
