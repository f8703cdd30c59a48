#![allow(clippy::unwrap_used, clippy::panic)]

use super::encode::{Encoding, encode};
use super::reference::decode_whole;
use super::*;

/// A random number generator with a seed (xorshift, 64 bits).
struct Random(u64);

impl Random {
    fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    fn below(&mut self, end: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 16) as usize % end
    }

    fn one_of<T: Clone>(&mut self, choices: &[T]) -> T {
        choices[self.below(choices.len())].clone()
    }
}

/// The seeds of a test. `MJPEG_REGIONS_TIMES=100` tries a hundred times as many.
fn seeds(count: u64) -> std::ops::Range<u64> {
    let times = std::env::var("MJPEG_REGIONS_TIMES").ok().and_then(|times| times.parse().ok());
    0..count * times.unwrap_or(1)
}

/// Sampling factors of luma and chroma.
fn samplings() -> Vec<Vec<(i32, i32)>> {
    let luma = [(1, 1), (2, 1), (1, 2), (2, 2), (4, 1), (1, 4), (4, 2), (2, 4)];
    let mut all: Vec<_> = luma.iter().map(|luma| vec![*luma, (1, 1), (1, 1)]).collect();
    all.extend([vec![(2, 2), (2, 1), (2, 1)], vec![(2, 2), (1, 2), (1, 1)], vec![(2, 1), (2, 1), (2, 1)]]);
    all.extend([vec![(1, 1)], vec![(2, 2)]]);
    all
}

fn random_encoding(random: &mut Random, max_side: usize) -> Encoding {
    Encoding {
        width: 1 + random.below(max_side),
        height: 1 + random.below(max_side),
        sampling: random.one_of(&samplings()),
        quality: 5 + random.below(96) as i32,
        optimised: random.below(2) == 0,
        restart_interval: random.one_of(&[0, 0, 1, 2, 3, 7, 100]),
        progressive: false,
    }
}

/// Pixels with gradients, noise, and black and white squares on the grid of blocks.
fn pixels(random: &mut Random, encoding: &Encoding) -> Vec<u8> {
    let (noise, squares) = (random.one_of(&[1, 4, 40, 256]), random.below(3) == 0);
    let (right, down) = (random.below(4), random.below(4));
    let components = encoding.sampling.len();
    let mut all = Vec::with_capacity(encoding.width * encoding.height * components);
    for position in 0..encoding.width * encoding.height {
        let (x, y) = (position % encoding.width, position / encoding.width);
        let is_square = squares && y < encoding.height / 2;
        for _ in 0..components {
            let level = x * right + y * down + random.below(noise);
            all.push(if is_square { 255 * ((x / 8 + y / 8) % 2) as u8 } else { level as u8 });
        }
    }
    all
}

fn random_regions(random: &mut Random, width: usize, height: usize) -> Vec<Region> {
    let region = |random: &mut Random| {
        let (left, top) = (random.below(width), random.below(height));
        Region {
            left,
            top,
            right: left + 1 + random.below(width),
            bottom: top + 1 + random.below(height / 2 + 1),
        }
    };
    (0..1 + random.below(4)).map(|_| region(random)).collect()
}

fn whole(encoding: &Encoding) -> Vec<Region> {
    vec![Region { left: 0, top: 0, right: encoding.width, bottom: encoding.height }]
}

fn decoder(regions: &[Region], encoding: &Encoding) -> Decoder {
    Decoder::new(encoding.width, encoding.height, regions).unwrap()
}

/// Whether the decoded regions equal those of the whole plane.
fn is_same(luma: LumaPlane<'_>, plane: &[u8], regions: &[Region]) -> bool {
    regions.iter().all(|region| {
        let right = region.right.min(luma.width);
        let mut rows = luma.rows().zip(plane.chunks_exact(luma.width)).take(region.bottom).skip(region.top);
        rows.all(|(one, other)| one[region.left..right] == other[region.left..right])
    })
}

/// A copy of an image without the segments that have a marker.
fn without(jpeg: &[u8], marker: u8) -> Vec<u8> {
    let (mut kept, mut position) = (jpeg[..2].to_vec(), 2);
    while jpeg[position + 1] != 0xda {
        let length = 2 + usize::from(u16::from_be_bytes([jpeg[position + 2], jpeg[position + 3]]));
        if jpeg[position + 1] != marker {
            kept.extend_from_slice(&jpeg[position..position + length]);
        }
        position += length;
    }
    kept.extend_from_slice(&jpeg[position..]);
    kept
}

/// The index at which the entropy-coded data of an image starts.
fn data_start(jpeg: &[u8]) -> usize {
    jpeg.len() - Header::read(jpeg).unwrap().scan.len()
}

#[test]
fn regions_equal_those_of_the_whole_image() {
    for seed in seeds(1500) {
        let random = &mut Random::new(seed);
        let max_side = random.one_of(&[20, 60, 200]);
        let encoding = random_encoding(random, max_side);
        let regions = random_regions(random, encoding.width, encoding.height);
        let mut decoder = decoder(&regions, &encoding);
        // One decoder for all images of the same size.
        for optimised in [encoding.optimised, false, true] {
            let encoding = Encoding { optimised, quality: 5 + random.below(96) as i32, ..encoding.clone() };
            let mut jpeg = encode(&encoding, &pixels(random, &encoding));
            if !optimised && random.below(2) == 0 {
                jpeg = without(&jpeg, 0xc4);
            }
            jpeg.extend(std::iter::repeat_n(0, random.below(3)));
            let plane = decode_whole(&jpeg).unwrap();
            let luma = decoder.decode(&jpeg).unwrap_or_else(|_| panic!("{seed}: {encoding:?}"));
            assert_eq!((luma.width, luma.height), (encoding.width, encoding.height));
            assert!(is_same(luma, &plane, &regions), "{seed}: {encoding:?} {regions:?}");
        }
    }
}

#[test]
fn other_blocks_are_not_written() {
    let random = &mut Random::new(1);
    let encoding = Encoding {
        width: 100,
        height: 90,
        sampling: vec![(2, 2), (1, 1), (1, 1)],
        ..random_encoding(random, 9)
    };
    let region = Region { left: 17, top: 33, right: 25, bottom: 34 };
    let jpeg = encode(&encoding, &vec![255; 3 * encoding.width * encoding.height]);
    let mut decoder = decoder(&[region], &encoding);
    let luma = decoder.decode(&jpeg).unwrap();
    for (y, row) in luma.rows().enumerate() {
        for (x, level) in row.iter().enumerate() {
            let is_touched = (16..32).contains(&x) && (32..40).contains(&y);
            assert_eq!(*level > 200, is_touched, "{x} {y}");
        }
    }
}

#[test]
fn a_cut_off_image_is_refused_wherever_the_regions_are() {
    for seed in seeds(30) {
        let random = &mut Random::new(seed);
        let encoding = Encoding { width: 40, height: 50, ..random_encoding(random, 9) };
        let jpeg = encode(&encoding, &pixels(random, &encoding));
        let top = [Region { left: 3, top: 2, right: 30, bottom: 12 }];
        let (mut all, mut upper) = (decoder(&whole(&encoding), &encoding), decoder(&top, &encoding));
        for end in 0..jpeg.len() {
            assert!(upper.decode(&jpeg[..end]).is_err(), "{seed}: {end}");
            let cut = [&jpeg[..end], &[0xff, 0xd9]].concat();
            if end < jpeg.len() - 2 {
                assert!(all.decode(&cut).is_err(), "{seed}: {end} of {}", jpeg.len());
                assert!(upper.decode(&cut).is_err(), "{seed}: {end} of {}", jpeg.len());
            }
        }
        assert!(all.decode(&jpeg).is_ok());
    }
}

#[test]
fn damage_is_noticed_alike_wherever_the_regions_are() {
    let mut noticed = 0;
    for seed in seeds(40) {
        let random = &mut Random::new(seed);
        let encoding = Encoding { width: 50, height: 40, ..random_encoding(random, 9) };
        let jpeg = encode(&encoding, &pixels(random, &encoding));
        let start = data_start(&jpeg);
        let top = [Region { left: 3, top: 0, right: 30, bottom: 8 }];
        let mut upper = decoder(&top, &encoding);
        let mut check = Decoder::for_checks(encoding.width, encoding.height).unwrap();
        for _ in 0..100 {
            let mut damaged = jpeg.clone();
            damaged[start + random.below(jpeg.len() - start)] ^= 1 << random.below(8);
            noticed += usize::from(check.check(&damaged).is_err());
            // A coefficient out of range shows only where pixels are computed.
            assert!(check.check(&damaged).is_ok() || upper.decode(&damaged).is_err(), "{seed}");
        }
        assert!(check.check(&jpeg).is_ok(), "{seed}");
    }
    assert!(noticed > 1000, "{noticed} of 4000");
}

#[test]
fn a_run_of_zero_bytes_is_damage() {
    let encoding = Encoding {
        width: 64,
        height: 64,
        sampling: vec![(1, 1)],
        quality: 95,
        optimised: false,
        restart_interval: 0,
        progressive: false,
    };
    let random = &mut Random::new(3);
    let noise: Vec<u8> = (0..64 * 64).map(|_| random.below(256) as u8).collect();
    let jpeg = encode(&encoding, &noise);
    let mut check = Decoder::for_checks(64, 64).unwrap();
    let start = data_start(&jpeg);
    for position in (start..jpeg.len() - 30).step_by(7) {
        let mut zeroed = jpeg.clone();
        zeroed[position..position + 9].fill(0);
        assert!(check.check(&zeroed).is_err(), "{position}");
    }
    let plain = encode(&Encoding { optimised: true, ..encoding.clone() }, &[9; 64 * 64]);
    assert!(check.check(&plain).is_ok(), "blocks of one level may be coded as zeros");
}

#[test]
fn damaged_images_are_refused_or_decoded_as_by_libjpeg() {
    let (mut accepted, mut refused) = (0, 0);
    for seed in seeds(60) {
        let random = &mut Random::new(seed);
        let encoding = Encoding { width: 50, height: 40, ..random_encoding(random, 9) };
        let jpeg = encode(&encoding, &pixels(random, &encoding));
        let start = data_start(&jpeg);
        let regions = whole(&encoding);
        let mut decoder = decoder(&regions, &encoding);
        for _ in 0..200 {
            let mut damaged = jpeg.clone();
            for _ in 0..1 + random.below(3) {
                let position = start + random.below(jpeg.len() - start);
                damaged[position] ^= 1 << random.below(8);
            }
            let Ok(luma) = decoder.decode(&damaged) else {
                refused += 1;
                continue;
            };
            accepted += 1;
            let plane =
                decode_whole(&damaged).unwrap_or_else(|| panic!("{seed}: refused by libjpeg, {encoding:?}"));
            assert!(is_same(luma, &plane, &regions), "{seed}: {encoding:?}");
        }
    }
    assert!(accepted > 100 && refused > 4000, "{accepted} accepted, {refused} refused");
}

#[test]
fn damaged_headers_never_panic() {
    for seed in seeds(60) {
        let random = &mut Random::new(seed);
        let encoding = Encoding { width: 30, height: 20, ..random_encoding(random, 9) };
        let jpeg = encode(&encoding, &pixels(random, &encoding));
        let start = data_start(&jpeg);
        let mut decoder = decoder(&whole(&encoding), &encoding);
        for _ in 0..300 {
            let mut damaged = jpeg.clone();
            for _ in 0..1 + random.below(4) {
                damaged[random.below(start)] = random.below(256) as u8;
            }
            if let Ok(luma) = decoder.decode(&damaged) {
                assert_eq!((luma.width, luma.height), (30, 20));
            }
        }
        assert!(decoder.decode(&jpeg).is_ok(), "the decoder still works");
    }
}

/// A grey image of four blocks with a restart interval of one, and its decoder.
fn plain_image() -> (Encoding, Vec<u8>, Decoder) {
    let sampling = vec![(1, 1)];
    let encoding = Encoding {
        width: 16,
        height: 16,
        sampling,
        quality: 80,
        optimised: false,
        restart_interval: 1,
        progressive: false,
    };
    let levels: Vec<u8> = (0..=255).collect();
    let jpeg = encode(&encoding, &levels);
    let decoder = decoder(&whole(&encoding), &encoding);
    (encoding, jpeg, decoder)
}

/// A copy in which `to` replaces `from`, which must occur once.
fn changed(jpeg: &[u8], from: &[u8], to: &[u8]) -> Vec<u8> {
    let found: Vec<usize> = (0..jpeg.len()).filter(|start| jpeg[*start..].starts_with(from)).collect();
    assert_eq!(found.len(), 1, "{from:x?}");
    [&jpeg[..found[0]], to, &jpeg[found[0] + from.len()..]].concat()
}

#[test]
fn restart_markers_out_of_order_are_refused() {
    let (_, jpeg, mut decoder) = plain_image();
    assert!(decoder.decode(&jpeg).is_ok());
    for (from, to) in [
        (&[0xff, 0xd0][..], &[0xff, 0xd1][..]),
        (&[0xff, 0xd1], &[]),
        (&[0xff, 0xd2], &[0xff, 0xd2, 0xff, 0xd3]),
        (&[0xff, 0xd1], &[0, 0xff, 0xd1]),
        (&[0xff, 0xd1], &[0xff, 0xc4]),
        (&[0xff, 0xdd, 0, 4, 0, 1], &[0xff, 0xdd, 0, 4, 0, 2]),
        (&[0xff, 0xdd, 0, 4, 0, 1], &[]),
    ] {
        assert!(decoder.decode(&changed(&jpeg, from, to)).is_err(), "{from:x?} {to:x?}");
    }
    let filled = changed(&jpeg, &[0xff, 0xd1], &[0xff, 0xff, 0xff, 0xd1]);
    assert!(decoder.decode(&filled).is_ok(), "fill bytes may precede a marker");
}

#[test]
fn unsupported_headers_are_refused() {
    let (encoding, jpeg, mut decoder) = plain_image();
    let frame = [0xff, 0xc0, 0, 11, 8, 0, 16, 0, 16, 1];
    for (what, from, to) in [
        ("progressive", &frame[..2], &[0xff, 0xc2][..]),
        ("12 bits", &frame[..5], &[0xff, 0xc0, 0, 11, 12]),
        ("of another size", &frame, &[0xff, 0xc0, 0, 11, 8, 0, 16, 0, 24, 1]),
        ("of two components", &frame, &[0xff, 0xc0, 0, 11, 8, 0, 16, 0, 16, 2]),
        ("with another end of spectrum", &[0, 63, 0], &[0, 62, 0]),
        ("without an end marker", &[0xff, 0xd9], &[]),
        ("with data after the end", &[0xff, 0xd9], &[0xff, 0xd9, 1]),
    ] {
        assert!(decoder.decode(&changed(&jpeg, from, to)).is_err(), "{what}");
    }
    assert!(decoder.decode(&without(&jpeg, 0xdb)).is_err(), "without quantisation tables");
    let steps = jpeg.windows(2).position(|marker| marker == [0xff, 0xdb]).unwrap() + 5;
    let mut zero_step = jpeg.clone();
    zero_step[steps + 40] = 0;
    assert!(decoder.decode(&zero_step).is_err(), "a quantisation step of zero");
    let twice = changed(&jpeg, &frame, &[&jpeg[jpeg.len() - 2..], &frame].concat());
    assert!(decoder.decode(&twice).is_err(), "an end marker in the header");
    for jpeg in [&[][..], &[0xff, 0xd8], &[0xff, 0xd8, 0xff, 0xd9], b"not an image"] {
        assert!(decoder.decode(jpeg).is_err(), "{jpeg:?}");
    }
    let progressive = encode(&Encoding { progressive: true, ..encoding.clone() }, &[7; 256]);
    assert!(decode_whole(&progressive).is_some() && decoder.decode(&progressive).is_err());
    assert!(decoder.decode(&jpeg).is_ok(), "the decoder still works");
}

#[test]
fn only_images_with_luma_at_full_resolution_are_decoded() {
    let encoding = |sampling| Encoding { width: 16, height: 16, sampling, ..plain_image().0 };
    for sampling in [vec![(1, 1), (2, 2), (1, 1)], vec![(2, 1), (1, 2), (1, 2)]] {
        let encoding = encoding(sampling);
        let jpeg = encode(&encoding, &[9; 768]);
        assert!(decoder(&whole(&encoding), &encoding).decode(&jpeg).is_err());
    }
    let encoding = encoding(vec![(1, 1); 3]);
    // Without the JFIF segment, which says that the components are luma and chroma.
    let jpeg = without(&encode(&encoding, &[9; 768]), 0xe0);
    let mut decoder = decoder(&whole(&encoding), &encoding);
    assert!(decoder.decode(&jpeg).is_ok());
    let named = changed(&jpeg, &[3, 1, 0x11, 0, 2, 0x11, 1, 3], &[3, b'R', 0x11, 0, b'G', 0x11, 1, b'B']);
    let named = changed(&named, &[3, 1, 0, 2, 0x11, 3], &[3, b'R', 0, b'G', 0x11, b'B']);
    assert!(decoder.decode(&named).is_err(), "RGB by the names of its components");
    let adobe = [&[0xff, 0xd8, 0xff, 0xee, 0, 14], &b"Adobe\0\x64\0\0\0\0\0"[..], &jpeg[2..]].concat();
    assert!(decoder.decode(&adobe).is_err(), "RGB by a segment");
}
