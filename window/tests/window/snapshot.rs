//! Windows held to the pictures kept of them in `tests/snapshots`.
//!
//! `UPDATE_SNAPSHOTS=true cargo test --workspace look` renews the pictures.

use egui::accesskit::Role;
use egui_kittest::kittest::Queryable as _;
use egui_kittest::{Harness, SnapshotOptions};

/// A window looks as the picture kept of it, but for fields whose text differs from run to run and for so many pixels
/// that another version of the software renderer may draw otherwise.
pub fn assert_snapshot<State>(
    window: &mut Harness<'_, State>,
    name: &str,
    fields: &[&str],
    roughness: usize,
) {
    for field in fields {
        let place = window.get_by_role_and_label(Role::TextInput, field).rect();
        window.mask(place);
    }
    let options = SnapshotOptions::new().threshold(1.2).max_failed_pixels(roughness);
    window.snapshot_options(name, &options);
}
