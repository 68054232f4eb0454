//! The axis calibration sheet and a measurement as JSON, and the schema of that.
//!
//! Units: of the axis. Invariant: what is not known is null.

use serde::Serialize;
use serde_json::{Value, json};

use crate::rig::calibration::{Calibration, StageLine};
use crate::rig::fit::Estimate;
use crate::rig::positioning::{Positioning, Side};
use crate::rig::residual::Shape;
use crate::rig::{Approach, AxisSheet, Finding, Measurement};

/// A measurement as it was read and judged.
pub(crate) struct Measured<'m> {
    /// Name of its file.
    pub(crate) file: &'m str,
    /// Full name of the axis.
    pub(crate) axis: &'m str,
    /// The readings.
    pub(crate) measurement: &'m Measurement,
    /// Rows without a measured position.
    pub(crate) blank: usize,
    /// What they say.
    pub(crate) calibration: &'m Calibration,
}

/// The whole document.
///
/// # Errors
/// None for numbers that a checked stage and measurement have.
pub(crate) fn text(stage: &str, sheets: &[AxisSheet<'_>], measured: Option<&Measured<'_>>) -> Result<String, serde_json::Error> {
    let document = Document { format: 1, stage, axes: sheets.iter().map(sheet).collect(), measured: measured.map(judged) };
    serde_json::to_string_pretty(&document).map(|text| text + "\n")
}

fn sheet<'s>(sheet: &'s AxisSheet<'_>) -> Sheet<'s> {
    let (axis, drive) = (sheet.axis, sheet.axis.drive());
    Sheet {
        axis: sheet.name,
        unit: axis.unit().symbol(),
        steps_per_unit: StepsPerUnit { fraction: sheet.fraction.map(|f| f.to_string()), value: sheet.steps_per_unit() },
        step: sheet.step(),
        full_step: sheet.full_step(),
        motor_turn: sheet.motor_turn(),
        reverse: drive.is_reversed(),
        home: axis.home(),
        travel: [axis.travel().lower, axis.travel().upper],
        travel_steps: sheet.travel_steps,
        motor: sheet.motor(),
        full_steps_per_rev: drive.full_steps_per_rev(),
        microsteps: drive.microsteps(),
        gear_ratio: drive.gear_ratio(),
        travel_per_rev: drive.travel_per_rev(),
        backlash: axis.backlash(),
        targets: sheet.targets.as_ref().map(|t| Targets {
            margin: t.margin,
            approaches: t.approaches,
            wanted: t.wanted,
            positions: t.targets.iter().map(|t| Position { position: t.position, steps: t.steps }).collect(),
        }),
    }
}

fn judged<'m>(measured: &'m Measured<'_>) -> Judged<'m> {
    let c = measured.calibration;
    Judged {
        file: measured.file,
        axis: measured.axis,
        readings: measured.measurement.readings().len(),
        positions: measured.measurement.targets().len(),
        blank_rows: measured.blank,
        scale: value(c.fit.slope),
        measured_steps_per_unit: value(c.steps_per_unit),
        measured_backlash: c.backlash.map(value),
        deviation: c.fit.deviation,
        as_it_is: c.as_it_is.as_ref().map(figures),
        corrected: figures(&c.corrected),
        patterns: c
            .residual
            .patterns
            .iter()
            .map(|p| Pattern { shape: shape(p.shape), period: period(p.shape), amplitude: p.amplitude })
            .collect(),
        not_judged: c.residual.not_judged.iter().map(|s| shape(*s)).collect(),
        targets_judged: c.residual.targets_judged,
        uneven: c.residual.uneven.map(|u| Uneven { position: u.position, direction: direction(u.approach), deviation: u.deviation }),
        findings: c.findings.iter().map(Finding::name).collect(),
        agrees: c.agrees(),
        lines: c.lines.iter().map(line).collect(),
    }
}

fn value(e: Estimate) -> Valued {
    Valued { value: e.value, standard_error: e.error }
}

fn shape(shape: Shape) -> &'static str {
    match shape {
        Shape::Bow => "bow",
        Shape::MotorTurn(_) => "motor_turn",
        Shape::OutputTurn(_) => "output_turn",
    }
}

fn period(shape: Shape) -> Option<f64> {
    match shape {
        Shape::Bow => None,
        Shape::MotorTurn(period) | Shape::OutputTurn(period) => Some(period),
    }
}

fn direction(approach: Approach) -> &'static str {
    match approach {
        Approach::Up => "+",
        Approach::Down => "-",
    }
}

fn line(line: &StageLine) -> Line<'_> {
    Line { key: line.key, value: &line.value, was: &line.was }
}

fn figures(p: &Positioning) -> Figures {
    let side = |s: Side| OneSide { readings: s.readings, mean: s.mean, deviation: s.deviation };
    Figures {
        reversal: p.reversal,
        mean_reversal: p.mean_reversal,
        repeatability: p.repeatability,
        repeatability_up: p.repeatability_up,
        repeatability_down: p.repeatability_down,
        systematic_deviation: p.systematic,
        mean_range: p.mean_range,
        accuracy: p.accuracy,
        targets: p.targets.iter().map(|t| Target { position: t.position, up: t.up.map(side), down: t.down.map(side) }).collect(),
    }
}

/// The schema of the document.
pub(crate) fn schema() -> Value {
    let number = || json!({ "type": "number" });
    let length = || json!({ "type": "number", "minimum": 0 });
    let count = |least: u32| json!({ "type": "integer", "minimum": least });
    let or_null = |one: Value| json!({ "anyOf": [one, { "const": null }] });
    let list = |items: Value| json!({ "type": "array", "items": items });
    let object = |properties: Value| {
        let required: Vec<String> = properties.as_object().into_iter().flatten().map(|(name, _)| name.clone()).collect();
        json!({ "type": "object", "properties": properties, "required": required, "additionalProperties": false })
    };
    let pair = |items: Value| json!({ "type": "array", "items": items, "minItems": 2, "maxItems": 2 });
    let valued = object(json!({ "value": number(), "standard_error": length() }));
    let side = object(json!({ "readings": count(1), "mean": number(), "deviation": or_null(length()) }));
    let figures = object(json!({
        "reversal": or_null(length()),
        "mean_reversal": or_null(number()),
        "repeatability": or_null(length()),
        "repeatability_up": or_null(length()),
        "repeatability_down": or_null(length()),
        "systematic_deviation": length(),
        "mean_range": or_null(length()),
        "accuracy": or_null(length()),
        "targets": list(object(json!({ "position": number(), "up": or_null(side.clone()), "down": or_null(side) }))),
    }));
    let shapes = ["bow", "motor_turn", "output_turn"];
    let judged = object(json!({
        "file": { "type": "string" },
        "axis": { "type": "string" },
        "readings": count(1),
        "positions": count(1),
        "blank_rows": count(0),
        "scale": valued.clone(),
        "measured_steps_per_unit": valued.clone(),
        "measured_backlash": or_null(valued),
        "deviation": length(),
        "as_it_is": or_null(figures.clone()),
        "corrected": figures,
        "patterns": list(object(json!({ "shape": { "enum": shapes }, "period": or_null(length()), "amplitude": number() }))),
        "not_judged": list(json!({ "enum": shapes })),
        "targets_judged": { "type": "boolean" },
        "uneven": or_null(object(json!({ "position": number(), "direction": { "enum": ["+", "-"] }, "deviation": number() }))),
        "findings": list(json!({ "enum": ["scale", "sign", "backlash", "sides", "bow", "periodic", "uneven"] })),
        "agrees": { "type": "boolean" },
        "lines": list(object(json!({
            "key": { "enum": ["travel_per_rev", "reverse", "backlash"] }, "value": { "type": "string" }, "was": { "type": "string" },
        }))),
    }));
    let sheet = object(json!({
        "axis": { "type": "string" },
        "unit": { "enum": ["mm", "deg"] },
        "steps_per_unit": object(json!({ "fraction": or_null(json!({ "type": "string", "pattern": "^[0-9]+(/[0-9]+)?$" })), "value": length() })),
        "step": length(),
        "full_step": length(),
        "motor_turn": length(),
        "reverse": { "type": "boolean" },
        "home": number(),
        "travel": pair(number()),
        "travel_steps": pair(json!({ "type": "integer" })),
        "motor": or_null(json!({ "type": "string" })),
        "full_steps_per_rev": count(1),
        "microsteps": count(1),
        "gear_ratio": length(),
        "travel_per_rev": length(),
        "backlash": or_null(length()),
        "targets": or_null(object(json!({
            "margin": length(),
            "approaches": count(1),
            "wanted": or_null(count(1)),
            "positions": list(object(json!({ "position": number(), "steps": { "type": "integer" } }))),
        }))),
    }));
    let mut schema =
        object(json!({ "format": { "const": 1 }, "stage": { "type": "string" }, "axes": list(sheet), "measured": or_null(judged) }));
    if let Some(fields) = schema.as_object_mut() {
        fields.insert("$schema".into(), json!("https://json-schema.org/draft/2020-12/schema"));
        fields.insert("title".into(), json!("movewright rig --json"));
    }
    schema
}

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    stage: &'a str,
    axes: Vec<Sheet<'a>>,
    measured: Option<Judged<'a>>,
}

#[derive(Serialize)]
struct Sheet<'a> {
    axis: &'a str,
    unit: &'static str,
    steps_per_unit: StepsPerUnit,
    step: f64,
    full_step: f64,
    motor_turn: f64,
    reverse: bool,
    home: f64,
    travel: [f64; 2],
    travel_steps: [i64; 2],
    motor: Option<&'a str>,
    full_steps_per_rev: u32,
    microsteps: u32,
    gear_ratio: f64,
    travel_per_rev: f64,
    backlash: Option<f64>,
    targets: Option<Targets>,
}

#[derive(Serialize)]
struct StepsPerUnit {
    fraction: Option<String>,
    value: f64,
}

#[derive(Serialize)]
struct Targets {
    margin: f64,
    approaches: usize,
    wanted: Option<usize>,
    positions: Vec<Position>,
}

#[derive(Serialize)]
struct Position {
    position: f64,
    steps: i64,
}

#[derive(Serialize)]
struct Judged<'a> {
    file: &'a str,
    axis: &'a str,
    readings: usize,
    positions: usize,
    blank_rows: usize,
    scale: Valued,
    measured_steps_per_unit: Valued,
    measured_backlash: Option<Valued>,
    deviation: f64,
    as_it_is: Option<Figures>,
    corrected: Figures,
    patterns: Vec<Pattern>,
    not_judged: Vec<&'static str>,
    targets_judged: bool,
    uneven: Option<Uneven>,
    findings: Vec<&'static str>,
    agrees: bool,
    lines: Vec<Line<'a>>,
}

#[derive(Serialize)]
struct Valued {
    value: f64,
    standard_error: f64,
}

#[derive(Serialize)]
struct Pattern {
    shape: &'static str,
    period: Option<f64>,
    amplitude: f64,
}

#[derive(Serialize)]
struct Uneven {
    position: f64,
    direction: &'static str,
    deviation: f64,
}

#[derive(Serialize)]
struct Line<'a> {
    key: &'static str,
    value: &'a str,
    was: &'a str,
}

#[derive(Serialize)]
struct Figures {
    reversal: Option<f64>,
    mean_reversal: Option<f64>,
    repeatability: Option<f64>,
    repeatability_up: Option<f64>,
    repeatability_down: Option<f64>,
    systematic_deviation: f64,
    mean_range: Option<f64>,
    accuracy: Option<f64>,
    targets: Vec<Target>,
}

#[derive(Serialize)]
struct Target {
    position: f64,
    up: Option<OneSide>,
    down: Option<OneSide>,
}

#[derive(Serialize)]
struct OneSide {
    readings: usize,
    mean: f64,
    deviation: Option<f64>,
}
