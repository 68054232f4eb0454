//! What is worth knowing though it is over no limit: overshoot, steps in acceleration, axes that never move, torque nobody can check.

use super::report::Finding;
use super::torque::Torque;
use crate::compile::{AxisMove, Move};
use crate::motion::Peaks;
use crate::shot::{Shape, Shot};
use crate::signal::{Source, SourceKind, sources};
use crate::stage::{Axis, Mover, Stage, Work};

/// Every finding, axis by axis in stage order.
#[must_use]
pub fn findings(stage: &Stage, shot: &Shot, mv: &Move, reversals: &[Vec<f64>]) -> Vec<Finding> {
    let mut found = Vec::new();
    for (i, (axis, m)) in stage.axes().iter().zip(mv.axes()).enumerate() {
        let name = stage.axis_name(i);
        let layers: Vec<Source> = stage.channels_of(i).into_iter().flat_map(|c| sources::of(stage, shot, c).unwrap_or_default()).collect();
        // A mechanism's axis has a range of its own; its channels' keys are not in its unit.
        let own: &[Source] = if matches!(stage.mover(i), Mover::Own(_)) { &layers } else { &[] };
        found.extend(overshoot(shot, axis, m, own, name, i));
        for b in m.breaks() {
            found.push(Finding {
                kind: "acceleration_step",
                axis: i,
                frame: Some(b.at),
                value: Some(b.after - b.before),
                message: format!(
                    "{name}: acceleration steps by {:.4} {u}/frame2 at frame {}, which is jerk without bound; give the track a `blend`",
                    b.after - b.before,
                    b.at,
                    u = axis.unit().symbol()
                ),
            });
        }
        found.extend(stretch(stage, m, name, i));
        found.extend(flicker(shot, axis, m, name, i));
        found.extend(reversals.get(i).and_then(|r| turns(axis, r, name, i)));
        found.extend(passes_by(shot, axis, m, own, name, i));
        if m.never_moves() {
            let why = if layers.is_empty() { "nothing drives it" } else { "its layers keep it still" };
            found.push(Finding {
                kind: "never_moves",
                axis: i,
                frame: None,
                value: None,
                message: format!("{name}: never moves in the photographed span; {why}"),
            });
        } else if Torque::of(axis).is_none() {
            found.push(Finding {
                kind: "torque_unchecked",
                axis: i,
                frame: None,
                value: None,
                message: format!("{name}: torque is not checked; the stage file gives no load, rotor inertia or torque table"),
            });
        }
    }
    found
}

/// How far the rope of a drum stretches under its load, at the lowest place of the photographed span.
fn stretch(stage: &Stage, m: &AxisMove, name: &str, index: usize) -> Option<Finding> {
    let Mover::Machine(machine, _) = stage.mover(index) else { return None };
    let Work::Drum(drum, Some(hung)) = machine.work() else { return None };
    let peaks = m.peaks();
    let heights = [peaks.least, peaks.greatest].map(|e| drum.height(e.value).ok().map(|h| (h, e.at)));
    let (height, at) = heights.into_iter().flatten().min_by(|a, b| a.0.total_cmp(&b.0))?;
    let by = hung.stretch_at(height);
    Some(Finding {
        kind: "rope_stretch",
        axis: index,
        frame: Some(at),
        value: Some(by),
        message: format!("{name}: the rope stretches by {by:.3} mm under its load at most, at a height of {height:.1} mm (frame {at:.2})"),
    })
}

/// How often a turning screen's openings pass, and whether an exposure can tell them apart: above half an opening an exposure the shafts of
/// light no longer wander but flicker (the sampling theorem).
fn flicker(shot: &Shot, axis: &Axis, m: &AxisMove, name: &str, index: usize) -> Option<Finding> {
    let openings = f64::from(axis.openings()?);
    let peak = m.peaks().velocity;
    let per_frame = peak.value * openings / 360.0;
    let longest = shot.passes().iter().map(|p| p.shutter().fraction()).fold(0.0, f64::max);
    let per_exposure = per_frame * longest;
    let verdict =
        if per_exposure > 0.5 { "over a half: the light flickers instead of wandering; turn the screen slower" } else { "below a half" };
    Some(Finding {
        kind: if per_exposure > 0.5 { "flicker" } else { "openings" },
        axis: index,
        frame: Some(peak.at),
        value: Some(per_frame),
        message: format!(
            "{name}: {per_frame:.3} openings a frame at most (frame {:.2}), {per_exposure:.3} an exposure, {verdict}",
            peak.at
        ),
    })
}

/// What backlash costs where an axis turns round within the shot.
fn turns(axis: &Axis, frames: &[f64], name: &str, index: usize) -> Option<Finding> {
    let backlash = axis.backlash().filter(|b| *b > 0.0)?;
    let first = frames.first()?;
    let u = axis.unit().symbol();
    let steps = backlash * axis.drive().steps_per_unit();
    Some(Finding {
        kind: "reversals",
        axis: index,
        frame: Some(*first),
        value: Some(backlash),
        message: format!(
            "{name}: turns round {} in the photographed span, first at frame {first:.2}; each costs its backlash of {backlash} {u} ({steps:.1} steps)",
            if frames.len() == 1 { "once".to_owned() } else { format!("{} times", frames.len()) }
        ),
    })
}

/// The one source, a track, of an axis that has no other.
fn only_track<'a>(shot: &'a Shot, layers: &[Source]) -> Option<(&'a crate::shot::Track, Source)> {
    match layers {
        [one] if one.kind == SourceKind::Track => shot.tracks().get(one.index).map(|t| (t, *one)),
        _ => None,
    }
}

/// Where the curve leaves the range of the two keys around it, the worst place.
fn overshoot(shot: &Shot, axis: &Axis, m: &AxisMove, layers: &[Source], name: &str, index: usize) -> Option<Finding> {
    let (track, source) = only_track(shot, layers)?;
    // The other shapes stay within their keys' range: monotone by its slopes, the rest as sums with shares from 0 to 1.
    if !matches!(track.shape(), Shape::MinimumJerk | Shape::NaturalCubic | Shape::CatmullRom) {
        return None;
    }
    let mut values = track.keys().iter().map(|k| k.value * source.scale);
    let first = values.next()?;
    let (low, high) = values.fold((first, first), |(lo, hi), v| (lo.min(v), hi.max(v)));
    let (keys_from, keys_to) = (track.keys().first()?.frame + source.delay, track.keys().last()?.frame + source.delay);
    let range = m.curve().overlapping(keys_from, keys_to);
    let range = range.start.max(m.photographed().start)..range.end.min(m.photographed().end);
    let peaks = Peaks::of(m.curve(), range)?;
    let (below, above) = (low - peaks.least.value, peaks.greatest.value - high);
    let (by, at, value) =
        if below > above { (below, peaks.least.at, peaks.least.value) } else { (above, peaks.greatest.at, peaks.greatest.value) };
    // Less than a hundredth of a step is the arithmetic, not the curve.
    if !(by * axis.drive().steps_per_unit() > 0.01) {
        return None;
    }
    let u = axis.unit().symbol();
    Some(Finding {
        kind: "overshoot",
        axis: index,
        frame: Some(at),
        value: Some(by),
        message: format!(
            "{name}: passes the range of its keys ({low} to {high} {u}) by {by:.4} {u}, to {value:.4} {u} at frame {at:.2}; the shape `monotone` never does"
        ),
    })
}

/// By how much a blended track passes its keys at most.
fn passes_by(shot: &Shot, axis: &Axis, m: &AxisMove, layers: &[Source], name: &str, index: usize) -> Option<Finding> {
    let (track, source) = only_track(shot, layers)?;
    if !track.shape().is_blended() {
        return None;
    }
    let mut worst: Option<(f64, f64)> = None;
    for key in track.keys() {
        let frame = key.frame + source.delay;
        let Some(p) = m.curve().at(frame) else { continue };
        let off = (p - key.value * source.scale).abs();
        if off * axis.drive().steps_per_unit() > 0.5 && worst.is_none_or(|(w, _)| off > w) {
            worst = Some((off, frame));
        }
    }
    let (off, frame) = worst?;
    let u = axis.unit().symbol();
    Some(Finding {
        kind: "blended_corner",
        axis: index,
        frame: Some(frame),
        value: Some(off),
        message: format!("{name}: a blended corner passes its key at frame {frame} by {off:.4} {u}; a smaller `blend` comes nearer"),
    })
}
