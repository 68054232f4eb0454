//! The documents for users: nothing missing, no dead link, no long sentence.
//!
//! What: every error code, note, column and field that the program can write has an entry in the reference; every link inside the repository leads to a file and a
//! heading; no sentence that a user meets is too long. Limits: a sentence ends at a full stop, a colon before a list, or the end of its paragraph, list item or cell.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use regex::Regex;
use serde_json::Value;

/// Words of a sentence in a text for users. Common practice, no source.
const MOST_WORDS: usize = 40;
/// Above so many a sentence is printed.
const MANY_WORDS: usize = 30;

pub(crate) fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

pub(crate) fn read(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap()
}

/// Every Markdown file, by its path from the root.
pub(crate) fn documents() -> Vec<PathBuf> {
    fn below(dir: &Path, found: &mut Vec<PathBuf>) {
        for path in fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()) {
            let name = path.file_name().unwrap().to_str().unwrap();
            if path.is_dir() && !name.starts_with('.') && name != "target" {
                below(&path, found);
            } else if name.ends_with(".md") {
                found.push(path.strip_prefix(root()).unwrap().to_owned());
            }
        }
    }
    let mut found = Vec::new();
    below(root(), &mut found);
    found.sort();
    found
}

/// Code in a document, without its backticks.
fn codes(text: &str) -> BTreeSet<String> {
    Regex::new("`([^`\n]+)`").unwrap().captures_iter(text).map(|c| c[1].to_owned()).collect()
}

/// The part of a document under a heading.
fn chapter<'t>(text: &'t str, heading: &str) -> &'t str {
    let begins = text.find(&format!("\n## {heading}\n")).unwrap_or_else(|| panic!("no chapter {heading}")) + 1;
    let rest = &text[begins..];
    rest.find("\n## ").map_or(rest, |end| &rest[..end])
}

fn run(dir: &Path, args: &[&str]) -> String {
    let out = Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir).args(args).output().unwrap();
    assert!(out.status.code().is_some_and(|c| c < 2), "{args:?}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

/// The stage and shot of `movewright new` with a held pass, compiled.
fn compiled() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    run(dir.path(), &["new", "marsh"]);
    let shot = dir.path().join("marsh/shot.toml");
    let held = "\n[[pass]]\nname = \"still\"\nexposure = \"held\"\nseconds_per_frame = 60\nshutter = 90\n\n[haze]\nfull_size_visibility_m = 60\nbands = { red = 0.9, blue = 1.2 }\n";
    fs::write(&shot, fs::read_to_string(&shot).unwrap() + held).unwrap();
    run(dir.path(), &["compile", "marsh/shot.toml", "--out", "columns", "--rows", "1", "--full-size", "--samples-per-frame", "2"]);
    dir
}

#[test]
fn every_error_code_has_an_entry() {
    let source = read("src/bounds/code.rs");
    let rows = Regex::new(r#"(?m)^    [A-Z]\w+, "([a-z0-9-]+)", ""#).unwrap();
    let known: BTreeSet<String> = rows.captures_iter(&source).map(|c| c[1].to_owned()).collect();
    assert!(known.len() > 40, "{known:?}");
    let text = read("fixtures/ERRORS.md");
    let listed: BTreeSet<String> = text.lines().filter(|l| l.starts_with("| `")).map(|l| l.split('`').nth(1).unwrap().to_owned()).collect();
    assert_eq!(known, listed);
    for line in text.lines().filter(|l| l.starts_with("| `")) {
        assert!(line.split('|').count() == 6 && line.split('|').skip(1).take(4).all(|cell| cell.trim().len() > 3), "{line}");
    }
}

#[test]
fn every_note_has_an_entry() {
    let source = read("src/check/note_kind.rs");
    let names = Regex::new(r#"=> "([a-z_]+)","#).unwrap();
    let known: BTreeSet<String> = names.captures_iter(&source).map(|c| c[1].to_owned()).collect();
    assert!(known.len() >= 10, "{known:?}");
    let text = read("fixtures/NOTES.md");
    let table = text.split("Some lines").next().unwrap();
    let listed: BTreeSet<String> =
        table.lines().filter(|l| l.starts_with("| `")).map(|l| l.split('`').nth(1).unwrap().to_owned()).collect();
    assert_eq!(known, listed);
}

#[test]
fn every_column_has_an_entry() {
    let dir = compiled();
    run(
        dir.path(),
        &[
            "rows",
            "marsh/shot.toml",
            "--pass",
            "picture",
            "--rate",
            "1",
            "--out",
            "fast.csv",
            "--columns",
            "position,velocity,acceleration",
            "--warning",
            "1",
        ],
    );
    let text = read("fixtures/OUTPUTS.md");
    let listed = codes(chapter(&text, "CSV columns"));
    let mut tables: Vec<PathBuf> = fs::read_dir(dir.path().join("columns")).unwrap().map(|e| e.unwrap().path()).collect();
    tables.push(dir.path().join("fast.csv"));
    tables.retain(|p| p.extension().is_some_and(|e| e == "csv"));
    assert!(tables.len() > 10, "{tables:?}");
    let mut written = BTreeSet::new();
    for table in tables {
        let header = fs::read_to_string(&table).unwrap().lines().next().unwrap().to_owned();
        for column in header.split(',') {
            let column = match column.split_once(':') {
                Some((_, kind)) => format!("GROUP.AXIS:{kind}"),
                None if column.contains('.') => "GROUP.AXIS".to_owned(),
                None => column.to_owned(),
            };
            assert!(listed.contains(&column), "{}: {column}", table.display());
            written.insert(column);
        }
    }
    // The other way round: what is listed as a column of its own is written.
    for row in chapter(&text, "CSV columns").lines().filter(|l| l.starts_with("| `")) {
        for column in codes(row.split('|').nth(1).unwrap()) {
            assert!(written.contains(&column), "no table has {column}");
        }
    }
}

/// The fields of a document, lists without their numbers: `passes.axes.axis`.
fn fields(value: &Value, path: &str, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            for (name, inner) in map {
                let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
                match inner {
                    Value::Object(_) => fields(inner, &path, found),
                    Value::Array(list) if list.iter().any(Value::is_object) => list.iter().for_each(|one| fields(one, &path, found)),
                    _ => _ = found.insert(path),
                }
            }
        }
        _ => _ = found.insert(path.to_owned()),
    }
}

/// Each field is in the chapter, by its path or as a figure of a path that is.
fn all_listed(heading: &str, documents: &[String]) {
    let text = read("fixtures/OUTPUTS.md");
    let listed = codes(chapter(&text, heading));
    let mut found = BTreeSet::new();
    for document in documents {
        fields(&serde_json::from_str(document).unwrap(), "", &mut found);
    }
    assert!(found.len() > 5, "{found:?}");
    for field in &found {
        // Run-up and run-down have the figures of the axis, the ways those of the pass.
        let same = field.replace(".run_up.", ".").replace(".run_down.", ".").replace("move_to_start.clearance.", "clearance.");
        let same = same.replace("return_home.clearance.", "clearance.");
        // A comparison has the same figures in units, steps and pixels.
        let same = same.replace("axes.steps.", "axes.").replace("axes.pixels.", "axes.");
        let of = same.rsplit_once('.').is_some_and(|(path, last)| listed.contains(path) && listed.contains(last));
        // A list may be empty and a part null.
        let begun = listed.iter().any(|l| l.strip_prefix(&same).is_some_and(|rest| rest.starts_with('.')));
        assert!(listed.contains(&same) || of || begun, "{heading}: {field}");
    }
    // The other way round: a name that is listed stands in the source that writes it.
    let source: String = [
        "src/output/manifest.rs",
        "src/output/used.rs",
        "src/output/fits.rs",
        "src/output/check_json.rs",
        "src/output/check_json/hang.rs",
        "src/output/check_json/haze.rs",
        "src/output/check_json/held.rs",
        "src/output/check_json/settling.rs",
        "src/output/check_json/stopping.rs",
        "src/output/check_json/swing.rs",
        "src/output/check_json/violation.rs",
        "src/output/check_json/wedge.rs",
        "src/cli/errors_json.rs",
        "src/measure/result.rs",
        "src/measure/recognise.rs",
        "src/measure/home.rs",
        "src/cli/compare_home.rs",
        "src/cli/compare_points_json.rs",
        "src/cli/compare_hand_off.rs",
        "src/output/measured.rs",
        "src/check/changes.rs",
        "src/output/study_json.rs",
        "src/output/rig_json.rs",
        "src/output/takes.rs",
        "src/cli/compare.rs",
    ]
    .map(read)
    .concat();
    for row in chapter(&text, heading).lines().filter(|l| l.starts_with("| `")) {
        for field in codes(row.split('|').nth(1).unwrap()) {
            let last = field.rsplit('.').next().unwrap();
            assert!(source.contains(&format!("{last}:")), "{heading}: nothing writes {field}");
        }
    }
}

#[test]
fn every_field_has_an_entry() {
    let dir = compiled();
    let manifest = fs::read_to_string(dir.path().join("columns/manifest.json")).unwrap();
    all_listed("Manifest", &[manifest]);

    let demo = root().join("fixtures/herons/shot.toml");
    let broken = ["too_fast", "held_too_short", "no_run_up"].map(|name| root().join(format!("fixtures/broken/{name}.toml")));
    let checks = broken.iter().chain([&demo]).map(|shot| run(dir.path(), &["check", shot.to_str().unwrap(), "--json"]));
    let checks: Vec<String> = checks.chain([run(dir.path(), &["check", "marsh/shot.toml", "--json"])]).collect();
    all_listed("check --json", &checks);

    let log = "frame,camera.track\n1,480000\n2,480100\n3,480125\n4,480200\n";
    fs::write(dir.path().join("take.csv"), log).unwrap();
    let late = fs::read_to_string(dir.path().join("columns/picture.steps.csv")).unwrap();
    let late: Vec<String> = late.lines().map(|l| l.split(',').collect::<Vec<_>>()).map(|c| format!("{},{}", c[0], c[4])).collect();
    let lost = |(n, l): (usize, &String)| match l.split_once(',') {
        Some((frame, count)) if n > 40 => format!("{frame},{}\n", count.parse::<i64>().unwrap() - 160),
        _ => format!("{l}\n"),
    };
    fs::write(dir.path().join("lost.csv"), late.iter().enumerate().map(lost).collect::<String>()).unwrap();
    let compared =
        run(dir.path(), &["compare", "columns", "--pass", "picture", "take.csv", "lost.csv", "--tolerance-steps", "4", "--json"]);
    assert!(compared.contains("lost_steps"), "{compared}");
    all_listed("compare --json", &[compared]);
    fs::write(dir.path().join("before.csv"), "axis,steps\ncamera.track,0\n").unwrap();
    let home = run(dir.path(), &["compare", "columns", "--home", "before.csv", "before.csv", "--json"]);
    all_listed("compare --home --json", &[home]);
    let marks = |shift: f64| {
        let row = |frame: i64| format!("{frame},heron_a,{},1700\n", 2200.0 + if frame > 20 { shift } else { 0.0 });
        format!("frame,point,x,y\n{}", (10..50).map(row).collect::<String>())
    };
    fs::write(dir.path().join("first.csv"), marks(0.0)).unwrap();
    fs::write(dir.path().join("second.csv"), marks(9.0)).unwrap();
    let points = ["--points", "first.csv", "second.csv", "--hand-off", "measured", "--json"];
    let points = run(dir.path(), &[&["compare", "columns", "--pass", "picture"][..], &points].concat());
    assert!(points.contains("\"full_steps\""), "{points}");
    all_listed("compare --points --json", &[points]);

    let recording = root().join("fixtures/recordings/study_two.csv");
    let body = ["--body", "chest,back,tail,neck", "--within", "2", "--json"];
    let beat = root().join("fixtures/performance/wing_beat.csv");
    let figure = ["--body", "chest,back,rump,belly", "--within", "4", "--json", "--group", "heron_a", "--write", "beat.toml"];
    let stage = root().join("fixtures/herons/stage.toml");
    let stage = ["--stage", stage.to_str().unwrap()];
    all_listed(
        "study --json",
        &[
            run(dir.path(), &[&["study", recording.to_str().unwrap()], &body[..]].concat()),
            run(dir.path(), &[&["study", beat.to_str().unwrap()], &figure[..], &stage[..]].concat()),
        ],
    );

    let readings: String = (0..12)
        .flat_map(|i| [0, 1].map(|k| (200 * i + 300, k)))
        .map(|(x, k)| format!("{x},{},{}\n", f64::from(x) * 1.01 + if x == 900 { 3.0 } else { 0.1 * f64::from(k) }, ["+", "-"][k as usize]))
        .collect();
    fs::write(dir.path().join("camera.track.csv"), format!("commanded,measured,direction\n{readings}{readings}{readings}")).unwrap();
    let rig = run(dir.path(), &["rig", "marsh/stage.toml", "--measured", "camera.track.csv", "--json"]);
    assert!(rig.contains("\"uneven\": {"), "{rig}");
    all_listed("rig --json", &[rig, run(dir.path(), &["rig", "marsh/stage.toml", "--json"])]);

    let shot = fs::read_to_string(dir.path().join("marsh/shot.toml")).unwrap();
    fs::write(dir.path().join("marsh/new.toml"), shot.replace("[96, -6]", "[96, -9]")).unwrap();
    let changes = run(dir.path(), &["changes", "marsh/shot.toml", "marsh/new.toml", "--json"]);
    all_listed("changes --json", &[changes]);
}

/// The anchor of a heading, as the usual Markdown pages make it: small letters, digits, `_` and `-`; blanks become `-`.
fn anchor(heading: &str) -> String {
    let kept = heading.trim().to_lowercase().replace(' ', "-");
    kept.chars().filter(|c| c.is_alphanumeric() || *c == '-' || *c == '_').collect()
}

pub(crate) fn without_blocks(text: &str) -> String {
    let mut inside = false;
    let keep = |line: &&str| {
        let fence = line.starts_with("```");
        inside ^= fence;
        !inside && !fence
    };
    text.lines().filter(keep).collect::<Vec<_>>().join("\n")
}

#[test]
fn every_link_leads_somewhere() {
    let link = Regex::new(r"\]\(([^)\s]+)\)").unwrap();
    let mut followed = 0;
    for document in documents() {
        let text = without_blocks(&fs::read_to_string(root().join(&document)).unwrap());
        for target in link.captures_iter(&text).map(|c| c[1].to_owned()) {
            if target.contains("://") {
                continue;
            }
            let (file, heading) = target.split_once('#').map_or((target.as_str(), None), |(file, heading)| (file, Some(heading)));
            let path = if file.is_empty() { document.clone() } else { document.parent().unwrap().join(file) };
            let there = root().join(&path);
            assert!(there.exists(), "{}: {target}", document.display());
            if let Some(heading) = heading {
                let text = without_blocks(&fs::read_to_string(&there).unwrap());
                let known: Vec<String> = text.lines().filter(|l| l.starts_with('#')).map(|l| anchor(l.trim_start_matches('#'))).collect();
                assert!(known.iter().any(|k| k == heading), "{}: {target}, known: {known:?}", document.display());
            }
            followed += 1;
        }
    }
    assert!(followed > 50, "{followed} links");
}

#[test]
fn every_page_is_named_in_the_readme() {
    let readme = read("README.md");
    for document in documents().iter().filter(|d| !d.ends_with("README.md") || d.starts_with("examples")) {
        assert!(readme.contains(&format!("({}", document.display())), "{}", document.display());
    }
}

/// What the first lesson prints in bold is to be found on the report page of a refused shot.
#[test]
fn the_first_lesson_names_what_the_page_shows() {
    let dir = compiled();
    let shot = fs::read_to_string(dir.path().join("marsh/shot.toml")).unwrap();
    fs::write(dir.path().join("marsh/shot.toml"), shot.replace("seconds_per_frame = 10 ", "seconds_per_frame = 5 ")).unwrap();
    let page = run(dir.path(), &["report", "marsh/shot.toml", "--out", "-"]);
    let bold = Regex::new(r"\*\*([^*]+)\*\*").unwrap();
    let lesson = read("examples/guides/first_shot.md");
    let named: BTreeSet<&str> = bold.captures_iter(&lesson).map(|c| c.get(1).unwrap().as_str()).filter(|n| *n != "Danger.").collect();
    assert!(named.len() >= 5, "{named:?}");
    for name in named {
        assert!(page.contains(&format!(">{name}<")), "the page has no {name}");
    }
}

#[test]
fn the_glossary_is_in_order() {
    let text = read("fixtures/GLOSSARY.md");
    let words: Vec<String> =
        text.lines().filter(|l| l.starts_with("| ")).skip(2).map(|l| l.split('|').nth(1).unwrap().trim().to_lowercase()).collect();
    assert!(words.len() > 40 && words.is_sorted(), "{words:?}");
}

/// The page for operators has the cautions of the manifest, word for word.
#[test]
fn every_caution_is_on_the_page_for_operators() {
    let manifest = fs::read_to_string(compiled().path().join("columns/manifest.json")).unwrap();
    let manifest: Value = serde_json::from_str(&manifest).unwrap();
    let page = read("examples/guides/how_a_pass_runs.md");
    let listed: Vec<&str> = chapter(&page, "Cautions").lines().filter_map(|l| l.strip_prefix("- ")?.strip_suffix('.')).collect();
    // The first one is the short form of them all.
    let written: Vec<&str> = manifest["cautions"].as_array().unwrap().iter().skip(1).map(|c| c.as_str().unwrap()).collect();
    assert!(written.len() > 5);
    assert_eq!(listed, written);
}

/// Sentences of running text: of paragraphs, list items and cells.
fn sentences(text: &str) -> Vec<String> {
    let mut pieces: Vec<String> = vec![String::new()];
    let entry = Regex::new(r"^\s*\S+( <[^>]+>)?\s{2,}\S").unwrap();
    for line in text.lines() {
        let begins = line.trim_start().starts_with(['-', '#', '|', '>', '<'])
            || line.trim_start().starts_with(|c: char| c.is_ascii_digit())
            || entry.is_match(line);
        let (ends, more) = (line.trim().is_empty(), line.trim_start().starts_with("> ") && !line.trim_end().ends_with('>'));
        if ends || (begins && !more) {
            pieces.push(String::new());
        }
        if line.starts_with('|') {
            pieces.extend(line.split('|').map(str::to_owned));
            pieces.push(String::new());
        } else if let Some(last) = pieces.last_mut() {
            last.push(' ');
            last.push_str(line.trim_start_matches('>').trim());
        }
    }
    let stop = Regex::new(r"[.?!:](?:\s|$)").unwrap();
    pieces.iter().flat_map(|p| stop.split(p).map(|s| s.trim().to_owned()).collect::<Vec<_>>()).filter(|s| !s.is_empty()).collect()
}

/// What a user reads without opening a page: help.
pub(crate) fn helps() -> Vec<(String, String)> {
    let here = root();
    let help = run(here, &["--help"]);
    let list = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap().to_owned();
    let names = list.lines().filter(|l| l.starts_with("  ") && !l.starts_with("   ")).map(|l| l.split_whitespace().next().unwrap());
    let each: Vec<(String, String)> =
        names.filter(|n| *n != "help").map(|n| (format!("movewright {n} --help"), run(here, &[n, "--help"]))).collect();
    assert!(each.len() >= 9);
    [vec![("movewright --help".to_owned(), help)], each].concat()
}

#[test]
fn no_sentence_is_too_long() {
    let pages = documents().into_iter().filter(|d| !d.ends_with("DEVELOPERS.md"));
    let pages = pages.map(|d| (d.display().to_string(), without_blocks(&fs::read_to_string(root().join(&d)).unwrap())));
    let mut too_long = Vec::new();
    for (name, text) in pages.chain(helps()) {
        for sentence in sentences(&text) {
            let words = sentence.split_whitespace().filter(|w| w.contains(char::is_alphanumeric)).count();
            if words > MANY_WORDS {
                println!("{name}: {words} words: {sentence}");
            }
            if words > MOST_WORDS {
                too_long.push(format!("{name}: {words} words: {sentence}"));
            }
        }
    }
    assert!(too_long.is_empty(), "{}", too_long.join("\n"));
}

#[test]
fn sentences_are_counted_as_a_reader_does() {
    let found = sentences("One two. Three\nfour\n\n- five six: seven\n- eight\n\n| a | b c |\n| --- | --- |\n| d. e | f |\n");
    assert_eq!(found, ["One two", "Three four", "- five six", "seven", "- eight", "a", "b c", "---", "---", "d", "e", "f"]);
}
