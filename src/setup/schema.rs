//! The keys of the setup file. This list is used to check files, to word messages, and to explain the keys at
//! the top of a saved file.

/// The name of a key, whether it is required, and an example of its value.
pub(super) struct KeySpec {
    /// Name of the key, as it is written in the file.
    pub(super) name: &'static str,
    /// Whether the file must contain the key.
    pub(super) required: bool,
    /// Number of entries, if the value is a list of fixed length.
    pub(super) list_length: Option<usize>,
    /// An example of the value; it completes the sentence "write ...".
    pub(super) example: &'static str,
    /// What the key means.
    pub(super) help: &'static str,
}

/// The tables of a setup file.
pub(super) const SETUP_TABLES: [KeySpec; 3] = [
    KeySpec {
        name: "camera",
        required: true,
        list_length: None,
        example: "a table [camera] with the keys name and frame",
        help: "the camera and its overlay",
    },
    KeySpec {
        name: "aircraft",
        required: false,
        list_length: None,
        example: "a table [aircraft] with what you know about motor, pack and propeller",
        help: "the aircraft that carries the camera",
    },
    KeySpec {
        name: "region",
        required: true,
        list_length: None,
        example: "one table [[region]], in double brackets, for each number to be read",
        help: "a number that the overlay shows, with its box and channel",
    },
];

/// The keys of `[camera]`.
pub(super) const CAMERA: [KeySpec; 3] = [
    KeySpec {
        name: "name",
        required: true,
        list_length: None,
        example: "name = \"nose camera\"",
        help: "your name for this camera",
    },
    KeySpec {
        name: "frame",
        required: true,
        list_length: Some(2),
        example: "frame = [width, height], two whole numbers of pixels",
        help: "width and height of the frame that the boxes refer to, in pixels",
    },
    KeySpec {
        name: "glyphs",
        required: false,
        list_length: None,
        example: "glyphs = \"folder\"",
        help: "folder with the learned glyphs; if this key is left out, the folder NAME-glyphs beside this file (NAME.setup.toml) is used, or the built-in glyphs if there is no such folder",
    },
];

/// The keys of `[[region]]`.
pub(super) const REGION: [KeySpec; 7] = [
    KeySpec {
        name: "channel",
        required: true,
        list_length: None,
        example: "channel = \"speed\", a name in quotes",
        help: "speed, voltage, altitude, satellites, throttle, current, heading, rpm or a name of your own",
    },
    KeySpec {
        name: "box",
        required: true,
        list_length: Some(4),
        example: "box = [left, top, width, height], four whole numbers of pixels, none negative",
        help: "left, top, width, height in pixels: room for the widest value, without icon and unit letters",
    },
    KeySpec {
        name: "unit",
        required: false,
        list_length: None,
        example: "unit = \"km/h\", a unit in quotes",
        help: "unit of the number shown; min:s for a clock of minutes and seconds",
    },
    KeySpec {
        name: "digits",
        required: false,
        list_length: None,
        example: "digits = 3, a whole number from 1 to 8",
        help: "digits of the widest value, those after the decimal point included",
    },
    KeySpec {
        name: "decimals",
        required: false,
        list_length: None,
        example: "decimals = 1, a whole number less than `digits`",
        help: "digits after the decimal point; 0 if there is no decimal point",
    },
    KeySpec {
        name: "range",
        required: false,
        list_length: Some(2),
        example: "range = [lowest, highest], two numbers",
        help: "lowest and highest plausible value; a reading outside is left blank",
    },
    KeySpec {
        name: "max_rate",
        required: false,
        list_length: None,
        example: "max_rate = 70.0, a number above 0",
        help: "fastest plausible change per second; readings after a faster jump are left blank",
    },
];

/// The table of a file that describes only an aircraft.
pub(super) const AIRCRAFT_TABLES: [KeySpec; 1] = [KeySpec {
    name: "aircraft",
    required: true,
    list_length: None,
    example: "a table [aircraft] with what you know about motor, pack and propeller",
    help: "the aircraft",
}];

/// An optional key of `[aircraft]`.
const fn optional(name: &'static str, example: &'static str, help: &'static str) -> KeySpec {
    KeySpec { name, required: false, list_length: None, example, help }
}

/// The keys of `[aircraft]`.
pub(super) const AIRCRAFT: [KeySpec; 9] = [
    optional("name", "name = \"salt wing\", a name in quotes", "name of the aircraft"),
    optional(
        "motor_kv",
        "motor_kv = 1150, a number",
        "revolutions per minute per volt of the motor without load",
    ),
    optional("cells", "cells = 6, a whole number", "cells of the pack in series"),
    optional(
        "landing_v_per_cell",
        "landing_v_per_cell = 3.5, a number of volts",
        "voltage per cell under load at which to land",
    ),
    optional(
        "propeller_diameter_in",
        "propeller_diameter_in = 6, a number of inches",
        "diameter of the propeller in inches",
    ),
    optional(
        "propeller_pitch_in",
        "propeller_pitch_in = 4.5, a number of inches",
        "pitch printed on the propeller, in inches",
    ),
    optional("mass_kg", "mass_kg = 1.9, a number of kilograms", "mass ready to fly, in kg"),
    optional("mount", "mount = \"pusher\", a word in quotes", "where the motor is mounted"),
    optional("notes", "notes = \"second motor\", a text in quotes", "anything else"),
];

/// The names of some keys as a list, for messages.
pub(super) fn names(specs: &[KeySpec]) -> String {
    specs.iter().map(|spec| spec.name).collect::<Vec<_>>().join(", ")
}

/// The key that `word` was probably meant to be: the one with the smallest Damerau-Levenshtein distance, if
/// that is at most one for every three letters of the key.
pub(super) fn nearest(specs: &[KeySpec], word: &str) -> Option<&'static str> {
    let lower = word.to_lowercase();
    let distance = |spec: &KeySpec| strsim::damerau_levenshtein(spec.name, &lower);
    specs
        .iter()
        .min_by_key(|spec| distance(spec))
        .filter(|spec| distance(spec) <= (spec.name.len() / 3).max(1))
        .map(|spec| spec.name)
}
