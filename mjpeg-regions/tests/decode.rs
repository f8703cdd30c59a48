//! Tests the decoder through its public interface against a general decoder (the crate `zune-jpeg`).
#![allow(clippy::unwrap_used)]

mod encode;

use encode::{Encoding, encode};
use mjpeg_regions::{DecodeError, Decoder, Region, SetupError};
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// Maximum difference between the two decoders, in grey levels: their inverse DCTs round differently.
const TOLERANCE: u8 = 2;
const SIZE: (usize, usize) = (96, 80);
const REGIONS: [Region; 2] =
    [Region { left: 3, top: 5, right: 30, bottom: 17 }, Region { left: 50, top: 40, right: 200, bottom: 61 }];

fn encoding(sampling: &[(i32, i32)]) -> Encoding {
    let (width, height) = SIZE;
    Encoding {
        width,
        height,
        sampling: sampling.to_vec(),
        quality: 85,
        optimised: false,
        restart_interval: 0,
        progressive: false,
    }
}

/// Gradients with some texture.
fn pixels(components: usize) -> Vec<u8> {
    let (width, height) = SIZE;
    let level = |position: usize| {
        let (x, y) = (position % width, position / width);
        (2 * x + y + 40 * (x / 5 % 2) + x * y % 7) as u8
    };
    (0..width * height).flat_map(|position| std::iter::repeat_n(level(position), components)).collect()
}

fn general_decoder(jpeg: &[u8]) -> Vec<u8> {
    let options = DecoderOptions::default().jpeg_set_out_colorspace(ColorSpace::Luma);
    JpegDecoder::new_with_options(ZCursor::new(jpeg), options).decode().unwrap()
}

#[test]
fn regions_equal_those_of_a_general_decoder_within_rounding() {
    for sampling in [&[(1, 1)][..], &[(2, 2), (1, 1), (1, 1)], &[(2, 1), (1, 1), (1, 1)], &[(1, 1); 3]] {
        for (optimised, restart_interval) in [(false, 0), (true, 0), (false, 4)] {
            let encoding = Encoding { optimised, restart_interval, ..encoding(sampling) };
            let jpeg = encode(&encoding, &pixels(sampling.len()));
            let expected = general_decoder(&jpeg);
            let mut decoder = Decoder::new(SIZE.0, SIZE.1, &REGIONS).unwrap();
            let luma = decoder.decode(&jpeg).unwrap();
            assert_eq!((luma.width, luma.height), SIZE);
            for region in REGIONS {
                let right = region.right.min(SIZE.0);
                let rows = luma.rows().zip(expected.chunks_exact(SIZE.0)).enumerate();
                for (y, (found, expected)) in rows.take(region.bottom).skip(region.top) {
                    for x in region.left..right {
                        let difference = found[x].abs_diff(expected[x]);
                        assert!(difference <= TOLERANCE, "{sampling:?}: {x} {y}: {difference}");
                    }
                }
            }
        }
    }
}

#[test]
fn damaged_images_never_panic_and_leave_the_decoder_usable() {
    let sampling = [(2, 2), (1, 1), (1, 1)];
    let jpeg = encode(&encoding(&sampling), &pixels(3));
    let mut decoder = Decoder::new(SIZE.0, SIZE.1, &REGIONS).unwrap();
    let sound: Vec<u8> = decoder.decode(&jpeg).unwrap().data.to_vec();
    let mut refused = 0;
    for byte in 0..jpeg.len() {
        for value in [0, 0xff, jpeg[byte] ^ 0x10] {
            let mut damaged = jpeg.clone();
            damaged[byte] = value;
            refused += usize::from(decoder.decode(&damaged).is_err());
        }
        assert!(decoder.decode(&jpeg[..byte]).is_err(), "cut off at {byte}");
    }
    assert!(refused > jpeg.len() / 2, "{refused}");
    assert_eq!(decoder.decode(&jpeg).unwrap().data, sound);
}

#[test]
fn errors_say_what_is_wrong() {
    let jpeg = encode(&encoding(&[(1, 1)]), &pixels(1));
    let outside = Region { left: 96, top: 0, right: 120, bottom: 8 };
    let error = Decoder::new(SIZE.0, SIZE.1, &[outside]).err().unwrap();
    assert_eq!(error, SetupError::NoRegion { width: 96, height: 80 });
    assert_eq!(
        error.to_string(),
        "no region overlaps an image of 96 x 80 pixels; give a region inside the image"
    );

    let mut decoder = Decoder::new(SIZE.0, SIZE.1, &REGIONS).unwrap();
    let progressive = encode(&Encoding { progressive: true, ..encoding(&[(1, 1)]) }, &pixels(1));
    assert_eq!(decoder.decode(&progressive).err(), Some(DecodeError::Unsupported));
    assert_eq!(decoder.decode(b"not an image").err(), Some(DecodeError::Unsupported));
    assert_eq!(decoder.decode(&jpeg[..jpeg.len() - 2]).err(), Some(DecodeError::Damaged));
    let mut larger = Decoder::new(104, 80, &REGIONS).unwrap();
    assert_eq!(larger.decode(&jpeg).err(), Some(DecodeError::OtherSize { width: 96, height: 80 }));
}
