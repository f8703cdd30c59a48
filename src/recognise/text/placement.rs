//! Where a region's text stands in its window, and which of its edges stays in place when the text changes
//! its length.

/// Maximum distance of a single character from its expected position in the text, in halves of a working pixel:
/// renderers that round positions place glyphs up to a column away from even spacing.
pub const POSITION_TOLERANCE_HALF_COLS: i32 = 2;

/// The edge of a text that stays in place when the text changes its length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Left-aligned: the left edge of the first character.
    Left,
    /// Right-aligned: the right edge of the last character.
    Right,
    /// Centred: the middle between both edges.
    Centre,
}

impl Anchor {
    /// All alignments.
    pub const ALL: [Self; 3] = [Self::Left, Self::Right, Self::Centre];

    /// Share of a text's width to the left of the anchor, 0 to 1.
    #[must_use]
    pub fn share_before(self) -> f32 {
        match self {
            Self::Left => 0.0,
            Self::Right => 1.0,
            Self::Centre => 0.5,
        }
    }

    /// Appends a character with the given advance, in working pixels, to a text whose edge that is not anchored is at
    /// `edge`. Returns the character's left edge and the new edge that is not anchored. Edges are in halves of a
    /// working pixel.
    pub(in crate::recognise) fn append(self, edge: i32, advance: f32) -> (i32, i32) {
        // Adding a half rounds, since an advance is positive.
        let advance = (2.0 * advance + 0.5) as i32;
        match self {
            Self::Left | Self::Centre => (edge, edge + advance),
            Self::Right => (edge - advance, edge - advance),
        }
    }
}

/// Where a region's text stands in its window, in working pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placement {
    /// Row of the window at which the cells begin.
    pub top: usize,
    /// The edge of the text that stays in place when its length changes.
    pub anchor: Anchor,
    /// Column of the anchored edge, in working pixels from the left edge of the window; for a centred text, the
    /// column of its middle.
    pub position: f32,
    /// Smallest and largest shift of the text from `position`, in whole working pixels; negative to the left.
    pub shifts: (i32, i32),
}

impl Placement {
    /// Whether a text that extends from `start` to `end`, in halves of a working pixel, lies within the allowed
    /// shifts. Left-aligned and right-aligned texts always do, since they are built from their anchor.
    pub(in crate::recognise) fn allows(&self, start: i32, end: i32) -> bool {
        let middle = 0.25 * (start + end) as f32;
        let (left, right) = (self.shifts.0 as f32 - 0.5, self.shifts.1 as f32 + 0.5);
        self.anchor != Anchor::Centre || (left..=right).contains(&(middle - self.position))
    }
}
