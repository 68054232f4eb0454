//! Clearance of a held pass: at every station exactly, and along every move between two.
//!
//! What: all axes leave a station together and arrive together, each by its own law, so between two exposures the bodies follow one path in time. It is searched as the
//! path of a moving pass is, in seconds. Invariant: a gap is never above the true least one; its instant lies between the frame left and the next one as the part of the move that has passed.
//! What is enough is known beforehand: the nearest gap at any station, or what is required where that is more.
//! Limits: where the budget is used up, nothing is known of the stations and moves that are left: gaps of bodies are then reported as not proven.

use rayon::prelude::*;

use super::allotment::{Allotment, BATCH};
use super::enclosure::Enclosure;
use super::gap::{ClearanceReport, Nearest, Proof};
use super::pair::{Couple, Placed, Scene, cell, couples, look, looking, measured, name_parts, placed, placing, scale, scene};
use super::rail::{self, Neighbours};
use super::search::{Least, least};
use super::windows::end;
use crate::bounds::Effort;
use crate::compile::frame_time;
use crate::program::{HeldMove, Program, Stations};

/// Clearance over stations and moves; `None` where nothing could meet.
pub(super) fn over(program: &Program, stations: &Stations, spare: f64) -> Option<ClearanceReport> {
    // One way into the threads for all moves: each batch would wake and await them again.
    rayon::scope(|_| searched(program, stations, spare))
}

fn searched(program: &Program, stations: &Stations, spare: f64) -> Option<ClearanceReport> {
    let (compiled, stage) = (program.compiled(), program.compiled().stage());
    let course = program.course();
    let enclosure = Enclosure::new(&course);
    let frames: Vec<f64> = stations.exposed().frames().map(frame_time).collect();
    let first = frames.first().copied()?;
    let neighbours = rail::neighbours(&enclosure, first);
    let couples = couples(stage);
    if neighbours.is_empty() && couples.is_empty() {
        return None;
    }
    let scene = scene(&enclosure);
    let mut allotment = Allotment::half(compiled.work(), Effort::Boxes);
    let required = stage.surroundings().clearance;
    let carriages = |t: f64| neighbours.iter().map(|n| n.at(&enclosure, t)).collect();
    let at = |t: &f64, enough: f64| {
        let (bodies, compared) = standing(&enclosure, &couples, scene, *t, enough);
        (At { carriages: carriages(*t), bodies }, compared)
    };
    // What is near at the first station says what is far at the others.
    let near = |at: &At| {
        let others = at.bodies.iter().zip(&couples).filter(|(_, (_, _, other))| !other.is_own());
        others.map(|(f, _)| f.gap).fold(f64::INFINITY, f64::min)
    };
    let (mut standing, compared) = at(&first, f64::INFINITY);
    let far = near(&standing).max(required + spare);
    let each = stage.bodies().iter().map(placing).sum::<u64>();
    allotment.spent(each + compared);
    // The first frame at which the bodies were not looked at.
    let mut lost = None;
    for batch in frames.get(1..).unwrap_or_default().chunks(STATIONS) {
        if allotment.is_used_up() {
            lost = lost.or(batch.first().copied());
            let rest = batch.iter().map(|t| At { carriages: carriages(*t), bodies: Vec::new() });
            standing = rest.fold(standing, At::joined);
            continue;
        }
        let joined = |(a, n): (At, u64), (b, m): (At, u64)| (a.joined(b), n + m);
        let (found, compared) = batch.par_iter().with_min_len(8).map(|t| at(t, far)).reduce(Default::default, joined);
        allotment.spent(each * u64::try_from(batch.len()).unwrap_or(u64::MAX) + compared);
        standing = standing.joined(found);
    }
    // What a move need not show: no pair comes nearer on it than any comes at a station, or than is required.
    let search = Search { couples: &couples, neighbours: &neighbours, scene, enough: near(&standing).max(required + spare) };
    let mut all = At::default();
    for batch in stations.moves().chunks(BATCH) {
        let share = allotment.share(batch.len());
        if share == 0 {
            // Where nothing moves, the stations have told all there is.
            lost = lost.or(batch.iter().find(|m| m.seconds.0 > 0.0).map(|m| m.frame_after(0.5).0));
        }
        let on = |m: &HeldMove| {
            let path = stations.path(compiled, program.pass(), m)?;
            Some(search.on(&Enclosure::new(&path.course()), m, share))
        };
        let found: Vec<(At, u64)> = batch.par_iter().filter_map(on).collect();
        allotment.spent(found.iter().map(|(_, spent)| spent).sum());
        all = found.into_iter().fold(all, |all, (at, _)| all.joined(at));
    }
    let mut all = all.joined_after(standing);
    if let Some(at) = lost {
        all.bodies.iter_mut().for_each(|f| *f = Found { gap: f64::NEG_INFINITY, at, proof: Proof::Bound });
    }
    let mut pairs: Vec<Nearest> = neighbours.iter().zip(all.carriages).map(|(n, found)| n.nearest(&found)).collect();
    let mut bodies: Vec<Nearest> = couples
        .iter()
        .zip(all.bodies)
        .map(|(couple, f)| {
            let (_, body, other) = couple;
            let required = other.required(required);
            Nearest {
                group: body.group(),
                against: other.against(),
                gap: f.gap,
                swing: 0.0,
                parts: [None; 2],
                at: f.at,
                required,
                proof: f.proof,
                tolerance: scene.tolerance,
                scale: scale(required, body),
            }
        })
        .collect();
    // Between two stations no instant of the frame scale is one of the course: there the nearest parts are not named.
    name_parts(&enclosure, &couples, &mut bodies, spare, |at| frames.contains(&at));
    pairs.extend(bodies);
    Some(ClearanceReport { pairs })
}

/// Stations looked at side by side before what they have cost is counted.
const STATIONS: usize = 256;

/// The least gap of a pair of bodies so far.
#[derive(Debug, Clone, Copy)]
struct Found {
    gap: f64,
    at: f64,
    proof: Proof,
}

/// The least gaps of all pairs so far: carriages on rails, then bodies. Either is empty where it was not looked at.
#[derive(Debug, Clone, Default)]
struct At {
    carriages: Vec<rail::Difference>,
    bodies: Vec<Found>,
}

impl At {
    /// The lesser of each two; of equals the earlier.
    fn joined(self, other: At) -> At {
        let lesser = |a: Found, b: Found| if b.gap < a.gap || (b.gap == a.gap && b.at < a.at) { b } else { a };
        At { carriages: each(self.carriages, other.carriages, rail::Difference::lesser), bodies: each(self.bodies, other.bodies, lesser) }
    }

    /// The same with what is known of the stations: there the gap is exact, so it counts wherever a move only shows that it is no less.
    fn joined_after(self, stations: At) -> At {
        let lesser = |m: Found, s: Found| if m.gap < s.gap { m } else { s };
        At { carriages: each(self.carriages, stations.carriages, |m, s| s.lesser(m)), bodies: each(self.bodies, stations.bodies, lesser) }
    }
}

/// Two lists pair by pair; the other one where one was not looked at.
fn each<T>(one: Vec<T>, other: Vec<T>, both: impl Fn(T, T) -> T) -> Vec<T> {
    match (one.is_empty(), other.is_empty()) {
        (true, _) => other,
        (_, true) => one,
        _ => one.into_iter().zip(other).map(|(a, b)| both(a, b)).collect(),
    }
}

/// Gaps of bodies at a station, and how much was compared; of those whose boxes are `enough` apart the gap of the boxes.
fn standing(enclosure: &Enclosure<'_>, couples: &[Couple<'_>], scene: Scene, t: f64, enough: f64) -> (Vec<Found>, u64) {
    let mut all = 0;
    let placed: Vec<Option<Placed>> = enclosure.stage().bodies().iter().map(|b| placed(enclosure, b, t, t)).collect();
    let mut of = |couple: &Couple<'_>| {
        if let Some(gap) = far_apart(couple, &placed, scene, enough) {
            return Found { gap, at: t, proof: Proof::Bound };
        }
        let (index, body, other) = couple;
        let known = |i: usize| placed.get(i).and_then(Option::as_ref);
        let ((lower, middle), compared) = measured(body, known(*index), other, &other.standing(), other.index().and_then(known));
        all += compared;
        // Where a mechanism is not proven to have a place, and of parts of one figure whose boxes are apart, a bound is all there is.
        let exact = middle.is_finite() && (lower >= middle || !other.is_own());
        let (gap, proof) = if exact { (middle, Proof::Tight) } else { (lower, Proof::Bound) };
        Found { gap: if gap.is_nan() { f64::NEG_INFINITY } else { gap - scene.rounding }, at: t, proof }
    };
    let found = couples.iter().map(&mut of).collect();
    (found, all)
}

/// How far the boxes of a pair are apart, where that is enough.
fn far_apart((index, _, other): &Couple<'_>, placed: &[Option<Placed>], scene: Scene, enough: f64) -> Option<f64> {
    let around = |i: usize| placed.get(i).and_then(Option::as_ref).and_then(|p| p.boxes.all);
    let theirs = other.index().map_or(other.standing().all, around)?;
    let gap = around(*index)?.gap(&theirs) - scene.rounding;
    (gap >= enough).then_some(gap)
}

struct Search<'a> {
    couples: &'a [Couple<'a>],
    neighbours: &'a [Neighbours<'a>],
    scene: Scene,
    enough: f64,
}

impl Search<'_> {
    /// Gaps on one move, and what it cost to find them; searches end where `share` is spent.
    fn on(&self, enclosure: &Enclosure<'_>, m: &HeldMove, share: u64) -> (At, u64) {
        let (from, to) = enclosure.span();
        let frame = |t: f64| m.frame_after((t - from) / (to - from)).0;
        let carriages = self.neighbours.iter().map(|n| {
            let found = n.over(enclosure);
            rail::Difference { at: frame(found.at), ..found }
        });
        let carriages = carriages.collect();
        if share == 0 {
            // Nothing is left for a look at bodies.
            return (At { carriages, bodies: Vec::new() }, 0);
        }
        let bodies = enclosure.stage().bodies();
        let placed: Vec<Option<Placed>> = bodies.iter().map(|b| placed(enclosure, b, from, to)).collect();
        let mut spent = bodies.iter().map(placing).sum();
        let mut gap = |couple: &Couple<'_>| {
            if let Some(gap) = far_apart(couple, &placed, self.scene, self.enough) {
                return Found { gap, at: frame(0.5 * (from + to)), proof: Proof::Bound };
            }
            let (index, body, other) = couple;
            let known = |i: usize| placed.get(i).and_then(Option::as_ref);
            let (found, compared) = measured(body, known(*index), other, &other.standing(), other.index().and_then(known));
            let look = |a: f64, b: f64| look(enclosure, body, other, self.scene, a, b);
            let each = 2 * looking(couple);
            let most = share.saturating_sub(spent) / each;
            let whole = cell(from, to, found, self.scene);
            let Least { lower, at, tight, halved, .. } =
                least([whole], self.scene.tolerance - 2.0 * self.scene.rounding, end(couple, self.enough), most, &look);
            spent += compared + halved * each;
            Found { gap: lower, at: frame(at), proof: if tight { Proof::Tight } else { Proof::Bound } }
        };
        let bodies = self.couples.iter().map(&mut gap).collect();
        (At { carriages, bodies }, spent)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::check::fixture;
    use crate::compile::Compiled;
    use crate::mechanism::{JointKind, JointSpec, Vector};
    use crate::shot::{Exposure, Shape};
    use crate::stage::{AxisSpec, BodySpec, Capsule, Stage, Surroundings, Unit};

    /// Two balls of 10 and 5 mm on slides along `ways`, the second from `offset`; both on one rail where `gap` says so. Two frames and more, one key line each.
    fn two(ways: [[f64; 3]; 2], offset: [f64; 3], required: f64, gap: Option<f64>, lines: [(f64, f64); 2]) -> Compiled {
        let axis = || AxisSpec::new("x", Unit::Millimetre, [-1e4, 1e4], [50.0, 20.0, 60.0]);
        let stage = Stage::new("marsh", 1.0, ["a", "b"].map(|n| fixture::group(n, vec![axis()])).to_vec()).unwrap();
        let origin = Vector::new(0.0, 0.0, 0.0);
        let body = |name: &str, way, offset, radius| BodySpec {
            joints: vec![JointSpec { kind: JointKind::Slide(way), channel: Some(0), rest: 0.0, offset }],
            channels: vec![format!("{name}.x")],
            envelope: vec![Capsule { from: origin, to: origin, radius }.into()],
            rail: gap.map(|gap| ("bridge".into(), format!("{name}.x"), [20.0, 20.0], gap)),
            ..BodySpec::new(name)
        };
        let [first, second] = ways;
        let bodies = vec![body("a", first, [0.0; 3], 10.0), body("b", second, offset, 5.0)];
        let stage = stage.with_bodies(bodies, Surroundings { clearance: required, ..Surroundings::default() }).unwrap();
        let [a, b] = lines;
        let line = |(at, by): (f64, f64)| [(0.0, at - by), (10.0, at + 9.0 * by)];
        let tracks = [("a.x", a), ("b.x", b)].map(|(c, l)| fixture::track(&stage, c, Shape::NaturalCubic, &line(l))).to_vec();
        let passes = vec![fixture::pass(&stage, "still", Exposure::Held, 100.0)];
        fixture::compiled(stage, (1, 9), tracks, passes)
    }

    fn pairs(compiled: &Compiled) -> Vec<Nearest> {
        let report = compiled.check().unwrap();
        report.passes.first().unwrap().clearance.clone().unwrap().pairs
    }

    const X: [f64; 3] = [1.0, 0.0, 0.0];
    const Z: [f64; 3] = [0.0, 0.0, 1.0];

    /// Both go 40 mm from frame to frame, 100 mm apart: in step, they stay so. Had each been anywhere between its stations, 60 mm could not be excluded.
    #[test]
    fn bodies_that_move_in_step_keep_their_gap() {
        let compiled = two([X, X], [0.0; 3], 80.0, Some(55.0), [(0.0, 40.0), (100.0, 40.0)]);
        let all = pairs(&compiled);
        let gaps: Vec<f64> = all.iter().map(|n| n.gap).collect();
        assert!(matches!(gaps[..], [rail, balls] if (rail - 60.0).abs() < 1e-9 && (balls - 85.0).abs() < 1e-3), "{all:?}");
        assert!(all.iter().all(|n| n.proof == Proof::Tight && n.is_kept()), "{all:?}");
    }

    /// The same: carriages cost no budget, bodies do. What all looks have cost is enough for them; without anything no move is proven, nor a station after the first.
    #[test]
    fn where_the_budget_is_used_up_no_move_of_bodies_is_proven() {
        let with = |left: Option<u64>| {
            let compiled = two([X, X], [0.0; 3], 80.0, Some(55.0), [(0.0, 40.0), (100.0, 40.0)]);
            let work = compiled.work();
            work.spent(Effort::Boxes, left.map_or(0, |left| work.left(Effort::Boxes) - left));
            let before = work.used(Effort::Boxes);
            let programs = Program::all(&compiled).unwrap();
            let program = programs.first().unwrap();
            (over(program, program.stations().unwrap(), 0.0).unwrap().pairs, work.used(Effort::Boxes) - before)
        };
        let (all, cost) = with(None);
        // A course has half of what is left.
        assert_eq!((with(Some(2 * cost)), all.iter().all(Nearest::is_kept)), ((all, cost), true));
        let (all, _) = with(Some(0));
        assert!(matches!(&all[..], [rail, balls] if (rail.gap - 60.0).abs() < 1e-9 && balls.gap == f64::NEG_INFINITY), "{all:?}");
        let kept: Vec<_> = all.iter().map(|n| (n.proof, n.is_kept(), n.at)).collect();
        assert!(matches!(kept[..], [(Proof::Tight, true, _), (Proof::Bound, false, 2.0)]), "{kept:?}");
    }

    /// One passes 20 mm above the other in the middle of every move, while at the stations they are far apart.
    #[test]
    fn what_comes_near_between_two_stations_is_found() {
        let compiled = two([X, Z], [0.0, 20.0, 0.0], 30.0, None, [(-50.0, 100.0), (50.0, -100.0)]);
        let all = pairs(&compiled);
        let n = all.first().unwrap();
        assert!(n.gap <= 5.0 && 5.0 - n.gap <= n.tolerance && n.proof == Proof::Tight && !n.is_kept(), "{n:?}");
        assert!((n.at - 1.5).abs() < 1e-3, "{n:?}");
        let exactly = two([X, Z], [0.0, 20.0, 0.0], 5.0, None, [(-50.0, 100.0), (50.0, -100.0)]);
        assert!(exactly.check().unwrap().within_limits());
    }
}
