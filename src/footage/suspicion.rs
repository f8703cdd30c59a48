//! Which pictures may be wrong after damage in the file.
//!
//! Where pictures are predicted from each other, damage lasts until the next key frame. Pictures decoded
//! before it may still be waiting for their turn, so the first few key frames after it do not end it.

/// Damage is taken to last at most this many frames where no key frame ends it: a cycle of gradual refresh is
/// shorter.
const LONGEST: u32 = 300;

/// Keeps count of how long damage lasts.
#[derive(Debug, Clone)]
pub(super) struct Suspicion {
    intra_only: bool,
    last: Option<Damage>,
}

#[derive(Debug, Clone, Copy)]
struct Damage {
    /// Pictures that may come before the first damaged one, and this one itself.
    in_flight: u32,
    pictures_since: u32,
}

impl Suspicion {
    /// For a codec whose pictures stand alone (`intra_only`) or not.
    pub(super) fn new(intra_only: bool) -> Self {
        Self { intra_only, last: None }
    }

    /// A packet goes to the decoder of which a part is known to be missing; its picture is one of the next
    /// `in_flight`.
    pub(super) fn packet_incomplete(&mut self, in_flight: u32) {
        self.last = Some(Damage { in_flight, pictures_since: 0 });
    }

    /// A packet gave no picture; it would have been one of the next `in_flight`.
    pub(super) fn packet_lost(&mut self, in_flight: u32) {
        if !self.intra_only {
            self.packet_incomplete(in_flight);
        }
    }

    /// Frames from another place follow.
    pub(super) fn forget(&mut self) {
        self.last = None;
    }

    /// Whether the picture now given may be wrong; `errors`: the decoder says so itself.
    pub(super) fn judge(&mut self, errors: bool, is_key: bool) -> bool {
        if errors && !self.intra_only {
            self.last = Some(Damage { in_flight: 1, pictures_since: 0 });
        }
        let Some(Damage { in_flight, pictures_since }) = self.last else { return errors };
        let is_over = pictures_since >= in_flight && (self.intra_only || is_key || pictures_since >= LONGEST);
        let ends = is_over && !errors;
        self.last = (!ends).then_some(Damage { in_flight, pictures_since: pictures_since.saturating_add(1) });
        !ends
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn damage_lasts_until_the_key_frame_after_it() {
        let mut suspicion = Suspicion::new(false);
        assert!(!suspicion.judge(false, true));
        suspicion.packet_lost(1);
        assert!(suspicion.judge(false, false));
        assert!(suspicion.judge(false, false));
        assert!(!suspicion.judge(false, true));
        assert!(!suspicion.judge(false, false));
        assert!(suspicion.judge(true, true));
        assert!(suspicion.judge(false, false));
        assert!(!suspicion.judge(false, true));
    }

    #[test]
    fn a_key_frame_decoded_before_the_damage_does_not_end_it() {
        let mut suspicion = Suspicion::new(false);
        suspicion.packet_incomplete(3);
        let keys = [true, false, true, false, true, false];
        assert_eq!(keys.map(|key| suspicion.judge(false, key)), [true, true, true, true, false, false]);
    }

    #[test]
    fn damage_without_a_key_frame_ends_after_a_refresh_cycle() {
        let mut suspicion = Suspicion::new(false);
        suspicion.packet_lost(2);
        let damaged = (0..1000).filter(|_| suspicion.judge(false, false)).count();
        assert_eq!(damaged, LONGEST as usize);
    }

    #[test]
    fn pictures_that_stand_alone_suffer_only_their_own_damage() {
        let mut suspicion = Suspicion::new(true);
        suspicion.packet_lost(1);
        assert!(!suspicion.judge(false, true));
        suspicion.packet_incomplete(1);
        assert!(suspicion.judge(false, true));
        assert!(!suspicion.judge(false, true));
        assert!(suspicion.judge(true, true));
        assert!(!suspicion.judge(false, true));
    }
}
