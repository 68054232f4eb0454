//! Every message as a set: where, what was found, what is allowed, what to do.
//!
//! `diagnostics/mistakes.txt` is the table: each block plants one mistake in files that are right, and holds the whole message. Each mistake is told once, with
//! no other behind it, and no two messages are the same. What a message offers to write is written, and then the mistake is gone.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use movewright::bounds::Code;
use movewright::input::{self, Diagnostic, Rejection, Unreadable};

/// One mistake of the table.
struct Mistake {
    /// The file it is planted in.
    file: String,
    /// What is replaced, once, and by what; a pair for each line.
    changes: Vec<(String, String)>,
    /// The message, line by line.
    message: String,
}

type Files = BTreeMap<String, String>;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/diagnostics")
}

fn right() -> Files {
    ["stage.toml", "shot.toml", "keys.csv"].map(|n| (n.to_owned(), std::fs::read_to_string(folder().join(n)).unwrap())).into()
}

/// Blocks are parted by blank lines: `in FILE`, lines `FROM => TO` (`\n` is a line's end), then the message. Lines with `#` part the blocks by subject.
fn mistakes() -> Vec<Mistake> {
    let text = std::fs::read_to_string(folder().join("mistakes.txt")).unwrap();
    let blocks = text.split("\n\n").map(|block| block.lines().filter(|l| !l.starts_with('#')).collect::<Vec<_>>());
    blocks
        .filter(|lines| !lines.is_empty())
        .map(|lines| {
            let file = lines[0].strip_prefix("in ").unwrap_or_else(|| panic!("no file: {}", lines[0])).to_owned();
            let (changes, message): (Vec<&str>, Vec<&str>) = lines[1..].iter().partition(|l| l.contains(" => "));
            let ends = |t: &str| t.replace("\\n", "\n").replace("\\t", "\t");
            let changes = changes.iter().map(|c| c.split_once(" => ").map(|(from, to)| (ends(from), ends(to))).unwrap()).collect();
            Mistake { file, changes, message: message.join("\n") }
        })
        .collect()
}

fn planted(mistake: &Mistake) -> Files {
    let mut files = right();
    let text = files.get_mut(&mistake.file).unwrap();
    for (from, to) in &mistake.changes {
        assert!(text.contains(from), "{} has no {from:?}", mistake.file);
        *text = text.replacen(from, to, 1);
    }
    files
}

fn parse(files: &Files) -> Result<input::Loaded, Rejection> {
    input::parse("shot.toml", &|name| files.get(name).map(|t| t.clone().into_bytes()).ok_or(Unreadable::Missing))
}

/// Code, place and what stands there; then title, found, allowed and help.
fn message(rejection: &Rejection, d: &Diagnostic) -> String {
    let place = d.place.as_ref().unwrap();
    let source = rejection.sources().get(place.file).unwrap();
    let there = String::from_utf8_lossy(&source.bytes()[place.bytes.clone()]).into_owned();
    let there = there.lines().next().unwrap_or_default().to_owned();
    format!(
        "{} {}:{}:{} at `{there}`\n{}\nfound: {}\nallowed: {}\nhelp: {}",
        d.code,
        source.name(),
        place.line,
        place.column,
        d.title,
        d.found,
        d.allowed,
        d.help
    )
}

#[test]
fn the_files_are_right_before_a_mistake_is_planted() {
    if let Err(rejection) = parse(&right()) {
        panic!("{rejection}");
    }
}

#[test]
fn every_mistake_is_told_once_and_whole() {
    let mut wrong = Vec::new();
    let mistakes = mistakes();
    for mistake in &mistakes {
        let told = match parse(&planted(mistake)) {
            Ok(_) => "taken as right".to_owned(),
            Err(r) => r.diagnostics().iter().map(|d| message(&r, d)).collect::<Vec<_>>().join("\n"),
        };
        if told != mistake.message {
            let changes: Vec<String> = mistake.changes.iter().map(|(from, to)| format!("{from} => {to}").replace('\n', "\\n")).collect();
            wrong.push(format!("in {}\n{}\n{told}", mistake.file, changes.join("\n")));
        }
    }
    assert!(wrong.is_empty(), "{} of {} are told otherwise:\n{}", wrong.len(), mistakes.len(), wrong.join("\n\n"));
}

#[test]
fn the_table_is_large_and_no_two_messages_are_the_same() {
    let mistakes = mistakes();
    assert!(mistakes.len() >= 60, "{} mistakes", mistakes.len());
    let mut seen = BTreeSet::new();
    for mistake in &mistakes {
        let (place, text) = mistake.message.split_once('\n').unwrap();
        assert!(seen.insert(text.to_owned()), "told twice: {place}\n{text}");
        for (line, start) in text.lines().skip(1).zip(["found: ", "allowed: ", "help: "]) {
            assert!(
                line.strip_prefix(start).is_some_and(|rest| !rest.trim().is_empty()),
                "{place}: {line:?} where `{start}` says something"
            );
        }
        assert_eq!(text.lines().count(), 4, "{place}: one mistake, one message\n{text}");
    }
}

/// What the help offers to write, if it does: what stands between `write ` and the end, without back quotes.
fn offered(help: &str) -> Option<&str> {
    let rest = help.strip_prefix("write ")?;
    let one = |sign: char| rest.strip_prefix(sign).and_then(|r| r.strip_suffix(sign)).filter(|r| !r.contains(sign));
    one('`').or_else(|| one('"').map(|_| rest)).or_else(|| rest.split_once(" = ").and(Some(rest)).filter(|r| r.ends_with('"')))
}

#[test]
fn what_is_offered_mends_the_mistake() {
    let mut tried = 0;
    for mistake in mistakes() {
        let mut files = planted(&mistake);
        let rejection = parse(&files).unwrap_err();
        let [d] = rejection.diagnostics() else { panic!("{rejection}") };
        let Some(offer) = offered(&d.help) else { continue };
        let span = d.place.as_ref().unwrap();
        let name = rejection.sources().get(span.file).unwrap().name().to_owned();
        let text = files.get_mut(&name).unwrap();
        let there = &text[span.bytes.clone()];
        // A whole line is offered by its value; a name without quotes stays within those that are there, and has none in a key file.
        let value = match offer.split_once(" = ") {
            Some((key, value)) if text[..span.bytes.start].ends_with(&format!("{key} = ")) => value.to_owned(),
            _ if there.starts_with('"') && d.code != "wrong-type" && !offer.starts_with('"') => format!("\"{offer}\""),
            _ if name.ends_with(".csv") => offer.trim_matches('"').to_owned(),
            _ => offer.to_owned(),
        };
        text.replace_range(span.bytes.clone(), &value);
        if let Err(left) = parse(&files) {
            panic!("{:?}: after writing {value:?}:\n{left}", mistake.changes);
        }
        tried += 1;
    }
    assert!(tried >= 15, "{tried} offers");
}

/// The files in a folder, one of them changed.
fn in_folder(file: &str, from: &str, to: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let mistake = Mistake { file: file.to_owned(), changes: vec![(from.to_owned(), to.to_owned())], message: String::new() };
    for (name, text) in planted(&mistake) {
        std::fs::write(dir.path().join(name), text).unwrap();
    }
    dir
}

fn run_in(dir: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir).args(args).output().unwrap()
}

/// Lines broken for the window's width are one again.
fn said(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Each: the call, what was found, what is allowed or what to do. Nothing is written and nothing said on standard output.
#[test]
fn a_wrong_call_says_what_was_found_and_what_to_do() {
    let calls: &[(&[&str], &str, &str)] = &[
        (&["chek", "shot.toml"], "unrecognized subcommand 'chek'", "'check'"),
        (&["check", "shot.toml", "--jsn"], "unexpected argument '--jsn'", "a similar argument exists: '--json'"),
        (&["check"], "required arguments were not provided", "<SHOT>"),
        (&["compile", "shot.toml"], "required arguments were not provided", "--out <DIR>"),
        (&["compile", "shot.toml", "--out", "o", "--rows", "fast"], "`fast` is no rate of rows", "allowed: more than 0"),
        (&["rows", "shot.toml", "--pass", "picture", "--rate", "0", "--out", "o.csv"], "`0` is no rate of rows", "allowed: more than 0"),
        (
            &["rows", "shot.toml", "--pass", "picture", "--rate", "nan", "--out", "o.csv"],
            "`nan` is no rate of rows",
            "allowed: more than 0",
        ),
        (&["rows", "shot.toml", "--pass", "pictur", "--rate", "100", "--out", "o.csv"], "no pass `pictur`", "it has: picture, rods"),
        (
            &["rows", "shot.toml", "--pass", "picture", "--rate", "9", "--out", "-", "--per-axis"],
            "--per-axis writes a folder",
            "name a folder",
        ),
        (&["plot", "shot.toml", "--axis", "camera.trakc", "--out", "o.svg"], "no axis `camera.trakc`", "`camera.track`"),
        (&["compile", "shot.toml", "--out", "letters"], "holds `letter.txt`, which movewright did not write", "name another folder"),
        (&["new", "letters"], "letters holds `letter.txt`", "name a folder that does not exist yet"),
        (&["verify", "letters"], "neither a manifest nor columns", "name a folder that movewright wrote"),
        (&["check", "shots.toml"], "cannot read `shots.toml`", "help: check its name"),
        (&["check", "letters"], "`letters` is not a file", "help: name a file"),
    ];
    let dir = in_folder("shot.toml", "format = 1", "format = 1");
    std::fs::create_dir(dir.path().join("letters")).unwrap();
    std::fs::write(dir.path().join("letters/letter.txt"), "herons").unwrap();
    let mut seen = BTreeSet::new();
    for (args, found, help) in calls {
        let out = run_in(dir.path(), args);
        let text = said(&out.stderr);
        assert_eq!(out.status.code(), Some(2), "{args:?}: {text}");
        // A folder is looked at when the move is ready to be written, and its table told.
        assert!(out.stdout.is_empty() || args.contains(&"letters"), "{args:?}: {}", said(&out.stdout));
        for phrase in [found, help] {
            assert!(text.contains(phrase), "{args:?}: {phrase:?} is not in\n{text}");
        }
        assert_eq!(text.matches("error").count(), 1, "{args:?}: {text}");
        assert!(seen.insert(text), "{args:?} is told as another");
    }
    let left: BTreeSet<_> = std::fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left, ["keys.csv", "letters", "shot.toml", "stage.toml"].map(Into::into).into());
}

/// Each: a change that takes the shot over one limit; which, and of what.
#[test]
fn what_is_over_a_limit_is_named_with_its_limit() {
    let over: &[(&str, &str, &str, &str, &str)] = &[
        ("stage.toml", "max_velocity = 300", "max_velocity = 0.2", "exceeded: camera.track: velocity", "the limit of 0.2 mm/s"),
        ("shot.toml", "seconds_per_frame = 12", "seconds_per_frame = 0.06", "exceeded: camera.track: jerk", "the limit of 600 mm/s3"),
        ("shot.toml", "[96, 300.0]]", "[96, -300.0]]", "camera.track", "travel"),
        (
            "shot.toml",
            "settle = 3",
            "settle = 5.8",
            "exceeded: heron_a.bridge: the move from frame",
            "only 0.200 s are available between exposures",
        ),
        ("stage.toml", "from = [0, 0, -3000]", "from = [100, 1200, 5500]", "exceeded: camera", "reeds"),
    ];
    for (file, from, to, what, limit) in over {
        let dir = in_folder(file, from, to);
        let out = run_in(dir.path(), &["check", "shot.toml"]);
        let text = said(&out.stdout);
        assert_eq!(out.status.code(), Some(1), "{to}: {text}{}", said(&out.stderr));
        let named = &text[text.find("exceeded: ").unwrap_or_else(|| panic!("{to}: {text}"))..];
        for phrase in [what, limit] {
            assert!(named.contains(phrase), "{to}: {phrase:?} is not in\n{named}");
        }
    }
}

fn files_with(ends: &[&str], under: &[&str]) -> Vec<(PathBuf, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut waiting: Vec<PathBuf> = under.iter().map(|part| root.join(part)).collect();
    let mut found = Vec::new();
    while let Some(path) = waiting.pop() {
        if path.is_dir() {
            waiting.extend(std::fs::read_dir(&path).unwrap().map(|e| e.unwrap().path()));
        } else if path.extension().is_some_and(|e| ends.iter().any(|end| e == *end)) {
            let text = std::fs::read_to_string(&path).unwrap();
            found.push((path, text));
        }
    }
    assert!(!found.is_empty(), "{under:?}");
    found
}

fn is_code(slug: &str) -> bool {
    Code::ALL.iter().any(|code| code.slug() == slug)
}

/// A code that nothing reports would be a promise to scripts that is never kept.
#[test]
fn every_code_is_used_in_the_source() {
    let sources = files_with(&["rs"], &["src"]);
    for code in Code::ALL {
        let name = format!("Code::{}", code.name());
        let used = sources.iter().filter(|(path, _)| !path.ends_with("bounds/code.rs")).any(|(_, text)| {
            let code = text.split("#[cfg(test)]").next().unwrap();
            // Another code may begin with the same letters.
            code.match_indices(&name).any(|(at, _)| !code[at + name.len()..].starts_with(|c: char| c.is_alphanumeric()))
        });
        assert!(used, "nothing reports {name}");
    }
}

#[test]
fn every_code_that_is_shown_is_in_the_table() {
    for mistake in mistakes() {
        let (code, _) = mistake.message.split_once(' ').unwrap();
        assert!(is_code(code), "{code}: {:?}", mistake.changes);
    }
    let mut shown = 0;
    for (path, text) in files_with(&["md", "toml", "rs"], &["README.md", "DEVELOPERS.md", "fixtures", "examples", "tests", "src"]) {
        for (_, rest) in text.match_indices("error[").map(|(at, sign)| text.split_at(at + sign.len())) {
            let code: String = rest.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '-').collect();
            // `error[{}]` and the like are filled when the program runs.
            if rest[code.len()..].starts_with(']') && !code.is_empty() && code != "slug" {
                assert!(is_code(&code), "{}: error[{code}]", path.display());
                shown += 1;
            }
        }
    }
    assert!(shown >= 3, "{shown} codes are shown in documents and tests");
}

/// Codes were once a letter and three digits.
#[test]
fn no_code_of_letters_and_digits_is_left() {
    for (path, text) in
        files_with(&["md", "toml", "rs", "txt"], &["README.md", "DEVELOPERS.md", "fixtures", "examples", "benches", "tests", "src"])
    {
        for word in text.split(|c: char| !(c.is_alphanumeric() || c == '{' || c == '_')) {
            let old =
                word.len() == 4 && word.starts_with(|c: char| c.is_ascii_uppercase()) && word[1..].bytes().all(|b| b.is_ascii_digit());
            assert!(!old, "{}: {word}", path.display());
        }
    }
}
