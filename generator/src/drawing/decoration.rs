//! Letters and icons that stand beside the values as decoration; the templates do not contain them.

use serde::{Deserialize, Serialize};

use super::strokes::Piece::{self, Arc, Dot, Path};

/// A small drawing in front of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Icon {
    /// Two chevrons: speed over the ground.
    Speed,
    /// A cell with its cap: pack voltage.
    Battery,
    /// An arrow above a base line: altitude.
    Height,
    /// A dish with its feed: satellites.
    Dish,
    /// A lever on its scale: throttle.
    Throttle,
    /// A zigzag: current.
    Current,
    /// A needle: heading.
    Needle,
    /// A clock face: flight time.
    Clock,
}

impl Icon {
    /// All icons.
    pub const ALL: [Self; 8] = [
        Self::Speed,
        Self::Battery,
        Self::Height,
        Self::Dish,
        Self::Throttle,
        Self::Current,
        Self::Needle,
        Self::Clock,
    ];

    /// The strokes of the icon in the unit box.
    pub(super) fn skeleton(self) -> &'static [Piece] {
        match self {
            Self::Speed => &[
                Path(&[[0.0, 0.15], [0.45, 0.5], [0.0, 0.85]]),
                Path(&[[0.5, 0.15], [0.95, 0.5], [0.5, 0.85]]),
            ],
            Self::Battery => &[
                Path(&[[0.1, 0.15], [0.9, 0.15], [0.9, 1.0], [0.1, 1.0], [0.1, 0.15]]),
                Path(&[[0.35, 0.0], [0.65, 0.0]]),
                Path(&[[0.35, 0.75], [0.65, 0.75]]),
            ],
            Self::Height => &[
                Path(&[[0.5, 0.75], [0.5, 0.0]]),
                Path(&[[0.1, 0.3], [0.5, 0.0], [0.9, 0.3]]),
                Path(&[[0.0, 1.0], [1.0, 1.0]]),
            ],
            Self::Dish => &[
                Arc([0.45, 0.35], [0.5, 0.4], [45.0, 200.0]),
                Path(&[[0.3, 0.55], [0.75, 0.1]]),
                Path(&[[0.35, 0.75], [0.2, 1.0], [0.8, 1.0]]),
            ],
            Self::Throttle => &[
                Path(&[[0.5, 0.0], [0.5, 1.0]]),
                Path(&[[0.15, 0.35], [0.85, 0.35]]),
                Dot([0.5, 0.35]),
                Path(&[[0.2, 1.0], [0.8, 1.0]]),
            ],
            Self::Current => &[Path(&[[0.7, 0.0], [0.2, 0.5], [0.75, 0.5], [0.25, 1.0]])],
            Self::Needle => &[Path(&[[0.5, 0.0], [0.95, 1.0], [0.5, 0.75], [0.05, 1.0], [0.5, 0.0]])],
            Self::Clock => {
                &[Arc([0.5, 0.5], [0.5, 0.38], [0.0, 360.0]), Path(&[[0.5, 0.28], [0.5, 0.52], [0.75, 0.6]])]
            }
        }
    }
}

/// The strokes of a letter or sign that is used in units and prefixes; `None` for any other character.
#[rustfmt::skip]
pub(super) fn letter(character: char) -> Option<&'static [Piece]> {
    Some(match character {
        'A' => &[Path(&[[0.0, 1.0], [0.5, 0.0], [1.0, 1.0]]), Path(&[[0.2, 0.65], [0.8, 0.65]])],
        'G' => &[Path(&[[1.0, 0.12], [0.8, 0.0], [0.2, 0.0], [0.0, 0.12], [0.0, 0.88], [0.2, 1.0],
                        [0.8, 1.0], [1.0, 0.88], [1.0, 0.55], [0.6, 0.55]])],
        'H' => &[Path(&[[0.0, 0.0], [0.0, 1.0]]), Path(&[[1.0, 0.0], [1.0, 1.0]]),
                 Path(&[[0.0, 0.5], [1.0, 0.5]])],
        'S' => &[Path(&[[1.0, 0.1], [0.8, 0.0], [0.2, 0.0], [0.0, 0.12], [0.0, 0.36], [0.2, 0.47],
                        [0.8, 0.53], [1.0, 0.64], [1.0, 0.88], [0.8, 1.0], [0.2, 1.0], [0.0, 0.9]])],
        'T' => &[Path(&[[0.0, 0.0], [1.0, 0.0]]), Path(&[[0.5, 0.0], [0.5, 1.0]])],
        'V' => &[Path(&[[0.0, 0.0], [0.5, 1.0], [1.0, 0.0]])],
        'W' => &[Path(&[[0.0, 0.0], [0.25, 1.0], [0.5, 0.3], [0.75, 1.0], [1.0, 0.0]])],
        'f' => &[Path(&[[0.95, 0.05], [0.65, 0.0], [0.45, 0.14], [0.45, 1.0]]),
                 Path(&[[0.1, 0.4], [0.9, 0.4]])],
        'h' => &[Path(&[[0.0, 0.0], [0.0, 1.0]]),
                 Path(&[[0.0, 0.52], [0.25, 0.38], [0.8, 0.38], [1.0, 0.52], [1.0, 1.0]])],
        'k' => &[Path(&[[0.0, 0.0], [0.0, 1.0]]), Path(&[[0.9, 0.38], [0.0, 0.72]]),
                 Path(&[[0.35, 0.6], [1.0, 1.0]])],
        'm' => &[Path(&[[0.0, 0.38], [0.0, 1.0]]),
                 Path(&[[0.0, 0.48], [0.15, 0.38], [0.4, 0.38], [0.5, 0.5], [0.5, 1.0]]),
                 Path(&[[0.5, 0.5], [0.6, 0.38], [0.85, 0.38], [1.0, 0.5], [1.0, 1.0]])],
        'n' => &[Path(&[[0.0, 0.38], [0.0, 1.0]]),
                 Path(&[[0.0, 0.52], [0.25, 0.38], [0.8, 0.38], [1.0, 0.52], [1.0, 1.0]])],
        'p' => &[Path(&[[0.0, 0.38], [0.0, 1.15]]),
                 Path(&[[0.0, 0.38], [0.8, 0.38], [1.0, 0.5], [1.0, 0.85], [0.8, 0.97], [0.0, 0.97]])],
        'r' => &[Path(&[[0.0, 0.38], [0.0, 1.0]]),
                 Path(&[[0.0, 0.55], [0.3, 0.38], [0.75, 0.38], [0.9, 0.5]])],
        's' => &[Path(&[[0.95, 0.42], [0.8, 0.38], [0.2, 0.38], [0.0, 0.48], [0.0, 0.58], [0.2, 0.68],
                        [0.8, 0.7], [1.0, 0.8], [1.0, 0.92], [0.8, 1.0], [0.2, 1.0], [0.0, 0.95]])],
        't' => &[Path(&[[0.4, 0.1], [0.4, 0.88], [0.55, 1.0], [0.9, 1.0]]),
                 Path(&[[0.05, 0.38], [0.85, 0.38]])],
        '/' => &[Path(&[[1.0, 0.0], [0.0, 1.0]])],
        '%' => &[Path(&[[1.0, 0.05], [0.0, 0.95]]), Dot([0.12, 0.15]), Dot([0.88, 0.85])],
        '°' => &[Arc([0.3, 0.12], [0.25, 0.14], [0.0, 360.0])],
        _ => return None,
    })
}
