//! Tests the page of the legs in the window, with keys, mouse and labels as a pilot uses them.
#![allow(clippy::unwrap_used, missing_docs)]

mod beside;
#[path = "../../../tests/common/mod.rs"]
mod common;
mod driving;
mod edits;
mod names;
mod pictures;
mod plots;
#[path = "../window/snapshot.rs"]
mod snapshot;
mod unread;
#[path = "../window/wake.rs"]
mod wake;
