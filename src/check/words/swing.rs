//! Sentences about swinging figures.
//!
//! Form: no full stop at the end; numbers with their unit. Invariant: nothing is judged here.

use crate::check::figures::figure;
use crate::check::swing::found::SwingReport;
use crate::check::swing::settling::Settling;
use crate::program::Program;
use crate::program::hanging::hung::Unknown;
use crate::stage::Stage;
use crate::time::Seconds;

/// A figure, or one of its further modes, counted from 1.
pub(super) fn who(body: &str, mode: Option<usize>) -> String {
    mode.map_or_else(|| body.to_owned(), |mode| format!("{body} (mode {})", mode + 1))
}

/// What it is worth that each frame takes only as long as it needs.
#[must_use]
pub(crate) fn shortest(program: &Program, saved: Seconds) -> String {
    let pace = program.clock().pace().get();
    let (seconds, what) = if saved.0 < 0.0 { (-saved.0, "more") } else { (saved.0, "less") };
    format!("each frame takes only as long as it needs: {} {what} than at {pace} s", Seconds(seconds))
}

/// An exceeded limit: sizes and instant in words.
pub(super) fn exceeded(who: &str, value: f64, [shown, allowed, when, keys]: [&str; 4]) -> String {
    if value.is_finite() {
        format!("{who}: swings {shown} during exposures, at {when}; the limit is {allowed}{keys}")
    } else {
        format!("{who}: its swing could not be computed, so the limit of {allowed} counts as exceeded")
    }
}

/// Why a swing, or the time that it takes to settle, is not known.
pub(super) fn unknown(pass: &str, body: &str, what: &str, why: Unknown) -> String {
    let why = match why {
        Unknown::Budget => "the budget of work is used up; --large allows a thousand times as much".to_owned(),
        Unknown::NoLength(t) => format!(
            "its pendulum is shorter than 1 mm at {t:.1} s of the program; check `length`, `length_channel` and the sign of `length_per_unit`"
        ),
        Unknown::OutOfReach(t) => format!("a mechanism cannot reach its position at {t:.1} s of the program"),
    };
    format!("pass {pass}, {body}: {what} is not computed: {why}")
}

/// What a figure needs in a held pass, in a line.
#[must_use]
pub(crate) fn settling_line(stage: &Stage, s: &Settling) -> String {
    let seconds = |s: f64| if s.is_finite() { figure(s, "s") } else { "more than an hour".to_owned() };
    let ([longer, shorter, less], (longest, frame)) = (s.guessed, s.longest);
    let off = if shorter > longer { shorter } else { longer };
    let who = who(stage.group_name(s.group), s.mode);
    format!(
        "{who} needs up to {} (frame {frame}); {} if its period is 10 % off, {} with half the damping",
        seconds(longest),
        seconds(off),
        seconds(less)
    )
}

/// One swing in a line.
#[must_use]
pub(crate) fn short(stage: &Stage, s: &SwingReport) -> String {
    let who = who(stage.group_name(s.group), s.mode);
    let Ok(found) = s.found else { return format!("{who} not computed") };
    let limit = s.limit.map_or(String::new(), |limit| format!(" (limit {})", figure(limit, "mm")));
    format!("{who} {}{limit}", figure(found.exposed.value, "mm"))
}

/// The same with all that is known.
#[must_use]
pub(crate) fn line(stage: &Stage, s: &SwingReport) -> String {
    let who = who(stage.group_name(s.group), s.mode);
    let Ok(found) = s.found else { return format!("{who} not computed") };
    let limit = s.limit.map(|limit| format!("limit {}", figure(limit, "mm")));
    let seen = s.pixels.map(|pixels| figure(pixels, "px"));
    let more: Vec<String> = seen.into_iter().chain(limit).collect();
    let more = if more.is_empty() { String::new() } else { format!(" ({})", more.join(", ")) };
    format!(
        "{who} {} during exposures{more}, {} at most; period {}",
        figure(found.exposed.value, "mm"),
        figure(found.peak.value, "mm"),
        figure(s.period, "s")
    )
}
