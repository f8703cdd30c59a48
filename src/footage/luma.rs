//! Gets the luma of a decoded frame.
//!
//! The luma of planar YUV, NV12 and grey frames with 8 bits is borrowed from the frame. Other formats are
//! converted into a buffer: luma of more than 8 bits is reduced to its upper 8 bits, packed YUV is unpacked,
//! and RGB is weighted as `Y' = 0.299 R' + 0.587 G' + 0.114 B'` (ITU-R BT.601-7, section 2.5.1). Levels stay
//! as stored: limited range (16 to 235) is not stretched to full range.

use ffmpeg_next::frame::Video;

use super::LumaPlane;
use super::libav::{self, FramePlane, PixelComponent, PixelLayout};

/// The luma of the top left `width` x `height` pixels of `frame`, converted into `buffer` if it cannot be borrowed
/// from the frame. `None` if the pixel format is not supported.
pub(super) fn of_frame<'a>(
    frame: &'a Video,
    width: usize,
    height: usize,
    buffer: &'a mut Vec<u8>,
) -> Option<LumaPlane<'a>> {
    let layout = libav::pixel_layout(frame)?;
    if is_luma_plane(&layout) {
        let first = layout.components[0].plane;
        if let Some((data, stride)) = libav::plane(frame, first, width, height)?.as_slice() {
            return Some(LumaPlane { data, width, height, stride });
        }
    }
    convert(frame, &layout, width, height, buffer)?;
    Some(LumaPlane { data: buffer, width, height, stride: width })
}

/// Whether luma is stored as a separate plane with one byte per pixel.
fn is_luma_plane(layout: &PixelLayout) -> bool {
    let [luma, ..] = layout.components;
    !layout.rgb && luma.step == 1 && luma.offset == 0 && luma.shift == 0 && luma.depth == 8
}

fn convert(
    frame: &Video,
    layout: &PixelLayout,
    width: usize,
    height: usize,
    buffer: &mut Vec<u8>,
) -> Option<()> {
    let mut planes = [None; 3];
    for (plane, component) in planes.iter_mut().zip(layout.components) {
        *plane = Some((component, component_plane(frame, component, width, height)?));
    }
    let [Some(first), Some(second), Some(third)] = planes else { return None };
    buffer.clear();
    buffer.reserve(width.checked_mul(height)?);
    let mut rows = [vec![0_u8; width], vec![0; width], vec![0; width]];
    for row in 0..height {
        let [one, two, three] = &mut rows;
        unpack(first, row, layout.big_endian, one)?;
        if !layout.rgb {
            buffer.extend_from_slice(one);
            continue;
        }
        unpack(second, row, layout.big_endian, two)?;
        unpack(third, row, layout.big_endian, three)?;
        buffer
            .extend(one.iter().zip(two.iter()).zip(three.iter()).map(|((&r, &g), &b)| luma_of_rgb(r, g, b)));
    }
    Some(())
}

/// The plane of a component with `width` x `height` values; `None` if the frame is smaller.
pub(super) fn component_plane(
    frame: &Video,
    component: PixelComponent,
    width: usize,
    height: usize,
) -> Option<FramePlane<'_>> {
    let last = (width - 1).checked_mul(component.step)?.checked_add(component.offset)?;
    libav::plane(frame, component.plane, last.checked_add(bytes_of(component))?, height)
}

/// The number of bytes that contain a value of the component.
fn bytes_of(component: PixelComponent) -> usize {
    if component.shift + component.depth <= 8 { 1 } else { 2 }
}

/// Converts the values of one row of a component to 8 bits; `None` if the row or the component does not
/// exist, or the format is unsupported.
pub(super) fn unpack(
    (component, plane): (PixelComponent, FramePlane<'_>),
    row: usize,
    big_endian: bool,
    into: &mut [u8],
) -> Option<()> {
    let bytes = plane.row(row)?;
    if component.shift + component.depth > 16 || component.depth == 0 || component.step == 0 {
        return None;
    }
    let wide = bytes_of(component) == 2;
    let pixels = bytes.get(component.offset..)?.chunks(component.step);
    for (value, pixel) in into.iter_mut().zip(pixels) {
        let stored = match *pixel {
            [high, low, ..] if wide && big_endian => u16::from_be_bytes([high, low]),
            [low, high, ..] if wide => u16::from_le_bytes([low, high]),
            [byte, ..] => u16::from(byte),
            [] => return None,
        };
        *value = to_eight_bits(stored >> component.shift, component.depth);
    }
    Some(())
}

/// The upper 8 bits of a value with more bits; a value with fewer bits is scaled to the range 0 to 255.
fn to_eight_bits(value: u16, depth: u32) -> u8 {
    let highest = (1_u32 << depth) - 1;
    let value = u32::from(value) & highest;
    let scaled = if depth >= 8 { value >> (depth - 8) } else { (value * 255 + highest / 2) / highest };
    u8::try_from(scaled).unwrap_or(u8::MAX)
}

/// The luma of an RGB pixel according to BT.601, rounded to the nearest level.
fn luma_of_rgb(red: u8, green: u8, blue: u8) -> u8 {
    let sum = 299 * u32::from(red) + 587 * u32::from(green) + 114 * u32::from(blue);
    u8::try_from((sum + 500) / 1000).unwrap_or(u8::MAX)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use ffmpeg_next::format::Pixel;

    use super::*;

    fn filled(format: Pixel, width: u32, height: u32, row: &[u8]) -> Video {
        let mut frame = Video::new(format, width, height);
        let stride = frame.stride(0);
        for line in frame.data_mut(0).chunks_mut(stride) {
            line[..row.len()].copy_from_slice(row);
        }
        frame
    }

    #[test]
    fn luma_of_planar_frames_is_borrowed() {
        let frame = filled(Pixel::YUV420P, 4, 2, &[1, 2, 3, 4]);
        let mut buffer = Vec::new();
        let luma = of_frame(&frame, 4, 2, &mut buffer).unwrap();
        assert_eq!(luma.rows().collect::<Vec<_>>(), [[1, 2, 3, 4], [1, 2, 3, 4]]);
        assert!(buffer.is_empty());
    }

    #[test]
    fn packed_yuv_gives_every_second_byte() {
        let mut buffer = Vec::new();
        let frame = filled(Pixel::YUYV422, 2, 1, &[10, 128, 20, 128]);
        assert_eq!(of_frame(&frame, 2, 1, &mut buffer).unwrap().data, [10, 20]);
        let frame = filled(Pixel::UYVY422, 2, 1, &[128, 10, 128, 20]);
        assert_eq!(of_frame(&frame, 2, 1, &mut buffer).unwrap().data, [10, 20]);
    }

    #[test]
    fn deep_luma_keeps_its_upper_eight_bits() {
        let mut buffer = Vec::new();
        let frame = filled(Pixel::YUV420P10LE, 2, 2, &[0xff, 0x03, 0x44, 0x01]);
        assert_eq!(of_frame(&frame, 2, 2, &mut buffer).unwrap().data, [255, 81, 255, 81]);
        let frame = filled(Pixel::GRAY16BE, 2, 1, &[0xab, 0xcd, 0x01, 0xff]);
        assert_eq!(of_frame(&frame, 2, 1, &mut buffer).unwrap().data, [0xab, 0x01]);
    }

    #[test]
    fn rgb_is_weighted_by_bt_601() {
        let mut buffer = Vec::new();
        let pixels = [255, 0, 0, 0, 255, 0, 0, 0, 255, 255, 255, 255];
        let frame = filled(Pixel::RGB24, 4, 1, &pixels);
        assert_eq!(of_frame(&frame, 4, 1, &mut buffer).unwrap().data, [76, 150, 29, 255]);
        let frame = filled(Pixel::BGR24, 4, 1, &pixels);
        assert_eq!(of_frame(&frame, 4, 1, &mut buffer).unwrap().data, [29, 150, 76, 255]);
    }

    #[test]
    fn shallow_rgb_is_stretched_to_the_full_range() {
        let mut buffer = Vec::new();
        let white_then_blue = [0xff, 0xff, 0x1f, 0x00];
        let frame = filled(Pixel::RGB565LE, 2, 1, &white_then_blue);
        assert_eq!(of_frame(&frame, 2, 1, &mut buffer).unwrap().data, [255, 29]);
    }

    #[test]
    fn palettes_are_refused() {
        let mut buffer = Vec::new();
        let frame = filled(Pixel::PAL8, 2, 1, &[0, 1]);
        assert!(of_frame(&frame, 2, 1, &mut buffer).is_none());
    }

    #[test]
    fn more_pixels_than_the_frame_holds_are_refused() {
        let mut buffer = Vec::new();
        let frame = filled(Pixel::GRAY8, 2, 1, &[0, 1]);
        assert!(of_frame(&frame, 2, 4000, &mut buffer).is_none());
    }
}
