//! Room to stop after a fault, as JSON.
//!
//! Invariant: what was not looked at is null, never zero. Units: of the axis, s, frames.

use schemars::JsonSchema;
use serde::Serialize;

use crate::check::PassReport;
use crate::check::stopping::against::Against;
use crate::check::stopping::found::Stopping;
use crate::check::stopping::power::WithoutPower;
use crate::stage::AxisId;

/// Room to stop of an axis at the instant at which the room exceeds the distance least; null where it was not looked at.
#[derive(Serialize, JsonSchema)]
pub(super) struct StoppingJson {
    axis: String,
    distance: Option<f64>,
    room: Option<f64>,
    /// `travel`, or the axis of the next carriage on the rail.
    to: Option<String>,
    frame: Option<f64>,
    stop_s: Option<f64>,
    /// `brake`, `drops` or `coasts`; null where the stage file does not say.
    without_power: Option<&'static str>,
    /// Null where it does not coast.
    coast: Option<CoastJson>,
}

/// How far an axis coasts without power at the instant that leaves it least room in its travel.
#[derive(Serialize, JsonSchema)]
struct CoastJson {
    distance: f64,
    room: f64,
    frame: Option<f64>,
    seconds: f64,
}

/// Every axis that the pass moves.
pub(super) fn stops(p: &PassReport) -> Vec<StoppingJson> {
    let stage = p.program.compiled().stage();
    let coast = |axis: AxisId| {
        let (_, found) = p.coasts.iter().find(|(id, _)| *id == axis)?;
        found.map(|s| CoastJson { distance: s.distance, room: s.room, frame: s.at.frame().map(|f| f.0), seconds: s.seconds })
    };
    let of = |(axis, found): &(AxisId, Option<Stopping>)| StoppingJson {
        axis: stage.axis_name(*axis).to_owned(),
        distance: found.map(|s| s.distance),
        room: found.map(|s| s.room),
        to: found.map(|s| match s.against {
            Against::Travel => "travel".to_owned(),
            Against::Carriage(other) => stage.axis_name(other).to_owned(),
        }),
        frame: found.and_then(|s| s.at.frame()).map(|f| f.0),
        stop_s: found.map(|s| s.seconds),
        without_power: WithoutPower::of(stage.axis(*axis)).name(),
        coast: coast(*axis),
    };
    p.stops.iter().map(of).collect()
}
