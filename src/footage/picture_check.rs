//! Checks each picture of a Motion JPEG video for damage.
//!
//! At damaged codes, a decoder leaves the rest of the picture unchanged, so that an earlier picture stays visible. A
//! picture is therefore not used at all if one of its blocks cannot be decoded.

use mjpeg_regions::{Decoder, image_size};

/// Checks Motion JPEG pictures of one size.
pub(super) struct PictureCheck(Decoder);

impl PictureCheck {
    /// A check for pictures with the given `size` (width, height) in pixels; `None` if libavcodec has no inverse DCT,
    /// which the check needs.
    pub(super) fn new(size: (u32, u32)) -> Option<Self> {
        Decoder::for_checks(size.0 as usize, size.1 as usize).ok().map(Self)
    }

    /// Whether a picture has the size of the check and all its blocks can be decoded.
    pub(super) fn is_sound(&mut self, picture: &[u8]) -> bool {
        self.0.check(picture).is_ok()
    }
}

/// Width and height in pixels of the first undamaged picture with at most `max_px` pixels; `None` if there is none. A
/// recorder codes all its pictures in the same way, so a later picture that fails the check is damaged.
pub(super) fn size_of_first_sound<'a>(
    pictures: impl Iterator<Item = &'a [u8]>,
    max_px: u64,
) -> Option<(u32, u32)> {
    let size_of = |picture: &&[u8]| {
        let (width, height) = image_size(picture)?;
        let size = (u32::try_from(width).ok()?, u32::try_from(height).ok()?);
        Some(size).filter(|(width, height)| u64::from(*width) * u64::from(*height) <= max_px)
    };
    let mut sizes = pictures.filter_map(|picture| {
        let size = size_of(&picture)?;
        PictureCheck::new(size)?.is_sound(picture).then_some(size)
    });
    sizes.next()
}
