//! Writing to the two streams, and what a terminal gets that a file does not. Nothing else in the program writes to either.
//!
//! Invariant: a result that was lost (a full disk, a device that fails) is an error; a reader that left is none. Colour only on a terminal and never where
//! `NO_COLOR` is set; long remarks are broken into lines of 80 columns on a terminal only, so that a log keeps one line for each.
//! Limits: a standard output that is closed before the program starts cannot be told from one that leads to /dev/null; what cannot be written to standard
//! error is lost.

use std::fs::File;
use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::sync::mpsc::{self, RecvTimeoutError, Sender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::coded::Coded;
use super::{Outcome, wrap};
use crate::bounds::Code;
use crate::output::staged::{self, StagedError};

/// Writes a result to standard output. What the command ends with: `then` where all of it was written or the reader left; otherwise the reason goes
/// to standard error.
#[must_use]
pub(super) fn result(text: &str, then: Outcome) -> Outcome {
    let written = stream(|out| {
        // What the system says is kept by who writes, and reported there.
        let _kept = out.write_all(text.as_bytes());
        Ok::<(), StagedError>(())
    });
    match written {
        Ok(()) => then,
        Err(lost) => {
            error(lost.code(), lost);
            Outcome::Wrong
        }
    }
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
fn standard_output() -> io::Result<File> {
    use std::os::fd::AsFd;
    io::stdout().as_fd().try_clone_to_owned().map(File::from)
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
        as_it_stands(text.to_string().trim_end());
        return Outcome::Wrong;
    }
    let text = if colour_results() { text.ansi().to_string() } else { text.to_string() };
    result(&text, Outcome::Fine)
}

/// Writes a remark to standard error.
pub(super) fn remark(text: &str) {
    if io::stderr().is_terminal() { as_it_stands(&wrap::lines(text, 2)) } else { as_it_stands(text) }
}

/// Writes an error with its code to standard error.
pub(super) fn error(code: Code, text: impl core::fmt::Display) {
    remark(&format!("error[{code}]: {text}"));
}

/// Writes what has a form of its own, such as lines of a file with a place marked, to standard error.
pub(super) fn as_it_stands(text: &str) {
    let mut err = io::stderr().lock();
    let _closed = writeln!(err, "{text}");
}

/// True where messages may be coloured.
pub(super) fn colour() -> bool {
    io::stderr().is_terminal() && colour_is_wanted()
}

/// True where results may be coloured.
pub(super) fn colour_results() -> bool {
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
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden()).with_message(what.to_owned());
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
        self.bar.set_message(what.to_owned());
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
