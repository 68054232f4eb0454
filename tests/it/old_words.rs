//! No text for users has a word that Movewright dropped: documents, help, messages, the texts in the source.
//!
//! What: a list of words and phrases, each with what to write instead. Limits: a text that is put together from pieces is read piece by piece.

use std::fs;

use regex::Regex;

use crate::documents::{documents, helps, read, root, without_blocks};

/// Words that no text for users uses any more, with what they say instead.
const OLD: [(&str, &str); 34] = [
    (r"\btold\b", "shown, listed, said in a note"),
    (r"\bheld (to|against)\b|\bholds? (it|them|\w+ed \w+) to\b", "compared with"),
    (r"\bover (a|the|its|one) limit|\bis over one\b|\bover the tolerance\b", "limit exceeded"),
    (r"worth knowing", "notes"),
    (r"\bend switch", "limit switch"),
    (r"\bsoft ends?\b", "soft limit"),
    (r"\bturns? round\b", "reverses"),
    (r"\bcall sheet\b", "pass list"),
    (r"\brigger's sheet\b", "axis calibration sheet"),
    (r"\bstand-ins?\b", "proxy"),
    (r"\b(light )?screens?\b (that|turn)|\blight screens?\b", "gobo"),
    (r"\bway back\b", "inverse kinematics"),
    (r"\b[Tt]ak(e|en|es|ing) ([\w`]+ ){0,4}away\b", "remove"),
    (r"(\d|\}) (s|seconds|steps?|frames?|rows?|times) an? (frame|second|exposure)\b", "s per frame"),
    (r"\b(rows?|steps?|openings?|frames?|columns?) an? (second|frame|exposure|channel)\b", "per"),
    (r"(?m)^ *tried:", "fix (tested):"),
    (r"\bfor people\b", "display name"),
    (r"\bmust be given\b|\b(is|are) given too\b", "required"),
    (r"\bnext to nothing\b", "little"),
    (r"pose[_ ]to[_ ]pose", "stop_at_keys"),
    (r"\bstands? (there|on one|in the way|otherwise)\b", "is there, share, limits"),
    (r"\bmoves? otherwise\b|\bdriven otherwise\b", "has changed"),
    (r"\bshot again\b", "reshoot"),
    (r"\basked for\b", "required, chosen"),
    (r"\bfor want of\b", "because ... is missing"),
    (r"\bwithout any deviation\b|\bdeviate less\b", "no deviation, smaller deviation"),
    (r"\ba? ?slip of the\b", "wrong unit, typing error"),
    (r"\ba name of its own\b", "unique name"),
    (r"\btravel has no length\b", "the lower end is not below the upper end"),
    (r"\bwrong kind\b", "wrong type"),
    (r"\bhalf of the way\b", "half the distance"),
    (r"\bnot certainly\b", "may not be"),
    (r"\bsmall letters?\b", "lower-case letters"),
    (r"\b(1 frames|1 takes|1 axes|1 passes|1 steps|1 rows)\b", "1 frame"),
];

/// Where a word of the list is right.
const RIGHT: [&str; 2] = [
    // The message that names the new word of an old one.
    "`pose_to_pose` is now",
    "found: \"pose_to_pose\"",
];

/// Sources whose texts are not looked at: the table of words that were renamed.
const RENAMES: [&str; 1] = ["src/input/choices.rs"];

/// The texts in double quotes of a source file, its tests and comments left out.
fn literals(source: &str) -> Vec<String> {
    let source = source.split("\nmod tests {").next().unwrap();
    let (broken, character) = (Regex::new(r"\\\n\s*").unwrap(), Regex::new(r"^'(\\[^']+|[^\\'])'").unwrap());
    let mut found = Vec::new();
    let mut rest = source;
    while let Some(at) = rest.find(['"', '/', '\'']) {
        let sign = &rest[at..];
        if sign.starts_with("//") {
            rest = sign.find('\n').map_or("", |end| &sign[end..]);
        } else if let Some(text) = sign.strip_prefix('"') {
            let mut escaped = false;
            let end = text.find(|c| {
                let ends = c == '"' && !escaped;
                escaped = c == '\\' && !escaped;
                ends
            });
            let end = end.unwrap_or(text.len());
            found.push(broken.replace_all(&text[..end], "").replace("\\n", "\n").replace("\\\"", "\""));
            rest = text.get(end + 1..).unwrap_or("");
        } else {
            // A character, such as a quote; or a lifetime.
            rest = &sign[character.find(sign).map_or(1, |m| m.end())..];
        }
    }
    found
}

/// Files under a folder with one of these endings, by their paths from the root.
fn files(under: &str, endings: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    let mut waiting = vec![root().join(under)];
    while let Some(dir) = waiting.pop() {
        for path in fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()) {
            if path.is_dir() {
                waiting.push(path);
            } else if path.extension().is_some_and(|e| endings.iter().any(|end| e == *end)) {
                found.push(path.strip_prefix(root()).unwrap().to_str().unwrap().to_owned());
            }
        }
    }
    found.sort();
    found
}

/// Documents, help, messages, and every text in the source of the program.
#[test]
fn no_text_uses_a_word_of_old() {
    let mut texts: Vec<(String, String)> =
        documents().iter().map(|d| d.display().to_string()).map(|name| (name.clone(), without_blocks(&read(&name)))).collect();
    texts.extend(helps());
    let message = |l: &&str| !l.contains(" => ") && !l.starts_with('#') && !l.contains(" at `");
    let mistakes = read("tests/inside/diagnostics/mistakes.txt");
    texts.push(("mistakes.txt".to_owned(), mistakes.lines().filter(message).collect::<Vec<_>>().join("\n")));
    let sources = files("src", &["rs"]).into_iter().filter(|name| !RENAMES.contains(&name.as_str())).collect::<Vec<_>>();
    let (sources, shown) = (sources, files("src", &["js", "css", "toml"]));
    assert!(sources.len() > 150 && shown.len() >= 4, "{} {}", sources.len(), shown.len());
    texts.extend(sources.into_iter().flat_map(|name| literals(&read(&name)).into_iter().map(move |text| (name.clone(), text))));
    texts.extend(shown.into_iter().map(|name| (name.clone(), read(&name))));
    let old: Vec<(Regex, &str)> = OLD.iter().map(|(old, new)| (Regex::new(&format!("(?-u:{old})")).unwrap(), *new)).collect();
    let mut wrong = Vec::new();
    for (name, text) in texts {
        for (old, new) in &old {
            for found in old.find_iter(&text) {
                let around =
                    text[..found.start()].rsplit('\n').next().unwrap().to_owned() + text[found.start()..].split('\n').next().unwrap();
                if !RIGHT.iter().any(|right| around.contains(right)) {
                    wrong.push(format!("{name}: {:?} in {around:?}; write: {new}", found.as_str()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} texts:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn texts_are_read_from_a_source_as_the_compiler_does() {
    let source = "// \"no\"\nlet q = '\"'; f::<'a>(\"one \\\"two\\\" \\\n    three\", 1 / 2, '\\'', \"four\"); // five \"six\"\nmod tests { \"seven\" }";
    assert_eq!(literals(source), ["one \"two\" three", "four"]);
}
