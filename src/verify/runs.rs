//! Whether the frames of run-up and run-down that the manifest states are those that the shot leads to: none where everything stands at the edge, otherwise the fewest that will do.
//!
//! What: a length is too long where a shorter one surely does: at thirty-three instants no axis of a moving pass, run at the fastest pace at which it is moved, uses more than 99 % of a rate or
//! of its torque, comes nearer to an end of its travel than 1 % of it, or leaves the reach of its mechanism. Limits: a length that is too long by what lies within
//! these margins is not found.

use super::columns::Against;
use super::edge::{About, Edge, Side};
use super::fault::{FaultKind, Faults, MANIFEST};
use super::oracle::steps_per_unit;
use super::torque::Motor;
use crate::shot::{Exposure, Pass};
use crate::stage::{Axis, AxisId};

/// Steps a frame below which an axis stands at an edge: 2^-20.
const STANDS: f64 = 1.0 / 1_048_576.0;

/// Share of a limit up to which it is surely kept.
const SURELY: f64 = 0.99;

/// Spaces between the instants looked at.
const PLACES: u8 = 32;

struct Runner<'a> {
    id: AxisId,
    axis: &'a Axis,
    motor: Option<Motor>,
    edge: Edge,
    pace: f64,
}

/// Compares both lengths with the shot; for a folder that says it is within limits.
pub(super) fn check(what: &Against<'_>, runs: (u32, u32), faults: &mut Faults) {
    for (side, stated, key) in [(Side::Start, runs.0, "run_up_frames"), (Side::End, runs.1, "run_down_frames")] {
        let runners = runners(what, side);
        let known = runners.iter().all(|r| what.oracle.is_known(r.id));
        let mut wrong = |expected: &str| {
            faults.file(FaultKind::Manifest, MANIFEST, format!("{key}: found {stated}, expected {expected}"));
        };
        let surely = |r: &Runner<'_>, a: About| (a.value.abs() - a.room) * steps_per_unit(r.axis) > STANDS;
        let moves = runners.iter().any(|r| surely(r, r.edge.speed) || surely(r, r.edge.acceleration));
        let stands = runners.iter().all(Runner::stands);
        if stated == 0 && moves && known {
            wrong("at least 1 frame, since axes move at the edge");
        } else if stated > 0 && stands && known {
            wrong("0, since no axis moves at the edge");
        } else if known && let Some(fewer) = (1..stated).find(|frames| surely_do(what, &runners, side, f64::from(*frames))) {
            wrong(&format!("at most {fewer}: so many frames are enough"));
        }
    }
}

/// The axes that a moving pass moves, with what they do at an edge and the fastest pace.
fn runners<'a>(what: &Against<'a>, side: Side) -> Vec<Runner<'a>> {
    let moving: Vec<&Pass> = what.shot.passes().iter().filter(|p| p.exposure() == Exposure::Moving).collect();
    let each = what.stage.each_axis().filter_map(|(id, axis)| {
        let paces = moving.iter().filter(|p| !p.parks(what.stage, id)).map(|p| p.pace().get());
        let pace = paces.fold(f64::INFINITY, f64::min);
        pace.is_finite().then(|| Runner { id, axis, motor: Motor::of(axis), edge: Edge::of(what, id, side, pace), pace })
    });
    each.collect()
}

fn surely_do(what: &Against<'_>, runners: &[Runner<'_>], side: Side, frames: f64) -> bool {
    let places = || (0..=PLACES).map(|i| f64::from(i) / f64::from(PLACES));
    let rates = runners.iter().all(|r| places().all(|u| r.is_sure(side, frames, u)));
    rates && places().all(|u| reached(what, runners, side, frames, u))
}

/// True where every mechanism can surely stand where its axes are.
fn reached(what: &Against<'_>, runners: &[Runner<'_>], side: Side, frames: f64, u: f64) -> bool {
    let position = |id: AxisId| runners.iter().find(|r| r.id == id).map(|r| r.edge.run(side, frames, u).position);
    what.stage.machines().iter().all(|m| {
        let axes: Option<Vec<About>> = m.axes().iter().map(|a| position(*a)).collect();
        // A mechanism that no moving pass moves stands at home.
        let Some(axes) = axes else { return true };
        let mut channels = vec![f64::NAN; m.channels().len()];
        let at = |sign: f64| axes.iter().map(|a| a.value + sign * a.room).collect::<Vec<f64>>();
        [-1.0, 0.0, 1.0].into_iter().all(|sign| m.mechanism().to_channels_at_rest(&at(sign), &mut channels).is_ok())
    })
}

impl Runner<'_> {
    fn stands(&self) -> bool {
        let most = |a: About| (a.value.abs() + a.room) * steps_per_unit(self.axis);
        most(self.edge.speed) < STANDS && most(self.edge.acceleration) < STANDS
    }

    fn is_sure(&self, side: Side, frames: f64, u: f64) -> bool {
        let instant = self.edge.run(side, frames, u);
        let (l, travel, position) = (self.axis.limits(), self.axis.travel(), instant.position);
        let most = |a: About, n: u8| (a.value.abs() + a.room) / (0..n).map(|_| self.pace).product::<f64>();
        let (v, a, j) = (most(instant.speed, 1), most(instant.acceleration, 2), most(instant.jerk, 3));
        let margin = (1.0 - SURELY) * (travel.upper - travel.lower) + position.room;
        let in_travel = travel.lower + margin <= position.value && position.value <= travel.upper - margin;
        let rate = l.step_rate.is_none_or(|rate| v * steps_per_unit(self.axis) <= SURELY * rate);
        let torque = self.motor.as_ref().is_none_or(|m| m.share(v, a) <= SURELY);
        // An axis that stands at the edge stands throughout.
        self.stands() || (in_travel && v <= SURELY * l.velocity && a <= SURELY * l.acceleration && j <= SURELY * l.jerk && rate && torque)
    }
}
