//! How a built-in face appears in the frames: magnification, blur, offset and background.

/// Default grey level of the background behind transparent glyphs: about mid-grey. Set by judgement.
pub(super) const BACKGROUND_LEVEL: f32 = 110.0;

/// How a face appears in the frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Appearance {
    /// Magnification of the face's cells in x and in y.
    pub scale: (f32, f32),
    /// Standard deviation of the blur along the rows, in working pixels.
    pub blur_px: f32,
    /// Vertical offset of the glyphs in their cells, in working pixels, positive downwards. It is needed
    /// because cells start at whole rows.
    pub offset_px: f32,
    /// Grey level behind the glyphs, 0 to 255.
    pub background: f32,
}

/// Step sizes with which the search varies an appearance.
#[derive(Debug, Clone, Copy)]
pub struct AppearanceStep {
    /// Relative change of the magnification in one step.
    pub magnification: f32,
    /// Change of the blur in one step, in working pixels.
    pub blur_px: f32,
    /// Change of the vertical offset in one step, in working pixels.
    pub offset_px: f32,
    /// Change of the background in one step, in grey levels.
    pub background: f32,
}

/// Number of appearances that are one step away from a given one.
pub const DIRECTIONS: usize = 12;

/// Maximum blur in the search, in working pixels. Set by judgement.
const MAX_BLUR_PX: f32 = 2.0;

/// Maximum vertical offset in the search, in working pixels. Set by judgement.
pub(super) const MAX_OFFSET_PX: f32 = 0.75;

impl Appearance {
    /// The appearance of a face that is magnified by `scale` (x, y) and not blurred, in front of the default
    /// background.
    #[must_use]
    pub fn magnified(scale: (f32, f32)) -> Self {
        Self { scale, blur_px: 0.0, offset_px: 0.0, background: BACKGROUND_LEVEL }
    }

    /// The same appearance in front of a background with another grey level.
    #[must_use]
    pub fn with_background(self, background: f32) -> Self {
        Self { background: background.clamp(0.0, 255.0), ..self }
    }

    /// The appearances one step away: narrower, wider, lower, higher, smaller, larger, sharper, more blurred,
    /// further up, further down, in front of a darker and in front of a brighter background.
    #[must_use]
    pub fn neighbours(self, step: AppearanceStep) -> [Self; DIRECTIONS] {
        let (less, more) = (1.0 - step.magnification, 1.0 + step.magnification);
        let scaled = |x: f32, y: f32| Self { scale: (self.scale.0 * x, self.scale.1 * y), ..self };
        let blurred = |by: f32| Self { blur_px: (self.blur_px + by).clamp(0.0, MAX_BLUR_PX), ..self };
        let moved =
            |by: f32| Self { offset_px: (self.offset_px + by).clamp(-MAX_OFFSET_PX, MAX_OFFSET_PX), ..self };
        [
            scaled(less, 1.0),
            scaled(more, 1.0),
            scaled(1.0, less),
            scaled(1.0, more),
            scaled(less, less),
            scaled(more, more),
            blurred(-step.blur_px),
            blurred(step.blur_px),
            moved(-step.offset_px),
            moved(step.offset_px),
            self.with_background(self.background - step.background),
            self.with_background(self.background + step.background),
        ]
    }
}
