//! Wires that only pull: where gravity cannot turn a weighted limb as fast as its wire is paid out, the wire goes slack.
//!
//! What: in every part of a pass, on each piece of the wire's axis, ranges hold the axis and its derivatives, and over such ranges the
//! margin of gravity has a bound from below ([`Hanging::certified_margin`]). Where the bound is above 0 the wire is taut, proven; where it is not, the piece is halved until
//! the margin at its middle says slack, or the bound says taut. No sampling decides. In held passes the limb stands at every station besides: there gravity alone counts.
//! Limits: a limb that swings or a wire that sticks is not modelled, nor a limb that is parked. Where a wire is beyond its dead centre `reach` says so.

use core::cell::Cell;

use super::clearance::enclosure::over;
use super::exceeded::finding;
use super::sections::{self, Section};
use super::violation::{At, Cause, Limit, Part, Violation};
use crate::bounds::{Effort, Excess};
use crate::compile::frame_time;
use crate::mechanism::Hanging;
use crate::motion::curve::Curve;
use crate::number::Jet;
use crate::program::Program;
use crate::stage::{AxisId, Stage};
use crate::time::FrameTime;

/// Halvings after which a piece whose margin is within rounding of 0 counts as slack: 2^-20 of a piece.
const DEEPEST: u32 = 20;

/// A limb on a wire that is not parked.
struct Hung<'a> {
    limb: &'a dyn Hanging,
    axis: AxisId,
}

/// A stretch over which a wire is slack.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    part: Part,
    at: At,
    span: (f64, f64),
    /// Angular acceleration asked for and the one that gravity gives, deg/s2, in the direction of paying out.
    wanted: f64,
    gravity: f64,
}

/// Every stretch over which a limb's wire is slack in a pass, by its axis; the value is the angular acceleration asked for, the allowed one what gravity can
/// follow, both in deg/s2 in the direction of paying out.
pub(super) fn violations(program: &Program) -> Vec<Violation> {
    let mut found = Vec::new();
    // A section of a held pass has curves of its own for all axes: it is formed once for all wires.
    let mut all: Vec<(Hung<'_>, Vec<Stretch>)> = limbs(program).map(|hung| (hung, Vec::new())).collect();
    if !all.is_empty() {
        sections::each(program, &mut |section| {
            for (hung, stretches) in &mut all {
                hung.in_section(section, stretches);
            }
        });
    }
    for (hung, mut stretches) in all {
        hung.standing(program, &mut stretches);
        stretches.sort_by(|a, b| (a.part, a.span.0).partial_cmp(&(b.part, b.span.0)).unwrap_or(core::cmp::Ordering::Equal));
        // In a held pass what is slack before and after an exposure is one stretch.
        let apart = if program.stations().is_some() { f64::from(program.pass().every()) } else { 0.0 };
        let mut joined: Vec<Stretch> = Vec::new();
        for s in stretches {
            match joined.last_mut() {
                Some(j) if j.part == s.part && s.span.0 <= j.span.1 + apart => j.take_in(&s),
                _ => joined.push(s),
            }
        }
        let of =
            |s: Stretch| finding(program.compiled(), hung.axis, Limit::Slack, s.part, (s.at, s.span), (s.wanted, s.gravity), Cause::Slack);
        found.extend(joined.into_iter().map(of));
    }
    found
}

/// The limb whose wire an axis of a pass pays out.
pub(super) fn limb_of(program: &Program, axis: AxisId) -> Option<&dyn Hanging> {
    limbs(program).find(|hung| hung.axis == axis).map(|hung| hung.limb)
}

/// The angular acceleration asked for and gravity's, deg/s2, where a wire would be slackest with this limb instead of its own; `None` within where it is taut throughout the pass.
///
/// # Errors
/// The budget of trials is used up.
pub(super) fn slackest(program: &Program, axis: AxisId, limb: &dyn Hanging) -> Result<Option<(f64, f64)>, Excess> {
    let (hung, work) = (Hung { limb, axis }, program.compiled().work());
    let (mut stretches, mut spent) = (Vec::new(), Ok(()));
    sections::each(program, &mut |section| {
        if spent.is_ok() {
            let looked = hung.in_section(section, &mut stretches);
            spent = work.spend(Effort::TrialSwings, u64::try_from(looked).unwrap_or(u64::MAX));
        }
    });
    spent?;
    hung.standing(program, &mut stretches);
    let pulls = stretches.iter().map(|s| (s.wanted, s.gravity));
    Ok(pulls.reduce(|a, b| if b.0 - b.1 > a.0 - a.1 { b } else { a }))
}

/// True where a wire whose axis counts is slack in a pass, or is not known to be taut because the budget of trials is used up.
pub(super) fn may_be_slack(program: &Program, counts: &dyn Fn(AxisId) -> bool) -> bool {
    let mut found = false;
    if limbs(program).any(|hung| counts(hung.axis)) {
        sections::each(program, &mut |section| found = found || !matches!(first_slack_of(program, section, counts), Ok(None)));
    }
    let stands = |hung: Hung<'_>| {
        let mut slack = Vec::new();
        hung.standing(program, &mut slack);
        !slack.is_empty()
    };
    found || limbs(program).filter(|hung| counts(hung.axis)).any(stands)
}

/// The first axis whose wire is slack in a section: what a trial of another pace asks.
///
/// # Errors
/// The budget of trials is used up.
pub(super) fn first_slack(program: &Program, section: &Section<'_>) -> Result<Option<AxisId>, Excess> {
    first_slack_of(program, section, &|_| true)
}

fn first_slack_of(program: &Program, section: &Section<'_>, counts: &dyn Fn(AxisId) -> bool) -> Result<Option<AxisId>, Excess> {
    let work = program.compiled().work();
    for hung in limbs(program).filter(|hung| counts(hung.axis)) {
        let Ok(curve) = section.course.curve(hung.axis) else { continue };
        let pieces = section.pieces(hung.axis).count();
        // A piece is looked at once at least.
        let count = |n: usize| work.spend(Effort::TrialSwings, LOOK.saturating_mul(u64::try_from(n).unwrap_or(u64::MAX)));
        count(pieces)?;
        let most = looks(pieces);
        let search = Search { hung: &hung, curve, pace: section.timing.pace, left: Cell::new(most) };
        let is_slack = section.pieces(hung.axis).any(|piece| search.finds(piece.start, piece.end, 0));
        count((most - search.left.get()).saturating_sub(pieces))?;
        if is_slack {
            return Ok(Some(hung.axis));
        }
    }
    Ok(None)
}

/// What a look over a stretch costs, in places along a swing.
const LOOK: u64 = 6;

/// True where a pass moves a limb that hangs on a wire.
pub(super) fn has_wires(program: &Program) -> bool {
    limbs(program).next().is_some()
}

fn limbs(program: &Program) -> impl Iterator<Item = Hung<'_>> {
    let stage: &Stage = program.compiled().stage();
    stage.machines().iter().filter_map(|m| match (m.mechanism().hanging(), m.axes()) {
        (Some(limb), [axis]) if !program.parks(*axis) => Some(Hung { limb, axis: *axis }),
        _ => None,
    })
}

impl Stretch {
    fn take_in(&mut self, other: &Stretch) {
        self.span.1 = self.span.1.max(other.span.1);
        if other.wanted - other.gravity > self.wanted - self.gravity {
            (self.at, self.wanted, self.gravity) = (other.at, other.wanted, other.gravity);
        }
    }
}

impl Hung<'_> {
    /// Adds a stretch for every piece on which the wire is slack; says how often it looked.
    fn in_section(&self, section: &Section<'_>, found: &mut Vec<Stretch>) -> usize {
        let Ok(curve) = section.course.curve(self.axis) else { return 0 };
        let most = looks(section.pieces(self.axis).count());
        let search = Search { hung: self, curve, pace: section.timing.pace, left: Cell::new(most) };
        for piece in section.pieces(self.axis) {
            let mut worst = None;
            search.look(piece.start, piece.end, 0, &mut worst);
            if let Some((t, wanted, gravity)) = worst {
                let (at, span) = (section.at(t), section.span(piece.start, piece.end));
                found.push(Stretch { part: section.timing.part, at, span, wanted, gravity });
            }
        }
        most - search.left.get()
    }

    /// Adds the stations of a held pass at which the wire is slack with the limb at rest.
    fn standing(&self, program: &Program, found: &mut Vec<Stretch>) {
        let Some(stations) = program.stations() else { return };
        for (n, position) in stations.exposed().frames().zip(stations.positions(program.compiled().motion(self.axis).curve())) {
            let Some(pull) = self.limb.pull(Jet::constant(position), 1.0) else { continue };
            if !(pull.margin() > 0.0) {
                let frame = frame_time(n);
                let at = At::Frame(FrameTime(frame));
                // The exposure and the standing about it.
                let span = (frame - 0.5, frame + 0.5);
                found.push(Stretch { part: Part::Photographed, at, span, wanted: pull.wanted, gravity: pull.gravity });
            }
        }
    }
}

struct Search<'a> {
    hung: &'a Hung<'a>,
    curve: &'a Curve,
    pace: f64,
    /// Looks that are left: where none is, what is not proven taut counts as slack.
    left: Cell<usize>,
}

/// Looks for so many pieces: some for each, and more for those on which the margin is small.
fn looks(pieces: usize) -> usize {
    4096 + 64 * pieces
}

impl Search<'_> {
    /// Raises `worst` (instant, acceleration asked for, gravity's) by what the stretch from `from` to `to` shows.
    fn look(&self, from: f64, to: f64, depth: u32, worst: &mut Option<(f64, f64, f64)>) {
        let limb = self.hung.limb;
        if self.is_taut(from, to) {
            return;
        }
        let deepest = depth >= DEEPEST || self.left.get() == 0;
        let middle = 0.5 * (from + to);
        // Beyond a dead centre there is no angle, and nothing to say of gravity.
        let pull = self.curve.jet(middle).and_then(|jet| limb.pull(jet, self.pace));
        let over = pull.map_or(f64::NEG_INFINITY, |p| p.wanted - p.gravity);
        if let Some(pull) = pull.filter(|_| over >= 0.0 || deepest)
            && worst.is_none_or(|(_, w, g)| over > w - g)
        {
            *worst = Some((middle, pull.wanted, pull.gravity));
        }
        if deepest || (over >= 0.0 && depth >= 6) {
            return;
        }
        self.look(from, middle, depth + 1, worst);
        self.look(middle, to, depth + 1, worst);
    }

    /// True where the wire is proven taut over the whole stretch.
    fn is_taut(&self, from: f64, to: f64) -> bool {
        self.left.set(self.left.get().saturating_sub(1));
        self.hung.limb.certified_margin(over(self.curve, from, to), self.pace).is_some_and(|margin| margin > 0.0)
    }

    /// True where the wire is slack somewhere in the stretch: what [`Search::look`] would find, without the worst of it.
    fn finds(&self, from: f64, to: f64, depth: u32) -> bool {
        if self.is_taut(from, to) {
            return false;
        }
        let deepest = depth >= DEEPEST || self.left.get() == 0;
        let middle = 0.5 * (from + to);
        let pull = self.curve.jet(middle).and_then(|jet| self.hung.limb.pull(jet, self.pace));
        match pull {
            Some(pull) if deepest || pull.wanted >= pull.gravity => true,
            _ if deepest => false,
            _ => self.finds(from, middle, depth + 1) || self.finds(middle, to, depth + 1),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::check::fixture;
    use crate::mechanism::{Limb, LimbWire, LimbWireSpec};
    use crate::motion::curve::CurveBuilder;
    use crate::motion::quintic::{Node, Quintic};
    use crate::shot::{Exposure, Shape};
    use crate::stage::{AxisSpec, MachineSpec, Unit};

    /// A leg of 0.4 kg, centre 80 mm out, 0.004 kg m2, level, its wire from above: gravity lowers it at m g d / I = 78.45 rad/s2 x cos, in degrees 4495.
    fn leg() -> (LimbWire, Limb) {
        let wire = LimbWire::new(LimbWireSpec { arm: 120.0, guide: [0.0, 200.0], neutral: 0.0 }).unwrap();
        (wire, Limb::new(0.4, 80.0, 0.004).unwrap())
    }

    /// The wire's curve for an angle's, in pieces so short that it is the same to 1e-9.
    fn wire_curve(wire: &LimbWire, angle: &Quintic, h: f64) -> Curve {
        let node = |i: u32| Node::from(wire.paid_out(angle.jet(f64::from(i) / 200.0, h)).unwrap());
        let mut b = CurveBuilder::starting_at(0.0, 200);
        (0..200).for_each(|i| b.push(h * f64::from(i + 1) / 200.0, Quintic::between(node(i), node(i + 1), h / 200.0)));
        b.finish().unwrap()
    }

    fn stretches(angle: &Quintic, h: f64, pace: f64) -> Vec<(f64, f64, f64)> {
        let (wire, limb) = leg();
        let curve = wire_curve(&wire, angle, h);
        let stage = one_leg(20.0);
        let hanging = wire.with_limb(limb);
        let hung = Hung { limb: &hanging, axis: stage.axis_of_name("heron.leg").unwrap() };
        let search = Search { hung: &hung, curve: &curve, pace, left: Cell::new(usize::MAX) };
        let of = |piece: crate::motion::curve::Piece<'_>| {
            let mut worst = None;
            search.look(piece.start, piece.end, 0, &mut worst);
            worst
        };
        curve.pieces().filter_map(of).collect()
    }

    #[test]
    fn paid_out_slowly_the_wire_is_taut_and_faster_than_gravity_it_is_slack() {
        // Rest to rest over 20 deg in 10 frames: peak acceleration 10/sqrt 3 x 20/100 = 1.1547 deg/frame2 (T. Flash, N. Hogan 1985), early on, downwards,
        // where gravity gives about 4495 deg/s2 x cos 7 deg. The border lies at 1.1547 / T^2 = 4460: T = 0.01609 s.
        let lowered = |pace| stretches(&Quintic::between(Node::rest(10.0), Node::rest(-10.0), 10.0), 10.0, pace);
        assert!(lowered(12.0).is_empty());
        assert!(lowered(0.0163).is_empty());
        let over = lowered(0.0158);
        let worst = over.iter().copied().reduce(|a, b| if b.1 - b.2 > a.1 - a.2 { b } else { a }).unwrap();
        assert!(worst.1 > worst.2 && worst.2 > 4400.0 && worst.2 < 4495.0, "{worst:?}");
        assert!((worst.0 - 2.11).abs() < 0.3, "{worst:?}");
    }

    #[test]
    fn the_verdict_is_that_of_dense_sampling() {
        let (wire, limb) = leg();
        let q = Quintic::between(Node { p: 30.0, v: -2.0, a: 0.3 }, Node { p: -25.0, v: -4.0, a: 0.5 }, 12.0);
        for i in 0..60 {
            let pace = 0.01 + f64::from(i) * 0.0005;
            let found = !stretches(&q, 12.0, pace).is_empty();
            let sampled =
                (0..=4000).map(|k| wire.follows(&limb, q.jet(f64::from(k) / 4000.0, 12.0), pace).margin()).fold(f64::INFINITY, f64::min);
            // Right at the border sampling and proof may differ by what lies between two samples.
            if sampled.abs() > 1.0 {
                assert_eq!(found, sampled < 0.0, "pace {pace}: {sampled}");
            }
        }
    }

    /// The leg on a stage, its guide to the side: the wire holds it from -60 to 120 deg, where gravity no longer lowers it beyond 90.
    fn one_leg(neutral: f64) -> Stage {
        let axis = AxisSpec::new("leg", Unit::Millimetre, [-400.0, 400.0], [1e3, 1e3, 1e4]);
        let wire = LimbWire::new(LimbWireSpec { arm: 120.0, guide: [-100.0, 170.0], neutral }).unwrap();
        let spec = MachineSpec::new(wire.with_limb(leg().1), ["heron.knee"], ["heron.leg"]);
        fixture::stage("heron", vec![axis]).with_machines(vec![spec]).unwrap()
    }

    fn found(keys: &[(f64, f64)], neutral: f64, exposure: Exposure) -> Vec<(Part, At)> {
        let stage = one_leg(neutral);
        let track = fixture::track(&stage, "heron.knee", Shape::MinimumJerk, keys);
        let passes = vec![fixture::pass(&stage, "picture", exposure, 30.0)];
        let report = fixture::compiled(stage, (1, 48), vec![track], passes).check().unwrap();
        report.passes.iter().flat_map(|p| &p.violations).filter(|v| v.limit == Limit::Slack).map(|v| (v.part, v.at)).collect()
    }

    /// Up to 110 deg and back: beyond 90 deg gravity would turn the leg the other way, whatever the exposure.
    #[test]
    fn a_leg_beyond_upright_is_slack_in_held_passes_as_in_moving_ones() {
        let keys = [(1.0, 20.0), (24.0, 110.0), (48.0, 20.0)];
        for exposure in [Exposure::Moving, Exposure::Held] {
            let all = found(&keys, 20.0, exposure);
            // Above 90 deg from about frame 17 to 31.
            let is_there = matches!(all[..], [(Part::Photographed, At::Frame(frame))] if (15.0..34.0).contains(&frame.0));
            assert!(is_there, "{exposure:?}: {all:?}");
        }
        assert_eq!(found(&[(1.0, 20.0), (24.0, 80.0), (48.0, 20.0)], 20.0, Exposure::Held), []);
        // One station alone: nothing moves, and the leg stands beyond upright.
        assert!(matches!(found(&[(1.0, 100.0)], 100.0, Exposure::Held)[..], [(Part::Photographed, At::Frame(f))] if f == FrameTime(1.0)));
    }

    /// Each piece of a calm move is proven taut at one look: that many looks are enough, and after them there is none left.
    #[test]
    fn a_trial_counts_its_looks_and_says_where_none_is_left() {
        let stage = one_leg(20.0);
        let track = fixture::track(&stage, "heron.knee", Shape::MinimumJerk, &[(1.0, 20.0), (48.0, 30.0)]);
        let compiled =
            fixture::compiled(stage.clone(), (1, 48), vec![track], vec![fixture::pass(&stage, "picture", Exposure::Moving, 30.0)]);
        let programs = Program::all(&compiled).unwrap();
        let program = programs.first().unwrap();
        let mut seen = 0;
        sections::see_part(program, Part::Photographed, 30.0, &mut |section| {
            let pieces = section.pieces(stage.axis_of_name("heron.leg").unwrap()).count() as u64;
            let work = compiled.work();
            work.spent(Effort::TrialSwings, work.left(Effort::TrialSwings) - LOOK * pieces);
            assert_eq!(first_slack(program, section).map_err(|e| e.work), Ok(None));
            assert_eq!(first_slack(program, section).map_err(|e| e.work), Err(Effort::TrialSwings));
            seen += 1;
        });
        assert_eq!(seen, 1);
    }

    /// At home the leg stands at 100 deg: the wire is slack until it has come down on the way to its start, and again at the end of the way home.
    #[test]
    fn the_way_to_the_start_and_home_is_looked_at_on_its_own_clock() {
        let all = found(&[(1.0, 20.0), (48.0, 30.0)], 100.0, Exposure::Moving);
        let parts: Vec<Part> = all.iter().map(|(part, _)| *part).collect();
        assert_eq!(parts, [Part::MoveToStart, Part::ReturnHome], "{all:?}");
        assert!(all.iter().all(|(_, at)| at.frame().is_none()));
    }
}
