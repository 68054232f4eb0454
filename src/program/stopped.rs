//! Where a pass broke off: the instant of a frame at which its axes are nearest to where they stand.
//!
//! What: all axes stop at one instant; it is looked for in the slot of the frame, from half a frame before its middle to half a frame after it, as that at which the axis that is farthest off is least
//! far off. Invariant: work does not grow with the shot. Limits: 512 instants of the slot and four closer looks around the best of them; axes that ran on after the fault are off by what they ran.

use super::Program;
use crate::compile::frame_time;
use crate::number::whole;
use crate::stage::{AxisId, PerAxis};
use crate::time::{FrameTime, Seconds};

/// The nearest instant, and what is off.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stopped {
    /// When the pass was nearest to where the axes stand.
    pub at: FrameTime,
    /// Axes that are off by more than a step, by how many steps, signed as steps count; the farthest first.
    pub off: Vec<(AxisId, i64)>,
}

/// Instants of the slot.
const PARTS: u32 = 512;

/// Closer looks, each at so many instants between the neighbours of the best one.
const LOOKS: [u32; 4] = [64; 4];

impl Program {
    /// Where this pass was in a frame, by where its axes `stand`, unit; `None` where it has no position there.
    #[must_use]
    pub(crate) fn stopped_in(&self, frame: i64, stands: &PerAxis<f64>) -> Option<Stopped> {
        let middle = frame_time(frame);
        let [mut from, mut to] = [middle - 0.5, middle + 0.5].map(|t| self.clock().seconds_at(FrameTime(t)).0);
        let mut best = (f64::INFINITY, from);
        for parts in core::iter::once(PARTS).chain(LOOKS) {
            let step = (to - from) / f64::from(parts);
            for i in 0..=parts {
                let t = from + step * f64::from(i);
                let off = self.farthest_off(t, stands)?;
                if off < best.0 {
                    best = (off, t);
                }
            }
            (from, to) = ((best.1 - step).max(from), (best.1 + step).min(to));
        }
        let stage = self.compiled().stage();
        let mut off = Vec::new();
        for id in stage.axis_ids().filter(|id| !self.parks(*id)) {
            let axis = stage.axis(id);
            let steps = axis.count(stands[id])? - axis.count(self.motion(id, Seconds(best.1))?.position)?;
            if steps.abs() > 1 {
                off.push((id, steps));
            }
        }
        off.sort_by_key(|(_, steps)| core::cmp::Reverse(steps.abs()));
        Some(Stopped { at: self.clock().frame_at(Seconds(best.1)), off })
    }

    /// How far the axis is off that is farthest, in steps, at a second of the program.
    fn farthest_off(&self, t: f64, stands: &PerAxis<f64>) -> Option<f64> {
        let stage = self.compiled().stage();
        let mut most = 0.0_f64;
        for id in stage.axis_ids().filter(|id| !self.parks(*id)) {
            let there = self.motion(id, Seconds(t.clamp(0.0, self.end().0)))?.position;
            most = most.max((stands[id] - there).abs() * stage.axis(id).drive().steps_per_unit());
        }
        whole::nearest(most).map(|_| most)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::program::tests::one_axis;
    use crate::shot::Shape;

    /// Axes read anywhere within the frame are on it; lost steps are counted; the same at the limit.
    #[test]
    fn steps_that_were_lost_are_counted() {
        let compiled = one_axis(&[(1.0, 30.0), (30.0, 90.0), (60.0, 10.0)], Shape::MinimumJerk, 1.0, -50.0);
        let id = compiled.stage().axis_ids().next().unwrap();
        let per_step = 1.0 / compiled.stage().axis(id).drive().steps_per_unit();
        for program in Program::all(&compiled).unwrap() {
            for (frame, at) in [(10, 9.6), (10, 10.0), (45, 45.3)] {
                let t = program.clock().seconds_at(FrameTime(at));
                let there = program.motion(id, t).unwrap().position;
                let stands = |lost: f64| PerAxis::new(compiled.stage(), |_| there + lost * per_step);
                assert_eq!(program.stopped_in(frame, &stands(0.0)).unwrap().off, []);
            }
            // Beyond where the frame goes, by 40 steps and by one.
            let ends = [29.5, 30.5].map(|x| program.motion(id, program.clock().seconds_at(FrameTime(x))).unwrap().position);
            let top = program.motion(id, program.clock().seconds_at(FrameTime(30.0))).unwrap().position.max(ends[0]).max(ends[1]);
            let of = |lost: f64| program.stopped_in(30, &PerAxis::new(compiled.stage(), |_| top + lost * per_step)).unwrap().off;
            assert_eq!(of(40.0), [(id, 40)]);
            assert_eq!((of(1.0), of(2.0)), (vec![], vec![(id, 2)]));
        }
    }
}
