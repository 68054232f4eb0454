//! Sentences about stopping after a fault.
//!
//! Form: no full stop at the end; numbers with their unit. Invariant: nothing is judged here.

use crate::check::figures::figure;
use crate::check::stopping::against::Against;
use crate::stage::Stage;

/// What an axis would run into.
#[must_use]
pub(crate) fn against(stage: &Stage, against: Against) -> String {
    match against {
        Against::Travel => "the end of its travel".to_owned(),
        Against::Carriage(axis) => format!("the carriage of {}", stage.axis_name(axis)),
    }
}

/// Less room than it takes to stop: distance, room, instant and keys in words.
pub(super) fn exceeded(stage: &Stage, name: &str, to: Against, [distance, room, when, keys]: [&str; 4]) -> String {
    let both = if matches!(to, Against::Carriage(_)) { "both need " } else { "it needs " };
    format!("{name}: after a fault at {when} {both}{distance} to stop, and {room} are left to {}{keys}", against(stage, to))
}

/// Nothing is said of what holds a load that hangs.
pub(super) fn brake_not_stated(name: &str) -> String {
    format!(
        "{name}: its load hangs, and the stage file does not say what holds it without power; write `brake = true` or `brake = false`. A self-locking screw or worm is not a brake"
    )
}

/// A load that hangs and has no brake.
pub(super) fn drops(name: &str, mass: f64) -> String {
    format!("{name}: without power its load of {} drops; fit a brake, and keep people clear of it", figure(mass, "kg"))
}

/// An axis that coasts too far: distance, room and instant in words.
pub(super) fn coasts(name: &str, pass: &str, [distance, room, when]: [&str; 3]) -> String {
    format!(
        "pass {pass}, {name}: without power it coasts {distance} from {when}, and {room} are left to the end of its travel; fit a brake, or run it slower"
    )
}
