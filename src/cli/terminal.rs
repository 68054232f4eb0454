//! Writing to the two streams, and what a terminal gets that a file does not. Nothing else in the program writes to either.
//!
//! Invariant: no hidden character of an input (`bounds/visible.rs`) reaches a terminal: texts are escaped here, visibly, and JSON as JSON does it. A result
//! that was lost (a full disk, a device that fails) is an error; a reader that left is none. Colour only on a terminal and never where `NO_COLOR` is set;
//! long remarks are broken into lines of 80 columns on a terminal only, so that a log keeps one line for each.
//! Limits: a standard output that is closed before the program starts cannot be distinguished from one that leads to /dev/null; what cannot be written to standard
//! error is lost.

use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::sync::Mutex;
use std::sync::mpsc::{self, RecvTimeoutError, Sender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::coded::Coded;
use super::errors_json::Errors;
use super::show::{ACCENT_BEGINS, ACCENT_ENDS, is_accent};
use super::{Outcome, wrap};
use crate::bounds::{Code, Flaw, is_hidden, visible, visible_but};
use crate::input::Rejection;
use crate::output::staged::{self, StagedError};

/// Writes a result text to standard output. What the command ends with: `then` where all of it was written or the reader left; otherwise the reason
/// goes to standard error.
#[must_use]
pub(super) fn result(text: &str, then: Outcome) -> Outcome {
    data(&shown(text, colour_results()), then)
}

/// The same of JSON: hidden characters are escaped as JSON escapes them, which changes no value.
#[must_use]
pub(super) fn json(text: &str, then: Outcome) -> Outcome {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        // Outside a string JSON has no hidden character but the line feeds between its lines.
        if is_hidden(c) && c != '\n' {
            let mut units = [0; 2];
            escaped.extend(c.encode_utf16(&mut units).iter().map(|unit| format!("\\u{unit:04x}")));
        } else {
            escaped.push(c);
        }
    }
    data(&escaped, then)
}

/// The same of a text of the program's own in which nothing of an input stands: schemas, references, completions, the manual.
#[must_use]
pub(super) fn data(text: &str, then: Outcome) -> Outcome {
    let written = stream(|out| {
        // What the system says is kept by who writes, and reported there.
        let _kept = out.write_all(text.as_bytes());
        Ok::<(), StagedError>(())
    });
    match written {
        Ok(()) => then,
        Err(lost) => {
            // Nothing more can go there.
            let _forgotten = ERRORS.lock().map(|mut errors| errors.take());
            error(lost.code(), lost);
            Outcome::Wrong
        }
    }
}

/// The text as it is written: no hidden character but line feeds, and the accents in colour or not at all.
fn shown(text: &str, colour: bool) -> String {
    let seen = visible_but(text, |c| c == '\n' || is_accent(c));
    let (begins, ends) = if colour { ("\u{1b}[31m", "\u{1b}[0m") } else { ("", "") };
    seen.replace(ACCENT_BEGINS, begins).replace(ACCENT_ENDS, ends)
}

/// Writes to standard output what `fill` gives, as it is. A reader that left is no error.
pub(super) fn stream<E: From<StagedError>>(fill: impl FnOnce(&mut (dyn Write + Send)) -> Result<(), E>) -> Result<(), E> {
    let name = Path::new("standard output");
    match standard_output() {
        Ok(out) => staged::stream(out, name, fill),
        Err(error) => staged::stream(Refuses(error.kind()), name, fill),
    }
}

/// Standard output without a buffer that keeps errors to itself: the standard library takes a write to a descriptor that is not open for writing for done.
#[cfg(unix)]
fn standard_output() -> io::Result<std::fs::File> {
    use std::os::fd::AsFd;
    io::stdout().as_fd().try_clone_to_owned().map(std::fs::File::from)
}

#[cfg(not(unix))]
fn standard_output() -> io::Result<io::Stdout> {
    Ok(io::stdout())
}

/// A stream that could not be had.
struct Refuses(io::ErrorKind);

impl Write for Refuses {
    fn write(&mut self, _: &[u8]) -> io::Result<usize> {
        Err(self.0.into())
    }

    fn flush(&mut self) -> io::Result<()> {
        Err(self.0.into())
    }
}

/// Writes the answer to a call that runs no command: help and version to standard output, what is wrong with a call to standard error.
#[must_use]
pub(super) fn answer(answer: &clap::Error) -> Outcome {
    let text = answer.render();
    if answer.use_stderr() {
        // It repeats what was typed.
        aside(&text.to_string());
        return Outcome::Wrong;
    }
    data(&if colour_results() { text.ansi().to_string() } else { text.to_string() }, Outcome::Fine)
}

/// Writes a remark of one line to standard error.
pub(super) fn remark(text: &str) {
    let mut line = String::new();
    if io::stderr().is_terminal() {
        wrap::line(&mut line, text, 2);
    } else {
        line = visible(text) + "\n";
    }
    to_standard_error(&line);
}

/// Errors of this run, where they are wanted as JSON as well.
static ERRORS: Mutex<Option<Errors>> = Mutex::new(None);

/// From now on errors are kept for [`errors_as_json`].
pub(super) fn keep_errors() {
    if let Ok(mut errors) = ERRORS.lock() {
        *errors = Some(Errors::none());
    }
}

/// Where the input was wrong and JSON was asked for, writes what was said of it to standard output.
#[must_use]
pub(super) fn errors_as_json(outcome: Outcome) -> Outcome {
    let kept = ERRORS.lock().ok().and_then(|mut errors| errors.take());
    match kept.filter(|_| outcome == Outcome::Wrong).map(|errors| errors.text()) {
        Some(Ok(text)) => json(&text, outcome),
        _ => outcome,
    }
}

fn keep(add: impl FnOnce(&mut Errors)) {
    if let Ok(mut errors) = ERRORS.lock() {
        errors.as_mut().map(add);
    }
}

/// Writes an error of one line with its code to standard error.
pub(super) fn error(code: Code, text: impl core::fmt::Display) {
    keep(|errors| errors.add(&Flaw::new(code, "", text.to_string())));
    remark(&format!("error[{code}]: {text}"));
}

/// Writes what is wrong with a call, or with numbers that no line of a file holds alone.
#[must_use]
pub(super) fn refusal(flaw: &Flaw) -> Outcome {
    keep(|errors| errors.add(flaw));
    let field = if flaw.field.is_empty() { String::new() } else { format!("{}: ", flaw.field) };
    remark(&format!("error[{}]: {field}{flaw}", flaw.code));
    Outcome::Wrong
}

/// Writes a text of several lines to standard error.
pub(super) fn aside(text: &str) {
    to_standard_error(&(shown(text.trim_end(), colour()) + "\n"));
}

/// Writes everything that is wrong with an input to standard error, with its lines.
pub(super) fn rejection(rejection: &Rejection) {
    keep(|errors| errors.add_all(rejection));
    let colour = colour();
    // Its colours come behind the escaping of what is foreign: no other sequence is left in it.
    let seen = visible_but(&rejection.render(colour), |c| c == '\n' || colour && c == '\u{1b}');
    to_standard_error(&(seen + "\n"));
}

fn to_standard_error(text: &str) {
    let _lost = io::stderr().lock().write_all(text.as_bytes());
}

/// True where messages may be coloured.
fn colour() -> bool {
    io::stderr().is_terminal() && colour_is_wanted()
}

/// True where results may be coloured.
fn colour_results() -> bool {
    io::stdout().is_terminal() && colour_is_wanted()
}

fn colour_is_wanted() -> bool {
    std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}

/// A sign of life on long work: nothing where standard error is not a terminal, nothing before a second has passed, nothing left when it is over.
pub(super) struct Progress {
    bar: ProgressBar,
    /// Dropped when the work is over; whoever waits for the second then waits no more.
    work: Option<Sender<()>>,
    waiting: Option<JoinHandle<()>>,
}

/// How long work goes on before it is worth a sign.
const PATIENCE: Duration = Duration::from_secs(1);

impl Progress {
    /// Starts, hidden until it is worth showing.
    pub(super) fn start(what: &str) -> Progress {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden()).with_message(visible(what));
        bar.set_style(style("{spinner} {msg}", ProgressStyle::default_spinner()));
        if !io::stderr().is_terminal() {
            return Progress { bar, work: None, waiting: None };
        }
        let (work, over) = mpsc::channel::<()>();
        let shown = bar.clone();
        let show = move || {
            if over.recv_timeout(PATIENCE) == Err(RecvTimeoutError::Timeout) {
                shown.set_draw_target(ProgressDrawTarget::stderr());
                shown.enable_steady_tick(Duration::from_millis(200));
            }
        };
        // Without a thread there is no sign of life; the work goes on.
        let waiting = thread::Builder::new().name("progress".to_owned()).spawn(show).ok();
        Progress { bar, work: Some(work), waiting }
    }

    /// Says what is being done now.
    pub(super) fn now(&self, what: &str) {
        self.bar.set_message(visible(what));
    }

    /// Says how far the work is, where its length is known.
    pub(super) fn reached(&self, done: u64, of: u64) {
        if self.bar.length() != Some(of) {
            self.bar.set_length(of);
            self.bar.set_style(style("{msg:14!} [{bar:30}] {percent:>3} %, {eta} left", ProgressStyle::default_bar()));
        }
        self.bar.set_position(done);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        drop(self.work.take());
        if let Some(waiting) = self.waiting.take() {
            let _over = waiting.join();
        }
        self.bar.finish_and_clear();
    }
}

fn style(template: &str, otherwise: ProgressStyle) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or(otherwise).progress_chars("=> ")
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::cli::show::accent;

    #[test]
    fn only_our_own_accents_become_colour() {
        let text = format!("{} pond\u{1b}[2J\u{202e}\n", accent("123.0%"));
        assert_eq!(shown(&text, true), "\u{1b}[31m123.0%\u{1b}[0m pond\\u{1b}[2J\\u{202e}\n");
        assert_eq!(shown(&text, false), "123.0% pond\\u{1b}[2J\\u{202e}\n");
    }

    #[test]
    fn templates_are_right_and_nothing_is_shown_at_first() {
        ProgressStyle::with_template("{msg:14!} [{bar:30}] {percent:>3} %, {eta} left").unwrap();
        let progress = Progress::start("writing");
        progress.reached(3, 10);
        progress.reached(4, 10);
        assert!(progress.bar.is_hidden());
        assert_eq!((progress.bar.position(), progress.bar.length()), (4, Some(10)));
    }
}
