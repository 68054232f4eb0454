//! Weighted limbs on wires: whether gravity turns them as fast as their wires are paid out.
//!
//! What: with mass m and its centre at c along the limb, gravity turns it at m g c cos(angle) / I in the direction in which wire is paid out; a wire that is paid out faster is
//! slack (moments about a fixed axis; any textbook of mechanics). Accelerations are second differences over three instants: a mean, never more than the greatest.
//! Invariant: shares no code with the check but the geometry of the stage. Units: deg, s.

use core::fmt;

use super::sine::cosine;
use crate::mechanism::{GRAVITY, Mechanism};
use crate::number::Jet;
use crate::shot::Pass;
use crate::stage::Stage;

/// By how much a fitted curve's share may differ from its signal's.
const FITTED_SHARE: f64 = 1e-3;

/// Degrees of a radian.
const DEGREES: f64 = 360.0 / core::f64::consts::TAU;

/// A weighted limb on a wire.
#[derive(Debug, Clone, Copy)]
pub(super) struct Limb<'a> {
    /// Index of the wire's axis.
    pub(super) axis: usize,
    pub(super) name: &'a str,
    mechanism: &'a dyn Mechanism,
    /// m g c / I, 1/s2.
    pull: f64,
    /// The axis's limit of acceleration.
    acceleration: f64,
}

/// Why a wire does not hold its limb.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum LetGo {
    /// Angular accelerations in the direction of paying out, deg/s2: what the wire asks for is more than gravity gives.
    Slack { wanted: f64, gravity: f64 },
    /// The angle, deg, is at or beyond a dead centre.
    Beyond { angle: f64 },
}

/// The limbs that a pass moves.
pub(super) struct Limbs<'a>(Vec<Limb<'a>>);

impl<'a> Limb<'a> {
    /// Every weighted limb of a stage.
    pub(super) fn all(stage: &'a Stage) -> impl Iterator<Item = (crate::stage::AxisId, crate::stage::ChannelId, Limb<'a>)> + 'a {
        stage.machines().iter().filter_map(|m| match (m.mechanism().hanging().and_then(|h| h.parts()), m.axes(), m.channels()) {
            (Some([mass, centre, inertia]), [id], [channel]) => {
                let mechanism = m.mechanism();
                let (pull, acceleration) = (mass * GRAVITY * centre / inertia, stage.axis(*id).limits().acceleration);
                Some((*id, *channel, Limb { axis: id.index(), name: stage.axis_name(*id), mechanism, pull, acceleration }))
            }
            _ => None,
        })
    }

    /// Why the wire does not hold the limb, where that is certain: at an angle, turning at `speed` deg/s with a mean `acceleration` deg/s2 over the last `over` seconds.
    pub(super) fn let_go(&self, angle: f64, speed: f64, acceleration: f64, over: f64) -> Option<LetGo> {
        // Wire paid out for a degree: below 0 where pulling raises the limb. There is none beyond a dead centre: there a pull turns the limb the other way.
        let mut wire = [Jet::constant(f64::NAN)];
        let turning = Jet { v: 1.0, ..Jet::constant(angle) };
        let Ok(slope) = self.mechanism.to_axes(&[turning], &mut wire).map(|()| wire[0].v) else { return Some(LetGo::Beyond { angle }) };
        let side = if slope < 0.0 { 1.0 } else { -1.0 };
        let gravity = side * self.pull * cosine(angle / 360.0) * DEGREES;
        let wanted = -side * acceleration;
        // Meanwhile gravity changes by no more than its slope.
        let change = self.pull.abs() * over * speed.abs();
        let room = change + FITTED_SHARE * (3.0 * self.acceleration / slope.abs() + gravity.abs());
        (!(wanted - gravity <= room)).then_some(LetGo::Slack { wanted, gravity })
    }
}

impl fmt::Display for LetGo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LetGo::Slack { wanted, gravity } => {
                write!(f, "the wire is slack: paid out at {wanted:.3} deg/s2, gravity turns the limb at {gravity:.3} deg/s2")
            }
            LetGo::Beyond { angle } => write!(f, "the wire cannot hold the limb at {angle:.3} deg, at or beyond a dead centre"),
        }
    }
}

impl<'a> Limbs<'a> {
    /// Those that a pass does not park.
    pub(super) fn of(stage: &'a Stage, pass: &Pass) -> Limbs<'a> {
        Limbs(Limb::all(stage).filter(|(id, ..)| !pass.parks(stage, *id)).map(|(.., limb)| limb).collect())
    }

    /// Judges each at an instant; `position` is where an axis is at any. The instants looked at are `apart`.
    pub(super) fn judge(&self, position: &dyn Fn(usize, f64) -> f64, t: f64, apart: f64, say: &mut dyn FnMut(&str, LetGo)) {
        for limb in &self.0 {
            let angle = |t: f64| {
                let mut angle = [f64::NAN];
                limb.mechanism.to_channels_at_rest(&[position(limb.axis, t)], &mut angle).ok().map(|()| angle[0])
            };
            let (Some(before), Some(now), Some(after)) = (angle(t - apart), angle(t), angle(t + apart)) else { continue };
            let (speed, acceleration) =
                if apart > 0.0 { ((after - before) / (2.0 * apart), (after - 2.0 * now + before) / (apart * apart)) } else { (0.0, 0.0) };
            if let Some(why) = limb.let_go(now, speed, acceleration, 2.0 * apart) {
                say(limb.name, why);
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::mechanism::{LimbWire, LimbWireSpec};

    /// 0.4 kg, centre 80 mm out, 0.004 kg m2, level, its wire from above: gravity lowers it at m g c / I = 78.45 rad/s2, in degrees 4495.
    #[test]
    fn gravity_is_the_border() {
        let wire = LimbWire::new(LimbWireSpec { arm: 120.0, guide: [0.0, 200.0], neutral: 0.0 }).unwrap();
        let limb = leg(&wire);
        assert!(limb.let_go(0.0, 0.0, -4480.0, 0.0).is_none() && limb.let_go(0.0, 0.0, 9000.0, 0.0).is_none());
        let why = limb.let_go(0.0, 0.0, -4520.0, 0.0).unwrap();
        assert!(matches!(why, LetGo::Slack { wanted, gravity } if (wanted - 4520.0).abs() < 1e-9 && (gravity - 4494.9).abs() < 0.5));
        // The guide is straight above: upright is a dead centre, up to which gravity keeps the wire taut and beyond which a pull turns the limb back.
        assert!(limb.let_go(89.999_99, 0.0, 0.0, 0.0).is_none());
        assert_eq!([90.0, 91.0].map(|angle| limb.let_go(angle, 0.0, 0.0, 0.0)), [90.0, 91.0].map(|angle| Some(LetGo::Beyond { angle })));
        assert!(limb.let_go(f64::NAN, 0.0, 0.0, 0.0).is_some() && limb.let_go(0.0, 0.0, f64::NAN, 0.0).is_some());
    }

    /// With the guide beyond upright the wire pulls on past it, but gravity lets the limb fall to the other side.
    #[test]
    fn past_upright_gravity_turns_the_limb_towards_its_guide() {
        let wire = LimbWire::new(LimbWireSpec { arm: 120.0, guide: [-100.0, 200.0], neutral: 0.0 }).unwrap();
        let limb = leg(&wire);
        assert!(limb.let_go(89.0, 0.0, 0.0, 0.0).is_none());
        // sin 1 deg of 4495 deg/s2.
        let why = limb.let_go(91.0, 0.0, 0.0, 0.0).unwrap();
        assert!(matches!(why, LetGo::Slack { wanted, gravity } if wanted == 0.0 && (gravity + 78.45).abs() < 0.02), "{why}");
    }

    fn leg(wire: &LimbWire) -> Limb<'_> {
        Limb { axis: 0, name: "leg", mechanism: wire, pull: 0.4 * GRAVITY * 0.08 / 0.004, acceleration: 0.0 }
    }
}
