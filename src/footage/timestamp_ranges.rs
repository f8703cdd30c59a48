//! Ranges of the timestamps of frames that are to be processed.

/// Ranges of timestamps, both ends included, in order and without overlap.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct TimestampRanges(Vec<(i64, i64)>);

impl TimestampRanges {
    /// The union of ranges, given as first and last timestamp and sorted by the first timestamps.
    pub fn union(ranges: impl IntoIterator<Item = (i64, i64)>) -> Self {
        let mut union: Vec<(i64, i64)> = Vec::new();
        for (first, last) in ranges {
            match union.last_mut() {
                Some((_, end)) if first <= *end => *end = last.max(*end),
                _ => union.push((first, last)),
            }
        }
        Self(union)
    }

    /// Whether one of the ranges contains a timestamp.
    pub fn contains(&self, timestamp: i64) -> bool {
        let begun = self.0.partition_point(|(first, _)| *first <= timestamp);
        begun.checked_sub(1).and_then(|at| self.0.get(at)).is_some_and(|(_, last)| timestamp <= *last)
    }

    /// Whether all ranges end before a timestamp.
    pub fn end_before(&self, timestamp: i64) -> bool {
        self.0.last().is_none_or(|(_, last)| *last < timestamp)
    }

    /// The timestamps to seek so that all frames in the ranges can be decoded, in ascending order: one for each key
    /// frame that is needed, about halfway to the next key frame. `keys` are the timestamps of all key frames in
    /// ascending order; `reorder` is the maximum difference between the decoding and the presentation timestamp of a
    /// frame, in ticks.
    pub fn seek_timestamps(&self, keys: &[i64], reorder: i64) -> Vec<i64> {
        let group_at = |timestamp: i64| keys.partition_point(|key| *key <= timestamp).saturating_sub(1);
        let mut groups: Vec<usize> = Vec::new();
        for (first, last) in &self.0 {
            let next_new = groups.last().map_or(0, |group| group + 1);
            groups.extend(group_at(first.saturating_sub(reorder)).max(next_new)..=group_at(*last));
        }
        // Halfway to the next key frame, since the index may contain decoding timestamps.
        let after = |group: usize| {
            let key = keys.get(group)?;
            Some(keys.get(group + 1).map_or(key.saturating_add(reorder), |next| key.midpoint(*next)))
        };
        groups.into_iter().filter_map(after).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_that_touch_are_merged_and_contain_both_ends() {
        let ranges = TimestampRanges::union([(0, 10), (5, 7), (10, 20), (30, 40)]);
        assert_eq!(ranges, TimestampRanges(vec![(0, 20), (30, 40)]));
        let contained = [-1, 0, 20, 21, 30, 40, 41].map(|timestamp| ranges.contains(timestamp));
        assert_eq!(contained, [false, true, true, false, true, true, false]);
        assert!(ranges.end_before(41) && !ranges.end_before(40));
    }

    #[test]
    fn each_group_that_may_hold_a_wanted_frame_is_sought_once() {
        let keys = [0, 100, 200, 300];
        let seeks =
            |ranges: &[(i64, i64)]| TimestampRanges::union(ranges.iter().copied()).seek_timestamps(&keys, 16);
        assert_eq!(seeks(&[(150, 160), (170, 180)]), [150]);
        assert_eq!(seeks(&[(190, 210)]), [150, 250]);
        assert_eq!(seeks(&[(205, 210)]), [150, 250]);
        assert_eq!(seeks(&[(0, 1), (900, 901)]), [50, 316]);
    }
}
