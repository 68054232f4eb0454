//! A pass on its stage clock, worked out anew: from home over the place of approach to the start, run-up, exposures or stations and the moves between them, run-down.
//!
//! What: an axis first goes to a place short of its start by its backlash and a margin (half of the backlash, no less than a full step), on the side from which it then moves on, where
//! its travel has room for that; then to its start. Each leg is the shortest rest-to-rest move of the slowest axis, slowed by quarters where a motor's torque asks for it; the others
//! take as long. The two legs end on a whole second. Invariant: what is not certain, such as the side of an axis that stands at its start, is left
//! open: every way it may honestly have gone is known. Units: unit, s.

use super::columns::Against;
use super::edge::{About, Edge, Side};
use super::exposed;
use super::law::{Bounds, Law};
use super::oracle::steps_per_unit;
use super::split::{self, Split};
use super::torque::Motor;
use crate::shot::{Exposure, Pass};
use crate::stage::{Axis, AxisId};

/// Two ways to the same number of seconds differ by no more than this share of it.
const ARITHMETIC: f64 = 1e-9;

/// The greatest share of torque at the instants looked at is below that of the move by no more than this.
const LOOKED_AT: f64 = 1e-4;

/// How often a leg may be slowed, each time by a quarter.
const SLOWER: u8 = 24;

/// One way by which an axis may come to its start.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Way {
    to_approach: Law,
    to_start: Law,
}

/// An axis on its way to the start.
#[derive(Debug, Clone)]
pub(super) struct Track {
    home: f64,
    /// Where the pass starts for it.
    pub(super) start: About,
    /// Edges of the photographed span; `None` in a held pass.
    pub(super) edges: Option<[Edge; 2]>,
    /// How closely the delays of split moves are known, as a share of them.
    late: f64,
    /// The likely one first; more than one where it is not certain, none where it is parked.
    pub(super) ways: Vec<Way>,
    /// No way is likelier than another.
    even: bool,
}

impl Track {
    /// The ways that may be its own with regard to how long all axes take.
    fn likely(&self) -> &[Way] {
        let n = if self.even { self.ways.len() } else { 1 };
        self.ways.get(..n).unwrap_or_default()
    }
}

/// A pass in seconds.
pub(super) struct Timeline<'a> {
    pub(super) pass: &'a Pass,
    /// In stage order.
    pub(super) tracks: Vec<Track>,
    to_approach: About,
    to_start: About,
    /// Frames of run-up and run-down.
    pub(super) runs: [f64; 2],
}

impl<'a> Timeline<'a> {
    /// Works it out. `runs` are the frames of run-up and run-down that the manifest states.
    pub(super) fn new(what: &Against<'a>, pass: &'a Pass, runs: (u32, u32), departures: &Departures) -> Timeline<'a> {
        let held = pass.exposure() == Exposure::Held;
        let [up, down] = [runs.0, runs.1].map(f64::from);
        let moving = what.shot.passes().iter().filter(|p| p.exposure() == Exposure::Moving);
        let departs = |id: AxisId| {
            let departure = departures.0.get(id.index()).copied().unwrap_or_default();
            // How the span begins says nothing of a frame alone.
            Departure { side: departure.side.filter(|_| pass.wedge().is_none()), ..departure }
        };
        let mut leads: Vec<Option<f64>> = Vec::new();
        let mut tracks: Vec<Track> = what
            .stage
            .each_axis()
            .map(|(id, axis)| {
                if pass.parks(what.stage, id) {
                    let home = About { value: axis.home(), room: 0.0 };
                    leads.push(None);
                    return Track { home: axis.home(), start: home, edges: None, late: 0.0, ways: Vec::new(), even: false };
                }
                let pace = moving.clone().filter(|p| !p.parks(what.stage, id)).map(|p| p.pace().get()).fold(f64::INFINITY, f64::min);
                let pace = if pace.is_finite() { pace } else { pass.pace().get() };
                let edges = [Side::Start, Side::End].map(|side| Edge::of(what, id, side, pace));
                // A held pass first moves the way its whole curve does, run-up included.
                let side = match pass.wedge() {
                    // A frame alone is come to as a pass that runs through the shot comes to it.
                    Some(wedge) => first(Edge::at(what, id, (wedge.frame() as f64, -1.0), pace).speed),
                    None if up > 0.0 => edges[0].leads(up),
                    None => first(edges[0].speed),
                };
                let [at_start, _] = &edges;
                let start = if held {
                    first_station(what, pass, id)
                } else if up > 0.0 {
                    at_start.run(Side::Start, up, 0.0).position
                } else {
                    at_start.position
                };
                leads.push(side);
                let departs = departs(id);
                let ways = ways(axis, start, side, departs.side, &[None, None]);
                // It moves, and nothing says to which side: by next to nothing, or it stands where a frame alone is come to.
                let even = side.is_none() && departs.side.is_none() && departs.moves;
                Track { home: axis.home(), start, edges: (!held).then_some(edges), late: 0.0, ways, even }
            })
            .collect();
        // Where the pendulums hang is known only now.
        let splits: Vec<[Split; 2]> = what.stage.axis_ids().map(|id| splits(what, pass, id, &tracks)).collect();
        let all = what.stage.each_axis().zip(&mut tracks).zip(splits.iter().zip(leads));
        for (((id, axis), track), (splits, leads)) in
            all.filter(|(_, (splits, _))| splits[0].is_some()).filter(|((_, t), _)| !t.ways.is_empty())
        {
            let change = split::swing(what.stage, pass, id).and_then(|swing| swing.change);
            track.late = if change.is_some_and(|c| what.stage.own_axis(c.channel).is_none()) { SPLIT } else { 0.0 };
            track.ways = ways(axis, track.start, leads, departs(id).side, splits);
        }
        let to_approach = longest(what, &tracks, &|track, way| (&way.to_approach, track.start.room));
        // As long as backlash and margin ask for, wherever the start is.
        let to_start = longest(what, &tracks, &|_, way| (&way.to_start, 0.0));
        Timeline { pass, tracks, to_approach, to_start, runs: if held { [0.0; 2] } else { [up, down] } }
    }

    /// True where the move to start may honestly take so many whole seconds.
    pub(super) fn may_take(&self, seconds: f64) -> bool {
        let value = self.to_approach.value + self.to_start.value + self.rest();
        let room = self.to_approach.room + self.to_start.room;
        let room = room + ARITHMETIC * value;
        (value - room).ceil() <= seconds && seconds <= (value + room).ceil()
    }

    /// When each leg to the start begins and ends.
    pub(super) fn legs(&self) -> [[f64; 2]; 2] {
        let turn = self.to_approach.value;
        [[0.0, turn], [turn, turn + self.to_start.value]]
    }

    /// How long the move to start takes.
    pub(super) fn seconds(&self) -> f64 {
        (self.to_approach.value + self.to_start.value + self.rest()).ceil()
    }

    /// Rest between the move to start and the run-up of a moving pass, s.
    fn rest(&self) -> f64 {
        if self.pass.exposure() == Exposure::Held { 0.0 } else { self.pass.settle() }
    }

    /// Where an axis may be `t` seconds after the start of the program, up to the end of the move to start: one place for each of its ways.
    pub(super) fn on_the_way<'t>(&'t self, track: &'t Track, t: f64) -> impl Iterator<Item = About> + 't {
        track.ways.iter().map(move |way| {
            let unsure = |law: &Law, seconds: f64| {
                let late = track.late * law.delay();
                if late > 0.0 { late * law.speed_in(seconds) } else { 0.0 }
            };
            let mut room = track.start.room + unsure(&way.to_approach, self.to_approach.value);
            let ((soon, is_turned), (late, is_surely_turned)) = (self.after(way, t, -1.0), self.after(way, t, 1.0));
            // It may be anywhere between where it is at the soonest and at the latest; the turn counts where it may be on either leg.
            let turn = if is_turned == is_surely_turned { soon } else { way.to_approach.distance() };
            let (least, most) = (soon.min(late).min(turn), soon.max(late).max(turn));
            if is_turned {
                room += unsure(&way.to_start, self.to_start.value);
            }
            About { value: track.home + 0.5 * (least + most), room: room + 0.5 * (most - least) }
        })
    }

    /// How far from home `t` seconds after the start, and whether beyond the approach: both legs taking as long as they may (1), or as short (-1).
    fn after(&self, way: &Way, t: f64, sign: f64) -> (f64, bool) {
        let [turn, rest] = [self.to_approach, self.to_start].map(|leg| leg.value + sign * leg.room);
        let reached = |law: &Law, seconds: f64, t: f64| {
            if seconds > law.delay() { law.lasting(seconds).at(t.min(seconds)).position } else { law.distance() }
        };
        if t <= turn {
            (reached(&way.to_approach, turn, t), false)
        } else {
            (way.to_approach.distance() + reached(&way.to_start, rest, t - turn), true)
        }
    }
}

/// Longest of all axes' likely legs, with how far that may be off; what moves an axis's distance by its room moves its time.
fn longest<'t>(what: &Against<'_>, tracks: &'t [Track], leg: &dyn Fn(&'t Track, &'t Way) -> (&'t Law, f64)) -> About {
    let (mut least, mut most): (f64, f64) = (0.0, 0.0);
    for ((_, axis), track) in what.stage.each_axis().zip(tracks) {
        let motor = Motor::of(axis);
        let seconds = track.likely().iter().map(|way| {
            let (law, room) = leg(track, way);
            let far = law.distance().abs();
            // Of a split move the mean length is known to the backlash, so its delay to a share of that.
            let late = track.late * law.delay();
            let of = |distance: f64| fastest(axis, motor.as_ref(), distance, law);
            (of((far - room).max(0.0)).0 - late, of(far + room).1 + late)
        });
        if let Some((soonest, latest)) = seconds.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))) {
            (least, most) = (least.max(soonest), most.max(latest));
        }
    }
    About { value: 0.5 * (least + most), room: 0.5 * (most - least) }
}

/// Seconds of a leg over a distance: the shortest, slowed by quarters until the motor is strong enough; where that is not certain, both.
fn fastest(axis: &Axis, motor: Option<&Motor>, distance: f64, like: &Law) -> (f64, f64) {
    let law = Bounds::of(axis).shortest(distance).split_like(like);
    let (Some(motor), true) = (motor, distance > 0.0) else { return (law.seconds(), law.seconds()) };
    let (mut seconds, mut least) = (law.seconds(), None);
    for _ in 0..SLOWER {
        let share = worst_share(motor, &law.lasting(seconds));
        if share <= 1.0 + LOOKED_AT && least.is_none() {
            least = Some(seconds);
        }
        if share <= 1.0 - LOOKED_AT {
            return (least.unwrap_or(seconds), seconds);
        }
        seconds = law.delay() + 1.25 * (seconds - law.delay());
    }
    (least.unwrap_or_else(|| law.seconds()), law.seconds())
}

/// The greatest share of torque on the first half of a move; the second mirrors it.
fn worst_share(motor: &Motor, law: &Law) -> f64 {
    // A split move has no halves that mirror each other.
    let part = if law.delay() > 0.0 { 1.0 } else { 0.5 };
    let even = (0..=200_u8).map(|i| part * law.seconds() * f64::from(i) / 200.0);
    even.chain(law.changes()).map(|t| law.at(t)).map(|m| motor.share(m.velocity, m.acceleration)).fold(0.0, f64::max)
}

/// The first way a number leads.
fn first(speed: About) -> Option<f64> {
    (speed.value.abs() > speed.room).then(|| speed.value.signum())
}

/// Where a held pass starts.
fn first_station(what: &Against<'_>, pass: &Pass, id: AxisId) -> About {
    let state = what.oracle.state(exposed::first(what.shot, pass) as f64);
    About { value: state.axis(id), room: what.oracle.floor(id, &state) / steps_per_unit(what.stage.axis(id)) }
}

/// How closely the delay of a split move is known, as a share of it: where a mechanism changes the length, its approach is not worked out.
const SPLIT: f64 = 2.5e-3;

/// The splits of the leg to the approach and of that to the start: by the lengths at home, at the approach and at the start.
fn splits(what: &Against<'_>, pass: &Pass, axis: AxisId, tracks: &[Track]) -> [Split; 2] {
    let Some(swing) = split::swing(what.stage, pass, axis) else { return [None, None] };
    let own = swing.change.and_then(|c| what.stage.own_axis(c.channel)).and_then(|id| tracks.get(id.index()));
    let first =
        if pass.exposure() == Exposure::Held { exposed::first(what.shot, pass) as f64 } else { what.shot.frames().photographed().0 };
    let seen = |channel| what.oracle.value(pass, &what.oracle.state(first), channel);
    let (approach, start) = match own {
        Some(track) => {
            let approach = track.ways.first().map_or(track.home, |way| track.home + way.to_approach.distance());
            (split::length(swing, |_| approach), split::length(swing, |_| track.start.value))
        }
        None => (split::length(swing, seen), split::length(swing, seen)),
    };
    [split::split(swing, 0.5 * (swing.length + approach)), split::split(swing, 0.5 * (approach + start))]
}

/// Every way by which an axis may come to its start. `leads` is the way it then moves, where that is certain; `departs` the way it leaves its start later on.
fn ways(axis: &Axis, start: About, leads: Option<f64>, departs: Option<f64>, [there, on]: &[Split; 2]) -> Vec<Way> {
    let backlash = axis.backlash().unwrap_or(0.0);
    let full_step = f64::from(axis.drive().microsteps()) / steps_per_unit(axis);
    let short = backlash + (0.5 * backlash).max(full_step);
    let (travel, bounds) = (axis.travel(), Bounds::of(axis));
    let way = |from: f64| Way {
        to_approach: bounds.shortest(from - axis.home()).split(there),
        to_start: bounds.shortest(start.value - from).split(on),
    };
    let direct = way(start.value);
    if !(backlash > 0.0) {
        return vec![direct];
    }
    let sides = match (leads, departs) {
        (Some(side), _) => vec![Some(side)],
        (None, Some(side)) => vec![Some(side), Some(-side), None],
        (None, None) => vec![None, Some(1.0), Some(-1.0)],
    };
    let mut found: Vec<Way> = Vec::new();
    for side in sides {
        let Some(sign) = side else {
            found.push(direct.clone());
            continue;
        };
        let from = start.value - sign * short;
        // Without room for the approach it goes straight to its start.
        let inside = |room: f64| travel.lower - room <= from && from <= travel.upper + room;
        match (inside(-start.room), inside(start.room)) {
            (true, _) => found.push(way(from)),
            (false, true) => found.extend([way(from), direct.clone()]),
            (false, false) => found.push(direct.clone()),
        }
    }
    found
}

/// How an axis leaves the place at which the photographed span begins.
#[derive(Debug, Clone, Copy, Default)]
struct Departure {
    /// The way it first leaves it: 1 or -1; `None` where it never does.
    side: Option<f64>,
    /// It is elsewhere at any instant looked at, be it by less than what counts as left.
    moves: bool,
}

/// The way each axis first leaves the place at which the photographed span begins.
pub(super) struct Departures(Vec<Departure>);

impl Departures {
    /// Looks at four instants of every frame until all that move have left.
    pub(super) fn of(what: &Against<'_>) -> Departures {
        let (from, to) = what.shot.frames().photographed();
        let start = what.oracle.state(from);
        let mut all = vec![Departure::default(); what.stage.axes().len()];
        let mut t = from;
        while t < to && all.iter().any(|d| d.side.is_none()) {
            t += 0.25;
            let now = what.oracle.state(t);
            for (departure, (id, axis)) in all.iter_mut().zip(what.stage.each_axis()) {
                let moved = now.axis(id) - start.axis(id);
                departure.moves |= moved != 0.0;
                if departure.side.is_none() && moved.abs() * steps_per_unit(axis) > LEFT {
                    departure.side = Some(moved.signum());
                }
            }
        }
        Departures(all)
    }
}

/// Steps from its start from which on an axis has left it.
const LEFT: f64 = 1e-3;
