//! A study as JSON, and the schema of that.
//!
//! Units: mm and s. Invariant: numbers are rounded to a millionth; what is not known is null.

use serde::Serialize;
use serde_json::{Value, json};

use crate::study::rig::Rig;
use crate::study::rig_beat::RigBeat;
use crate::study::{Markers, Plays, Study, shown};

/// A whole study. `within`: how far a marker may be off, where that was asked.
///
/// # Errors
/// None for numbers that a study has.
pub(crate) fn text(
    markers: &Markers,
    study: &Study,
    body: &[usize],
    within: Option<f64>,
    plays: &Plays<'_>,
) -> Result<String, serde_json::Error> {
    let name = |i: &usize| markers.names().get(*i).map_or("", String::as_str);
    let motion = |drive: usize| {
        let [from, to] = study.drives.range(drive).map(shown);
        let reaches = study.drives.reaches(drive, markers.dimensions()).into_iter();
        Motion {
            drive: drive + 1,
            from_mm: from,
            to_mm: to,
            markers: reaches
                .map(|r| Moved {
                    marker: name(&r.marker),
                    travel_mm: shown(r.travel),
                    per_mm: study.drives.share(drive, r.marker, markers.dimensions()),
                    direction: r.direction.into_iter().map(shown).collect(),
                })
                .collect(),
        }
    };
    let document = Document {
        format: 1,
        rows: markers.times().len(),
        rows_with_gaps: markers.times().len() - study.rows.len(),
        gaps: markers.gaps().into_iter().map(|(marker, lines)| Gap { marker, lines }).collect(),
        markers: markers.names(),
        dimensions: markers.dimensions(),
        body: body.iter().map(name).collect(),
        from_s: markers.times().first().copied().map(shown),
        to_s: markers.times().last().copied().map(shown),
        period_s: study.period.map(shown),
        rank: study.rank,
        within_mm: within,
        drives_needed: within.and_then(|within| study.needed(within)),
        drives: study.residuals.iter().map(|r| Drive { n: r.n, rms_mm: shown(r.rms), worst_mm: shown(r.worst) }).collect(),
        rest: study
            .drives
            .mean
            .chunks(markers.dimensions().max(1))
            .zip(markers.names())
            .map(|(position, marker)| Rest { marker, position_mm: position.iter().copied().map(shown).collect() })
            .collect(),
        motions: (0..study.described().max(plays.drives.map_or(0, |p| p.drives))).map(motion).collect(),
        written: plays.drives.map(|p| Written {
            drives: p.drives,
            period_s: p.beat.as_ref().map(|(_, period)| shown(*period)),
            keys: p.beat.as_ref().map(|(beat, _)| beat.keys(0).len()),
            recorded_within_mm: p.recorded.as_ref().map(|r| shown(r.within)),
            held_out_worst_mm: p.held_out.map(shown),
            worst_mm: shown(p.worst),
        }),
        lags: study
            .lags
            .iter()
            .map(|l| Lag { leads: l.leads + 1, follows: l.follows + 1, lag_s: shown(l.seconds), correlation: shown(l.correlation) })
            .collect(),
        hinges: study
            .hinges
            .iter()
            .map(|h| Hinge {
                markers: h.markers.iter().map(|(marker, radius)| OnHinge { marker: name(marker), radius_mm: shown(*radius) }).collect(),
                pivot_mm: h.pivot.map(shown),
                turn: h.turn.map(shown),
                from_deg: shown(h.range[0]),
                to_deg: shown(h.range[1]),
                sweep_deg: shown(h.sweep()),
                rms_mm: shown(h.rms),
                worst_mm: shown(h.worst),
                axis_error_deg: shown(h.axis_error),
            })
            .collect(),
        figure: plays.rig.map(|rig| figure(rig, plays.beat, markers)),
    };
    serde_json::to_string_pretty(&document).map(|text| text + "\n")
}

fn figure<'a>(rig: &'a Rig<'_>, beat: Option<&RigBeat>, markers: &'a Markers) -> Figure<'a> {
    Figure {
        group: &rig.group,
        rows: rig.rows,
        rms_mm: shown(rig.left.rms),
        worst_mm: shown(rig.left.worst),
        markers: rig
            .markers
            .iter()
            .map(|m| OnFigure {
                marker: markers.names().get(m.marker).map_or("", String::as_str),
                on: &m.on,
                rms_mm: shown(m.left.rms),
                worst_mm: shown(m.left.worst),
            })
            .collect(),
        axes: rig
            .axes
            .iter()
            .map(|a| UsedAxis {
                axis: &a.axis,
                unit: a.unit,
                from: shown(a.range[0]),
                to: shown(a.range[1]),
                rows_at_end: a.at_end,
                fastest_per_s: shown(a.fastest),
                allowed_per_s: a.allowed,
                without_rms_mm: a.without.map(|left| shown(left.rms)),
                without_worst_mm: a.without.map(|left| shown(left.worst)),
            })
            .collect(),
        written: beat.map(|b| WrittenBeat {
            channels: b.channels.len(),
            period_s: shown(b.period),
            keys: b.keys(),
            held_out_worst_mm: shown(b.held_out),
            worst_mm: shown(b.worst),
        }),
        not_checked: &["taut wires", "acceleration", "jerk", "clearance"],
    }
}

/// The schema of the document.
pub(crate) fn schema() -> Value {
    let count = |least: u32| json!({ "type": "integer", "minimum": least });
    let length = json!({ "type": "number", "minimum": 0 });
    let or_null = |kind: &str| json!({ "anyOf": [{ "type": kind, "minimum": 0 }, { "const": null }] });
    let object = |properties: Value| {
        let required: Vec<String> = properties.as_object().into_iter().flatten().map(|(name, _)| name.clone()).collect();
        json!({ "type": "object", "properties": properties, "required": required, "additionalProperties": false })
    };
    let list = |items: Value| json!({ "type": "array", "items": items });
    let mut schema = object(json!({
        "format": { "const": 1 },
        "rows": count(1),
        "rows_with_gaps": count(0),
        "gaps": list(object(json!({
            "marker": { "type": "string" },
            "lines": list(json!({ "type": "array", "items": count(1), "minItems": 2, "maxItems": 2 })),
        }))),
        "markers": list(json!({ "type": "string" })),
        "dimensions": { "enum": [2, 3] },
        "body": list(json!({ "type": "string" })),
        "from_s": { "type": "number" },
        "to_s": { "type": "number" },
        "period_s": or_null("number"),
        "rank": or_null("integer"),
        "within_mm": or_null("number"),
        "drives_needed": or_null("integer"),
        "drives": list(object(json!({ "n": count(1), "rms_mm": length, "worst_mm": length }))),
        "rest": list(object(json!({
            "marker": { "type": "string" },
            "position_mm": { "type": "array", "items": { "type": "number" }, "minItems": 2, "maxItems": 3 },
        }))),
        "written": { "anyOf": [{ "const": null }, object(json!({
            "drives": count(1),
            "period_s": or_null("number"),
            "keys": or_null("integer"),
            "recorded_within_mm": or_null("number"),
            "held_out_worst_mm": or_null("number"),
            "worst_mm": length,
        }))] },
        "motions": list(object(json!({
            "drive": count(1),
            "from_mm": { "type": "number" },
            "to_mm": { "type": "number" },
            "markers": list(object(json!({
                "marker": { "type": "string" },
                "travel_mm": length,
                "per_mm": { "type": "array", "items": { "type": "number" }, "minItems": 2, "maxItems": 3 },
                "direction": { "type": "array", "items": { "type": "number" }, "minItems": 2, "maxItems": 3 },
            }))),
        }))),
        "lags": list(object(json!({
            "leads": count(1),
            "follows": count(1),
            "lag_s": length,
            "correlation": { "type": "number", "minimum": -1, "maximum": 1 },
        }))),
        "hinges": list(object(json!({
            "markers": list(object(json!({ "marker": { "type": "string" }, "radius_mm": length }))),
            "pivot_mm": { "type": "array", "items": { "type": "number" }, "minItems": 3, "maxItems": 3 },
            "turn": { "type": "array", "items": { "type": "number" }, "minItems": 3, "maxItems": 3 },
            "from_deg": { "type": "number" },
            "to_deg": { "type": "number" },
            "sweep_deg": length,
            "rms_mm": length,
            "worst_mm": length,
            "axis_error_deg": length,
        }))),
        "figure": { "anyOf": [{ "const": null }, object(json!({
            "group": { "type": "string" },
            "rows": count(1),
            "rms_mm": length,
            "worst_mm": length,
            "markers": list(object(json!({
                "marker": { "type": "string" },
                "on": { "type": "string" },
                "rms_mm": length,
                "worst_mm": length,
            }))),
            "axes": list(object(json!({
                "axis": { "type": "string" },
                "unit": { "enum": ["mm", "deg"] },
                "from": { "type": "number" },
                "to": { "type": "number" },
                "rows_at_end": count(0),
                "fastest_per_s": length,
                "allowed_per_s": length,
                "without_rms_mm": or_null("number"),
                "without_worst_mm": or_null("number"),
            }))),
            "written": { "anyOf": [{ "const": null }, object(json!({
                "channels": count(1),
                "period_s": length,
                "keys": count(1),
                "held_out_worst_mm": length,
                "worst_mm": length,
            }))] },
            "not_checked": list(json!({ "type": "string" })),
        }))] },
    }));
    if let Some(fields) = schema.as_object_mut() {
        fields.insert("$schema".into(), json!("https://json-schema.org/draft/2020-12/schema"));
        fields.insert("title".into(), json!("movewright study --json"));
    }
    schema
}

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    rows: usize,
    rows_with_gaps: usize,
    gaps: Vec<Gap<'a>>,
    markers: &'a [String],
    dimensions: usize,
    body: Vec<&'a str>,
    from_s: Option<f64>,
    to_s: Option<f64>,
    period_s: Option<f64>,
    rank: Option<usize>,
    within_mm: Option<f64>,
    drives_needed: Option<usize>,
    drives: Vec<Drive>,
    rest: Vec<Rest<'a>>,
    motions: Vec<Motion<'a>>,
    written: Option<Written>,
    lags: Vec<Lag>,
    hinges: Vec<Hinge<'a>>,
    figure: Option<Figure<'a>>,
}

#[derive(Serialize)]
struct Gap<'a> {
    marker: &'a str,
    lines: Vec<[u32; 2]>,
}

#[derive(Serialize)]
struct Drive {
    n: usize,
    rms_mm: f64,
    worst_mm: f64,
}

#[derive(Serialize)]
struct Rest<'a> {
    marker: &'a str,
    position_mm: Vec<f64>,
}

#[derive(Serialize)]
struct Written {
    drives: usize,
    period_s: Option<f64>,
    keys: Option<usize>,
    recorded_within_mm: Option<f64>,
    held_out_worst_mm: Option<f64>,
    worst_mm: f64,
}

#[derive(Serialize)]
struct Motion<'a> {
    drive: usize,
    from_mm: f64,
    to_mm: f64,
    markers: Vec<Moved<'a>>,
}

#[derive(Serialize)]
struct Moved<'a> {
    marker: &'a str,
    travel_mm: f64,
    per_mm: Vec<f64>,
    direction: Vec<f64>,
}

#[derive(Serialize)]
struct Lag {
    leads: usize,
    follows: usize,
    lag_s: f64,
    correlation: f64,
}

#[derive(Serialize)]
struct Hinge<'a> {
    markers: Vec<OnHinge<'a>>,
    pivot_mm: [f64; 3],
    turn: [f64; 3],
    from_deg: f64,
    to_deg: f64,
    sweep_deg: f64,
    rms_mm: f64,
    worst_mm: f64,
    axis_error_deg: f64,
}

#[derive(Serialize)]
struct OnHinge<'a> {
    marker: &'a str,
    radius_mm: f64,
}

#[derive(Serialize)]
struct Figure<'a> {
    group: &'a str,
    rows: usize,
    rms_mm: f64,
    worst_mm: f64,
    markers: Vec<OnFigure<'a>>,
    axes: Vec<UsedAxis<'a>>,
    written: Option<WrittenBeat>,
    not_checked: &'a [&'a str],
}

#[derive(Serialize)]
struct OnFigure<'a> {
    marker: &'a str,
    on: &'a str,
    rms_mm: f64,
    worst_mm: f64,
}

#[derive(Serialize)]
struct UsedAxis<'a> {
    axis: &'a str,
    unit: &'a str,
    from: f64,
    to: f64,
    rows_at_end: usize,
    fastest_per_s: f64,
    allowed_per_s: f64,
    without_rms_mm: Option<f64>,
    without_worst_mm: Option<f64>,
}

#[derive(Serialize)]
struct WrittenBeat {
    channels: usize,
    period_s: f64,
    keys: usize,
    held_out_worst_mm: f64,
    worst_mm: f64,
}
