//! The reference of both files as Markdown: every table with its keys, units, ranges, defaults and examples.
//!
//! Invariant: `fixtures/KEYS.md` is this text, which a test holds it to.

use std::fmt::Write;

use super::{Default, Entry, Holds, ROUTINE_FILE, SHOT, STAGE, Section, all_below};
use crate::bounds::{self, Bound};

const HEAD: &str = "# Every key of both files

Written by `movewright schema --reference` from the table that the reader itself uses. `movewright schema stage` and `movewright schema shot` write the same as JSON
Schema for editors. The examples of a chapter, one after the other, make a complete file.

[stage.toml](#stagetoml), [shot.toml](#shottoml), [routine files](#routine-files), [key files](#key-files), [ranges](#ranges)
";

const KEY_FILES: &str = "## Key files

A CSV table beside the shot: `frame`, then one column per channel. A blank cell means no key at that frame. UTF-8, LF or CRLF.

```csv
frame,heron_a.hoist,heron_a.heave
1,200,
20,,0
60,360,6
96,420,-3
```
";

const RANGES: &str = "
## Ranges

Every number must lie in its range; otherwise it is `out-of-range`. The last rows say how many of a kind there may be. Where the reason is `far beyond any stage`, the range
catches a wrong unit but no real machine.

| of | range | unit | why |
| --- | --- | --- | --- |
";

/// The whole reference.
#[must_use]
pub(crate) fn markdown() -> String {
    let mut text = HEAD.to_owned();
    for (name, top) in [("stage.toml", &STAGE), ("shot.toml", &SHOT)] {
        text.push_str(&format!("\n## {name}\n\n"));
        for section in all_below(top) {
            chapter(&mut text, section);
        }
    }
    text.push_str("## routine files\n\n");
    chapter(&mut text, &ROUTINE_FILE);
    text.push_str(KEY_FILES);
    text.push_str(RANGES);
    for row in bounds::ranges() {
        let _ = writeln!(text, "| {} |", row.join(" | "));
    }
    text
}

/// The examples of a file, one below the other: a whole file.
#[cfg(test)]
pub(crate) fn example_of(top: &'static Section) -> String {
    all_below(top).into_iter().map(|section| section.example).filter(|example| !example.is_empty()).collect::<Vec<_>>().join("\n")
}

fn chapter(text: &mut String, section: &'static Section) {
    if !section.header.is_empty() {
        let header = if section.header.starts_with('`') { section.header.to_owned() } else { format!("`{}`", section.header) };
        let _ = write!(text, "### {header}\n\n");
    }
    let _ = write!(
        text,
        "{}\n\n| key | meaning | unit | range | default | example |\n| --- | --- | --- | --- | --- | --- |\n",
        section.meaning
    );
    for entry in section.keys {
        let cells = [
            format!("`{}`", entry.name),
            entry.meaning.to_owned(),
            entry.unit.to_owned(),
            range(entry),
            default(entry),
            code(entry.example),
        ];
        let _ = writeln!(text, "| {} |", cells.map(|cell| cell.replace('|', "\\|")).join(" | "));
    }
    text.push('\n');
    if !section.example.is_empty() {
        let _ = write!(text, "```toml\n{}```\n\n", section.example);
    }
}

fn code(text: &str) -> String {
    if text.is_empty() { String::new() } else { format!("`{text}`") }
}

fn default(entry: &Entry) -> String {
    match entry.default {
        Default::Must => "required".to_owned(),
        Default::MustUnlessLike => "required, or inherited through `like`".to_owned(),
        Default::Value(value) => code(value),
        Default::None(words) => words.to_owned(),
    }
}

fn range(entry: &Entry) -> String {
    match &entry.holds {
        Holds::Text => "text".to_owned(),
        Holds::Shaped(_, words) => (*words).to_owned(),
        Holds::Number(bound) => between(bound),
        Holds::Whole(least, most) if least == most => least.to_string(),
        Holds::Whole(least, i64::MAX) => format!("a whole number from {least}"),
        Holds::Whole(least, most) => format!("a whole number, {least} to {most}"),
        Holds::Flag => "true or false".to_owned(),
        Holds::Choice(words) => words().iter().map(|word| format!("`\"{word}\"`")).collect::<Vec<_>>().join(", "),
        Holds::Numbers(bounds) => match bounds {
            [first, ..] => format!("{} numbers, each {}", count(bounds.len()), between(first)),
            [] => String::new(),
        },
        Holds::TwoWholes(least, most) => format!("two whole numbers, each {least} to {most}"),
        Holds::Rows(columns) => rows(columns),
        Holds::NumberAndName([number, name], bound) => format!("1 row or more: {number}, {}, and {name} as text", between(bound)),
        Holds::RowsOrFile(columns) => format!("{}; or text", rows(columns)),
        Holds::UpTo(most, bound) => format!("1 to {most} numbers, each {}", between(bound)),
        Holds::Names(Some(n)) => format!("{} names", count(*n)),
        Holds::Names(None) => "names".to_owned(),
        Holds::Factors(bound) => format!("each {}", between(bound)),
        Holds::Points(bounds) => {
            format!("lists of {} numbers, each {}", count(bounds.len()), bounds.first().map(between).unwrap_or_default())
        }
        Holds::Lists(n, bounds) => {
            format!("{} lists of {} numbers, each {}", count(*n), count(bounds.len()), bounds.first().map(between).unwrap_or_default())
        }
        Holds::Choices(words) => {
            format!("a list of one or more of {}", words().iter().map(|word| format!("`\"{word}\"`")).collect::<Vec<_>>().join(", "))
        }
        Holds::One(_) => "a table".to_owned(),
        Holds::Many(_) | Holds::Named(_) | Holds::Kinds(_) => "tables".to_owned(),
    }
}

fn rows(columns: &[(&str, Bound)]) -> String {
    let columns: Vec<String> = columns.iter().map(|(name, bound)| format!("{name} {}", between(bound))).collect();
    format!("1 row or more: {}", columns.join(", "))
}

fn between(bound: &Bound) -> String {
    Bound { unit: "", ..*bound }.to_string()
}

fn count(n: usize) -> &'static str {
    match n {
        2 => "two",
        3 => "three",
        _ => "several",
    }
}
