//! What haze does to a shot, as JSON.
//!
//! Invariant: shares are of light, 0 to 1; what does not exist is null, never zero. Units: m on the stage, mm, 1/m, stops, per cent, frames.

use schemars::JsonSchema;
use serde::Serialize;

use crate::check::Report;
use crate::check::haze::VeiledBody;
use crate::shot::{Haze, Veiled};
use crate::stage::Stage;
use crate::time::FrameTime;

/// Haze.
#[derive(Serialize, JsonSchema)]
pub(super) struct HazeJson {
    camera: String,
    full_size_visibility_m: f64,
    visibility_m: f64,
    visibility_at_5_percent_m: f64,
    extinction_per_m: f64,
    /// Of how many frames one was looked at.
    every_frames: u64,
    bodies: Vec<VeiledJson>,
}

#[derive(Serialize, JsonSchema)]
struct VeiledJson {
    body: String,
    least: LightJson,
    greatest: LightJson,
    /// Null at no distance.
    density_change_percent: Option<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    bands: Vec<BandJson>,
}

/// By how many stops more the real air takes of a band, where the body is farthest and where it is nearest.
#[derive(Serialize, JsonSchema)]
struct BandJson {
    band: String,
    least_correction_stops: f64,
    greatest_correction_stops: f64,
}

#[derive(Serialize, JsonSchema)]
struct LightJson {
    frame: f64,
    distance_mm: f64,
    transmission: f64,
    veiling_light: f64,
    stops: f64,
}

/// The haze of a shot, where it has any.
pub(super) fn haze(report: &Report) -> Option<HazeJson> {
    let found = report.haze.as_ref()?;
    let (stage, haze) = (report.compiled.stage(), &found.haze);
    Some(HazeJson {
        camera: stage.group_name(haze.camera()).to_owned(),
        full_size_visibility_m: haze.full_size_visibility(),
        visibility_m: haze.visibility(),
        visibility_at_5_percent_m: haze.visibility_at_five_percent(),
        extinction_per_m: haze.extinction(),
        every_frames: found.stride,
        bodies: found.bodies.iter().map(|b| body(stage, haze, b)).collect(),
    })
}

fn body(stage: &Stage, haze: &Haze, b: &VeiledBody) -> VeiledJson {
    let name = stage.body_of(b.group).map_or_else(|| stage.group_name(b.group).to_owned(), |body| stage.part_name(body, b.place));
    let band = |(band, factor): &(String, f64)| BandJson {
        band: band.clone(),
        least_correction_stops: b.least.1.correction(*factor),
        greatest_correction_stops: b.greatest.1.correction(*factor),
    };
    VeiledJson {
        body: name,
        least: light(b.least),
        greatest: light(b.greatest),
        density_change_percent: b.least.1.density_for_a_tenth(),
        bands: haze.bands().iter().map(band).collect(),
    }
}

fn light((t, veiled): (FrameTime, Veiled)) -> LightJson {
    LightJson {
        frame: t.0,
        distance_mm: veiled.distance,
        transmission: veiled.transmission,
        veiling_light: veiled.veiling_light(),
        stops: veiled.stops,
    }
}
