//! Digits that the glyph set does not hold are left blank: a gap is honest, a wrong number is not.
#![allow(clippy::unwrap_used)]

mod common;

use pairspeed::glyphs::builtin_sets;

/// Speeds that stay for five frames each and take every digit.
fn speeds(count: u32) -> Vec<String> {
    (0..count).map(|number| (8 + number / 5 * 3).to_string()).collect()
}

fn wrong(values: &[f64], shown: &[String]) -> Vec<String> {
    let pairs = values.iter().zip(shown);
    let differ = pairs.filter(|(value, text)| !value.is_nan() && **value != text.parse::<f64>().unwrap());
    differ.map(|(value, text)| format!("{text} read as {value}")).collect()
}

#[test]
fn a_face_that_is_none_of_the_built_in_ones_is_not_read_with_them() {
    let shown = speeds(300);
    let values =
        common::read_drawn(common::SPEED_SETUP, &builtin_sets().unwrap(), common::in_seven_bars, &shown);
    assert_eq!(values.len(), shown.len());
    assert_eq!(wrong(&values, &shown), Vec::<String>::new());
}

#[test]
fn every_built_in_face_is_known_again_at_two_sizes() {
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
        assert_eq!(wrong(&values, &shown), Vec::<String>::new(), "{} shrunk by {shrink}", set.name);
        let blank = values.iter().filter(|value| value.is_nan()).count();
        assert!(blank * 20 < shown.len(), "{} shrunk by {shrink}: {blank} blank", set.name);
    }
}

#[test]
fn a_digit_that_is_not_in_the_set_does_not_leave_its_neighbours_to_be_read_alone() {
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
                wrong(&values, &shown),
                Vec::<String>::new(),
                "{set} by {shrink} without the {missing}"
            );
        }
    }
}
