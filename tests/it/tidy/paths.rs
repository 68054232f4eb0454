//! The code of the crate as a graph of files: each with the files it takes something from.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use super::rust_files;

/// A file as a module: what it imports, and every path its code names.
struct Module {
    file: String,
    path: Vec<String>,
    imports: Vec<Import>,
    /// Paths of the code; a plain name is a path of one.
    named: Vec<Vec<String>>,
}

/// One name that `use` brings in.
pub struct Import {
    pub path: Vec<String>,
    pub name: String,
    /// `pub use`: no arrow of its own, since nothing is used by handing a name on.
    pub handed_on: bool,
}

/// Words and signs of a Rust text; comments, text in quotes and what is `#[cfg(test)]` are left out.
pub fn tokens(text: &str) -> Vec<String> {
    let c: Vec<char> = text.chars().collect();
    let at = |i: usize| c.get(i).copied().unwrap_or('\0');
    let (mut i, mut found) = (0, Vec::new());
    while i < c.len() {
        if at(i) == '/' && at(i + 1) == '/' {
            while i < c.len() && at(i) != '\n' {
                i += 1;
            }
        } else if at(i) == 'r' && (at(i + 1) == '"' || at(i + 1) == '#' && matches!(at(i + 2), '"' | '#')) {
            let hashes = c[i + 1..].iter().take_while(|x| **x == '#').count();
            let end: String = core::iter::once('"').chain(core::iter::repeat_n('#', hashes)).collect();
            let rest: String = c[i + 2 + hashes..].iter().collect();
            i += 2 + hashes + rest[..rest.find(&end).unwrap()].chars().count() + end.len();
        } else if at(i) == '"' {
            i += 1;
            while at(i) != '"' {
                i += if at(i) == '\\' { 2 } else { 1 };
            }
            i += 1;
        } else if at(i) == '\'' {
            // A letter in quotes, else a lifetime.
            let end = if at(i + 1) == '\\' { (i + 3..).find(|e| at(*e) == '\'') } else { Some(i + 2).filter(|e| at(*e) == '\'') };
            i = end.map_or(i + 1, |end| end + 1);
        } else if at(i).is_alphanumeric() || at(i) == '_' {
            let word: String = c[i..].iter().take_while(|x| x.is_alphanumeric() || **x == '_').collect();
            i += word.chars().count();
            found.push(word);
        } else if at(i) == ':' && at(i + 1) == ':' {
            found.push("::".to_owned());
            i += 2;
        } else {
            if !at(i).is_whitespace() {
                found.push(at(i).to_string());
            }
            i += 1;
        }
    }
    without_tests(&found)
}

fn without_tests(tokens: &[String]) -> Vec<String> {
    let is = |i: usize, words: &[&str]| words.iter().enumerate().all(|(k, w)| tokens.get(i + k).is_some_and(|t| t == w));
    let (mut i, mut kept) = (0, Vec::new());
    while i < tokens.len() {
        if !is(i, &["#", "[", "cfg", "(", "test", ")", "]"]) {
            kept.push(tokens[i].clone());
            i += 1;
            continue;
        }
        // Its attributes, then the item up to its `;` or the end of its first block.
        let mut depth = 0;
        let mut in_attribute = false;
        while i < tokens.len() {
            match tokens[i].as_str() {
                "#" if depth == 0 => in_attribute = true,
                "{" | "(" | "[" => depth += 1,
                "}" | ")" | "]" => {
                    depth -= 1;
                    if depth == 0 && tokens[i] == "}" {
                        break;
                    }
                    in_attribute &= depth > 0;
                }
                ";" if depth == 0 && !in_attribute => break,
                _ => {}
            }
            i += 1;
        }
        i += 1;
    }
    kept
}

fn is_word(token: &str) -> bool {
    token.starts_with(|c: char| c.is_alphabetic() || c == '_')
}

/// Reads the tree behind `use`, from `i`, into `imports`; where it ends.
pub fn use_tree(tokens: &[String], mut i: usize, before: &[String], handed_on: bool, imports: &mut Vec<Import>) -> usize {
    let mut path = before.to_vec();
    loop {
        match tokens[i].as_str() {
            "{" => {
                i += 1;
                while tokens[i] != "}" {
                    i = use_tree(tokens, i, &path, handed_on, imports);
                    if tokens[i] == "," {
                        i += 1;
                    }
                }
                return i + 1;
            }
            "*" => {
                imports.push(Import { path, name: "*".to_owned(), handed_on });
                return i + 1;
            }
            "self" if !path.is_empty() => i += 1,
            word => {
                path.push(word.to_owned());
                i += 1;
            }
        }
        match tokens[i].as_str() {
            "::" => i += 1,
            "as" => {
                imports.push(Import { path, name: tokens[i + 1].clone(), handed_on });
                return i + 2;
            }
            _ => {
                let name = path.last().unwrap().clone();
                imports.push(Import { path, name, handed_on });
                return i;
            }
        }
    }
}

fn module(file: &Path) -> Module {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let file = file.strip_prefix(src).unwrap().to_str().unwrap().replace('\\', "/");
    let text = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(&file)).unwrap();
    let stem = file.trim_end_matches(".rs").trim_end_matches("/mod");
    let path = if stem == "lib" { Vec::new() } else { stem.split('/').map(str::to_owned).collect() };
    let tokens = tokens(&text);
    let (mut imports, mut named, mut i) = (Vec::new(), Vec::new(), 0);
    while i < tokens.len() {
        let behind = i.checked_sub(1).map_or("", |b| tokens[b].as_str());
        if tokens[i] == "use" && tokens[i + 1] != "<" {
            let handed_on = behind == "pub" || behind == ")";
            i = use_tree(&tokens, i + 1, &[], handed_on, &mut imports);
        } else if is_word(&tokens[i]) && behind != "::" && behind != "." {
            let mut path = vec![tokens[i].clone()];
            while tokens.get(i + 1).is_some_and(|t| t == "::") && tokens.get(i + 2).is_some_and(|t| is_word(t)) {
                path.push(tokens[i + 2].clone());
                i += 2;
            }
            named.push(path);
            i += 1;
        } else {
            i += 1;
        }
    }
    Module { file, path, imports, named }
}

/// The file in which what `path` names, as written in `from`, is defined; `None` for what is not ours, and for a module alone: what is taken from it counts.
fn defined_in(modules: &BTreeMap<Vec<String>, Module>, from: &[String], path: &[String], depth: usize) -> Option<Vec<String>> {
    assert!(depth < 32, "{from:?} {path:?}: names are handed round in a circle");
    let mut here = from.to_vec();
    let mut rest = path;
    let mut ours = false;
    while let Some((first, more)) = rest.split_first() {
        match first.as_str() {
            "crate" => here.clear(),
            "super" => drop(here.pop()),
            "self" => {}
            _ => break,
        }
        (rest, ours) = (more, true);
    }
    while let Some((first, more)) = rest.split_first() {
        let child: Vec<String> = here.iter().chain([first]).cloned().collect();
        let import = modules.get(&here)?.imports.iter().find(|i| i.name == *first);
        if modules.contains_key(&child) {
            here = child;
            (rest, ours) = (more, true);
        } else if let Some(import) = import {
            // `use serde::de;` and the like: a name of another crate.
            let whole: Vec<String> = import.path.iter().chain(more).cloned().collect();
            return if import.path == path && !ours { None } else { defined_in(modules, &here, &whole, depth + 1) };
        } else {
            return ours.then_some(here);
        }
    }
    None
}

/// Every file with the files it uses.
pub fn arrows() -> BTreeMap<String, BTreeSet<String>> {
    let modules: BTreeMap<Vec<String>, Module> =
        rust_files("src").iter().filter(|p| !p.ends_with("src/main.rs")).map(|p| module(p)).map(|m| (m.path.clone(), m)).collect();
    let mut arrows = BTreeMap::new();
    for (path, module) in modules.iter().filter(|(path, _)| !path.is_empty()) {
        let used_here = |import: &&Import| !import.handed_on || module.named.iter().any(|p| p[0] == import.name);
        let ours = |p: &[String]| defined_in(&modules, path, p, 0);
        let imported = module
            .imports
            .iter()
            .filter(used_here)
            .inspect(|i| assert!(i.name != "*" || ours(&i.path).is_none(), "{}: a glob hides what is used", module.file));
        let to = imported.filter_map(|i| ours(&i.path)).chain(module.named.iter().filter_map(|p| ours(p)));
        let files = to.filter(|to| to != path && !to.is_empty()).filter_map(|to| modules.get(&to)).map(|m| m.file.clone());
        arrows.insert(module.file.clone(), files.collect::<BTreeSet<String>>());
    }
    arrows
}
