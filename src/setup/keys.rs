//! The keys of the setup file: one table for checking, for messages and for the explanation at
//! the head of a saved file.

/// One key.
pub(super) struct Key {
    /// The key as written.
    pub(super) name: &'static str,
    /// Whether the file must have it.
    pub(super) required: bool,
    /// How many entries its list has, if it is a list.
    pub(super) entries: Option<usize>,
    /// What its value looks like, as advice: "write ...".
    pub(super) form: &'static str,
    /// What it means.
    pub(super) help: &'static str,
}

/// The tables of the file.
pub(super) const TOP: [Key; 3] = [
    Key {
        name: "camera",
        required: true,
        entries: None,
        form: "a table [camera] with the keys name and frame",
        help: "the camera and its overlay",
    },
    Key {
        name: "aircraft",
        required: false,
        entries: None,
        form: "a table [aircraft] with what you know of motor, pack and propeller",
        help: "the aircraft that carries it",
    },
    Key {
        name: "region",
        required: true,
        entries: None,
        form: "one table [[region]], in double brackets, for each number to be read",
        help: "one number shown by the overlay",
    },
];

/// The keys of `[camera]`.
pub(super) const CAMERA: [Key; 3] = [
    Key {
        name: "name",
        required: true,
        entries: None,
        form: "name = \"nose camera\"",
        help: "your name for this camera",
    },
    Key {
        name: "frame",
        required: true,
        entries: Some(2),
        form: "frame = [width, height], two whole numbers of pixels",
        help: "width and height of the picture the boxes refer to, in pixels",
    },
    Key {
        name: "glyphs",
        required: false,
        entries: None,
        form: "glyphs = \"folder\"",
        help: "folder of taught digit shapes; without it NAME-glyphs beside this file NAME.setup.toml, else built-in shapes",
    },
];

/// The keys of `[[region]]`.
pub(super) const REGION: [Key; 7] = [
    Key {
        name: "channel",
        required: true,
        entries: None,
        form: "channel = \"speed\", a name in quotes",
        help: "speed, voltage, altitude, satellites, throttle, current, heading, rpm or a name of your own",
    },
    Key {
        name: "box",
        required: true,
        entries: Some(4),
        form: "box = [left, top, width, height], four whole numbers of pixels, none negative",
        help: "left, top, width, height in pixels: room for the widest value, without icon and unit letters",
    },
    Key {
        name: "unit",
        required: false,
        entries: None,
        form: "unit = \"km/h\", a unit in quotes",
        help: "unit of the number shown; min:s for a clock of minutes and seconds",
    },
    Key {
        name: "digits",
        required: false,
        entries: None,
        form: "digits = 3, a whole number from 1 to 8",
        help: "digits of the widest value, those after the decimal point included",
    },
    Key {
        name: "decimals",
        required: false,
        entries: None,
        form: "decimals = 1, a whole number below digits",
        help: "digits after the decimal point; 0 where there is none",
    },
    Key {
        name: "range",
        required: false,
        entries: Some(2),
        form: "range = [lowest, highest], two numbers",
        help: "lowest and highest plausible value; what lies outside is left blank",
    },
    Key {
        name: "max_rate",
        required: false,
        entries: None,
        form: "max_rate = 70.0, a number above 0",
        help: "fastest plausible change per second; a faster jump is left blank",
    },
];

/// The tables of a file of notes on an aircraft.
pub(super) const NOTES: [Key; 1] = [Key {
    name: "aircraft",
    required: true,
    entries: None,
    form: "a table [aircraft] with what you know of motor, pack and propeller",
    help: "the aircraft",
}];

/// An optional key of `[aircraft]`.
const fn note(name: &'static str, form: &'static str, help: &'static str) -> Key {
    Key { name, required: false, entries: None, form, help }
}

/// The keys of `[aircraft]`.
pub(super) const AIRCRAFT: [Key; 9] = [
    note("name", "name = \"salt wing\", a name in quotes", "what to call it"),
    note("motor_kv", "motor_kv = 1150, a number", "revolutions a minute per volt of the motor without load"),
    note("cells", "cells = 6, a whole number", "cells of the pack in series"),
    note(
        "landing_v_per_cell",
        "landing_v_per_cell = 3.5, a number of volts",
        "volts a cell under load to land at",
    ),
    note("propeller_diameter_in", "propeller_diameter_in = 6, a number of inches", "its diameter in inches"),
    note("propeller_pitch_in", "propeller_pitch_in = 4.5, a number of inches", "its printed pitch in inches"),
    note("mass_kg", "mass_kg = 1.9, a number of kilograms", "mass ready to fly, in kg"),
    note("mount", "mount = \"pusher\", a word in quotes", "where the motor sits"),
    note("notes", "notes = \"second motor\", a text in quotes", "anything else"),
];

/// The names of `keys` as a list for messages.
pub(super) fn names(keys: &[Key]) -> String {
    keys.iter().map(|key| key.name).collect::<Vec<_>>().join(", ")
}

/// The key that `word` was probably meant to be: at most one slip (Damerau-Levenshtein) for
/// every three letters.
pub(super) fn nearest(keys: &[Key], word: &str) -> Option<&'static str> {
    let lower = word.to_lowercase();
    let slips = |key: &Key| strsim::damerau_levenshtein(key.name, &lower);
    keys.iter()
        .min_by_key(|key| slips(key))
        .filter(|key| slips(key) <= (key.name.len() / 3).max(1))
        .map(|key| key.name)
}
