//! What stands before the code of a picture (ITU-T T.81, annex B.2).

use arrayvec::ArrayVec;

use super::{COEFFICIENTS, huffman};

/// Components of a picture: luma, and two of colour.
pub(super) const MOST_COMPONENTS: usize = 3;
/// Blocks of all components in a minimum coded unit (annex B.2.3).
pub(super) const MOST_BLOCKS: usize = 10;

/// One of the components (annex B.2.2 and B.2.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Component {
    id: u8,
    /// Blocks side by side and one below the other in a minimum coded unit.
    pub across: usize,
    pub down: usize,
    quantisation: usize,
    dc: usize,
    ac: usize,
    /// The first component that uses the same two Huffman tables.
    pub codes: usize,
}

/// The header of a baseline picture of one scan.
#[derive(Debug)]
pub(super) struct Header<'a> {
    pub width: usize,
    pub height: usize,
    /// Luma is the first, and no other has more samples.
    pub components: ArrayVec<Component, MOST_COMPONENTS>,
    /// Luma's quantisation table as it stands there.
    pub quantisation: &'a [u8],
    /// Minimum coded units between restart markers; 0 where there are none.
    pub interval: usize,
    /// What comes behind the header.
    pub scan: &'a [u8],
    dc_tables: [&'a [u8]; 2],
    ac_tables: [&'a [u8]; 2],
}

/// What has been read of a header.
struct Segments<'a> {
    frame: Option<Frame>,
    quantisation: [Option<&'a [u8]>; 4],
    dc_tables: [&'a [u8]; 2],
    ac_tables: [&'a [u8]; 2],
    interval: usize,
}

struct Frame {
    width: usize,
    height: usize,
    components: ArrayVec<Component, MOST_COMPONENTS>,
}

impl<'a> Header<'a> {
    /// Reads the header of `jpeg`; `None` where it is damaged, or not that of a baseline picture of 8 bits in one scan
    /// with luma at full resolution.
    pub(super) fn read(jpeg: &'a [u8]) -> Option<Self> {
        let mut rest = jpeg.strip_prefix(&[0xff, 0xd8])?;
        // Motion JPEG leaves out Huffman tables that are the standard's own.
        let mut segments = Segments {
            frame: None,
            quantisation: [None; 4],
            dc_tables: huffman::STANDARD_DC,
            ac_tables: huffman::STANDARD_AC,
            interval: 0,
        };
        loop {
            let (marker, segment, behind) = first_segment(rest)?;
            if marker == 0xda {
                return segments.end(segment, behind);
            }
            segments.add(marker, segment)?;
            rest = behind;
        }
    }

    /// The tables of the component's DC and AC coefficients.
    pub(super) fn tables_of(&self, component: &Component) -> (&'a [u8], &'a [u8]) {
        let of = |tables: &[&'a [u8]; 2], number: usize| tables.get(number).copied().unwrap_or_default();
        (of(&self.dc_tables, component.dc), of(&self.ac_tables, component.ac))
    }
}

/// The marker, what its segment holds, and what comes behind (annex B.1.1.2 to B.1.1.4).
fn first_segment(mut bytes: &[u8]) -> Option<(u8, &[u8], &[u8])> {
    while bytes.starts_with(&[0xff, 0xff]) {
        bytes = bytes.get(1..)?;
    }
    let [0xff, marker, high, low, behind @ ..] = bytes else { return None };
    let length = usize::from(u16::from_be_bytes([*high, *low])).checked_sub(2)?;
    let (segment, behind) = behind.split_at_checked(length)?;
    Some((*marker, segment, behind))
}

impl<'a> Segments<'a> {
    fn add(&mut self, marker: u8, segment: &'a [u8]) -> Option<()> {
        match (marker, segment) {
            (0xc0, _) if self.frame.is_none() => self.frame = Some(Frame::read(segment)?),
            (0xc4, _) => self.add_huffman(segment)?,
            (0xdb, _) => self.add_quantisation(segment)?,
            (0xdd, &[high, low]) => self.interval = usize::from(u16::from_be_bytes([high, low])),
            // RGB, or something else (ITU-T T.872, clause 6.5.3).
            (0xee, [b'A', b'd', b'o', b'b', b'e', _, _, _, _, _, _, transform, ..]) if *transform != 1 => {
                return None;
            }
            (0xe0..=0xef | 0xfe, _) => {}
            _ => return None,
        }
        Some(())
    }

    /// Annex B.2.4.1.
    fn add_quantisation(&mut self, mut bytes: &'a [u8]) -> Option<()> {
        while let [number, behind @ ..] = bytes {
            let table;
            (table, bytes) = behind.split_at_checked(COEFFICIENTS)?;
            // Tables of 16 bits, whose number begins with 1, are not for baseline pictures of 8.
            *self.quantisation.get_mut(usize::from(*number))? = Some(table);
        }
        Some(())
    }

    /// Annex B.2.4.2.
    fn add_huffman(&mut self, mut bytes: &'a [u8]) -> Option<()> {
        while let [kind, behind @ ..] = bytes {
            let codes: usize = behind.get(..16)?.iter().copied().map(usize::from).sum();
            let table;
            (table, bytes) = behind.split_at_checked(16 + codes)?;
            let tables = if kind >> 4 == 0 { &mut self.dc_tables } else { &mut self.ac_tables };
            // A baseline picture has two of each.
            *tables.get_mut(usize::from(kind & 0xf)).filter(|_| kind >> 4 < 2)? = table;
        }
        Some(())
    }

    /// Ends the header with the scan's own (annex B.2.3).
    fn end(self, segment: &[u8], scan: &'a [u8]) -> Option<Header<'a>> {
        let Frame { width, height, mut components } = self.frame?;
        let (count, behind) = segment.split_first()?;
        let (chosen, progression) = behind.split_at_checked(2 * components.len())?;
        if usize::from(*count) != components.len() || progression != [0, 63, 0] {
            return None;
        }
        for (component, chosen) in components.iter_mut().zip(chosen.chunks_exact(2)) {
            let &[id, tables] = chosen else { return None };
            (component.dc, component.ac) = (usize::from(tables >> 4), usize::from(tables & 0xf));
            if id != component.id || component.dc > 1 || component.ac > 1 {
                return None;
            }
        }
        share_codes(&mut components);
        Some(Header {
            width,
            height,
            quantisation: (*self.quantisation.get(components.first()?.quantisation)?)?,
            components,
            interval: self.interval,
            scan,
            dc_tables: self.dc_tables,
            ac_tables: self.ac_tables,
        })
    }
}

fn share_codes(components: &mut [Component]) {
    for number in 1..components.len() {
        let (before, rest) = components.split_at_mut(number);
        if let Some(component) = rest.first_mut() {
            let same = |other: &Component| (other.dc, other.ac) == (component.dc, component.ac);
            component.codes = before.iter().position(same).unwrap_or(number);
        }
    }
}

impl Frame {
    /// Annex B.2.2.
    fn read(segment: &[u8]) -> Option<Self> {
        let &[8, y1, y0, x1, x0, count, ref described @ ..] = segment else { return None };
        let count = usize::from(count);
        if !matches!(count, 1 | MOST_COMPONENTS) || described.len() != 3 * count {
            return None;
        }
        let mut components = ArrayVec::new();
        for described in described.chunks_exact(3) {
            let &[id, sampling, quantisation] = described else { return None };
            let (across, down) = (usize::from(sampling >> 4), usize::from(sampling & 0xf));
            let quantisation = usize::from(quantisation);
            components.push(Component { id, across, down, quantisation, dc: 0, ac: 0, codes: 0 });
        }
        let (width, height) = (u16::from_be_bytes([x1, x0]).into(), u16::from_be_bytes([y1, y0]).into());
        is_luma_full(&mut components).then_some(Self { width, height, components })
    }
}

/// Whether the first component is luma at full resolution, and the blocks of a unit are as many as are allowed.
fn is_luma_full(components: &mut ArrayVec<Component, MOST_COMPONENTS>) -> bool {
    if let [grey] = components.as_mut_slice() {
        // Coded block by block, whatever its sampling is called (annex A.2.2).
        (grey.across, grey.down) = (1, 1);
    }
    let is_rgb = components.iter().map(|component| component.id).eq(*b"RGB");
    let blocks: usize = components.iter().map(|component| component.across * component.down).sum();
    let is_possible =
        |component: &Component| (1..=4).contains(&component.across) && (1..=4).contains(&component.down);
    let luma = components.first().copied();
    let is_most = |luma: Component| {
        components.iter().all(|other| other.across <= luma.across && other.down <= luma.down)
    };
    !is_rgb && blocks <= MOST_BLOCKS && components.iter().all(is_possible) && luma.is_some_and(is_most)
}
