//! The pages with commands, as a reader follows them: every command is run, and what it prints is what the page shows.
//!
//! Form: blocks of kind `console` are run one after the other in a folder of the page's own, which begins with copies of the demo, of the broken shots and of the
//! examples. A comment before a block of another kind says what the reader does with the block: `<!-- write PATH -->` makes it a file, `<!-- append PATH -->`
//! adds it to one, and `<!-- edit PATH: LINE -->` puts it in the place of the one line that begins so. `<!-- shows PATH -->` says that the lines of the block
//! are lines of the file; `,...` at the end of a line stands for its other cells. Elided output is `...`, as trycmd has it.
//! `TRYCMD=overwrite cargo test --test it guides` writes what is printed into the pages.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// What a page begins with.
const BEFOREHAND: [&str; 5] =
    ["fixtures/herons", "fixtures/broken", "fixtures/performance", "examples/two_keys_too_close", "examples/feeding_a_controller"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn pages() -> Vec<PathBuf> {
    let mut pages = vec![root().join("README.md")];
    for folder in fs::read_dir(root().join("examples")).unwrap().map(|e| e.unwrap().path()).filter(|p| p.is_dir()) {
        pages.extend(fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).filter(|p| p.extension().is_some_and(|e| e == "md")));
    }
    pages.sort();
    pages
}

/// A folder as a reader's clone is, as far as the pages use it.
fn clone() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for folder in BEFOREHAND {
        let to = dir.path().join("page.in").join(folder);
        fs::create_dir_all(&to).unwrap();
        for file in fs::read_dir(root().join(folder)).unwrap().map(|e| e.unwrap().path()).filter(|p| p.is_file()) {
            fs::copy(&file, to.join(file.file_name().unwrap())).unwrap();
        }
    }
    dir
}

/// What a reader does with the block under a comment.
enum Deed<'p> {
    Write,
    Append,
    Edit(&'p str),
    Shows,
}

/// The comments of a page that say what to do with a block: where the block ends, the file, the deed, the block's text.
fn deeds(page: &str) -> Vec<(usize, &str, Deed<'_>, &str)> {
    let mut found = Vec::new();
    for (at, _) in page.match_indices("<!-- ") {
        let line = page[at..].lines().next().unwrap();
        let said = line.strip_prefix("<!-- ").unwrap().strip_suffix(" -->").unwrap_or_else(|| panic!("no end: {line}"));
        let (deed, file) = match said.split_once(' ') {
            Some(("write", file)) => (Deed::Write, file),
            Some(("append", file)) => (Deed::Append, file),
            Some(("shows", file)) => (Deed::Shows, file),
            Some(("edit", rest)) => {
                let (file, old) = rest.split_once(": ").unwrap_or_else(|| panic!("edit which line: {line}"));
                (Deed::Edit(old), file)
            }
            _ => panic!("unknown comment: {line}"),
        };
        let fence = at + line.len() + 1;
        assert!(page[fence..].starts_with("```"), "no block under: {line}");
        let begins = fence + page[fence..].find('\n').unwrap() + 1;
        let closes = begins + page[begins..].find("\n```\n").unwrap() + 1;
        found.push((closes + 4, file, deed, &page[begins..closes]));
    }
    found
}

fn follow(page: &Path) {
    let text = fs::read_to_string(page).unwrap();
    let dir = clone();
    let (case, inside) = (dir.path().join("page.md"), dir.path().join("page.in"));
    let mut begins = 0;
    let mut kept = String::new();
    let mut run = |from: usize, to: usize| {
        // Lines keep their numbers.
        let before = "\n".repeat(text[..from].lines().count());
        fs::write(&case, format!("{before}{}", &text[from..to])).unwrap();
        if text[from..to].contains("```console") {
            println!("{}", page.display());
            trycmd::TestCases::new().case(&case).run();
        }
        kept.push_str(&fs::read_to_string(&case).unwrap()[before.len()..]);
    };
    for (ends, file, deed, block) in deeds(&text) {
        run(begins, ends);
        begins = ends;
        let path = inside.join(file);
        let made = match deed {
            Deed::Shows => {
                let whole = fs::read_to_string(&path).unwrap();
                for shown in block.lines().filter(|l| *l != "...") {
                    let is = |line: &str| shown.strip_suffix(",...").map_or(line == shown, |cells| line.starts_with(cells));
                    assert!(whole.lines().any(is), "{}: {file} has no line `{shown}`", page.display());
                }
                continue;
            }
            Deed::Write => block.to_owned(),
            Deed::Append => fs::read_to_string(&path).unwrap() + "\n" + block,
            Deed::Edit(old) => {
                let whole = fs::read_to_string(&path).unwrap();
                let lines: Vec<&str> = whole.lines().filter(|l| l.starts_with(old)).collect();
                assert_eq!(lines.len(), 1, "{}: {file} has `{old}` {} times", page.display(), lines.len());
                whole.replacen(&format!("{}\n", lines[0]), block, 1)
            }
        };
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, made).unwrap();
    }
    run(begins, text.len());
    if std::env::var_os("TRYCMD").is_some_and(|v| v == "overwrite") {
        fs::write(page, kept).unwrap();
    } else {
        assert_eq!(kept, text);
    }
}

#[test]
fn every_command_of_the_pages_does_what_the_page_shows() {
    let pages = pages();
    assert!(pages.len() >= 3, "{pages:?}");
    for page in &pages {
        follow(page);
    }
}

/// The README names them for a fresh clone, through cargo, and in its table of commands.
#[test]
fn the_commands_the_readme_names_work_in_its_order() {
    let text = fs::read_to_string(root().join("README.md")).unwrap();
    let dir = clone();
    let through_cargo = |l: &'_ str| l.strip_prefix("cargo run --release -- ").map(str::to_owned);
    let in_the_table = |l: &'_ str| l.strip_prefix("| `movewright ").and_then(|l| l.split_once('`')).map(|(run, _)| run.to_owned());
    let runs: Vec<String> = text.lines().filter_map(|l| through_cargo(l).or_else(|| in_the_table(l))).collect();
    assert!(runs.len() >= 6, "{runs:?}");
    for run in runs {
        let args: Vec<&str> = run.split_whitespace().take_while(|w| *w != "#").collect();
        if let ["watch", shot] = args.as_slice() {
            // It runs until it is interrupted.
            assert_eq!(crate::watch::Watch::start(&dir.path().join("page.in").join(shot), &[]).interrupted(), Some(0));
            continue;
        }
        let out = Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir.path().join("page.in")).args(&args).output().unwrap();
        assert!(out.status.success(), "{run}: {}", String::from_utf8_lossy(&out.stderr));
    }
}
