//! The colours of letters and their edges.

use crate::frame::{BLACK, Frame, WHITE};

/// Brightness and colour differences, in video levels.
#[derive(Debug, Clone, Copy, PartialEq)]
struct VideoColour {
    luma: f32,
    blue: f32,
    red: f32,
}

/// The two colours of a text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TextColours {
    letter: VideoColour,
    edge: VideoColour,
}

impl TextColours {
    /// White letters with a black edge.
    pub(crate) fn plain(brightness: f32) -> Self {
        Self::new([255; 3], [0; 3], brightness)
    }

    /// Colours of the letters and of their edge, in red, green and blue from 0 to 255; `brightness`, 0 to 1,
    /// dims the letters.
    pub(crate) fn new(letter: [u8; 3], edge: [u8; 3], brightness: f32) -> Self {
        Self { letter: VideoColour::new(letter, brightness), edge: VideoColour::new(edge, 1.0) }
    }

    /// Paints the pixel in column `x` and row `y`. `light` is the opacity of the letter, and `cover` that of letter and
    /// edge together, each 0 to 1.
    pub(super) fn cover_pixel(&self, frame: &mut Frame, [x, y]: [usize; 2], light: f32, cover: f32) {
        let edge = (cover - light).max(0.0);
        let index = y * frame.width + x;
        let through = f32::from(frame.luma[index]) * (1.0 - cover);
        frame.luma[index] = (through + light * self.letter.luma + edge * self.edge.luma).round() as u8;
        // Two pixels share one colour value, so each contributes half of it.
        let half = y * (frame.width / 2) + x / 2;
        let planes = [
            (&mut frame.blue, self.letter.blue, self.edge.blue),
            (&mut frame.red, self.letter.red, self.edge.red),
        ];
        for (plane, letter, around) in planes {
            let behind = f32::from(plane[half]);
            let change = light * (letter - behind) + edge * (around - behind);
            plane[half] = (behind + 0.5 * change).round() as u8;
        }
    }
}

impl VideoColour {
    /// Converts red, green and blue, 0 to 255, dimmed by the factor `brightness`, to brightness and colour
    /// differences (ITU-R BT.601): Y' = 0.299 R' + 0.587 G' + 0.114 B', Cb = (B' - Y') / 1.772, Cr = (R' - Y') /
    /// 1.402.
    fn new(colour: [u8; 3], brightness: f32) -> Self {
        let [r, g, b] = colour.map(|part| f32::from(part) / 255.0 * brightness);
        let luma = 0.299 * r + 0.587 * g + 0.114 * b;
        Self {
            luma: BLACK + (WHITE - BLACK) * luma,
            blue: 128.0 + 224.0 * (b - luma) / 1.772,
            red: 128.0 + 224.0 * (r - luma) / 1.402,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_colour_bars_of_the_standard_have_their_levels() {
        // ITU-R BT.601, eight-bit levels of 100 % bars: yellow Y 210, Cb 16, Cr 146; red 81, 90, 240.
        for (colour, levels) in [([255, 255, 0], [210.0, 16.0, 146.0]), ([255, 0, 0], [81.0, 90.0, 240.0])] {
            let tone = VideoColour::new(colour, 1.0);
            let apart = [tone.luma - levels[0], tone.blue - levels[1], tone.red - levels[2]];
            assert!(apart.iter().all(|apart| apart.abs() <= 0.6), "{tone:?} {levels:?}");
        }
    }

    #[test]
    fn full_coverage_shows_the_text_colour_alone() {
        let mut frame = Frame::plain(2, 2, 200, 60, 60);
        let colours = TextColours::new([255, 255, 0], [0, 0, 0], 1.0);
        for x in 0..2 {
            colours.cover_pixel(&mut frame, [x, 0], 1.0, 1.0);
            colours.cover_pixel(&mut frame, [x, 1], 0.0, 1.0);
        }
        assert_eq!((frame.luma[0], frame.luma[2]), (210, 16));
        assert!(frame.blue[0] < 60 && frame.blue[1] > 60, "{:?}", frame.blue);
    }
}
