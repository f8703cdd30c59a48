//! The import graph of a crate, read from its source.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use crate::source::{self, Module};

/// Imports between the files of a crate: for each file, the files that define what it imports. Paths are
/// relative to the crate's `src/`.
#[derive(Debug, Clone, Default)]
pub struct Graph {
    imports: BTreeMap<String, BTreeSet<String>>,
}

/// What a path in the source code refers to.
enum Target<'a> {
    Module(&'a [String]),
    /// An item, given by the module that defines it.
    Item(&'a [String]),
}

impl Graph {
    /// Reads all modules of a crate, starting with `lib.rs` or `main.rs` in its folder.
    pub fn read(folder: &Path) -> Self {
        let modules = source::modules(folder);
        let mut graph = Self::default();
        for module in modules.values() {
            let imports = graph.imports.entry(module.file.clone()).or_default();
            for path in module.imports.values().chain(&module.globs).chain(&module.paths) {
                if let Some(Target::Item(owner)) = resolve(&modules, module, path, 0) {
                    imports.insert(modules[owner].file.clone());
                }
            }
            imports.remove(&module.file);
        }
        graph
    }

    /// All imports, as pairs of importing and imported file.
    pub fn edges(&self) -> impl Iterator<Item = (&String, &String)> {
        self.imports.iter().flat_map(|(from, all)| all.iter().map(move |to| (from, to)))
    }

    /// The graph without imports from the module that a file belongs to.
    pub fn without_parents(&self) -> Self {
        let mut graph = self.clone();
        for (from, all) in &mut graph.imports {
            let stem = from.strip_suffix("/mod.rs").unwrap_or(from);
            match stem.rsplit_once('/') {
                Some((folder, _)) => _ = all.remove(&format!("{folder}/mod.rs")),
                None => all.retain(|file| !["lib.rs", "main.rs"].contains(&file.as_str())),
            }
        }
        graph
    }

    /// Sets of files that all import each other, directly or through other files of the set.
    pub fn circles(&self) -> Vec<BTreeSet<String>> {
        let reached: BTreeMap<&String, BTreeSet<&String>> =
            self.imports.keys().map(|file| (file, self.reached_from(file))).collect();
        let mut circles: Vec<BTreeSet<String>> = Vec::new();
        for (file, from_here) in &reached {
            if from_here.contains(file) && !circles.iter().any(|circle| circle.contains(*file)) {
                let back = from_here.iter().filter(|other| reached[**other].contains(file));
                circles.push(back.map(|other| (*other).clone()).collect());
            }
        }
        circles
    }

    fn reached_from(&self, file: &String) -> BTreeSet<&String> {
        let mut found = BTreeSet::new();
        let mut open: Vec<&String> = self.imports[file].iter().collect();
        while let Some(next) = open.pop() {
            if found.insert(next) {
                open.extend(self.imports.get(next).into_iter().flatten());
            }
        }
        found
    }
}

/// Follows a path from a module through child modules and re-exports; `None` if it leads to another crate.
fn resolve<'a>(
    modules: &'a BTreeMap<Vec<String>, Module>,
    from: &'a Module,
    path: &[String],
    depth: usize,
) -> Option<Target<'a>> {
    const MAX_REEXPORTS: usize = 12;
    let (first, mut rest) = path.split_first()?;
    let mut here = match first.as_str() {
        "crate" => modules.get(&Vec::new())?,
        "self" => from,
        "super" => modules.get(from.path.split_last()?.1)?,
        _ if from.children.contains(first) || from.imports.contains_key(first) => {
            rest = path;
            from
        }
        _ => return None,
    };
    while let Some((name, after)) = rest.split_first() {
        if name == "super" {
            here = modules.get(here.path.split_last()?.1)?;
        } else if here.children.contains(name) {
            let mut child = here.path.clone();
            child.push(name.clone());
            here = modules.get(&child)?;
        } else if let Some(import) = here.imports.get(name).filter(|import| *import != path) {
            if depth > MAX_REEXPORTS {
                return None;
            }
            match resolve(modules, here, import, depth + 1)? {
                Target::Module(module) => here = &modules[module],
                item @ Target::Item(_) => return Some(item),
            }
        } else {
            return Some(Target::Item(&here.path));
        }
        rest = after;
    }
    Some(Target::Module(&here.path))
}
