//! One run of the shot at one pace.
//!
//! Invariant: pace, shutter and settling time in their bounds; the groups parked exist on the stage.

use crate::bounds::{self, Flaw};
use crate::stage::{Stage, check_name};
use crate::time::{Pace, Shutter};

/// What the axes do while the shutter is open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exposure {
    /// They run on: blur.
    Moving,
    /// They stop, settle, are exposed, and go on.
    Held,
}

impl Exposure {
    /// `moving` or `held`, as in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Exposure::Moving => "moving",
            Exposure::Held => "held",
        }
    }
}

/// A checked pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Pass {
    name: String,
    exposure: Exposure,
    pace: Pace,
    shutter: Shutter,
    settle: f64,
    park: Vec<usize>,
}

impl Pass {
    /// Checks a pass. `seconds_per_frame` is its pace, `shutter` an angle in degrees, `settle` seconds of rest before a
    /// held exposure opens, `park` the indices of groups that stay at home.
    ///
    /// # Errors
    /// Every flaw.
    pub fn new(
        stage: &Stage,
        name: &str,
        exposure: Exposure,
        seconds_per_frame: f64,
        shutter: f64,
        settle: f64,
        park: Vec<usize>,
    ) -> Result<Pass, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(check_name("name", name).err());
        flaws.extend(bounds::PACE.check("seconds_per_frame", seconds_per_frame).err());
        flaws.extend(bounds::SHUTTER.check("shutter", shutter).err());
        flaws.extend(bounds::SETTLE.check("settle", settle).err());
        if exposure == Exposure::Moving && settle > 0.0 {
            flaws.push(
                Flaw::new("P004", "settle", "a moving pass never settles")
                    .found(format!("settle = {settle}"), "`settle` with exposure = \"held\" only"),
            );
        }
        for group in &park {
            if stage.groups().get(*group).is_none() {
                flaws.push(
                    Flaw::new("P003", "park", "a parked group does not exist").found(group.to_string(), "an index of the stage's groups"),
                );
            }
        }
        match (Pace::new(seconds_per_frame), Shutter::new(shutter), flaws.is_empty()) {
            (Ok(pace), Ok(shutter), true) => Ok(Pass { name: name.to_owned(), exposure, pace, shutter, settle, park }),
            _ => Err(flaws),
        }
    }

    /// Name: `[a-z][a-z0-9_]*`.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What the axes do while the shutter is open.
    #[must_use]
    pub fn exposure(&self) -> Exposure {
        self.exposure
    }

    /// Time for one frame.
    #[must_use]
    pub fn pace(&self) -> Pace {
        self.pace
    }

    /// Shutter angle.
    #[must_use]
    pub fn shutter(&self) -> Shutter {
        self.shutter
    }

    /// Seconds of rest before a held exposure opens.
    #[must_use]
    pub fn settle(&self) -> f64 {
        self.settle
    }

    /// Indices of the groups that stay at home.
    #[must_use]
    pub fn park(&self) -> &[usize] {
        &self.park
    }

    /// True where the axis of this stage index stays at home.
    #[must_use]
    pub fn parks(&self, stage: &Stage, axis: usize) -> bool {
        self.park.iter().any(|g| stage.groups().get(*g).is_some_and(|g| g.axes().contains(&axis)))
    }

    /// The same pass with its axes running: how the way to its start is looked at.
    #[must_use]
    pub fn running(&self) -> Pass {
        Pass { exposure: Exposure::Moving, ..self.clone() }
    }

    /// The same pass at another pace: how advice is tried.
    #[must_use]
    pub fn at_pace(&self, pace: Pace) -> Pass {
        Pass { pace, ..self.clone() }
    }
}
