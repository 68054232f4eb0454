//! An exceeded limit, as JSON.
//!
//! Invariant: where no axis is meant, a body or bodies are named; where there is no frame, seconds of the program.

use schemars::JsonSchema;
use serde::Serialize;

use crate::check::{At, Subject, Violation, words};
use crate::compile::Compiled;

#[derive(Serialize, JsonSchema)]
pub(super) struct ViolationJson {
    /// Null where a figure swings or two things are too near: `body` or `bodies` names them.
    axis: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    body: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bodies: Option<[String; 2]>,
    limit: &'static str,
    part: &'static str,
    /// Null outside frame time.
    frame: Option<f64>,
    /// Seconds of the program; null within frame time.
    time_s: Option<f64>,
    from_frame: Option<f64>,
    to_frame: Option<f64>,
    value: f64,
    allowed: f64,
    keys: Option<[Option<f64>; 2]>,
    message: String,
    advice: Vec<String>,
}

/// One exceeded limit.
pub(super) fn violation(compiled: &Compiled, v: &Violation) -> ViolationJson {
    let stage = compiled.stage();
    let (axis, body, bodies) = match &v.subject {
        Subject::Axis(axis) => (Some(stage.axis_name(*axis).to_owned()), None, None),
        Subject::Body(group, _) => (None, Some(stage.group_name(*group).to_owned()), None),
        Subject::Shutter(_) => (None, stage.camera().map(|camera| stage.group_name(camera.group()).to_owned()), None),
        Subject::Pair(nearest, _) => (None, None, Some(words::pair(stage, nearest).into())),
    };
    let (frame, time_s) = match v.at {
        At::Frame(frame) => (Some(frame.0), None),
        At::Time(seconds) => (None, Some(seconds.0)),
    };
    ViolationJson {
        axis,
        body,
        bodies,
        limit: v.limit.name(),
        part: v.part.name(),
        frame,
        time_s,
        from_frame: frame.map(|_| v.span.0),
        to_frame: frame.map(|_| v.span.1),
        value: v.value,
        allowed: v.allowed,
        keys: v.between.map(|b| [b.before.map(|k| k.1), b.after.map(|k| k.1)]),
        message: words::violation(compiled, v),
        advice: v.fixes.iter().map(|f| words::fix(compiled, v, f)).collect(),
    }
}
