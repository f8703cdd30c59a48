//! The code of a block: taken coefficient by coefficient, or passed over with tables that tell several at one look.

use super::bits::Bits;
use super::huffman::{Codes, LONGEST, extended};
use super::{COEFFICIENTS, Unusual};

/// Most bits of the difference of two DC coefficients of 8 bit samples (ITU-T T.81, annex F.1.2.1, table F.1).
const MOST_DC_BITS: u32 = 11;
/// Most bits of an AC coefficient (annex F.1.2.2, table F.2).
const MOST_AC_BITS: u32 = 10;

/// The symbol of the end of a block (annex F.1.2.2.1, EOB).
const END_OF_BLOCK: u8 = 0;

/// Bits looked at in one go.
const LOOK: u32 = 11;
const WAYS: usize = 1 << LOOK;
/// Looks that the bits held after [`Bits::fill`] last for: one passes at most `LOOK` bits and a coefficient's.
const LOOKS: u32 = 2;
const _: () = assert!(LOOKS * (LOOK + MOST_AC_BITS) <= Bits::HELD);
/// AC coefficients that the bits held after it last for.
const TAKEN_A_FILL: u32 = 2;
const _: () = assert!(TAKEN_A_FILL * (LONGEST + MOST_AC_BITS) <= Bits::HELD);
const _: () = assert!(LONGEST + MOST_DC_BITS + (LOOKS - 1) * (LOOK + MOST_AC_BITS) <= Bits::HELD);

/// What a look tells: in bits 0 to 7 how many bits the whole codes among those looked at take with their
/// coefficients, in bits 8 to 19 how many coefficients these are, in bits 20 to 31 the difference if the first is a
/// DC coefficient. So the telling of two looks is their sum. The end of a block counts as a coefficient, and
/// [`END`] more; that the first code is not told, as more than any.
type Told = u32;

const ONE: Told = 1 << 8;
const END: Told = 1 << 18;
const UNTOLD: Told = 1 << 19;
const DIFFERENCE: u32 = 20;
const FULL: Told = COEFFICIENTS as Told * ONE;

/// How many bits are told of.
fn bits_of(told: Told) -> u32 {
    told & 0xff
}

/// How many coefficients are told of, in units of [`ONE`].
fn count_of(told: Told) -> Told {
    told & 0xfff00
}

/// Whether so much, in units of [`ONE`], can be a block or its beginning.
fn is_block(count: Told) -> bool {
    count & !END <= FULL
}

/// The tables for all blocks of a component.
pub(super) struct BlockCodes {
    /// What these are the tables of.
    dc_table: Vec<u8>,
    ac_table: Vec<u8>,
    dc: Codes,
    ac: Codes,
    /// What the bits at the beginning of a block tell, and those further on.
    first: Box<[Told; WAYS]>,
    further: Box<[Told; WAYS]>,
    /// What fewer bits further on tell: for `n` bits from `1 << n`. Zero where they are no whole code.
    fewer: Box<[Told; WAYS]>,
}

impl Default for BlockCodes {
    fn default() -> Self {
        Self {
            dc_table: Vec::new(),
            ac_table: Vec::new(),
            dc: Codes::new(|symbol| u32::from(symbol) <= MOST_DC_BITS),
            ac: Codes::new(|symbol| told_by(symbol).is_some()),
            first: Box::new([UNTOLD; WAYS]),
            further: Box::new([UNTOLD; WAYS]),
            fewer: Box::new([0; WAYS]),
        }
    }
}

impl BlockCodes {
    /// Makes these the tables for two Huffman tables, if they are not.
    ///
    /// # Errors
    /// [`Unusual`] where these are none.
    pub(super) fn follow(&mut self, dc_table: &[u8], ac_table: &[u8]) -> Result<(), Unusual> {
        if self.dc_table == dc_table && self.ac_table == ac_table {
            return Ok(());
        }
        self.dc_table.clear();
        self.ac_table.clear();
        self.dc.read(dc_table)?;
        self.ac.read(ac_table)?;
        for looked in 0..LOOK {
            let (fewer, level) = self.fewer.split_at_mut(1 << looked);
            tell_further(&self.ac, looked, fewer, &mut level[..1 << looked]);
        }
        tell_further(&self.ac, LOOK, self.fewer.as_slice(), self.further.as_mut_slice());
        mark_untold(self.further.as_mut_slice());
        self.tell_first();
        self.dc_table.extend_from_slice(dc_table);
        self.ac_table.extend_from_slice(ac_table);
        Ok(())
    }

    fn tell_first(&mut self) {
        let mut rest = self.first.as_mut_slice();
        for (length, symbol) in self.dc.all().take_while(|(length, _)| *length <= LOOK) {
            let (part, size);
            (part, rest) = rest.split_at_mut(1 << (LOOK - length));
            size = u32::from(symbol);
            if size > MOST_DC_BITS || length + size > LOOK {
                part.fill(UNTOLD);
                continue;
            }
            let behind = LOOK - length - size;
            let further = &self.fewer[1 << behind..2 << behind];
            for (value, part) in (0..).zip(part.chunks_exact_mut(1 << behind)) {
                let told = length + size + ONE + ((extended(value, size) as Told) << DIFFERENCE);
                add_to_all(part, further, told);
            }
        }
        rest.fill(UNTOLD);
    }

    /// Passes over a block; answers the difference of its DC coefficient to the one before.
    ///
    /// # Errors
    /// [`Unusual`] for what is no code, and for more coefficients than a block has.
    #[inline]
    pub(super) fn pass(&self, bits: &mut Bits<'_>) -> Result<i32, Unusual> {
        bits.fill()?;
        let told = self.first[bits.ahead(LOOK) as usize];
        let mut difference = told as i32 >> DIFFERENCE;
        let mut count = count_of(told);
        if is_block(count) {
            bits.pass(bits_of(told));
        } else {
            difference = self.take_dc(bits)?;
            count = ONE;
        }
        // One look has been had from the bits that are held.
        let mut looks = LOOKS - 1;
        while count < FULL {
            for _ in 0..looks {
                let told = self.further[bits.ahead(LOOK) as usize];
                let reached = count + count_of(told);
                if !is_block(reached) {
                    count = self.take_ac(bits, count)?;
                    break;
                }
                bits.pass(bits_of(told));
                if reached >= FULL {
                    return Ok(difference);
                }
                count = reached;
            }
            bits.fill()?;
            looks = LOOKS;
        }
        Ok(difference)
    }

    /// Takes a single DC coefficient; answers its difference.
    #[cold]
    fn take_dc(&self, bits: &mut Bits<'_>) -> Result<i32, Unusual> {
        bits.fill()?;
        self.dc.take(bits).map(|(_, difference)| difference)
    }

    /// Takes a block: tells `put` the number of each AC coefficient that is coded, in zigzag order, and what it is;
    /// answers the difference of its DC coefficient to the one before.
    ///
    /// # Errors
    /// [`Unusual`] for what is no code, and for more coefficients than a block has.
    #[inline(never)]
    pub(super) fn take(&self, from: &mut Bits<'_>, mut put: impl FnMut(usize, i32)) -> Result<i32, Unusual> {
        // A copy stays in registers.
        let mut bits = *from;
        bits.fill()?;
        let (_, difference) = self.dc.take(&mut bits)?;
        let mut count = 1;
        'block: while count < COEFFICIENTS {
            bits.fill()?;
            for _ in 0..TAKEN_A_FILL {
                let (symbol, value) = self.ac.take(&mut bits)?;
                if symbol == END_OF_BLOCK {
                    break 'block;
                }
                count += usize::from(symbol >> 4) + 1;
                if count > COEFFICIENTS {
                    return Err(Unusual);
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

    /// Takes a single AC code where `count` coefficients are passed; answers how many are passed then.
    #[cold]
    fn take_ac(&self, bits: &mut Bits<'_>, count: Told) -> Result<Told, Unusual> {
        bits.fill()?;
        let told = told_by(self.ac.take(bits)?.0).ok_or(Unusual)?;
        Some(count + count_of(told)).filter(|count| is_block(*count)).ok_or(Unusual)
    }
}

/// What the symbol of an AC code tells, but for the length of the code itself (annex F.1.2.2).
fn told_by(symbol: u8) -> Option<Told> {
    let (run, size) = (u32::from(symbol >> 4), u32::from(symbol & 0xf));
    match (run, size) {
        _ if symbol == END_OF_BLOCK => Some(END + ONE),
        (15, 0) => Some(16 * ONE),
        (_, 1..=MOST_AC_BITS) => Some((run + 1) * ONE + size),
        _ => None,
    }
}

/// Tells what `looked` bits further on in a block tell, from what fewer bits do.
fn tell_further(ac: &Codes, looked: u32, fewer: &[Told], level: &mut [Told]) {
    let mut rest = level;
    for (length, symbol) in ac.all().take_while(|(length, _)| *length <= looked) {
        let part;
        (part, rest) = rest.split_at_mut(1 << (looked - length));
        let Some(told) = told_by(symbol) else {
            part.fill(0);
            continue;
        };
        let told = told + length;
        match looked.checked_sub(bits_of(told)) {
            Some(behind @ 1..) if count_of(told) < END => {
                for part in part.chunks_exact_mut(1 << behind) {
                    add_to_all(part, &fewer[1 << behind..2 << behind], told);
                }
            }
            _ => part.fill(told),
        }
    }
    rest.fill(0);
}

fn add_to_all(to: &mut [Told], behind: &[Told], told: Told) {
    for (to, behind) in to.iter_mut().zip(behind) {
        *to = told + behind;
    }
}

fn mark_untold(level: &mut [Told]) {
    for told in level {
        *told = if *told == 0 { UNTOLD } else { *told };
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::super::bits::MARGIN;
    use super::*;

    /// A table with codes of 1, 2, ... bits for the symbols.
    fn table(symbols: &[u8]) -> Vec<u8> {
        let counts = (0..16).map(|length| u8::from(length < symbols.len()));
        counts.chain(symbols.iter().copied()).collect()
    }

    /// The bytes of a code that is told as zeros and ones.
    fn bytes_of(code: &str) -> Vec<u8> {
        let mut bytes = vec![0; code.len() / 8 + MARGIN];
        for (place, digit) in code.bytes().enumerate() {
            bytes[place / 8] |= (digit - b'0') << (7 - place % 8);
        }
        bytes
    }

    /// Passes over a block and takes it; answers difference and bits passed.
    fn pass(codes: &BlockCodes, code: &str) -> Result<(i32, usize), Unusual> {
        let bytes = bytes_of(code);
        let mut bits = Bits::new(&bytes, 0);
        let passed = codes.pass(&mut bits).map(|difference| (difference, bits.place()));
        let mut bits = Bits::new(&bytes, 0);
        let taken = codes.take(&mut bits, |_, _| {}).map(|difference| (difference, bits.place()));
        assert_eq!(passed, taken, "{code}");
        passed
    }

    fn codes(dc: &[u8], ac: &[u8]) -> BlockCodes {
        let mut codes = BlockCodes::default();
        codes.follow(&table(dc), &table(ac)).unwrap();
        codes
    }

    #[test]
    fn a_block_ends_with_its_end_or_its_last_coefficient() {
        // Sixteen zeros 0, the end 10, fourteen zeros and a bit 110, fifteen 1110, ten bits 11110.
        let codes = codes(&[0, 3, 11], &[0xf0, 0x00, 0xe1, 0xf1, 0x0a]);
        assert_eq!(pass(&codes, "010"), Ok((0, 3)));
        for (code, difference) in [("10111", 7), ("10000", -7), ("10101", 5), ("10011", -4)] {
            assert_eq!(pass(&codes, &[code, "10"].concat()), Ok((difference, 7)), "{code}");
        }
        assert_eq!(pass(&codes, &["110", "10000000000", "10"].concat()), Ok((1024, 16)));
        assert_eq!(pass(&codes, &["0", "000", "1101"].concat()), Ok((0, 8)), "no end behind the 64th");
        assert_eq!(pass(&codes, &["0", "000", "10"].concat()), Ok((0, 6)));
        let long = "111101111111111".repeat(62);
        assert_eq!(pass(&codes, &["0", &long, "10"].concat()), Ok((0, 1 + 62 * 15 + 2)));
        assert_eq!(pass(&codes, &["0", &long, "111101111111111"].concat()), Ok((0, 1 + 63 * 15)));
    }

    #[test]
    fn coefficients_are_taken_with_their_numbers_and_signs() {
        // Sixteen zeros 0, the end 10, fourteen zeros and a bit 110, three bits 1110, ten bits 11110.
        let codes = codes(&[0, 3], &[0xf0, 0x00, 0xe1, 0x03, 0x0a]);
        let code = ["10101", "1110011", "1110100", "0", "1101", "1100", "111100000000001", "10"].concat();
        let bytes = bytes_of(&code);
        let mut found = Vec::new();
        let difference = codes.take(&mut Bits::new(&bytes, 0), |number, value| found.push((number, value)));
        assert_eq!(difference, Ok(5));
        found.retain(|(_, value)| *value != 0);
        assert_eq!(found, [(1, -4), (2, 4), (33, 1), (48, -1), (49, -1022)]);
    }

    #[test]
    fn more_coefficients_than_a_block_has_are_no_block() {
        let codes = codes(&[0, 3], &[0xf0, 0x00, 0xe1, 0xf1, 0x0a]);
        let long = "111101111111111";
        for code in ["0000010", "00000000000", "000011101", "101110000010"] {
            assert_eq!(pass(&codes, code), Err(Unusual), "{code}");
        }
        assert_eq!(pass(&codes, &["0", &long.repeat(48), "0", "10"].concat()), Err(Unusual));
        assert_eq!(pass(&codes, &["0", &long.repeat(49), "1101"].concat()), Err(Unusual));
    }

    #[test]
    fn what_is_no_code_or_no_coefficient_is_no_block() {
        // Eleven bits, and zeros without a coefficient that are not sixteen, are none (table F.2).
        let codes = codes(&[0, 12], &[0x00, 0x0b, 0x50]);
        assert_eq!(pass(&codes, "00"), Ok((0, 2)));
        for code in ["10", "11", "010", "0110", "0111"] {
            assert_eq!(pass(&codes, code), Err(Unusual), "{code}");
        }
    }

    #[test]
    fn tables_that_are_none_are_refused() {
        let sound = table(&[0, 1]);
        let many = [&[3][..], &[0; 15], &[0, 1, 2]].concat();
        let cut = table(&[0, 1]).split_last().unwrap().1.to_vec();
        let mut codes = BlockCodes::default();
        for (dc, ac) in [(&many, &sound), (&sound, &many), (&cut, &sound), (&sound, &cut)] {
            assert_eq!(codes.follow(dc, ac), Err(Unusual));
        }
        assert_eq!(codes.follow(&sound, &sound), Ok(()));
        assert_eq!(codes.follow(&sound, &[2, 0].repeat(8)), Err(Unusual), "fewer symbols than codes");
    }
}
