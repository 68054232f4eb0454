//! The moves of a held pass between its exposures, as JSON.
//!
//! Invariant: one entry for each pair of neighbouring exposures. Units: s, frames.

use schemars::JsonSchema;
use serde::Serialize;

use crate::check::PassReport;

/// Moves between held exposures.
#[derive(Serialize, JsonSchema)]
pub(super) struct HeldJson {
    /// Null where each frame takes only as long as it needs.
    available_s: Option<f64>,
    moves: Vec<MoveJson>,
}

#[derive(Serialize, JsonSchema)]
struct MoveJson {
    from_frame: i64,
    to_frame: i64,
    seconds: f64,
    slowest: Option<String>,
}

/// The moves of a held pass; `None` for a moving one.
pub(super) fn moves(p: &PassReport) -> Option<HeldJson> {
    let (stage, stations) = (p.program.compiled().stage(), p.program.stations()?);
    let moves = stations.moves().iter().map(|m| MoveJson {
        from_frame: m.from,
        to_frame: m.to,
        seconds: m.seconds.0,
        slowest: m.slowest.map(|id| stage.axis_name(id).to_owned()),
    });
    Some(HeldJson { available_s: stations.available().map(|s| s.0), moves: moves.collect() })
}
