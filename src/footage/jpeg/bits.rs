//! Bits of a picture's code, one after the other.

use super::Unusual;

/// Bytes that must stand behind the last one that counts.
pub(super) const MARGIN: usize = 16;

/// Goes through bits, the highest of each byte first.
#[derive(Clone, Copy)]
pub(super) struct Bits<'a> {
    bytes: &'a [u8],
    /// The byte behind those of which all bits are held.
    next: usize,
    /// The bits ahead, from the highest; those behind the first `count` are right too, or zero.
    held: u64,
    count: u32,
}

impl<'a> Bits<'a> {
    /// Bits that can be passed after [`Self::fill`].
    pub(super) const HELD: u32 = 56;

    /// The bits of `bytes` from the first one of a byte.
    pub(super) fn new(bytes: &'a [u8], start: usize) -> Self {
        Self { bytes, next: start, held: 0, count: 0 }
    }

    /// Takes up bits until at least [`Self::HELD`] are held.
    ///
    /// # Errors
    /// [`Unusual`] where there are not enough.
    #[inline]
    pub(super) fn fill(&mut self) -> Result<(), Unusual> {
        let word = word_at(self.bytes, self.next).ok_or(Unusual)?;
        self.held |= word >> self.count;
        self.next += ((63 - self.count) >> 3) as usize;
        self.count |= Self::HELD;
        Ok(())
    }

    /// The next `count` bits, up to 32.
    #[inline]
    pub(super) fn ahead(&self, count: u32) -> u64 {
        (self.held >> 32) >> (32 - count)
    }

    /// The last `size` of the next `count` bits, up to 32 of them.
    #[inline]
    pub(super) fn last_of(&self, count: u32, size: u32) -> u32 {
        (self.ahead(count) as u32) & ((1 << size) - 1)
    }

    /// Passes over `count` bits that are held.
    #[inline]
    pub(super) fn pass(&mut self, count: u32) {
        self.held <<= count;
        self.count -= count;
    }

    /// How many bits are passed, counted from the first byte's.
    #[inline]
    pub(super) fn place(&self) -> usize {
        8 * self.next - self.count as usize
    }
}

/// The 64 bits from a byte on.
#[inline]
pub(super) fn word_at(bytes: &[u8], place: usize) -> Option<u64> {
    bytes.get(place..)?.first_chunk().map(|word| u64::from_be_bytes(*word))
}
