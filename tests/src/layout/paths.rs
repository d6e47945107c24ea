//! In: code without comments and tests. Out: the modules it lists, the paths it names, the names it makes.

use std::collections::BTreeSet;

/// A path under a name: `use a::b as c` is `a::b` under `c`, a glob has the name `*`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    /// The path.
    pub path: Vec<String>,
    /// The name it gets where the `use` stands.
    pub name: String,
}

/// Names in a file.
#[derive(Debug, Default)]
pub struct Names {
    /// Modules in files of their own, in the order of their `mod` lines.
    pub modules: Vec<String>,
    /// What `use` brings in.
    pub uses: Vec<Named>,
    /// Every path of a `use`, and every other one that begins with `crate`, `self` or `super`.
    pub paths: BTreeSet<Vec<String>>,
    /// Types, functions and constants that are made here, without methods.
    pub items: BTreeSet<String>,
}

const MAKERS: [&str; 8] = ["fn", "struct", "enum", "union", "trait", "type", "const", "static"];

impl Names {
    /// Reads code, see [`super::code::without_tests`].
    pub fn new(code: &str) -> Names {
        let tokens = tokens(code);
        let mut names = Names::default();
        let mut depth = 0;
        for at in 0..tokens.len() {
            let rest = &tokens[at..];
            depth += i32::from(rest[0] == "{") - i32::from(rest[0] == "}");
            let before = at.checked_sub(1).map_or("", |at| tokens[at]);
            match rest {
                ["mod", name, ";", ..] => names.modules.push((*name).to_owned()),
                ["use", next, ..] if *next != "<" => names.open_up(&rest[1..]),
                ["crate" | "self" | "super", "::", ..] if before != "::" => {
                    names.paths.insert(path(rest));
                }
                [maker, name, ..] if depth == 0 && MAKERS.contains(maker) && is_word(name) => {
                    names.items.insert((*name).to_owned());
                }
                _ => (),
            }
        }
        names
    }

    /// Notes every path of the tree behind `use`.
    fn open_up(&mut self, tokens: &[&str]) {
        let mut found = vec![];
        tree(tokens, &[], &mut found);
        self.paths.extend(found.iter().map(|named| named.path.clone()));
        self.uses.extend(found);
    }
}

/// Adds the paths of one tree below a prefix. Returns the number of its tokens.
fn tree(tokens: &[&str], prefix: &[String], found: &mut Vec<Named>) -> usize {
    let (mut path, mut at) = (prefix.to_vec(), 0);
    loop {
        match tokens[at..] {
            ["::", ..] => at += 1,
            ["{", ..] => {
                at += 1;
                while at < tokens.len() && tokens[at] != "}" {
                    at += tree(&tokens[at..], &path, found).max(1);
                    at += usize::from(tokens.get(at) == Some(&","));
                }
                return at + 1;
            }
            ["*", ..] => {
                found.push(Named { path, name: "*".to_owned() });
                return at + 1;
            }
            [",", ..] | ["}", ..] | [";", ..] | [] => break,
            ["as", name, ..] => {
                found.push(Named { path, name: name.to_owned() });
                return at + 2;
            }
            // `a::{self}` is `a`.
            ["self", ..] if !path.is_empty() => at += 1,
            [word, ..] => {
                path.push(word.to_owned());
                at += 1;
            }
        }
    }
    if path.len() > prefix.len() || at > 0 {
        let name = path.last().cloned().unwrap_or_default();
        found.push(Named { path, name });
    }
    at
}

/// The path that begins here.
fn path(tokens: &[&str]) -> Vec<String> {
    let mut path = vec![tokens[0].to_owned()];
    let mut rest = &tokens[1..];
    while let ["::", word, further @ ..] = rest {
        if !is_word(word) {
            break;
        }
        path.push((*word).to_owned());
        rest = further;
    }
    path
}

fn is_word(token: &str) -> bool {
    token.starts_with(|letter: char| letter.is_alphabetic() || letter == '_')
}

/// Words, `::`, and every other mark by itself.
fn tokens(code: &str) -> Vec<&str> {
    let mut tokens = vec![];
    let mut rest = code.trim_start();
    while let Some(first) = rest.chars().next() {
        let is_part = |letter: char| letter.is_alphanumeric() || letter == '_';
        let length = match first {
            first if is_part(first) => rest.find(|letter| !is_part(letter)).unwrap_or(rest.len()),
            ':' if rest.starts_with("::") => 2,
            other => other.len_utf8(),
        };
        tokens.push(&rest[..length]);
        rest = rest[length..].trim_start();
    }
    tokens
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(code: &str, expected: &[(&str, &str)]) {
        let found = Names::new(code).uses;
        let found: Vec<(String, String)> =
            found.into_iter().map(|named| (named.path.join("::"), named.name)).collect();
        let expected: Vec<(String, String)> =
            expected.iter().map(|(path, name)| ((*path).to_owned(), (*name).to_owned())).collect();
        assert_eq!(found, expected, "{code}");
    }

    #[test]
    fn trees_are_opened_up() {
        check("use a::b;", &[("a::b", "b")]);
        check("pub(crate) use super::{a, b::c};", &[("super::a", "a"), ("super::b::c", "c")]);
        check(
            "use crate::a::{self, b as d, c::{e, f::*},};",
            &[("crate::a", "a"), ("crate::a::b", "d"), ("crate::a::c::e", "e"), ("crate::a::c::f", "*")],
        );
        check("use {super::a, self::b};", &[("super::a", "a"), ("self::b", "b")]);
        check("fn f() -> impl Fn() + use<'_> {} use ::std::fmt;", &[("std::fmt", "fmt")]);
    }

    #[test]
    fn paths_in_code_are_found() {
        let names =
            Names::new("fn f() { super::super::a::g(crate::b::C { d: self.e }, Self::h(), x::self_::i) }");
        let paths: Vec<String> = names.paths.iter().map(|path| path.join("::")).collect();
        assert_eq!(paths, ["crate::b::C", "super::super::a::g"]);
    }

    #[test]
    fn modules_and_items_are_found() {
        let names = Names::new("mod b; pub mod a; pub(crate) struct C; fn d() {} impl C { fn e() {} }");
        assert_eq!(names.modules, ["b", "a"]);
        assert_eq!(names.items.into_iter().collect::<Vec<String>>(), ["C", "d"]);
    }
}
