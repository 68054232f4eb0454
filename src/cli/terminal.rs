//! Writing to the two streams, and what a terminal gets that a file does not.
//!
//! Invariant: a closed pipe ends the output, not the program; colour only on a terminal and never where `NO_COLOR` is set.

use std::io::{IsTerminal, Write};
use std::time::Duration;

/// Writes a result to standard output.
pub(super) fn result(text: &str) {
    let mut out = std::io::stdout().lock();
    let _closed = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

/// Writes a remark to standard error.
pub(super) fn remark(text: &str) {
    let mut err = std::io::stderr().lock();
    let _closed = writeln!(err, "{text}");
}

/// True where messages may be coloured.
pub(super) fn colour() -> bool {
    std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}

/// True where results may be coloured.
pub(super) fn colour_results() -> bool {
    std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}

/// A sign of life on long work; nothing where standard error is not a terminal, nothing before half a second has passed.
pub(super) struct Progress {
    bar: indicatif::ProgressBar,
}

impl Progress {
    /// Starts, hidden until it is worth showing.
    pub(super) fn start(what: &str) -> Progress {
        let bar = if std::io::stderr().is_terminal() { indicatif::ProgressBar::new_spinner() } else { indicatif::ProgressBar::hidden() };
        bar.set_message(what.to_owned());
        bar.enable_steady_tick(Duration::from_millis(500));
        Progress { bar }
    }

    /// Says what is being done now.
    pub(super) fn now(&self, what: &str) {
        self.bar.set_message(what.to_owned());
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
