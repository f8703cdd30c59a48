//! Makes demonstration and test clips with known truth.
//!
//! The flight of a [`Scenario`] is simulated ([`simulate`]), its values are written over moving scenery, the
//! image is degraded as on its way to the recorder, and the program ffmpeg encodes it ([`make_clip`]). Beside
//! each clip the true airspeeds, the exact text of every frame and a camera setup are written.
//! [`FrameSource`] makes the same frames without encoding, [`text_picture`] a single line of text,
//! [`write_templates`] the drawn glyph sets. All random numbers are derived from the scenario's seed.
//!
//! Constants of this crate without a stated origin were set by judgement, so that scenery, motion and signal look like those of
//! recordings.

mod clip;
mod drawing;
mod error;
mod files;
mod flight;
mod frame;
mod overlay;
mod random;
pub mod scenario;
mod scenery;
mod signal;
mod still;
mod templates;

pub use clip::{ClipPaths, FrameSource, RecordedFrame, Recording, RenderedFrame, make_clip};
pub use drawing::{DrawnSet, Glyph, Icon};
pub use error::Error;
pub use flight::{Fix, GustStrength, Leg, Sample, Step, Truth, simulate};
pub use frame::{Frame, Rows};
pub use overlay::{Face, FaceChoice};
pub use scenario::Scenario;
pub use still::{Backdrop, text_picture};
pub use templates::write_templates;
