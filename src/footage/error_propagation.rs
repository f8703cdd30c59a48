//! Determines which frames may be wrong after damage in the file.
//!
//! In a video whose frames are predicted from each other, damage spreads until the next key frame. When a packet is
//! damaged, the decoder may still hold frames that were sent before it. A key frame among them does not end the
//! damage.

/// Maximum number of frames over which damage spreads if no key frame ends it. Some encoders send no key frames and
/// refresh the picture part by part; they need fewer frames for the whole picture (common practice, no source).
const MAX_SPREAD_FRAMES: u32 = 300;

/// Follows how far damage spreads through the frames of a clip.
#[derive(Debug, Clone)]
pub(super) struct ErrorPropagation {
    intra_only: bool,
    last: Option<Damage>,
}

#[derive(Debug, Clone, Copy)]
struct Damage {
    /// The damaged frame is one of this many frames after the error.
    in_flight: u32,
    frames_since: u32,
}

impl ErrorPropagation {
    /// Starts without damage. `intra_only` tells whether the codec codes every frame without reference to other
    /// frames.
    pub(super) fn new(intra_only: bool) -> Self {
        Self { intra_only, last: None }
    }

    /// Notes that part of a packet is missing. The packet's frame is one of the next `in_flight` frames.
    pub(super) fn packet_incomplete(&mut self, in_flight: u32) {
        self.last = Some(Damage { in_flight, frames_since: 0 });
    }

    /// Notes that a packet gave no frame. The frame would have been one of the next `in_flight` frames.
    pub(super) fn packet_lost(&mut self, in_flight: u32) {
        if !self.intra_only {
            self.packet_incomplete(in_flight);
        }
    }

    /// Discards all damage, because frames from another position follow.
    pub(super) fn reset(&mut self) {
        self.last = None;
    }

    /// Whether the next frame in presentation order may be wrong; called once for each frame, in order. `errors`
    /// tells whether the decoder reported errors in the frame, `is_key` whether it is a key frame.
    pub(super) fn is_damaged(&mut self, errors: bool, is_key: bool) -> bool {
        if errors && !self.intra_only {
            self.last = Some(Damage { in_flight: 1, frames_since: 0 });
        }
        let Some(Damage { in_flight, frames_since }) = self.last else { return errors };
        let is_over =
            frames_since >= in_flight && (self.intra_only || is_key || frames_since >= MAX_SPREAD_FRAMES);
        let ends = is_over && !errors;
        self.last = (!ends).then_some(Damage { in_flight, frames_since: frames_since.saturating_add(1) });
        !ends
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn damage_lasts_until_the_next_key_frame() {
        let mut propagation = ErrorPropagation::new(false);
        assert!(!propagation.is_damaged(false, true));
        propagation.packet_lost(1);
        assert!(propagation.is_damaged(false, false));
        assert!(propagation.is_damaged(false, false));
        assert!(!propagation.is_damaged(false, true));
        assert!(!propagation.is_damaged(false, false));
        assert!(propagation.is_damaged(true, true));
        assert!(propagation.is_damaged(false, false));
        assert!(!propagation.is_damaged(false, true));
    }

    #[test]
    fn a_key_frame_decoded_before_the_damage_does_not_end_it() {
        let mut propagation = ErrorPropagation::new(false);
        propagation.packet_incomplete(3);
        let keys = [true, false, true, false, true, false];
        let damaged = keys.map(|key| propagation.is_damaged(false, key));
        assert_eq!(damaged, [true, true, true, true, false, false]);
    }

    #[test]
    fn damage_without_a_key_frame_ends_after_a_refresh_cycle() {
        let mut propagation = ErrorPropagation::new(false);
        propagation.packet_lost(2);
        let damaged = (0..1000).filter(|_| propagation.is_damaged(false, false)).count();
        assert_eq!(damaged, MAX_SPREAD_FRAMES as usize);
    }

    #[test]
    fn intra_only_frames_suffer_only_from_their_own_damage() {
        let mut propagation = ErrorPropagation::new(true);
        propagation.packet_lost(1);
        assert!(!propagation.is_damaged(false, true));
        propagation.packet_incomplete(1);
        assert!(propagation.is_damaged(false, true));
        assert!(!propagation.is_damaged(false, true));
        assert!(propagation.is_damaged(true, true));
        assert!(!propagation.is_damaged(false, true));
    }
}
