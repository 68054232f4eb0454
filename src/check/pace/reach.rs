//! How near and how far the things that must be sharp come to a camera, along its optical axis, over the photographed span.
//!
//! What: the depth of every proxy, its radius taken off or added, bounded over whole stretches of time by the formulas of the picture over ranges, and halved until the bound is
//! within a millionth of the focal length of what is seen ([`search::least`]). Nothing is sampled: what is given is never beaten between frames.
//! Invariant: `mm` is a bound: nothing is nearer, or farther. Limits: where the search gives up the bound is wide, and `tight` says so. Nothing is parked.

use crate::check::clearance::enclosure::Enclosure;
use crate::check::clearance::search::{self, Cell};
use crate::check::sharp::{Thing, depth};
use crate::compile::Compiled;
use crate::mechanism::{IntervalJet, Lens, Vector};
use crate::number::Jet;
use crate::program::Course;
use crate::stage::{Body, PerAxis, Solid};
use crate::time::FrameTime;

/// An extreme depth.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Reached {
    /// Depth from the entrance pupil, mm.
    pub mm: f64,
    /// What comes so near or so far.
    pub what: String,
    /// When.
    pub frame: FrameTime,
    /// True where the bound is within a millionth of the focal length of the depth at that frame.
    pub tight: bool,
}

/// Frames of the stretches with which a search begins.
const STRETCH: f64 = 4.0;

/// Halvings for each thing.
const MOST: u64 = 4096;

/// The nearest (`way` 1) or the farthest (`way` -1) of all things; `None` where there are none.
pub(super) fn extreme(compiled: &Compiled, camera: &Body, lens: &Lens, things: &[Thing<'_>], way: f64) -> Option<Reached> {
    let stage = compiled.stage();
    let curves = PerAxis::new(stage, |id| Some(compiled.motion(id).curve()));
    let course = Course::new(stage, compiled.shot().frames().photographed(), STRETCH, curves);
    let enclosure = Enclosure::new(&course);
    let tolerance = 1e-6 * lens.focal_length();
    let of = |thing: &Thing<'_>| {
        let look = |from: f64, to: f64| look(&enclosure, camera, thing, way, (from, to));
        let cells: Vec<Cell> = enclosure.stretches().map(|(from, to)| look(from, to)).collect();
        let least = search::least(cells, tolerance, f64::INFINITY, MOST, &look);
        Reached { mm: way * least.lower, what: thing.name.to_owned(), frame: FrameTime(least.at), tight: least.tight }
    };
    things.iter().map(of).reduce(|a, b| if way * b.mm < way * a.mm { b } else { a })
}

/// Bounds `way` times the depth of a thing over a stretch of time, its surface included.
fn look(enclosure: &Enclosure<'_>, camera: &Body, thing: &Thing<'_>, way: f64, (from, to): (f64, f64)) -> Cell {
    let mut cell = Cell { from, to, lower: f64::INFINITY, middle: f64::INFINITY };
    let unknown = Cell { lower: f64::NEG_INFINITY, ..cell };
    let Some((at, over)) = enclosure.postures(camera, from, to) else { return unknown };
    let half = 0.5 * (to - from);
    let mut add = |middle: Jet, range: Option<IntervalJet>, radius: f64| {
        cell.middle = cell.middle.min(way * middle.p - radius);
        let bound = range.map_or(f64::NEG_INFINITY, |r| {
            let by_value = if way > 0.0 { r.p.lo } else { -r.p.hi };
            // Taylor's formula about the middle.
            let by_slope = way * middle.p - middle.v.abs() * half - 0.5 * r.a.size() * half * half;
            if by_slope > by_value { by_slope } else { by_value }
        });
        cell.lower = cell.lower.min(bound - radius);
    };
    if let Some((ends, radius)) = thing.still {
        for end in ends {
            let range = over.as_ref().map(|o| depth(o.body(), Vector::constant(end)));
            add(depth(at.body(), Vector::constant(end)), range, radius);
        }
    }
    if let Some(body) = thing.body {
        let Some((place, places)) = enclosure.postures(body, from, to) else { return unknown };
        for Solid { ends, radius } in body.shown() {
            for hold in ends {
                let range = over.as_ref().zip(places.as_ref()).map(|(o, p)| depth(o.body(), p.out(hold)));
                add(depth(at.body(), place.out(hold)), range, *radius);
            }
        }
    }
    cell
}
