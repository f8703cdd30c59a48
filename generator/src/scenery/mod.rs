//! Draws what the camera sees: a sky with clouds, a ridge on the horizon, and a salt flat that moves past.

mod film;
mod texture;
mod upscale;

use crate::error::Error;
use crate::flight::Sample;
use crate::frame::Frame;
use crate::random::slow_wave;
use crate::scenario::{Scenario, Scenery as Look};
use crate::signal::GaussianBlur;
use film::Film;
use texture::Texture;
use upscale::Upscaler;

/// Distance at which haze hides half of the ground's colour, in metres (set by judgement).
const HAZE_M: f32 = 2600.0;
/// Height of the clouds above the camera, in metres (set by judgement).
const CLOUD_HEIGHT_M: f32 = 900.0;
/// Exposure time of the camera, in seconds (set by judgement).
const SHUTTER_S: f32 = 0.006;

/// Standard deviation of the camera's blur, in pixels, from which the image is drawn at half its size and enlarged, to
/// save time. Set by judgement.
const SOFT_PX: f32 = 1.0;

/// The view of the camera, blurred by its lens; text is drawn over it afterwards.
#[derive(Debug)]
pub(crate) struct Scenery {
    behind: Behind,
    softness: GaussianBlur,
    /// Enlarges the drawn image to the size of the frame; `None` if the sizes are equal.
    upscaler: Option<Upscaler>,
}

#[derive(Debug)]
enum Behind {
    Flat(Box<Flat>),
    Film(Film),
}

impl Scenery {
    /// Prepares the scenery, or decodes the film that replaces it.
    pub(crate) fn new(scenario: &Scenario) -> Result<Self, Error> {
        let (width, height) = (scenario.video.width, scenario.video.height);
        let blur_px = scenario.degradation.camera_blur_px;
        if let Some(film) = &scenario.scenery.background {
            let film = Film::decode(film, &scenario.video)?;
            let softness = GaussianBlur::new(blur_px);
            return Ok(Self { behind: Behind::Film(film), softness, upscaler: None });
        }
        let half = |length: usize| (length / 2).next_multiple_of(2);
        let soft = blur_px >= SOFT_PX;
        let size = if soft { [half(width), half(height)] } else { [width, height] };
        let scale = size[0] as f32 / width as f32;
        Ok(Self {
            behind: Behind::Flat(Box::new(Flat::new(scenario, size))),
            softness: GaussianBlur::new(blur_px * scale),
            upscaler: soft.then(|| Upscaler::new(size, [width, height])),
        })
    }

    /// The view at one time of the flight.
    pub(crate) fn render(&self, sample: &Sample) -> Frame {
        let mut frame = match &self.behind {
            Behind::Flat(flat) => flat.render(sample),
            Behind::Film(film) => film.at(sample.time_s),
        };
        self.softness.apply(&mut frame);
        self.upscaler.as_ref().map_or_else(|| frame.clone(), |upscaler| upscaler.upscale(&frame))
    }
}

/// The drawn scenery: a salt flat below a sky.
#[derive(Debug)]
struct Flat {
    look: Look,
    width: usize,
    height: usize,
    /// Direction of each pixel, row by row, as a unit vector along the camera's right, down and forward axes.
    rays: Vec<[f32; 3]>,
    /// Angle between neighbouring pixels in radians.
    pixel_angle: f32,
    clouds: Texture,
    patches: Texture,
    cracks: Texture,
    bushes: Texture,
}

/// Colour of a point in video levels: brightness, and the differences of blue and red from grey.
type Colour = [f32; 3];

/// Position and direction of the camera at one time.
struct View {
    /// Position of the camera east, north and above the field, in metres.
    place: [f32; 3],
    /// The camera's right, down and forward axes as unit vectors (east, north, up).
    axes: [[f32; 3]; 3],
    /// Distance on the ground over which motion blurs the image, in metres.
    smear_m: f32,
    time_s: f32,
    exposure: f32,
}

impl Flat {
    fn new(scenario: &Scenario, [width, height]: [usize; 2]) -> Self {
        let look = scenario.scenery.clone();
        let seed = scenario.seed;
        Self {
            width,
            height,
            rays: rays(width, height, look.view_deg),
            pixel_angle: look.view_deg.to_radians() / width as f32,
            look,
            clouds: Texture::noise(seed, 0, 4, 6),
            patches: Texture::noise(seed, 1, 6, 6),
            cracks: Texture::cracks(seed, 2, 22),
            bushes: Texture::noise(seed, 3, 32, 4),
        }
    }

    fn render(&self, sample: &Sample) -> Frame {
        let view = self.view(sample);
        let mut frame = Frame::plain(self.width, self.height, 0, 128, 128);
        let colour = self.look.colour;
        let level = |luma: f32| (luma * view.exposure).clamp(16.0, 240.0) as u8;
        for (index, rays) in self.rays.chunks_exact(2).enumerate() {
            let [luma, blue, red] = self.seen(&view, rotated(&view.axes, &rays[0]));
            frame.luma[2 * index] = level(luma);
            frame.blue[index] = (128.0 + blue * colour).clamp(16.0, 240.0) as u8;
            frame.red[index] = (128.0 + red * colour).clamp(16.0, 240.0) as u8;
            frame.luma[2 * index + 1] = level(self.seen(&view, rotated(&view.axes, &rays[1]))[0]);
        }
        frame
    }

    fn view(&self, sample: &Sample) -> View {
        let shake = |kind: u32| {
            // Vibration of the motor and of the airframe.
            let moving = if sample.ground_speed_mps > 0.5 { 1.0 } else { 0.05 };
            slow_wave(kind, sample.time_s * 17.0) * f64::from(self.look.shake_deg) * moving
        };
        let heading = (sample.heading_deg + shake(1)).to_radians();
        let pitch = (sample.pitch_deg + shake(2) + slow_wave(3, sample.time_s)
            - f64::from(self.look.camera_tilt_deg))
        .to_radians();
        let roll = (sample.roll_deg + shake(4) + 1.5 * slow_wave(5, sample.time_s)).to_radians();
        let lighting = 1.0 + 0.025 * slow_wave(6, sample.time_s);
        View {
            place: [
                sample.position_m[0] as f32,
                sample.position_m[1] as f32,
                sample.height_m.max(0.4) as f32,
            ],
            axes: camera_axes(heading, pitch, roll),
            smear_m: sample.ground_speed_mps as f32 * SHUTTER_S,
            time_s: sample.time_s as f32,
            exposure: self.look.exposure * lighting as f32,
        }
    }

    /// The colour that the camera sees in a direction, given as a unit vector (east, north, up).
    fn seen(&self, view: &View, direction: [f32; 3]) -> Colour {
        let up = direction[2];
        if up < 0.0 {
            return self.ground(view, direction);
        }
        if up < 0.09 && up < self.ridge(direction) {
            return [mixed(128.0, 168.0, 1.0 - up / 0.09), 8.0, -6.0];
        }
        self.sky(view, direction)
    }

    /// Sine of the elevation angle of the ridge on the horizon in a direction.
    fn ridge(&self, direction: [f32; 3]) -> f32 {
        let around = direction[0].atan2(direction[1]) / std::f32::consts::TAU;
        let coarse = self.patches.at(around, 0.37, 0.0);
        let fine = self.clouds.at(around * 3.0, 0.71, 0.0);
        (0.075 * coarse * coarse + 0.018 * fine - 0.006).max(0.004)
    }

    fn sky(&self, view: &View, direction: [f32; 3]) -> Colour {
        let up = direction[2];
        let height = up.sqrt();
        let clear = [mixed(208.0, 112.0, height), mixed(6.0, 24.0, height), mixed(-4.0, -16.0, height)];
        if up < 0.012 || self.look.cloud <= 0.0 {
            return clear;
        }
        let away = CLOUD_HEIGHT_M / up;
        let x = view.place[0] + direction[0] * away + 9.0 * view.time_s;
        let y = view.place[1] + direction[1] * away;
        let footprint = away * self.pixel_angle / up;
        let coarse = self.clouds.at(x / 5300.0, y / 5300.0, footprint / 5300.0);
        let fine = self.patches.at(y / 1170.0, x / 1170.0, footprint / 1170.0);
        let threshold = 1.0 - self.look.cloud;
        let cover = ((coarse * 0.72 + fine * 0.28 - threshold) * 3.2 + 0.5).clamp(0.0, 1.0);
        let cover = cover * (up * 12.0).min(1.0);
        let bright = 236.0 - 34.0 * (1.0 - fine) * cover;
        [mixed(clear[0], bright, cover), clear[1] * (1.0 - cover), clear[2] * (1.0 - cover)]
    }

    fn ground(&self, view: &View, direction: [f32; 3]) -> Colour {
        let down = (-direction[2]).max(1e-4);
        let away = view.place[2] / down;
        if away > 6.0 * HAZE_M {
            return [206.0, 5.0, -3.0];
        }
        let x = view.place[0] + direction[0] * away;
        let y = view.place[1] + direction[1] * away;
        // A pixel covers more ground along the view than across it; the mean of both is used, and motion blur
        // is added.
        let across = away * self.pixel_angle;
        let footprint = across * (1.0 + 0.4 / down.max(0.05)) + view.smear_m;
        let patch = self.patches.at(x / 910.0, y / 910.0, footprint / 910.0);
        let broad = self.clouds.at(x / 3700.0, y / 3700.0, footprint / 3700.0);
        let crack = self.cracks.at(x / 83.0, y / 83.0, footprint / 83.0);
        let grain = self.bushes.at(x / 61.0, y / 61.0, footprint / 61.0);
        let texture = self.look.texture;
        let mut luma = 152.0 + 60.0 * broad + (24.0 * patch - 34.0 * crack + 14.0 * grain - 8.0) * texture;
        let damp = ((0.42 - patch) * 4.0).clamp(0.0, 1.0) * texture;
        luma -= 34.0 * damp;
        let mut colour = [luma, -4.0 + 5.0 * damp, 5.0 - 4.0 * damp];
        self.add_bushes(&mut colour, x, y, broad, footprint);
        add_tracks(&mut colour, x, y, footprint);
        let haze = away / (away + HAZE_M);
        let distant = [206.0, 5.0, -3.0];
        [0, 1, 2].map(|part| mixed(colour[part], distant[part], haze))
    }

    /// Adds dark dry bushes to the colour of the ground at `x` and `y`, in metres east and north, where the coarse
    /// texture `broad` (0 to 1) is dark. `footprint` is the size of a pixel on the ground, in metres.
    fn add_bushes(&self, colour: &mut Colour, x: f32, y: f32, broad: f32, footprint: f32) {
        let grove = ((0.4 - broad) * 6.0).clamp(0.0, 1.0);
        if grove <= 0.0 {
            return;
        }
        let bush = self.bushes.at(x / 71.0 + 0.31, y / 71.0 + 0.17, footprint / 71.0);
        let cover = ((bush - 0.66) * 6.0).clamp(0.0, 0.85) * grove * self.look.texture.min(1.0);
        *colour =
            [mixed(colour[0], 88.0, cover), mixed(colour[1], -8.0, cover), mixed(colour[2], 4.0, cover)];
    }
}

/// Adds wheel tracks, pairs of dark lines in two directions, to the colour of the ground at `x` and `y`, in metres east
/// and north. `footprint` is the size of a pixel on the ground, in metres.
fn add_tracks(colour: &mut Colour, x: f32, y: f32, footprint: f32) {
    let lines = [(0.944 * x + 0.329 * y + 6.0 * (y / 210.0).sin(), 173.0), (0.26 * x - 0.966 * y, 397.0)];
    for (across, spacing) in lines {
        let place = across - (across / spacing).floor() * spacing;
        for wheel in [20.0, 22.2] {
            let distance = (place - wheel).abs();
            let soft = 0.35 + footprint;
            if distance < soft {
                let strength = 0.35 * (1.0 - distance / soft) * (0.35 / soft).sqrt();
                colour[0] *= 1.0 - strength;
            }
        }
    }
}

fn mixed(from: f32, to: f32, share: f32) -> f32 {
    from + (to - from) * share
}

fn rotated(axes: &[[f32; 3]; 3], ray: &[f32; 3]) -> [f32; 3] {
    [0, 1, 2].map(|part| axes[0][part] * ray[0] + axes[1][part] * ray[1] + axes[2][part] * ray[2])
}

/// Directions of all pixels, for a lens with some barrel distortion.
fn rays(width: usize, height: usize, view_deg: f32) -> Vec<[f32; 3]> {
    let focal = width as f32 / 2.0 / (view_deg.to_radians() / 2.0).tan();
    let mut rays = Vec::with_capacity(width * height);
    for row in 0..height {
        for column in 0..width {
            let x = (column as f32 + 0.5 - width as f32 / 2.0) / focal;
            let y = (row as f32 + 0.5 - height as f32 / 2.0) / focal;
            let bend = 0.86 + 0.11 * (x * x + y * y);
            let (x, y) = (x * bend, y * bend);
            let length = (x * x + y * y + 1.0).sqrt();
            rays.push([x / length, y / length, 1.0 / length]);
        }
    }
    rays
}

/// The camera's right, down and forward axes as vectors (east, north, up); angles are in radians.
fn camera_axes(heading: f64, pitch: f64, roll: f64) -> [[f32; 3]; 3] {
    let (sin_heading, cos_heading) = heading.sin_cos();
    let (sin_pitch, cos_pitch) = pitch.sin_cos();
    let (sin_roll, cos_roll) = roll.sin_cos();
    let forward = [sin_heading * cos_pitch, cos_heading * cos_pitch, sin_pitch];
    let level_right = [cos_heading, -sin_heading, 0.0];
    let level_up = [-sin_heading * sin_pitch, -cos_heading * sin_pitch, cos_pitch];
    let right = [0, 1, 2].map(|part| level_right[part] * cos_roll - level_up[part] * sin_roll);
    let down = [0, 1, 2].map(|part| -(level_up[part] * cos_roll + level_right[part] * sin_roll));
    [right, down, forward].map(|axis| axis.map(|part| part as f32))
}
