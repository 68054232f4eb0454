//! One run of the shot at one pace.
//!
//! Invariant: pace, shutter and settling time in their bounds; the groups parked exist on the stage.

use crate::bounds::{self, Code, Flaw};
use crate::stage::{AxisId, GroupId, Stage, check_name};
use crate::time::{Pace, Shutter};

/// What the axes do while the shutter is open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
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
    stop: Option<f64>,
    light: Option<String>,
    park: Vec<GroupId>,
}

impl Pass {
    /// Checks a pass. `seconds_per_frame` is its pace, `shutter` an angle in degrees, `settle` seconds of rest before a
    /// held exposure opens, `park` the groups that stay at home.
    ///
    /// # Errors
    /// Every flaw.
    pub(crate) fn new(
        stage: &Stage,
        name: &str,
        exposure: Exposure,
        seconds_per_frame: f64,
        shutter: f64,
        settle: f64,
        park: Vec<GroupId>,
    ) -> Result<Pass, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(check_name("name", name).err());
        flaws.extend(bounds::PACE.check("seconds_per_frame", seconds_per_frame).err());
        flaws.extend(bounds::SHUTTER.check("shutter", shutter).err());
        flaws.extend(bounds::SETTLE.check("settle", settle).err());
        if exposure == Exposure::Moving && settle > 0.0 {
            flaws.push(
                Flaw::new(Code::KeyDoesNotApply, "settle", "a moving pass never settles")
                    .found(format!("settle = {settle}"), "`settle` with exposure = \"held\" only"),
            );
        }
        for group in &park {
            if group.mark() != stage.mark() {
                flaws.push(
                    Flaw::new(Code::OtherStage, "park", "a parked group belongs to another stage").help("take the group from this stage"),
                );
            }
        }
        match (Pace::new(seconds_per_frame), Shutter::new(shutter), flaws.is_empty()) {
            (Ok(pace), Ok(shutter), true) => {
                Ok(Pass { name: name.to_owned(), exposure, pace, shutter, settle, stop: None, light: None, park })
            }
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

    /// Pace: seconds for one frame.
    #[must_use]
    pub fn seconds_per_frame(&self) -> f64 {
        self.pace.get()
    }

    /// Time for one frame.
    #[must_use]
    pub(crate) fn pace(&self) -> Pace {
        self.pace
    }

    /// Shutter angle.
    #[must_use]
    pub(crate) fn shutter(&self) -> Shutter {
        self.shutter
    }

    /// Seconds of rest before a held exposure opens.
    #[must_use]
    pub fn settle(&self) -> f64 {
        self.settle
    }

    /// The same with the f-number that its lens is set to.
    ///
    /// # Errors
    /// A number out of its range, or one that no lens of the stage has.
    pub(crate) fn with_stop(self, stage: &Stage, stop: Option<f64>) -> Result<Pass, Vec<Flaw>> {
        if let Some(stop) = stop {
            bounds::F_NUMBER.check("stop", stop).map_err(|flaw| vec![flaw])?;
            let lenses: Vec<Option<[f64; 2]>> = stage.bodies().iter().filter_map(|b| b.lens()).map(|l| l.optics().f_numbers).collect();
            let has = |range: &Option<[f64; 2]>| range.is_none_or(|[least, greatest]| least <= stop && stop <= greatest);
            if !lenses.is_empty() && !lenses.iter().any(has) {
                let ranges: Vec<String> = lenses.iter().flatten().map(|[least, greatest]| format!("{least} to {greatest}")).collect();
                let flaw = Flaw::new(Code::OutOfRange, "stop", "no lens of the stage has this stop");
                return Err(vec![flaw.found(stop.to_string(), format!("{}, by `f_numbers` of the lens", ranges.join(" or ")))]);
            }
        }
        Ok(Pass { stop, ..self })
    }

    /// The f-number that its lens is set to, where it is given.
    #[must_use]
    pub(crate) fn stop(&self) -> Option<f64> {
        self.stop
    }

    /// The same under a light of this name.
    #[must_use]
    pub(crate) fn under(self, light: Option<&str>) -> Pass {
        Pass { light: light.map(str::to_owned), ..self }
    }

    /// The name of its light, where it names one.
    #[must_use]
    pub(crate) fn light(&self) -> Option<&str> {
        self.light.as_deref()
    }

    /// The groups that stay at home.
    #[must_use]
    pub(crate) fn park(&self) -> &[GroupId] {
        &self.park
    }

    /// True where the axis, one of the pass's own stage, stays at home.
    #[must_use]
    pub(crate) fn parks(&self, stage: &Stage, axis: AxisId) -> bool {
        self.park.iter().any(|g| stage.group(*g).has(axis))
    }

    /// True where both passes leave the same axes at home.
    #[must_use]
    pub(crate) fn parks_like(&self, stage: &Stage, other: &Pass) -> bool {
        stage.axis_ids().all(|id| self.parks(stage, id) == other.parks(stage, id))
    }

    #[cfg(test)]
    pub(crate) fn named(self, name: &str) -> Pass {
        Pass { name: name.to_owned(), ..self }
    }

    /// The same pass at another pace: how a change is tried.
    #[must_use]
    pub(crate) fn at_pace(&self, pace: Pace) -> Pass {
        Pass { pace, ..self.clone() }
    }
}
