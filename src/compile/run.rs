//! How long run-up and run-down are: the fewest frames in which every axis comes from rest, or to rest, within its limits.
//!
//! What: a length will do where every axis that a moving pass moves keeps travel, velocity, acceleration, jerk and step rate at the fastest of those passes, its
//! motor's torque, and the reach of the mechanism that drives it. An axis may have a range of its mechanism; whether axes fit together is looked at in some places.
//! Limits: this only chooses. Whether the length chosen keeps every limit is for the checks, which prove it; clearance and slack wires are theirs alone.

use core::cell::{Cell, RefCell};
use std::collections::BTreeMap;

use super::ends::{self, Edge, Known};
use crate::motion::Peaks;
use crate::motion::Quintic;
use crate::motion::curve::Piece;
use crate::motion::quintic::Node;
use crate::shot::{Exposure, Pass};
use crate::stage::{Axis, AxisId, Driver, Machine, PacedPeaks, Stage, Torque};

/// An axis that cannot come from rest into the shot, or to rest after it, in any whole number of frames tried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct NoRoom {
    /// The axis.
    pub axis: AxisId,
    /// Which edge.
    pub edge: Edge,
}

/// Longest run-up or run-down tried, frames.
pub(crate) const LONGEST_RUN: u32 = 4096;

/// Lengths of run-up and run-down, one for all axes and passes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Runs {
    /// Frames of run-up and run-down; 0 where everything rests at the edge.
    pub(crate) frames: [u32; 2],
    /// The axes for which no length will do.
    pub(crate) no_room: Vec<NoRoom>,
    /// What it took to choose them, as so many layers.
    pub(crate) cost: u64,
}

/// What it takes to see whether a mechanism's axes fit together over one length, as so many layers.
const FITTING: u64 = 20;

/// The axes that move at the edges: lengths are chosen for them, at one pace or at many.
#[derive(Debug)]
pub(crate) struct Runners<'a> {
    nodes: Vec<[Node; 2]>,
    up: Vec<Runner<'a>>,
    down: Vec<Runner<'a>>,
    /// The axis that failed last, of run-up and run-down.
    suspects: [Cell<usize>; 2],
    fitting: Fitting,
}

/// Which mechanisms fit together over which lengths, by the first of their axes: no pace changes it, and it is asked for again and again.
#[derive(Debug, Default)]
struct Fitting(RefCell<BTreeMap<(AxisId, bool, u32), bool>>);

/// An axis that moves at an edge.
#[derive(Debug)]
struct Runner<'a> {
    id: AxisId,
    axis: &'a Axis,
    /// The mechanism that drives it, as its axis of this number.
    machine: Option<(&'a Machine, usize)>,
    torque: Option<Torque>,
    node: Node,
    /// Extremes by length, where the bounds did not decide.
    peaks: RefCell<BTreeMap<u32, Peaks>>,
}

/// The fastest pace at which a moving pass moves an axis, seconds per frame; infinite where none does.
pub(crate) fn fastest_pace<'p>(stage: &Stage, passes: impl Iterator<Item = &'p Pass>, id: AxisId) -> f64 {
    let live = passes.filter(|p| p.exposure() == Exposure::Moving && !p.parks(stage, id));
    live.map(|p| p.pace().get()).fold(f64::INFINITY, f64::min)
}

impl<'a> Runners<'a> {
    /// `nodes` are what each axis does at the two edges, in stage order.
    pub(crate) fn new(stage: &'a Stage, nodes: Vec<[Node; 2]>) -> Runners<'a> {
        let of = |edge: Edge| {
            let moving = stage.each_axis().zip(&nodes).filter_map(|((id, axis), nodes)| {
                let machine = match stage.driver(id) {
                    Driver::Machine(machine, which) => Some((machine, which)),
                    Driver::Own(_) => None,
                };
                let node = at_edge(edge, nodes);
                let stands = ends::stands(node, axis.drive().steps_per_unit());
                (!stands).then(|| Runner { id, axis, machine, torque: Torque::of(axis), node, peaks: RefCell::default() })
            });
            moving.collect()
        };
        let (up, down) = (of(Edge::RunUp), of(Edge::RunDown));
        Runners { nodes, up, down, suspects: Default::default(), fitting: Fitting::default() }
    }

    /// The lengths where `pace` is the fastest at which each axis is moved. `known` says what is known of run-up and run-down.
    pub(crate) fn runs(&self, pace: &dyn Fn(AxisId) -> f64, known: [Known; 2]) -> Runs {
        let [at_start, at_end] = known;
        let (up, stuck_up) = self.run(Edge::RunUp, pace, at_start);
        let (down, stuck_down) = self.run(Edge::RunDown, pace, at_end);
        let no_room: Vec<NoRoom> = stuck_up.into_iter().chain(stuck_down).collect();
        let lengths = if no_room.is_empty() { u64::from(up) + u64::from(down) } else { 2 * u64::from(LONGEST_RUN) };
        Runs { frames: [up, down], no_room, cost: lengths + FITTING * self.fitting.asked() }
    }

    fn at(&self, edge: Edge) -> &[Runner<'a>] {
        match edge {
            Edge::RunUp => &self.up,
            Edge::RunDown => &self.down,
        }
    }

    fn run(&self, edge: Edge, pace: &dyn Fn(AxisId) -> f64, known: Known) -> (u32, Vec<NoRoom>) {
        let runners = self.at(edge);
        let paces: Vec<f64> = runners.iter().map(|r| pace(r.id)).collect();
        if !paces.iter().any(|p| p.is_finite()) {
            return (0, Vec::new());
        }
        let node = |id: AxisId| self.nodes.get(id.index()).map(|nodes| at_edge(edge, nodes));
        let can = |k: usize, frames: u32| {
            let moved = runners.get(k).zip(paces.get(k)).filter(|(_, pace)| pace.is_finite());
            moved.is_none_or(|(r, pace)| {
                r.can(edge, frames, *pace) && r.machine.is_none_or(|(m, _)| self.fitting.fits(m, edge, frames, &node))
            })
        };
        let [up, down] = &self.suspects;
        let suspect = if edge == Edge::RunUp { up } else { down };
        let (frames, stuck) = ends::shortest(runners.len(), LONGEST_RUN, known, suspect, &can);
        let stuck = stuck.into_iter().filter_map(|k| runners.get(k).map(|r| NoRoom { axis: r.id, edge })).collect();
        (frames, stuck)
    }
}

fn at_edge(edge: Edge, [up, down]: &[Node; 2]) -> Node {
    if edge == Edge::RunUp { *up } else { *down }
}

impl Runner<'_> {
    fn can(&self, edge: Edge, frames: u32, pace: f64) -> bool {
        let quintic = || ends::piece(edge, self.node, f64::from(frames));
        let within = |peaks: &Peaks| {
            let reached = |[least, most]: [f64; 2]| least < peaks.least.value && peaks.greatest.value < most;
            let range = self.machine.and_then(|(machine, which)| machine.mechanism().axis_range(which));
            PacedPeaks::new(peaks, pace).are_within(self.axis) && range.is_none_or(reached)
        };
        let torque = |t: &Torque| {
            let quintic = quintic();
            let piece = Piece { index: 0, start: 0.0, end: f64::from(frames), quintic: &quintic };
            t.worst(core::iter::once(piece), pace).is_none_or(|t| !t.utilisation().is_exceeded())
        };
        let mut known = self.peaks.borrow_mut();
        let rates = match known.get(&frames) {
            Some(peaks) => within(peaks),
            None => {
                let bounds = ends::bounds(edge, self.node, f64::from(frames));
                within(&bounds.never_left)
                    || within(&bounds.reached) && {
                        let peaks = Peaks::of_piece(&Piece { index: 0, start: 0.0, end: f64::from(frames), quintic: &quintic() });
                        known.insert(frames, peaks);
                        within(&peaks)
                    }
            }
        };
        rates && self.torque.as_ref().is_none_or(torque)
    }
}

/// Places at which axes are looked at together.
const PLACES: u32 = 16;

impl Fitting {
    /// How many lengths were looked at.
    fn asked(&self) -> u64 {
        u64::try_from(self.0.borrow().len()).unwrap_or(u64::MAX)
    }

    fn fits(&self, machine: &Machine, edge: Edge, frames: u32, node: &impl Fn(AxisId) -> Option<Node>) -> bool {
        let Some(first) = machine.axes().first().filter(|_| !machine.has_ranges()) else { return true };
        let key = (*first, edge == Edge::RunUp, frames);
        if let Some(known) = self.0.borrow().get(&key) {
            return *known;
        }
        let found = fits(machine, edge, frames, node);
        self.0.borrow_mut().insert(key, found);
        found
    }
}

/// True where the mechanism's axes fit together at places along the run-up or run-down.
fn fits(machine: &Machine, edge: Edge, frames: u32, node: &impl Fn(AxisId) -> Option<Node>) -> bool {
    let piece = |a: &AxisId| (*a, node(*a).map_or(Quintic::hold(f64::NAN), |n| ends::piece(edge, n, f64::from(frames))));
    let pieces: Vec<(AxisId, Quintic)> = machine.axes().iter().map(piece).collect();
    (0..=PLACES).all(|i| {
        let u = f64::from(i) / f64::from(PLACES);
        let position = |axis: AxisId| pieces.iter().find(|(id, _)| *id == axis).map_or(f64::NAN, |(_, q)| q.at(u));
        machine.reaches(position).is_ok()
    })
}
