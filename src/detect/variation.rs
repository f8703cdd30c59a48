//! How much the text of some columns varies between frames.

use super::cells::USUAL_DIGIT_WIDTH;
use super::columns::Columns;
use super::line_shapes::LineShapes;
use crate::stats::nearest_rank;

/// Low quantile of the agreement of the strokes of two frames.
const LOW_QUANTILE: f32 = 0.06;
/// High quantile of it.
const HIGH_QUANTILE: f32 = 0.95;
/// Frames that agree less than this share of the high quantile show different digits.
const MAX_SAME_SHARE: f32 = 0.75;

/// How the strokes agree between frames in the part of some columns that changes most.
#[derive(Debug, Clone, Copy)]
pub(super) struct Variation {
    /// A low quantile of the agreement of two frames.
    low: f32,
    /// A high quantile of it.
    high: f32,
    /// Share of the steps from one frame to the next at which the strokes differ.
    pub(super) changed_share: f32,
}

impl Variation {
    pub(super) fn of(shapes: &LineShapes, columns: Columns) -> Self {
        let width =
            ((USUAL_DIGIT_WIDTH * shapes.digits.height as f32) as u32).clamp(1, columns.width().max(1));
        let count = (columns.width() * 2 / width).max(2) - 1;
        let windows = (0..count).map(|number| {
            let start = columns.start + (columns.width() - width) * number / (count - 1).max(1);
            Self::within(shapes, Columns::new(start, start + width))
        });
        let constant = Self { low: 1.0, high: 1.0, changed_share: 0.0 };
        windows.min_by(|one, other| one.ratio().total_cmp(&other.ratio())).unwrap_or(constant)
    }

    fn within(shapes: &LineShapes, window: Columns) -> Self {
        let frames = shapes.frames();
        let apart = |distance: usize| {
            let pairs = (0..frames.saturating_sub(distance)).map(move |first| (first, first + distance));
            pairs.filter_map(|(one, other)| shapes.agreement(one, other, window))
        };
        let mut all: Vec<f32> =
            [2, 3, 7].into_iter().flat_map(|part| apart((frames / part).max(1))).collect();
        let successive: Vec<f32> = apart(1).collect();
        all.extend(&successive);
        let (low, high) = (nearest_rank(&mut all, LOW_QUANTILE), nearest_rank(&mut all, HIGH_QUANTILE));
        let differing = successive.iter().filter(|agreement| **agreement < MAX_SAME_SHARE * high).count();
        Self { low, high, changed_share: differing as f32 / successive.len().max(1) as f32 }
    }

    fn ratio(self) -> f32 {
        self.low / self.high.max(0.01)
    }

    pub(super) fn changes(self) -> bool {
        self.ratio() <= MAX_SAME_SHARE
    }
}
