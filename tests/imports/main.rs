//! Reads the imports of every crate of the workspace and holds them to one direction: no circle between files, and no
//! import from a higher layer of `src/`.
//!
//! A name that a `mod.rs` re-exports counts as imported from the file that defines it. Code under `#[cfg(test)]` does not
//! count, nor does what a file takes from the module it lies in: a `mod.rs` may define the types that its files share.
//!
//! `cargo test --test imports -- --nocapture` prints the circles that are left.
#![allow(clippy::expect_used)]

mod graph;
mod source;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use graph::Graph;

/// Folders and files of `src/`, lowest layer first. Each may import from earlier lines only.
const LAYERS: &[&[&str]] = &[
    &["advice", "files", "geometry", "memory", "quoting", "stats", "toml_words"],
    &["model"],
    &["footage", "glyphs"],
    &["setup"],
    &["detect", "picture", "recognise", "series"],
    &["learn", "readings"],
    &["legs"],
    &["air", "airspeed"],
    &["propulsion", "weather"],
    &["flight"],
    &["leg_edits", "summary"],
    &["compare", "plan"],
    &["logbook", "output"],
    &["lib"],
];

/// Imports against the layers that are still to be removed: folder, imported folder.
const KNOWN_UPWARD: &[(&str, &str)] = &[];

/// Folders with a circle that is still to be removed. Take a folder off once `--nocapture` prints none for it.
const KNOWN_CIRCLES: &[&str] = &["src/footage", "src/output", "window/src"];

#[test]
fn no_file_imports_in_a_circle() {
    let mut new = Vec::new();
    let mut seen = BTreeSet::new();
    for source in sources() {
        let graph = Graph::read(&source).without_parents();
        for circle in graph.circles() {
            let folders: BTreeSet<String> = circle.iter().map(|file| folder_of(&source, file)).collect();
            println!("circle of {} files:", circle.len());
            for (from, to) in graph.edges().filter(|edge| circle.contains(edge.0) && circle.contains(edge.1))
            {
                println!("    {from} -> {to}");
            }
            if !folders.iter().all(|folder| KNOWN_CIRCLES.contains(&folder.as_str())) {
                new.push((source.clone(), circle));
            }
            seen.extend(folders);
        }
    }
    for folder in KNOWN_CIRCLES.iter().filter(|folder| !seen.contains(**folder)) {
        println!("{folder} has no circle any more: take it off KNOWN_CIRCLES");
    }
    assert!(new.is_empty(), "files import each other in a circle: {new:#?}");
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
        if importer == imported || KNOWN_UPWARD.contains(&(importer, imported)) {
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

/// The folder of a file, from the project's folder on: in the library one below `src`, in other crates their `src`.
fn folder_of(source: &Path, file: &str) -> String {
    let source = source.strip_prefix(root()).unwrap_or(source);
    let folder = if source == Path::new("src") { source.join(top(file)) } else { source.to_owned() };
    folder.to_string_lossy().replace('\\', "/")
}

/// The folder of a file in `src/`; for a file in `src/` itself its name without `.rs`.
fn top(file: &str) -> &str {
    file.split(['/', '.']).next().unwrap_or(file)
}
