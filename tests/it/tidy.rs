//! The architecture: arrows between modules run one way, every file says what it is, and none is too long to read.

mod paths;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use paths::{arrows, tokens, use_tree};

/// Modules with the modules they may use, lowest first. A module not named here fails the test.
const MODULES: &[(&str, &[&str])] = &[
    ("number", &[]),
    ("bounds", &[]),
    ("files", &[]),
    ("time", &["bounds"]),
    ("motion", &["number"]),
    ("mechanism", &["number", "motion", "bounds"]),
    ("stage", &["number", "bounds", "motion", "mechanism"]),
    ("shot", &["number", "bounds", "mechanism", "motion", "stage", "time"]),
    ("signal", &["number", "bounds", "motion", "stage", "shot", "mechanism"]),
    ("study", &["number", "bounds", "motion", "mechanism", "stage"]),
    ("rig", &["number", "bounds", "stage"]),
    ("compile", &["number", "bounds", "time", "motion", "stage", "shot", "signal", "mechanism"]),
    ("program", &["number", "bounds", "mechanism", "motion", "time", "stage", "shot", "compile"]),
    ("check", &["number", "bounds", "motion", "time", "stage", "shot", "signal", "compile", "program", "mechanism"]),
    (
        "output",
        &["number", "bounds", "files", "motion", "time", "stage", "shot", "compile", "program", "check", "mechanism", "study", "rig"],
    ),
    ("page", &["number", "motion", "time", "stage", "shot", "signal", "study", "compile", "program", "check", "output", "mechanism"]),
    ("input", &["number", "bounds", "files", "time", "stage", "shot", "mechanism", "study", "rig"]),
    ("measure", &["number", "bounds", "time", "stage"]),
    ("verify", &["number", "bounds", "files", "time", "mechanism", "stage", "shot", "input"]),
    (
        "api",
        &[
            "number",
            "bounds",
            "time",
            "motion",
            "mechanism",
            "stage",
            "shot",
            "signal",
            "compile",
            "program",
            "check",
            "output",
            "page",
            "input",
            "verify",
        ],
    ),
    (
        "cli",
        &[
            "number",
            "bounds",
            "files",
            "time",
            "motion",
            "stage",
            "shot",
            "signal",
            "compile",
            "program",
            "check",
            "output",
            "page",
            "input",
            "measure",
            "verify",
            "mechanism",
            "study",
            "rig",
        ],
    ),
];

fn rust_files(under: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut waiting = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join(under)];
    while let Some(dir) = waiting.pop() {
        for entry in fs::read_dir(dir).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                waiting.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

fn module_of(path: &Path) -> String {
    let rest = path.strip_prefix(Path::new(env!("CARGO_MANIFEST_DIR")).join("src")).unwrap();
    rest.components().next().unwrap().as_os_str().to_str().unwrap().trim_end_matches(".rs").to_owned()
}

/// Every module of ours that a text names as `crate::module`, comments and tests left out.
fn rooms_used(text: &str) -> Vec<(String, String)> {
    let code = text.split("#[cfg(test)]").next().unwrap();
    let mut used = Vec::new();
    for line in code.lines().filter(|l| !l.trim_start().starts_with("//")) {
        for part in line.split("crate::").skip(1) {
            let module: String = part.chars().take_while(|c| c.is_ascii_lowercase() || *c == '_').collect();
            if !module.is_empty() {
                used.push((module, line.trim().to_owned()));
            }
        }
    }
    used
}

#[test]
fn arrows_run_one_way() {
    let modules: BTreeMap<&str, &[&str]> = MODULES.iter().copied().collect();
    let mut wrong = Vec::new();
    for path in rust_files("src") {
        let module = module_of(&path);
        if module == "lib" || module == "main" {
            continue;
        }
        let Some(allowed) = modules.get(module.as_str()) else {
            wrong.push(format!("{}: module `{module}` is not in the list", path.display()));
            continue;
        };
        for (used, line) in rooms_used(&fs::read_to_string(&path).unwrap()) {
            if used != module && !allowed.contains(&used.as_str()) {
                wrong.push(format!("{}: `{module}` may not use `{used}`: {line}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_list_of_rooms_has_no_circle() {
    let order: Vec<&str> = MODULES.iter().map(|r| r.0).collect();
    for (i, (module, uses)) in MODULES.iter().enumerate() {
        for used in *uses {
            let at = order.iter().position(|r| r == used).unwrap();
            assert!(at < i || *module == "verify" || order[i] == "input", "`{module}` uses `{used}`, which stands after it");
        }
    }
}

/// What stands at the top is fixed; what begins with a dot is a tool's, and `target` is made by building.
#[test]
fn nothing_else_stands_at_the_top() {
    let known = [
        "Cargo.lock",
        "Cargo.toml",
        "DEVELOPERS.md",
        "LICENSE-APACHE",
        "LICENSE-MIT",
        "README.md",
        "benches",
        "examples",
        "fixtures",
        "src",
        "target",
        "tests",
    ];
    let names = fs::read_dir(env!("CARGO_MANIFEST_DIR")).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap());
    let wrong: Vec<String> = names.filter(|n| !n.starts_with('.') && !known.contains(&n.as_str())).collect();
    assert!(wrong.is_empty(), "{wrong:?}");
}

#[test]
fn every_file_says_what_it_is_and_can_be_read_at_a_sitting() {
    let mut wrong = Vec::new();
    for dir in ["src", "tests", "benches", "examples"] {
        for path in rust_files(dir) {
            let text = fs::read_to_string(&path).unwrap();
            if !text.starts_with("//!") {
                wrong.push(format!("{}: does not open with what it is (`//!`)", path.display()));
            }
            let lines = text.lines().count();
            if lines > 500 {
                wrong.push(format!("{}: {lines} lines, 500 at most", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What `main.rs` and `lib.rs` declare is run: a file that is left out there would never run, and nothing would say so.
#[test]
fn every_file_of_tests_is_declared() {
    for (folder, root) in [("it", "main"), ("inside", "lib")] {
        let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(folder);
        let declared = fs::read_to_string(here.join(root).with_extension("rs")).unwrap();
        let mut files = 0;
        for entry in fs::read_dir(&here).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
            if path.extension().is_some_and(|e| e == "rs") && name != root {
                assert!(
                    declared.lines().any(|line| line == format!("mod {name};")),
                    "`tests/{folder}/{root}.rs` does not declare `{name}`"
                );
                files += 1;
            }
        }
        assert!(files > 14, "{folder}: {files}");
    }
}

/// A module that becomes public is a decision: here it is written down.
#[test]
fn these_modules_are_public_and_no_others() {
    let text = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/lib.rs")).unwrap();
    let named = |line: &str| line.strip_prefix("pub mod ").map(|rest| rest.trim_end_matches([';', '{', ' ']).to_owned());
    let mut public: Vec<String> = text.lines().filter_map(named).collect();
    public.sort();
    assert_eq!(public, ["input", "measure", "mechanism", "report", "shot", "signal", "stage", "time", "write"]);
    for path in rust_files("src").iter().filter(|p| !p.ends_with("lib.rs")) {
        let text = fs::read_to_string(path).unwrap();
        assert!(text.lines().all(|l| named(l.trim_start()).is_none()), "{}: a public module within a module", path.display());
    }
}

#[test]
fn verify_shares_nothing_with_the_compiler() {
    for path in rust_files("src").iter().filter(|p| module_of(p) == "verify") {
        for (used, line) in rooms_used(&fs::read_to_string(path).unwrap()) {
            assert!(!["compile", "program", "signal", "motion", "check", "output"].contains(&used.as_str()), "{}: {line}", path.display());
        }
    }
}

/// Where code of `src` holds one of these rows of words: file and row. Tests, comments and texts are left out.
fn found_in_code(rows: &[&[&str]]) -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    for path in rust_files("src") {
        let tokens = tokens(&fs::read_to_string(&path).unwrap());
        let name = path.strip_prefix(&root).unwrap().to_str().unwrap().to_owned();
        for row in rows {
            let times = tokens.windows(row.len()).filter(|w| w == row).count();
            found.extend(core::iter::repeat_n((name.clone(), row.join(" ")), times));
        }
    }
    found
}

/// One place checks what is written and makes every character seen; whatever went past it would do neither.
#[test]
fn one_place_writes_to_the_terminal() {
    let ways: [&[&str]; 9] = [
        &["print", "!"],
        &["println", "!"],
        &["eprint", "!"],
        &["eprintln", "!"],
        &["dbg", "!"],
        &["stdout", "("],
        &["stderr", "("],
        // What the parser of calls offers.
        &["print", "("],
        &["exit", "("],
    ];
    let found = found_in_code(&ways);
    assert!(found.iter().any(|(file, way)| file == "cli/terminal.rs" && way == "stdout ("), "nothing is found: {found:?}");
    let elsewhere: Vec<_> = found.iter().filter(|(file, _)| file != "cli/terminal.rs").collect();
    assert!(elsewhere.is_empty(), "only `cli/terminal.rs` writes to standard output and standard error: {elsewhere:?}");
}

/// Whatever went past the one place could wait for a pipe or read a device for ever.
#[test]
fn one_place_opens_files_to_read_them() {
    let ways: [&[&str]; 5] = [
        &["File", "::", "open"],
        &["fs", "::", "read", "("],
        &["fs", "::", "read_to_string"],
        &["OpenOptions", "::", "new"],
        &["read", "(", "true", ")"],
    ];
    let mut found = found_in_code(&ways);
    assert!(found.iter().any(|(file, _)| file == "files.rs"), "nothing is found: {found:?}");
    // No file that a user names: the process about itself; a folder that is flushed; the lock of a staging directory, opened to be written.
    for (file, way) in [
        ("cli/signals.rs", "fs :: read_to_string"),
        ("output/staged/atomic.rs", "File :: open"),
        ("output/staged/staging.rs", "OpenOptions :: new"),
    ] {
        let at = found.iter().position(|(f, w)| f == file && w == way).expect(file);
        found.remove(at);
    }
    let elsewhere: Vec<_> = found.iter().filter(|(file, _)| file != "files.rs").collect();
    assert!(elsewhere.is_empty(), "only `files.rs` opens files to read them: {elsewhere:?}");
}

/// The tool promises limits, never safety; the one word is kept for saying what is not.
#[test]
fn the_tool_never_says_safe() {
    for path in rust_files("src") {
        let text = fs::read_to_string(&path).unwrap();
        for (n, line) in text.lines().enumerate().filter(|(_, l)| !l.trim_start().starts_with("//")) {
            let words = line.to_lowercase();
            let says = words.split(|c: char| !c.is_alphanumeric()).any(|w| w == "safe" || w == "safely");
            assert!(!says, "{}:{}: {line}", path.display(), n + 1);
        }
    }
}

fn reached<'g>(arrows: &'g BTreeMap<String, BTreeSet<String>>, from: &'g str) -> BTreeSet<&'g str> {
    let (mut seen, mut waiting) = (BTreeSet::new(), vec![from]);
    while let Some(file) = waiting.pop() {
        for next in arrows.get(file).into_iter().flatten() {
            if seen.insert(next.as_str()) {
                waiting.push(next);
            }
        }
    }
    seen
}

#[test]
fn tests_comments_and_texts_are_no_code() {
    let text = "use a::{b, c::{self, d as e}}; // use f;\n\
        fn g<'x>() { let h = ('\\'', \"use i;\", r#\"use \"j\"\"#, 'k'); }\n\
        #[cfg(test)]\n#[allow(dead_code, reason = \"l;\")]\nmod tests { use m; }\n\
        fn n() {} #[cfg(test)] use o; pub use p;";
    assert_eq!(
        tokens(text).join(" "),
        "use a :: { b , c :: { self , d as e } } ; fn g < x > ( ) { let h = ( , , , ) ; } fn n ( ) { } pub use p ;"
    );
    let (tokens, mut imports) = (tokens(text), Vec::new());
    use_tree(&tokens, 1, &[], false, &mut imports);
    let read: Vec<String> = imports.iter().map(|i| format!("{} = {}", i.name, i.path.join("::"))).collect();
    assert_eq!(read, ["b = a::b", "c = a::c", "e = a::c::d"]);
}

/// A folder's `mod.rs` is a file like the others: what a child takes from it and what it takes from the child make a circle. `mod x;` and `pub use x::Y;` are no arrows.
#[test]
fn no_files_use_each_other_in_a_circle() {
    let arrows = arrows();
    assert!(arrows.values().map(BTreeSet::len).sum::<usize>() > arrows.len(), "arrows are not found");
    let all: BTreeMap<&str, BTreeSet<&str>> = arrows.keys().map(|file| (file.as_str(), reached(&arrows, file))).collect();
    let mut circles: BTreeSet<BTreeSet<&str>> = BTreeSet::new();
    for (file, to) in all.iter().filter(|(file, to)| to.contains(**file)) {
        let circle = to.iter().copied().filter(|other| all.get(other).is_some_and(|back| back.contains(file))).collect();
        circles.insert(circle);
    }
    let told = |circle: &BTreeSet<&str>| {
        let inside = |file: &str| arrows[file].iter().filter(|to| circle.contains(to.as_str())).cloned().collect::<Vec<_>>().join(", ");
        circle.iter().map(|file| format!("  {file} uses {}", inside(file))).collect::<Vec<_>>().join("\n")
    };
    let wrong: Vec<String> = circles.iter().map(told).collect();
    assert!(wrong.is_empty(), "files use each other in a circle:\n{}", wrong.join("\n\n"));
}
