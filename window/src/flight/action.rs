//! What the pilot can do with the legs: drawn parts collect acts, the screen carries them out.

use pairspeed::leg_edits::LegEdit;
use pairspeed::model::channel::Channel;
use pairspeed::output::ResultFile;

/// One thing done.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum LegAction {
    /// Choose a leg, by its number from 1.
    Choose(usize),
    /// Show what an edit would do.
    Try(LegEdit),
    /// Make an edit.
    Make(LegEdit),
    /// Take the last edit back.
    Undo,
    /// Make it again.
    Redo,
    /// Take up the edits of an earlier day.
    TakeOffer,
    /// Leave them and start from the legs found.
    LeaveOffer,
    /// Show a frame, by its position in the series; the readout that was pointed at comes first.
    ShowFrame(usize, Option<Channel>),
    /// Show another stretch of time, in seconds.
    View(f64, f64),
    /// Save one of the result files.
    Save(ResultFile),
    /// Save all of them.
    SaveAll,
    /// Open the folder of results.
    OpenFolder,
}
