//! An alphabet: a face's glyphs as features at a region's working resolution.

use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::F32;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use ndarray::{Array2, Zip, s};

use super::blur::blurred_across;
use super::feature::HighPass;
use crate::glyphs::{Face, Glyph};

/// Grey level put behind transparent glyphs: about mid-grey.
const BACKDROP_LEVEL: f32 = 110.0;

/// Glyphs up to this height, in frame pixels, are worked on as they are; larger ones are averaged
/// down to between half of it and all of it.
const WORKING_HEIGHT_PX: usize = 40;

/// Minimum number of pictures for a character to be well seen: a labelled frame and its neighbours give nine.
const WELL_SEEN: u32 = 10;

/// One character as features.
#[derive(Debug, Clone)]
pub struct Shape {
    /// The character.
    pub character: char,
    /// Features of the glyph, alphabet rows x own columns.
    pub template: Array2<f32>,
    /// Distance to the next glyph's left edge, in working pixels.
    pub advance: f32,
    /// Pictures that the template is the mean of; `None` where it is drawn.
    pub pictures: Option<u32>,
}

impl Shape {
    /// Whether the template is drawn, or the mean of enough pictures for its own noise not to matter.
    #[must_use]
    pub fn is_well_seen(&self) -> bool {
        self.pictures.is_none_or(|pictures| pictures >= WELL_SEEN)
    }
}

/// A face at a working resolution.
#[derive(Debug, Clone)]
pub struct Alphabet {
    /// The characters.
    pub shapes: Vec<Shape>,
    /// Rows of every template.
    pub rows: usize,
    /// Columns of the widest template.
    pub cols: usize,
    /// The high-pass that made the features and must be applied to frames.
    pub high_pass: HighPass,
    /// Frame pixels averaged into one working pixel, each way.
    pub factor: usize,
}

/// How a face appears on the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Appearance {
    /// Magnification of the face's cells (x, y).
    pub scale: (f32, f32),
    /// Standard deviation of the blur along the lines, in working pixels.
    pub blur_px: f32,
    /// How far down the glyphs stand in their cells, in working pixels: cells stand in whole rows.
    pub down_px: f32,
    /// Grey level behind the glyphs, 0 to 255.
    pub backdrop: f32,
}

/// Steps of an appearance: a share of the magnification, pixels of blur, and pixels down.
#[derive(Debug, Clone, Copy)]
pub struct AppearanceStep {
    /// Share of the magnification.
    pub magnification: f32,
    /// Pixels of blur.
    pub blur_px: f32,
    /// Pixels down.
    pub down_px: f32,
    /// Grey levels.
    pub backdrop: f32,
}

/// Ways to change an appearance.
pub const DIRECTIONS: usize = 12;

/// Most blur tried, in working pixels.
const MOST_BLUR_PX: f32 = 2.0;

/// Furthest that glyphs are tried to stand off their cells' rows, in working pixels.
const FURTHEST_DOWN_PX: f32 = 0.75;

impl Appearance {
    /// An undistorted face.
    #[must_use]
    pub fn magnified(scale: (f32, f32)) -> Self {
        Self { scale, blur_px: 0.0, down_px: 0.0, backdrop: BACKDROP_LEVEL }
    }

    /// The same before scenery of another brightness.
    #[must_use]
    pub fn before(self, backdrop: f32) -> Self {
        Self { backdrop: backdrop.clamp(0.0, 255.0), ..self }
    }

    /// Appearances a step away: narrower, wider, lower, higher, smaller, larger, sharper, more blurred,
    /// further up, further down, before darker and brighter scenery.
    #[must_use]
    pub fn neighbours(self, step: AppearanceStep) -> [Self; DIRECTIONS] {
        let (less, more) = (1.0 - step.magnification, 1.0 + step.magnification);
        let scaled = |x: f32, y: f32| Self { scale: (self.scale.0 * x, self.scale.1 * y), ..self };
        let blurred = |by: f32| Self { blur_px: (self.blur_px + by).clamp(0.0, MOST_BLUR_PX), ..self };
        let moved = |by: f32| Self {
            down_px: (self.down_px + by).clamp(-FURTHEST_DOWN_PX, FURTHEST_DOWN_PX),
            ..self
        };
        [
            scaled(less, 1.0),
            scaled(more, 1.0),
            scaled(1.0, less),
            scaled(1.0, more),
            scaled(less, less),
            scaled(more, more),
            blurred(-step.blur_px),
            blurred(step.blur_px),
            moved(-step.down_px),
            moved(step.down_px),
            self.before(self.backdrop - step.backdrop),
            self.before(self.backdrop + step.backdrop),
        ]
    }
}

/// How many frame pixels go into one working pixel for glyphs of this height in frame pixels.
#[must_use]
pub fn working_factor(glyph_height_px: f32) -> usize {
    (glyph_height_px / WORKING_HEIGHT_PX as f32).ceil().max(1.0) as usize
}

impl Alphabet {
    /// Prepares a face that appears on the frame magnified by `scale` (x, y): 1 for taught faces.
    #[must_use]
    pub fn new(face: &Face, scale: (f32, f32)) -> Self {
        let factor = working_factor(face.cell.1 as f32 * scale.1);
        Self::with_appearance(face, Appearance::magnified(scale), factor)
    }

    /// Prepares a face that appears on the frame as told.
    #[must_use]
    pub fn with_appearance(face: &Face, appearance: Appearance, factor: usize) -> Self {
        Self::of_some(face, appearance, factor, |_| true)
    }

    /// The same of some characters only.
    pub(super) fn of_some(
        face: &Face,
        appearance: Appearance,
        factor: usize,
        takes: impl Fn(char) -> bool,
    ) -> Self {
        let high_pass = high_pass_of(face, appearance, factor);
        let glyphs = face.glyphs.iter().filter(|glyph| takes(glyph.character));
        let shapes = shapes_of(glyphs, (face.cell.1, appearance, factor), &high_pass);
        let cols = shapes.iter().map(|shape| shape.template.ncols()).max().unwrap_or(1);
        Self { shapes, rows: rows_of(face.cell.1, appearance, factor), cols, high_pass, factor }
    }

    /// Scales the templates to the contrast of features that hold text: built-in glyphs are drawn at
    /// full contrast, overlays are fainter.
    pub fn match_contrast(&mut self, features: &[Array2<f32>]) {
        let seen = strong_level(features.iter());
        let drawn = strong_level(self.shapes.iter().map(|shape| &shape.template));
        if drawn > 0.0 && seen > 0.0 {
            let gain = seen / drawn;
            self.shapes.iter_mut().for_each(|shape| shape.template *= gain);
        }
    }

    /// Brings the digits to one contrast where they were taught on scenery of different brightness.
    pub fn even_out(&mut self) {
        let digits = || self.shapes.iter().filter(|shape| shape.character.is_ascii_digit());
        let mut levels: Vec<f32> =
            digits().map(|shape| strong_level(std::iter::once(&shape.template))).collect();
        levels.sort_by(f32::total_cmp);
        let Some(usual) = levels.get(levels.len() / 2).copied() else { return };
        for shape in self.shapes.iter_mut().filter(|shape| shape.character.is_ascii_digit()) {
            let gain = usual / strong_level(std::iter::once(&shape.template)).max(f32::MIN_POSITIVE);
            if !(UNEVEN.0..=UNEVEN.1).contains(&gain) {
                shape.template *= gain;
            }
        }
    }

    /// Multiplies the distances between characters by `ratio`.
    pub fn scale_advances(&mut self, ratio: f32) {
        self.shapes.iter_mut().for_each(|shape| shape.advance *= ratio);
    }

    /// Whether the face was drawn, not taught.
    #[must_use]
    pub fn is_drawn(&self) -> bool {
        self.shapes.iter().all(|shape| shape.pictures.is_none())
    }

    /// The index of a character's shape.
    #[must_use]
    pub fn index_of(&self, character: char) -> Option<usize> {
        self.shapes.iter().position(|shape| shape.character == character)
    }

    /// Whether the shapes of all ten digits are known.
    #[must_use]
    pub fn has_all_digits(&self) -> bool {
        ('0'..='9').all(|digit| self.index_of(digit).is_some())
    }

    /// Whether all ten digits are known and well seen.
    #[must_use]
    pub fn has_all_digits_well_seen(&self) -> bool {
        ('0'..='9').all(|digit| self.index_of(digit).is_some_and(|index| self.shapes[index].is_well_seen()))
    }

    /// The widest advance of the digits, in working pixels: the pitch of fixed-pitch type.
    #[must_use]
    pub fn pitch(&self) -> f32 {
        let digits = self.shapes.iter().filter(|shape| shape.character.is_ascii_digit());
        digits.map(|shape| shape.advance).fold(1.0, f32::max)
    }
}

/// Strokes of different digits differ in strength by less than this, as they are drawn.
const UNEVEN: (f32, f32) = (0.8, 1.25);

/// Level of the strongest strokes: the upper twentieth of the features' sizes.
fn strong_level<'a>(features: impl Iterator<Item = &'a Array2<f32>>) -> f32 {
    let mut sizes: Vec<f32> = features.flat_map(|one| one.iter().map(|level| level.abs())).collect();
    if sizes.is_empty() {
        return 0.0;
    }
    let strong = sizes.len() * 19 / 20;
    *sizes.select_nth_unstable_by(strong, f32::total_cmp).1
}

/// Rows and columns around a cell while features are taken: from there on all is as the cell's edge, wherever within
/// [`FURTHEST_DOWN_PX`] it stands, and features are taken as if that went on.
const PAD_PX: usize = 3;

/// Rows of a cell of so many pixels, as it appears.
fn rows_of(cell_height: usize, appearance: Appearance, factor: usize) -> usize {
    ((cell_height as f32 * appearance.scale.1 / factor as f32).round() as usize).max(3)
}

/// The high-pass for a face that appears as told.
pub(super) fn high_pass_of(face: &Face, appearance: Appearance, factor: usize) -> HighPass {
    let widest = face.glyphs.iter().map(|glyph| glyph.advance).fold(1.0, f32::max);
    HighPass::for_cell_width(widest * appearance.scale.0 / factor as f32)
}

/// Some glyphs of a face whose cells are `cell_height` pixels high, as they appear, high-passed.
pub(super) fn shapes_of<'a>(
    glyphs: impl Iterator<Item = &'a Glyph>,
    (cell_height, appearance, factor): (usize, Appearance, usize),
    high_pass: &HighPass,
) -> Vec<Shape> {
    let zoom = (appearance.scale.0 / factor as f32, appearance.scale.1 / factor as f32);
    let rows = rows_of(cell_height, appearance, factor);
    glyphs.map(|glyph| shape_of(glyph, zoom, (rows, appearance), high_pass)).collect()
}

/// Puts the glyph on the backdrop, scales it, and takes features with room around it.
fn shape_of(
    glyph: &Glyph,
    zoom: (f32, f32),
    (rows, appearance): (usize, Appearance),
    high_pass: &HighPass,
) -> Shape {
    let flat = Zip::from(&glyph.levels).and(&glyph.opacity);
    let flat = flat.map_collect(|level, opacity| level * opacity + (1.0 - opacity) * appearance.backdrop);
    let cols = ((flat.ncols() as f32 * zoom.0).round() as usize).max(2);
    let scaled = scaled(&flat, zoom, appearance.down_px, (rows + 2 * PAD_PX, cols + 2 * PAD_PX));
    let advance = glyph.advance * zoom.0;
    let own_cols = (advance.ceil() as usize).clamp(2, cols);
    let features =
        high_pass.apply_to_rows(&blurred_across(&scaled, appearance.blur_px), PAD_PX..PAD_PX + rows);
    let template = features.slice(s![.., PAD_PX..PAD_PX + own_cols]).to_owned();
    Shape { character: glyph.character, template, advance, pictures: glyph.pictures }
}

/// Resamples grey levels, magnified by exactly `zoom` (x, y), into a picture of `size` (rows, columns) in
/// which the cell's top left corner stands [`PAD_PX`] from the edges and `down_px` lower; around the cell
/// its edge repeats.
fn scaled(levels: &Array2<f32>, zoom: (f32, f32), down_px: f32, size: (usize, usize)) -> Array2<f32> {
    let (rows, cols) = levels.dim();
    let reach = |zoom: f32, length: usize, cell: usize| {
        let before = ((PAD_PX + 1) as f32 / zoom).ceil() as usize + 1;
        let all = before + ((length + 1) as f32 / zoom).ceil() as usize + 1;
        (before, all.max(before + cell))
    };
    let ((left, width), (top, height)) = (reach(zoom.0, size.1, cols), reach(zoom.1, size.0, rows));
    let mut padded = Vec::with_capacity(width * height);
    for y in 0..height {
        let row = levels.row(y.saturating_sub(top).min(rows - 1));
        let (first, last) = (F32::new(row[0]), F32::new(row[cols - 1]));
        padded.extend(std::iter::repeat_n(first, left));
        padded.extend(row.iter().map(|level| F32::new(*level)));
        padded.extend(std::iter::repeat_n(last, width - left - cols));
    }
    let window = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::Box)).crop(
        left as f64 - PAD_PX as f64 / f64::from(zoom.0),
        top as f64 - (PAD_PX as f64 + f64::from(down_px)) / f64::from(zoom.1),
        size.1 as f64 / f64::from(zoom.0),
        size.0 as f64 / f64::from(zoom.1),
    );
    let mut out = TypedImage::<F32>::new(size.1 as u32, size.0 as u32);
    let done = TypedImageRef::new(width as u32, height as u32, &padded)
        .is_ok_and(|source| Resizer::new().resize_typed(&source, &mut out, &window).is_ok());
    debug_assert!(done, "the crop box lies inside the padded cell");
    let levels: Vec<f32> = out.pixels().iter().map(|pixel| pixel.0).collect();
    Array2::from_shape_vec(size, levels).unwrap_or_else(|_| Array2::from_elem(size, BACKDROP_LEVEL))
}
