//! Gaps that are not kept, as violations: which two things, when, how near, and the axis to look at first.
//!
//! Invariant: one violation for every pair that is not shown to keep its gap; whether it is seen to be too small or only not
//! shown to be kept is said.

use super::clearance::{Against, ClearanceReport, Nearest, Proof};
use super::report::{Finding, Limit, Part, Violation};
use super::{between, shown};
use crate::compile::Move;
use crate::shot::{Exposure, Pass, Shot};
use crate::stage::{ChannelId, Stage};

/// The violations of a pass's clearance.
#[must_use]
pub fn violations(
    stage: &Stage,
    shot: &Shot,
    mv: &Move,
    pass: &Pass,
    report: Option<&ClearanceReport>,
    files: &[String],
) -> Vec<Violation> {
    let pairs = report.into_iter().flat_map(|r| &r.pairs);
    pairs.filter(|n| !n.is_kept()).map(|n| violation(stage, shot, mv, pass, n, files)).collect()
}

/// Two things by name, as people say it.
#[must_use]
pub fn pair(stage: &Stage, n: &Nearest) -> (String, String) {
    let group = |i: usize| stage.groups().get(i).map_or("", |g| g.name());
    let around = stage.surroundings();
    let first = group(n.group).to_owned();
    match n.against {
        Against::Group(other) => (first, group(other).to_owned()),
        Against::Rail(other) => {
            let name = |g: usize| rail(stage, g).map_or("", |c| stage.channel_name(c));
            (name(n.group).to_owned(), name(other).to_owned())
        }
        Against::Obstacle(i) => (first, around.obstacles.get(i).map_or("", |o| o.name.as_str()).to_owned()),
        Against::KeepOut(i) => (first, around.keep_out.get(i).map_or("", |o| o.name.as_str()).to_owned()),
    }
}

fn rail(stage: &Stage, group: usize) -> Option<ChannelId> {
    stage.body_of(group)?.rail().map(|r| r.channel)
}

/// The axes that move a group's body, or its carriage on a rail.
fn axes(stage: &Stage, group: usize, on_rail: bool) -> Vec<usize> {
    let Some(body) = stage.body_of(group) else { return Vec::new() };
    let channels = if on_rail { body.rail().map(|r| r.channel).into_iter().collect() } else { body.channels().to_vec() };
    channels.into_iter().flat_map(|c| stage.axes_of(c)).collect()
}

/// The axes that move what is too near.
fn candidates(stage: &Stage, n: &Nearest) -> Vec<usize> {
    let on_rail = matches!(n.against, Against::Rail(_));
    let mut candidates = axes(stage, n.group, on_rail);
    if let Against::Group(other) | Against::Rail(other) = n.against {
        candidates.extend(axes(stage, other, on_rail));
    }
    candidates
}

fn violation(stage: &Stage, shot: &Shot, mv: &Move, pass: &Pass, n: &Nearest, files: &[String]) -> Violation {
    let candidates = candidates(stage, n);
    // The axis to look at first is the first that moves at all in this pass.
    let moves = |a: &&usize| !pass.parks(stage, **a) && mv.axes().get(**a).is_some_and(|m| !m.never_moves());
    let axis = candidates.iter().find(moves).or(candidates.first()).copied().unwrap_or(0);
    let (from, to) = shot.frames().photographed();
    let part = match pass.exposure() {
        Exposure::Moving if n.frame < from => Part::RunUp,
        Exposure::Moving if n.frame > to => Part::RunDown,
        _ => Part::Photographed,
    };
    let span = match pass.exposure() {
        Exposure::Moving => mv.axes().get(axis).and_then(|m| m.curve().piece_at(n.frame)).map_or((n.frame, n.frame), |p| (p.start, p.end)),
        Exposure::Held => (n.frame.floor(), n.frame.ceil()),
    };
    let keys = between::between(stage, shot, axis, n.frame);
    let in_words = keys.as_ref().map_or(String::new(), |b| format!(", {}: {}", stage.axis_name(axis), between::words(b, files)));
    Violation {
        axis,
        limit: Limit::Clearance,
        part,
        frame: n.frame,
        span,
        value: n.gap,
        allowed: n.kept,
        between: keys,
        advice: Vec::new(),
        message: format!("{}{in_words}", sentence(stage, n)),
    }
}

/// How near two things come, in a sentence.
#[must_use]
pub fn sentence(stage: &Stage, n: &Nearest) -> String {
    worded(stage, n, &format!("frame {:.2}", n.frame))
}

/// What is not kept on the take-up of a pass: over no limit of the move, and no rows are written for it.
#[must_use]
pub fn on_the_way(stage: &Stage, pass: &str, report: Option<&ClearanceReport>) -> Vec<Finding> {
    let pairs = report.into_iter().flat_map(|r| &r.pairs).filter(|n| !n.is_kept());
    pairs
        .map(|n| Finding {
            kind: "take_up_clearance",
            axis: candidates(stage, n).first().copied().unwrap_or(0),
            frame: None,
            value: n.gap.is_finite().then_some(n.gap),
            message: format!(
                "pass {pass}: on the take-up {}; bring them from home to their starts one after the other",
                worded(stage, n, &format!("{:.1} s", n.frame))
            ),
        })
        .collect()
}

fn worded(stage: &Stage, n: &Nearest, moment: &str) -> String {
    let (a, b) = pair(stage, n);
    let kept = shown(n.kept, "mm");
    let (a, b) = match n.against {
        Against::Rail(_) => (format!("the carriage of {a}"), format!("that of {b}")),
        Against::KeepOut(_) => (a, format!("the box {b}")),
        _ => (a, b),
    };
    match n.proof {
        Proof::Bound if !n.is_kept() && n.gap == f64::NEG_INFINITY => {
            format!("it cannot be shown that {a} and {b} keep {kept} near {moment}: nothing bounds where they are")
        }
        Proof::Bound if !n.is_kept() => {
            format!("it cannot be shown that {a} and {b} keep {kept} near {moment}: only {} is certain", shown(n.gap, "mm"))
        }
        _ if n.gap < 0.0 => format!("{a} and {b} overlap by {} at {moment}; {kept} is to be kept", shown(-n.gap, "mm")),
        Proof::Tight => format!("{a} and {b} are {} apart at {moment}; {kept} is to be kept", shown(n.gap, "mm")),
        Proof::Bound => format!("{a} and {b} are at least {} apart near {moment}; {kept} is to be kept", shown(n.gap, "mm")),
    }
}
