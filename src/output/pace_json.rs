//! Paces as JSON, format 1. Numbers that do not exist are null, never zero.

use schemars::JsonSchema;
use serde::Serialize;

use super::takes::PassRecord;
use crate::check::pace::schedule::Schedule;
use crate::check::pace::{Paces, PassPace, Reached};
use crate::compile::Compiled;

#[derive(Serialize, JsonSchema)]
pub(super) struct Document {
    format: u32,
    shot: String,
    camera: Option<String>,
    depth_unknown: Option<String>,
    nearest_mm: Option<f64>,
    nearest: Option<ReachedJson>,
    farthest_mm: Option<f64>,
    farthest: Option<ReachedJson>,
    focus_mm: Option<f64>,
    f_number: Option<f64>,
    f_number_marked: Option<f64>,
    f_number_followed: Option<f64>,
    followed_frame: Option<f64>,
    f_number_look: Option<f64>,
    f_number_advised: Option<f64>,
    magnification: Option<f64>,
    diffraction_mm: Option<f64>,
    passes: Vec<PassJson>,
    day_start: Option<String>,
    day_s: f64,
}

#[derive(Serialize, JsonSchema)]
struct ReachedJson {
    what: String,
    frame: f64,
    certified: bool,
}

#[derive(Serialize, JsonSchema)]
struct PassJson {
    pass: String,
    light: Option<String>,
    stop: Option<f64>,
    exposure_s: Option<f64>,
    seconds_per_frame: f64,
    seconds_per_frame_light: Option<f64>,
    fastest_runnable_seconds_per_frame: Option<f64>,
    advised_seconds_per_frame: Option<f64>,
    not_advised: Option<&'static str>,
    exposure_error_stops: ErrorJson,
    shutter_for_exposure: Option<f64>,
    out_of_focus: Vec<SoftJson>,
    differs_from_first: Vec<String>,
    blur: Vec<BlurJson>,
    limited_by_camera: bool,
    program_s: f64,
    start_s: Option<f64>,
    end_s: Option<f64>,
    start: Option<String>,
    end: Option<String>,
    parts: Vec<PartJson>,
    takes: Option<PassRecord>,
}

#[derive(Serialize, JsonSchema)]
struct BlurJson {
    what: String,
    greatest_px: f64,
    frame: i64,
    median_px: f64,
}

#[derive(Serialize, JsonSchema)]
struct PartJson {
    part: &'static str,
    seconds: f64,
}

#[derive(Serialize, JsonSchema)]
struct SoftJson {
    what: String,
    first_frame: i64,
    last_frame: i64,
    frames: usize,
}

#[derive(Serialize, JsonSchema)]
struct ErrorJson {
    as_written: Option<f64>,
    as_advised: Option<f64>,
}

/// The JSON text, ending in a line feed. `takes`: what the record says of each pass, where one was asked for.
///
/// # Errors
/// None that finite numbers can cause; passed on from the JSON library.
pub(crate) fn text(compiled: &Compiled, paces: &Paces, takes: Option<&[PassRecord]>) -> Result<String, serde_json::Error> {
    let depth = paces.depth.as_ref().ok();
    let reached = |r: &Reached| ReachedJson { what: r.what.clone(), frame: r.frame.0, certified: r.tight };
    let document = Document {
        format: 1,
        shot: compiled.shot().name().to_owned(),
        camera: paces.camera.map(|g| compiled.stage().group_name(g).to_owned()),
        depth_unknown: paces.depth.as_ref().err().cloned(),
        nearest_mm: depth.map(|d| d.nearest.mm),
        nearest: depth.map(|d| reached(&d.nearest)),
        farthest_mm: depth.map(|d| d.farthest.mm),
        farthest: depth.map(|d| reached(&d.farthest)),
        focus_mm: depth.map(|d| d.focus),
        f_number: depth.map(|d| d.fixed),
        f_number_marked: depth.and_then(|d| d.fixed_marked),
        f_number_followed: depth.and_then(|d| d.followed).map(|(stop, _)| stop),
        followed_frame: depth.and_then(|d| d.followed).map(|(_, frame)| frame.0),
        f_number_look: depth.and_then(|d| d.look),
        f_number_advised: depth.and_then(|d| d.advised),
        magnification: depth.map(|d| d.magnification),
        diffraction_mm: depth.and_then(|d| d.diffraction),
        passes: paces.passes.iter().enumerate().map(|(i, p)| pass(p, &paces.day, i, takes)).collect(),
        day_start: paces.day.start.map(|_| paces.day.clock(0.0)),
        day_s: paces.day.seconds(),
    };
    let mut text = serde_json::to_string_pretty(&document)?;
    text.push('\n');
    Ok(text)
}

fn pass(p: &PassPace, day: &Schedule, i: usize, takes: Option<&[PassRecord]>) -> PassJson {
    let slot = day.slots.get(i);
    PassJson {
        pass: p.pass.clone(),
        light: p.light.clone(),
        stop: p.stop,
        exposure_s: p.exposure,
        seconds_per_frame: p.written,
        seconds_per_frame_light: p.by_light,
        fastest_runnable_seconds_per_frame: p.by_machine,
        advised_seconds_per_frame: p.advised.map(|(pace, _)| pace),
        not_advised: p.why_not,
        exposure_error_stops: ErrorJson { as_written: p.off, as_advised: p.advised.map(|(_, off)| off) },
        shutter_for_exposure: p.shutter.filter(|angle| *angle <= 360.0),
        out_of_focus: p
            .soft
            .iter()
            .map(|s| SoftJson { what: s.what.clone(), first_frame: s.frames[0], last_frame: s.frames[1], frames: s.count })
            .collect(),
        differs_from_first: p.differs.clone(),
        blur: p
            .blurs
            .iter()
            .map(|b| BlurJson { what: b.what.clone(), greatest_px: b.greatest, frame: b.frame, median_px: b.median })
            .collect(),
        limited_by_camera: p.by_camera,
        program_s: p.program_s,
        start_s: slot.map(|s| s.start),
        end_s: slot.map(|s| s.end),
        start: slot.map(|s| day.clock(s.start)),
        end: slot.map(|s| day.clock(s.end)),
        parts: slot.map_or_else(Vec::new, |s| s.parts.iter().map(|(part, seconds)| PartJson { part, seconds: *seconds }).collect()),
        takes: takes.and_then(|takes| takes.iter().find(|record| record.pass == p.pass)).cloned(),
    }
}
