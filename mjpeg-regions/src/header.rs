//! The header of a JPEG image: everything before its entropy-coded data (ITU-T T.81, annex B.2).

use arrayvec::ArrayVec;

use super::{COEFFICIENTS, huffman};

/// Maximum number of components of an image: luma and two chroma.
pub(crate) const MAX_COMPONENTS: usize = 3;
/// Maximum number of blocks in a minimum coded unit (annex B.2.3).
pub(crate) const MAX_BLOCKS: usize = 10;

/// One component of an image (annexes B.2.2 and B.2.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Component {
    id: u8,
    /// Number of columns of blocks in a minimum coded unit.
    pub columns: usize,
    /// Number of rows of blocks in a minimum coded unit.
    pub rows: usize,
    quantisation_table: usize,
    dc_table: usize,
    ac_table: usize,
    /// Index of the first component that uses the same two Huffman tables.
    pub decoder: usize,
}

/// The header of a baseline JPEG image with one scan.
#[derive(Debug)]
pub(crate) struct Header<'a> {
    pub width: usize,
    pub height: usize,
    /// The components. The first is luma, and no other has more blocks in a minimum coded unit.
    pub components: ArrayVec<Component, MAX_COMPONENTS>,
    /// The quantisation table of luma, in zigzag order.
    pub quantisation: &'a [u8],
    /// Number of minimum coded units between restart markers; 0 if there are no markers.
    pub restart_interval: usize,
    /// The data after the header: the entropy-coded data with its markers.
    pub scan: &'a [u8],
    dc_tables: [&'a [u8]; 2],
    ac_tables: [&'a [u8]; 2],
}

/// The contents of the segments read so far.
struct Segments<'a> {
    frame: Option<Frame>,
    quantisation: [Option<&'a [u8]>; 4],
    dc_tables: [&'a [u8]; 2],
    ac_tables: [&'a [u8]; 2],
    restart_interval: usize,
}

struct Frame {
    width: usize,
    height: usize,
    components: ArrayVec<Component, MAX_COMPONENTS>,
}

impl<'a> Header<'a> {
    /// Reads the header of `jpeg`. `None` if the header is damaged, or if the image is not a baseline image
    /// with 8 bits per sample, one scan and luma at full resolution.
    pub(crate) fn read(jpeg: &'a [u8]) -> Option<Self> {
        let mut rest = jpeg.strip_prefix(&[0xff, 0xd8])?;
        // Motion JPEG may omit the Huffman tables if they are those of the standard.
        let mut segments = Segments {
            frame: None,
            quantisation: [None; 4],
            dc_tables: huffman::STANDARD_DC,
            ac_tables: huffman::STANDARD_AC,
            restart_interval: 0,
        };
        loop {
            let (marker, segment, following) = first_segment(rest)?;
            if marker == 0xda {
                return segments.finish(segment, following);
            }
            segments.add(marker, segment)?;
            rest = following;
        }
    }

    /// The Huffman tables of a component's DC and AC coefficients, in the form of their JPEG segments.
    pub(crate) fn tables_of(&self, component: &Component) -> (&'a [u8], &'a [u8]) {
        let of = |tables: &[&'a [u8]; 2], number: usize| tables.get(number).copied().unwrap_or_default();
        (of(&self.dc_tables, component.dc_table), of(&self.ac_tables, component.ac_table))
    }
}

/// The first marker, the content of its segment, and the data after it (annexes B.1.1.2 to B.1.1.4); `None`
/// if the data are cut off, or do not begin with a marker.
fn first_segment(mut bytes: &[u8]) -> Option<(u8, &[u8], &[u8])> {
    while bytes.starts_with(&[0xff, 0xff]) {
        bytes = bytes.get(1..)?;
    }
    let [0xff, marker, high, low, following @ ..] = bytes else { return None };
    let length = usize::from(u16::from_be_bytes([*high, *low])).checked_sub(2)?;
    let (segment, following) = following.split_at_checked(length)?;
    Some((*marker, segment, following))
}

impl<'a> Segments<'a> {
    fn add(&mut self, marker: u8, segment: &'a [u8]) -> Option<()> {
        match (marker, segment) {
            (0xc0, _) if self.frame.is_none() => self.frame = Some(Frame::read(segment)?),
            (0xc4, _) => self.add_huffman(segment)?,
            (0xdb, _) => self.add_quantisation(segment)?,
            (0xdd, &[high, low]) => self.restart_interval = usize::from(u16::from_be_bytes([high, low])),
            // The segment states that the colours are not luma and chroma (ITU-T T.872, clause 6.5.3).
            (0xee, [b'A', b'd', b'o', b'b', b'e', _, _, _, _, _, _, transform, ..]) if *transform != 1 => {
                return None;
            }
            (0xe0..=0xef | 0xfe, _) => {}
            _ => return None,
        }
        Some(())
    }

    /// Adds quantisation tables (annex B.2.4.1); `None` if the segment is malformed.
    fn add_quantisation(&mut self, mut bytes: &'a [u8]) -> Option<()> {
        while let [number, following @ ..] = bytes {
            let table;
            (table, bytes) = following.split_at_checked(COEFFICIENTS)?;
            // This refuses tables of 16-bit steps, which baseline images of 8-bit samples do not have: their first four
            // bits are not 0.
            *self.quantisation.get_mut(usize::from(*number))? = Some(table);
        }
        Some(())
    }

    /// Adds Huffman tables (annex B.2.4.2); `None` if the segment is malformed.
    fn add_huffman(&mut self, mut bytes: &'a [u8]) -> Option<()> {
        while let [kind, following @ ..] = bytes {
            let codes: usize = following.get(..16)?.iter().copied().map(usize::from).sum();
            let table;
            (table, bytes) = following.split_at_checked(16 + codes)?;
            let tables = if kind >> 4 == 0 { &mut self.dc_tables } else { &mut self.ac_tables };
            // A baseline image has at most two tables of each kind.
            *tables.get_mut(usize::from(kind & 0xf)).filter(|_| kind >> 4 < 2)? = table;
        }
        Some(())
    }

    /// Completes the header with the scan header `segment` (annex B.2.3). `scan` is the data after that header. `None`
    /// if the image is malformed or of an unsupported kind.
    fn finish(self, segment: &[u8], scan: &'a [u8]) -> Option<Header<'a>> {
        let Frame { width, height, mut components } = self.frame?;
        let (count, parameters) = segment.split_first()?;
        let (selectors, progression) = parameters.split_at_checked(2 * components.len())?;
        if usize::from(*count) != components.len() || progression != [0, 63, 0] {
            return None;
        }
        for (component, selector) in components.iter_mut().zip(selectors.chunks_exact(2)) {
            let &[id, tables] = selector else { return None };
            (component.dc_table, component.ac_table) = (usize::from(tables >> 4), usize::from(tables & 0xf));
            if id != component.id || component.dc_table > 1 || component.ac_table > 1 {
                return None;
            }
        }
        share_decoders(&mut components);
        Some(Header {
            width,
            height,
            // A quantisation step is at least 1 (annex B.2.4.1).
            quantisation: (*self.quantisation.get(components.first()?.quantisation_table)?)
                .filter(|steps| !steps.contains(&0))?,
            components,
            restart_interval: self.restart_interval,
            scan,
            dc_tables: self.dc_tables,
            ac_tables: self.ac_tables,
        })
    }
}

/// Lets components with the same two Huffman tables share a block decoder.
fn share_decoders(components: &mut [Component]) {
    for number in 1..components.len() {
        let (before, rest) = components.split_at_mut(number);
        if let Some(component) = rest.first_mut() {
            let same = |other: &Component| {
                (other.dc_table, other.ac_table) == (component.dc_table, component.ac_table)
            };
            component.decoder = before.iter().position(same).unwrap_or(number);
        }
    }
}

impl Frame {
    /// Reads the frame header (annex B.2.2); `None` if the image is malformed or of an unsupported kind.
    fn read(segment: &[u8]) -> Option<Self> {
        let &[8, y1, y0, x1, x0, count, ref descriptions @ ..] = segment else { return None };
        let count = usize::from(count);
        if !matches!(count, 1 | MAX_COMPONENTS) || descriptions.len() != 3 * count {
            return None;
        }
        let mut components = ArrayVec::new();
        for description in descriptions.chunks_exact(3) {
            let &[id, sampling, quantisation_table] = description else { return None };
            components.push(Component {
                id,
                columns: usize::from(sampling >> 4),
                rows: usize::from(sampling & 0xf),
                quantisation_table: usize::from(quantisation_table),
                dc_table: 0,
                ac_table: 0,
                decoder: 0,
            });
        }
        let (width, height) = (u16::from_be_bytes([x1, x0]).into(), u16::from_be_bytes([y1, y0]).into());
        has_full_luma(&mut components).then_some(Self { width, height, components })
    }
}

/// Whether the first component is luma at full resolution, and a minimum coded unit has a valid number of blocks. A
/// single component is set to one block per unit first.
fn has_full_luma(components: &mut ArrayVec<Component, MAX_COMPONENTS>) -> bool {
    if let [grey] = components.as_mut_slice() {
        // A single component is coded block by block, whatever its sampling factors (annex A.2.2).
        (grey.columns, grey.rows) = (1, 1);
    }
    let is_rgb = components.iter().map(|component| component.id).eq(*b"RGB");
    let blocks: usize = components.iter().map(|component| component.columns * component.rows).sum();
    let is_valid =
        |component: &Component| (1..=4).contains(&component.columns) && (1..=4).contains(&component.rows);
    let luma = components.first().copied();
    let is_largest = |luma: Component| {
        components.iter().all(|other| other.columns <= luma.columns && other.rows <= luma.rows)
    };
    !is_rgb && blocks <= MAX_BLOCKS && components.iter().all(is_valid) && luma.is_some_and(is_largest)
}
