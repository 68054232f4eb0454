//! A stage put together group by group.

use super::Error;
use crate::mechanism::Mechanism;
use crate::stage::{Axis, BodySpec, GroupSpec, MachineSpec, Stage, Surroundings};

/// What a stage is made from; [`StageBuilder::build`] checks it.
#[derive(Debug, Clone)]
pub struct StageBuilder {
    name: String,
    scale: f64,
    groups: Vec<GroupSpec>,
    machines: Vec<MachineSpec>,
    bodies: Vec<BodySpec>,
    surroundings: Surroundings,
}

impl Stage {
    /// A stage of this display name.
    #[must_use]
    pub fn builder(name: &str) -> StageBuilder {
        StageBuilder {
            name: name.to_owned(),
            scale: 1.0,
            groups: Vec::new(),
            machines: Vec::new(),
            bodies: Vec::new(),
            surroundings: Surroundings::default(),
        }
    }
}

impl StageBuilder {
    /// Model size over real size. Default 1.
    #[must_use]
    pub fn scale(mut self, scale: f64) -> Self {
        self.scale = scale;
        self
    }

    /// Adds a group of axes: a camera, a figure, a light.
    #[must_use]
    pub fn group(mut self, name: &str, axes: impl IntoIterator<Item = Axis>) -> Self {
        self.groups.push(GroupSpec { name: name.to_owned(), axes: axes.into_iter().collect() });
        self
    }

    /// Adds a mechanism: one of ours or of your own, with the full names of its channels, which are new, and of its axes, both in its order.
    #[must_use]
    pub fn mechanism<'n>(
        mut self,
        mechanism: impl Mechanism + 'static,
        channels: impl IntoIterator<Item = &'n str>,
        axes: impl IntoIterator<Item = &'n str>,
    ) -> Self {
        self.machines.push(MachineSpec::new(mechanism, channels, axes));
        self
    }

    /// Adds a body.
    #[must_use]
    pub fn body(mut self, body: BodySpec) -> Self {
        self.bodies.push(body);
        self
    }

    /// The surroundings, and the required clearance.
    #[must_use]
    pub fn surroundings(mut self, surroundings: Surroundings) -> Self {
        self.surroundings = surroundings;
        self
    }

    /// The stage.
    ///
    /// # Errors
    /// Every flaw of the first kind found: groups and names, then mechanisms, then bodies.
    pub fn build(self) -> Result<Stage, Error> {
        let stage = Stage::new(&self.name, self.scale, self.groups)?.with_machines(self.machines)?;
        Ok(stage.with_bodies(self.bodies, self.surroundings)?)
    }
}
