//! What the manifest says of haze, against the shot.
//!
//! Invariant: extinction and visibility are worked out anew. Units: m, 1/m.

use serde::Deserialize;

use super::fault::{FaultKind, Faults, MANIFEST};
use crate::shot::Shot;
use crate::stage::Stage;

/// Nepers lost along the visibility, of which 2 % contrast are left.
pub(super) const NEPERS: f64 = 3.912;

/// Two honest computations of one number, as a share of it.
const ROUNDING: f64 = 1e-12;

/// What the manifest says of haze.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct HazeRecord {
    camera: String,
    full_size_visibility_m: f64,
    visibility_m: f64,
    extinction_per_m: f64,
}

/// The manifest against the shot.
pub(super) fn compare(record: Option<&HazeRecord>, stage: &Stage, shot: &Shot, faults: &mut Faults) {
    let mut wrong = |what: String| faults.file(FaultKind::Manifest, MANIFEST, what);
    let (record, haze) = match (record, shot.haze()) {
        (Some(record), Some(haze)) => (record, haze),
        (None, None) => return,
        (Some(_), None) => return wrong("haze: found an entry, expected none".to_owned()),
        (None, Some(_)) => return wrong("haze: found none, expected an entry".to_owned()),
    };
    let (camera, full) = (stage.group_name(haze.camera()), haze.full_size_visibility());
    if record.camera != camera {
        wrong(format!("haze: camera: found `{}`, expected `{camera}`", record.camera));
    }
    let here = full * stage.scale();
    for (name, found, expected) in [
        ("full_size_visibility_m", record.full_size_visibility_m, full),
        ("visibility_m", record.visibility_m, here),
        ("extinction_per_m", record.extinction_per_m, NEPERS / here),
    ] {
        if !((found - expected).abs() <= ROUNDING * expected) {
            wrong(format!("haze: {name}: found {found}, expected {expected}"));
        }
    }
}
