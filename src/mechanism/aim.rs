//! Aim: the two turning channels of a camera that bring a point onto its optical axis.
//!
//! The camera is the end of a [`Chain`] and looks along its own -Z with Y up, as in glTF. Seen from it the target is at q; aimed
//! means q.x = q.y = 0 and q.z < 0. Two angles are found by Newton's method: turning a joint with the axis a through the point o
//! moves the target, seen from the camera, by -R^T (a x (target - o)) a radian, which gives the slopes exactly. Derivatives by
//! implicit differentiation: at the solution three more corrections over jets with the same slopes make value, velocity,
//! acceleration and jerk exact one after the other. Source: Newton's method and the implicit function theorem, any textbook of
//! analysis. Invariant: what is returned was checked: the line of sight misses the target by at most 1e-10 rad, in front of the
//! camera and, to the same accuracy, within the two channels' ranges. Where no angles in range aim at the target, the miss that is reported is the least
//! one in range (`miss.rs`).
//!
//! Limits: the target must not hang on the two channels; where two solutions are in range, the one that the search finds from the
//! guess is taken if it is within 90 deg of it on both channels, otherwise the nearest found from a grid of starts.

use super::joint::Chain;
use super::miss::least_miss;
use super::sight::{Sight, descend, steered, stepped};
use super::space::Vector;
use crate::bounds::{self, Code, Flaw};
use crate::number::{Jet, elementary};

/// Largest angle, rad, by which a solved line of sight may miss its target.
pub(crate) const CLOSE: f64 = 1e-10;
/// Degrees of an axle for a degree of the line of sight above which aiming is refused as gimbal trouble. At 1000 a pan of one
/// minute in the picture takes 17 deg of the axle: common practice, no source.
pub(crate) const MOST_GAIN: f64 = 1000.0;

/// A target that the two channels cannot bring to the middle of the picture.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub(crate) enum AimTrouble {
    /// In range the optical axis meets the target only backwards.
    #[error("within the range of the axes the target is {depth} mm behind the camera")]
    Behind {
        /// How far behind, mm.
        depth: f64,
    },
    /// An axle lies along the line of sight, or both lie along each other, so that they would have to turn without bound.
    #[error("close to gimbal lock: the axes would turn {gain} deg per degree of the line of sight (limit {MOST_GAIN})")]
    Gimbal {
        /// Degrees of axle a degree of the line of sight; infinite where none turns it.
        gain: f64,
    },
    /// No angles in range bring the target onto the optical axis.
    #[error("no angles in range aim at the target; the nearest miss it by {miss} deg")]
    Missed {
        /// The least angle between line of sight and target within the two ranges, deg.
        miss: f64,
    },
    /// The target, or a channel that carries the camera, is not a finite number; or the target is at the lens itself.
    #[error("there is no direction to the target")]
    NoDirection,
}

/// Two channels that aim a camera. Invariant: each turns exactly one joint of the camera's chain.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Aim {
    channels: [usize; 2],
    ranges: [[f64; 2]; 2],
}

impl Aim {
    /// Channels `channels` of `camera` aim it, within their `ranges` (deg, lower and upper end of each).
    ///
    /// # Errors
    /// A channel that does not turn exactly one joint, one channel named twice, and a range without length.
    pub(crate) fn new(camera: &Chain, channels: [usize; 2], ranges: [[f64; 2]; 2]) -> Result<Aim, Vec<Flaw>> {
        let mut flaws = Vec::new();
        let [first, second] = channels;
        if first == second {
            flaws.push(
                Flaw::new(Code::UnsuitableAimChannel, "turns", "the aim names one channel twice")
                    .found("one channel", "two channels")
                    .help("name one channel that pans and one that tilts"),
            );
        }
        for (i, (channel, [least, most])) in channels.into_iter().zip(ranges).enumerate() {
            let turned = camera.turned_by(channel);
            let moved = camera.channels().filter(|&c| c == channel).count();
            if turned != 1 || moved != 1 {
                flaws.push(
                    Flaw::new(
                        Code::UnsuitableAimChannel,
                        "turns",
                        "a channel that aims must turn exactly one joint of the camera, and move no other",
                    )
                    .found(format!("it turns {turned} and slides {}", moved - turned), "one `turn` joint")
                    .help("name channels of `turn` joints, each of which moves nothing else")
                    .at_index(i),
                );
            }
            for end in [least, most] {
                flaws.extend(bounds::POSITION.check("travel", end).err().map(|f| f.at_index(i)));
            }
            if !(least < most) {
                flaws.push(
                    Flaw::new(Code::EmptyRange, "travel", "a channel that aims has no range")
                        .found(format!("[{least}, {most}] deg"), "lower end first, upper end above it")
                        .help("give the axis a travel")
                        .at_index(i),
                );
            }
        }
        if flaws.is_empty() { Ok(Aim { channels, ranges }) } else { Err(flaws) }
    }

    /// The two channels' angles, deg, with exact derivatives, that keep `target` (mm, in the stage) on the optical axis.
    ///
    /// `value` gives every other channel of the camera; what it gives for the two is not read. `guess` (deg) is where the search
    /// starts: the answer of the frame before, or a constant where one frame must not depend on another.
    ///
    /// # Errors
    /// [`AimTrouble`].
    pub(crate) fn solve(
        &self,
        camera: &Chain,
        value: impl Fn(usize) -> Jet,
        target: Vector<Jet>,
        guess: [f64; 2],
    ) -> Result<[Jet; 2], AimTrouble> {
        let sight = |angles: [f64; 2]| Sight::at(camera, self.channels, angles, |c| value(c).p, target.value());
        let found = self.search(&sight, guess)?.ok_or_else(|| self.missed(&sight, camera, &value, target.value()))?;
        let at = sight(found).ok_or(AimTrouble::NoDirection)?;
        let inverse = at.inverse();
        let gain = at.gain();
        let (Some(inverse), true) = (inverse, gain <= MOST_GAIN) else {
            return Err(AimTrouble::Gimbal { gain });
        };
        // Seen by the distance at this moment: at the solution its slopes are the unit direction's, because q.x = q.y = 0 there.
        let mut angles = found.map(Jet::constant);
        for _ in 0..3 {
            let pose = camera.pose(steered(self.channels, angles, &value));
            let seen = pose.inward(target).times(1.0 / at.distance);
            angles = stepped(angles, &inverse, seen);
        }
        let exact = sight(angles.map(|a| a.p)).ok_or(AimTrouble::NoDirection)?;
        if !(exact.off() <= CLOSE && exact.seen.z < 0.0) {
            return Err(AimTrouble::Missed { miss: exact.miss() });
        }
        if angles.into_iter().all(Jet::is_finite) { Ok(angles) } else { Err(AimTrouble::NoDirection) }
    }

    /// Angles in range that see the target ahead: from the guess, or else the nearest to it that a grid of starts leads to; `None` where no start
    /// leads to any.
    fn search(&self, sight: &impl Fn([f64; 2]) -> Option<Sight>, guess: [f64; 2]) -> Result<Option<[f64; 2]>, AimTrouble> {
        let mut best: Option<([f64; 2], f64)> = None;
        let mut behind: Option<f64> = None;
        let [first, second] = self.ranges.map(starts);
        let grid = first.into_iter().flat_map(|a| second.map(|b| [a, b]));
        for (start, is_guess) in core::iter::once((guess, true)).chain(grid.map(|start| (start, false))) {
            let (angles, end) = descend(sight, start).ok_or(AimTrouble::NoDirection)?;
            let inside = self.nearest(angles, guess);
            match inside {
                Some(angles) if end.off() <= CLOSE && end.seen.z < 0.0 => {
                    let away = (angles[0] - guess[0]).abs().max((angles[1] - guess[1]).abs());
                    if is_guess && away <= 90.0 {
                        return Ok(Some(angles));
                    }
                    if best.is_none_or(|(_, nearest)| away < nearest) {
                        best = Some((angles, away));
                    }
                }
                Some(_) if end.off() <= CLOSE => {
                    let depth = end.seen.z * end.distance;
                    behind = Some(behind.map_or(depth, |d: f64| d.min(depth)));
                }
                _ => {}
            }
        }
        match (best, behind) {
            (Some((angles, _)), _) => Ok(Some(angles)),
            (None, Some(depth)) => Err(AimTrouble::Behind { depth }),
            (None, None) => Ok(None),
        }
    }

    /// Why no angles in range see the target in the middle: how near they come; gimbal trouble where no end of a range keeps them from it.
    fn missed(
        &self,
        sight: &impl Fn([f64; 2]) -> Option<Sight>,
        camera: &Chain,
        value: &impl Fn(usize) -> Jet,
        target: Vector,
    ) -> AimTrouble {
        let seen = |angles: [Jet; 2]| {
            let pose = camera.pose(steered(self.channels, angles, |c| Jet::constant(value(c).p)));
            pose.inward(Vector::constant(target))
        };
        let Some((least, end)) = least_miss(&seen, self.ranges).and_then(|least| Some((least, sight(least.angles)?))) else {
            return AimTrouble::NoDirection;
        };
        if least.is_stopped || end.gain() <= MOST_GAIN {
            AimTrouble::Missed { miss: end.miss() }
        } else {
            AimTrouble::Gimbal { gain: end.gain() }
        }
    }

    /// The same angles by whole turns nearest to `guess` within the ranges; `None` where none is in range.
    fn nearest(&self, angles: [f64; 2], guess: [f64; 2]) -> Option<[f64; 2]> {
        let [a, b] = angles;
        let [range_a, range_b] = self.ranges;
        Some([turned_into(a, guess[0], range_a)?, turned_into(b, guess[1], range_b)?])
    }
}

/// Six starts across a range, or across one turn in its middle: at most 60 deg apart.
fn starts([least, most]: [f64; 2]) -> [f64; 6] {
    let (width, middle) = ((most - least).min(360.0), 0.5 * (least + most));
    [-5.0, -3.0, -1.0, 1.0, 3.0, 5.0].map(|twelfths| middle + width * twelfths / 12.0)
}

/// `angle` by whole turns as near to `guess` as `range` allows; its ends are met to the accuracy of the answer, 1e-10 rad.
fn turned_into(angle: f64, guess: f64, [least, most]: [f64; 2]) -> Option<f64> {
    let wanted = guess.max(least).min(most);
    let near = angle - 360.0 * ((angle - wanted) / 360.0).round_ties_even();
    let slack = elementary::degrees(CLOSE);
    [near, near - 360.0, near + 360.0].into_iter().find(|&a| least - slack <= a && a <= most + slack)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::super::joint::{JointKind, JointSpec};
    use super::super::lens::{Lens, LensSpec};
    use super::super::real::oracle::close;
    use super::*;

    const WIDE: [[f64; 2]; 2] = [[-360.0, 360.0], [-100.0, 100.0]];

    fn joint(kind: JointKind, channel: usize, offset: [f64; 3]) -> JointSpec {
        JointSpec { kind, channel: Some(channel), rest: 0.0, offset }
    }

    /// Track along X (channel 0), pan (1), tilt (2); the lens `out` of the tilt axis.
    fn camera(pan: [f64; 3], out: [f64; 3]) -> Chain {
        Chain::new(&[
            joint(JointKind::Slide([1.0, 0.0, 0.0]), 0, [0.0; 3]),
            joint(JointKind::Turn([0.0, 1.0, 0.0]), 1, pan),
            joint(JointKind::Turn([1.0, 0.0, 0.0]), 2, [0.0, out[1], 0.0]),
            JointSpec { kind: JointKind::Fixed, channel: None, rest: 0.0, offset: [out[0], 0.0, out[2]] },
        ])
        .unwrap()
    }

    fn plain() -> Chain {
        camera([0.0; 3], [0.0; 3])
    }

    fn solve(camera: &Chain, ranges: [[f64; 2]; 2], target: [f64; 3], guess: [f64; 2]) -> Result<[f64; 2], AimTrouble> {
        let aim = Aim::new(camera, [1, 2], ranges).unwrap();
        let target = Vector::constant(Vector::from(target));
        aim.solve(camera, |_| Jet::constant(0.0), target, guess).map(|found| found.map(|a| a.p))
    }

    proptest! {
        /// Without offsets the angles are known: pan = atan2(-x, -z), tilt = atan2(y, root(x^2 + z^2)); so are their derivatives. Targets
        /// stay 5 deg from straight above, where three derivatives gain 1 / cos^4 or so: 1e-16 x 1e5.
        #[test]
        fn a_plain_head_has_its_closed_form(direction in -175.0..175.0_f64, height in -85.0..85.0_f64, far in 300.0..5000.0_f64,
            v in prop::array::uniform9(-1.0..1.0_f64)) {
            let (d, h) = (elementary::radians(direction), elementary::radians(height));
            let flat = far * elementary::cos(h);
            let moving = |p: f64, i: usize| Jet { p, v: v[i] * flat / 100.0, a: v[i + 1] * flat / 100.0, j: v[i + 2] * flat / 100.0 };
            let (x, y) = (moving(-flat * elementary::sin(d), 0), moving(far * elementary::sin(h), 3));
            let z = moving(-flat * elementary::cos(d), 6);
            let camera = plain();
            // Beyond straight up the same target has a second solution, over the top.
            let aim = Aim::new(&camera, [1, 2], [WIDE[0], [-90.0, 90.0]]).unwrap();
            let [pan, tilt] = aim.solve(&camera, |_| Jet::constant(0.0), Vector::new(x, y, z), [0.0, 0.0]).unwrap();
            let degrees = 360.0 / elementary::TURN;
            close(pan, (-x).atan2(-z) * degrees, 1e-10);
            close(tilt, y.atan2((x * x + z * z).sqrt()) * degrees, 1e-10);
        }

        /// Over the top there are two solutions: where one of them is within 90 deg of the guess on both channels, so is the answer.
        #[test]
        fn the_answer_is_near_the_guess(direction in -180.0..180.0_f64, height in -80.0..80.0_f64,
            guess_pan in -180.0..180.0_f64, guess_tilt in -160.0..160.0_f64) {
            let (d, h) = (elementary::radians(direction), elementary::radians(height));
            let flat = 1000.0 * elementary::cos(h);
            let target = [-flat * elementary::sin(d), 1000.0 * elementary::sin(h), -flat * elementary::cos(d)];
            let ranges = [[-720.0, 720.0], [-170.0, 170.0]];
            let [pan, tilt] = solve(&plain(), ranges, target, [guess_pan, guess_tilt]).unwrap();
            let round = |angle: f64| (angle - 360.0 * (angle / 360.0).round()).abs();
            let over = if height < 0.0 { -180.0 } else { 180.0 };
            let solutions = [[direction, height], [direction + 180.0, over - height]];
            let away = |[a, b]: [f64; 2]| round(a - guess_pan).max((b - guess_tilt).abs());
            let inside = |s: &[f64; 2]| s[1].abs() <= 170.0;
            let nearest = solutions.into_iter().filter(inside).map(away).fold(f64::INFINITY, f64::min);
            prop_assert!(away([pan, tilt]) <= nearest.max(90.0) + 1e-9, "{pan} {tilt} {nearest}");
            prop_assert!(solutions.into_iter().any(|[a, b]| round(a - pan) <= 1e-8 && (b - tilt).abs() <= 1e-8));
        }

        /// With the lens off both axes and the camera in motion: the target stays in the middle of the picture, and the first three
        /// derivatives of its place there are zero. A place in the picture is known to 1e-10 rad; its derivatives here to the same.
        #[test]
        fn the_target_stays_in_the_middle(pan in prop::array::uniform3(-50.0..50.0_f64), out in prop::array::uniform3(-60.0..60.0_f64),
            at in prop::array::uniform3(-900.0..900.0_f64), track in -200.0..200.0_f64, v in prop::array::uniform9(-9.0..9.0_f64)) {
            let camera = camera(pan, out);
            let track = Jet { p: track, v: 5.0, a: v[0], j: -v[3] };
            let target = Vector::new(
                Jet { p: at[0], v: v[0], a: v[1], j: v[2] },
                Jet { p: at[1] / 2.0, v: v[3], a: v[4], j: v[5] },
                Jet { p: -1500.0 + at[2] / 2.0, v: v[6], a: v[7], j: v[8] },
            );
            let aim = Aim::new(&camera, [1, 2], WIDE).unwrap();
            let [a, b] = aim.solve(&camera, |_| track, target, [3.0, -2.0]).unwrap();
            let pose = camera.pose(|c| [track, a, b][c]);
            let lens = Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels: [1280, 1024] }).unwrap();
            let place = lens.project(&pose, target).unwrap();
            for (along, middle) in [(place.right, 640.0), (place.down, 512.0)] {
                // 1500 pixels a radian.
                prop_assert!((along.p - middle).abs() <= 1500.0 * CLOSE);
                prop_assert!(along.v.abs() <= 1e-9 && along.a.abs() <= 1e-9 && along.j.abs() <= 1e-9, "{:?}", along);
            }
            // A moment later the angles are where the three derivatives lead, up to the fourth order of time.
            let dt = 1e-2;
            let later = |x: Jet| Jet::constant(x.p + dt * (x.v + dt * (x.a / 2.0 + dt * x.j / 6.0)));
            let gone = Vector::new(later(target.x), later(target.y), later(target.z));
            let [next_a, next_b] = aim.solve(&camera, |_| later(track), gone, [a.p, b.p]).unwrap();
            for (was, is) in [(a, next_a), (b, next_b)] {
                prop_assert!((later(was).p - is.p).abs() <= 1e-9, "{} {}", later(was).p, is.p);
            }
        }
    }

    #[test]
    fn behind_gimbal_and_out_of_range_are_told_apart() {
        let narrow = [[-30.0, 30.0], [-100.0, 100.0]];
        let Err(AimTrouble::Behind { depth }) = solve(&plain(), narrow, [0.0, 0.0, 3000.0], [0.0; 2]) else {
            panic!("behind was expected")
        };
        assert!((depth - 3000.0).abs() <= 1e-9);
        // The same target with a pan that goes round is ahead.
        assert!((solve(&plain(), WIDE, [0.0, 0.0, 3000.0], [0.0; 2]).unwrap()[0].abs() - 180.0).abs() <= 1e-9);
        assert!(matches!(solve(&plain(), WIDE, [0.0, 900.0, 0.0], [10.0, 20.0]), Err(AimTrouble::Gimbal { .. })));
        // 0.05 deg beside straight above a degree of sight takes 1146 deg of pan, 0.06 deg 955.
        let beside = |degrees: f64| [0.0, 900.0, -900.0 * elementary::tan(elementary::radians(degrees))];
        let Err(AimTrouble::Gimbal { gain }) = solve(&plain(), WIDE, beside(0.05), [0.0, 80.0]) else { panic!("gimbal was expected") };
        assert!((gain - 1.0 / elementary::sin(elementary::radians(0.05))).abs() <= 1e-6 * gain, "{gain}");
        assert!(solve(&plain(), WIDE, beside(0.06), [0.0, 80.0]).is_ok());
        // 60 deg to the side with a pan of 30 deg at most; level, so that tilting does not help.
        let side = [-3000.0 * elementary::sin(elementary::radians(60.0)), 0.0, -1500.0];
        let Err(AimTrouble::Missed { miss }) = solve(&plain(), narrow, side, [0.0; 2]) else { panic!("a miss was expected") };
        assert!((miss - 30.0).abs() <= 1e-9, "{miss}");
        // Just at the end of the range is in range; a thousandth of a degree beyond is not.
        let at = |degrees: f64| {
            [-3000.0 * elementary::sin(elementary::radians(degrees)), 0.0, -3000.0 * elementary::cos(elementary::radians(degrees))]
        };
        assert!((solve(&plain(), narrow, at(30.0), [0.0; 2]).unwrap()[0] - 30.0).abs() <= 1e-9);
        assert!(matches!(solve(&plain(), narrow, at(30.001), [0.0; 2]), Err(AimTrouble::Missed { .. })));
    }

    /// A pan that stops d short of a target at the height h leaves a great circle through straight above to the tilt: sin(miss) = cos(h) sin(d),
    /// at a tilt above h (Napier's rules, any textbook of spherical trigonometry). With the tilt stopped short instead, the miss is what is short.
    #[test]
    fn the_nearest_miss_turns_the_other_channel_too() {
        let towards = |direction: f64, height: f64| {
            let (d, h) = (elementary::radians(direction), elementary::radians(height));
            let flat = 2000.0 * elementary::cos(h);
            [-flat * elementary::sin(d), 2000.0 * elementary::sin(h), -flat * elementary::cos(d)]
        };
        let sine = |degrees: f64| elementary::sin(elementary::radians(degrees));
        for (pan, tilt, target, sine_of_miss) in [
            ([-30.0, 30.0], [-90.0, 90.0], towards(60.0, 40.0), sine(50.0) * sine(30.0)),
            ([-30.0, 30.0], [-90.0, 90.0], towards(-31.0, -70.0), sine(20.0) * sine(1.0)),
            ([-170.0, 170.0], [-40.0, 60.0], towards(25.0, 60.7), sine(0.7)),
            // At the corner both are stopped short; the pan cannot make up for the tilt.
            ([-30.0, 30.0], [-40.0, 10.0], towards(30.0, 25.0), sine(15.0)),
        ] {
            let Err(AimTrouble::Missed { miss }) = solve(&plain(), [pan, tilt], target, [0.0; 2]) else { panic!("a miss was expected") };
            assert!((miss - elementary::degrees(elementary::asin(sine_of_miss))).abs() <= 1e-9, "{miss} {pan:?} {tilt:?}");
        }
    }

    proptest! {
        /// No place of a grid over the ranges, made finer around its best place until that stands still, is nearer than the miss that is reported; and
        /// it is nearer by no more than 1e-9 deg.
        #[test]
        fn the_miss_told_is_the_least(pan in prop::array::uniform3(-80.0..80.0_f64), out in prop::array::uniform3(-80.0..80.0_f64),
            at in prop::array::uniform3(-1.0..1.0_f64), far in 400.0..4000.0_f64, middle in prop::array::uniform2(-60.0..60.0_f64),
            width in prop::array::uniform2(5.0..90.0_f64)) {
            let (camera, size) = (camera(pan, out), at.iter().map(|x| x * x).sum::<f64>().sqrt());
            let target = at.map(|x| x * far / (size + 1e-3));
            let ranges = [0, 1].map(|i: usize| [middle[i] - width[i], middle[i] + width[i]]);
            if let Err(AimTrouble::Missed { miss }) = solve(&camera, ranges, target, middle) {
                let off = |angles: [f64; 2]| {
                    let to = camera.pose(|c| [0.0, angles[0], angles[1]][c]).inward(Vector::from(target));
                    elementary::degrees(elementary::atan2((to.x * to.x + to.y * to.y).sqrt(), -to.z))
                };
                let (mut best, mut least, mut size) = (middle, off(middle), width);
                while size[0].max(size[1]) > 1e-9 {
                    let around = best;
                    for i in 0..1681 {
                        let part = [f64::from(i % 41) / 20.0 - 1.0, f64::from(i / 41) / 20.0 - 1.0];
                        let there = [0, 1].map(|k: usize| (around[k] + part[k] * size[k]).max(ranges[k][0]).min(ranges[k][1]));
                        if off(there) < least {
                            (best, least) = (there, off(there));
                        }
                    }
                    if best == around {
                        size = size.map(|x| x * 0.3);
                    }
                }
                prop_assert!((miss - least).abs() <= 1e-9, "{miss} {least} at {best:?}");
            }
        }
    }

    /// Two axles along each other turn the line of sight in one plane only.
    #[test]
    fn parallel_axles_are_gimbal_trouble() {
        let twice =
            Chain::new(&[joint(JointKind::Turn([0.0, 1.0, 0.0]), 1, [0.0; 3]), joint(JointKind::Turn([0.0, 2.0, 0.0]), 2, [0.0; 3])])
                .unwrap();
        assert!(matches!(solve(&twice, WIDE, [300.0, 400.0, -900.0], [0.0; 2]), Err(AimTrouble::Gimbal { .. })));
        assert!(matches!(solve(&twice, WIDE, [300.0, 0.0, -900.0], [0.0; 2]), Err(AimTrouble::Gimbal { .. })));
    }

    #[test]
    fn angles_are_the_turn_nearest_to_the_guess() {
        let target = [-1000.0 * elementary::sin(elementary::radians(10.0)), 0.0, -1000.0 * elementary::cos(elementary::radians(10.0))];
        for (range, guess, pan) in [([-360.0, 360.0], 0.0, 10.0), ([-720.0, 720.0], 350.0, 370.0), ([-720.0, 5.0], 5.0, -350.0)] {
            let found = solve(&plain(), [range, WIDE[1]], target, [guess, 0.0]).unwrap();
            assert!((found[0] - pan).abs() <= 1e-9, "{found:?} {pan}");
        }
    }

    #[test]
    fn a_target_without_direction_is_refused() {
        assert_eq!(solve(&plain(), WIDE, [0.0; 3], [0.0; 2]), Err(AimTrouble::NoDirection));
        assert_eq!(solve(&plain(), WIDE, [0.0, f64::NAN, 0.0], [0.0; 2]), Err(AimTrouble::NoDirection));
        assert_eq!(solve(&plain(), WIDE, [0.0, 1.0, -2.0], [f64::NAN, 0.0]), Err(AimTrouble::NoDirection));
    }

    #[test]
    fn channels_that_cannot_aim_are_refused() {
        let codes = |channels, ranges| -> Vec<&str> {
            Aim::new(&plain(), channels, ranges).unwrap_err().into_iter().map(|f| f.code.slug()).collect()
        };
        assert_eq!(codes([1, 1], WIDE), ["unsuitable-aim-channel"]);
        assert_eq!(codes([0, 7], WIDE), ["unsuitable-aim-channel", "unsuitable-aim-channel"]);
        assert_eq!(codes([1, 2], [[5.0, 5.0], [f64::NAN, 3.0]]), ["empty-range", "out-of-range", "empty-range"]);
    }
}
