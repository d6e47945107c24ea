//! In: the sources of a package. Out: where a module names a later one, and circles of modules.
//!
//! A file lists its modules in the order in which data flows, and a module names only earlier ones beside it.
//! Paths are followed as the compiler follows them: `crate`, `self`, `super`, groups in braces, names that a
//! module passes on with `use`. A module may name what the file above it defines, but not take that file as a whole: by
//! `use super::*`, or under another name. Names that only a macro makes, and modules inside a file, are not seen.

pub mod code;
pub mod paths;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use self::code::without_tests;
use self::paths::{Named, Names};

/// Files of a package by path from the root of the repository.
#[derive(Clone, Debug, Default)]
pub struct Sources(BTreeMap<String, String>);

impl Sources {
    /// Sources given as path and text.
    pub fn new(files: &[(&str, &str)]) -> Sources {
        Sources(files.iter().map(|(path, text)| ((*path).to_owned(), (*text).to_owned())).collect())
    }

    /// All `.rs` files of a folder below `root`.
    pub fn read(root: &Path, folder: &str) -> Sources {
        let mut sources = Sources::default();
        let mut folders = vec![folder.to_owned()];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(root.join(&folder)).expect("a folder of sources") {
                let path = entry.expect("an entry").path();
                let name = format!("{folder}/{}", path.file_name().expect("a name").to_string_lossy());
                if path.is_dir() {
                    folders.push(name);
                } else if name.ends_with(".rs") {
                    let text = std::fs::read_to_string(&path).expect("sources are UTF-8");
                    sources.0.insert(name, text);
                }
            }
        }
        sources
    }

    /// The same with a line put on top of the code of one file.
    pub fn with_line(mut self, path: &str, line: &str) -> Sources {
        let text = self.0.get_mut(path).unwrap_or_else(|| panic!("no file {path}"));
        *text = format!("{line}\n{text}");
        self
    }
}

/// A module: its file, the modules it lists and what it names.
struct Module {
    file: String,
    children: Vec<String>,
    names: Names,
}

/// All modules of a crate by path; the crate itself has the empty one.
pub struct Modules(BTreeMap<Vec<String>, Module>);

impl Modules {
    /// Follows the `mod` lines from the root file of a crate; modules of tests are omitted.
    pub fn new(sources: &Sources, root: &str) -> Modules {
        let mut modules = BTreeMap::new();
        let mut open = vec![(Vec::<String>::new(), root.to_owned())];
        while let Some((path, file)) = open.pop() {
            let text = sources.0.get(&file).unwrap_or_else(|| panic!("{file} is missing"));
            let names = Names::new(&without_tests(text));
            let children: Vec<String> = names.modules.clone();
            for child in &children {
                let path: Vec<String> = path.iter().chain([child]).cloned().collect();
                open.push((path, file_of(sources, &file, child)));
            }
            modules.insert(path, Module { file, children, names });
        }
        Modules(modules)
    }

    /// Folders whose modules are checked against each other: the name of the folder and its modules in order.
    pub fn folders(&self) -> Vec<(String, &[String])> {
        let with_children = self.0.iter().filter(|(_, module)| !module.children.is_empty());
        with_children.map(|(path, module)| (path.join("::"), module.children.as_slice())).collect()
    }

    /// Every naming of a later module, and every circle.
    pub fn violations(&self) -> Vec<String> {
        let edges = self.edges();
        let later = edges.iter().filter(|edge| self.place(edge, &edge.to) > self.place(edge, &edge.from));
        let mut found: Vec<String> = later
            .map(|edge| format!("{}: `{}` names the later `{}`", edge.file, edge.from, edge.to))
            .collect();
        let folders: BTreeSet<&[String]> = edges.iter().map(|edge| edge.folder).collect();
        for folder in folders {
            let pairs = edges.iter().filter(|edge| edge.folder == folder);
            let circle = circle(pairs.map(|edge| (edge.from.as_str(), edge.to.as_str())).collect());
            if !circle.is_empty() {
                found.push(format!("circle in `{}`: {}", folder.join("::"), circle.join(", ")));
            }
        }
        found.extend(self.whole_folders());
        found
    }

    /// Every `use` of a module above as a whole, by a glob or under another name: it would hide what is named.
    fn whole_folders(&self) -> Vec<String> {
        let mut found = vec![];
        for (path, module) in &self.0 {
            for used in &module.names.uses {
                let Some(target) = self.resolve(path, &used.path, 0) else { continue };
                let is_above = target.len() < path.len() && path.starts_with(&target);
                let is_renamed = used.path.last() == target.last() && Some(&used.name) != target.last();
                if is_above && (used.name == "*" || is_renamed) {
                    found.push(format!("{}: `use` of the whole of `{}`", module.file, target.join("::")));
                }
            }
        }
        found
    }

    /// The modules of every folder with a violation and no circle, in the listed order as far as that can be.
    pub fn suggestions(&self) -> Vec<String> {
        let edges = self.edges();
        let mut suggestions = vec![];
        for (path, module) in &self.0 {
            let named: BTreeSet<(&str, &str)> = edges
                .iter()
                .filter(|edge| edge.folder == path)
                .map(|edge| (edge.from.as_str(), edge.to.as_str()))
                .collect();
            let Some(order) = order(&module.children, &named) else { continue };
            if order != module.children {
                suggestions.push(format!("{}, in this order: {}", module.file, order.join(", ")));
            }
        }
        suggestions
    }

    fn place(&self, edge: &Edge<'_>, module: &String) -> Option<usize> {
        self.0[edge.folder].children.iter().position(|child| child == module)
    }

    /// What names what, one edge for each file and pair of neighbours.
    fn edges(&self) -> BTreeSet<Edge<'_>> {
        let mut edges = BTreeSet::new();
        for (path, module) in &self.0 {
            for target in module.names.paths.iter().filter_map(|named| self.resolve(path, named, 0)) {
                let shared = path.iter().zip(&target).take_while(|(from, to)| from == to).count();
                if let (Some(from), Some(to)) = (path.get(shared), target.get(shared)) {
                    let (folder, file) = (&path[..shared], module.file.as_str());
                    edges.insert(Edge { folder, from: from.clone(), to: to.clone(), file });
                }
            }
        }
        edges
    }

    /// The module that holds what a path names in a module; none outside of the crate.
    fn resolve(&self, module: &[String], named: &[String], depth: usize) -> Option<Vec<String>> {
        let (head, mut rest) = named.split_first()?;
        let mut at = module.to_vec();
        match head.as_str() {
            "crate" => at.clear(),
            "self" => (),
            "super" => _ = at.pop()?,
            head => at = self.enter(module, head, depth)?,
        }
        while let Some((head, further)) = rest.split_first() {
            if head == "super" {
                at.pop()?;
            } else if head != "self" {
                let Some(inside) = self.enter(&at, head, depth) else { break };
                at = inside;
            }
            rest = further;
        }
        Some(at)
    }

    /// The module of a name in a module: a module listed there, or what a `use` there passes on.
    fn enter(&self, module: &[String], name: &str, depth: usize) -> Option<Vec<String>> {
        let here = self.0.get(module)?;
        if here.children.iter().any(|child| child == name) {
            return Some(module.iter().cloned().chain([name.to_owned()]).collect());
        }
        // The depth ends names that are passed on in a circle.
        if name == "*" || depth > 8 || here.names.items.contains(name) {
            return None;
        }
        if let Some(Named { path, .. }) = here.names.uses.iter().find(|used| used.name == name) {
            return self.resolve(module, path, depth + 1);
        }
        let globs = here.names.uses.iter().filter(|used| used.name == "*");
        let targets = globs.filter_map(|glob| self.resolve(module, &glob.path, depth + 1));
        let mut holders = targets.filter(|target| {
            target != module && self.0.get(target).is_some_and(|holder| holder.names.items.contains(name))
        });
        holders.next()
    }
}

/// In a folder, a module whose file names another.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Edge<'a> {
    folder: &'a [String],
    from: String,
    to: String,
    file: &'a str,
}

/// The file of a module that another file lists.
fn file_of(sources: &Sources, parent: &str, child: &str) -> String {
    let (folder, name) = parent.rsplit_once('/').expect("a file in a folder");
    let folder = match name {
        "lib.rs" | "main.rs" | "mod.rs" => folder.to_owned(),
        name => format!("{folder}/{}", name.trim_end_matches(".rs")),
    };
    let places = [format!("{folder}/{child}.rs"), format!("{folder}/{child}/mod.rs")];
    let found = places.into_iter().find(|place| sources.0.contains_key(place));
    found.unwrap_or_else(|| panic!("{parent}: no file of the module {child}"))
}

/// Modules ordered so that each names only earlier ones; none if there is a circle.
fn order(modules: &[String], named: &BTreeSet<(&str, &str)>) -> Option<Vec<String>> {
    let mut ordered: Vec<String> = vec![];
    while ordered.len() < modules.len() {
        let is_ready = |module: &&String| {
            !ordered.contains(module)
                && named
                    .iter()
                    .all(|(from, to)| from != module || ordered.iter().any(|earlier| earlier == to))
        };
        let next = modules.iter().find(is_ready)?;
        ordered.push(next.clone());
    }
    Some(ordered)
}

/// Modules that remain when those that name nothing, and those that nothing names, are put aside again and again.
fn circle(mut edges: BTreeSet<(&str, &str)>) -> Vec<String> {
    loop {
        let before = edges.len();
        let from: BTreeSet<&str> = edges.iter().map(|edge| edge.0).collect();
        let to: BTreeSet<&str> = edges.iter().map(|edge| edge.1).collect();
        edges.retain(|edge| from.contains(edge.1) && to.contains(edge.0));
        if edges.len() == before {
            return edges
                .iter()
                .map(|edge| edge.0.to_owned())
                .collect::<BTreeSet<String>>()
                .into_iter()
                .collect();
        }
    }
}

#[cfg(test)]
mod tests;
