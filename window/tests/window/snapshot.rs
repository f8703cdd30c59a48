//! Compares the window with the images in `tests/snapshots`.
//!
//! `UPDATE_SNAPSHOTS=true cargo test --workspace look` renews the images.

use egui::accesskit::Role;
use egui_kittest::kittest::Queryable as _;
use egui_kittest::{Harness, SnapshotOptions};

/// Asserts that a window looks like its stored image, except for fields whose text differs from run to run,
/// and for a number of pixels that another version of the software renderer may draw differently.
pub fn assert_snapshot<State>(
    window: &mut Harness<'_, State>,
    name: &str,
    fields: &[&str],
    roughness: usize,
) {
    for field in fields {
        let rect = window.get_by_role_and_label(Role::TextInput, field).rect();
        window.mask(rect);
    }
    let options = SnapshotOptions::new().threshold(1.2).max_failed_pixels(roughness);
    window.snapshot_options(name, &options);
}
