//! Every sentence about how near two things come. Form as in [`super::words`].

use super::clearance::{Against, Nearest, Proof};
use super::figures::{figure, least};
use crate::number::directed::{self, Places};
use crate::stage::{GroupId, Stage};

/// Two things by name, as in files: groups, channels of carriages, obstacles, boxes.
#[must_use]
pub(crate) fn pair(stage: &Stage, n: &Nearest) -> (String, String) {
    let around = stage.surroundings();
    let first = part(stage, n.group, n.parts[0]);
    let carriage = |group| stage.body_of(group).and_then(|b| b.rail()).map(|r| stage.channel_name(r.channel).to_owned());
    match n.against {
        Against::Group(other) => (first, part(stage, other, n.parts[1])),
        Against::Own if n.parts == [None; 2] => (format!("a part of {first}"), "another of its parts".to_owned()),
        Against::Own => (first, part(stage, n.group, n.parts[1])),
        Against::Rail(other) => (carriage(n.group).unwrap_or(first), carriage(other).unwrap_or_else(|| stage.group_name(other).to_owned())),
        Against::Obstacle(i) => (first, around.obstacles.get(i).map(|o| o.name.clone()).unwrap_or_default()),
        Against::KeepOut(i) => (first, around.keep_out.get(i).map(|o| o.name.clone()).unwrap_or_default()),
    }
}

/// A part of a figure by the number of its solid; the figure where the part is not known.
fn part(stage: &Stage, group: GroupId, solid: Option<usize>) -> String {
    let name = stage.group_name(group).to_owned();
    let part = stage.body_of(group).zip(solid).and_then(|(body, solid)| body.part_name(solid));
    part.map_or(name.clone(), |part| format!("{name}{part}"))
}

/// How near two things come, shorter where the clearance is kept; `when` as in `frame 12.00`.
#[must_use]
pub(crate) fn nearest(stage: &Stage, n: &Nearest, when: &str) -> String {
    if !n.is_kept() {
        return gap(stage, n, when);
    }
    // Which parts are nearest matters where they are too near; a line of the table has room for the figures.
    let (a, b) = pair(stage, &Nearest { parts: [None; 2], ..*n });
    let (at_least, near) = if n.proof == Proof::Tight { ("", "at") } else { ("at least ", "near") };
    format!("{a} and {b}, {at_least}{} apart {near} {when} (required {})", least(n.gap, "mm"), figure(n.required, "mm"))
}

/// How near two things come, in a sentence; `when` as in `frame 12.00`.
#[must_use]
pub(crate) fn gap(stage: &Stage, n: &Nearest, when: &str) -> String {
    let (a, b) = pair(stage, n);
    let swing = if n.swing > 0.0 { format!("{} taken off for swing; ", figure(n.swing, "mm")) } else { String::new() };
    let required = format!("{swing}required clearance {}", figure(n.required, "mm"));
    let (a, b) = match n.against {
        Against::Rail(_) => (format!("the carriage of {a}"), format!("that of {b}")),
        Against::KeepOut(_) => (a, format!("the box {b}")),
        _ => (a, b),
    };
    match n.proof {
        Proof::Bound if !n.is_kept() && n.gap == f64::NEG_INFINITY => {
            format!("{a} and {b} are not proven to stay apart near {when}: no bound on their gap was found; {required}")
        }
        Proof::Bound if !n.is_kept() => {
            let short = directed::up(n.required - n.gap, Places::Decimals(3));
            format!("{a} and {b}: {required}; proven at least {} near {when}, {short} mm short of it", least(n.gap, "mm"))
        }
        _ if n.gap < 0.0 => format!("{a} and {b} overlap by {} at {when}; {required}", figure(-n.gap, "mm")),
        Proof::Tight => format!("{a} and {b} are {} apart at {when}; {required}", figure(n.gap, "mm")),
        Proof::Bound => format!("{a} and {b} are at least {} apart near {when}; {required}", least(n.gap, "mm")),
    }
}
