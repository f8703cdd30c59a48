//! Packets from which on a video can be decoded without anything before them.

use ffmpeg_next::Packet;
use ffmpeg_next::codec::Id;

use super::libav;
use super::pictures::Recipe;

/// Where a codec's packets can be parted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Entry {
    /// Before every packet: pictures stand alone.
    Every,
    /// Before an instantaneous decoding refresh (IDR): nothing after it needs anything before it.
    Refresh(Refresh),
}

/// How refreshes are recognised.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Refresh {
    hevc: bool,
    /// Bytes of the length before each unit; `None`: units are parted by start codes.
    length_bytes: Option<usize>,
}

impl Entry {
    /// The entries of a video; `None` where its codec has none that are understood.
    pub(super) fn of(recipe: &Recipe) -> Option<Self> {
        let hevc = match recipe.codec {
            codec if libav::is_intra_only(codec) => return Some(Self::Every),
            Id::H264 => false,
            Id::HEVC => true,
            _ => return None,
        };
        Some(Self::Refresh(Refresh::new(hevc, libav::extradata(&recipe.parameters))))
    }

    /// Whether decoding can start at this packet.
    pub(super) fn is_at(self, packet: &Packet) -> bool {
        match self {
            Self::Every => true,
            Self::Refresh(refresh) => {
                packet.is_key() && packet.data().is_some_and(|data| refresh.is_in(data))
            }
        }
    }

    /// Whether a packet is known to hold a picture that no other is predicted from.
    pub(super) fn is_disposable(self, packet: &Packet) -> bool {
        match self {
            Self::Every => true,
            Self::Refresh(refresh) => packet.data().is_some_and(|data| refresh.is_disposable(data)),
        }
    }
}

impl Refresh {
    /// Whether the first coded slice of an access unit of H.264 says that no other picture is predicted from it:
    /// its nal_ref_idc is 0 (ITU-T H.264, 7.4.1). H.265 says so only within a temporal sub-layer.
    fn is_disposable(self, unit: &[u8]) -> bool {
        let header =
            self.units(unit).find_map(|unit| self.is_refresh(unit).and_then(|_| unit.first().copied()));
        !self.hevc && header.is_some_and(|header| header >> 5 & 3 == 0)
    }

    /// `configuration` is the decoder configuration record of the container (ISO/IEC 14496-15, 5.3.3.1 and
    /// 8.3.3.1), which starts with a 1, or holds units with start codes.
    fn new(hevc: bool, configuration: &[u8]) -> Self {
        let place = if hevc { 21 } else { 4 };
        let record = configuration.first() == Some(&1);
        let length_bytes = configuration.get(place).filter(|_| record).map(|byte| usize::from(byte & 3) + 1);
        Self { hevc, length_bytes }
    }

    /// Whether the first coded slice of an access unit is one of an IDR picture.
    fn is_in(self, unit: &[u8]) -> bool {
        self.units(unit).find_map(|unit| self.is_refresh(unit)) == Some(true)
    }

    /// The units of an access unit.
    fn units(self, data: &[u8]) -> impl Iterator<Item = &[u8]> {
        let by_length = self.length_bytes.map(|bytes| parted_by_length(data, bytes));
        let by_code = self.length_bytes.is_none().then(|| parted_by_start_code(data));
        by_length.into_iter().flatten().chain(by_code.into_iter().flatten())
    }

    /// Whether a unit with a coded slice is of an IDR picture; `None` for other units. H.264: types 1 to 5, of
    /// which 5 is IDR (ITU-T H.264, table 7-1); H.265: types 0 to 31, of which 19 and 20 are (H.265, table 7-1).
    fn is_refresh(self, unit: &[u8]) -> Option<bool> {
        let header = *unit.first()?;
        let (kind, slices, refresh) =
            if self.hevc { ((header >> 1) & 0x3f, 0..=31, 19..=20) } else { (header & 0x1f, 1..=5, 5..=5) };
        slices.contains(&kind).then(|| refresh.contains(&kind))
    }
}

fn parted_by_length(data: &[u8], bytes: usize) -> impl Iterator<Item = &[u8]> {
    let mut rest = data;
    std::iter::from_fn(move || {
        let (length, behind) = rest.split_at_checked(bytes)?;
        let length = length.iter().fold(0_usize, |sum, byte| sum << 8 | usize::from(*byte));
        let (unit, behind) = behind.split_at_checked(length)?;
        rest = behind;
        Some(unit)
    })
}

/// Units behind the start codes 00 00 01; each runs to the end of the data, which its header does not mind.
fn parted_by_start_code(data: &[u8]) -> impl Iterator<Item = &[u8]> {
    data.windows(3)
        .enumerate()
        .filter(|(_, bytes)| *bytes == [0, 0, 1])
        .filter_map(|(place, _)| data.get(place + 3..))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_idr_slice_is_found_behind_other_units() {
        let avc = Refresh::new(false, &[1, 100, 0, 31, 0xff]);
        assert!(avc.is_in(&[0, 0, 0, 2, 0x09, 0xf0, 0, 0, 0, 1, 0x65]));
        assert!(!avc.is_in(&[0, 0, 0, 2, 0x06, 0x05, 0, 0, 0, 1, 0x41]));
        let hevc = Refresh::new(true, &[]);
        assert!(hevc.is_in(&[0, 0, 1, 0x40, 0x01, 0, 0, 1, 0x26, 0x01]));
        assert!(!hevc.is_in(&[0, 0, 1, 0x40, 0x01, 0, 0, 1, 0x2a, 0x01]));
    }

    #[test]
    fn a_recovery_point_without_idr_is_no_entry() {
        let avc = Refresh::new(false, &[0, 0, 0, 1, 0x67]);
        assert!(!avc.is_in(&[0, 0, 0, 1, 0x06, 0x06, 0, 0, 1, 0x01, 0x88]));
    }

    #[test]
    fn a_picture_of_h264_is_disposable_where_its_header_says_that_none_refers_to_it() {
        let avc = Refresh::new(false, &[1, 100, 0, 31, 0xff]);
        assert!(avc.is_disposable(&[0, 0, 0, 1, 0x06, 0, 0, 0, 1, 0x01]));
        assert!(!avc.is_disposable(&[0, 0, 0, 1, 0x06, 0, 0, 0, 1, 0x21]));
        assert!(!avc.is_disposable(&[0, 0, 0, 1, 0x06]) && !avc.is_disposable(&[]));
        let hevc = Refresh::new(true, &[]);
        assert!(!hevc.is_disposable(&[0, 0, 1, 0x00, 0x01]));
    }

    #[test]
    fn cut_off_units_are_no_entry() {
        let avc = Refresh::new(false, &[1, 100, 0, 31, 0xff]);
        assert!(!avc.is_in(&[0, 0, 0, 200, 0x65]) && !avc.is_in(&[0, 0]) && !avc.is_in(&[]));
    }
}
