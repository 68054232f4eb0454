//! What light and depth of field ask for, what the machine allows, and the pace that follows.
//!
//! Invariant: a pace that is advised was tried with the whole check, all passes at theirs; what cannot be computed is `None` with a reason. Limits: one camera, the first with a
//! lens; followed focus is looked at in the middle of each exposure; the focal length is the engraved one.

mod blur;
mod exposure;
mod reach;
pub(crate) mod schedule;

pub(crate) use blur::Blur;
pub(crate) use reach::Reached;

use super::report::{PassReport, Report};
use super::sharp::{Thing, sharp};
use super::soft::{Soft, soft};
use super::trials::Hindrance;
use super::violation::Limit;
use crate::compile::Compiled;
use crate::mechanism::{Lens, thin_lens};
use crate::shot::light::Light;
use crate::shot::{Exposure, Pass};
use crate::stage::{Body, GroupId};
use crate::time::{FrameTime, Pace};

use reach::extreme;
use schedule::Schedule;

/// The whole answer.
#[derive(Debug)]
pub(crate) struct Paces {
    /// The camera's group.
    pub camera: Option<GroupId>,
    /// Depth of field, or why it is not known.
    pub depth: Result<Depth, String>,
    /// Of each pass.
    pub passes: Vec<PassPace>,
    /// All passes as written, one after the other.
    pub day: Schedule,
}

/// Depth of field of the photographed span.
#[derive(Debug)]
pub(crate) struct Depth {
    /// Nearest and farthest that must be sharp.
    pub nearest: Reached,
    /// The same.
    pub farthest: Reached,
    /// Where to focus for all of it, mm.
    pub focus: f64,
    /// The stop that one fixed focus needs.
    pub fixed: f64,
    /// The next mark of the lens.
    pub fixed_marked: Option<f64>,
    /// Where focus follows, the stop of the worst frame, and that frame.
    pub followed: Option<(f64, FrameTime)>,
    /// The stop of the look.
    pub look: Option<f64>,
    /// The stop to use.
    pub advised: Option<f64>,
    /// Image size over size at the focus.
    pub magnification: f64,
    /// Where diffraction is more than the circle of confusion at the advised stop: its diameter, mm.
    pub diffraction: Option<f64>,
}

/// A pass.
#[derive(Debug)]
pub(crate) struct PassPace {
    /// Its name.
    pub pass: String,
    /// The name of its light.
    pub light: Option<String>,
    /// Its stop: written, or advised.
    pub stop: Option<f64>,
    /// Seconds that the shutter must be open.
    pub exposure: Option<f64>,
    /// Pace that light asks for.
    pub by_light: Option<f64>,
    /// Pace that the machine allows.
    pub by_machine: Option<f64>,
    /// The pace to write, and by how many stops its exposure is more than asked for.
    pub advised: Option<(f64, f64)>,
    /// Why none is advised.
    pub why_not: Option<&'static str>,
    /// By how many stops the exposure as written is more than asked for.
    pub off: Option<f64>,
    /// Shutter angle that makes it right at the pace as written; above 360 there is none.
    pub shutter: Option<f64>,
    /// What must be sharp and is not at its stop: name, first and last frame, how many frames.
    pub soft: Vec<Soft>,
    /// In what it differs from the first pass, with which it must match: its stop, or its shutter where both move.
    pub differs: Vec<String>,
    /// How far things run in the picture while the shutter is open.
    pub blurs: Vec<Blur>,
    /// True where the camera is what limits the machine's pace.
    pub by_camera: bool,
    /// True where each frame takes the time that it needs: then light alone asks for a pace.
    pub own_times: bool,
    /// Whole program, s.
    pub program_s: f64,
    /// The pace as written.
    pub written: f64,
}

/// Paces of a shot that was checked.
#[must_use]
pub(crate) fn paces(report: &Report) -> Paces {
    let compiled = &report.compiled;
    let camera = compiled.stage().camera().and_then(|b| Some((b, b.lens()?)));
    let depth = match camera {
        Some((body, lens)) => depth(compiled, body, lens),
        None => Err("the stage has no camera with a lens".to_owned()),
    };
    let mut passes: Vec<PassPace> = report.passes.iter().map(|p| asked(compiled, p, &depth, camera)).collect();
    advise(report, &mut passes, &depth, camera.map(|(_, lens)| lens));
    Paces { camera: camera.map(|(b, _)| b.group()), depth, passes, day: schedule::schedule(report) }
}

fn depth(compiled: &Compiled, camera: &Body, lens: &Lens) -> Result<Depth, String> {
    let confusion = lens.optics().circle_of_confusion.ok_or("the lens has no `circle_of_confusion`")?;
    let sharp = sharp(compiled, camera);
    let things: Vec<Thing<'_>> = sharp.iter().filter_map(|(name, sharp)| Thing::of(compiled, name, *sharp)).collect();
    let nothing = || "nothing must be sharp: no group has an envelope".to_owned();
    let nearest = extreme(compiled, camera, lens, &things, 1.0).ok_or_else(nothing)?;
    let farthest = extreme(compiled, camera, lens, &things, -1.0).ok_or_else(nothing)?;
    let (f, n, far) = (lens.focal_length(), nearest.mm, farthest.mm);
    if !(n > f && far.is_finite()) {
        let frame = nearest.frame.0;
        return Err(format!(
            "{} is {n:.1} mm from the lens at frame {frame:.2}, which is not beyond the focal length of {f} mm",
            nearest.what
        ));
    }
    let focus = thin_lens::focus_between(n, far);
    let fixed = thin_lens::f_number_between(f, confusion, n, far);
    let followed = followed(compiled, camera, lens, confusion, &things);
    let look = compiled.shot().lighting().look.map(|look| thin_lens::f_number_of_look(look, f, focus, compiled.stage().scale()));
    let range = lens.optics().f_numbers;
    let needed = followed.map_or(fixed, |(stop, _)| stop);
    let advised = exposure::marked(look.map_or(needed, |look| look.max(needed)), range);
    let magnification = thin_lens::magnification(f, focus);
    let airy = advised.map(|stop| thin_lens::airy(stop, magnification)).filter(|airy| *airy > confusion);
    let fixed_marked = exposure::marked(fixed, range);
    Ok(Depth { nearest, farthest, focus, fixed, fixed_marked, followed, look, advised, magnification, diffraction: airy })
}

/// The stop of the worst frame where focus follows.
fn followed(compiled: &Compiled, camera: &Body, lens: &Lens, confusion: f64, things: &[Thing<'_>]) -> Option<(f64, FrameTime)> {
    let focus = compiled.shot().focuses().iter().find(|f| f.camera() == camera.group())?;
    let film_plane = lens.optics().film_plane?;
    let mut worst: Option<(f64, FrameTime)> = None;
    for frame in compiled.shot().frames().frames() {
        let t = FrameTime::of_frame(frame);
        let at = compiled.channel_jet_at(focus.channel(), t)?.p - film_plane;
        let pose = compiled.posture_at(None, camera, t).ok()?;
        let mut ends = [f64::INFINITY, f64::NEG_INFINITY];
        for thing in things {
            let place = thing.body.map(|body| compiled.posture_at(None, body, t)).transpose().ok()?;
            let [near, far] = thing.depths_at(pose.body(), place.as_ref());
            ends = [ends[0].min(near), ends[1].max(far)];
        }
        let stop = thin_lens::f_number_about(lens.focal_length(), confusion, at, ends[0], ends[1]);
        if worst.is_none_or(|(known, _)| stop > known) {
            worst = Some((stop, t));
        }
    }
    worst
}

/// The stop of a pass: as written, or else the one that is advised.
fn stop(pass: &Pass, depth: &Result<Depth, String>) -> Option<f64> {
    pass.stop().or_else(|| depth.as_ref().ok()?.advised)
}

/// Light and magnification of a pass.
struct Lit<'a> {
    light: &'a Light,
    stop: f64,
    magnification: f64,
    t_stops: f64,
}

impl<'a> Lit<'a> {
    fn of(compiled: &'a Compiled, pass: &Pass, depth: &Result<Depth, String>, lens: Option<&Lens>) -> Option<Lit<'a>> {
        let light = compiled.shot().lighting().of(pass.light())?;
        let stop = stop(pass, depth)?;
        let magnification = depth.as_ref().ok()?.magnification;
        Some(Lit { light, stop, magnification, t_stops: lens.map_or(0.0, |l| l.optics().t_minus_f_stops) })
    }

    fn needed(&self) -> f64 {
        exposure::seconds(self.light, self.stop, self.magnification, self.t_stops)
    }

    fn stops_over(&self, open: f64) -> f64 {
        exposure::stops_over(self.light, self.stop, self.magnification, self.t_stops, open)
    }
}

fn asked(compiled: &Compiled, p: &PassReport, depth: &Result<Depth, String>, camera: Option<(&Body, &Lens)>) -> PassPace {
    let pass = p.program.pass();
    let lit = Lit::of(compiled, pass, depth, camera.map(|(_, lens)| lens));
    let written = pass.seconds_per_frame();
    let needed = lit.as_ref().map(Lit::needed);
    PassPace {
        pass: pass.name().to_owned(),
        light: compiled.shot().lighting().of(pass.light()).map(|l| l.name.clone()),
        stop: stop(pass, depth),
        exposure: needed,
        by_light: needed.map(|needed| needed / pass.shutter().fraction()),
        by_machine: p.runnable.seconds_per_frame,
        advised: None,
        why_not: None,
        off: lit.map(|lit| lit.stops_over(written * pass.shutter().fraction())),
        soft: camera.map_or_else(Vec::new, |camera| soft(compiled, pass, camera)),
        differs: differs(compiled, pass, depth),
        blurs: blur::blurs(compiled, pass, depth.as_ref().ok().map(|d| d.focus)),
        by_camera: matches!(p.runnable.limited_by, Some(Hindrance::Limit { limit: Limit::Camera, .. })),
        own_times: p.program.clock().is_shortest(),
        shutter: needed.map(|needed| exposure::shutter(needed, written)),
        program_s: p.program.duration().0,
        written,
    }
}

/// In what a pass differs from the first one. A pass under another light keeps the picture's stop, or its depth of field is another.
fn differs(compiled: &Compiled, pass: &Pass, depth: &Result<Depth, String>) -> Vec<String> {
    let Some(first) = compiled.shot().passes().first().filter(|first| first.name() != pass.name()) else { return Vec::new() };
    let mut all = Vec::new();
    if let (Some(here), Some(there)) = (stop(pass, depth), stop(first, depth))
        && here != there
    {
        all.push(format!("stop f/{here:.1}, and f/{there:.1} in {}: depth of field differs", first.name()));
    }
    let (here, there) = (pass.shutter().degrees(), first.shutter().degrees());
    if here != there && pass.exposure() == Exposure::Moving && first.exposure() == Exposure::Moving {
        all.push(format!("shutter {here} deg, and {there} deg in {}: motion blur differs", first.name()));
    }
    all
}

/// Paces to write, tried together.
fn advise(report: &Report, passes: &mut [PassPace], depth: &Result<Depth, String>, lens: Option<&Lens>) {
    let compiled = &report.compiled;
    let wanted: Vec<Option<f64>> = passes.iter().map(wanted).collect();
    let paced = |(pass, wanted): (&Pass, &Option<f64>)| {
        wanted.and_then(|w| Pace::new(w).ok()).map_or_else(|| pass.clone(), |pace| pass.at_pace(pace))
    };
    let tried = compiled.shot().passes().iter().zip(&wanted).map(paced).collect();
    let tried = compiled.with_passes(tried).ok().and_then(|c| c.checked().ok());
    for (i, (pass, wanted)) in passes.iter_mut().zip(wanted).enumerate() {
        let holds = tried.as_ref().and_then(|r| r.passes.get(i)).is_some_and(PassReport::within_limits);
        let lit = compiled.shot().passes().get(i).and_then(|p| Some((p, Lit::of(compiled, p, depth, lens)?)));
        (pass.advised, pass.why_not) = match (wanted, lit) {
            (Some(pace), Some((p, lit))) if holds => (Some((pace, lit.stops_over(pace * p.shutter().fraction()))), None),
            (Some(_), Some(_)) => (None, Some("the pace was tried and exceeds a limit")),
            _ if pass.by_machine.is_none() && !pass.own_times => (None, Some("the machine runs at no pace")),
            _ => (None, Some("no exposure is known")),
        };
    }
}

/// The pace that light and machine ask for, up to the next tenth of a second.
fn wanted(p: &PassPace) -> Option<f64> {
    let machine = if p.own_times { Some(0.0) } else { p.by_machine };
    Some((10.0 * p.by_light?.max(machine?) - 1e-9).ceil() / 10.0)
}
