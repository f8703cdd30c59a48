//! Reads the imports of every crate of the workspace and checks that they go in one direction: no circle
//! between files, and no import from a higher layer of `src/`.
//!
//! A name that a `mod.rs` re-exports counts as imported from the file that defines it. Code under
//! `#[cfg(test)]` does not count, and neither does what a file imports from the module it belongs to: a
//! `mod.rs` may define the types that its files share.
#![allow(clippy::expect_used)]

mod graph;
mod source;
mod type_names;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use graph::Graph;

/// Folders and files of `src/`, lowest layer first. Each may import from earlier lines only.
const LAYERS: &[&[&str]] = &[
    &["advice", "files", "geometry", "linux", "neural", "stats", "toml_words", "visible"],
    &["confinement", "model"],
    &["footage", "glyphs", "line_reader"],
    &["setup"],
    &["picture", "recognise", "series"],
    &["detect"],
    &["decipher", "learn", "readings"],
    &["known_camera", "legs", "new_camera"],
    &["air", "airspeed"],
    &["propulsion", "weather"],
    &["flight"],
    &["leg_edits", "summary"],
    &["compare", "plan"],
    &["logbook", "output"],
    &["lib"],
];

#[test]
fn no_file_imports_in_a_circle() {
    let mut found = String::new();
    for source in sources() {
        let graph = Graph::read(&source).without_parents();
        for circle in graph.circles() {
            let within = |(from, to): &(&String, &String)| circle.contains(*from) && circle.contains(*to);
            found += &format!("circle of {} files in {}:\n", circle.len(), source.display());
            graph.edges().filter(within).for_each(|(from, to)| found += &format!("    {from} -> {to}\n"));
        }
    }
    assert!(found.is_empty(), "files import each other:\n{found}");
}

#[test]
fn no_folder_imports_from_a_higher_layer() {
    let graph = Graph::read(&root().join("src"));
    let layers: BTreeMap<&str, usize> = LAYERS
        .iter()
        .enumerate()
        .flat_map(|(layer, names)| names.iter().map(move |name| (*name, layer)))
        .collect();
    let mut wrong = BTreeSet::new();
    for (from, to) in graph.edges() {
        let (importer, imported) = (top(from), top(to));
        if importer == imported {
            continue;
        }
        match (layers.get(importer), layers.get(imported)) {
            (Some(above), Some(below)) if below < above => {}
            (Some(_), Some(_)) => _ = wrong.insert(format!("{from} imports from {to}")),
            (None, _) => _ = wrong.insert(format!("{importer} is in no layer")),
            (_, None) => _ = wrong.insert(format!("{imported} is in no layer")),
        }
    }
    let list: Vec<String> = wrong.into_iter().collect();
    assert!(list.is_empty(), "imports against LAYERS of tests/imports/main.rs:\n{}", list.join("\n"));
}

#[test]
fn imports_are_found_through_re_exports_and_aliases() {
    let folder = root().join("tests/imports/sample");
    let graph = Graph::read(&folder);
    let found: Vec<String> = graph.edges().map(|(from, to)| format!("{from} -> {to}")).collect();
    let expected = [
        "shapes/mod.rs -> shapes/area.rs",
        "shapes/mod.rs -> text.rs",
        "text.rs -> shapes/area.rs",
        "text.rs -> shapes/mod.rs",
    ];
    assert_eq!(found, expected);
    assert_eq!(graph.circles().len(), 1);
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The `src` folders of the workspace's crates.
fn sources() -> Vec<PathBuf> {
    let entries = std::fs::read_dir(root()).expect("the project's folder");
    let mut crates: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
    crates.push(root().to_owned());
    crates.retain(|folder| folder.join("Cargo.toml").exists());
    crates.sort();
    let sources = crates.into_iter().map(|folder| folder.join("src"));
    sources.filter(|source| ["lib.rs", "main.rs"].iter().any(|name| source.join(name).exists())).collect()
}

/// The folder of a file in `src/`; for a file in `src/` itself its name without `.rs`.
fn top(file: &str) -> &str {
    file.split(['/', '.']).next().unwrap_or(file)
}
