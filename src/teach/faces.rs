//! The glyphs of a face: means of the pictures that show them, freed of the scenery that stands still behind them and
//! brought to one contrast.

use ndarray::Array2;

use super::Group;
use super::align::CharacterCut;
use crate::glyphs::{CHARACTERS, Face, Glyph, GlyphSet};
use crate::recognise::feature::{HighPass, MARGIN_PX};
use crate::recognise::{Backdrop, Patch, Recogniser, Sample};
use crate::setup::Region;

/// Grey level that strokes are brought to the contrast of the others around: about mid-grey.
const MIDDLE_LEVEL: f32 = 110.0;

/// Rounds of finding the grey levels whose features a scenery is.
const ROUNDS: usize = 4;

/// The first glyphs: mean of the aligned cuts, in frame pixels.
pub(super) fn face_of(group: &Group<'_>, cuts: &[CharacterCut]) -> Face {
    let widest = cuts.iter().map(|cut| cut.advance).fold(1.0, f32::max) * group.factor as f32;
    let cell = (widest.ceil() as usize, group.rows * group.factor);
    let behind: Vec<Scene> =
        group.regions.iter().map(|told| Scene::of(&told.backdrop, &group.high_pass, group.factor)).collect();
    let mut glyphs = Vec::new();
    for character in CHARACTERS.chars() {
        let mut mean = MeanLevels::new(cell);
        let mut advance = 0.0;
        for cut in cuts.iter().filter(|cut| cut.character == character) {
            for patch in &group.regions[cut.region].held[cut.moment] {
                mean.add(patch, &behind[cut.region], cut.top, cut.left);
            }
            advance = cut.advance * group.factor as f32;
        }
        glyphs.extend(mean.glyph(character, advance));
    }
    let channels = group.regions.iter().map(|told| told.region.channel.clone()).collect();
    let name = group.regions.first().map_or("face", |told| told.region.channel.name()).to_owned();
    Face { name, channels, cell, glyphs }
}

/// Glyphs averaged over all characters of the sample that are read surely; a glyph never met there
/// stays as told.
pub(super) fn cleaned(
    mut set: GlyphSet,
    regions: &[Region],
    recogniser: &Recogniser,
    sample: &Sample,
) -> GlyphSet {
    for face in &mut set.faces {
        let mut means: Vec<MeanLevels> = face.glyphs.iter().map(|_| MeanLevels::new(face.cell)).collect();
        for (number, region) in regions.iter().enumerate() {
            if !face.channels.is_empty() && !face.channels.contains(&region.channel) {
                continue;
            }
            let Some((backdrop, high_pass, factor)) = recogniser.behind(number) else { continue };
            let behind = Scene::of(backdrop, high_pass, factor);
            for patch in sample.regions.get(number).into_iter().flatten() {
                for (character, top, left) in recogniser.sure_characters(number, patch) {
                    if let Some(index) = face.glyphs.iter().position(|glyph| glyph.character == character) {
                        means[index].add(patch, &behind, top, left);
                    }
                }
            }
        }
        for (glyph, mean) in face.glyphs.iter_mut().zip(means) {
            if let Some(clean) = mean.glyph(glyph.character, glyph.advance).filter(|_| mean.count >= 4) {
                *glyph = clean;
            }
        }
    }
    set
}

/// What a text stands before, in grey levels.
struct Scene {
    /// Grey levels of the scenery that stands still, in working pixels; `None` where none does.
    levels: Option<Array2<f32>>,
    contrast: f32,
    /// Frame pixels to a working pixel, each way.
    factor: usize,
}

impl Scene {
    /// The grey levels that have the backdrop's features, as far as the high-pass lets them through: what the features of
    /// the levels found still lack is added to these (van Cittert's iteration; cited from memory).
    fn of(backdrop: &Backdrop, high_pass: &HighPass, factor: usize) -> Self {
        let levels = backdrop.scenery.as_ref().map(|features| {
            (0..ROUNDS).fold(features.clone(), |levels, _| {
                let lacking = features - &high_pass.apply(&levels);
                levels + lacking
            })
        });
        Self { levels, contrast: backdrop.contrast, factor }
    }

    /// Grey levels of a window in frame pixels, without the scenery, at the contrast of the templates.
    fn bare(&self, mut levels: Array2<f32>) -> Array2<f32> {
        let working =
            |frame: usize| (frame + MARGIN_PX * self.factor).saturating_sub(MARGIN_PX) / self.factor;
        levels.indexed_iter_mut().for_each(|((row, col), level)| {
            let scenery = self.levels.as_ref().and_then(|scenery| scenery.get((working(row), working(col))));
            *level = (*level - scenery.unwrap_or(&0.0) - MIDDLE_LEVEL) / self.contrast + MIDDLE_LEVEL;
        });
        levels
    }
}

/// Mean grey levels of cells cut from patches.
struct MeanLevels {
    sum: Array2<f32>,
    count: usize,
}

impl MeanLevels {
    fn new((width, height): (usize, usize)) -> Self {
        Self { sum: Array2::zeros((height, width)), count: 0 }
    }

    /// Adds the cell whose top left corner is at a working row and column of the patch's window.
    fn add(&mut self, patch: &Patch, behind: &Scene, top: usize, left: f32) {
        let levels = behind.bare(patch.levels(1));
        let frame = |working: f32| (working - MARGIN_PX as f32) * behind.factor as f32 + MARGIN_PX as f32;
        let (top, left) = (frame(top as f32).round() as isize, frame(left));
        let (first, share) = (left.floor() as isize, left - left.floor());
        let at = |row: isize, col: isize| {
            let row = row.clamp(0, levels.nrows() as isize - 1) as usize;
            let col = col.clamp(0, levels.ncols() as isize - 1) as usize;
            levels[[row, col]]
        };
        self.sum.indexed_iter_mut().for_each(|((row, col), sum)| {
            let (row, col) = (top + row as isize, first + col as isize);
            *sum += at(row, col) * (1.0 - share) + at(row, col + 1) * share;
        });
        self.count += 1;
    }

    fn glyph(&self, character: char, advance: f32) -> Option<Glyph> {
        let levels = &self.sum / self.count.max(1) as f32;
        let opacity = Array2::ones(levels.dim());
        let pictures = u32::try_from(self.count).ok();
        (self.count > 0).then_some(Glyph { character, levels, opacity, advance, pictures })
    }
}
