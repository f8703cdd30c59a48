//! Random access points: the packets at which decoding can start.

use ffmpeg_next::Packet;
use ffmpeg_next::codec::Id;

use super::decoder::DecoderConfig;
use super::libav;
use super::nal_units::{split_by_length, split_by_start_code};

/// The packets of a video at which decoding can start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum RandomAccess {
    /// Every packet, because each frame is coded by itself.
    Every,
    /// Each instantaneous decoding refresh (IDR): no frame after it needs a frame before it.
    Idr(IdrDetector),
}

/// Finds IDR frames in H.264 and H.265 video.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct IdrDetector {
    hevc: bool,
    /// Size in bytes of the length field before each NAL unit; `None` if start codes separate the units.
    length_bytes: Option<usize>,
}

impl RandomAccess {
    /// The kind of random access points of a video; `None` for codecs other than H.264, H.265 and intra-only
    /// ones.
    pub(super) fn of(config: &DecoderConfig) -> Option<Self> {
        let hevc = match config.codec {
            codec if libav::is_intra_only(codec) => return Some(Self::Every),
            Id::H264 => false,
            Id::HEVC => true,
            _ => return None,
        };
        Some(Self::Idr(IdrDetector::new(hevc, libav::extradata(&config.parameters))))
    }

    /// Whether decoding can start at this packet.
    pub(super) fn is_at(self, packet: &Packet) -> bool {
        match self {
            Self::Every => true,
            Self::Idr(detector) => packet.is_key() && packet.data().is_some_and(|data| detector.is_idr(data)),
        }
    }

    /// Whether the packet states that no other frame is predicted from its frame.
    pub(super) fn is_disposable(self, packet: &Packet) -> bool {
        match self {
            Self::Every => true,
            Self::Idr(detector) => packet.data().is_some_and(|data| detector.is_disposable(data)),
        }
    }
}

impl IdrDetector {
    /// Whether no other frame is predicted from an access unit of H.264, that is, the nal_ref_idc of its
    /// first coded slice is 0 (ITU-T H.264, 7.4.1). H.265 states this only within a temporal sub-layer, so
    /// the result is always false there.
    fn is_disposable(self, unit: &[u8]) -> bool {
        let header =
            self.units(unit).find_map(|unit| self.is_idr_slice(unit).and_then(|_| unit.first().copied()));
        !self.hevc && header.is_some_and(|header| header >> 5 & 3 == 0)
    }

    /// A detector for a video. `configuration` is either the container's decoder configuration record
    /// (ISO/IEC 14496-15, 5.3.3.1 and 8.3.3.1), which starts with a 1, or NAL units with start codes.
    fn new(hevc: bool, configuration: &[u8]) -> Self {
        let position = if hevc { 21 } else { 4 };
        let record = configuration.first() == Some(&1);
        let length_bytes =
            configuration.get(position).filter(|_| record).map(|byte| usize::from(byte & 3) + 1);
        Self { hevc, length_bytes }
    }

    /// Whether the first coded slice of an access unit belongs to an IDR frame.
    fn is_idr(self, unit: &[u8]) -> bool {
        self.units(unit).find_map(|unit| self.is_idr_slice(unit)) == Some(true)
    }

    /// The NAL units of an access unit.
    fn units(self, data: &[u8]) -> impl Iterator<Item = &[u8]> {
        let by_length = self.length_bytes.map(|bytes| split_by_length(data, bytes));
        let by_code = self.length_bytes.is_none().then(|| split_by_start_code(data));
        by_length.into_iter().flatten().chain(by_code.into_iter().flatten())
    }

    /// Whether a NAL unit with a coded slice belongs to an IDR frame; `None` for other units. In H.264 types 1 to 5 are
    /// slices and 5 is IDR (ITU-T H.264, table 7-1); in H.265 types 0 to 31 are slices, and 19 and 20 are IDR (ITU-T
    /// H.265, table 7-1).
    fn is_idr_slice(self, unit: &[u8]) -> Option<bool> {
        let header = *unit.first()?;
        let (kind, slices, idr) =
            if self.hevc { ((header >> 1) & 0x3f, 0..=31, 19..=20) } else { (header & 0x1f, 1..=5, 5..=5) };
        slices.contains(&kind).then(|| idr.contains(&kind))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_idr_slice_is_found_after_other_units() {
        let avc = IdrDetector::new(false, &[1, 100, 0, 31, 0xff]);
        assert!(avc.is_idr(&[0, 0, 0, 2, 0x09, 0xf0, 0, 0, 0, 1, 0x65]));
        assert!(!avc.is_idr(&[0, 0, 0, 2, 0x06, 0x05, 0, 0, 0, 1, 0x41]));
        let hevc = IdrDetector::new(true, &[]);
        assert!(hevc.is_idr(&[0, 0, 1, 0x40, 0x01, 0, 0, 1, 0x26, 0x01]));
        assert!(!hevc.is_idr(&[0, 0, 1, 0x40, 0x01, 0, 0, 1, 0x2a, 0x01]));
    }

    #[test]
    fn a_recovery_point_without_idr_is_not_an_access_point() {
        let avc = IdrDetector::new(false, &[0, 0, 0, 1, 0x67]);
        assert!(!avc.is_idr(&[0, 0, 0, 1, 0x06, 0x06, 0, 0, 1, 0x01, 0x88]));
    }

    #[test]
    fn a_frame_of_h264_is_disposable_if_its_header_says_that_none_refers_to_it() {
        let avc = IdrDetector::new(false, &[1, 100, 0, 31, 0xff]);
        assert!(avc.is_disposable(&[0, 0, 0, 1, 0x06, 0, 0, 0, 1, 0x01]));
        assert!(!avc.is_disposable(&[0, 0, 0, 1, 0x06, 0, 0, 0, 1, 0x21]));
        assert!(!avc.is_disposable(&[0, 0, 0, 1, 0x06]) && !avc.is_disposable(&[]));
        let hevc = IdrDetector::new(true, &[]);
        assert!(!hevc.is_disposable(&[0, 0, 1, 0x00, 0x01]));
    }

    #[test]
    fn cut_off_units_are_not_an_access_point() {
        let avc = IdrDetector::new(false, &[1, 100, 0, 31, 0xff]);
        assert!(!avc.is_idr(&[0, 0, 0, 200, 0x65]) && !avc.is_idr(&[0, 0]) && !avc.is_idr(&[]));
    }
}
