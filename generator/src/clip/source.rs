//! Makes the frames of a clip. Each frame is computed from its number and time alone.

use rayon::prelude::*;

use crate::error::Error;
use crate::flight::{Sample, Truth, simulate};
use crate::frame::{Frame, Rows};
use crate::overlay::{Layout, OverlayTexts};
use crate::random::slow_wave;
use crate::scenario::{Scenario, SignalLoss, SignalLossKind};
use crate::scenery::Scenery;
use crate::signal::VideoLink;

use super::schedule::{RecordedFrame, Recording, recordings};

/// A finished frame and the texts it shows.
#[derive(Debug, Clone)]
pub struct RenderedFrame {
    /// The image.
    pub frame: Frame,
    /// The text of each field, in the scenario's order. If the two fields of an interlaced frame differ, both texts are
    /// joined with `|`. While the signal is lost, all texts are empty, unless the last frame is repeated.
    pub texts: Vec<String>,
}

/// Makes the frames of a scenario, without encoding them.
#[derive(Debug)]
pub struct FrameSource {
    scenario: Scenario,
    truth: Truth,
    recordings: Vec<Recording>,
    pub(super) layout: Layout,
    overlay_texts: OverlayTexts,
    scenery: Scenery,
    link: VideoLink,
}

impl FrameSource {
    /// Simulates the flight of a scenario, and prepares fonts, scenery and degradation.
    ///
    /// # Errors
    ///
    /// [`Error::Font`] for a font that cannot be used, [`Error::Film`] for a background film that cannot be
    /// decoded.
    pub fn new(scenario: &Scenario) -> Result<Self, Error> {
        let truth = simulate(scenario);
        Ok(Self {
            layout: Layout::new(&scenario.overlay)?,
            overlay_texts: OverlayTexts::new(scenario, &truth),
            scenery: Scenery::new(scenario)?,
            link: VideoLink::new(scenario, truth.length_s()),
            recordings: recordings(scenario, truth.length_s()),
            scenario: scenario.clone(),
            truth,
        })
    }

    /// The scenario.
    #[must_use]
    pub fn scenario(&self) -> &Scenario {
        &self.scenario
    }

    /// The simulated flight.
    #[must_use]
    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    /// The files of the recording and their frames.
    #[must_use]
    pub fn recordings(&self) -> &[Recording] {
        &self.recordings
    }

    /// Makes one frame.
    #[must_use]
    pub fn frame(&self, shot: &RecordedFrame) -> RenderedFrame {
        let video = &self.scenario.video;
        match self.lost_at(shot.flight_s) {
            Some(lost) if lost.look == SignalLossKind::Frozen => {
                let (numerator, denominator) = video.frame_rate.fraction().unwrap_or((30, 1));
                let rate = f64::from(numerator) / f64::from(denominator);
                let back = ((shot.flight_s - lost.start_s) * rate - 1e-6).ceil().max(0.0) as u64;
                self.degraded_frame(shot.number.saturating_sub(back), lost.start_s)
            }
            Some(lost) => self.link.lost(lost.look, video.width, video.height, shot.number).map_or_else(
                || self.degraded_frame(shot.number, shot.flight_s),
                |frame| RenderedFrame { frame, texts: vec![String::new(); self.layout.fields.len()] },
            ),
            None => self.degraded_frame(shot.number, shot.flight_s),
        }
    }

    /// The camera image without text.
    pub(super) fn scenery(&self, shot: &RecordedFrame) -> Frame {
        self.background(shot.flight_s)
    }

    /// Draws the given texts, one for each field of the overlay, over the given scenery, and degrades the frame.
    pub(super) fn with_texts(&self, scenery: &Frame, shot: &RecordedFrame, texts: &[String]) -> Frame {
        let mut frame = scenery.clone();
        self.layout.paint(&mut frame, texts, self.overlay_shift(shot.flight_s), Rows::All);
        self.link.degrade(&mut frame, shot.number, shot.flight_s);
        frame
    }

    /// Makes several frames on all processor cores, in order.
    #[must_use]
    pub fn frames(&self, shots: &[RecordedFrame]) -> Vec<RenderedFrame> {
        shots.par_iter().map(|shot| self.frame(shot)).collect()
    }

    fn lost_at(&self, flight_s: f64) -> Option<&SignalLoss> {
        let lost = &self.scenario.degradation.signal_loss;
        lost.iter().find(|lost| (lost.start_s..lost.start_s + lost.length_s).contains(&flight_s))
    }

    /// The frame at a time of the flight in seconds, with scenery and text, degraded as by the video link. `number`
    /// selects the noise.
    fn degraded_frame(&self, number: u64, flight_s: f64) -> RenderedFrame {
        let mut frame = self.background(flight_s);
        let texts = self.paint(&mut frame, flight_s);
        self.link.degrade(&mut frame, number, flight_s);
        RenderedFrame { frame, texts }
    }

    fn background(&self, flight_s: f64) -> Frame {
        let video = &self.scenario.video;
        let render = |time_s: f64| {
            let sample: Option<Sample> = self.truth.sample_at(time_s).copied();
            sample.map_or_else(
                || Frame::plain(video.width, video.height, 90, 128, 128),
                |sample| self.scenery.render(&sample),
            )
        };
        let mut frame = render(flight_s);
        if self.scenario.degradation.interlaced {
            weave(&mut frame, &render(flight_s + self.field_s()));
        }
        frame
    }

    /// Time between the two fields of an interlaced frame, in seconds.
    fn field_s(&self) -> f64 {
        let (numerator, denominator) = self.scenario.video.frame_rate.fraction().unwrap_or((30, 1));
        0.5 * f64::from(denominator) / f64::from(numerator)
    }

    /// Drift of the overlay at a time of the flight in seconds: pixels to the right and down.
    fn overlay_shift(&self, flight_s: f64) -> [f32; 2] {
        let reach = f64::from(self.scenario.degradation.overlay_drift_px);
        [21, 22].map(|kind| (reach * slow_wave(kind, flight_s * 0.25)) as f32)
    }

    fn paint(&self, frame: &mut Frame, flight_s: f64) -> Vec<String> {
        let shift = self.overlay_shift(flight_s);
        let first = self.overlay_texts.at(flight_s);
        if !self.scenario.degradation.interlaced {
            self.layout.paint(frame, first, shift, Rows::All);
            return first.to_vec();
        }
        let second = self.overlay_texts.at(flight_s + self.field_s());
        self.layout.paint(frame, first, shift, Rows::Even);
        self.layout.paint(frame, second, shift, Rows::Odd);
        let joined = |(first, second): (&String, &String)| {
            if first == second { first.clone() } else { format!("{first}|{second}") }
        };
        first.iter().zip(second).map(joined).collect()
    }
}

/// Replaces the odd rows with those of a second frame.
fn weave(frame: &mut Frame, second: &Frame) {
    let (width, height) = (frame.width, frame.height);
    for (plane, other, width) in [
        (&mut frame.luma, &second.luma, width),
        (&mut frame.blue, &second.blue, width / 2),
        (&mut frame.red, &second.red, width / 2),
    ] {
        for row in (1..height).step_by(2) {
            plane[row * width..(row + 1) * width].copy_from_slice(&other[row * width..(row + 1) * width]);
        }
    }
}
