//! Sentences about the fastest pace of a pass, and what limits it.
//!
//! Form: no full stop at the end; numbers with their unit. Invariant: nothing is judged here.

use super::{part_name, spoken};
use crate::check::runnable::Runnable;
use crate::check::trials::Hindrance;
use crate::check::violation::Part;
use crate::stage::Stage;

/// The fastest pace at which a pass runs, in a sentence.
#[must_use]
pub(crate) fn runnable(stage: &Stage, r: &Runnable) -> String {
    match (r.seconds_per_frame, &r.limited_by) {
        (Some(pace), Some(Hindrance::Budget)) => {
            format!("possible: {} s/frame; not every faster pace was tried: {NOT_TRIED}", r.shown.unwrap_or(pace))
        }
        (Some(pace), Some(h)) => {
            format!("fastest possible: {} s/frame, limited by {}", r.shown.unwrap_or(pace), hindrance(stage, h))
        }
        (Some(_), None) => "nothing limits the pace".to_owned(),
        (None, Some(Hindrance::OwnTimes)) => {
            "each frame takes the time that it needs; `seconds_per_frame` sets the exposure alone".to_owned()
        }
        (None, Some(Hindrance::Budget)) => format!("the fastest possible pace is not known: {NOT_TRIED}"),
        (None, Some(h)) if r.slow_fails => {
            format!("no pace is possible at which every slower pace holds too: limited by {}", hindrance(stage, h))
        }
        (None, Some(h)) => format!("no pace is possible: limited by {}", hindrance(stage, h)),
        (None, None) => "no pace is possible".to_owned(),
    }
}

/// What keeps a pass from running faster, or at all, as in `limited by ...`.
#[must_use]
pub(crate) fn hindrance(stage: &Stage, h: &Hindrance) -> String {
    let within = |part: Part| if part == Part::Photographed { String::new() } else { format!(" in the {}", part_name(part)) };
    match h {
        Hindrance::Limit { subject, limit, part } => format!("{} of {}{}", spoken(*limit), super::subject(stage, subject), within(*part)),
        Hindrance::Clearance(part) => format!("clearance{}", within(*part)),
        Hindrance::NeverCloses => "a shutter that never closes, so that no move has time".to_owned(),
        Hindrance::OwnTimes => "the time that each frame needs (`interval`)".to_owned(),
        Hindrance::NoProgram => "a program that cannot be planned".to_owned(),
        Hindrance::Budget => "the budget of work for trying paces, which is used up (--large allows a thousand times as much)".to_owned(),
    }
}

/// Why paces were not tried.
const NOT_TRIED: &str = "the budget of work for trying paces is used up; --large allows a thousand times as much";
