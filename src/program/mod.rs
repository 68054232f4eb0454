//! One pass on its stage clock, planned once, in seconds: move to start, run-up, exposures or stations, run-down, return home.
//!
//! Invariant: every second of a program has one position for each axis; a parked axis stands at home throughout. Frame time and seconds are different
//! types. Torque, clearance on the way, rows and page read this one plan. Passes that come and go the same way share it.

pub mod clock;
pub mod course;
pub mod held;
pub(crate) mod motion;
pub mod reversals;
pub mod torque;
pub mod way;

use std::sync::Arc;

use crate::compile::Compiled;
use crate::shot::{Exposure, Pass};
use crate::stage::{AxisId, PerAxis};
use crate::time::Seconds;

pub use clock::Clock;
pub use course::Course;
pub use held::{HeldMove, Stations};
pub use motion::Motion;
pub use torque::{Torque, TorqueUse};
pub use way::{Approach, Direction, Leg, NoLaw, Way};

/// The program of one pass.
#[derive(Debug, Clone)]
pub struct Program {
    compiled: Compiled,
    pass: usize,
    clock: Clock,
    way: Arc<Way>,
    stations: Option<Arc<Stations>>,
}

impl Program {
    /// Plans every pass of a compiled shot, in the order of the shot.
    ///
    /// # Errors
    /// An axis that no law takes from one place to another.
    pub fn all(compiled: &Compiled) -> Result<Vec<Arc<Program>>, NoLaw> {
        let mut planned: Vec<Arc<Program>> = Vec::new();
        for (index, pass) in compiled.shot().passes().iter().enumerate() {
            let known = planned.iter().find(|p| comes_the_same_way(compiled, p.pass(), pass)).map(|p| Arc::clone(&p.way));
            let way = match known {
                Some(way) => way,
                None => Arc::new(Way::plan(compiled, pass)?),
            };
            let stations = match pass.exposure() {
                Exposure::Held => Some(Arc::new(Stations::plan(compiled, pass)?)),
                Exposure::Moving => None,
            };
            let clock = Clock::of(compiled, pass, &way);
            planned.push(Arc::new(Program { compiled: compiled.clone(), pass: index, clock, way, stations }));
        }
        Ok(planned)
    }

    /// The compiled shot.
    #[must_use]
    pub fn compiled(&self) -> &Compiled {
        &self.compiled
    }

    /// The pass.
    #[must_use]
    #[allow(clippy::indexing_slicing, reason = "the index of one of the shot's own passes, from `all`")]
    pub fn pass(&self) -> &Pass {
        &self.compiled.shot().passes()[self.pass]
    }

    /// Its clock.
    #[must_use]
    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// How the axes come to their starts and go home again.
    #[must_use]
    pub fn way(&self) -> &Way {
        &self.way
    }

    /// True where another program's axes come and go as these do.
    #[must_use]
    pub fn shares_way(&self, other: &Program) -> bool {
        Arc::ptr_eq(&self.way, &other.way)
    }

    /// The stations of a held pass and the moves between them; `None` for a moving pass.
    #[must_use]
    pub fn stations(&self) -> Option<&Stations> {
        self.stations.as_deref()
    }

    /// True where the axis stays at home in this pass.
    #[must_use]
    pub fn parks(&self, axis: AxisId) -> bool {
        self.pass().parks(self.compiled.stage(), axis)
    }

    /// From the start of the move to start to the end of the run-down, or of the last slot. Unit: s.
    #[must_use]
    pub fn end(&self) -> Seconds {
        self.clock.end()
    }

    /// The whole program and the return home. Unit: s.
    #[must_use]
    pub fn whole(&self) -> Seconds {
        self.end() + self.way.back()
    }

    /// Where the bodies are while it runs, from the start of the run-up to the end of the run-down; frame time.
    #[must_use]
    pub fn course(&self) -> Course<'_> {
        let stage = self.compiled.stage();
        Course::new(stage, self.clock.span(), PerAxis::new(stage, |id| (!self.parks(id)).then(|| self.compiled.axis(id).curve())))
    }
}

/// True where two passes have the same axes at the same starts and ends.
fn comes_the_same_way(compiled: &Compiled, a: &Pass, b: &Pass) -> bool {
    let stage = compiled.stage();
    a.exposure() == b.exposure() && stage.axis_ids().all(|id| a.parks(stage, id) == b.parks(stage, id))
}
