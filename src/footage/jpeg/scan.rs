//! The code of a picture, gone through from one block to the next.

use memchr::memchr;

use super::Unusual;
use super::bits::{Bits, MARGIN};
use super::blocks::BlockCodes;
use super::header::MOST_COMPONENTS;
use super::layout::Layout;
use super::painter::Painter;

/// The code of a picture without markers and stuffed bytes.
#[derive(Default)]
pub(super) struct Scan {
    /// All of it, and a margin.
    bytes: Vec<u8>,
    /// Where each stretch between markers ends.
    ends: Vec<usize>,
}

impl Scan {
    /// Takes up what comes behind a picture's header (ITU-T T.81, annex B.1.1.5).
    ///
    /// # Errors
    /// [`Unusual`] where it does not end as it should, where restart markers are out of order, and for other markers.
    pub(super) fn read(&mut self, mut code: &[u8]) -> Result<(), Unusual> {
        self.bytes.clear();
        self.ends.clear();
        loop {
            let (before, behind) = code.split_at(memchr(0xff, code).ok_or(Unusual)?);
            self.bytes.extend_from_slice(before);
            code = match *behind {
                [_, 0, ref behind @ ..] => {
                    self.bytes.push(0xff);
                    behind
                }
                // Any number of these may stand before a marker (annex B.1.1.2).
                [_, ref behind @ ..] if behind.starts_with(&[0xff]) => behind,
                [_, marker @ 0xd0..=0xd7, ref behind @ ..]
                    if usize::from(marker - 0xd0) == self.ends.len() % 8 =>
                {
                    self.ends.push(self.bytes.len());
                    behind
                }
                // Zeros behind the end are put there by containers.
                [_, 0xd9, ref behind @ ..] if behind.iter().all(|byte| *byte == 0) => {
                    self.ends.push(self.bytes.len());
                    self.bytes.extend_from_slice(&[0; MARGIN]);
                    return Ok(());
                }
                _ => return Err(Unusual),
            };
        }
    }
}

/// Goes through a scan and puts the wanted blocks of luma to their places.
///
/// # Errors
/// [`Unusual`] for code that is damaged, as far as it is gone through.
pub(super) fn pick(
    scan: &Scan,
    layout: &Layout,
    codes: &[BlockCodes; MOST_COMPONENTS],
    interval: usize,
    painter: &mut Painter<'_>,
) -> Result<(), Unusual> {
    let interval = if interval > 0 { interval } else { layout.units.max(1) };
    if scan.ends.len() != layout.units.div_ceil(interval) {
        return Err(Unusual);
    }
    let mut start = 0;
    let mut units_left = layout.units;
    for (units, end) in layout.wanted.chunks(interval).zip(&scan.ends) {
        let mut bits = Bits::new(&scan.bytes, start);
        // At the beginning and behind each marker differences are those to zero (annex F.1.1.5.1).
        let mut dc = 0_i32;
        for wanted in units {
            dc = pick_unit(layout, codes, *wanted, (&mut bits, dc), painter)?;
        }
        let left = (8 * end).checked_sub(bits.place()).ok_or(Unusual)?;
        let is_whole = units.len() == interval.min(units_left);
        if is_whole && left >= 8 {
            return Err(Unusual);
        }
        start = *end;
        units_left -= units.len();
    }
    Ok(())
}

/// Goes through a unit behind a luma block with a DC coefficient `dc`; answers that of its last one.
#[inline]
fn pick_unit(
    layout: &Layout,
    codes: &[BlockCodes; MOST_COMPONENTS],
    wanted: u16,
    (bits, mut dc): (&mut Bits<'_>, i32),
    painter: &mut Painter<'_>,
) -> Result<i32, Unusual> {
    for (block, component) in layout.blocks.iter().enumerate() {
        let codes = codes.get(*component).ok_or(Unusual)?;
        if wanted & 1 << block != 0 {
            dc = painter.paint(codes, bits, dc)?;
            continue;
        }
        let difference = codes.pass(bits)?;
        if block < layout.luma {
            dc = dc.wrapping_add(difference);
        }
    }
    Ok(dc)
}
