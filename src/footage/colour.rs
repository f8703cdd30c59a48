//! Converts a decoded frame to red, green and blue for display; readings use luma alone.
//!
//! `R' = Y' + 2 (1 - Kr) Cr`, `B' = Y' + 2 (1 - Kb) Cb`, and `G'` from `Y' = Kr R' + Kg G' + Kb B'` (ITU-R BT.601-7
//! section 2.5 and BT.709-6 section 3, with the `Kr` and `Kb` of the standard that the frame states). Chroma samples
//! are repeated, not interpolated.

use ffmpeg_next::frame::Video;
use ffmpeg_next::util::color::{Range, Space};
use image::RgbImage;

use super::libav::{self, PixelLayout};
use super::luma::{component_plane, unpack};

/// Minimum height of a frame, in pixels, for converting it by BT.709 if it states no colour space; lower frames are
/// converted by BT.601. The value is the height of the smallest HD format.
const HD_HEIGHT: usize = 720;

/// Converts the top left `width` x `height` pixels of a frame to RGB; `None` if the pixel format is not supported.
pub(super) fn of_frame(frame: &Video, width: usize, height: usize) -> Option<RgbImage> {
    let layout = libav::pixel_layout(frame)?;
    let (right, down) = if layout.rgb { (0, 0) } else { libav::chroma_shift(frame)? };
    let chroma = (width.div_ceil(1 << right), height.div_ceil(1 << down));
    let levels = if layout.rgb { None } else { Some(Levels::of(frame, height)) };
    let components = if layout.rgb { layout.components.map(Some) } else { libav::yuv_components(frame)? };
    let mut planes = Vec::with_capacity(3);
    for (number, component) in components.into_iter().enumerate() {
        let (columns, rows) = if number == 0 || layout.rgb { (width, height) } else { chroma };
        planes.push(match component {
            Some(component) => Some((component, component_plane(frame, component, columns, rows)?)),
            // A grey frame has no chroma.
            None => None,
        });
    }
    let mut pixels = Vec::with_capacity(width.checked_mul(height)?.checked_mul(3)?);
    let mut rows = [vec![0_u8; width], vec![128; width], vec![128; width]];
    for row in 0..height {
        for (number, (plane, values)) in planes.iter().zip(&mut rows).enumerate() {
            let stored = if number == 0 { row } else { row >> down };
            if let Some(plane) = plane {
                unpack(*plane, stored, layout.big_endian, values)?;
            }
        }
        push_row(&mut pixels, &rows, levels.as_ref(), right, &layout);
    }
    RgbImage::from_raw(u32::try_from(width).ok()?, u32::try_from(height).ok()?, pixels)
}

fn push_row(
    pixels: &mut Vec<u8>,
    [one, two, three]: &[Vec<u8>; 3],
    levels: Option<&Levels>,
    right: u32,
    layout: &PixelLayout,
) {
    for (column, first) in one.iter().enumerate() {
        let at = if layout.rgb { column } else { column >> right };
        let (Some(second), Some(third)) = (two.get(at), three.get(at)) else { return };
        pixels.extend(match levels {
            Some(levels) => levels.rgb(*first, *second, *third),
            None => [*first, *second, *third],
        });
    }
}

/// Coefficients of the conversion from luma and chroma.
struct Levels {
    /// Weights of red and blue in luma (`Kr`, `Kb`).
    weights: (f32, f32),
    /// Luma of black as stored, 0 or 16. It is subtracted before luma is stretched to 0 to 255.
    black: f32,
    /// Factor that stretches luma to the range 0 to 255.
    luma_factor: f32,
    /// Factor that stretches chroma to the range -128 to 127.
    chroma_factor: f32,
}

impl Levels {
    fn of(frame: &Video, height: usize) -> Self {
        let weights = match frame.color_space() {
            Space::BT709 => (0.2126, 0.0722),
            Space::Unspecified if height >= HD_HEIGHT => (0.2126, 0.0722),
            _ => (0.299, 0.114),
        };
        if frame.color_range() == Range::JPEG || libav::is_full_range(frame) {
            Self { weights, black: 0.0, luma_factor: 1.0, chroma_factor: 1.0 }
        } else {
            Self { weights, black: 16.0, luma_factor: 255.0 / 219.0, chroma_factor: 255.0 / 224.0 }
        }
    }

    fn rgb(&self, luma: u8, blue_difference: u8, red_difference: u8) -> [u8; 3] {
        let luma = (f32::from(luma) - self.black) * self.luma_factor;
        let chroma = |level: u8| (f32::from(level) - 128.0) * self.chroma_factor;
        let (kr, kb) = self.weights;
        let red = luma + 2.0 * (1.0 - kr) * chroma(red_difference);
        let blue = luma + 2.0 * (1.0 - kb) * chroma(blue_difference);
        let green = (luma - kr * red - kb * blue) / (1.0 - kr - kb);
        [red, green, blue].map(|level| level.round().clamp(0.0, 255.0) as u8)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use ffmpeg_next::format::Pixel;

    use super::*;

    fn filled(format: Pixel, planes: &[&[u8]]) -> Video {
        let mut frame = Video::new(format, 4, 2);
        for (number, row) in planes.iter().enumerate() {
            let stride = frame.stride(number);
            for line in frame.data_mut(number).chunks_mut(stride) {
                line[..row.len()].copy_from_slice(row);
            }
        }
        frame
    }

    #[test]
    fn the_primary_colours_of_bt_601_are_converted_correctly() {
        // Luma and chroma of red, green and blue at full strength in limited range (ITU-R BT.601-7, section 2.5.3, rounded).
        for (yuv, rgb) in [
            ([81, 90, 240], [255, 0, 0]),
            ([145, 54, 34], [0, 255, 0]),
            ([41, 240, 110], [0, 0, 255]),
            ([235, 128, 128], [255, 255, 255]),
            ([16, 128, 128], [0, 0, 0]),
        ] {
            let [y, cb, cr]: [u8; 3] = yuv;
            let frame = filled(Pixel::YUV420P, &[&[y; 4], &[cb; 2], &[cr; 2]]);
            let got = of_frame(&frame, 4, 2).unwrap().get_pixel(3, 1).0;
            let off = got.iter().zip(rgb).map(|(got, wanted): (&u8, u8)| got.abs_diff(wanted)).max();
            assert!(off <= Some(2), "{yuv:?} became {got:?}");
        }
    }

    #[test]
    fn chroma_belongs_to_the_pixels_above_it() {
        let frame = filled(Pixel::YUVJ422P, &[&[100; 4], &[128, 200], &[128, 128]]);
        let image = of_frame(&frame, 4, 2).unwrap();
        assert_eq!(image.get_pixel(1, 0).0, [100, 100, 100]);
        assert!(image.get_pixel(2, 0).0[2] > 200);
    }

    #[test]
    fn two_chroma_samples_in_one_plane_and_rgb_are_unpacked() {
        let frame = filled(Pixel::NV12, &[&[16; 4], &[128, 128, 128, 128]]);
        assert_eq!(of_frame(&frame, 4, 2).unwrap().get_pixel(3, 1).0, [0, 0, 0]);
        let frame = filled(Pixel::BGR24, &[&[1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]]);
        assert_eq!(of_frame(&frame, 4, 2).unwrap().get_pixel(1, 0).0, [6, 5, 4]);
    }

    #[test]
    fn a_grey_frame_stays_grey() {
        let frame = filled(Pixel::GRAY8, &[&[16, 90, 235, 16]]);
        let image = of_frame(&frame, 4, 2).unwrap();
        assert_eq!(image.get_pixel(0, 0).0, [0; 3]);
        let [red, green, blue] = image.get_pixel(1, 0).0;
        assert!(red == green && green == blue && red > 80);
        assert_eq!(image.get_pixel(2, 1).0, [255; 3]);
    }
}
