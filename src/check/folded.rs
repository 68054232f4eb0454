//! Sentences about what exceeded limits have in common: a pace, a key, and what follows from it.
//!
//! Form: as in `words`. Invariant: every number counts violations of the report; nothing is judged here.

use super::report::{PassReport, Report};
use super::roots::Root;
use super::violation::{Cause, Limit, Subject, Violation};
use super::words;
use crate::number::directed::{self, Places};

/// The cause, as its worst violation.
#[must_use]
pub(crate) fn lead(report: &Report, root: &Root<'_>) -> String {
    let (pass, v) = root.lead;
    let name = |i: usize| report.passes.get(i).map(PassReport::name).unwrap_or_default();
    let sentence = words::violation(&report.compiled, v);
    if !root.too_fast {
        return match passes(report, root).as_slice() {
            [] | [_] if report.passes.len() < 2 => sentence,
            [one] => format!("{sentence} (pass {one})"),
            several => format!("{sentence} (passes {})", listed(several)),
        };
    }
    let pace = report.passes.get(pass).map_or(0.0, |p| p.program.clock().pace().get());
    let mut axes: Vec<_> = found(root).map(|(_, v)| v.subject.axis()).collect();
    axes.sort_unstable();
    axes.dedup();
    let all = words::limits(root.rest.len() + 1);
    if matches!(v.cause, Cause::TooLong { .. }) {
        return format!(
            "pass {} is too fast at {pace} s per frame: {all} exceeded on {}; the worst: {sentence}",
            name(pass),
            words::axes(axes.len())
        );
    }
    format!(
        "pass {} is too fast at {pace} s per frame: {all} exceeded on {}; the worst: {} of {}{}",
        name(pass),
        words::axes(axes.len()),
        words::spoken(v.limit),
        words::subject(report.compiled.stage(), &v.subject),
        share(v)
    )
}

/// What follows from the cause, where anything does.
#[must_use]
pub(crate) fn consequences(report: &Report, root: &Root<'_>) -> Option<String> {
    if root.rest.is_empty() || root.too_fast {
        return None;
    }
    let stage = report.compiled.stage();
    let named = |s: &Subject| words::subject(stage, s);
    let own = named(&root.lead.1.subject);
    let mut names: Vec<(String, usize)> = Vec::new();
    for (_, v) in &root.rest {
        let name = named(&v.subject);
        match names.iter_mut().find(|(known, _)| *known == name) {
            Some((_, n)) => *n += 1,
            None => names.push((name, 1)),
        }
    }
    names.sort_by_key(|(name, n)| (*name != own, core::cmp::Reverse(*n)));
    let shown: Vec<String> = names.iter().take(FEW).map(|(name, n)| format!("{name} ({n})")).collect();
    let more = match names.len().saturating_sub(FEW) {
        0 => String::new(),
        n => format!(" and {n} more"),
    };
    Some(format!("with it: {} exceeded, on {}{more}", words::limits(root.rest.len()), shown.join(", ")))
}

/// `, 480.3 % of limit`, where a share is what people compare by.
fn share(v: &Violation) -> String {
    let paced = matches!(v.limit, Limit::Velocity | Limit::Acceleration | Limit::Jerk | Limit::StepRate | Limit::Torque);
    let share = match v.cause {
        Cause::TooLong { seconds, available, .. } if available.0 > 0.0 => Some(seconds.0 / available.0),
        Cause::Curve | Cause::NoRoom if paced && v.allowed > 0.0 && v.value.is_finite() => Some(v.value.abs() / v.allowed),
        _ => None,
    };
    share.map_or(String::new(), |share| format!(", {} % of limit", directed::up(100.0 * share, Places::Decimals(1))))
}

/// Axes and pairs named in what follows.
const FEW: usize = 4;

fn found<'a>(root: &'a Root<'a>) -> impl Iterator<Item = super::roots::Found<'a>> {
    core::iter::once(root.lead).chain(root.rest.iter().copied())
}

/// The passes in which the violation that is shown is found: of the same axis, limit and keys.
fn passes<'a>(report: &'a Report, root: &Root<'_>) -> Vec<&'a str> {
    let lead = root.lead.1;
    let same = |v: &Violation| (v.subject.axis(), v.limit, v.part) == (lead.subject.axis(), lead.limit, lead.part);
    let mut passes: Vec<usize> = found(root).filter(|(_, v)| same(v)).map(|(i, _)| i).collect();
    passes.sort_unstable();
    passes.dedup();
    passes.into_iter().filter_map(|i| report.passes.get(i)).map(PassReport::name).collect()
}

/// `a`, `a and b`, `a, b and c`.
#[must_use]
pub(crate) fn listed(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
