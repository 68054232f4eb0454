//! The exposures of a wedge, as JSON.
//!
//! Units: stops from the pass's own exposure; s of the program.

use schemars::JsonSchema;
use serde::Serialize;

use crate::program::Program;

/// A frame exposed several times.
#[derive(Serialize, JsonSchema)]
pub(super) struct WedgeJson {
    frame: i64,
    exposures: Vec<ExposureJson>,
}

#[derive(Serialize, JsonSchema)]
struct ExposureJson {
    stops: f64,
    opens_s: f64,
    closes_s: f64,
}

/// The exposures of a wedge; `None` where each frame is exposed once.
pub(super) fn exposures(program: &Program) -> Option<WedgeJson> {
    let (wedge, clock) = (program.pass().wedge()?, program.clock());
    let each = wedge.stops().iter().zip(clock.wedge());
    let exposures = each.map(|(stops, [opens, closes])| ExposureJson {
        stops: *stops,
        opens_s: (clock.begin() + opens).0,
        closes_s: (clock.begin() + closes).0,
    });
    Some(WedgeJson { frame: wedge.frame(), exposures: exposures.collect() })
}
