//! Tests that type names are unique across the library, the program and the window.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::{root, source};

/// The `src` folders whose types share one set of names.
const FOLDERS: [&str; 3] = ["src", "program/src", "window/src"];

#[test]
fn no_type_name_is_defined_twice() {
    let mut files = Vec::new();
    FOLDERS.iter().for_each(|folder| add_sources(&root().join(folder), &mut files));
    let mut definitions: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for file in files {
        let text = std::fs::read_to_string(&file).expect("source file");
        let relative = file.strip_prefix(root()).unwrap_or(&file).display().to_string();
        for name in type_names(&text) {
            definitions.entry(name).or_default().push(relative.clone());
        }
    }
    assert!(definitions.len() > 100, "only {} types found", definitions.len());
    definitions.retain(|_, files| files.len() > 1);
    assert!(definitions.is_empty(), "type names that are defined more than once: {definitions:#?}");
}

#[test]
fn structs_enums_and_traits_are_found_wherever_they_are_defined() {
    let text = "pub struct Leg(u32); fn f() { enum Kind { A } } // struct Comment\n
                mod inner { pub(crate) trait Source { type Item; } } const S: &str = \"struct Text;\";";
    assert_eq!(type_names(text), ["Leg", "Kind", "Source"]);
}

/// Adds the source files of a folder and the folders in it.
fn add_sources(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("source folder").flatten() {
        let path = entry.path();
        if path.is_dir() {
            add_sources(&path, files);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
}

/// The structs, enums and traits that a file defines.
fn type_names(text: &str) -> Vec<String> {
    let tokens = source::tokens(text);
    let defined = tokens.windows(2).filter(|pair| matches!(pair[0].as_str(), "struct" | "enum" | "trait"));
    defined.map(|pair| pair[1].clone()).collect()
}
