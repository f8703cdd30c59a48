//! The actions of the pilot on the legs. Each part of the page adds its actions to a list, which the screen then
//! executes.

use pairspeed::leg_edits::LegEdit;
use pairspeed::model::channel::Channel;
use pairspeed::output::ResultFile;

/// One action of the pilot.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum LegAction {
    /// Select a leg, by its number from 1.
    Select(usize),
    /// Show the effect of an edit without making it.
    Try(LegEdit),
    /// Make an edit.
    Make(LegEdit),
    /// Undo the last edit.
    Undo,
    /// Redo the edit that was undone last.
    Redo,
    /// Continue with the edits of an earlier session.
    AcceptOffer,
    /// Discard the edits of an earlier session and start from the legs found.
    DiscardOffer,
    /// Show a frame, by its index in the series. If the pilot clicked a channel's reading, that channel is
    /// shown first.
    ShowFrame(usize, Option<Channel>),
    /// Show the interval of time from the first to the second value, in seconds of flight time.
    View(f64, f64),
    /// Save one of the result files.
    Save(ResultFile),
    /// Save all result files.
    SaveAll,
    /// Open the result folder.
    OpenFolder,
}
