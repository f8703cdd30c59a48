#![allow(clippy::unwrap_used)]
use std::path::Path;

use super::*;
use crate::files::Existing;
use crate::model::units::Unit;

const GOOD: &str = r#"# Flying wing over the salt flat
[camera]
name = "wing, nose camera"
frame = [640, 480]
glyphs = "wing-glyphs"

[[region]]
channel = "speed"
box = [40, 60, 66, 30]
unit = "km/h"
digits = 3
range = [0, 250]

[[region]]
channel = "voltage"
box = [500, 420, 90, 30]
digits = 3
decimals = 1
"#;

fn load(text: &str) -> Result<LoadedSetup, SetupError> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wing.toml");
    std::fs::write(&path, text).unwrap();
    LoadedSetup::load(&path)
}

/// The message without the folder of the file.
fn message(error: &SetupError) -> String {
    let text = error.to_string();
    let at = text.find("wing.toml").unwrap_or(0);
    text[at..].to_owned()
}

#[track_caller]
fn assert_refused(text: &str, expected: &str) {
    assert_eq!(message(&load(text).unwrap_err()), expected);
}

#[track_caller]
fn assert_change_refused(from: &str, to: &str, expected: &str) {
    assert!(GOOD.contains(from), "{from} is not in the setup");
    assert_refused(&GOOD.replacen(from, to, 1), expected);
}

#[test]
fn a_setup_written_by_hand_is_read_in_full() {
    let loaded = load(GOOD).unwrap();
    assert_eq!(loaded.setup.camera.frame, (640, 480));
    assert_eq!(
        loaded.setup.regions[0],
        Region {
            digits: Some(3),
            range: Some((0.0, 250.0)),
            ..Region::new(
                Channel::Speed,
                PixelRect { left: 40, top: 60, width: 66, height: 30 },
                Some(Unit::KilometresPerHour)
            )
        }
    );
    assert_eq!(loaded.setup.regions[1].decimals, 1);
    loaded.require_speed().unwrap();
    loaded.check_frame("flight.avi", 640, 480).unwrap();
}

#[test]
fn the_glyph_folder_is_beside_the_setup_file() {
    let loaded = load(GOOD).unwrap();
    assert_eq!(loaded.glyph_folder(), loaded.path.parent().unwrap().join("wing-glyphs"));
}

#[test]
fn a_byte_order_mark_and_windows_line_ends_do_no_harm() {
    load(&format!("\u{feff}{}", GOOD.replace('\n', "\r\n"))).unwrap();
}

#[test]
fn a_saved_setup_is_read_back_the_same_and_leaves_no_other_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("saved.toml");
    let mut setup = load(GOOD).unwrap().setup;
    setup.regions[0].max_rate = Some(72.5);
    setup.save(&path, Existing::Keep).unwrap();
    assert_eq!(LoadedSetup::load(&path).unwrap().setup, setup);
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn a_saved_setup_explains_every_key_and_keeps_each_list_on_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("saved.toml");
    load(GOOD).unwrap().setup.save(&path, Existing::Keep).unwrap();
    let text = std::fs::read_to_string(&path).unwrap();
    for key in schema::CAMERA.iter().chain(&schema::REGION).chain(&schema::AIRCRAFT) {
        let explained =
            |line: &str| line.starts_with(&format!("#   {} ", key.name)) && line.contains(key.help);
        assert!(text.lines().any(explained), "{}: {text}", key.name);
    }
    assert!(
        text.contains("\n[[region]]\nchannel = \"speed\"\nbox = [40, 60, 66, 30]\nunit = \"km/h\"\n"),
        "{text}"
    );
}

#[test]
fn the_setup_may_describe_the_aircraft_and_keeps_it_when_saved() {
    let notes = "[aircraft]\nname = \"salt wing\"\nmotor_kv = 1150\ncells = 6\nmount = \"pusher\"\n\n[[region]]\nchannel = \"speed\"";
    let loaded = load(&GOOD.replacen("[[region]]\nchannel = \"speed\"", notes, 1)).unwrap();
    let aircraft = loaded.setup.aircraft.as_ref().unwrap();
    assert_eq!((aircraft.motor_kv, aircraft.cells), (Some(1150.0), Some(6)));
    assert_eq!(aircraft.line(), "salt wing (motor 1150 rpm/V, 6 cells, pusher)");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("saved.toml");
    loaded.setup.save(&path, Existing::Keep).unwrap();
    assert_eq!(LoadedSetup::load(&path).unwrap().setup, loaded.setup);
}

#[test]
fn a_wrong_description_of_the_aircraft_is_refused_with_line_key_and_fix() {
    let with =
        |note: &str| GOOD.replacen("glyphs = \"wing-glyphs\"\n", &format!("\n[aircraft]\n{note}\n"), 1);
    assert_refused(
        &with("motor_kw = 3"),
        "wing.toml, line 7: unknown key `motor_kw` (did you mean `motor_kv`?): the keys here are name, motor_kv, \
         cells, landing_v_per_cell, propeller_diameter_in, propeller_pitch_in, mass_kg, mount, notes",
    );
    assert_refused(
        &with("cells = \"6S\""),
        "wing.toml, line 7: `cells` has an unusable value (invalid type: string \"6S\"): write cells = 6, a \
         whole number",
    );
    assert_refused(
        &with("propeller_pitch_in = 150"),
        "wing.toml, line 7: propeller_pitch_in = 150 is out of bounds: it may be 0.1 to 100",
    );
}

#[test]
fn an_existing_file_is_kept_unless_replacing_is_allowed() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wing.toml");
    std::fs::write(&path, "mine").unwrap();
    let setup = load(GOOD).unwrap().setup;
    let error = setup.save(&path, Existing::Keep).unwrap_err();
    assert_eq!(message(&error), "wing.toml exists already: name another file, or move it away");
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "mine");
    setup.save(&path, Existing::Replace).unwrap();
}

#[test]
fn a_setup_that_could_not_be_read_again_is_not_saved() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wing.toml");
    let mut setup = load(GOOD).unwrap().setup;
    setup.regions[0].rect.width = 5000;
    let error = setup.save(&path, Existing::Replace).unwrap_err();
    assert!(message(&error).starts_with("wing.toml: region 1 (speed): the box"), "{error}");
    assert!(!path.exists());
}

#[test]
fn a_missing_file_is_named_with_the_fix() {
    let error = LoadedSetup::load(Path::new("absent/wing.toml")).unwrap_err();
    assert_eq!(
        error.to_string(),
        "cannot read the setup file absent/wing.toml: there is no such file. \
         Check the name, or write a new setup file"
    );
}

#[test]
fn a_clip_given_as_the_setup_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wing.toml");
    std::fs::write(&path, [0x52, 0x49, 0x46, 0x46, 0xff, 0xfe, 0x00]).unwrap();
    assert_eq!(
        message(&LoadedSetup::load(&path).unwrap_err()),
        "wing.toml is not a setup file: it is not text in UTF-8. Give the .toml file, not the clip"
    );
    std::fs::write(&path, vec![b' '; 1_100_000]).unwrap();
    assert_eq!(
        message(&LoadedSetup::load(&path).unwrap_err()),
        "wing.toml is not a setup file: it is larger than 1048576 bytes. Give the .toml file, not the clip"
    );
}

#[test]
fn invalid_toml_is_refused_with_its_line() {
    assert_change_refused(
        "digits = 3\nrange",
        "digits 3\nrange",
        "wing.toml, line 11: not valid TOML (key with no value, expected `=`): fix this line",
    );
}

#[test]
fn an_unknown_key_is_refused_with_the_known_and_the_most_similar_one() {
    assert_change_refused(
        "digits = 3\nrange",
        "digit = 3\nrange",
        "wing.toml, line 11: region 1 (speed): unknown key `digit` (did you mean `digits`?): \
         the keys here are channel, box, unit, digits, decimals, range, max_rate",
    );
    assert_change_refused(
        "glyphs",
        "typeface",
        "wing.toml, line 5: unknown key `typeface`: the keys here are name, frame, glyphs",
    );
    assert_change_refused(
        "[camera]",
        "[Camera]",
        "wing.toml, line 2: unknown key `Camera` (did you mean `camera`?): the keys here are camera, aircraft, region",
    );
}

#[test]
fn a_missing_key_is_named_with_an_example() {
    assert_change_refused(
        "box = [500, 420, 90, 30]\n",
        "",
        "wing.toml, line 14: region 2 (voltage): `box` is missing: \
         write box = [left, top, width, height], four whole numbers of pixels, none negative",
    );
    assert_change_refused(
        "channel = \"speed\"\n",
        "",
        "wing.toml, line 7: region 1: `channel` is missing: write channel = \"speed\", a name in quotes",
    );
    assert_refused("", "wing.toml: `camera` is missing: write a table [camera] with the keys name and frame");
}

#[test]
fn a_value_of_the_wrong_type_is_refused_with_an_example() {
    assert_change_refused(
        "[40, 60, 66, 30]",
        "[40, -6, 66, 30]",
        "wing.toml, line 9: region 1 (speed): `box` has an unusable value (invalid value: integer `-6`): \
         write box = [left, top, width, height], four whole numbers of pixels, none negative",
    );
    assert_change_refused(
        "digits = 3\nrange",
        "digits = \"3\"\nrange",
        "wing.toml, line 11: region 1 (speed): `digits` has an unusable value (invalid type: string \"3\"): \
         write digits = 3, a whole number from 1 to 8",
    );
    assert_change_refused(
        "[640, 480]",
        "[640, 480, 25]",
        "wing.toml, line 4: `frame` has an unusable value (its list has 3 entries): \
         write frame = [width, height], two whole numbers of pixels",
    );
    for wrong in ["[40, 60, 66]", "[40, 60, 66, 30, 1]", "[40.5, 60, 66, 30]", "{ x = 1 }"] {
        let error = load(&GOOD.replacen("[40, 60, 66, 30]", wrong, 1)).unwrap_err();
        assert!(message(&error).starts_with("wing.toml, line 9: region 1 (speed): `box`"), "{error}");
    }
}

#[test]
fn a_region_in_single_brackets_is_explained() {
    assert_refused(
        "[camera]\nname = \"a\"\nframe = [640, 480]\n[region]\nchannel = \"speed\"\n",
        "wing.toml, line 4: `region` has an unusable value (it is a table): \
         write one table [[region]], in double brackets, for each number to be read",
    );
    let error = load("camera = 3\n").unwrap_err();
    assert!(message(&error).contains("write a table [camera]"), "{error}");
    let error = load("region = [3]\n[camera]\nname = \"a\"\nframe = [640, 480]\n").unwrap_err();
    assert!(message(&error).contains("write one table [[region]]"), "{error}");
}

#[test]
fn an_unknown_unit_is_refused_with_the_known_ones() {
    assert_change_refused(
        "km/h",
        "furlong",
        "wing.toml, line 10: region 1 (speed): unknown unit \"furlong\": \
         use one of mph, km/h, kn, m/s",
    );
}

#[test]
fn a_unit_of_another_quantity_is_refused_with_the_allowed_ones() {
    assert_change_refused(
        "km/h",
        "ft",
        "wing.toml, line 10: region 1 (speed): the channel speed cannot have the unit ft: use one of mph, km/h, kn, m/s",
    );
}

#[test]
fn a_channel_marked_twice_is_refused() {
    assert_change_refused(
        "voltage",
        "speed",
        "wing.toml, line 15: region 2 (speed): region 1 already has the channel speed: \
         keep one of the two regions, or give this region another channel",
    );
}

#[test]
fn a_channel_that_needs_the_column_of_another_is_refused() {
    assert_change_refused(
        "voltage",
        "speed_smooth_kmh",
        "wing.toml, line 15: region 2 (speed_smooth_kmh): the channel speed_smooth_kmh needs a column `speed_smooth_kmh` in the results, but that column name is already in use: rename the channel",
    );
    for taken in ["frame", "time_s", "speed_kmh", "speed_confidence"] {
        let error = load(&GOOD.replacen("voltage", taken, 1)).unwrap_err();
        assert!(message(&error).contains(&format!("column `{taken}`")), "{error}");
    }
}

#[test]
fn a_name_that_cannot_be_a_column_name_is_refused() {
    assert_change_refused(
        "voltage",
        "cell volts",
        "wing.toml, line 15: region 2 (cell volts): the channel name \"cell volts\" cannot be used as a column name \
         in the results: use only the letters a to z, digits, `_` and `-`",
    );
    for wrong in ["", "höhe", "a,b"] {
        let error = load(&GOOD.replacen("voltage", wrong, 1)).unwrap_err();
        assert!(message(&error).contains("cannot be used as a column name"), "{error}");
    }
}

#[test]
fn a_box_outside_the_frame_is_refused_with_the_bounds() {
    assert_change_refused(
        "[500, 420, 90, 30]",
        "[600, 420, 90, 30]",
        "wing.toml, line 16: region 2 (voltage): the box [600, 420, 90, 30] ends at x = 690, y = 450, outside the \
         frame of 640 x 480 pixels: x + width may be at most 640 and y + height at most 480",
    );
    let error = load(&GOOD.replacen("[500, 420, 90", "[4294967295, 4294967295, 4294967295", 1)).unwrap_err();
    assert!(message(&error).contains("ends at x = 8589934590"), "{error}");
}

#[test]
fn a_box_too_small_for_a_digit_is_refused() {
    let expected = |size: &str| {
        format!(
            "wing.toml, line 16: region 2 (voltage): the box [500, 420, {size}] is too small for a digit: \
             make it at least 4 pixels wide and 6 high"
        )
    };
    for size in ["3, 30", "90, 5", "0, 0"] {
        let to = format!("[500, 420, {size}]");
        assert_change_refused("[500, 420, 90, 30]", &to, &expected(size));
    }
    load(&GOOD.replacen("[500, 420, 90, 30]", "[500, 420, 4, 6]", 1)).unwrap();
}

#[test]
fn a_frame_without_pixels_is_refused() {
    for size in ["[0, 480]", "[640, 0]", "[640, 16385]"] {
        assert_change_refused(
            "[640, 480]",
            size,
            &format!(
                "wing.toml, line 4: frame = {size} is not a frame size: width and height may be 1 to 16384 pixels"
            ),
        );
    }
}

#[test]
fn an_empty_range_is_refused() {
    assert_change_refused(
        "[0, 250]",
        "[250, 0]",
        "wing.toml, line 12: region 1 (speed): range = [250, 0] contains no value: \
         write two finite numbers, the lower one first",
    );
    for range in ["[5, 5]", "[nan, 5]", "[0, inf]"] {
        let error = load(&GOOD.replacen("[0, 250]", range, 1)).unwrap_err();
        assert!(message(&error).contains("contains no value"), "{error}");
    }
}

#[test]
fn a_rate_that_allows_no_change_is_refused() {
    for rate in ["0", "-3", "NaN", "inf"] {
        let written = rate.to_lowercase();
        assert_change_refused(
            "range = [0, 250]",
            &format!("max_rate = {written}"),
            &format!(
                "wing.toml, line 12: region 1 (speed): max_rate = {rate} allows no change: \
                 write a finite number above 0, or leave the key out"
            ),
        );
    }
}

#[test]
fn digits_and_decimals_out_of_bounds_are_refused() {
    for digits in ["0", "9"] {
        assert_change_refused(
            "digits = 3\nrange",
            &format!("digits = {digits}\nrange"),
            &format!(
                "wing.toml, line 11: region 1 (speed): digits = {digits} is out of bounds: it may be 1 to 8"
            ),
        );
    }
    assert_change_refused(
        "decimals = 1",
        "decimals = 3",
        "wing.toml, line 18: region 2 (voltage): decimals = 3 leaves no digit before the decimal point: \
         it may be 0 to 2; `digits` counts all digits of the widest value",
    );
}

#[test]
fn a_setup_without_regions_is_refused() {
    assert_refused(
        "[camera]\nname = \"a\"\nframe = [640, 480]\n",
        "wing.toml: no region is marked: add a [[region]] for each number to read, the speed first",
    );
}

#[test]
fn a_setup_without_speed_loads_but_cannot_be_used_for_reading() {
    let loaded = load(&GOOD.replacen("\"speed\"", "\"ground\"", 1)).unwrap();
    assert_eq!(
        message(&loaded.require_speed().unwrap_err()),
        "wing.toml: no region is marked as the speed, and without it no airspeed can be found: \
         add a [[region]] with channel = \"speed\""
    );
}

#[test]
fn a_clip_of_another_size_is_refused_with_both_sizes() {
    let error = load(GOOD).unwrap().check_frame("flight.mp4", 1280, 720).unwrap_err();
    assert_eq!(
        message(&error),
        "wing.toml: the setup is for frames of 640 x 480 pixels, but flight.mp4 has 1280 x 720: \
         mark this clip in a setup of its own, or scale the boxes and `frame` by hand"
    );
}

#[test]
fn without_a_glyph_folder_in_the_setup_the_default_one_beside_it_is_used() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["nose.setup.toml", "nose.toml"] {
        let path = folder.path().join(name);
        std::fs::write(&path, GOOD.replace("glyphs = \"wing-glyphs\"\n", "")).unwrap();
        let loaded = LoadedSetup::load(&path).unwrap();
        assert_eq!(loaded.setup.camera.glyphs, None);
        assert_eq!(loaded.glyph_folder(), folder.path().join("nose-glyphs"));
    }
}

#[test]
fn a_saved_setup_asks_for_a_missing_point_and_a_missing_number_of_digits() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wing.toml");
    let mut setup = load(GOOD).unwrap().setup;
    setup.regions[1].decimals = 0;
    setup.regions[1].digits = None;
    setup.save(&path, Existing::Keep).unwrap();
    let text = std::fs::read_to_string(&path).unwrap();
    let (speed, voltage) = text.split_at(text.find("channel = \"voltage\"").unwrap());
    assert!(voltage.contains("No decimal point was found"), "{voltage}");
    assert!(voltage.contains("# digits = ") && !voltage.contains("digits = 3"), "{voltage}");
    assert!(!speed.contains("No decimal point was found"), "{speed}");
}

#[test]
fn a_setup_with_more_regions_than_an_overlay_has_numbers_is_refused() {
    let region = |number: usize| format!("[[region]]\nchannel = \"own_{number}\"\nbox = [4, 6, 66, 30]\n");
    let many: String = (0..63).map(region).collect();
    assert_refused(&format!("{GOOD}{many}"), "wing.toml: 65 regions are marked: mark at most 64");
}
