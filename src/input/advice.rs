//! What to do about a mistake where the part that found it does not say.
//!
//! Invariant: a flaw that leaves here has a help, and what it said before it came stays. Parts below this room know numbers and geometry but not the files; what to write is
//! said here, once for each code. The help is a sentence without a full stop.

use crate::bounds::Flaw;

/// The same flaw, whole.
pub(super) fn completed(mut flaw: Flaw) -> Flaw {
    if flaw.found.is_empty()
        && flaw.allowed.is_empty()
        && let Some((found, allowed)) = found_and_allowed(flaw.code)
    {
        flaw = flaw.found(found, allowed);
    }
    if flaw.help.is_empty()
        && let Some(help) = help(&flaw)
    {
        flaw = flaw.help(help);
    }
    flaw
}

/// What stands there and what may stand there, for flaws whose title says what they are.
fn found_and_allowed(code: &str) -> Option<(&'static str, &'static str)> {
    Some(match code {
        "A001" => ("a group that has no joints, or no lens", "a group with joints and a [group.lens]"),
        "A002" => ("a group without joints", "a group with joints, or no `at`"),
        "A003" => ("a channel that turns no joint of the camera by an axis of its own", "two turning channels of the camera"),
        "A004" => ("a target that moves as the camera is aimed", "a group that hangs on other channels"),
        "A005" => ("an aim, and another aim, a layer or a copy that drives the same", "one of them"),
        "P002" => ("the name of a pass before it", "a name of its own"),
        "S023" => ("an axis that a mechanism drives already", "an axis that nothing drives yet"),
        "S024" => ("the name of an axis or of another channel", "a name that is not taken"),
        _ => return None,
    })
}

fn help(flaw: &Flaw) -> Option<&'static str> {
    Some(match flaw.code {
        "R001" => return Some(range(flaw)),
        "K003" => "write a value of the kind that is allowed",
        "K004" => "change the line to format = 1, and check the keys: other formats are not read",
        "K005" => "write one of them, in quotes",
        "U002" => "name a group as the stage file does",
        "S001" => "give each group a name of its own",
        "S002" => "give each axis of a group a name of its own",
        "S003" => "describe fewer, or split the stage into two files",
        "S004" => "write the lower end first",
        "S006" => "check the travel, the steps and the gear for a slip of the unit",
        "S008" => "take `openings` away from an axis that is no shutter",
        "S010" => "put the rows in the order of their speeds, each speed once",
        "S020" => "name as many as the mechanism has, in its order",
        "S021" => "name an axis that is described under [[group.axis]]",
        "S022" => "name an axis in this unit, or change the unit of the axis",
        "S034" => "write the corner with the greater numbers",
        "S036" => "move one end, or take the rod away",
        "G002" => "measure from the limb's joint to where the wire leaves its guide",
        "G003" => "choose a neutral angle further off that line",
        "G005" => "join joints that move on one channel, or leave out those that do not move",
        "G006" => "write a direction that is not zero",
        "G008" => "name one channel that pans and one that tilts",
        "G009" => "name channels of `turn` joints, each of which moves nothing else",
        "G010" => "give the axis a travel",
        "A006" => "keep `offset` for a fixed point, or `offset_keys` for one that moves",
        "M001" => "write the rate in quotes, such as \"24\" or \"30000/1001\"",
        "M002" => "write the first frame, then the last: frames = [1, 96]",
        "M003" => "count frames from 00 to one less than the rate, as in \"10:00:00:00\"",
        "T001" => "put keys in, or keep fewer than that",
        "T002" => "put them in the order of their frames, each frame once",
        "T007" => "take keys away where the curve hardly bends",
        "D001" => "put the frames in the first column and write `frame` over it",
        "D002" => "take one of the two columns away, or correct its name",
        "D003" => "write digits with a point, or leave the cell blank",
        "D005" => "write the row's frame, or take the row away",
        "D007" => "name a column that the file has, or add the column to the file",
        "C002" => "name another group in `to`",
        "C004" => "name a channel of that group, or take the factor away",
        "C005" => "take copies away",
        "P001" => "describe each pass under a line [[pass]]",
        "P004" => "take `settle` away, or write exposure = \"held\" for a pass that stops on every frame",
        "F002" => "name a file",
        "F003" => "split the file",
        "F005" => "save the file again, or name another",
        "F006" => "write a path from the shot's folder",
        "X001" => "correct the line: a key, `=`, and one value behind it",
        _ => return None,
    })
}

/// Of a number out of its range; its unit stands behind it in what was found.
fn range(flaw: &Flaw) -> &'static str {
    let number = flaw.found.trim_start_matches(['-', '[']);
    if number.starts_with("inf") || flaw.found.contains("NaN") {
        "write a number that is finite and in this range"
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
        let said = completed(Flaw::new("A001", "camera", "no lens").help("give it one"));
        assert_eq!((said.help.as_str(), said.allowed.as_str()), ("give it one", "a group with joints and a [group.lens]"));
        let found = completed(Flaw::new("R001", "radius", "out of range").found("-inf mm", "0 to 1 mm"));
        assert_eq!((found.found.as_str(), found.help.as_str()), ("-inf mm", "write a number that is finite and in this range"));
    }
}
