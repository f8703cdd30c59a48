//! Features: the high-pass filtered pixels of a region, which are compared with templates. A [`window`] is
//! cut out of the frame and filtered. [`cells`] cuts rectangles out of the result. A [`sample`] holds the
//! pixels of all regions and their surroundings, from frames spread over the recording.

mod blur;
pub mod cells;
pub mod energy_profile;
pub mod high_pass;
pub mod sample;
pub mod scratch;
pub mod window;

pub(super) use blur::blurred_across;
