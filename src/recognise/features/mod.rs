//! Features: the pixels of a region in the form in which templates are compared with them. A [`window`] is
//! cut out of the frame and high-pass filtered; [`patches`] cuts rectangular parts out of the result, and a
//! [`sample`] holds the surroundings of all regions in some frames.

mod blur;
pub mod cells;
pub mod energy_profile;
pub mod high_pass;
pub mod sample;
pub mod scratch;
pub mod window;

pub(super) use blur::blurred_across;
