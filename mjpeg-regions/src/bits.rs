//! Reads the bits of entropy-coded data in order.

use super::InvalidCode;

/// Number of bytes that must follow the last coded byte, so that words of 64 bits can be read up to the end of the
/// coded data.
pub(crate) const PADDING_BYTES: usize = 16;

/// A reader that starts with the highest bit of each byte.
#[derive(Clone, Copy)]
pub(crate) struct BitReader<'a> {
    bytes: &'a [u8],
    /// Index of the first byte whose bits are not all in `buffer`.
    next: usize,
    /// The next bits, starting with the highest bit of the word. The first `count` bits are valid; each lower bit is
    /// either the correct further bit of the data or 0.
    buffer: u64,
    count: u32,
}

impl<'a> BitReader<'a> {
    /// Number of bits that can be consumed after each call of [`Self::fill`].
    pub(crate) const BITS_PER_FILL: u32 = 56;

    /// Reads `bytes`, starting with the byte at index `start`.
    pub(crate) fn new(bytes: &'a [u8], start: usize) -> Self {
        Self { bytes, next: start, buffer: 0, count: 0 }
    }

    /// Fills the buffer to at least [`Self::BITS_PER_FILL`] bits.
    ///
    /// # Errors
    /// [`InvalidCode`] if the data ends too early.
    #[inline]
    pub(crate) fn fill(&mut self) -> Result<(), InvalidCode> {
        let word = word_at(self.bytes, self.next).ok_or(InvalidCode)?;
        self.buffer |= word >> self.count;
        self.next += ((63 - self.count) >> 3) as usize;
        self.count |= Self::BITS_PER_FILL;
        Ok(())
    }

    /// The next `count` bits, at most 32, without consuming them.
    #[inline]
    pub(crate) fn peek(&self, count: u32) -> u64 {
        (self.buffer >> 32) >> (32 - count)
    }

    /// The last `size` bits of the next `count` bits (at most 32), without consuming them.
    #[inline]
    pub(crate) fn peek_last(&self, count: u32, size: u32) -> u32 {
        (self.peek(count) as u32) & ((1 << size) - 1)
    }

    /// Removes the next `count` bits from the buffer.
    #[inline]
    pub(crate) fn consume(&mut self, count: u32) {
        self.buffer <<= count;
        self.count -= count;
    }

    /// Index of the next bit to be consumed, counted from the first bit of `bytes`.
    #[inline]
    pub(crate) fn position(&self) -> usize {
        8 * self.next - self.count as usize
    }
}

/// The 64 bits of `bytes` that start at the byte with index `position`, first byte highest; `None` if fewer than 8
/// bytes follow.
#[inline]
fn word_at(bytes: &[u8], position: usize) -> Option<u64> {
    bytes.get(position..)?.first_chunk().map(|word| u64::from_be_bytes(*word))
}
