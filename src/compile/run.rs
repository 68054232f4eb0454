//! How long run-up and run-down are: the fewest frames in which every axis comes from rest, or to rest, within its limits.
//!
//! What: a length will do where every axis that a moving pass moves keeps travel, velocity, acceleration, jerk and step rate at the fastest of those passes, its
//! motor's torque, and the reach of the mechanism that drives it. A mechanism of one axis has a range; whether three axes fit together is looked at in some places.
//! Limits: this only chooses. Whether the length chosen keeps every limit is for the checks, which prove it; clearance and slack wires are theirs alone.

use core::cell::RefCell;
use std::collections::BTreeMap;

use super::ends::{self, Edge};
use crate::motion::Peaks;
use crate::motion::Quintic;
use crate::motion::curve::Piece;
use crate::motion::quintic::Node;
use crate::shot::{Exposure, Pass};
use crate::stage::{Axis, AxisId, Machine, Mover, PacedPeaks, Stage, Torque};

/// An axis that cannot come from rest into the shot, or to rest after it, in any whole number of frames tried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoRoom {
    /// The axis.
    pub axis: AxisId,
    /// Which edge.
    pub edge: Edge,
}

/// Longest run-up or run-down tried, frames.
pub const LONGEST_RUN: u32 = 4096;

/// Lengths of run-up and run-down, one for all axes and passes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Runs {
    /// Frames of run-up and run-down; 0 where everything rests at the edge.
    pub(crate) frames: [u32; 2],
    /// The axes for which no length will do.
    pub(crate) no_room: Vec<NoRoom>,
}

impl Runs {
    /// The lengths for these passes; `nodes` are what each axis does at the two edges, in stage order.
    pub(crate) fn of(stage: &Stage, passes: &[Pass], nodes: &[[Node; 2]], fitting: &Fitting) -> Runs {
        let edges = [Edge::RunUp, Edge::RunDown];
        let [(up, stuck_up), (down, stuck_down)] = edges.map(|edge| run(stage, passes, nodes, edge, fitting));
        Runs { frames: [up, down], no_room: stuck_up.into_iter().chain(stuck_down).collect() }
    }
}

/// Which mechanisms fit together over which lengths, by the first of their axes: no pace changes it, and it is asked for again and again.
#[derive(Debug, Default)]
pub(crate) struct Fitting(RefCell<BTreeMap<(AxisId, bool, u32), bool>>);

/// An axis that moves at an edge.
struct Runner<'a> {
    id: AxisId,
    axis: &'a Axis,
    /// The mechanism that drives it.
    machine: Option<&'a Machine>,
    torque: Option<Torque>,
    node: Node,
    /// The fastest pace that moves it, seconds per frame.
    pace: f64,
}

fn run(stage: &Stage, passes: &[Pass], nodes: &[[Node; 2]], edge: Edge, fitting: &Fitting) -> (u32, Vec<NoRoom>) {
    let at_edge = |[up, down]: &[Node; 2]| if edge == Edge::RunUp { *up } else { *down };
    let moving = stage.each_axis().zip(nodes).filter_map(|((id, axis), nodes)| {
        let live = passes.iter().filter(|p| p.exposure() == Exposure::Moving && !p.parks(stage, id));
        let pace = live.map(|p| p.pace().get()).fold(f64::INFINITY, f64::min);
        let node = at_edge(nodes);
        let machine = match stage.mover(id) {
            Mover::Machine(machine, _) => Some(machine),
            Mover::Own(_) => None,
        };
        let moves = pace.is_finite() && !ends::stands(node, axis.drive().steps_per_unit());
        moves.then(|| Runner { id, axis, machine, torque: Torque::of(axis), node, pace })
    });
    let moving: Vec<Runner<'_>> = moving.collect();
    if moving.is_empty() {
        return (0, Vec::new());
    }
    let node = |id: AxisId| nodes.get(id.index()).map(at_edge);
    let can = |k: usize, frames: u32| {
        moving.get(k).is_none_or(|r| {
            let piece = ends::piece(edge, r.node, f64::from(frames));
            r.can(&piece, frames) && r.machine.is_none_or(|m| fitting.fits(m, edge, frames, &node))
        })
    };
    let (frames, stuck) = ends::shortest(moving.len(), LONGEST_RUN, &can);
    let stuck = stuck.into_iter().filter_map(|k| moving.get(k).map(|r| NoRoom { axis: r.id, edge })).collect();
    (frames, stuck)
}

impl Runner<'_> {
    fn can(&self, quintic: &Quintic, frames: u32) -> bool {
        let piece = Piece { index: 0, start: 0.0, end: f64::from(frames), quintic };
        let peaks = Peaks::of_piece(&piece);
        let reached = |[least, most]: [f64; 2]| least < peaks.least.value && peaks.greatest.value < most;
        PacedPeaks::new(&peaks, self.pace).are_within(self.axis)
            && self.machine.and_then(|m| m.work().axis_range()).is_none_or(reached)
            && self.torque.as_ref().and_then(|t| t.worst(core::iter::once(piece), self.pace)).is_none_or(|t| !t.utilisation().is_exceeded())
    }
}

/// Places at which three axes are looked at together.
const PLACES: u32 = 16;

impl Fitting {
    fn fits(&self, machine: &Machine, edge: Edge, frames: u32, node: &impl Fn(AxisId) -> Option<Node>) -> bool {
        let Some(first) = machine.axes().first().filter(|_| machine.work().axis_range().is_none()) else { return true };
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
    let pieces: Vec<Quintic> =
        machine.axes().iter().map(|a| node(*a).map_or(Quintic::hold(f64::NAN), |n| ends::piece(edge, n, f64::from(frames)))).collect();
    (0..=PLACES).all(|i| {
        let u = f64::from(i) / f64::from(PLACES);
        let axes: Vec<f64> = pieces.iter().map(|q| q.at(u)).collect();
        machine.work().channels(&axes).is_ok()
    })
}
