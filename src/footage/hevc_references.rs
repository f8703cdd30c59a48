//! The number of pictures that an H.265 video makes its decoder keep: `sps_max_dec_pic_buffering_minus1` of its sequence parameter
//! set (ITU-T H.265, 7.3.2.2.1). libavcodec does not pass it on.

use super::nal_units::{split_by_start_code, units_of_hevc_record};

/// Type of a NAL unit with a sequence parameter set (ITU-T H.265, table 7-1).
const SEQUENCE_PARAMETERS: u8 = 33;
/// Number of bits of the general profile, and of the level (ITU-T H.265, 7.3.3).
const PROFILE_BITS: usize = 88;
const LEVEL_BITS: usize = 8;

/// The number of pictures that the decoder of a video keeps beside the one that it decodes; `None` if the video's configuration, a
/// record or units with start codes, has no complete sequence parameter set.
pub(super) fn references(configuration: &[u8]) -> Option<usize> {
    match configuration.first() {
        Some(1) => of_units(units_of_hevc_record(configuration).into_iter()),
        _ => of_units(split_by_start_code(configuration)),
    }
}

fn of_units<'a>(units: impl Iterator<Item = &'a [u8]>) -> Option<usize> {
    let is_sequence =
        |unit: &&[u8]| unit.first().is_some_and(|header| header >> 1 & 0x3f == SEQUENCE_PARAMETERS);
    units.filter(is_sequence).filter_map(|unit| in_sequence_parameters(unit.get(2..)?)).max()
}

fn in_sequence_parameters(payload: &[u8]) -> Option<usize> {
    let mut bits = Bits { bytes: without_emulation_prevention(payload), next: 0 };
    bits.skip(4);
    let sub_layers = bits.number(3)?;
    bits.skip(1 + PROFILE_BITS + LEVEL_BITS);
    let present: Vec<(u32, u32)> =
        (0..sub_layers).map(|_| Some((bits.number(1)?, bits.number(1)?))).collect::<Option<_>>()?;
    if sub_layers > 0 {
        bits.skip(2 * (8 - sub_layers as usize));
    }
    for (profile, level) in present {
        bits.skip(profile as usize * PROFILE_BITS + level as usize * LEVEL_BITS);
    }
    bits.exp_golomb()?;
    if bits.exp_golomb()? == 3 {
        bits.skip(1);
    }
    let (_width, _height) = (bits.exp_golomb()?, bits.exp_golomb()?);
    if bits.number(1)? == 1 {
        for _ in 0..4 {
            bits.exp_golomb()?;
        }
    }
    // Bit depths, and the length of picture order counts.
    for _ in 0..3 {
        bits.exp_golomb()?;
    }
    let first = if bits.number(1)? == 1 { 0 } else { sub_layers };
    let mut kept = 0;
    for _ in first..=sub_layers {
        kept = bits.exp_golomb()?;
        let (_reordered, _latency) = (bits.exp_golomb()?, bits.exp_golomb()?);
    }
    usize::try_from(kept).ok()
}

/// Removes each 3 that follows two zeros (ITU-T H.265, 7.3.1.1).
fn without_emulation_prevention(payload: &[u8]) -> Vec<u8> {
    let is_kept = |at: &usize| payload[*at] != 3 || *at < 2 || payload[at - 2..*at] != [0, 0];
    (0..payload.len()).filter(is_kept).map(|at| payload[at]).collect()
}

/// Reads bits, the highest of each byte first.
struct Bits {
    bytes: Vec<u8>,
    next: usize,
}

impl Bits {
    fn skip(&mut self, count: usize) {
        self.next += count;
    }

    /// A number of `count` bits; `None` at the end.
    fn number(&mut self, count: usize) -> Option<u32> {
        (0..count).try_fold(0_u32, |number, _| {
            let byte = self.bytes.get(self.next / 8)?;
            let bit = byte >> (7 - self.next % 8) & 1;
            self.next += 1;
            Some(number << 1 | u32::from(bit))
        })
    }

    /// A number in the exponential Golomb code `ue(v)` (ITU-T H.265, 9.2); `None` at the end, or if it has more than 31 bits.
    fn exp_golomb(&mut self) -> Option<u32> {
        let zeros = (0..32).position(|_| self.number(1) != Some(0))?;
        Some((1 << zeros) - 1 + self.number(zeros)?)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// The sequence parameter set that x265 writes for 160 x 90 pixels with `ref=4:bframes=2`.
    const FROM_X265: &[u8] = &[
        0x42, 0x01, 0x01, 0x01, 0x60, 0x00, 0x00, 0x03, 0x00, 0x90, 0x00, 0x00, 0x03, 0x00, 0x00, 0x03, 0x00,
        0x1e, 0xa0, 0x14, 0x20, 0x61, 0xf2, 0x65, 0x95, 0x92, 0x49, 0x32, 0xbc, 0x05, 0xa0, 0x20, 0x00, 0x00,
        0x03, 0x00, 0x20, 0x00, 0x00, 0x03, 0x01, 0x41,
    ];

    #[test]
    fn the_number_of_pictures_is_found_in_a_configuration() {
        let length = u8::try_from(FROM_X265.len()).unwrap();
        let record = [&[1], &[0; 21][..], &[1, 33, 0, 1, 0, length], FROM_X265].concat();
        assert_eq!(references(&record), Some(4));
        assert_eq!(references(&[&[0, 0, 0, 1], FROM_X265].concat()), Some(4));
    }

    #[test]
    fn cut_off_parameters_have_no_number() {
        for length in 0..20 {
            assert_eq!(references(&[&[0, 0, 1], &FROM_X265[..length]].concat()), None);
        }
    }
}
