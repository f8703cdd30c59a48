//! Signed and fractional readings, drawn with the built-in glyphs over a moving background.
#![allow(clippy::unwrap_used)]

mod common;

use pairspeed::glyphs::builtin_sets;

const SETUP: &str = r#"
[camera]
name = "bench"
frame = [220, 90]

[[region]]
channel = "climb"
box = [60, 26, 100, 36]
digits = 3
decimals = 1
range = [-30.0, 30.0]
"#;

#[test]
fn a_minus_sign_and_a_point_are_read_only_where_shown() {
    let sets = builtin_sets().unwrap();
    let face = sets[0].faces.first().unwrap();
    let value = |number: u32| (f64::from(number / 5) * 7.3).rem_euclid(47.0) - 23.4;
    let shown: Vec<String> = (0..300).map(|number| format!("{:.1}", value(number))).collect();
    let draw = |text: &str, number| common::written(face, 3, text, number);
    let values = common::read_drawn(SETUP, &sets, draw, &shown);
    assert_eq!(values.len(), shown.len());
    for (value, text) in values.iter().zip(&shown) {
        assert!(value.is_nan() || *value == text.parse::<f64>().unwrap(), "{text} read as {value}");
    }
    let blank = values.iter().filter(|value| value.is_nan()).count();
    assert!(blank * 50 < shown.len(), "{blank} of {} blank", shown.len());
    assert!(values.iter().any(|value| *value < -10.0) && values.iter().any(|value| *value > 10.0));
}
