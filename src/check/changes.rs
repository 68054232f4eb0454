//! What an edit changed: which axes, from which frame to which, and which passes shot before it are still good.
//!
//! How far is said in steps, units and pixels; a changed lens spoils a picture though every motor stands where it stood, and that is said too.
//! What: both versions are compiled, and each axis's integer counts at shutter open, middle and close of every exposure are compared, since
//! counts are what a motor receives. A pass can be kept where every frame of the new shot was photographed with every live axis on the same
//! steps at the same three instants.
//! Invariant: axes and passes are matched by name; an axis whose drive or home changed has changed throughout, whatever its counts.

use schemars::JsonSchema;
use serde::Serialize;

use super::{figures, pixels, register, shift};
use crate::compile::Compiled;
use crate::shot::light::Light;
use crate::shot::{Pass, Shot};
use crate::stage::{Axis, AxisId};

/// What is different.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Changes {
    /// Version of the format: 1.
    pub format: u32,
    /// Axes that changed, in the order of the new stage, those that are gone last.
    pub axes: Vec<AxisChange>,
    /// Every pass of either version.
    pub passes: Vec<PassChange>,
}

/// How an axis changed.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct AxisChange {
    /// Full name.
    pub axis: String,
    /// `changed`, `new`, `gone`, or `drive or home changed`.
    pub change: &'static str,
    /// First photographed frame with another count; none where the axis is new or gone.
    pub first_frame: Option<i64>,
    /// Last photographed frame with another count.
    pub last_frame: Option<i64>,
    /// How many frames have another count.
    pub frames: usize,
    /// The greatest difference, steps.
    pub max_steps: Option<i64>,
    /// The same in mm or deg.
    pub max_units: Option<f64>,
    /// mm or deg.
    pub unit: &'static str,
    /// What the difference is worth in the picture at the worst frame, pixels, all other axes as they are now; none where no camera sees what the axis moves.
    pub max_px: Option<f64>,
    /// The frame of `max_units`.
    pub at_frame: Option<i64>,
}

/// Whether a pass shot before is still good.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct PassChange {
    /// Name.
    pub pass: String,
    /// True where it need not be shot again.
    pub good: bool,
    /// Where other counts are all that spoils it: first and last frame to reshoot.
    pub frames: Option<[i64; 2]>,
    /// Why not; or what differs without harm to the picture's position.
    pub reasons: Vec<String>,
}

/// Compares two versions of a shot.
#[must_use]
pub(crate) fn between(old: &Compiled, new: &Compiled) -> Changes {
    let mut axes = Vec::new();
    let named = |axis: &str, change, unit, frames: &[i64]| AxisChange {
        axis: axis.to_owned(),
        change,
        first_frame: frames.first().copied(),
        last_frame: frames.last().copied(),
        frames: frames.len(),
        max_steps: None,
        max_units: None,
        unit,
        max_px: None,
        at_frame: None,
    };
    let stride = usize::try_from(pixels::stride(new)).unwrap_or(usize::MAX);
    let (common, halves) = (common_frames(old, new), half_openings(old, new));
    for (n, name) in new.stage().axis_ids().zip(new.stage().axis_names()) {
        let unit = new.stage().axis(n).unit().symbol();
        let Some(o) = old.stage().axis_of_name(name) else {
            axes.push(named(name, "new", unit, &[]));
            continue;
        };
        if !same_machine(old.stage().axis(o), new.stage().axis(n)) {
            axes.push(named(name, DRIVE_CHANGED, unit, &common));
            continue;
        }
        let differs = |f: &&i64| halves.iter().any(|h| !same_count(old, new, (o, n), **f, *h));
        let differing: Vec<i64> = common.iter().filter(differs).copied().collect();
        if !differing.is_empty() {
            let mut change = named(name, CHANGED, unit, &differing);
            if let Some(shift) = shift::of_axis(old, new, (o, n), &differing, stride) {
                (change.max_steps, change.max_units, change.at_frame) = (Some(shift.steps), Some(shift.units), Some(shift.frame));
                change.max_px = shift.px;
            }
            axes.push(change);
        }
    }
    for (o, axis) in old.stage().each_axis() {
        let name = old.stage().axis_name(o);
        if new.stage().axis_of_name(name).is_none() {
            axes.push(named(name, "gone", axis.unit().symbol(), &[]));
        }
    }
    let optics = optics(old, new, &common, stride);
    let mut passes: Vec<PassChange> = old.shot().passes().iter().map(|p| pass_change(old, new, p, &axes, &optics)).collect();
    for p in new.shot().passes().iter().filter(|p| old.shot().passes().iter().all(|o| o.name() != p.name())) {
        passes.push(PassChange { pass: p.name().to_owned(), good: false, frames: None, reasons: vec!["it is new".to_owned()] });
    }
    Changes { format: 1, axes, passes }
}

/// What differs in the picture though every motor stands where it stood: reasons to shoot again, then what is only worth a word.
struct Optics {
    bad: Vec<String>,
    notes: Vec<String>,
}

fn optics(old: &Compiled, new: &Compiled, frames: &[i64], stride: usize) -> Optics {
    let (mut bad, mut notes) = (Vec::new(), Vec::new());
    for camera in new.stage().bodies().iter().filter(|b| b.lens().is_some()) {
        let name = new.stage().group_name(camera.group());
        let before = old.stage().group_of_name(name).and_then(|g| old.stage().body_of(g)?.lens());
        match (before, camera.lens()) {
            (Some(was), Some(is)) if was != is => {
                let focal = if was.focal_length() == is.focal_length() {
                    String::new()
                } else {
                    format!(", focal length {} mm, was {} mm", is.focal_length(), was.focal_length())
                };
                let by = shift::of_lens(new, camera, was, frames, stride);
                let by = by.map_or_else(String::new, |px| {
                    format!(": the same positions are up to {} elsewhere in the picture", figures::figure(px, "px"))
                });
                bad.push(format!("the lens of {name} has changed{focal}{by}"));
            }
            (None, Some(_)) => notes.push(format!("{name} has a lens now: there was no picture to compare")),
            _ => {}
        }
    }
    match (old.shot().haze(), new.shot().haze()) {
        (Some(was), Some(is)) if !((was.visibility() - is.visibility()).abs() <= SAME_HAZE * was.visibility()) => bad.push(format!(
            "the haze has changed: visibility {} on the stage, was {}; what was shot in clear air is not concerned",
            figures::figure(is.visibility(), "m"),
            figures::figure(was.visibility(), "m")
        )),
        (None, Some(is)) => {
            notes.push(format!("the shot describes haze now, visibility {} on the stage", figures::figure(is.visibility(), "m")));
        }
        (Some(_), None) => notes.push("the shot no longer describes haze".to_owned()),
        _ => {}
    }
    let (was, is) = (old.shot().frame_rate().to_string(), new.shot().frame_rate().to_string());
    if was != is {
        notes.push(format!(
            "the frame rate is {is} now, was {was}: positions match frame by frame, timecode and the speed on the screen differ"
        ));
    }
    Optics { bad, notes }
}

/// Visibilities of which one differs from the other by no more than this share are one: roundings of scale x visibility.
const SAME_HAZE: f64 = 1e-12;

const CHANGED: &str = "changed";

const DRIVE_CHANGED: &str = "drive or home changed";

/// Where cycles and drifts count from another frame than before: that they do, and what keeps them where they were.
fn other_start(old: &Shot, new: &Shot) -> Option<String> {
    let counts = |shot: &Shot| !shot.cycles().is_empty() || !shot.drifts().is_empty();
    let (was, is) = (old.cycle_start(), new.cycle_start());
    if was == is || !counts(old) || !counts(new) {
        return None;
    }
    let cure = match new.written_cycle_start() {
        Some(_) => format!("write `cycle_start = {was}` to keep them unchanged"),
        None => format!("`cycle_start` is missing, so they begin at the first frame: write `cycle_start = {was}` to keep them unchanged"),
    };
    Some(format!("cycles and drifts now count from frame {is}, was frame {was}; {cure}"))
}

/// Frames photographed in both.
fn common_frames(old: &Compiled, new: &Compiled) -> Vec<i64> {
    new.shot().frames().frames().filter(|f| old.shot().frames().contains(*f)).collect()
}

/// Half widths of every exposure of either version, each once, and the middle.
fn half_openings(old: &Compiled, new: &Compiled) -> Vec<f64> {
    let mut halves = vec![0.0];
    for pass in old.shot().passes().iter().chain(new.shot().passes()) {
        for half in register::instants(pass) {
            if halves.iter().all(|h: &f64| h.to_bits() != half.to_bits()) {
                halves.push(half);
            }
        }
    }
    halves
}

fn same_machine(o: &Axis, n: &Axis) -> bool {
    o.drive() == n.drive() && o.home().to_bits() == n.home().to_bits() && o.unit() == n.unit()
}

fn same_count(old: &Compiled, new: &Compiled, (o, n): (AxisId, AxisId), frame: i64, offset: f64) -> bool {
    register::count(old, o, frame, offset) == register::count(new, n, frame, offset)
}

/// The frames that a pass exposes, in words.
fn one_in(pass: &Pass) -> String {
    if let Some(wedge) = pass.wedge() {
        return format!("frame {} alone", wedge.frame());
    }
    match pass.every() {
        1 => "every frame".to_owned(),
        n => format!("one frame in {n}"),
    }
}

/// In what the light of a pass differs, and whether that spoils what was shot: another light does; another reading of the same one asks for another exposure.
fn light_change((old, was): (&Shot, &Pass), (new, now): (&Shot, &Pass)) -> (bool, Option<String>) {
    let (before, after) = (old.lighting().of(was.light()), new.lighting().of(now.light()));
    let (Some(before), Some(after)) = (before, after) else { return (false, None) };
    if before.name != after.name {
        return (true, Some(format!("the light is `{}` now, was `{}`", after.name, before.name)));
    }
    let shown =
        |l: &Light| format!("f/{} at {} s, filter factor {}, reciprocity {}", l.f_number, l.seconds, l.filter_factor, l.reciprocity);
    let (shown_before, shown_after) = (shown(before), shown(after));
    (
        false,
        (shown_before != shown_after)
            .then(|| format!("light `{}` asks for another exposure: {shown_after} now, was {shown_before}", after.name)),
    )
}

fn pass_change(old: &Compiled, new: &Compiled, pass: &Pass, axes: &[AxisChange], optics: &Optics) -> PassChange {
    let name = pass.name();
    let Some(now) = new.shot().passes().iter().find(|p| p.name() == name) else {
        return PassChange {
            pass: name.to_owned(),
            good: true,
            frames: None,
            reasons: vec!["the shot no longer has this pass".to_owned()],
        };
    };
    let (mut bad, mut notes) = (optics.bad.clone(), optics.notes.clone());
    if now.stop() != pass.stop() {
        let shown = |stop: Option<f64>| stop.map_or_else(|| "not given".to_owned(), |n| format!("f/{n}"));
        bad.push(format!("the stop is {} now, was {}: depth of field differs", shown(now.stop()), shown(pass.stop())));
    }
    let (is_bad, light) = light_change((old.shot(), pass), (new.shot(), now));
    (if is_bad { &mut bad } else { &mut notes }).extend(light);
    let (before, after) = (old.shot().frames(), new.shot().frames());
    if after.first() < before.first() || before.last() < after.last() {
        bad.push(format!(
            "frames {} to {} are required; {} to {} were photographed",
            after.first(),
            after.last(),
            before.first(),
            before.last()
        ));
    } else if let Some(missing) = now.exposed(after).frames().find(|n| !pass.exposed(before).contains(*n)) {
        bad.push(format!("{} is required; {} was exposed, which leaves out frame {missing}", one_in(now), one_in(pass)));
    } else if before != after {
        notes.push(format!("only frames {} to {} are required now", after.first(), after.last()));
    }
    if now.wedge().is_some() && now.wedge() != pass.wedge() && bad.is_empty() {
        let shown = |p: &Pass| p.wedge().map_or_else(|| one_in(p), ToString::to_string);
        bad.push(format!("the wedge is {} now, was {}", shown(now), shown(pass)));
    }
    if now.every() != pass.every() && bad.is_empty() {
        notes.push(format!("{} is required now, was {}", one_in(now), one_in(pass)));
    }
    if now.exposure() != pass.exposure() {
        bad.push(format!("it is {} now, was {}", now.exposure().name(), pass.exposure().name()));
    }
    if now.shutter() != pass.shutter() {
        bad.push(format!("the shutter is {} deg now, was {}: motion blur differs", now.shutter().degrees(), pass.shutter().degrees()));
    }
    if now.pace() != pass.pace() {
        notes.push(format!("{} s per frame now, was {}: positions register, exposure times differ", now.pace().get(), pass.pace().get()));
    }
    let (mut frames, mut counts) = (None, 0);
    let parked = |v: &Compiled, p: &Pass, axis: &str| v.stage().axis_of_name(axis).map(|i| p.parks(v.stage(), i));
    for (n, axis) in new.stage().axis_ids().zip(new.stage().axis_names()) {
        let change = axes.iter().find(|a| a.axis == *axis).map(|a| a.change);
        match (parked(old, pass, axis), parked(new, now, axis)) {
            (Some(true), Some(true)) if change == Some(DRIVE_CHANGED) => bad.push(format!("{axis} has a changed drive or home")),
            (Some(was), Some(is)) if was != is => bad.push(format!("{axis} {} now", if is { "is parked" } else { "moves" })),
            (Some(false), Some(false)) if change == Some(DRIVE_CHANGED) => bad.push(format!("{axis} has a changed drive or home")),
            (Some(false), Some(false)) if change.is_some() => {
                if let Some(o) = old.stage().axis_of_name(axis) {
                    let instants = register::instants(now);
                    let differs = |f: &i64| instants.iter().any(|h| !same_count(old, new, (o, n), *f, *h));
                    let both = |f: &i64| now.exposed(after).contains(*f) && pass.exposed(before).contains(*f);
                    let moved: Vec<i64> = common_frames(old, new).into_iter().filter(|f| both(f) && differs(f)).collect();
                    if let (Some(first), Some(last)) = (moved.first(), moved.last()) {
                        bad.push(format!("{axis} has changed"));
                        counts += 1;
                        frames = Some(frames.map_or([*first, *last], |[a, b]: [i64; 2]| [a.min(*first), b.max(*last)]));
                    }
                }
            }
            (None, Some(false)) => bad.push(format!("{axis} is new and moves")),
            _ => {}
        }
    }
    if axes.iter().any(|a| a.change == CHANGED)
        && let Some(reason) = other_start(old.shot(), new.shot())
    {
        (if bad.is_empty() { &mut notes } else { &mut bad }).push(reason);
    }
    for a in axes.iter().filter(|a| a.change == "gone") {
        bad.push(format!("{} is gone", a.axis));
    }
    let good = bad.is_empty();
    let frames = frames.filter(|_| bad.len() == counts);
    PassChange { pass: name.to_owned(), good, frames, reasons: if good { notes } else { bad } }
}
