//! Diagnostics as text: title, place, the line with the place marked, then what was found, what is allowed, what to do.
//!
//! Invariant: the text grows with what is shown, never with the files: at most [`MOST_SHOWN`] diagnostics, and of each one line of its file. Hidden
//! characters of the input are escaped, in the lines of its files too; what is left are line feeds and, with `colour`, the sequences of the colours.

use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};

use super::diagnostic::{Diagnostic, MOST_SHOWN, Span};
use super::sources::{Source, Sources};
use crate::bounds::{visible, visible_but};

/// A longer line is named but not shown.
const LONGEST_LINE: usize = 16 * 1024;

/// All diagnostics up to the cap.
pub(crate) fn render(diagnostics: &[Diagnostic], unlisted: usize, sources: &Sources, colour: bool) -> String {
    let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
    let mut text = String::new();
    for diagnostic in diagnostics.iter().take(MOST_SHOWN) {
        if !text.is_empty() {
            text.push_str("\n\n");
        }
        text.push_str(&one(diagnostic, sources, &renderer));
    }
    let more = diagnostics.len().saturating_sub(MOST_SHOWN) + unlisted;
    if more > 0 {
        text.push_str(&format!("\n\nand {more} more"));
    }
    text
}

fn one(diagnostic: &Diagnostic, sources: &Sources, renderer: &Renderer) -> String {
    let mut group = Group::with_title(Level::ERROR.primary_title(visible(&diagnostic.title)).id(diagnostic.code.slug()));
    let place = diagnostic.place.as_ref().and_then(|span| Some((span, sources.get(span.file)?)));
    if let Some((span, source)) = place {
        group = match excerpt(span, source) {
            Some((line, mark)) => group.element(
                Snippet::source(line)
                    .path(visible(source.name()))
                    .line_start(span.line as usize)
                    .annotation(AnnotationKind::Primary.span(mark)),
            ),
            None => group.element(Origin::path(visible(source.name())).line(span.line as usize).char_column(span.column as usize)),
        };
    }
    for (name, text) in [("found", &diagnostic.found), ("allowed", &diagnostic.allowed), ("help", &diagnostic.help)] {
        if !text.is_empty() {
            let level = if name == "help" { Level::HELP } else { Level::NOTE.with_name(Some(name)) };
            group = group.element(level.message(visible(text)));
        }
    }
    renderer.render(&[group])
}

/// The line of a span as a reader sees it, and the span within it, cut at the line's end; `None` where the line is too long or is not text.
fn excerpt(span: &Span, source: &Source) -> Option<(String, core::ops::Range<usize>)> {
    let bytes = source.bytes();
    let at = span.bytes.start.min(bytes.len());
    let before = bytes.get(..at)?;
    let from = before.iter().rev().take(LONGEST_LINE).position(|b| *b == b'\n').map(|back| at - back);
    let from = match from {
        Some(from) => from,
        None if at < LONGEST_LINE => super::lines::byte_order_mark(bytes).min(at),
        None => return None,
    };
    let rest = bytes.get(at..)?;
    let ahead = rest.iter().take(LONGEST_LINE).position(|b| *b == b'\n');
    let to = match ahead {
        Some(ahead) => at + ahead,
        None if rest.len() < LONGEST_LINE => bytes.len(),
        None => return None,
    };
    let line = core::str::from_utf8(bytes.get(from..to)?).ok()?;
    let line = line.strip_suffix('\r').unwrap_or(line);
    let start = (at - from).min(line.len());
    let end = span.bytes.end.saturating_sub(from).clamp(start, line.len());
    // A tab is widened where the line is drawn.
    let seen = |part: &str| visible_but(part, |c| c == '\t');
    let (before, marked, after) = (seen(line.get(..start)?), seen(line.get(start..end)?), seen(line.get(end..)?));
    let mark = before.len()..before.len() + marked.len();
    Some((before + &marked + &after, mark))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::bounds::Code;

    fn source(text: &str) -> Source {
        Source::new("shot.toml", text.as_bytes().into())
    }

    fn span(start: usize, end: usize) -> Span {
        Span { file: 0, line: 2, column: 3, bytes: start..end }
    }

    #[test]
    fn one_line_is_shown_and_the_mark_ends_with_it() {
        let file = source("a = 1\nkeys = [[1,\r\n2]]");
        assert_eq!(excerpt(&span(13, 22), &file).unwrap(), ("keys = [[1,".to_owned(), 7..11));
        assert_eq!(excerpt(&span(21, 22), &file).unwrap(), ("2]]".to_owned(), 2..3));
        assert_eq!(excerpt(&span(99, 99), &file).unwrap(), ("2]]".to_owned(), 3..3));
        assert!(excerpt(&span(0, 1), &source(&"x".repeat(LONGEST_LINE + 1))).is_none());
    }

    /// Coloured or not, foreign characters that act on a terminal never reach it, and the mark is under what it marks.
    #[test]
    fn hidden_characters_are_escaped_in_titles_names_and_excerpts() {
        let hidden = "\u{1b}[2J\u{9b}\u{202e}\u{200b}\u{feff}\r\u{2028}\u{e0041}";
        let mut sources = Sources::default();
        sources.push(Source::new(&format!("shot{hidden}.toml"), format!("a = 1\nb{hidden} = \"{hidden}\" # {hidden}\n").as_bytes().into()));
        let start = 10 + 2 * hidden.len() - hidden.len();
        let text = format!("unknown {hidden}\nevery pass is within the limits");
        let place = Some(span(start, start + 2 + hidden.len()));
        let diagnostic =
            Diagnostic { code: Code::UnknownKey, title: text.clone(), place, found: text.clone(), allowed: text.clone(), help: text };
        let plain = render(core::slice::from_ref(&diagnostic), 0, &sources, false);
        assert!(!plain.chars().any(|c| c != '\n' && crate::bounds::is_hidden(c)), "{plain:?}");
        assert!(plain.lines().all(|line| !line.trim_start().starts_with("every pass")), "{plain}");
        // Title, name of the file, key, value, found, allowed, help; the comment's are cut off with the line's end.
        assert_eq!(plain.matches("\\u{1b}[2J\\u{9b}\\u{202e}\\u{200b}\\u{feff}\\u{d}\\u{2028}\\u{e0041}").count(), 7, "{plain}");
        let [marked, mark] = ["b\\u{1b}", "^^"].map(|what| plain.lines().find(|line| line.contains(what)).unwrap());
        let under = marked.find('"').unwrap()..marked.rfind('"').unwrap() + 1;
        assert_eq!(mark.trim_end().len(), under.end, "{plain}");
        assert_eq!(mark.find('^').unwrap(), under.start, "{plain}");
        // The colours are the only difference.
        let coloured = render(&[diagnostic], 0, &sources, true);
        let without: String =
            coloured.split("\u{1b}[").enumerate().map(|(i, p)| if i == 0 { p } else { p.split_once('m').unwrap().1 }).collect();
        assert!(coloured != plain && without == plain, "{coloured:?}");
    }

    #[test]
    fn the_print_is_capped_and_the_rest_counted() {
        let mut sources = Sources::default();
        sources.push(source("a\nb\u{1b}[31m = 1\n"));
        let diagnostic = Diagnostic {
            code: Code::UnknownKey,
            title: "unknown key \u{1b}[31m".into(),
            place: Some(span(2, 3)),
            found: "x".into(),
            allowed: "y".into(),
            help: "write `y`".into(),
        };
        let text = render(&vec![diagnostic; 60], 5, &sources, false);
        assert!(text.ends_with("\n\nand 15 more"), "{text}");
        assert_eq!(text.matches("error[unknown-key]").count(), 50);
        assert!(!text.contains('\u{1b}'));
    }
}
