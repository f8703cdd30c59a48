//! Averages the images of each character to glyphs, after removing the static background and scaling all
//! images to the same contrast.

use ndarray::Array2;

use super::cut::character::CharacterCut;
use super::group::size_group::SizeGroup;
use super::segment::cut_group::CutGroup;
use crate::glyphs::{CHARACTERS, Face, Glyph, GlyphSet};
use crate::recognise::{Background, CharacterPosition, Patch, Recogniser, Sample};
use crate::recognise::{HighPass, MARGIN_PX};
use crate::setup::Region;

/// Grey level that stays fixed when the contrast of an image is scaled: about the middle between the levels of the
/// strokes and of their outline (set by judgement).
const MIDDLE_LEVEL: f32 = 110.0;

/// A static background leaves an error in the mean glyph of a region, however many images are averaged. The variance
/// of this error is assumed to equal that of the noise in the mean of this many images. A region with n images then
/// has the weight n / (n + this number). Set by judgement.
const BACKGROUND_EQUIVALENT_IMAGES: f32 = 1.0;

/// Minimum number of images of a character in the sample for their average to replace the glyph that was averaged
/// from labelled cuts (set by judgement).
const MIN_IMAGES: usize = 4;

/// Number of iterations for computing grey levels from their high-pass features (set by judgement).
const RESTORING_ITERATIONS: usize = 4;

/// The first glyphs of a face: averages of the aligned cuts, in frame pixels.
pub(crate) fn first_face(CutGroup { group, cuts, .. }: &CutGroup<'_>) -> Face {
    let widest = cuts.iter().map(|cut| cut.advance).fold(1.0, f32::max) * group.factor as f32;
    let cell = (widest.ceil() as usize, group.rows * group.factor);
    let backgrounds: Vec<BackgroundLevels> = group
        .regions
        .iter()
        .map(|region| BackgroundLevels::of(&region.background, &group.high_pass, group.factor))
        .collect();
    let mut glyphs = Vec::new();
    for character in CHARACTERS.chars() {
        let mut mean = MeanLevels::new(cell);
        let mut advance = 0.0;
        for cut in cuts.iter().filter(|cut| cut.character == character) {
            for patch in &group.regions[cut.region].frames[cut.example] {
                let corner = in_frame_pixels(cut.top, cut.left, group.factor);
                mean.add(patch, &backgrounds[cut.region], corner);
            }
            advance = cut.advance * group.factor as f32;
        }
        glyphs.extend(mean.glyph(character, advance));
    }
    let channels = group.regions.iter().map(|region| region.region.channel.clone()).collect();
    let name = group.regions.first().map_or("face", |region| region.region.channel.name()).to_owned();
    Face { name, channels, cell, glyphs }
}

/// Replaces glyphs by averages over all characters that the first glyphs read in the sample with confidence.
///
/// In front of a static background, these may be only the characters that are easy to read, and the part of the
/// background that could not be removed remains in each of them. In that case the labelled cuts are averaged as well,
/// and the regions have nearly equal weight.
pub(crate) fn refine_glyphs(
    mut set: GlyphSet,
    groups: &[CutGroup<'_>],
    regions: &[Region],
    recogniser: &Recogniser,
    sample: &Sample,
) -> GlyphSet {
    let regions_of = |face: &Face| -> Vec<usize> {
        let is_own = |number: &usize| {
            set.face_for(&regions[*number].channel).is_some_and(|found| std::ptr::eq(found, face))
        };
        (0..regions.len()).filter(is_own).collect()
    };
    let regions_of_faces: Vec<Vec<usize>> = set.faces.iter().map(regions_of).collect();
    for ((face, numbers), CutGroup { group, cuts, .. }) in
        set.faces.iter_mut().zip(regions_of_faces).zip(groups)
    {
        let is_static = |number: &usize| {
            recogniser.background_of(*number).is_some_and(|(background, ..)| background.features.is_some())
        };
        let has_static_background = numbers.iter().any(is_static);
        let cuts = if has_static_background { cuts.as_slice() } else { &[] };
        let region_means = |number| {
            let mut means = SampleMeans::of(number, face, recogniser, sample)?;
            means.add_cuts(group, cuts, face);
            Some(means.means)
        };
        let means: Vec<Vec<MeanLevels>> = numbers.into_iter().filter_map(region_means).collect();
        for (index, glyph) in face.glyphs.iter_mut().enumerate() {
            let seen = means.iter().map(|means| &means[index]).filter(|mean| mean.count > 0);
            let average = average_over_regions(glyph, &seen.collect::<Vec<_>>(), has_static_background);
            if let Some(average) = average {
                *glyph = average;
            }
        }
    }
    set
}

/// Mean grey levels of a face's characters in one region, from the sample.
struct SampleMeans {
    /// Index of the region in the setup.
    setup_index: usize,
    background: BackgroundLevels,
    /// One mean for each glyph of the face.
    means: Vec<MeanLevels>,
}

impl SampleMeans {
    /// The mean grey levels of every character that the recogniser reads with confidence in the sample; `None`
    /// if the recogniser has not found the text of the region.
    fn of(setup_index: usize, face: &Face, recogniser: &Recogniser, sample: &Sample) -> Option<Self> {
        let (background, high_pass, factor) = recogniser.background_of(setup_index)?;
        let background = BackgroundLevels::of(background, high_pass, factor);
        let means = face.glyphs.iter().map(|_| MeanLevels::new(face.cell)).collect();
        let mut all = Self { setup_index, background, means };
        for patch in sample.regions.get(setup_index).into_iter().flatten() {
            for CharacterPosition { character, top, left } in
                recogniser.confident_characters(setup_index, patch)
            {
                all.add(face, character, patch, in_frame_pixels(top, left, factor));
            }
        }
        Some(all)
    }

    /// Adds the labelled cuts of the region to the means.
    fn add_cuts(&mut self, group: &SizeGroup<'_>, cuts: &[CharacterCut], face: &Face) {
        for cut in cuts {
            let region = &group.regions[cut.region];
            if region.setup_index == self.setup_index {
                let corner = in_frame_pixels(cut.top, cut.left, group.factor);
                for patch in &region.frames[cut.example] {
                    self.add(face, cut.character, patch, corner);
                }
            }
        }
    }

    fn add(&mut self, face: &Face, character: char, patch: &Patch, corner: (isize, f32)) {
        let own = face.glyphs.iter().zip(&mut self.means).find(|(glyph, _)| glyph.character == character);
        own.into_iter().for_each(|(_, mean)| mean.add(patch, &self.background, corner));
    }
}

/// The average of a glyph over regions; `None` if there are too few images. Each region is weighted by the
/// precision of its mean. The error from noise and moving scenery decreases with the number of images, but
/// that from a static background does not.
fn average_over_regions(glyph: &Glyph, means: &[&MeanLevels], has_static_background: bool) -> Option<Glyph> {
    let count: usize = means.iter().map(|mean| mean.count).sum();
    if count < MIN_IMAGES {
        return None;
    }
    let weight = |mean: &MeanLevels| {
        let images = mean.count as f32;
        if has_static_background { images / (images + BACKGROUND_EQUIVALENT_IMAGES) } else { images }
    };
    let all: f32 = means.iter().map(|mean| weight(mean)).sum();
    let share = |mean: &&MeanLevels| mean.mean() * (weight(mean) / all);
    let levels = means.iter().map(share).reduce(|sum, levels| sum + levels)?;
    Some(Glyph { levels, image_count: u32::try_from(count).ok(), ..glyph.clone() })
}

/// The static background and contrast of a region in grey levels.
struct BackgroundLevels {
    /// Grey levels of the static background, one for each working pixel; `None` if there is no static
    /// background.
    levels: Option<Array2<f32>>,
    /// Contrast of the text, relative to that of the templates.
    contrast: f32,
    /// Frame pixels per working pixel, in each direction.
    factor: usize,
}

impl BackgroundLevels {
    /// Computes the grey levels whose features are those of the background, as far as the high-pass filter
    /// preserves them. Each iteration adds the difference between the wanted features and those of the
    /// present levels (iterative deconvolution; common practice, no source).
    fn of(background: &Background, high_pass: &HighPass, factor: usize) -> Self {
        let levels = background.features.as_ref().map(|features| {
            (0..RESTORING_ITERATIONS).fold(features.clone(), |levels, _| {
                let difference = features - &high_pass.apply(&levels);
                levels + difference
            })
        });
        Self { levels, contrast: background.contrast, factor }
    }

    /// Removes the background from the grey levels of a window in frame pixels, and scales them to the
    /// contrast of the templates.
    fn remove_from(&self, mut levels: Array2<f32>) -> Array2<f32> {
        let working =
            |frame: usize| (frame + MARGIN_PX * self.factor).saturating_sub(MARGIN_PX) / self.factor;
        levels.indexed_iter_mut().for_each(|((row, col), level)| {
            let background = self.levels.as_ref().and_then(|levels| levels.get((working(row), working(col))));
            *level = (*level - background.unwrap_or(&0.0) - MIDDLE_LEVEL) / self.contrast + MIDDLE_LEVEL;
        });
        levels
    }
}

/// Converts a row and a column of a window in working pixels to those of the window in frame pixels. Each of the two
/// windows begins [`MARGIN_PX`] of its own pixels before the region.
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

    /// Adds the cell whose top left corner is at the given row and column of the patch's window, in frame
    /// pixels.
    fn add(&mut self, patch: &Patch, background: &BackgroundLevels, (top, left): (isize, f32)) {
        let levels = background.remove_from(patch.levels(1));
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
        let image_count = u32::try_from(self.count).ok();
        (self.count > 0).then_some(Glyph { character, levels, opacity, advance, image_count })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_corner_keeps_its_distance_from_the_region_in_frame_pixels() {
        let (top, left) = in_frame_pixels(MARGIN_PX + 3, MARGIN_PX as f32 - 1.5, 2);
        assert_eq!((top, left), (MARGIN_PX as isize + 6, MARGIN_PX as f32 - 3.0));
        assert_eq!(in_frame_pixels(7, 4.5, 1), (7, 4.5));
    }

    #[test]
    fn with_a_static_background_a_region_with_many_images_does_not_outweigh_others() {
        let mean = |level: f32, count: usize| MeanLevels {
            sum: Array2::from_elem((2, 2), level * count as f32),
            count,
        };
        let glyph = mean(0.0, 1).glyph('8', 12.0).unwrap();
        let (bright, dim) = (mean(120.0, 99), mean(60.0, 9));
        let weighted = average_over_regions(&glyph, &[&bright, &dim], true).unwrap();
        // Weights 99/100 and 9/10.
        let expected = (120.0 * 0.99 + 60.0 * 0.9) / 1.89;
        assert!(weighted.levels.iter().all(|level| (level - expected).abs() < 1e-3), "{:?}", weighted.levels);
        assert_eq!((weighted.character, weighted.advance, weighted.image_count), ('8', 12.0, Some(108)));
        let pooled = average_over_regions(&glyph, &[&bright, &dim], false).unwrap();
        let expected = (120.0 * 99.0 + 60.0 * 9.0) / 108.0;
        assert!(pooled.levels.iter().all(|level| (level - expected).abs() < 1e-3), "{:?}", pooled.levels);
        assert!(average_over_regions(&glyph, &[&mean(60.0, 3)], false).is_none());
    }
}
