//! Every message as a set: where, what was found, what is allowed, what to do.
//!
//! `diagnostics/mistakes.txt` is the table: each block plants one mistake in files that are right, and holds the whole message. Each mistake is reported once, with
//! no other behind it, and no two messages are the same. What a message offers to write is written, and then the mistake is gone.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

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
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/inside/diagnostics")
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

/// Code, place and what is there; then title, found, allowed and help.
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

/// What the help offers to write, if it does: the text between `write ` and the end, without back quotes.
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
