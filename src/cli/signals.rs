//! What a signal does: an interrupted run that writes leaves no staging directory, and a limit on the size of files is a message of every command.
//!
//! Sources: signal(7) and setrlimit(2) of the Linux manual pages: a write beyond RLIMIT_FSIZE raises SIGXFSZ, and fails with EFBIG where that signal
//! is caught. Invariant: the process ends by the signal that it was sent. A signal that whoever started the process had ignored (nohup, a job in the
//! background of a script) stays ignored. Limits: Linux alone; elsewhere, and after SIGKILL, the next run removes what is left.

/// A write beyond the limit on the size of files then fails, as one to a full disk does.
#[cfg(target_os = "linux")]
pub(super) fn catch_size_limit() {
    let _caught = signal_hook::flag::register(signal_hook::consts::SIGXFSZ, std::sync::Arc::default());
}

/// The signals that end a run remove its staging directories first.
#[cfg(target_os = "linux")]
pub(super) fn handle() {
    use std::sync::Arc;
    use std::sync::atomic::AtomicBool;
    use std::thread::Builder;

    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;
    use signal_hook::{flag, low_level};

    use crate::output::staged;

    let Some(ignored) = ignored() else { return };
    let wanted: Vec<i32> = [SIGHUP, SIGINT, SIGTERM].into_iter().filter(|s| ignored >> (s - 1) & 1 == 0).collect();
    let Ok(mut signals) = Signals::new(&wanted) else { return };
    let hear = move || {
        for signal in signals.forever() {
            let _until_the_end = staged::discard();
            let _ended = low_level::emulate_default_handler(signal);
        }
    };
    if Builder::new().name("signals".to_owned()).spawn(hear).is_err() {
        // Nobody hears them: they end the process as they would have.
        for signal in wanted {
            let _as_before = flag::register_conditional_default(signal, Arc::new(AtomicBool::new(true)));
        }
    }
}

/// Says when somebody ends a command that runs until it is ended: it then ends as one that has done what it was asked.
#[cfg(target_os = "linux")]
pub(super) fn when_ended(say: impl Fn() + Send + 'static) {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;

    let Ok(mut signals) = Signals::new([SIGHUP, SIGINT, SIGTERM]) else { return };
    let hear = move || signals.forever().for_each(|_| say());
    let _else_they_end_the_process = std::thread::Builder::new().name("signals".to_owned()).spawn(hear);
}

/// The signals that this process ignores, as bits; `None` where the system does not say.
#[cfg(target_os = "linux")]
fn ignored() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"))?;
    u64::from_str_radix(mask.trim(), 16).ok()
}

#[cfg(not(target_os = "linux"))]
pub(super) fn catch_size_limit() {}

#[cfg(not(target_os = "linux"))]
pub(super) fn handle() {}

#[cfg(not(target_os = "linux"))]
pub(super) fn when_ended(_say: impl Fn() + Send + 'static) {}
