//! What the wires of figures on three wires carry, as JSON.
//!
//! Invariant: what could not be computed is null, never zero. Units: N, frames, s.

use schemars::JsonSchema;
use serde::Serialize;

use crate::check::hang::found::{Carried, WireReport};
use crate::check::{At, PassReport};

/// What one wire of a figure carries; null where that could not be computed.
#[derive(Serialize, JsonSchema)]
pub(super) struct WireJson {
    body: String,
    /// Counted from 1.
    wire: usize,
    required_share: f64,
    least: Option<CarriedJson>,
    most: Option<CarriedJson>,
}

/// A tension and when.
#[derive(Serialize, JsonSchema)]
struct CarriedJson {
    share: f64,
    tension_n: f64,
    /// Null outside frame time.
    frame: Option<f64>,
    /// Seconds of the program; null within frame time.
    time_s: Option<f64>,
}

/// Every wire in a pass.
pub(super) fn wires(p: &PassReport) -> Vec<WireJson> {
    p.wires.iter().map(|w| wire(p, w)).collect()
}

fn wire(p: &PassReport, w: &WireReport) -> WireJson {
    let of = |c: Carried| CarriedJson {
        share: c.share,
        tension_n: c.share * w.weight,
        frame: c.at.frame().map(|f| f.0),
        time_s: if let At::Time(seconds) = c.at { Some(seconds.0) } else { None },
    };
    WireJson {
        body: p.program.compiled().stage().group_name(w.group).to_owned(),
        wire: w.wire + 1,
        required_share: w.required,
        least: w.carried.map(|[least, _]| of(least)),
        most: w.carried.map(|[_, most]| of(most)),
    }
}
