//! Limits of moving passes judged again where the folder says that they hold: rates and torque of each axis, and gaps, at every sixteenth of a frame.
//!
//! Invariant: one set of gaps for all passes that park the same groups; a fault is an instant at which a limit is exceeded beyond every tolerance.

use std::rc::Rc;

use super::columns::Against;
use super::dense::{Dense, nearest_frame};
use super::fault::{FaultKind, Faults};
use super::gaps::{Gaps, TooNear};
use super::oracle::State;
use crate::shot::{Exposure, Pass};
use crate::stage::Stage;

/// Passes that park the same groups, and what could meet in them.
struct Together<'a> {
    passes: Vec<&'a Pass>,
    gaps: Gaps<'a>,
}

/// What is judged along the photographed span.
pub(super) struct Judge<'a> {
    what: Against<'a>,
    dense: Dense<'a>,
    together: Vec<Together<'a>>,
    frame: Option<i64>,
}

impl<'a> Judge<'a> {
    /// For a folder that says it is within limits.
    pub(super) fn new(what: Against<'a>) -> Judge<'a> {
        let mut together: Vec<Together<'a>> = Vec::new();
        let states = span(&what);
        let states: Vec<&State> = states.iter().map(Rc::as_ref).collect();
        for pass in what.shot.passes().iter().filter(|p| p.exposure() == Exposure::Moving) {
            match together.iter_mut().find(|t| t.passes.first().is_some_and(|p| p.park() == pass.park())) {
                Some(known) => known.passes.push(pass),
                None => {
                    together.extend(Gaps::new((what.oracle, what.stage, pass), &states).map(|gaps| Together { passes: vec![pass], gaps }));
                }
            }
        }
        Judge { dense: Dense::new(what), what, together, frame: None }
    }

    /// The next instant, a sixteenth of a frame after the one before.
    pub(super) fn see(&mut self, state: &Rc<State>, faults: &mut Faults) {
        self.dense.see(Rc::clone(state), faults);
        let frame = nearest_frame(state.t);
        let is_new = self.frame.replace(frame) != Some(frame);
        for Together { passes, gaps } in &mut self.together {
            let Some(pass) = passes.first() else { continue };
            if is_new {
                gaps.allow_for(self.what.oracle, Some(pass), state);
            }
            let value = |c| self.what.oracle.value(pass, state, c);
            for near in gaps.too_near(&value) {
                for pass in passes.iter() {
                    report(self.what.stage, pass, &near, frame, &|| format!("at frame {}", state.t), faults);
                }
            }
        }
    }
}

/// States at nine instants from start to end of the photographed span: how large the scene is.
pub(super) fn span(what: &Against<'_>) -> Vec<Rc<State>> {
    let (from, to) = what.shot.frames().photographed();
    (0..=8_u8).map(|i| what.oracle.state(from + (to - from) * f64::from(i) / 8.0)).collect()
}

/// Records a gap that is too small.
pub(super) fn report(stage: &Stage, pass: &Pass, near: &TooNear, frame: i64, at: &dyn Fn() -> String, faults: &mut Faults) {
    faults.at(FaultKind::Limits, &format!("{}.steps.csv", pass.name()), Some(stage.group_name(near.body)), frame, || {
        format!("{:.3} mm from {} {}; required clearance {} mm", near.gap, near.other, at(), near.required)
    });
}
