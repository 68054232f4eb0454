//! Clearance: envelopes of figures and cameras keep their distance from each other, from what stands still, and out of boxes.
//!
//! Proven between frames as well as at them: over any stretch of time [`enclosure`] says where every point of a body can be,
//! two convex things are never nearer than along any one direction, and the search halves the time until the least distance is
//! known. Nothing is sampled for a verdict; the pace does not matter, since all passes share one move.
//!
//! Tolerance: a reported least gap is never above the true one and at most 1e-6 of the scene's size below it; a gap passes when it
//! is no more than that below what is kept. Only the nearest pair is found so closely: of another that keeps its gap a bound is enough, which
//! is never below the nearest pair's, and [`Proof`] says which is which. The scene's size is the diagonal of the box around all envelopes, see `pair`. From every
//! bound 2^-40 of the greatest coordinate is taken off for rounding: a chain of 64 joints is some thousand operations of 2^-53.
//! Held passes: all axes go from one station to the next by known laws that begin and end together, so every move is looked at as a moving pass is, over its own curves
//! in seconds (see `held`); so are move to start and return home.
//! Work: bodies whose boxes are far apart are not measured; searches have a budget, and what is not searched to its end is reported as not proven.
//! Limits: envelopes whose middle lines meet are distinguished no further.

mod allotment;
mod bounding;
pub(crate) mod distance;
pub(crate) mod enclosure;
mod gap;
mod held;
mod pair;
pub(super) mod rail;
pub(super) mod search;
mod windows;

use rayon::prelude::*;

use crate::bounds::{Effort, Meter};
use crate::program::{Course, Leg, Program};

use allotment::{Allotment, BATCH};
use enclosure::Enclosure;
use pair::{Couple, Scene, couples, look, looking, name_parts, placing, scale, scene};
use search::{Least, least};
use windows::{Open, end};

pub(crate) use gap::{Against, ClearanceReport, Nearest, Proof};

/// Clearance of one pass from run-up to run-down; `None` where the stage has nothing that could meet. Gaps are known to `spare` mm more than what is required: so much may be taken off them afterwards.
#[must_use]
pub(crate) fn clearance(program: &Program, spare: f64) -> Option<ClearanceReport> {
    match program.stations() {
        Some(stations) => held::over(program, stations, spare),
        None => over(&program.course(), spare, program.compiled().work()),
    }
}

/// Clearance on a leg of a pass, instants in seconds of that leg; `None` where nothing could meet or the leg takes no time.
#[must_use]
pub(crate) fn on_the_way(program: &Program, leg: Leg, spare: f64) -> Option<ClearanceReport> {
    let course = program.way().course(program.compiled().stage(), leg);
    let (from, to) = course.span();
    if from < to { over(&course, spare, program.compiled().work()) } else { None }
}

/// True where every pair is `kept`, which is asked of gaps that are known to `spare` mm more than what is required; the search ends as soon as that is known. It costs what trials may.
pub(crate) fn is_kept(course: &Course<'_>, spare: f64, kept: &impl Fn(&Nearest) -> bool, work: &Meter) -> bool {
    let enclosure = Enclosure::new(course);
    let stage = course.stage();
    let couples = couples(stage);
    let required = stage.surroundings().clearance;
    let near = if couples.is_empty() {
        Vec::new()
    } else if work.left(Effort::TrialBoxes) == 0 {
        // Nothing would be proven.
        return false;
    } else {
        let near =
            moving(&enclosure, &couples, scene(&enclosure), (required, spare), Wanted::Verdict, Allotment::half(work, Effort::TrialBoxes));
        // The scene is nine looks at every body, at moments alone; and each pair is kept in order, however far apart.
        let bodies: u64 = stage.bodies().iter().map(placing).sum();
        work.spent(Effort::TrialBoxes, 2 * bodies + PAIR * u64::try_from(couples.len()).unwrap_or(u64::MAX));
        near
    };
    rail::gaps(&enclosure).iter().chain(&near).all(kept)
}

/// What a pair costs beside what is measured.
const PAIR: u64 = 3;

/// What is asked of a search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wanted {
    /// The nearest pair's gap to the tolerance, of others a bound.
    Gap,
    /// Whether what is required is kept.
    Verdict,
}

/// Clearance over a course.
fn over(course: &Course<'_>, spare: f64, work: &Meter) -> Option<ClearanceReport> {
    let enclosure = Enclosure::new(course);
    let stage = course.stage();
    let mut pairs = rail::gaps(&enclosure);
    let couples = couples(stage);
    if !couples.is_empty() {
        let allotment = Allotment::half(work, Effort::Boxes);
        pairs.extend(moving(&enclosure, &couples, scene(&enclosure), (stage.surroundings().clearance, spare), Wanted::Gap, allotment));
    }
    (!pairs.is_empty()).then_some(ClearanceReport { pairs })
}

fn moving(
    enclosure: &Enclosure<'_>,
    couples: &[Couple<'_>],
    scene: Scene,
    (required, spare): (f64, f64),
    wanted: Wanted,
    allotment: Allotment<'_>,
) -> Vec<Nearest> {
    // One way into the threads for the whole search: each batch would wake and await them again.
    rayon::scope(|_| searched(enclosure, couples, scene, (required, spare), wanted, allotment))
}

fn searched(
    enclosure: &Enclosure<'_>,
    couples: &[Couple<'_>],
    scene: Scene,
    (required, spare): (f64, f64),
    wanted: Wanted,
    mut allotment: Allotment<'_>,
) -> Vec<Nearest> {
    let tolerance = scene.tolerance - 2.0 * scene.rounding;
    // The nearest pair is found exactly; of others it is enough that they are no nearer and keep what is to be kept.
    let enough = |nearest: f64| if wanted == Wanted::Gap { nearest.max(required + spare) } else { required + spare };
    let Open { cells, nearest } = windows::open(enclosure, couples, scene, tolerance, &enough, &mut allotment);
    let mut found = Vec::with_capacity(couples.len());
    let all: Vec<_> = couples.iter().zip(cells).collect();
    for batch in all.chunks(BATCH) {
        let share = allotment.share(batch.len());
        let searched: Vec<(Nearest, u64)> = batch
            .par_iter()
            .map(|(couple, first)| {
                let (_, body, other) = couple;
                let look = |a: f64, b: f64| look(enclosure, body, other, scene, a, b);
                let each = 2 * looking(couple);
                let Least { lower, at, tight, halved, .. } =
                    least(first.iter().copied(), tolerance, end(couple, enough(nearest)), share / each, &look);
                let proof = if tight { Proof::Tight } else { Proof::Bound };
                let required = other.required(required);
                let nearest = Nearest {
                    group: body.group(),
                    against: other.against(),
                    gap: lower,
                    swing: 0.0,
                    parts: [None; 2],
                    at,
                    required,
                    proof,
                    tolerance: scene.tolerance,
                    scale: scale(required, body),
                };
                (nearest, halved * each)
            })
            .collect();
        allotment.spent(searched.iter().map(|(_, spent)| spent).sum());
        found.extend(searched.into_iter().map(|(nearest, _)| nearest));
    }
    if wanted == Wanted::Gap {
        name_parts(enclosure, couples, &mut found, spare, |_| true);
    }
    found
}
