//! Writing to the two streams, and what a terminal gets that a file does not.
//!
//! Invariant: a closed pipe ends the output, not the program; colour only on a terminal and never where `NO_COLOR` is set; long remarks are broken
//! into lines of 80 columns on a terminal only, so that a log keeps one line for each.

use std::io::{IsTerminal, Write};
use std::sync::mpsc::{self, RecvTimeoutError, Sender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::wrap;
use crate::bounds::Code;

/// Writes a result to standard output.
pub(super) fn result(text: &str) {
    let mut out = std::io::stdout().lock();
    let _closed = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

/// Writes a remark to standard error.
pub(super) fn remark(text: &str) {
    if std::io::stderr().is_terminal() { as_it_stands(&wrap::lines(text, 2)) } else { as_it_stands(text) }
}

/// Writes an error with its code to standard error.
pub(super) fn error(code: Code, text: impl core::fmt::Display) {
    remark(&format!("error[{code}]: {text}"));
}

/// Writes what has a form of its own, such as lines of a file with a place marked, to standard error.
pub(super) fn as_it_stands(text: &str) {
    let mut err = std::io::stderr().lock();
    let _closed = writeln!(err, "{text}");
}

/// True where messages may be coloured.
pub(super) fn colour() -> bool {
    std::io::stderr().is_terminal() && colour_is_wanted()
}

/// True where results may be coloured.
pub(super) fn colour_results() -> bool {
    std::io::stdout().is_terminal() && colour_is_wanted()
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
        if !std::io::stderr().is_terminal() {
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
