//! Glyphs as strokes (skeletons), which can be drawn at any size.

use super::Glyph;

/// One stroke of a glyph, in a unit box: x to the right, y downwards, both 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Piece {
    /// Straight strokes from point to point.
    Path(&'static [[f32; 2]]),
    /// A stroke along an ellipse: centre, half axes, start and end in degrees (0 is right, 90 is down).
    Arc([f32; 2], [f32; 2], [f32; 2]),
    /// A dot, drawn somewhat thicker than the strokes.
    Dot([f32; 2]),
}

/// How strokes become an image. Lengths are in pixels of the cell at scale 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrokeStyle {
    /// Width and height of the cell.
    pub cell: [u32; 2],
    /// Left, top, width and height of the box to which the unit box of the strokes is stretched.
    pub body: [f32; 4],
    /// Half the width of a stroke, in pixels.
    pub half_stroke: f32,
    /// Radius of a dot, in pixels.
    pub dot_radius: f32,
    /// Width of the black outline around the strokes, in pixels.
    pub outline: f32,
    /// Width of the soft dark halo around the strokes, in pixels; 0 for none.
    pub halo: f32,
    /// Whether edges are anti-aliased; otherwise they fall on whole pixels.
    pub smooth: bool,
}

/// Opacity of the halo right next to the stroke, 0 to 1 (set by judgement).
const HALO_STRENGTH: f32 = 0.75;
/// Number of straight pieces that approximate one arc (set by judgement).
const ARC_STEPS: u16 = 24;

/// A straight stroke in pixels and its half width.
struct Segment {
    from: [f32; 2],
    to: [f32; 2],
    half_width: f32,
}

impl StrokeStyle {
    /// Draws strokes with this style at `scale` times the cell's size, widened by the factor `stretch`.
    #[must_use]
    pub fn draw(&self, pieces: &[Piece], advance: f32, scale: f32, stretch: f32) -> Glyph {
        let segments = self.segments(pieces, scale, stretch);
        let width = pixel_length(self.cell[0] as f32 * scale * stretch);
        let height = pixel_length(self.cell[1] as f32 * scale);
        let mut glyph = Glyph::empty(width, height, advance * scale * stretch);
        for row in 0..height {
            for column in 0..width {
                let centre = [column as f32 + 0.5, row as f32 + 0.5];
                let distance =
                    segments.iter().map(|segment| segment.distance(centre)).fold(f32::INFINITY, f32::min);
                let (white, dark) = self.coverage(distance, scale);
                glyph.set_layers(column, row, white, dark);
            }
        }
        glyph
    }

    /// Opacity of the white stroke and of the dark outline or halo, each 0 to 1, at `distance` pixels outside the
    /// stroke. `scale` enlarges outline and halo.
    fn coverage(&self, distance: f32, scale: f32) -> (f32, f32) {
        let edge = |beyond: f32| {
            let cover = (0.5 - beyond).clamp(0.0, 1.0);
            if self.smooth { cover } else { cover.round() }
        };
        let white = edge(distance);
        let outline = if self.outline > 0.0 { edge(distance - self.outline * scale) } else { 0.0 };
        let halo = if self.halo > 0.0 {
            let relative = distance.max(0.0) / (self.halo * scale);
            HALO_STRENGTH * (-2.0 * relative * relative).exp()
        } else {
            0.0
        };
        let halo = if halo < 0.02 { 0.0 } else { halo };
        (white, outline.max(halo))
    }

    fn segments(&self, pieces: &[Piece], scale: f32, stretch: f32) -> Vec<Segment> {
        let [left, top, width, height] = self.body;
        let place = |[x, y]: [f32; 2]| [(left + x * width) * scale * stretch, (top + y * height) * scale];
        let mut segments = Vec::new();
        for piece in pieces {
            let (points, half_width) = match *piece {
                Piece::Path(points) => (points.to_vec(), self.half_stroke),
                Piece::Arc(centre, radii, degrees) => (arc_points(centre, radii, degrees), self.half_stroke),
                Piece::Dot(centre) => (vec![centre, centre], self.dot_radius),
            };
            segments.extend(points.windows(2).map(|pair| Segment {
                from: place(pair[0]),
                to: place(pair[1]),
                half_width: half_width * scale,
            }));
        }
        segments
    }
}

impl Segment {
    /// Distance of a point from this stroke in pixels; negative inside the stroke.
    fn distance(&self, [x, y]: [f32; 2]) -> f32 {
        let along = [self.to[0] - self.from[0], self.to[1] - self.from[1]];
        let offset = [x - self.from[0], y - self.from[1]];
        let length_squared = along[0] * along[0] + along[1] * along[1];
        let share = if length_squared > 0.0 {
            ((offset[0] * along[0] + offset[1] * along[1]) / length_squared).clamp(0.0, 1.0)
        } else {
            0.0
        };
        (offset[0] - share * along[0]).hypot(offset[1] - share * along[1]) - self.half_width
    }
}

fn arc_points(centre: [f32; 2], radii: [f32; 2], degrees: [f32; 2]) -> Vec<[f32; 2]> {
    (0..=ARC_STEPS)
        .map(|step| {
            let share = f32::from(step) / f32::from(ARC_STEPS);
            let angle = (degrees[0] + share * (degrees[1] - degrees[0])).to_radians();
            [centre[0] + radii[0] * angle.cos(), centre[1] + radii[1] * angle.sin()]
        })
        .collect()
}

/// A length rounded up to whole pixels, at least one.
pub(super) fn pixel_length(length: f32) -> usize {
    (length - 1e-3).ceil().max(1.0) as usize
}
