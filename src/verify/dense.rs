//! Limits judged again along the move: position, velocity, acceleration, jerk, step rate, torque and slack wires at every sixteenth of a frame.
//!
//! What: a divided difference of positions is a mean of the derivative of that order over its instants, with weights that are never negative (its Peano kernel is a
//! B-spline; any numerical analysis textbook). So none is ever more than the greatest derivative, and one beyond a limit is a proof that the limit is exceeded.
//! Limits: what is not found is not proven to hold: a peak between instants is lowered by the mean.
//! Tolerance: a limit is exceeded above 1 + 1e-9, as everywhere; where a curve was fitted to its signal, above 1 + 1e-3, the share by which the fit may differ; and never by
//! less than the rounding of the differences.

use std::collections::VecDeque;
use std::rc::Rc;

use super::columns::Against;
use super::fault::{FaultKind, Faults};
use super::limb::Limb;
use super::oracle::{State, steps_per_unit};
use super::torque::Motor;
use crate::shot::{Exposure, Pass};
use crate::stage::{Axis, AxisId, ChannelId};

/// Instants of a frame.
pub(super) const INSTANTS: u16 = 16;

/// From one instant to the next, frames.
const STEP: f64 = 1.0 / 16.0;

/// A limit is exceeded where its utilisation is above 1 by more than this.
const SLACK: f64 = 1e-9;

/// By how much a fitted curve's share of a limit may differ from its signal's.
const FITTED_SHARE: f64 = 1e-3;

/// One axis in the moving passes in which it is live.
struct Live<'a> {
    id: AxisId,
    axis: &'a Axis,
    name: &'a str,
    passes: Vec<&'a Pass>,
    motor: Option<Motor>,
    /// What shares are compared with.
    most: f64,
}

/// A weighted limb on a wire, in the moving passes in which it is live.
struct Hung<'a> {
    channel: ChannelId,
    limb: Limb<'a>,
    passes: Vec<&'a Pass>,
}

/// The instants seen last, and what they are judged by.
pub(super) struct Dense<'a> {
    what: Against<'a>,
    window: VecDeque<Rc<State>>,
    axes: Vec<Live<'a>>,
    limbs: Vec<Hung<'a>>,
}

impl<'a> Dense<'a> {
    /// For a folder that says it is within limits.
    pub(super) fn new(what: Against<'a>) -> Dense<'a> {
        let (stage, shot) = (what.stage, what.shot);
        let live = |id: AxisId| -> Vec<&'a Pass> {
            shot.passes().iter().filter(|p| p.exposure() == Exposure::Moving && !p.parks(stage, id)).collect()
        };
        let axes = stage.each_axis().zip(stage.axis_names()).map(|((id, axis), name)| Live {
            id,
            axis,
            name,
            passes: live(id),
            motor: Motor::of(axis),
            most: 1.0 + SLACK + if what.oracle.is_fitted(id) { FITTED_SHARE } else { 0.0 },
        });
        let limbs = Limb::all(stage).map(|(id, channel, limb)| Hung { channel, limb, passes: live(id) });
        Dense { what, window: VecDeque::new(), axes: axes.collect(), limbs: limbs.collect() }
    }

    /// The next instant, a sixteenth of a frame after the one before.
    pub(super) fn see(&mut self, state: Rc<State>, faults: &mut Faults) {
        if self.window.len() == 4 {
            self.window.pop_front();
        }
        self.window.push_back(state);
        let states: Vec<&State> = self.window.iter().map(Rc::as_ref).collect();
        for live in &self.axes {
            live.judge(&self.what, &states, faults);
        }
        for hung in &self.limbs {
            hung.judge(&states, faults);
        }
    }
}

/// Differences of the last values over their distance in time: first, second, third; as far as there are enough.
fn differences(values: &[f64]) -> [Option<f64>; 3] {
    let back = |n: usize| values.len().checked_sub(1 + n).and_then(|i| values.get(i)).copied();
    let [a, b, c, d] = [0, 1, 2, 3].map(back);
    let first = a.zip(b).map(|(a, b)| (a - b) / STEP);
    let second = a.zip(b).zip(c).map(|((a, b), c)| (a - 2.0 * b + c) / (STEP * STEP));
    let third = a.zip(b).zip(c).zip(d).map(|(((a, b), c), d)| (a - 3.0 * b + 3.0 * c - d) / (STEP * STEP * STEP));
    [first, second, third]
}

impl Live<'_> {
    fn judge(&self, what: &Against<'_>, states: &[&State], faults: &mut Faults) {
        let Some(now) = states.last().filter(|_| what.oracle.is_known(self.id) && !self.passes.is_empty()) else { return };
        let values: Vec<f64> = states.iter().map(|s| s.axis(self.id)).collect();
        let (position, symbol, frame) = (now.axis(self.id), self.axis.unit().symbol(), nearest_frame(now.t));
        let (travel, per_unit) = (self.axis.travel(), steps_per_unit(self.axis));
        let room = SLACK * (travel.upper - travel.lower) + what.oracle.floor(self.id, now) / per_unit;
        if !(travel.lower - room <= position && position <= travel.upper + room) {
            for pass in &self.passes {
                faults.at(FaultKind::Travel, &format!("{}.units.csv", pass.name()), Some(self.name), frame, || {
                    let t = now.t;
                    format!("is at {position:.6} {symbol} at frame {t}; the travel is {} to {} {symbol}", travel.lower, travel.upper)
                });
            }
        }
        let limits = self.axis.limits();
        let noise = what.oracle.grain(self.id, now);
        let differences = differences(&values);
        // Each difference is off by so many times the rounding of one position.
        let kinds = [
            ("velocity", "/s", limits.velocity, 1, 2.0),
            ("acceleration", "/s2", limits.acceleration, 2, 4.0),
            ("jerk", "/s3", limits.jerk, 3, 8.0),
            ("step rate", "", limits.step_rate.map_or(f64::INFINITY, |r| r / per_unit), 1, 2.0),
        ];
        for (kind, per, limit, order, times) in kinds {
            let Some(mean) = differences.get(order - 1).copied().flatten() else { continue };
            let off = times * noise / power(STEP, order);
            for pass in &self.passes {
                let pace = power(pass.pace().get(), order);
                let (found, off) = (mean.abs() / pace, off / pace);
                if !(found <= limit * self.most + off) {
                    let text = || match kind {
                        "step rate" => {
                            format!("{kind} {:.3} steps/s near frame {}, limit {:.3} steps/s", found * per_unit, now.t, limit * per_unit)
                        }
                        _ => format!("{kind} {found:.6} {symbol}{per} near frame {}, limit {limit} {symbol}{per}", now.t),
                    };
                    faults.at(FaultKind::Limits, &format!("{}.steps.csv", pass.name()), Some(self.name), frame, text);
                }
            }
        }
        self.torque(&differences, (now.t, frame), noise, faults);
    }

    /// The acceleration is a mean over two instants; at one of them it is no less, and the speed there is no less than the mean's less what it changes by meanwhile.
    fn torque(&self, [first, second, _]: &[Option<f64>; 3], (t, frame): (f64, i64), noise: f64, faults: &mut Faults) {
        let (Some(motor), Some(speed), Some(acceleration)) = (&self.motor, first, second) else { return };
        for pass in &self.passes {
            let pace = pass.pace().get();
            let a = (acceleration.abs() - 4.0 * noise / (STEP * STEP)).max(0.0) / (pace * pace);
            let v = ((speed.abs() - 2.0 * STEP * acceleration.abs()) / pace).max(0.0);
            let (demand, supply) = (motor.demand(a), motor.supply(v));
            if !(demand <= supply * self.most) {
                faults.at(FaultKind::Limits, &format!("{}.steps.csv", pass.name()), Some(self.name), frame, || {
                    format!("torque {demand:.6} N m near frame {t}; the motor has {supply:.6} N m")
                });
            }
        }
    }
}

impl Hung<'_> {
    fn judge(&self, states: &[&State], faults: &mut Faults) {
        let Some(now) = states.last() else { return };
        let angles: Vec<f64> = states.iter().map(|s| s.channel(self.channel)).collect();
        let [Some(speed), Some(acceleration), _] = differences(&angles) else { return };
        for pass in &self.passes {
            let pace = pass.pace().get();
            let over = 2.0 * STEP * pace;
            if let Some(why) = self.limb.let_go(now.channel(self.channel), speed / pace, acceleration / (pace * pace), over) {
                faults.at(FaultKind::Limits, &format!("{}.steps.csv", pass.name()), Some(self.limb.name), nearest_frame(now.t), || {
                    format!("near frame {}: {why}", now.t)
                });
            }
        }
    }
}

fn power(x: f64, n: usize) -> f64 {
    (0..n).map(|_| x).product()
}

/// The frame that an instant belongs to.
pub(super) fn nearest_frame(t: f64) -> i64 {
    crate::number::whole::floor(t + 0.5).unwrap_or(i64::MAX)
}
