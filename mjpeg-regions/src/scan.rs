//! The entropy-coded data of an image, read block by block.

use memchr::{memchr, memmem};

use super::InvalidCode;
use super::bits::{BitReader, PADDING_BYTES};
use super::blocks::BlockDecoder;
use super::header::MAX_COMPONENTS;
use super::layout::Layout;
use super::writer::BlockWriter;

/// A sequence of zero bytes as a failing card or a cut copy leaves it. Most Huffman tables decode it to dozens of equal
/// coefficients, which images do not contain. The length, 8 bytes, was set by judgement.
const ZEROS: [u8; 8] = [0; 8];

/// The entropy-coded data of an image, after markers and stuffed bytes were removed.
#[derive(Clone, Default)]
pub(crate) struct Scan {
    /// The data of all segments between restart markers, one after the other, followed by padding.
    bytes: Vec<u8>,
    /// The end of each segment between restart markers, as an index into `bytes`.
    ends: Vec<usize>,
    /// Whether there are [`ZEROS`] in the data.
    pub has_zeros: bool,
}

impl Scan {
    /// Reads the data after an image's header (ITU-T T.81, annex B.1.1.5).
    ///
    /// # Errors
    /// [`InvalidCode`] if the end is missing, restart markers are out of order, or there are other markers.
    pub(crate) fn read(&mut self, mut data: &[u8]) -> Result<(), InvalidCode> {
        self.bytes.clear();
        self.ends.clear();
        self.has_zeros = false;
        loop {
            let (before, marker) = data.split_at(memchr(0xff, data).ok_or(InvalidCode)?);
            self.has_zeros |= before.len() >= ZEROS.len() && memmem::find(before, &ZEROS).is_some();
            self.bytes.extend_from_slice(before);
            data = match *marker {
                [_, 0, ref rest @ ..] => {
                    self.bytes.push(0xff);
                    rest
                }
                // Any number of fill bytes may precede a marker (annex B.1.1.2).
                [_, ref rest @ ..] if rest.starts_with(&[0xff]) => rest,
                [_, marker @ 0xd0..=0xd7, ref rest @ ..]
                    if usize::from(marker - 0xd0) == self.ends.len() % 8 =>
                {
                    self.ends.push(self.bytes.len());
                    rest
                }
                // Containers may pad the image with zeros after its end.
                [_, 0xd9, ref rest @ ..] if rest.iter().all(|byte| *byte == 0) => {
                    self.ends.push(self.bytes.len());
                    self.bytes.extend_from_slice(&[0; PADDING_BYTES]);
                    return Ok(());
                }
                _ => return Err(InvalidCode),
            };
        }
    }
}

/// Decodes the selected luma blocks of a scan, skips the others, and writes the pixels.
///
/// # Errors
/// [`InvalidCode`] if the data is damaged.
pub(crate) fn decode_selected(
    scan: &Scan,
    layout: &Layout,
    decoders: &[BlockDecoder; MAX_COMPONENTS],
    restart_interval: usize,
    writer: &mut BlockWriter<'_>,
) -> Result<(), InvalidCode> {
    let units = layout.selected.len();
    let restart_interval = if restart_interval > 0 { restart_interval } else { units.max(1) };
    if scan.ends.len() != units.div_ceil(restart_interval) {
        return Err(InvalidCode);
    }
    let mut start = 0;
    for (units, end) in layout.selected.chunks(restart_interval).zip(&scan.ends) {
        let mut bits = BitReader::new(&scan.bytes, start);
        // The predicted DC coefficient is zero at the start, and again after each restart marker (annex
        // F.1.1.5.1).
        let mut dc = 0_i32;
        for selected in units {
            dc = decode_unit(layout, decoders, *selected, (&mut bits, dc), writer)?;
        }
        let bits_left = (8 * end).checked_sub(bits.position()).ok_or(InvalidCode)?;
        if bits_left >= 8 {
            return Err(InvalidCode);
        }
        start = *end;
    }
    Ok(())
}

/// Decodes or skips the blocks of a minimum coded unit. `dc` is the DC coefficient of the previous luma block; returns
/// that of the last luma block of this unit.
#[inline]
fn decode_unit(
    layout: &Layout,
    decoders: &[BlockDecoder; MAX_COMPONENTS],
    selected: u16,
    (bits, mut dc): (&mut BitReader<'_>, i32),
    writer: &mut BlockWriter<'_>,
) -> Result<i32, InvalidCode> {
    for (block, decoder) in layout.decoders.iter().enumerate() {
        let decoder = decoders.get(*decoder).ok_or(InvalidCode)?;
        if selected & 1 << block != 0 {
            dc = writer.write(decoder, bits, dc)?;
            continue;
        }
        let difference = decoder.skip(bits)?;
        if block < layout.luma_blocks {
            dc = dc.wrapping_add(difference);
            if !writer.transform.is_valid_dc(dc) {
                return Err(InvalidCode);
            }
        }
    }
    Ok(dc)
}
