//! The glyphs of a face: means of the pictures that show them, freed of the scenery that stands still behind them and
//! brought to one contrast.

use ndarray::Array2;

use super::align::CharacterCut;
use super::group::Group;
use crate::glyphs::{CHARACTERS, Face, Glyph, GlyphSet};
use crate::recognise::{Background, CharacterPosition, Patch, Recogniser, Sample};
use crate::recognise::{HighPass, MARGIN_PX};
use crate::setup::Region;

/// Grey level that strokes are brought to the contrast of the others around: about mid-grey.
const MIDDLE_LEVEL: f32 = 110.0;

/// Pictures of a character whose noise comes to what the scenery of a region leaves in all of them.
const PICTURES_OF_SCENERY: f32 = 1.0;

/// Pictures of a character below which it stays as told.
const LEAST_PICTURES: usize = 4;

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
                mean.add(patch, &behind[cut.region], in_frame_pixels(cut.top, cut.left, group.factor));
            }
            advance = cut.advance * group.factor as f32;
        }
        glyphs.extend(mean.glyph(character, advance));
    }
    let channels = group.regions.iter().map(|told| told.region.channel.clone()).collect();
    let name = group.regions.first().map_or("face", |told| told.region.channel.name()).to_owned();
    Face { name, channels, cell, glyphs }
}

/// Glyphs averaged over all characters of the sample that are read surely. Where scenery stands still in some region,
/// these may be the ones that stand out there, and share what is left of the scenery: then all told count too, and
/// regions more than their pictures.
pub(super) fn cleaned(
    mut set: GlyphSet,
    told: &[(Group<'_>, Vec<CharacterCut>)],
    regions: &[Region],
    recogniser: &Recogniser,
    sample: &Sample,
) -> GlyphSet {
    let written_in = |face: &Face| -> Vec<usize> {
        let own = |number: &usize| {
            set.face_for(&regions[*number].channel).is_some_and(|found| std::ptr::eq(found, face))
        };
        (0..regions.len()).filter(own).collect()
    };
    let written: Vec<Vec<usize>> = set.faces.iter().map(written_in).collect();
    for ((face, numbers), (group, cuts)) in set.faces.iter_mut().zip(written).zip(told) {
        let is_still = |number: &usize| {
            recogniser.background_of(*number).is_some_and(|(backdrop, ..)| backdrop.features.is_some())
        };
        let stands_still = numbers.iter().any(is_still);
        let told = if stands_still { cuts.as_slice() } else { &[] };
        let means: Vec<Vec<MeanLevels>> = numbers
            .into_iter()
            .filter_map(|number| means_in(number, face, (group, told), recogniser, sample))
            .collect();
        for (index, glyph) in face.glyphs.iter_mut().enumerate() {
            let seen = means.iter().map(|means| &means[index]).filter(|mean| mean.count > 0);
            if let Some(clean) = over_regions(glyph, &seen.collect::<Vec<_>>(), stands_still) {
                *glyph = clean;
            }
        }
    }
    set
}

/// The means of a face's characters, in their order, as one region shows them; `None` where its text is not found.
fn means_in(
    number: usize,
    face: &Face,
    (group, cuts): (&Group<'_>, &[CharacterCut]),
    recogniser: &Recogniser,
    sample: &Sample,
) -> Option<Vec<MeanLevels>> {
    let (backdrop, high_pass, factor) = recogniser.background_of(number)?;
    let behind = Scene::of(backdrop, high_pass, factor);
    let mut means: Vec<MeanLevels> = face.glyphs.iter().map(|_| MeanLevels::new(face.cell)).collect();
    let mut add = |character: char, patch: &Patch, corner: (isize, f32)| {
        let own = face.glyphs.iter().zip(&mut means).find(|(glyph, _)| glyph.character == character);
        own.into_iter().for_each(|(_, mean)| mean.add(patch, &behind, corner));
    };
    for patch in sample.regions.get(number).into_iter().flatten() {
        for CharacterPosition { character, top, left } in recogniser.confident_characters(number, patch) {
            add(character, patch, in_frame_pixels(top, left, factor));
        }
    }
    for cut in cuts {
        let told = &group.regions[cut.region];
        let held = told.held[cut.moment].iter().filter(|_| told.number == number);
        let corner = in_frame_pixels(cut.top, cut.left, group.factor);
        held.for_each(|patch| add(cut.character, patch, corner));
    }
    Some(means)
}

/// A glyph from its means in several regions, each weighed by how well it is known: noise and scenery that moves average
/// out over its pictures, scenery that stands still does not. `None` where there are too few pictures.
fn over_regions(glyph: &Glyph, means: &[&MeanLevels], stands_still: bool) -> Option<Glyph> {
    let count: usize = means.iter().map(|mean| mean.count).sum();
    if count < LEAST_PICTURES {
        return None;
    }
    let weight = |mean: &MeanLevels| {
        let pictures = mean.count as f32;
        if stands_still { pictures / (pictures + PICTURES_OF_SCENERY) } else { pictures }
    };
    let all: f32 = means.iter().map(|mean| weight(mean)).sum();
    let share = |mean: &&MeanLevels| mean.mean() * (weight(mean) / all);
    let levels = means.iter().map(share).reduce(|sum, levels| sum + levels)?;
    Some(Glyph { levels, pictures: u32::try_from(count).ok(), ..glyph.clone() })
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
    fn of(backdrop: &Background, high_pass: &HighPass, factor: usize) -> Self {
        let levels = backdrop.features.as_ref().map(|features| {
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

/// A row and a column of a window of working pixels, each of `factor` frame pixels each way, in the window of frame
/// pixels: both windows begin the same number of their pixels before the region.
fn in_frame_pixels(top: usize, left: f32, factor: usize) -> (isize, f32) {
    let frame = |working: f32| (working - MARGIN_PX as f32) * factor as f32 + MARGIN_PX as f32;
    (frame(top as f32).round() as isize, frame(left))
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

    /// Adds the cell whose top left corner is at a row and column of the patch's window in frame pixels.
    fn add(&mut self, patch: &Patch, behind: &Scene, (top, left): (isize, f32)) {
        let levels = behind.bare(patch.levels(1));
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

    fn mean(&self) -> Array2<f32> {
        &self.sum / self.count.max(1) as f32
    }

    fn glyph(&self, character: char, advance: f32) -> Option<Glyph> {
        let levels = self.mean();
        let opacity = Array2::ones(levels.dim());
        let pictures = u32::try_from(self.count).ok();
        (self.count > 0).then_some(Glyph { character, levels, opacity, advance, pictures })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_corner_lies_as_far_from_the_region_in_frame_pixels_as_in_working_ones() {
        let (top, left) = in_frame_pixels(MARGIN_PX + 3, MARGIN_PX as f32 - 1.5, 2);
        assert_eq!((top, left), (MARGIN_PX as isize + 6, MARGIN_PX as f32 - 3.0));
        assert_eq!(in_frame_pixels(7, 4.5, 1), (7, 4.5));
    }

    #[test]
    fn where_scenery_stands_still_a_region_with_many_pictures_does_not_outweigh_one_with_some() {
        let mean = |level: f32, count: usize| MeanLevels {
            sum: Array2::from_elem((2, 2), level * count as f32),
            count,
        };
        let glyph = mean(0.0, 1).glyph('8', 12.0).unwrap();
        let (bright, dim) = (mean(120.0, 99), mean(60.0, 9));
        let clean = over_regions(&glyph, &[&bright, &dim], true).unwrap();
        // Weights 99/100 and 9/10.
        let expected = (120.0 * 0.99 + 60.0 * 0.9) / 1.89;
        assert!(clean.levels.iter().all(|level| (level - expected).abs() < 1e-3), "{:?}", clean.levels);
        assert_eq!((clean.character, clean.advance, clean.pictures), ('8', 12.0, Some(108)));
        let pooled = over_regions(&glyph, &[&bright, &dim], false).unwrap();
        let expected = (120.0 * 99.0 + 60.0 * 9.0) / 108.0;
        assert!(pooled.levels.iter().all(|level| (level - expected).abs() < 1e-3), "{:?}", pooled.levels);
        assert!(over_regions(&glyph, &[&mean(60.0, 3)], false).is_none());
    }
}
