//! Wires that only pull: where gravity cannot turn a weighted limb as fast as its wire is paid out, the wire goes slack.
//!
//! What: the limb's angle as a curve of pieces over the photographed span; on each piece the angle and its acceleration lie in the hulls of their Bernstein
//! coefficients, and over such ranges the margin of gravity has a bound from below ([`LimbWire::least_margin`]). Where the bound is above 0 the wire is taut,
//! proven; where it is not, the piece is halved until the margin at its middle says slack, or the bound says taut. No sampling decides.
//! Limits: a limb that swings or a wire that sticks is not modelled; run-up and run-down keep the acceleration limits of the wire's axis alone.

use super::limits::Over;
use super::violation::{Limit, Part};
use crate::compile::{Tolerance, fit};
use crate::mechanism::{Limb, LimbWire};
use crate::motion::Quintic;
use crate::motion::bernstein::Bernstein;
use crate::motion::curve::Curve;
use crate::program::Program;
use crate::signal::{AxisSignal, Layers};
use crate::stage::{AxisId, Work};
use crate::time::FrameTime;

/// Halvings after which a piece whose margin is within rounding of 0 counts as slack: 2^-20 of a piece.
const DEEPEST: u32 = 20;

/// Every stretch over which a limb's wire is slack in a moving pass, by its axis; the value is the angular acceleration asked for, the
/// allowed one what gravity can follow, both in deg/s2 in the direction of paying out.
pub(super) fn slack(program: &Program) -> Vec<(AxisId, Over)> {
    let (stage, shot) = (program.compiled().stage(), program.compiled().shot());
    let limbs = stage.machines().iter().filter_map(|m| match (m.work(), m.channels(), m.axes()) {
        (Work::LimbWire(wire, Some(limb)), [channel], [axis]) if !program.parks(*axis) => Some((wire, limb, *channel, *axis)),
        _ => None,
    });
    let mut found = Vec::new();
    let mut layers = None;
    for (wire, limb, channel, axis) in limbs {
        if layers.is_none() {
            layers = Layers::of(shot).ok();
        }
        let Some(signal) = layers.as_ref().and_then(|l| l.signal(stage, shot, channel).ok()) else { continue };
        let (from, to) = shot.frames().photographed();
        // A thousandth of a degree, and a thousandth of what gravity does to the limb hanging out level.
        let pull = limb.falling(0.0).abs().max(limb.falling(90.0).abs()).max(1e-3);
        let pace = program.clock().pace().get();
        let small = pull * pace * pace / 1000.0;
        let tolerance = Tolerance { position: 1e-3, velocity: small, acceleration: small, jerk: small };
        let Ok((curve, _)) = fit::curve(&AxisSignal::Own(signal), from, to, &tolerance) else { continue };
        found.extend(stretches(wire, limb, &curve, pace).into_iter().map(|o| (axis, o)));
    }
    found
}

fn stretches(wire: &LimbWire, limb: &Limb, curve: &Curve, pace: f64) -> Vec<Over> {
    let mut found: Vec<Over> = Vec::new();
    for piece in curve.pieces() {
        let mut worst: Option<(f64, f64, f64)> = None;
        let limb = Search { wire, limb, start: piece.start, length: piece.length(), pace };
        limb.look(piece.quintic, 0.0, 1.0, 0, &mut worst);
        let Some((frame, wanted, gravity)) = worst else { continue };
        match found.last_mut() {
            Some(o) if o.span.1 == piece.start => {
                o.span.1 = piece.end;
                if wanted - gravity > o.value - o.allowed {
                    (o.frame, o.value, o.allowed) = (FrameTime(frame), wanted, gravity);
                }
            }
            _ => found.push(Over {
                limit: Limit::Slack,
                part: Part::Photographed,
                frame: FrameTime(frame),
                span: (piece.start, piece.end),
                value: wanted,
                allowed: gravity,
            }),
        }
    }
    found
}

struct Search<'a> {
    wire: &'a LimbWire,
    limb: &'a Limb,
    start: f64,
    length: f64,
    pace: f64,
}

impl Search<'_> {
    /// Raises `worst` (frame, acceleration asked for, gravity's) by what the part of the piece from `from` to `to` shows.
    fn look(&self, whole: &Quintic, from: f64, to: f64, depth: u32, worst: &mut Option<(f64, f64, f64)>) {
        let part = whole.part(from, to);
        let h = self.length * (to - from);
        let [a0, a1, a2, a3] = part.acceleration();
        let seconds = h * self.pace;
        let (low, high) = Bernstein::from_power([a0, a1, a2, a3, 0.0]).hull();
        let acceleration = [low / (seconds * seconds), high / (seconds * seconds)];
        let [v0, v1, v2, v3, v4] = part.velocity();
        let (slow, fast) = Bernstein::from_power([v0, v1, v2, v3, v4]).hull();
        let p = part.at(0.0);
        let angle = [p + slow.min(0.0), p + fast.max(0.0)];
        if self.wire.least_margin(self.limb, angle, acceleration) > 0.0 {
            return;
        }
        let jet = part.jet(0.5, h);
        let pull = self.wire.follows(self.limb, jet, self.pace);
        let frame = self.start + 0.5 * (from + to) * self.length;
        let over = pull.wanted - pull.gravity;
        if (over >= 0.0 || depth >= DEEPEST) && worst.is_none_or(|(_, w, g)| over > w - g) {
            *worst = Some((frame, pull.wanted, pull.gravity));
        }
        if depth >= DEEPEST || (over >= 0.0 && depth >= 6) {
            return;
        }
        let mid = 0.5 * (from + to);
        self.look(whole, from, mid, depth + 1, worst);
        self.look(whole, mid, to, depth + 1, worst);
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::mechanism::LimbWireSpec;
    use crate::motion::curve::CurveBuilder;
    use crate::motion::quintic::Node;

    /// A leg of 0.4 kg, centre 80 mm out, 0.004 kg m2, level, its wire from above: gravity lowers it at m g d / I = 78.45 rad/s2 x cos, in degrees 4495.
    fn leg() -> (LimbWire, Limb) {
        let wire = LimbWire::new(LimbWireSpec { arm: 120.0, guide: [0.0, 200.0], neutral: 0.0 }).unwrap();
        (wire, Limb::new(0.4, 80.0, 0.004).unwrap())
    }

    fn lowered(seconds_per_frame: f64) -> Vec<Over> {
        let (wire, limb) = leg();
        let mut b = CurveBuilder::starting_at(0.0, 1);
        b.push(10.0, Quintic::between(Node::rest(10.0), Node::rest(-10.0), 10.0));
        stretches(&wire, &limb, &b.finish().unwrap(), seconds_per_frame)
    }

    #[test]
    fn paid_out_slowly_the_wire_is_taut_and_faster_than_gravity_it_is_slack() {
        // Rest to rest over 20 deg in 10 frames: peak acceleration 10/sqrt 3 x 20/100 = 1.1547 deg/frame2 (T. Flash, N. Hogan 1985), early on, downwards,
        // where gravity gives about 4495 deg/s2 x cos 7 deg. The border lies at 1.1547 / T^2 = 4460: T = 0.01609 s.
        assert!(lowered(12.0).is_empty());
        assert!(lowered(0.0163).is_empty());
        let over = lowered(0.0158);
        let o = over.first().unwrap();
        assert!(o.value > o.allowed && o.allowed > 4400.0 && o.allowed < 4495.0, "{o:?}");
        assert!((o.frame.0 - 2.11).abs() < 0.3, "{o:?}");
    }

    #[test]
    fn the_verdict_is_that_of_dense_sampling() {
        let (wire, limb) = leg();
        let q = Quintic::between(Node { p: 30.0, v: -2.0, a: 0.3 }, Node { p: -25.0, v: -4.0, a: 0.5 }, 12.0);
        for i in 0..60 {
            let pace = 0.01 + f64::from(i) * 0.0005;
            let mut b = CurveBuilder::starting_at(0.0, 1);
            b.push(12.0, q);
            let found = !stretches(&wire, &limb, &b.finish().unwrap(), pace).is_empty();
            let sampled =
                (0..=4000).map(|k| wire.follows(&limb, q.jet(f64::from(k) / 4000.0, 12.0), pace).margin()).fold(f64::INFINITY, f64::min);
            // Right at the border sampling and proof may differ by what lies between two samples.
            if sampled.abs() > 1.0 {
                assert_eq!(found, sampled < 0.0, "pace {pace}: {sampled}");
            }
        }
    }
}
