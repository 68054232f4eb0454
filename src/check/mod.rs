//! Checks read the move and its programs and change nothing.
//!
//! Invariant: every verdict comes from exact extremes of the pieces, none from samples; one place says that a limit is exceeded
//! ([`Utilisation`](crate::stage::Utilisation)); nothing is printed here, and all sentences are in [`words`].

mod approval;
mod at_zero;
mod before;
mod camera;
pub(crate) mod changes;
pub(crate) mod clearance;
mod covering;
mod exceeded;
mod fastest;
pub(crate) use crate::number::figures;
mod fixes;
#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod fixture;
pub(crate) mod folded;
mod framing;
mod gap_words;
mod gaps;
pub(crate) mod hang;
pub(crate) mod haze;
mod held;
mod judged;
mod keys_around;
pub(crate) mod lag;
mod later;
mod limb_weight;
mod limits;
pub(crate) mod mark_shifts;
mod motors;
mod moving;
mod note_kind;
mod notes;
pub(crate) mod one_axis;
pub(crate) mod pace;
pub(crate) mod pixels;
mod reach;
pub(crate) mod register;
mod report;
pub(crate) mod roots;
mod runnable;
mod sections;
mod sharp;
mod sharp_plates;
mod shift;
mod slack;
mod soft;
pub(crate) mod stopping;
mod sway;
pub(crate) mod swing;
mod trials;
pub(crate) mod usage;
mod verdict;
mod violation;
pub(crate) mod words;

use std::sync::Arc;

use crate::bounds::Effort;
use crate::compile::Compiled;
use crate::number::whole;
use crate::program::{Leg, NoPlan, Program};
use crate::shot::Exposure;
use crate::stage::PerAxis;
use crate::time::FrameTime;
use sway::Sway;
use swing::found::SwingReport;

pub(crate) use approval::Approval;
use before::Before;
pub(crate) use clearance::ClearanceReport;
pub use fastest::Fastest;
#[cfg(test)]
pub(crate) use note_kind::NoteKind;
pub(crate) use notes::Note;
pub use report::{PassReport, Report};
pub use runnable::Runnable;
pub use verdict::{AxisReport, Peak, Reach, StretchReport, Tightest};
pub use violation::{At, Limit, Part, Violation};
pub(crate) use violation::{Cause, Subject};

impl Compiled {
    /// Plans and checks every pass.
    ///
    /// # Errors
    /// An axis that no law takes to its start, from station to station, or home.
    pub(crate) fn checked(&self) -> Result<Report, NoPlan> {
        self.checked_after(None)
    }

    /// The same, after a shot on an equal stage was checked: what comes near what is not searched again in passes whose axes all run as they did.
    ///
    /// # Errors
    /// As [`Compiled::checked`].
    pub(crate) fn checked_after(&self, before: Option<&Report>) -> Result<Report, NoPlan> {
        let before = before.map(|report| Before::new(report, self));
        let compiled = self.with_fresh_meter();
        let programs = Program::all(&compiled)?;
        let swings = swings_of_all(&programs);
        let sways: Vec<Sway> = swings.iter().map(|s| Sway::of(s)).collect();
        let spare = sways.iter().map(Sway::most).fold(0.0, f64::max);
        let before = before.filter(|before| before.spare() == spare);
        let mut passes: Vec<PassReport> = Vec::with_capacity(programs.len());
        for (program, (swings, sway)) in programs.into_iter().zip(swings.into_iter().zip(sways)) {
            let known = passes.iter().find(|p| same_course(&p.program, &program));
            let still = match known.or_else(|| before.as_ref()?.same_course(&program)) {
                Some(known) => Arc::clone(&known.still),
                None => Arc::new(clearance::clearance(&program, spare)),
            };
            let known = passes.iter().find(|p| p.program.shares_way(&program));
            let way_still = match known.or_else(|| before.as_ref()?.same_way(&program)) {
                Some(known) => Arc::clone(&known.way_still),
                None => Arc::new([Leg::MoveToStart, Leg::ReturnHome].map(|leg| (leg, clearance::on_the_way(&program, leg, spare)))),
            };
            let clearance = still.as_ref().as_ref().map(|found| sway.off_all(found, None));
            let way_clearance = way_still.as_ref().clone().map(|(leg, found)| (leg, found.map(|found| sway.off_all(&found, Some(leg)))));
            let (axes, mut violations) = judged::check(&program, Effort::Reaches);
            let near = gaps::violations(&program, clearance.as_ref(), &violations);
            violations.extend(near);
            violations.extend(swing::violations(&program, &swings));
            let (settling, unsettled) = swing::settling::needs(&program);
            let wires = match passes.iter().find(|p| same_course(&p.program, &program) && p.program.shares_way(&program)) {
                Some(known) => known.wires.clone(),
                None => hang::wires(&program, Effort::Swings),
            };
            violations.extend(hang::violations(&program, &wires));
            let (stops, coasts) = match passes.iter().find(|p| same_seconds(&p.program, &program)) {
                Some(known) => (known.stops.clone(), known.coasts.clone()),
                None => (stopping::stops(&program, Effort::Stops), stopping::coasts(&program, Effort::Stops)),
            };
            let short = stopping::violations(&program, &stops, &violations);
            let axes = PerAxis::new(self.stage(), |id| axes[id].clone().and_beside(short.iter().filter(|v| v.axis() == id)));
            violations.extend(short);
            violations.extend(camera::violations(&program));
            let fastest = fastest::fastest(&program);
            let runnable = runnable::runnable(&program, still.as_ref().as_ref(), &fastest, &violations);
            // What brings things apart in a pass does so in every pass of the same course.
            let known = passes.iter().find(|p| same_course(&p.program, &program)).map_or(&[][..], |p| &p.violations);
            fixes::propose(&program, &runnable, &mut violations, known);
            passes.push(PassReport {
                program,
                fastest,
                runnable,
                axes,
                violations,
                swings,
                settling,
                unsettled,
                wires,
                stops,
                coasts,
                still,
                clearance,
                way_still,
                way_clearance,
            });
        }
        let registration = register::register(&passes.iter().map(|p| p.program.as_ref()).collect::<Vec<_>>());
        for pair in &registration.pairs {
            let misses: Vec<Violation> = pair.misses.iter().map(|m| out_of_register(self, pair, m)).collect();
            if let Some(second) = passes.get_mut(pair.second) {
                second.violations.extend(misses);
            }
        }
        let reversals = PerAxis::new(self.stage(), |id| crate::program::reversals::reversals(self.motion(id)));
        let pixels = pixels::pixels(self);
        let mut notes = notes::notes(self, &reversals);
        notes.extend(at_zero::notes(self));
        notes.extend(passes.iter().flat_map(gaps::notes));
        notes.extend(passes.iter().flat_map(|p| swing::notes(&p.program, &p.swings)));
        notes.extend(passes.iter().flat_map(|p| swing::settling::notes(&p.program, &p.unsettled, &p.swings)));
        notes.extend(passes.iter().flat_map(|p| stopping::notes(&p.program, &p.stops)));
        notes.extend(stopping::power::notes(self.stage()));
        notes.extend(passes.iter().flat_map(|p| hang::notes(&p.program, &p.wires)));
        notes.extend(hang::stalls(self.stage()));
        notes.extend(passes.iter().flat_map(|p| stopping::power::too_far(&p.program, &p.coasts)));
        notes.extend(sharp_plates::notes(self));
        notes.extend(gaps::not_proven(&passes));
        notes.extend(pixels::notes(&pixels, pixels::stride(&compiled)));
        notes.extend(motors::heavy(self.stage()));
        notes.extend(passes.iter().flat_map(|p| motors::resonant(&p.program)));
        notes.extend(motors::grain(self, &pixels, pixels::stride(&compiled)));
        notes.extend(framing::notes(self, pixels::stride(&compiled)));
        let haze = haze::haze(self);
        notes.extend(haze::notes(haze.as_ref()));
        notes.extend(soft::notes(self));
        notes.extend(notes::not_tried(compiled.work()));
        Ok(Report { compiled, spare, passes, notes, reversals, lag_between_paces: lag::between_paces(self), registration, pixels, haze })
    }
}

impl Report {
    /// The same without limits that hold during exposures alone: of a program that exposes nothing.
    #[must_use]
    pub(crate) fn exposing_nothing(mut self) -> Report {
        for pass in &mut self.passes {
            pass.violations.retain(|v| !matches!(v.limit, Limit::Swing | Limit::Camera));
        }
        self
    }
}

/// The swings of every pass: once where every second of two is alike.
fn swings_of_all(programs: &[Arc<Program>]) -> Vec<Vec<SwingReport>> {
    let mut all: Vec<Vec<SwingReport>> = Vec::with_capacity(programs.len());
    for program in programs {
        let known = programs.iter().zip(&all).find(|(p, _)| same_seconds(p, program)).map(|(_, known)| known.clone());
        all.push(known.unwrap_or_else(|| swing::swings(program, Effort::Swings)));
    }
    all
}

/// True where two passes have the same bodies on the same course: the pace does not matter to what meets.
fn same_course(a: &Program, b: &Program) -> bool {
    let exposure = |p: &Program| p.pass().exposure() == Exposure::Held;
    exposure(a) == exposure(b) && a.compiled().stage().axis_ids().all(|id| a.parks(id) == b.parks(id))
}

/// True where every axis is at the same place at every second of two passes, and the shutter is open at the same seconds.
fn same_seconds(a: &Program, b: &Program) -> bool {
    same_course(a, b) && a.clock() == b.clock() && a.shares_way(b)
}

/// A miss of registration as a violation: it belongs to the second pass of the pair.
fn out_of_register(compiled: &Compiled, pair: &register::Pair, m: &register::Miss) -> Violation {
    let frame = FrameTime::of_frame(m.frame);
    let count = |c: Option<i64>| c.map_or(f64::INFINITY, whole::real);
    Violation {
        subject: Subject::Axis(m.axis),
        limit: Limit::Register,
        part: Part::Photographed,
        at: At::Frame(frame),
        span: (frame.0, frame.0),
        value: count(m.second),
        allowed: count(m.first),
        between: keys_around::between(compiled, m.axis, frame),
        cause: Cause::OtherCount { pass: pair.first, instant: m.instant, frames: m.frames },
        fixes: Vec::new(),
    }
}
