//! Reads modules, imports and paths of Rust source code, as far as the import graph needs them.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// One module of the crate.
#[derive(Debug, Default)]
pub struct Module {
    /// Names of the module from the crate's root; empty for the root itself.
    pub path: Vec<String>,
    /// File of the module, relative to the crate's `src/`.
    pub file: String,
    /// Child modules that are not tests.
    pub children: BTreeSet<String>,
    /// Names that `use` imports, with their paths.
    pub imports: BTreeMap<String, Vec<String>>,
    /// Modules whose names `use ...::*` imports.
    pub globs: Vec<Vec<String>>,
    /// All other paths of two names or more.
    pub paths: Vec<Vec<String>>,
}

/// All modules of a crate by path, without those of tests.
pub fn modules(folder: &Path) -> BTreeMap<Vec<String>, Module> {
    let mut found = BTreeMap::new();
    let root = ["lib.rs", "main.rs"].map(|name| folder.join(name)).into_iter().find(|file| file.exists());
    let mut open = vec![(Vec::new(), root.expect("lib.rs or main.rs"))];
    while let Some((path, file)) = open.pop() {
        let text = std::fs::read_to_string(&file).expect("source file");
        let relative = file.strip_prefix(folder).expect("below src").to_string_lossy().replace('\\', "/");
        let mut reader = Reader { tokens: tokens(&text), at: 0, found: Vec::new() };
        reader.module(Module { path, file: relative, ..Module::default() });
        for module in reader.found {
            for child in &module.children {
                let mut path = module.path.clone();
                path.push(child.clone());
                if let Some(file) = file_of(folder, &path) {
                    open.push((path, file));
                }
            }
            found.insert(module.path.clone(), module);
        }
    }
    found
}

fn file_of(folder: &Path, path: &[String]) -> Option<PathBuf> {
    let stem = folder.join(path.join("/"));
    [stem.with_extension("rs"), stem.join("mod.rs")].into_iter().find(|file| file.exists())
}

struct Reader {
    tokens: Vec<String>,
    at: usize,
    found: Vec<Module>,
}

impl Reader {
    fn peek(&self, ahead: usize) -> &str {
        self.tokens.get(self.at + ahead).map_or("", String::as_str)
    }

    /// Reads a module to its end, or to its closing brace.
    fn module(&mut self, mut module: Module) {
        let mut depth = 0_usize;
        while self.at < self.tokens.len() {
            match self.peek(0) {
                "#" if self.is_test() => self.skip_item(),
                "mod" if self.peek(2) == ";" => {
                    module.children.insert(self.peek(1).to_owned());
                    self.at += 3;
                }
                "mod" if self.peek(2) == "{" => {
                    let mut path = module.path.clone();
                    path.push(self.peek(1).to_owned());
                    module.children.insert(self.peek(1).to_owned());
                    self.at += 3;
                    self.module(Module { path, file: module.file.clone(), ..Module::default() });
                }
                "use" => {
                    self.at += 1;
                    self.use_tree(&mut module, Vec::new());
                }
                "{" => {
                    depth += 1;
                    self.at += 1;
                }
                "}" if depth == 0 => {
                    self.at += 1;
                    break;
                }
                "}" => {
                    depth -= 1;
                    self.at += 1;
                }
                _ => self.path(&mut module),
            }
        }
        self.found.push(module);
    }

    /// Reads a path, or skips one token.
    fn path(&mut self, module: &mut Module) {
        let mut path = Vec::new();
        while is_name(self.peek(0)) {
            path.push(self.peek(0).to_owned());
            self.at += 1;
            if self.peek(0) != "::" || !is_name(self.peek(1)) {
                break;
            }
            self.at += 1;
        }
        match path.len() {
            0 => self.at += 1,
            1 => {}
            _ => module.paths.push(path),
        }
    }

    /// Reads what follows `use`, up to the end of that import tree.
    fn use_tree(&mut self, module: &mut Module, mut path: Vec<String>) {
        loop {
            match self.peek(0) {
                "::" => self.at += 1,
                "*" => {
                    self.at += 1;
                    module.globs.push(path);
                    return;
                }
                "{" => {
                    self.at += 1;
                    while !matches!(self.peek(0), "}" | "") {
                        self.use_tree(module, path.clone());
                        if self.peek(0) == "," {
                            self.at += 1;
                        }
                    }
                    self.at += 1;
                    return;
                }
                "as" => {
                    let name = self.peek(1).to_owned();
                    self.at += 2;
                    // `as _` imports a trait without a name; the import still counts.
                    let name = if name == "_" { format!("_{}", path.join("::")) } else { name };
                    module.imports.insert(name, path);
                    return;
                }
                name if is_name(name) => {
                    // `{self}` refers to the module itself.
                    if name != "self" || path.is_empty() {
                        path.push(name.to_owned());
                    }
                    self.at += 1;
                    if !matches!(self.peek(0), "::" | "as") {
                        module.imports.insert(path.last().cloned().unwrap_or_default(), path);
                        return;
                    }
                }
                _ => {
                    self.at += 1;
                    return;
                }
            }
        }
    }

    /// Whether an attribute that starts here is `#[cfg(test)]`.
    fn is_test(&self) -> bool {
        ["#", "[", "cfg", "(", "test", ")", "]"]
            .iter()
            .enumerate()
            .all(|(ahead, token)| self.peek(ahead) == *token)
    }

    /// Skips an item, up to its semicolon or the end of its braces.
    fn skip_item(&mut self) {
        let mut depth = 0_usize;
        while self.at < self.tokens.len() {
            let token = self.peek(0).to_owned();
            self.at += 1;
            match token.as_str() {
                "{" | "(" | "[" => depth += 1,
                ")" | "]" => depth -= 1,
                "}" => {
                    depth -= 1;
                    if depth == 0 {
                        return;
                    }
                }
                ";" if depth == 0 => return,
                _ => {}
            }
        }
    }
}

fn is_name(token: &str) -> bool {
    token.starts_with(|first: char| first.is_alphabetic() || first == '_') && token != "as"
}

/// Names, `::` and single characters, without comments, strings and character literals.
pub fn tokens(text: &str) -> Vec<String> {
    let signs: Vec<char> = text.chars().collect();
    let at = |index: usize| signs.get(index).copied().unwrap_or('\0');
    let mut found = Vec::new();
    let mut index = 0;
    while index < signs.len() {
        let sign = signs[index];
        if sign == '/' && at(index + 1) == '/' {
            while index < signs.len() && signs[index] != '\n' {
                index += 1;
            }
        } else if sign == '/' && at(index + 1) == '*' {
            index += 2;
            while index < signs.len() && !(signs[index] == '*' && at(index + 1) == '/') {
                index += 1;
            }
            index += 2;
        } else if sign == '"' {
            index = end_of_string(&signs, index);
        } else if sign == 'r' && raw_string_hashes(&signs, index + 1).is_some() {
            let hashes = raw_string_hashes(&signs, index + 1).unwrap_or(0);
            let end: Vec<char> = std::iter::once('"').chain(std::iter::repeat_n('#', hashes)).collect();
            index += hashes + 2;
            while index < signs.len() && !signs[index..].starts_with(&end) {
                index += 1;
            }
            index += end.len();
        } else if sign == '\'' {
            // A character literal; otherwise a lifetime, of which only the quote is skipped.
            index = match (at(index + 1), at(index + 2)) {
                ('\\', _) => signs[index + 3..]
                    .iter()
                    .position(|&sign| sign == '\'')
                    .map_or(index + 1, |end| index + 4 + end),
                (_, '\'') => index + 3,
                _ => index + 1,
            };
        } else if sign.is_alphanumeric() || sign == '_' {
            let start = index;
            while at(index).is_alphanumeric() || at(index) == '_' {
                index += 1;
            }
            found.push(signs[start..index].iter().collect());
        } else if sign == ':' && at(index + 1) == ':' {
            found.push("::".to_owned());
            index += 2;
        } else {
            if !sign.is_whitespace() {
                found.push(sign.to_string());
            }
            index += 1;
        }
    }
    found
}

fn end_of_string(signs: &[char], start: usize) -> usize {
    let mut index = start + 1;
    while index < signs.len() && signs[index] != '"' {
        index += if signs[index] == '\\' { 2 } else { 1 };
    }
    index + 1
}

/// Number of hashes between the `r` of a raw string and its quote; `None` if there is no raw string.
fn raw_string_hashes(signs: &[char], start: usize) -> Option<usize> {
    let hashes = signs[start..].iter().take_while(|sign| **sign == '#').count();
    (signs.get(start + hashes) == Some(&'"')).then_some(hashes)
}
