#![allow(clippy::unwrap_used, clippy::panic)]

use super::super::area::Area;
use super::reference::{Coding, decode_whole, encode};
use super::*;

/// Numbers that follow from a seed (xorshift, 64 bits).
struct Dice(u64);

impl Dice {
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

/// Sampling factors of luma and colour.
fn samplings() -> Vec<Vec<(i32, i32)>> {
    let luma = [(1, 1), (2, 1), (1, 2), (2, 2), (4, 1), (1, 4), (4, 2), (2, 4)];
    let mut all: Vec<_> = luma.iter().map(|luma| vec![*luma, (1, 1), (1, 1)]).collect();
    all.extend([vec![(2, 2), (2, 1), (2, 1)], vec![(2, 2), (1, 2), (1, 1)], vec![(2, 1), (2, 1), (2, 1)]]);
    all.extend([vec![(1, 1)], vec![(2, 2)]]);
    all
}

fn coding(dice: &mut Dice, most: usize) -> Coding {
    Coding {
        width: 1 + dice.below(most),
        height: 1 + dice.below(most),
        sampling: dice.one_of(&samplings()),
        quality: 5 + dice.below(96) as i32,
        optimised: dice.below(2) == 0,
        interval: dice.one_of(&[0, 0, 1, 2, 3, 7, 100]),
        progressive: false,
    }
}

/// Slopes, noise, and squares of black and white in the blocks' grid.
fn pixels(dice: &mut Dice, coding: &Coding) -> Vec<u8> {
    let (noise, squares) = (dice.one_of(&[1, 4, 40, 256]), dice.below(3) == 0);
    let (right, down) = (dice.below(4), dice.below(4));
    let components = coding.sampling.len();
    let mut all = Vec::with_capacity(coding.width * coding.height * components);
    for place in 0..coding.width * coding.height {
        let (x, y) = (place % coding.width, place / coding.width);
        let is_square = squares && y < coding.height / 2;
        for _ in 0..components {
            let level = x * right + y * down + dice.below(noise);
            all.push(if is_square { 255 * ((x / 8 + y / 8) % 2) as u8 } else { level as u8 });
        }
    }
    all
}

fn some_areas(dice: &mut Dice, width: usize, height: usize) -> Vec<Area> {
    let area = |dice: &mut Dice| {
        let (left, top) = (dice.below(width), dice.below(height));
        Area { left, top, right: left + 1 + dice.below(width), bottom: top + 1 + dice.below(height / 2 + 1) }
    };
    (0..1 + dice.below(4)).map(|_| area(dice)).collect()
}

fn whole(coding: &Coding) -> Vec<Area> {
    vec![Area { left: 0, top: 0, right: coding.width, bottom: coding.height }]
}

fn decoder(areas: &[Area], coding: &Coding) -> PartialDecoder {
    PartialDecoder::new(Wanted::of(areas, coding.width, coding.height).unwrap()).unwrap()
}

/// Whether the areas of a picture are those of the whole plane.
fn is_same(luma: LumaPlane<'_>, plane: &[u8], areas: &[Area]) -> bool {
    areas.iter().all(|area| {
        let right = area.right.min(luma.width);
        let mut rows = luma.rows().zip(plane.chunks_exact(luma.width)).take(area.bottom).skip(area.top);
        rows.all(|(one, other)| one[area.left..right] == other[area.left..right])
    })
}

/// A picture without its segments of a kind.
fn without(jpeg: &[u8], kind: u8) -> Vec<u8> {
    let (mut kept, mut place) = (jpeg[..2].to_vec(), 2);
    while jpeg[place + 1] != 0xda {
        let length = 2 + usize::from(u16::from_be_bytes([jpeg[place + 2], jpeg[place + 3]]));
        if jpeg[place + 1] != kind {
            kept.extend_from_slice(&jpeg[place..place + length]);
        }
        place += length;
    }
    kept.extend_from_slice(&jpeg[place..]);
    kept
}

/// Where the code of a picture begins.
fn code_start(jpeg: &[u8]) -> usize {
    jpeg.len() - Header::read(jpeg).unwrap().scan.len()
}

#[test]
fn picked_blocks_are_those_of_the_whole_picture() {
    for seed in 0..1500 {
        let dice = &mut Dice::new(seed);
        let most = dice.one_of(&[20, 60, 200]);
        let coding = coding(dice, most);
        let areas = some_areas(dice, coding.width, coding.height);
        let mut decoder = decoder(&areas, &coding);
        // The same decoder for pictures of the same size.
        for optimised in [coding.optimised, false, true] {
            let coding = Coding { optimised, quality: 5 + dice.below(96) as i32, ..coding.clone() };
            let mut jpeg = encode(&coding, &pixels(dice, &coding));
            if !optimised && dice.below(2) == 0 {
                jpeg = without(&jpeg, 0xc4);
            }
            jpeg.extend(std::iter::repeat_n(0, dice.below(3)));
            let plane = decode_whole(&jpeg).unwrap();
            let luma = decoder.luma(&jpeg).unwrap_or_else(|_| panic!("{seed}: {coding:?}"));
            assert_eq!((luma.width, luma.height), (coding.width, coding.height));
            assert!(is_same(luma, &plane, &areas), "{seed}: {coding:?} {areas:?}");
        }
    }
}

#[test]
fn other_blocks_are_left_as_they_were() {
    let dice = &mut Dice::new(1);
    let coding = Coding { width: 100, height: 90, sampling: vec![(2, 2), (1, 1), (1, 1)], ..coding(dice, 9) };
    let area = Area { left: 17, top: 33, right: 25, bottom: 34 };
    let jpeg = encode(&coding, &vec![255; 3 * coding.width * coding.height]);
    let mut decoder = decoder(&[area], &coding);
    let luma = decoder.luma(&jpeg).unwrap();
    for (y, row) in luma.rows().enumerate() {
        for (x, level) in row.iter().enumerate() {
            let is_wanted = (16..32).contains(&x) && (32..40).contains(&y);
            assert_eq!(*level > 200, is_wanted, "{x} {y}");
        }
    }
}

#[test]
fn a_picture_cut_off_is_refused_as_far_as_it_is_wanted() {
    for seed in 0..30 {
        let dice = &mut Dice::new(seed);
        let coding = Coding { width: 40, height: 50, ..coding(dice, 9) };
        let jpeg = encode(&coding, &pixels(dice, &coding));
        let (start, plane) = (code_start(&jpeg), decode_whole(&jpeg).unwrap());
        let top = [Area { left: 3, top: 2, right: 30, bottom: 12 }];
        let low = [Area { left: 3, top: 2, right: 30, bottom: 38 }];
        let (mut all, mut upper) = (decoder(&whole(&coding), &coding), decoder(&top, &coding));
        let mut lower = decoder(&low, &coding);
        let mut sound = 0;
        for end in 0..jpeg.len() {
            assert!(upper.luma(&jpeg[..end]).is_err(), "{seed}: {end}");
            let cut = [&jpeg[..end], &[0xff, 0xd9]].concat();
            if end < jpeg.len() - 2 {
                assert!(all.luma(&cut).is_err(), "{seed}: {end} of {}", jpeg.len());
                assert!(lower.luma(&cut).is_err(), "the small rest; {seed}: {end} of {}", jpeg.len());
            }
            if let Ok(luma) = upper.luma(&cut) {
                sound += usize::from(end < jpeg.len() - 2);
                assert!(end > start && is_same(luma, &plane, &top), "{seed}: {end} {coding:?}");
            }
        }
        assert!(coding.interval > 0 || sound > 0, "{seed}: {coding:?}");
        assert!(all.luma(&jpeg).is_ok());
    }
}

#[test]
fn what_passes_for_sound_is_what_libjpeg_makes_of_it() {
    let (mut taken, mut refused) = (0, 0);
    for seed in 0..60 {
        let dice = &mut Dice::new(seed);
        let coding = Coding { width: 50, height: 40, ..coding(dice, 9) };
        let jpeg = encode(&coding, &pixels(dice, &coding));
        let start = code_start(&jpeg);
        let areas = whole(&coding);
        let mut decoder = decoder(&areas, &coding);
        for _ in 0..200 {
            let mut hurt = jpeg.clone();
            for _ in 0..1 + dice.below(3) {
                let place = start + dice.below(jpeg.len() - start);
                hurt[place] ^= 1 << dice.below(8);
            }
            let Ok(luma) = decoder.luma(&hurt) else {
                refused += 1;
                continue;
            };
            taken += 1;
            let plane =
                decode_whole(&hurt).unwrap_or_else(|| panic!("{seed}: refused by libjpeg, {coding:?}"));
            assert!(is_same(luma, &plane, &areas), "{seed}: {coding:?}");
        }
    }
    assert!(taken > 100 && refused > 4000, "{taken} taken, {refused} refused");
}

#[test]
fn whatever_becomes_of_a_header_nothing_panics() {
    for seed in 0..60 {
        let dice = &mut Dice::new(seed);
        let coding = Coding { width: 30, height: 20, ..coding(dice, 9) };
        let jpeg = encode(&coding, &pixels(dice, &coding));
        let start = code_start(&jpeg);
        let mut decoder = decoder(&whole(&coding), &coding);
        for _ in 0..300 {
            let mut hurt = jpeg.clone();
            for _ in 0..1 + dice.below(4) {
                hurt[dice.below(start)] = dice.below(256) as u8;
            }
            if let Ok(luma) = decoder.luma(&hurt) {
                assert_eq!((luma.width, luma.height), (30, 20));
            }
        }
        assert!(decoder.luma(&jpeg).is_ok(), "the decoder lives on");
    }
}

/// A grey picture of two blocks in four restart intervals of one, and its decoder.
fn plain() -> (Coding, Vec<u8>, PartialDecoder) {
    let sampling = vec![(1, 1)];
    let coding = Coding {
        width: 16,
        height: 16,
        sampling,
        quality: 80,
        optimised: false,
        interval: 1,
        progressive: false,
    };
    let levels: Vec<u8> = (0..=255).collect();
    let jpeg = encode(&coding, &levels);
    let decoder = decoder(&whole(&coding), &coding);
    (coding, jpeg, decoder)
}

/// A copy with some bytes put in place of others, which are there once.
fn changed(jpeg: &[u8], from: &[u8], to: &[u8]) -> Vec<u8> {
    let places: Vec<usize> = (0..jpeg.len()).filter(|place| jpeg[*place..].starts_with(from)).collect();
    assert_eq!(places.len(), 1, "{from:x?}");
    [&jpeg[..places[0]], to, &jpeg[places[0] + from.len()..]].concat()
}

#[test]
fn restart_markers_come_in_order_and_each_in_its_place() {
    let (_, jpeg, mut decoder) = plain();
    assert!(decoder.luma(&jpeg).is_ok());
    for (from, to) in [
        (&[0xff, 0xd0][..], &[0xff, 0xd1][..]),
        (&[0xff, 0xd1], &[]),
        (&[0xff, 0xd2], &[0xff, 0xd2, 0xff, 0xd3]),
        (&[0xff, 0xd1], &[0, 0xff, 0xd1]),
        (&[0xff, 0xd1], &[0xff, 0xc4]),
        (&[0xff, 0xdd, 0, 4, 0, 1], &[0xff, 0xdd, 0, 4, 0, 2]),
        (&[0xff, 0xdd, 0, 4, 0, 1], &[]),
    ] {
        assert!(decoder.luma(&changed(&jpeg, from, to)).is_err(), "{from:x?} {to:x?}");
    }
    let filled = changed(&jpeg, &[0xff, 0xd1], &[0xff, 0xff, 0xff, 0xd1]);
    assert!(decoder.luma(&filled).is_ok(), "markers may be preceded by any number of bytes of ones");
}

#[test]
fn headers_that_are_not_plain_are_refused() {
    let (coding, jpeg, mut decoder) = plain();
    let frame = [0xff, 0xc0, 0, 11, 8, 0, 16, 0, 16, 1];
    for (what, from, to) in [
        ("progressive", &frame[..2], &[0xff, 0xc2][..]),
        ("12 bits", &frame[..5], &[0xff, 0xc0, 0, 11, 12]),
        ("of another size", &frame, &[0xff, 0xc0, 0, 11, 8, 0, 16, 0, 24, 1]),
        ("of two components", &frame, &[0xff, 0xc0, 0, 11, 8, 0, 16, 0, 16, 2]),
        ("with another end of spectrum", &[0, 63, 0], &[0, 62, 0]),
        ("without an end", &[0xff, 0xd9], &[]),
        ("with something behind the end", &[0xff, 0xd9], &[0xff, 0xd9, 1]),
    ] {
        assert!(decoder.luma(&changed(&jpeg, from, to)).is_err(), "{what}");
    }
    assert!(decoder.luma(&without(&jpeg, 0xdb)).is_err(), "without quantisation tables");
    let twice = changed(&jpeg, &frame, &[&jpeg[jpeg.len() - 2..], &frame].concat());
    assert!(decoder.luma(&twice).is_err(), "an end in the header");
    for jpeg in [&[][..], &[0xff, 0xd8], &[0xff, 0xd8, 0xff, 0xd9], b"no picture at all"] {
        assert!(decoder.luma(jpeg).is_err(), "{jpeg:?}");
    }
    let progressive = encode(&Coding { progressive: true, ..coding.clone() }, &[7; 256]);
    assert!(decode_whole(&progressive).is_some() && decoder.luma(&progressive).is_err());
    assert!(decoder.luma(&jpeg).is_ok(), "the decoder lives on");
}

#[test]
fn only_luma_at_full_resolution_is_had_alone() {
    let coding = |sampling| Coding { width: 16, height: 16, sampling, ..plain().0 };
    for sampling in [vec![(1, 1), (2, 2), (1, 1)], vec![(2, 1), (1, 2), (1, 2)]] {
        let coding = coding(sampling);
        let jpeg = encode(&coding, &[9; 768]);
        assert!(decoder(&whole(&coding), &coding).luma(&jpeg).is_err());
    }
    let coding = coding(vec![(1, 1); 3]);
    // Without the JFIF segment, which says that it is luma and colour.
    let jpeg = without(&encode(&coding, &[9; 768]), 0xe0);
    let mut decoder = decoder(&whole(&coding), &coding);
    assert!(decoder.luma(&jpeg).is_ok());
    let named = changed(&jpeg, &[3, 1, 0x11, 0, 2, 0x11, 1, 3], &[3, b'R', 0x11, 0, b'G', 0x11, 1, b'B']);
    let named = changed(&named, &[3, 1, 0, 2, 0x11, 3], &[3, b'R', 0, b'G', 0x11, b'B']);
    assert!(decoder.luma(&named).is_err(), "RGB by its components' names");
    let adobe = [&[0xff, 0xd8, 0xff, 0xee, 0, 14], &b"Adobe\0\x64\0\0\0\0\0"[..], &jpeg[2..]].concat();
    assert!(decoder.luma(&adobe).is_err(), "RGB by a segment");
}
