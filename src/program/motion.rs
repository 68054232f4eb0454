//! Where an axis is at any second of a program, and how fast.
//!
//! Invariant: every second from 0 to the end has one position for each axis: on the move to start its curve in seconds, then its curve in frame time, or,
//! in a held pass, the station and the move that follows it as soon as the shutter closes. The station arrived at is the curve's own position at
//! mid-exposure, bit for bit. Limits: `check` says whether every move of a held pass fits; one that does not ends when the next begins.

use super::rest_move::Moved;
use super::way::Leg;
use super::{Clock, Program, Stations};
use crate::motion::curve::Curve;
use crate::stage::AxisId;
use crate::time::{FrameTime, Seconds};

/// Position and velocity at an instant. Units: unit (mm or deg), unit/s, unit/s2.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Motion {
    /// Position.
    pub position: f64,
    /// Velocity.
    pub velocity: f64,
    /// Acceleration.
    pub acceleration: f64,
}

impl Motion {
    /// Standing.
    pub(crate) const fn at(position: f64) -> Motion {
        Motion { position, velocity: 0.0, acceleration: 0.0 }
    }
}

impl Program {
    /// Where an axis is at `t`, from 0 to [`Program::end`], and its velocity; `None` outside, and for an axis of another stage.
    #[must_use]
    pub(crate) fn motion(&self, axis: AxisId, t: Seconds) -> Option<Motion> {
        let ours = axis.mark() == self.compiled().stage().mark();
        if !(ours && 0.0 <= t.0 && t.0 <= self.end().0) {
            return None;
        }
        if self.parks(axis) {
            return Some(Motion::at(self.compiled().stage().axis(axis).home()));
        }
        if t.0 < self.clock().begin().0 {
            let curve = self.way().curves(Leg::MoveToStart)[axis].as_ref()?;
            let jet = curve.jet(t.0)?;
            return Some(Motion { position: curve.at(t.0)?, velocity: jet.v, acceleration: jet.a });
        }
        let curve = self.compiled().motion(axis).curve();
        match self.stations() {
            None => {
                let x = self.clock().frame_at(t).0;
                let (jet, pace) = (curve.jet(x)?, self.clock().pace().get());
                Some(Motion { position: curve.at(x)?, velocity: jet.v / pace, acceleration: jet.a / (pace * pace) })
            }
            Some(stations) => {
                let legs = HeldLegs { clock: self.clock(), stations };
                legs.leg(axis, curve, legs.index(t))?.motion(self.clock().since_begin(t))
            }
        }
    }
}

/// The moves of a held pass on its clock.
#[derive(Debug, Clone, Copy)]
pub(crate) struct HeldLegs<'a> {
    pub(crate) clock: &'a Clock,
    pub(crate) stations: &'a Stations,
}

/// One move of one axis, with the standing before and after it.
#[derive(Debug, Clone)]
pub(crate) struct HeldLeg {
    /// Which move, counted from 0; -1 before the first.
    pub(crate) index: i64,
    /// When the move starts, and from when on the axis stands; since the end of the move to start, as are the times asked for.
    starts: Seconds,
    over: Seconds,
    stations: (f64, f64),
    law: Option<Moved>,
}

impl HeldLegs<'_> {
    /// The move that has begun last at `t` seconds of the program, counted from 0; -1 before the first.
    pub(crate) fn index(&self, t: Seconds) -> i64 {
        let most = self.stations.moves().len();
        i64::try_from(self.clock.closed(t).min(most + 1)).unwrap_or(i64::MAX) - 1
    }

    /// The leg of this index; `None` where the curve has no station there.
    pub(crate) fn leg(&self, axis: AxisId, curve: &Curve, index: i64) -> Option<HeldLeg> {
        let exposed = self.clock.exposed();
        let frame = |n: i64| usize::try_from(n).ok().and_then(|n| exposed.frame(n)).unwrap_or(exposed.last());
        let station = |n: i64| curve.at(FrameTime::of_frame(frame(n)).0);
        let starts = usize::try_from(index).map_or(Seconds(f64::NEG_INFINITY), |i| self.clock.closes(i));
        let seconds = usize::try_from(index).ok().and_then(|i| self.stations.moves().get(i)).map(|m| m.seconds);
        let Some(seconds) = seconds else {
            // Before the first move and after the last one.
            let at = station(index.max(0))?;
            return Some(HeldLeg { index, starts, over: Seconds(f64::NEG_INFINITY), stations: (at, at), law: None });
        };
        let (a, b) = (station(index)?, station(index + 1)?);
        let number = usize::try_from(index).ok()?;
        let law = self.stations.law(axis, number, b - a)?.stretched(seconds.0).ok()?;
        Some(HeldLeg { index, starts, over: starts + seconds, stations: (a, b), law: Some(law) })
    }
}

impl HeldLeg {
    /// Where the axis is at `t`, since the end of the move to start.
    pub(crate) fn motion(&self, t: Seconds) -> Option<Motion> {
        let (a, b) = self.stations;
        match &self.law {
            Some(law) if t.0 < self.over.0 => {
                // The index was found by a division, the start by a multiplication: they may differ in the last bit.
                let state = law.at((t.0 - self.starts.0).max(0.0).min(law.duration()))?;
                Some(Motion { position: a + state.position, velocity: state.velocity, acceleration: state.acceleration })
            }
            _ => Some(Motion::at(b)),
        }
    }

    /// True where the axis stands at `t` and on to the end of the leg.
    pub(crate) fn stands(&self, t: Seconds) -> bool {
        self.over.0 <= t.0
    }
}
