//! Clearance: envelopes of figures and cameras keep their distance from each other, from what stands still, and out of boxes.
//!
//! Proven between frames as well as at them: over any stretch of time [`enclosure`] says where every point of a body can be,
//! two convex things are never nearer than along any one direction, and the search halves the time until the least distance is
//! known. Nothing is sampled for a verdict; the pace does not matter, since all passes share one move.
//!
//! Tolerance: a reported least gap is never above the true one and at most 1e-6 of the scene's size below it; a gap passes when it
//! is no more than that below what is kept. Only the nearest pair is told so closely: of another that keeps its gap a bound is enough, which
//! is never below the nearest pair's, and [`Proof`] says which is which. The scene's size is the diagonal of the box around all envelopes, see [`scene`]. From every
//! bound 2^-40 of the greatest coordinate is taken off for rounding: a chain of 64 joints is some thousand operations of 2^-53.
//! Held passes: all axes go from one station to the next by known laws that begin and end together, so every move is looked at as a moving pass is, over its own curves
//! in seconds ([`held`]); so are move to start and return home.
//! Limits: envelopes whose middle lines meet are told apart no further.

pub mod distance;
pub mod enclosure;
mod gap;
mod held;
pub mod interval;
mod rail;
mod search;

use rayon::prelude::*;

use crate::mechanism::Vector;
use crate::number::elementary::two_to_the;
use crate::program::{Course, Leg, Program};
use crate::stage::{Body, Capsule, KeepOut, Stage};

use distance::Distance;
use enclosure::{Enclosure, End};
use search::{Cell, Least, least};

pub use gap::{Against, ClearanceReport, Nearest, Proof};

/// Clearance of one pass from run-up to run-down; `None` where the stage has nothing that could meet.
#[must_use]
pub fn clearance(program: &Program) -> Option<ClearanceReport> {
    match program.stations() {
        Some(stations) => held::over(program, stations),
        None => over(&program.course()),
    }
}

/// Clearance on a leg of a pass, instants in seconds of that leg; `None` where nothing could meet or the leg takes no time.
#[must_use]
pub fn on_the_way(program: &Program, leg: Leg) -> Option<ClearanceReport> {
    let course = program.way().course(program.compiled().stage(), leg);
    let (from, to) = course.span();
    if from < to { over(&course) } else { None }
}

/// True where every pair that `counts`, by its groups, keeps what is required over a course; the search ends as soon as that is known.
pub(crate) fn is_kept(course: &Course<'_>, counts: &impl Fn(&Nearest) -> bool) -> bool {
    let enclosure = Enclosure::new(course);
    let stage = course.stage();
    let couples = couples(stage);
    let required = stage.surroundings().clearance;
    let near = if couples.is_empty() { Vec::new() } else { moving(&enclosure, &couples, scene(&enclosure), required, Wanted::Verdict) };
    rail::gaps(&enclosure).iter().chain(&near).filter(|n| counts(n)).all(Nearest::is_kept)
}

/// What is asked of a search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wanted {
    /// The nearest pair's gap to the tolerance, of others a bound.
    Gap,
    /// Whether what is required is kept.
    Verdict,
}

/// Clearance over a course.
fn over(course: &Course<'_>) -> Option<ClearanceReport> {
    let enclosure = Enclosure::new(course);
    let stage = course.stage();
    let mut pairs = rail::gaps(&enclosure);
    let couples = couples(stage);
    if !couples.is_empty() {
        pairs.extend(moving(&enclosure, &couples, scene(&enclosure), stage.surroundings().clearance, Wanted::Gap));
    }
    (!pairs.is_empty()).then_some(ClearanceReport { pairs })
}

/// The scene's size and the rounding allowed for, mm.
#[derive(Debug, Clone, Copy)]
pub struct Scene {
    /// How far below the true gap a reported one may be.
    pub tolerance: f64,
    /// Taken off every bound.
    pub rounding: f64,
}

/// The scene's size: the diagonal of the box around the envelopes of all bodies at nine moments from start to end of the move.
#[must_use]
pub fn scene(enclosure: &Enclosure<'_>) -> Scene {
    let (from, to) = enclosure.span();
    let mut corners: Option<(Vector, Vector)> = None;
    for i in 0..=8_i32 {
        let t = from + (to - from) * f64::from(i) / 8.0;
        for body in enclosure.stage().bodies() {
            for (ends, c) in enclosure.placed(body, t, t).into_iter().flatten().zip(body.envelope()) {
                for e in ends.map(|e| e.at) {
                    let r = Vector::new(c.radius, c.radius, c.radius);
                    let (lo, hi) = (e - r, e + r);
                    corners = Some(corners.map_or((lo, hi), |(l, h)| (with(l, lo, f64::min), with(h, hi, f64::max))));
                }
            }
        }
    }
    let (lo, hi) = corners.unwrap_or((Vector::new(0.0, 0.0, 0.0), Vector::new(0.0, 0.0, 0.0)));
    let farthest = [lo.x, lo.y, lo.z, hi.x, hi.y, hi.z].into_iter().fold(0.0, |m: f64, x| m.max(x.abs()));
    let rounding = two_to_the(-40) * farthest;
    Scene { tolerance: (1e-6 * (hi - lo).length()).max(8.0 * rounding), rounding }
}

fn with(a: Vector, b: Vector, f: fn(f64, f64) -> f64) -> Vector {
    Vector::new(f(a.x, b.x), f(a.y, b.y), f(a.z, b.z))
}

/// What a margin is compared with: the required clearance, or the size of the body where none is required.
fn scale(required: f64, body: &Body) -> f64 {
    if required > 0.0 {
        return required;
    }
    let size = |c: &Capsule| (c.to - c.from).length() + 2.0 * c.radius;
    body.envelope().iter().map(size).fold(0.0, f64::max)
}

/// One thing a body is measured against.
#[derive(Clone, Copy)]
enum Other<'a> {
    Body(usize, &'a Body),
    Obstacle(usize, &'a Capsule),
    Box(usize, &'a KeepOut),
}

impl Other<'_> {
    /// The index of the other body, where it is one.
    fn index(&self) -> Option<usize> {
        match self {
            Other::Body(i, _) => Some(*i),
            _ => None,
        }
    }

    fn against(&self) -> Against {
        match self {
            Other::Body(_, b) => Against::Group(b.group()),
            Other::Obstacle(i, _) => Against::Obstacle(*i),
            Other::Box(i, _) => Against::KeepOut(*i),
        }
    }
}

/// A body by its index, and one thing it is measured against.
type Couple<'a> = (usize, &'a Body, Other<'a>);

/// Every pair of bodies with envelopes, and every such body with everything that stands.
fn couples(stage: &Stage) -> Vec<Couple<'_>> {
    let around = stage.surroundings();
    let bodies = || stage.bodies().iter().enumerate().filter(|(_, b)| !b.envelope().is_empty());
    let mut all = Vec::new();
    for (i, body) in bodies() {
        all.extend(bodies().filter(|(j, _)| *j > i).map(|(j, other)| (i, body, Other::Body(j, other))));
        all.extend(around.obstacles.iter().enumerate().map(|(k, o)| (i, body, Other::Obstacle(k, &o.shape))));
        all.extend(around.keep_out.iter().enumerate().map(|(k, o)| (i, body, Other::Box(k, o))));
    }
    all
}

/// The ends of a body's capsules in a cell, where they can be told.
type Ends = Option<Vec<[End; 2]>>;

/// Every cell's bodies by index, and which cells there are.
struct Cells {
    spans: Vec<(f64, f64)>,
    ends: Vec<Vec<Ends>>,
}

fn moving(enclosure: &Enclosure<'_>, couples: &[Couple<'_>], scene: Scene, required: f64, wanted: Wanted) -> Vec<Nearest> {
    let (from, to) = enclosure.span();
    // Cells of about four frames are small beside a wing's beat and share their poses among all pairs.
    let n = ((to - from) / 4.0).ceil().max(1.0);
    let cut = |i: f64| if i < n { from + (to - from) * (i / n) } else { to };
    let mut spans = Vec::new();
    let mut i = 0.0;
    while i < n {
        spans.push((cut(i), cut(i + 1.0)));
        i += 1.0;
    }
    let ends =
        spans.par_iter().map(|(a, b)| enclosure.stage().bodies().iter().map(|body| enclosure.placed(body, *a, *b)).collect()).collect();
    let cells = Cells { spans, ends };
    let first: Vec<Vec<Cell>> = couples.par_iter().map(|couple| cells.of(couple, scene)).collect();
    // The nearest pair is told exactly; of others it is enough that they are no nearer and keep what is to be kept.
    let nearest = first.iter().flatten().map(|c| c.middle).fold(f64::INFINITY, f64::min);
    let enough = if wanted == Wanted::Gap { nearest.max(required) } else { required };
    couples
        .par_iter()
        .zip(first)
        .map(|((_, body, other), first)| {
            let look = |a: f64, b: f64| look(enclosure, body, other, scene, a, b);
            let Least { lower, at, tight, .. } = least(first, scene.tolerance - 2.0 * scene.rounding, enough, &look);
            let proof = if tight { Proof::Tight } else { Proof::Bound };
            Nearest {
                group: body.group(),
                against: other.against(),
                gap: lower,
                at,
                required,
                proof,
                tolerance: scene.tolerance,
                scale: scale(required, body),
            }
        })
        .collect()
}

/// What is known of a pair in a stretch of time.
fn look(enclosure: &Enclosure<'_>, body: &Body, other: &Other<'_>, scene: Scene, from: f64, to: f64) -> Cell {
    let mine = enclosure.placed(body, from, to);
    let theirs = match other {
        Other::Body(_, o) => enclosure.placed(o, from, to),
        _ => None,
    };
    cell(from, to, measured(body, mine.as_deref(), other, theirs.as_deref()), scene)
}

impl Cells {
    /// What is known of a pair in every cell.
    fn of(&self, (index, body, other): &Couple<'_>, scene: Scene) -> Vec<Cell> {
        let known = |((a, b), ends): (&(f64, f64), &Vec<Ends>)| {
            let of = |i: usize| ends.get(i).and_then(Option::as_deref);
            cell(*a, *b, measured(body, of(*index), other, other.index().and_then(of)), scene)
        };
        self.spans.iter().zip(&self.ends).map(known).collect()
    }
}

fn cell(from: f64, to: f64, (lower, middle): (f64, f64), scene: Scene) -> Cell {
    let lower = lower - scene.rounding;
    Cell { from, to, lower: if lower.is_nan() { f64::NEG_INFINITY } else { lower }, middle }
}

/// What no gap in the cell is below, and the gap in its middle.
fn measured(body: &Body, mine: Option<&[[End; 2]]>, other: &Other<'_>, theirs: Option<&[[End; 2]]>) -> (f64, f64) {
    let Some(mine) = mine else { return (f64::NEG_INFINITY, f64::INFINITY) };
    let mut worst = (f64::INFINITY, f64::INFINITY);
    let mut take = |(lower, middle): (f64, f64), radii: f64| {
        // No distance is below zero.
        worst = (worst.0.min(lower.max(0.0) - radii), worst.1.min(middle - radii));
    };
    for (a, c) in mine.iter().zip(body.envelope()) {
        match other {
            Other::Body(_, o) => {
                let Some(theirs) = theirs else { return (f64::NEG_INFINITY, f64::INFINITY) };
                for (b, d) in theirs.iter().zip(o.envelope()) {
                    take(two_segments(a, b), c.radius + d.radius);
                }
            }
            Other::Obstacle(_, d) => take(two_segments(a, &[End::still(d.from), End::still(d.to)]), c.radius + d.radius),
            Other::Box(_, o) => take(segment_and_box(a, o), c.radius),
        }
    }
    worst
}

fn two_segments(a: &[End; 2], b: &[End; 2]) -> (f64, f64) {
    let Distance { distance, direction } = distance::segments(a.map(|e| e.at), b.map(|e| e.at));
    let farthest = |ends: &[End; 2]| ends.iter().map(|e| e.all).fold(0.0, f64::max);
    let first = distance - farthest(a) - farthest(b);
    let Some(n) = direction else { return (first, distance) };
    // Along one direction two segments are as near as the nearest of their ends.
    let mut second = f64::INFINITY;
    for a in a {
        for b in b {
            second = second.min(along(n, a, b.at, b.slope) - b.rest);
        }
    }
    (first.max(second), distance)
}

fn segment_and_box(a: &[End; 2], o: &KeepOut) -> (f64, f64) {
    let Distance { distance, direction } = distance::from_box(a.map(|e| e.at), o.least, o.greatest);
    let first = distance - a.iter().map(|e| e.all).fold(0.0, f64::max);
    let Some(n) = direction else { return (first, distance) };
    let corner = |n: f64, lo: f64, hi: f64| if n > 0.0 { hi } else { lo };
    let far = Vector::new(corner(n.x, o.least.x, o.greatest.x), corner(n.y, o.least.y, o.greatest.y), corner(n.z, o.least.z, o.greatest.z));
    let second = a.iter().map(|a| along(n, a, far, Vector::new(0.0, 0.0, 0.0))).fold(f64::INFINITY, f64::min);
    (first.max(second), distance)
}

/// The least that `a` can be ahead of a point `b` moving by `slope`, along `n`.
fn along(n: Vector, a: &End, b: Vector, slope: Vector) -> f64 {
    n.dot(a.at - b) - n.dot(a.slope - slope).abs() - a.rest
}
