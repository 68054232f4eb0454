//! What to do about a mistake where the part that found it does not say.
//!
//! Invariant: a flaw that leaves here has a help, and what it already says stays. Modules below this one know numbers and geometry but not the files; what to write is
//! said here, where the cure in the table of codes is not enough. The help is a sentence without a full stop.

use crate::bounds::{Code, Flaw};

/// The same flaw, whole.
pub(super) fn completed(mut flaw: Flaw) -> Flaw {
    if flaw.found.is_empty()
        && flaw.allowed.is_empty()
        && let Some((found, allowed)) = found_and_allowed(&flaw)
    {
        flaw = flaw.found(found, allowed);
    }
    if flaw.help.is_empty() {
        let help = help(&flaw);
        flaw = flaw.help(help);
    }
    flaw
}

/// What was found and what is allowed, for flaws whose title says what they are.
fn found_and_allowed(flaw: &Flaw) -> Option<(&'static str, &'static str)> {
    Some(match (flaw.code, flaw.field.as_str()) {
        (Code::MissingLens, _) => ("a group that has no joints, or no lens", "a group with joints and a [group.lens]"),
        (Code::MissingBody, _) => ("a group without joints", "a group with joints, or no `at`"),
        (Code::UnsuitableAimChannel, _) => {
            ("a channel that turns no joint of the camera by an axis of its own", "two turning channels of the camera")
        }
        (Code::TargetMovesWithCamera, _) => ("a target that moves as the camera is aimed", "a group that other channels move"),
        (Code::DrivenTwice, "channels") => ("an aim, and another aim, a layer or a copy on the same channel", "one of them"),
        (Code::DrivenTwice, _) => ("an axis that another mechanism drives", "an axis that no mechanism drives"),
        (Code::DuplicateName, "pass") => ("the name of a pass before it", "a unique name"),
        (Code::DuplicateName, _) => ("the name of an axis or of another channel", "a name that is not taken"),
        _ => return None,
    })
}

/// What to do: for a key where more can be said of it, else what the table of codes says.
fn help(flaw: &Flaw) -> &'static str {
    match (flaw.code, flaw.field.as_str()) {
        (Code::OutOfRange | Code::KeyDoesNotApply, "openings") => "remove `openings` from an axis that turns no gobo",
        (Code::OutOfRange, _) => range(flaw),
        (Code::TooMany, "group") => "describe fewer, or split the stage into two files",
        (Code::TooMany, "joint") => "join joints that move on one channel, or leave out those that do not move",
        (Code::TooMany, "keys") => "remove keys where the curve hardly bends",
        (Code::TooMany, "copy") => "remove copies",
        (Code::MissingKey, "group") => "describe an axis under the lines [[group]] and [[group.axis]]",
        (Code::EmptyRange, "greatest") => "write the corner with the greater numbers",
        (Code::ZeroLength, "to") => "move one end, or remove the rod",
        (Code::ZeroLength, _) => "write a direction that is not zero",
        (Code::WrongCount, _) => "name as many as the mechanism has, in its order",
        (Code::WrongUnit, _) => "name an axis in this unit, or change the unit of the axis",
        (Code::ImpossibleMechanism, "guide") => "measure from the limb's joint to where the wire leaves its guide",
        (Code::ImpossibleMechanism, "neutral") => "choose a neutral angle further from that line",
        (Code::ConflictingKeys, "offset") => "keep `offset` for a fixed point, or `offset_keys` for one that moves",
        (Code::DuplicateName, "") => "remove one of the two columns, or correct its name",
        (Code::MissingColumn, "") => "put the frames in the first column and head it `frame`",
        (Code::MissingColumn, _) => "name a column that the file has, or add the column to the file",
        (Code::MissingFrame, _) => "write the row's frame, or remove the row",
        (Code::CircularReference, "to") => "name another group in `to`",
        (Code::UnknownChannel, "scale") => "name a channel of that group, or remove the factor",
        (code, _) => code.cure(),
    }
}

/// Of a number out of its range; its unit follows it in what was found.
fn range(flaw: &Flaw) -> &'static str {
    let number = flaw.found.trim_start_matches(['-', '[']);
    if number.starts_with("inf") || flaw.found.contains("NaN") {
        "write a finite number in this range"
    } else if flaw.found.contains(' ') {
        "write a number in this range, and check its unit"
    } else {
        "write a number in this range"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_said_stays_and_what_was_not_is_said() {
        let said = completed(Flaw::new(Code::MissingLens, "camera", "no lens").help("give it one"));
        assert_eq!((said.help.as_str(), said.allowed.as_str()), ("give it one", "a group with joints and a [group.lens]"));
        let found = completed(Flaw::new(Code::OutOfRange, "radius", "out of range").found("-inf mm", "0 to 1 mm"));
        assert_eq!((found.found.as_str(), found.help.as_str()), ("-inf mm", "write a finite number in this range"));
    }
}
