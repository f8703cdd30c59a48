//! Tests that the files and folders named in the documents exist.
#![allow(clippy::unwrap_used, missing_docs)]

use std::path::Path;

const DOCUMENTS: [&str; 7] = [
    "README.md",
    "DEVELOPERS.md",
    "docs/design.md",
    "docs/method.md",
    "docs/benchmarks.md",
    "docs/glossary.md",
    "docs/reliability.md",
];

/// Folders whose files are named by their path in the documents.
const FOLDERS: [&str; 11] = [
    "benches",
    "docs",
    "examples",
    "fixtures",
    "generator",
    "mjpeg-regions",
    "program",
    "scripts",
    "src",
    "tests",
    "window",
];

#[test]
fn files_named_in_the_documents_exist() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut missing = Vec::new();
    for document in DOCUMENTS {
        let text = std::fs::read_to_string(root.join(document)).unwrap();
        for quoted in text.split('`').skip(1).step_by(2) {
            let is_path = quoted.split_once('/').is_some_and(|(folder, _)| FOLDERS.contains(&folder));
            if is_path && !quoted.contains(char::is_whitespace) && !root.join(quoted).exists() {
                missing.push(format!("{document}: {quoted}"));
            }
        }
    }
    assert!(missing.is_empty(), "named and missing: {missing:#?}");
}
