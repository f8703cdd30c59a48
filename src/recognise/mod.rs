//! Recognition: reads the text of one region in one frame, with the probability that it is right, or finds
//! that there is none.
//!
//! [`Recogniser::calibrate`] finds each region's face and position in a [`Sample`] of the recording and
//! trains its templates; [`Recogniser::read`] then reads frames. The modules, from the bottom up; none
//! imports from a later one:
//!
//! 1. [`text`]: the texts that a region may show, and their position in the region's window;
//! 2. [`features`]: the pixels of a region, high-pass filtered;
//! 3. [`templates`]: the glyphs of a face as features;
//! 4. [`score`]: how well a character fits the features in a cell;
//! 5. [`decode`]: the text that fits a region best;
//! 6. `registration`: the face, size and position of each region's text;
//! 7. `training`: self-training of the templates and the noise on the sample;
//! 8. [`observation`]: candidate texts with their likelihoods, and the reading of a single frame;
//! 9. `recogniser`: calibration and the reading of frames, with all modules above.

pub mod decode;
pub mod features;
pub mod observation;
mod recogniser;
mod region_cache;
mod registration;
pub mod score;
pub mod templates;
pub mod text;
mod training;

pub(crate) use features::cells::{correlation, dot, features_at};
pub use features::energy_profile;
pub use features::high_pass::HighPass;
pub use features::sample::{Patch, Sample};
pub use features::window::{MARGIN_PX, Window, working_factor};
pub use observation::{Candidate, MAX_DEFICIT, Observation, RegionReading, TextLegibility};
pub use recogniser::Recogniser;
pub(crate) use recogniser::{CharacterPosition, PatchAssessment};
pub use region_cache::RegionCache;
pub(crate) use score::background::{Background, BackgroundEstimate, CONTRAST_LIMITS, PlacedTemplate};
pub(crate) use score::matcher::correlate;
pub use score::matcher::correlations;
pub(crate) use score::shape_prior::ShapePrior;
pub use text::grammar::is_separator;
pub use text::placement::Anchor;
