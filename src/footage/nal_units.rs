//! The NAL units of H.264 and H.265: pieces of a video, each with a header that states what it contains.

/// The units of data in which the length of each unit stands before it, in `bytes` bytes.
pub(super) fn split_by_length(data: &[u8], bytes: usize) -> impl Iterator<Item = &[u8]> {
    let mut rest = data;
    std::iter::from_fn(move || {
        let (length, following) = rest.split_at_checked(bytes)?;
        let length = length.iter().fold(0_usize, |sum, byte| sum << 8 | usize::from(*byte));
        let (unit, following) = following.split_at_checked(length)?;
        rest = following;
        Some(unit)
    })
}

/// The units that follow the start codes 00 00 01. Each slice extends to the end of the data, since only the start of a unit is
/// read.
pub(super) fn split_by_start_code(data: &[u8]) -> impl Iterator<Item = &[u8]> {
    data.windows(3)
        .enumerate()
        .filter(|(_, bytes)| *bytes == [0, 0, 1])
        .filter_map(|(start, _)| data.get(start + 3..))
}

/// The units of the decoder configuration record of H.265 in an MP4 or Matroska file (ISO/IEC 14496-15, 8.3.3.1).
pub(super) fn units_of_hevc_record(record: &[u8]) -> Vec<&[u8]> {
    let mut units = Vec::new();
    let mut rest = record.get(23..).unwrap_or_default();
    for _ in 0..record.get(22).copied().unwrap_or(0) {
        let Some(([_, high, low], following)) = rest.split_first_chunk::<3>() else { break };
        rest = following;
        for _ in 0..u16::from_be_bytes([*high, *low]) {
            let Some(unit) = split_by_length(rest, 2).next() else { return units };
            units.push(unit);
            rest = rest.get(2 + unit.len()..).unwrap_or_default();
        }
    }
    units
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_units_of_all_arrays_of_a_record_are_found_and_cut_off_ones_are_left_out() {
        let record = [&[0; 22][..], &[2, 32, 0, 1, 0, 1, 7, 33, 0, 2, 0, 2, 8, 9, 0, 1, 5]].concat();
        assert_eq!(units_of_hevc_record(&record), [&[7][..], &[8, 9], &[5]]);
        assert_eq!(units_of_hevc_record(&record[..record.len() - 1]), [&[7][..], &[8, 9]]);
        assert_eq!(units_of_hevc_record(&[0; 23]), Vec::<&[u8]>::new());
        assert_eq!(units_of_hevc_record(&[255; 40]), Vec::<&[u8]>::new());
    }
}
