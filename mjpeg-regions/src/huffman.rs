//! Huffman tables and their codes (ITU-T T.81, annexes C and F).

use arrayvec::ArrayVec;

use super::InvalidCode;
use super::bits::BitReader;

/// The standard's DC tables for luma and chroma (ITU-T T.81, annex K.3.3, tables K.3 and K.4), in the form of
/// a JPEG segment: the number of codes of each length, then the symbols.
pub(crate) const STANDARD_DC: [&[u8]; 2] = [
    &[0, 1, 5, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11],
    &[0, 3, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11],
];

/// The standard's AC tables for luma and chroma (ITU-T T.81, tables K.5 and K.6).
#[rustfmt::skip]
pub(crate) const STANDARD_AC: [&[u8]; 2] = [
    &[
        0x00, 0x02, 0x01, 0x03, 0x03, 0x02, 0x04, 0x03, 0x05, 0x05, 0x04, 0x04, 0x00, 0x00, 0x01, 0x7d,
        0x01, 0x02, 0x03, 0x00, 0x04, 0x11, 0x05, 0x12, 0x21, 0x31, 0x41, 0x06, 0x13, 0x51, 0x61, 0x07,
        0x22, 0x71, 0x14, 0x32, 0x81, 0x91, 0xa1, 0x08, 0x23, 0x42, 0xb1, 0xc1, 0x15, 0x52, 0xd1, 0xf0,
        0x24, 0x33, 0x62, 0x72, 0x82, 0x09, 0x0a, 0x16, 0x17, 0x18, 0x19, 0x1a, 0x25, 0x26, 0x27, 0x28,
        0x29, 0x2a, 0x34, 0x35, 0x36, 0x37, 0x38, 0x39, 0x3a, 0x43, 0x44, 0x45, 0x46, 0x47, 0x48, 0x49,
        0x4a, 0x53, 0x54, 0x55, 0x56, 0x57, 0x58, 0x59, 0x5a, 0x63, 0x64, 0x65, 0x66, 0x67, 0x68, 0x69,
        0x6a, 0x73, 0x74, 0x75, 0x76, 0x77, 0x78, 0x79, 0x7a, 0x83, 0x84, 0x85, 0x86, 0x87, 0x88, 0x89,
        0x8a, 0x92, 0x93, 0x94, 0x95, 0x96, 0x97, 0x98, 0x99, 0x9a, 0xa2, 0xa3, 0xa4, 0xa5, 0xa6, 0xa7,
        0xa8, 0xa9, 0xaa, 0xb2, 0xb3, 0xb4, 0xb5, 0xb6, 0xb7, 0xb8, 0xb9, 0xba, 0xc2, 0xc3, 0xc4, 0xc5,
        0xc6, 0xc7, 0xc8, 0xc9, 0xca, 0xd2, 0xd3, 0xd4, 0xd5, 0xd6, 0xd7, 0xd8, 0xd9, 0xda, 0xe1, 0xe2,
        0xe3, 0xe4, 0xe5, 0xe6, 0xe7, 0xe8, 0xe9, 0xea, 0xf1, 0xf2, 0xf3, 0xf4, 0xf5, 0xf6, 0xf7, 0xf8,
        0xf9, 0xfa,
    ],
    &[
        0x00, 0x02, 0x01, 0x02, 0x04, 0x04, 0x03, 0x04, 0x07, 0x05, 0x04, 0x04, 0x00, 0x01, 0x02, 0x77,
        0x00, 0x01, 0x02, 0x03, 0x11, 0x04, 0x05, 0x21, 0x31, 0x06, 0x12, 0x41, 0x51, 0x07, 0x61, 0x71,
        0x13, 0x22, 0x32, 0x81, 0x08, 0x14, 0x42, 0x91, 0xa1, 0xb1, 0xc1, 0x09, 0x23, 0x33, 0x52, 0xf0,
        0x15, 0x62, 0x72, 0xd1, 0x0a, 0x16, 0x24, 0x34, 0xe1, 0x25, 0xf1, 0x17, 0x18, 0x19, 0x1a, 0x26,
        0x27, 0x28, 0x29, 0x2a, 0x35, 0x36, 0x37, 0x38, 0x39, 0x3a, 0x43, 0x44, 0x45, 0x46, 0x47, 0x48,
        0x49, 0x4a, 0x53, 0x54, 0x55, 0x56, 0x57, 0x58, 0x59, 0x5a, 0x63, 0x64, 0x65, 0x66, 0x67, 0x68,
        0x69, 0x6a, 0x73, 0x74, 0x75, 0x76, 0x77, 0x78, 0x79, 0x7a, 0x82, 0x83, 0x84, 0x85, 0x86, 0x87,
        0x88, 0x89, 0x8a, 0x92, 0x93, 0x94, 0x95, 0x96, 0x97, 0x98, 0x99, 0x9a, 0xa2, 0xa3, 0xa4, 0xa5,
        0xa6, 0xa7, 0xa8, 0xa9, 0xaa, 0xb2, 0xb3, 0xb4, 0xb5, 0xb6, 0xb7, 0xb8, 0xb9, 0xba, 0xc2, 0xc3,
        0xc4, 0xc5, 0xc6, 0xc7, 0xc8, 0xc9, 0xca, 0xd2, 0xd3, 0xd4, 0xd5, 0xd6, 0xd7, 0xd8, 0xd9, 0xda,
        0xe2, 0xe3, 0xe4, 0xe5, 0xe6, 0xe7, 0xe8, 0xe9, 0xea, 0xf2, 0xf3, 0xf4, 0xf5, 0xf6, 0xf7, 0xf8,
        0xf9, 0xfa,
    ],
];

/// Length of the longest code, in bits.
pub(crate) const MAX_CODE_BITS: u32 = 16;

/// Number of bits that index the table of short codes. Set by judgement: few codes are longer.
const INDEX_BITS: u32 = 10;

/// The codes of one Huffman table (annex C.2). The lower four bits of a symbol are the number of coefficient bits that
/// follow its code.
#[derive(Clone)]
pub(crate) struct HuffmanTable {
    /// Whether a symbol is valid for this kind of table, DC or AC.
    is_valid: fn(u8) -> bool,
    /// Indexed by the next [`INDEX_BITS`] bits: the length in bits of the code at their start and of its coefficient
    /// together, and the symbol. The length is 0 if the code is longer than the index or invalid.
    short: [(u8, u8); 1 << INDEX_BITS],
    /// The length of each code, in bits.
    lengths: ArrayVec<u8, 256>,
    symbols: ArrayVec<u8, 256>,
    /// For each code length from 1 bit: if the next 16 bits, read as a number, are below this one, they start with a
    /// code of at most this length.
    ends: [u32; MAX_CODE_BITS as usize],
    /// For each code length from 1 bit: the number to add (wrapping) to a code of that length to get its index in
    /// `symbols`.
    offsets: [u32; MAX_CODE_BITS as usize],
}

impl HuffmanTable {
    /// A table without codes; `is_valid` says whether a symbol is allowed in it.
    pub(crate) fn new(is_valid: fn(u8) -> bool) -> Self {
        Self {
            is_valid,
            short: [(0, 0); 1 << INDEX_BITS],
            lengths: ArrayVec::new(),
            symbols: ArrayVec::new(),
            ends: Default::default(),
            offsets: Default::default(),
        }
    }

    /// Reads the codes of a Huffman table, given in the form of its JPEG segment (ITU-T T.81, annex B.2.4.2).
    ///
    /// # Errors
    ///
    /// [`InvalidCode`] if the numbers of codes and symbols differ, if a symbol has two codes, or if there are more
    /// codes than their lengths allow.
    pub(crate) fn read(&mut self, table: &[u8]) -> Result<(), InvalidCode> {
        let (counts, symbols) = table.split_first_chunk::<16>().ok_or(InvalidCode)?;
        if counts.iter().copied().map(usize::from).sum::<usize>() != symbols.len() {
            return Err(InvalidCode);
        }
        let mut has_code = [false; 256];
        if symbols.iter().any(|symbol| std::mem::replace(&mut has_code[usize::from(*symbol)], true)) {
            return Err(InvalidCode);
        }
        self.symbols.clear();
        self.symbols.try_extend_from_slice(symbols).map_err(|_| InvalidCode)?;
        self.lengths.clear();
        let mut code = 0_u32;
        for (length, count) in (1..).zip(counts) {
            let entry = self.ends.get_mut(length - 1).zip(self.offsets.get_mut(length - 1));
            let (end, offset) = entry.ok_or(InvalidCode)?;
            *offset = (self.lengths.len() as u32).wrapping_sub(code);
            self.lengths.extend(std::iter::repeat_n(length as u8, usize::from(*count)));
            code += u32::from(*count);
            if code > 1 << length {
                return Err(InvalidCode);
            }
            *end = code << (16 - length);
            code <<= 1;
        }
        let mut rest = self.short.as_mut_slice();
        for (length, symbol) in self.lengths.iter().zip(&self.symbols) {
            let Some(bits_left) = INDEX_BITS.checked_sub(u32::from(*length)) else { break };
            let entries;
            (entries, rest) = rest.split_at_mut(1 << bits_left);
            let is_valid = (self.is_valid)(*symbol);
            entries.fill(if is_valid { (length + (symbol & 0xf), *symbol) } else { (0, 0) });
        }
        rest.fill((0, 0));
        Ok(())
    }

    /// The length in bits and the symbol of each code, in order.
    pub(crate) fn codes(&self) -> impl Iterator<Item = (u32, u8)> {
        self.lengths.iter().map(|length| u32::from(*length)).zip(self.symbols.iter().copied())
    }

    /// Decodes one symbol and the coefficient that follows its code.
    ///
    /// # Errors
    /// [`InvalidCode`] if the code or its symbol is invalid.
    #[inline(always)]
    pub(crate) fn decode(&self, bits: &mut BitReader<'_>) -> Result<(u8, i32), InvalidCode> {
        let (count, symbol) = self.short[bits.peek(INDEX_BITS) as usize];
        if count == 0 {
            // A copy, so that `bits` can stay in registers.
            let mut rest = *bits;
            let decoded = self.decode_long(&mut rest);
            *bits = rest;
            return decoded;
        }
        let size = u32::from(symbol & 0xf);
        let value = bits.peek_last(count.into(), size);
        bits.consume(count.into());
        Ok((symbol, sign_extended(value, size)))
    }

    /// Decodes one symbol, whose code may have any length, and the coefficient that follows the code.
    #[cold]
    fn decode_long(&self, bits: &mut BitReader<'_>) -> Result<(u8, i32), InvalidCode> {
        let symbol = self.decode_symbol(bits)?;
        // An invalid symbol may state more bits than the buffer still holds.
        if !(self.is_valid)(symbol) {
            return Err(InvalidCode);
        }
        let size = u32::from(symbol & 0xf);
        let value = bits.peek_last(size, size);
        bits.consume(size);
        Ok((symbol, sign_extended(value, size)))
    }

    /// Decodes a symbol whose code may have any length (annex F.2.2.3).
    fn decode_symbol(&self, bits: &mut BitReader<'_>) -> Result<u8, InvalidCode> {
        let ahead = bits.peek(MAX_CODE_BITS) as u32;
        let index = self.ends.iter().position(|end| ahead < *end).ok_or(InvalidCode)?;
        let length = index as u32 + 1;
        let code = ahead >> (MAX_CODE_BITS - length);
        bits.consume(length);
        let number = code.wrapping_add(self.offsets[index]);
        self.symbols.get(number as usize).copied().ok_or(InvalidCode)
    }
}

/// The coefficient that a value of `size` bits stands for (annex F.2.2.1, EXTEND).
#[inline(always)]
pub(crate) fn sign_extended(value: u32, size: u32) -> i32 {
    // All bits are ones if the first bit of the value is 0, and also if there are no bits, so that nothing is
    // added then.
    let is_negative = ((value << 1) >> size).wrapping_sub(1);
    (value as i32).wrapping_add(is_negative as i32 & (1 - (1 << size)))
}
