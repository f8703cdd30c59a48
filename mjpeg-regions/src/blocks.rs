//! The codes of one block: decoded coefficient by coefficient, or skipped with tables that cover several codes at once.

use super::bits::BitReader;
use super::huffman::{HuffmanTable, MAX_CODE_BITS, sign_extended};
use super::{COEFFICIENTS, InvalidCode};

/// Maximum number of bits of a DC difference for 8-bit samples (ITU-T T.81, annex F.1.2.1, table F.1).
const MAX_DC_BITS: u32 = 11;
/// Maximum number of bits of an AC coefficient for 8-bit samples (annex F.1.2.2, table F.2).
const MAX_AC_BITS: u32 = 10;

/// The symbol that ends a block (annex F.1.2.2.1, EOB).
const END_OF_BLOCK: u8 = 0;

/// Number of bits that index the skip tables. Set by judgement: the three tables of a component then take 24
/// kB.
const INDEX_BITS: u32 = 11;
const TABLE_SIZE: usize = 1 << INDEX_BITS;
/// Number of table lookups per [`BitReader::fill`]: a lookup consumes at most [`INDEX_BITS`] and the bits of
/// one coefficient.
const LOOKUPS_PER_FILL: u32 = 2;
const _: () = assert!(LOOKUPS_PER_FILL * (INDEX_BITS + MAX_AC_BITS) <= BitReader::BITS_PER_FILL);
/// Number of AC coefficients that are decoded per [`BitReader::fill`].
const DECODED_PER_FILL: u32 = 2;
const _: () = assert!(DECODED_PER_FILL * (MAX_CODE_BITS + MAX_AC_BITS) <= BitReader::BITS_PER_FILL);
const _: () = assert!(
    MAX_CODE_BITS + MAX_DC_BITS + (LOOKUPS_PER_FILL - 1) * (INDEX_BITS + MAX_AC_BITS)
        <= BitReader::BITS_PER_FILL
);

/// The number of bits and coefficients to skip at once, packed into one word so that two of them can be
/// combined by an addition.
///
/// A table of skips is indexed by the next bits of the data. An entry covers all codes that are complete within these
/// bits, and their coefficients.
///
/// - Bits 0 to 7: the number of bits to skip.
/// - Bits 8 to 17: the number of coefficients to skip; an end-of-block code counts as one coefficient.
/// - Bit 18, [`END`]: set if the last code is an end of block.
/// - Bit 19, [`UNKNOWN`]: set if nothing can be skipped, because the first code is longer than these bits (for a DC
///   coefficient, the code and the difference together) or invalid.
/// - Bits 20 to 31: the DC difference, if the first code is that of a DC coefficient.
type Skip = u32;

const ONE_COEFFICIENT: Skip = 1 << 8;
const END: Skip = 1 << 18;
const UNKNOWN: Skip = 1 << 19;
const DIFFERENCE_SHIFT: u32 = 20;
const FULL_BLOCK: Skip = COEFFICIENTS as Skip * ONE_COEFFICIENT;

/// The number of bits to skip.
fn bits_of(skip: Skip) -> u32 {
    skip & 0xff
}

/// The number of coefficients to skip, in units of [`ONE_COEFFICIENT`], with the bits [`END`] and [`UNKNOWN`].
fn count_of(skip: Skip) -> Skip {
    skip & 0xfff00
}

/// Whether `count`, in units of [`ONE_COEFFICIENT`] and without [`END`], is at most the number of coefficients of a
/// block.
fn fits_block(count: Skip) -> bool {
    count & !END <= FULL_BLOCK
}

/// The decoding tables for the blocks of one component.
#[derive(Clone)]
pub(crate) struct BlockDecoder {
    /// The Huffman table of DC coefficients from which the other fields were computed, in the form of its JPEG
    /// segment.
    dc_segment: Vec<u8>,
    /// The Huffman table of AC coefficients from which the other fields were computed, in the form of its JPEG segment.
    ac_segment: Vec<u8>,
    dc: HuffmanTable,
    ac: HuffmanTable,
    /// The skip at the start of a block, indexed by the next [`INDEX_BITS`] bits.
    at_start: Box<[Skip; TABLE_SIZE]>,
    /// The skip after the DC coefficient, indexed by the next [`INDEX_BITS`] bits.
    after_start: Box<[Skip; TABLE_SIZE]>,
    /// The skip after the DC coefficient if only `n` bits are known, fewer than [`INDEX_BITS`]: the entry for the value
    /// `v` of these bits has the index `(1 << n) + v`. Zero if the bits contain no complete code.
    shorter: Box<[Skip; TABLE_SIZE]>,
}

impl Default for BlockDecoder {
    fn default() -> Self {
        Self {
            dc_segment: Vec::new(),
            ac_segment: Vec::new(),
            dc: HuffmanTable::new(|symbol| u32::from(symbol) <= MAX_DC_BITS),
            ac: HuffmanTable::new(|symbol| skip_of_symbol(symbol).is_some()),
            at_start: Box::new([UNKNOWN; TABLE_SIZE]),
            after_start: Box::new([UNKNOWN; TABLE_SIZE]),
            shorter: Box::new([0; TABLE_SIZE]),
        }
    }
}

impl BlockDecoder {
    /// Sets the two Huffman tables, given in the form of their JPEG segments. Does nothing if they are the
    /// current ones.
    ///
    /// # Errors
    ///
    /// [`InvalidCode`] if one of them is not a Huffman table.
    pub(crate) fn set_tables(&mut self, dc_segment: &[u8], ac_segment: &[u8]) -> Result<(), InvalidCode> {
        if self.dc_segment == dc_segment && self.ac_segment == ac_segment {
            return Ok(());
        }
        self.dc_segment.clear();
        self.ac_segment.clear();
        self.dc.read(dc_segment)?;
        self.ac.read(ac_segment)?;
        for bits in 0..INDEX_BITS {
            let (shorter, table) = self.shorter.split_at_mut(1 << bits);
            fill_after_start(&self.ac, bits, shorter, &mut table[..1 << bits]);
        }
        fill_after_start(&self.ac, INDEX_BITS, self.shorter.as_slice(), self.after_start.as_mut_slice());
        mark_unknown(self.after_start.as_mut_slice());
        self.fill_at_start();
        self.dc_segment.extend_from_slice(dc_segment);
        self.ac_segment.extend_from_slice(ac_segment);
        Ok(())
    }

    /// Whether a sequence of zero bits decodes to blocks without AC coefficients that all have the same DC coefficient,
    /// so that it codes an area of one grey level.
    pub(crate) fn decodes_zeros_to_uniform_blocks(&self) -> bool {
        let first = |table: &HuffmanTable| table.codes().next().map(|(_, symbol)| symbol);
        first(&self.dc) == Some(0) && first(&self.ac) == Some(END_OF_BLOCK)
    }

    fn fill_at_start(&mut self) {
        let mut rest = self.at_start.as_mut_slice();
        for (length, symbol) in self.dc.codes().take_while(|(length, _)| *length <= INDEX_BITS) {
            let (entries, size);
            (entries, rest) = rest.split_at_mut(1 << (INDEX_BITS - length));
            size = u32::from(symbol);
            if size > MAX_DC_BITS || length + size > INDEX_BITS {
                entries.fill(UNKNOWN);
                continue;
            }
            let bits_left = INDEX_BITS - length - size;
            let following = &self.shorter[1 << bits_left..2 << bits_left];
            for (value, entries) in (0..).zip(entries.chunks_exact_mut(1 << bits_left)) {
                let difference = (sign_extended(value, size) as Skip) << DIFFERENCE_SHIFT;
                set_sums(entries, following, length + size + ONE_COEFFICIENT + difference);
            }
        }
        rest.fill(UNKNOWN);
    }

    /// Skips a block, and returns the block's DC coefficient minus that of the previous block of the component.
    ///
    /// # Errors
    ///
    /// [`InvalidCode`] if a code is invalid or the block has too many coefficients.
    #[inline]
    pub(crate) fn skip(&self, bits: &mut BitReader<'_>) -> Result<i32, InvalidCode> {
        bits.fill()?;
        let skip = self.at_start[bits.peek(INDEX_BITS) as usize];
        let mut difference = skip as i32 >> DIFFERENCE_SHIFT;
        let mut count = count_of(skip);
        if fits_block(count) {
            bits.consume(bits_of(skip));
        } else {
            difference = self.decode_dc(bits)?;
            count = ONE_COEFFICIENT;
        }
        // The DC coefficient used up one lookup.
        let mut lookups = LOOKUPS_PER_FILL - 1;
        while count < FULL_BLOCK {
            for _ in 0..lookups {
                let skip = self.after_start[bits.peek(INDEX_BITS) as usize];
                let new_count = count + count_of(skip);
                if !fits_block(new_count) {
                    count = self.skip_long_ac(bits, count)?;
                    break;
                }
                bits.consume(bits_of(skip));
                if new_count >= FULL_BLOCK {
                    return Ok(difference);
                }
                count = new_count;
            }
            bits.fill()?;
            lookups = LOOKUPS_PER_FILL;
        }
        Ok(difference)
    }

    /// Decodes a DC coefficient without the skip tables, and returns this coefficient minus that of the previous
    /// block of the component.
    #[cold]
    fn decode_dc(&self, bits: &mut BitReader<'_>) -> Result<i32, InvalidCode> {
        bits.fill()?;
        self.dc.decode(bits).map(|(_, difference)| difference)
    }

    /// Decodes a block. Calls `put` with the zigzag index and the value of each AC coefficient that is coded, and
    /// returns the block's DC coefficient minus that of the previous block of the component.
    ///
    /// # Errors
    /// [`InvalidCode`] if a code is invalid or the block has too many coefficients.
    #[inline(never)]
    pub(crate) fn decode(
        &self,
        from: &mut BitReader<'_>,
        mut put: impl FnMut(usize, i32),
    ) -> Result<i32, InvalidCode> {
        // A local copy can stay in registers.
        let mut bits = *from;
        bits.fill()?;
        let (_, difference) = self.dc.decode(&mut bits)?;
        let mut count = 1;
        'block: while count < COEFFICIENTS {
            bits.fill()?;
            for _ in 0..DECODED_PER_FILL {
                let (symbol, value) = self.ac.decode(&mut bits)?;
                if symbol == END_OF_BLOCK {
                    break 'block;
                }
                count += usize::from(symbol >> 4) + 1;
                if count > COEFFICIENTS {
                    return Err(InvalidCode);
                }
                put(count - 1, value);
                if count == COEFFICIENTS {
                    break 'block;
                }
            }
        }
        *from = bits;
        Ok(difference)
    }

    /// Skips one AC code without the skip tables. `count` and the result are the number of coefficients of this block
    /// skipped before and after, in units of [`ONE_COEFFICIENT`].
    #[cold]
    fn skip_long_ac(&self, bits: &mut BitReader<'_>, count: Skip) -> Result<Skip, InvalidCode> {
        bits.fill()?;
        let skip = skip_of_symbol(self.ac.decode(bits)?.0).ok_or(InvalidCode)?;
        Some(count + count_of(skip)).filter(|count| fits_block(*count)).ok_or(InvalidCode)
    }
}

/// The number of coefficients and of coefficient bits that an AC symbol stands for, without the length of its
/// code (annex F.1.2.2); `None` if there is no such symbol.
fn skip_of_symbol(symbol: u8) -> Option<Skip> {
    let (run, size) = (u32::from(symbol >> 4), u32::from(symbol & 0xf));
    match (run, size) {
        _ if symbol == END_OF_BLOCK => Some(END + ONE_COEFFICIENT),
        (15, 0) => Some(16 * ONE_COEFFICIENT),
        (_, 1..=MAX_AC_BITS) => Some((run + 1) * ONE_COEFFICIENT + size),
        _ => None,
    }
}

/// Fills `table` with the skips after the DC coefficient, indexed by the next `bits` bits. `shorter` holds the tables
/// for fewer bits, in the form of [`BlockDecoder::shorter`].
fn fill_after_start(ac: &HuffmanTable, bits: u32, shorter: &[Skip], table: &mut [Skip]) {
    let mut rest = table;
    for (length, symbol) in ac.codes().take_while(|(length, _)| *length <= bits) {
        let entries;
        (entries, rest) = rest.split_at_mut(1 << (bits - length));
        let Some(skip) = skip_of_symbol(symbol) else {
            entries.fill(0);
            continue;
        };
        let skip = skip + length;
        match bits.checked_sub(bits_of(skip)) {
            Some(bits_left @ 1..) if count_of(skip) < END => {
                for entries in entries.chunks_exact_mut(1 << bits_left) {
                    set_sums(entries, &shorter[1 << bits_left..2 << bits_left], skip);
                }
            }
            _ => entries.fill(skip),
        }
    }
    rest.fill(0);
}

fn set_sums(entries: &mut [Skip], following: &[Skip], skip: Skip) {
    for (entry, following) in entries.iter_mut().zip(following) {
        *entry = skip + following;
    }
}

fn mark_unknown(table: &mut [Skip]) {
    for entry in table {
        *entry = if *entry == 0 { UNKNOWN } else { *entry };
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::super::bits::PADDING_BYTES;
    use super::*;

    /// A Huffman table with codes of 1, 2, ... bits for the symbols.
    fn table(symbols: &[u8]) -> Vec<u8> {
        let counts = (0..16).map(|length| u8::from(length < symbols.len()));
        counts.chain(symbols.iter().copied()).collect()
    }

    /// The bytes for a string of zeros and ones.
    fn bytes_of(code: &str) -> Vec<u8> {
        let mut bytes = vec![0; code.len() / 8 + PADDING_BYTES];
        for (position, digit) in code.bytes().enumerate() {
            bytes[position / 8] |= (digit - b'0') << (7 - position % 8);
        }
        bytes
    }

    /// Skips a block and decodes it; returns its DC difference and its length in bits.
    fn skip_and_decode(decoder: &BlockDecoder, code: &str) -> Result<(i32, usize), InvalidCode> {
        let bytes = bytes_of(code);
        let mut bits = BitReader::new(&bytes, 0);
        let skipped = decoder.skip(&mut bits).map(|difference| (difference, bits.position()));
        let mut bits = BitReader::new(&bytes, 0);
        let decoded = decoder.decode(&mut bits, |_, _| {}).map(|difference| (difference, bits.position()));
        assert_eq!(skipped, decoded, "{code}");
        skipped
    }

    fn decoder(dc: &[u8], ac: &[u8]) -> BlockDecoder {
        let mut decoder = BlockDecoder::default();
        decoder.set_tables(&table(dc), &table(ac)).unwrap();
        decoder
    }

    #[test]
    fn a_block_ends_at_its_end_code_or_its_last_coefficient() {
        // The codes: sixteen zeros 0, end 10, fourteen zeros and one bit 110, fifteen 1110, ten bits 11110.
        let decoder = decoder(&[0, 3, 11], &[0xf0, 0x00, 0xe1, 0xf1, 0x0a]);
        assert_eq!(skip_and_decode(&decoder, "010"), Ok((0, 3)));
        for (code, difference) in [("10111", 7), ("10000", -7), ("10101", 5), ("10011", -4)] {
            assert_eq!(skip_and_decode(&decoder, &[code, "10"].concat()), Ok((difference, 7)), "{code}");
        }
        assert_eq!(skip_and_decode(&decoder, &["110", "10000000000", "10"].concat()), Ok((1024, 16)));
        assert_eq!(skip_and_decode(&decoder, "00001101"), Ok((0, 8)), "no end code after the 64th");
        assert_eq!(skip_and_decode(&decoder, "000010"), Ok((0, 6)));
        let long = "111101111111111".repeat(62);
        assert_eq!(skip_and_decode(&decoder, &["0", &long, "10"].concat()), Ok((0, 1 + 62 * 15 + 2)));
        let full = ["0", &long, "111101111111111"].concat();
        assert_eq!(skip_and_decode(&decoder, &full), Ok((0, 1 + 63 * 15)));
    }

    #[test]
    fn coefficients_come_with_their_index_and_sign() {
        // The codes: sixteen zeros 0, end 10, fourteen zeros and one bit 110, three bits 1110, ten bits 11110.
        let decoder = decoder(&[0, 3], &[0xf0, 0x00, 0xe1, 0x03, 0x0a]);
        let code = ["10101", "1110011", "1110100", "0", "1101", "1100", "111100000000001", "10"].concat();
        let bytes = bytes_of(&code);
        let mut found = Vec::new();
        let difference =
            decoder.decode(&mut BitReader::new(&bytes, 0), |index, value| found.push((index, value)));
        assert_eq!(difference, Ok(5));
        found.retain(|(_, value)| *value != 0);
        assert_eq!(found, [(1, -4), (2, 4), (33, 1), (48, -1), (49, -1022)]);
    }

    #[test]
    fn a_block_with_too_many_coefficients_is_refused() {
        let decoder = decoder(&[0, 3], &[0xf0, 0x00, 0xe1, 0xf1, 0x0a]);
        let long = "111101111111111";
        for code in ["0000010", "00000000000", "000011101", "101110000010"] {
            assert_eq!(skip_and_decode(&decoder, code), Err(InvalidCode), "{code}");
        }
        let forty_eight = ["0", &long.repeat(48), "0", "10"].concat();
        assert_eq!(skip_and_decode(&decoder, &forty_eight), Err(InvalidCode));
        let forty_nine = ["0", &long.repeat(49), "1101"].concat();
        assert_eq!(skip_and_decode(&decoder, &forty_nine), Err(InvalidCode));
    }

    #[test]
    fn invalid_codes_and_symbols_are_refused() {
        // A coefficient of eleven bits, and a run of other than sixteen zeros without a coefficient (table F.2).
        let decoder = decoder(&[0, 12], &[0x00, 0x0b, 0x50]);
        assert_eq!(skip_and_decode(&decoder, "00"), Ok((0, 2)));
        for code in ["10", "11", "010", "0110", "0111"] {
            assert_eq!(skip_and_decode(&decoder, code), Err(InvalidCode), "{code}");
        }
    }

    #[test]
    fn an_invalid_symbol_with_a_long_code_reads_no_bits_beyond_the_end() {
        // A DC code of one bit and seven more, then two AC codes of sixteen bits, the second with an invalid symbol that states
        // fifteen more: 8 bits that are filled up again, and 16 + 10 + 16 + 15 of 56.
        let long = [&[0; 15][..], &[2, 0x0a, 0x0f]].concat();
        let mut decoder = BlockDecoder::default();
        decoder.set_tables(&table(&[7]), &long).unwrap();
        let code =
            ["01111111", "0000000000000000", "1111111111", "0000000000000001", "111111111111111"].concat();
        assert_eq!(skip_and_decode(&decoder, &code), Err(InvalidCode));
    }

    #[test]
    fn zeros_are_blocks_of_one_level_if_the_first_codes_say_so() {
        assert!(decoder(&[0, 3], &[0x00, 0x01]).decodes_zeros_to_uniform_blocks());
        assert!(!decoder(&[3, 0], &[0x00, 0x01]).decodes_zeros_to_uniform_blocks());
        assert!(!decoder(&[0, 3], &[0x01, 0x00]).decodes_zeros_to_uniform_blocks());
    }

    #[test]
    fn invalid_huffman_tables_are_refused() {
        let sound = table(&[0, 1]);
        let too_many_codes = [&[3][..], &[0; 15], &[0, 1, 2]].concat();
        let cut = table(&[0, 1]).split_last().unwrap().1.to_vec();
        let mut decoder = BlockDecoder::default();
        for (dc, ac) in [(&too_many_codes, &sound), (&sound, &too_many_codes), (&cut, &sound), (&sound, &cut)]
        {
            assert_eq!(decoder.set_tables(dc, ac), Err(InvalidCode));
        }
        assert_eq!(decoder.set_tables(&sound, &sound), Ok(()));
        let repeated_symbol = table(&[1, 0, 1]);
        assert_eq!(decoder.set_tables(&sound, &repeated_symbol), Err(InvalidCode));
        let too_few_symbols = [2, 0].repeat(8);
        assert_eq!(decoder.set_tables(&sound, &too_few_symbols), Err(InvalidCode));
    }
}
