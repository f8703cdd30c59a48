//! Digits that the glyph set lacks are left blank instead of being misread.
#![allow(clippy::unwrap_used)]

mod common;

use pairspeed::glyphs::builtin_sets;

/// Speeds that are shown for five frames each and contain every digit.
fn speeds(count: u32) -> Vec<String> {
    (0..count).map(|number| (8 + number / 5 * 3).to_string()).collect()
}

/// The readings that are neither blank nor right.
fn misread(values: &[f64], shown: &[String]) -> Vec<String> {
    let pairs = values.iter().zip(shown);
    let differ = pairs.filter(|(value, text)| !value.is_nan() && **value != text.parse::<f64>().unwrap());
    differ.map(|(value, text)| format!("{text} read as {value}")).collect()
}

#[test]
fn another_face_is_not_misread_with_the_built_in_ones() {
    let shown = speeds(300);
    let values =
        common::read_drawn(common::SPEED_SETUP, &builtin_sets().unwrap(), common::in_seven_bars, &shown);
    assert_eq!(values.len(), shown.len());
    assert_eq!(misread(&values, &shown), Vec::<String>::new());
}

#[test]
fn every_built_in_face_is_read_in_two_sizes() {
    let sets = builtin_sets().unwrap();
    for (set, shrink) in sets.iter().flat_map(|set| [(set, 3), (set, 2)]) {
        let shown = speeds(300);
        let face = set.faces.first().unwrap();
        let values = common::read_drawn(
            common::SPEED_SETUP,
            &sets,
            |text, number| common::written(face, shrink, text, number),
            &shown,
        );
        assert_eq!(misread(&values, &shown), Vec::<String>::new(), "{} shrunk by {shrink}", set.name);
        let blank = values.iter().filter(|value| value.is_nan()).count();
        assert!(blank * 20 < shown.len(), "{} shrunk by {shrink}: {blank} blank", set.name);
    }
}

#[test]
fn a_missing_digit_does_not_cause_its_neighbours_to_be_read_alone() {
    for whole in builtin_sets().unwrap() {
        let face = whole.faces.first().unwrap();
        for (missing, shrink) in ('0'..='9').flat_map(|missing| [(missing, 2), (missing, 3)]) {
            let mut sets = vec![whole.clone()];
            sets[0].faces[0].glyphs.retain(|glyph| glyph.character != missing);
            let shown = speeds(300);
            let values = common::read_drawn(
                common::SPEED_SETUP,
                &sets,
                |text, number| common::written(face, shrink, text, number),
                &shown,
            );
            let set = &whole.name;
            assert_eq!(
                misread(&values, &shown),
                Vec::<String>::new(),
                "{set} by {shrink} without the {missing}"
            );
        }
    }
}
