//! Whether the camera has the time that it needs between exposures, and makes exposures so long.
//!
//! What: between two exposures the shutter must be closed for `dead_s`, and for `latency_s`, or the next trigger would come before the shutter has closed; no exposure is longer than `longest_s`.
//! Tolerance: a billionth of what is compared, for pace and shutter angle are written in decimals. Limits: the shutter is one of an angle; how long it takes to open is not known.

use super::violation::{At, Cause, Limit, Part, Subject, Violation};
use crate::program::Program;
use crate::stage::CameraTiming;
use crate::time::FrameTime;

/// Share by which a time may miss what is needed.
const SLACK: f64 = 1e-9;

/// Less time between exposures than the camera needs, or longer exposures than it makes.
pub(super) fn violations(program: &Program) -> Vec<Violation> {
    let compiled = program.compiled();
    let (timing, pass) = (compiled.stage().camera_timing(), program.pass());
    let Some(axis) = compiled.stage().axis_ids().next() else { return Vec::new() };
    let (first, last) = (program.clock().exposed().first(), program.clock().exposed().last());
    let found = |frame: i64, value: f64, allowed: f64, cause: Cause| Violation {
        subject: Subject::Shutter(axis),
        limit: Limit::Camera,
        part: Part::Photographed,
        at: At::Frame(FrameTime::of_frame(frame)),
        span: (FrameTime::of_frame(first).0, FrameTime::of_frame(last).0),
        value,
        allowed,
        between: None,
        cause,
        fixes: Vec::new(),
    };
    let mut all = Vec::new();
    if let Some((frame, closed)) = closed_least(program)
        && !(closed >= timing.closed() * (1.0 - SLACK))
    {
        let angle = Some(360.0 * (frames_between(program) - timing.closed() / pass.pace().get()))
            .filter(|a| *a > 0.0 && !program.clock().is_shortest());
        all.push(found(frame, closed, timing.closed(), Cause::ClosedTooShort(angle)));
    }
    let open = program.clock().wedge().map(|[opens, closes]| (closes - opens).0).reduce(f64::max);
    let open = open.unwrap_or(pass.pace().get() * pass.shutter().fraction());
    if let Some(longest) = timing.longest.filter(|_| !makes(timing, open)) {
        all.push(found(first, open, longest, Cause::OpenTooLong));
    }
    all
}

/// How long the shutter is closed after a frame at least, and after which; `None` for one frame.
fn closed_least(program: &Program) -> Option<(i64, f64)> {
    let (pass, exposed) = (program.pass(), program.clock().exposed());
    if !program.clock().is_shortest() {
        let closed = pass.pace().get() * (frames_between(program) - pass.shutter().fraction());
        return (exposed.count() > 1).then_some((exposed.first(), closed));
    }
    let wedge: Vec<_> = program.clock().wedge().collect();
    if !wedge.is_empty() {
        let gaps = wedge.iter().zip(wedge.iter().skip(1)).map(|([_, closes], [opens, _])| (*opens - *closes).0);
        return gaps.reduce(f64::min).map(|gap| (exposed.first(), gap));
    }
    let gap = |(i, frame): (usize, i64)| (frame, program.clock().opens(i + 1).0 - program.clock().closes(i).0);
    exposed.frames().take(exposed.count() - 1).enumerate().map(gap).reduce(|a, b| if b.1 < a.1 { b } else { a })
}

/// Frames that pass from one exposure to the next: one in a held pass, which leaves out what it does not expose.
fn frames_between(program: &Program) -> f64 {
    if program.stations().is_some() { 1.0 } else { f64::from(program.pass().every()) }
}

/// The fastest pace that leaves the camera its time between exposures; `None` where none does.
#[must_use]
pub(super) fn fastest(program: &Program) -> Option<f64> {
    let timing = program.compiled().stage().camera_timing();
    let (needs, closed) = (timing.closed(), frames_between(program) - program.pass().shutter().fraction());
    if needs == 0.0 {
        return Some(0.0);
    }
    (closed > 0.0).then(|| needs / closed)
}

/// True where an exposure of so many seconds is no longer than the camera makes.
#[must_use]
pub(super) fn makes(timing: CameraTiming, exposure: f64) -> bool {
    timing.longest.is_none_or(|longest| exposure <= longest * (1.0 + SLACK))
}
