//! One run of the shot at one pace.
//!
//! Invariant: pace, shutter and settling time in their bounds; the groups parked exist on the stage.

use super::sheet::Sheet;
use super::wedge::Wedge;
use crate::bounds::{self, Code, Flaw};
use crate::stage::{AxisId, GroupId, Stage, check_name};
use crate::time::{ExposedFrames, FrameSpan, Pace, Shutter};

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

/// How long each frame of a held pass takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Interval {
    /// `seconds_per_frame`.
    #[default]
    Frame,
    /// Its own move, the rest that it needs, its exposure, and no more.
    Shortest,
}

impl Interval {
    /// `frame` or `shortest`, as in files.
    #[must_use]
    pub(crate) fn name(self) -> &'static str {
        match self {
            Interval::Frame => "frame",
            Interval::Shortest => "shortest",
        }
    }
}

/// How moves from rest to rest are split against swing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Shaping {
    /// Not at all.
    #[default]
    None,
    /// In two for each mode, half a period apart.
    ZeroVibration,
}

impl Shaping {
    /// `none` or `zero_vibration`, as in files.
    #[must_use]
    pub(crate) fn name(self) -> &'static str {
        match self {
            Shaping::None => "none",
            Shaping::ZeroVibration => "zero_vibration",
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
    interval: Interval,
    every: u32,
    wedge: Option<Wedge>,
    shaping: Shaping,
    light: Option<String>,
    sheet: Sheet,
    park: Vec<GroupId>,
}

impl Pass {
    /// Checks a pass. `seconds_per_frame` is its pace, `shutter` an angle in degrees, `settle` seconds of rest before a
    /// held exposure opens, or between the move to start and the run-up of a moving pass, `park` the groups that stay at home.
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
        for group in &park {
            if group.mark() != stage.mark() {
                flaws.push(
                    Flaw::new(Code::OtherStage, "park", "a parked group belongs to another stage").help("take the group from this stage"),
                );
            }
        }
        match (Pace::new(seconds_per_frame), Shutter::new(shutter), flaws.is_empty()) {
            (Ok(pace), Ok(shutter), true) => Ok(Pass {
                name: name.to_owned(),
                exposure,
                pace,
                shutter,
                settle,
                stop: None,
                light: None,
                sheet: Sheet::default(),
                interval: Interval::Frame,
                every: 1,
                wedge: None,
                shaping: Shaping::None,
                park,
            }),
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

    /// Seconds of rest before a held exposure opens, or between the move to start and the run-up of a moving pass.
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

    /// The same with another time for each frame.
    ///
    /// # Errors
    /// A moving pass, whose frames all take as long.
    pub(crate) fn with_interval(self, interval: Interval) -> Result<Pass, Vec<Flaw>> {
        if interval == Interval::Shortest && self.exposure == Exposure::Moving {
            let flaw = Flaw::new(Code::OutOfRange, "interval", "frames of a moving pass all take `seconds_per_frame`");
            return Err(vec![
                flaw.found("\"shortest\"".to_owned(), "\"frame\", or `exposure = \"held\"`".to_owned())
                    .help("leave `interval` out, or hold the exposures"),
            ]);
        }
        Ok(Pass { interval, ..self })
    }

    /// The same as a test pass that exposes one frame in `every`, where that is given, of a shot with these frames, where they are known.
    ///
    /// # Errors
    /// Less than 2, or more than there are frames.
    pub(crate) fn with_every(self, every: Option<i64>, frames: Option<FrameSpan>) -> Result<Pass, Vec<Flaw>> {
        let Some(every) = every else { return Ok(self) };
        let most = frames.map_or(bounds::MOST_FRAMES, |span| u64::try_from(span.count()).unwrap_or(bounds::MOST_FRAMES));
        let known = u32::try_from(every).ok().filter(|n| 2 <= *n && u64::from(*n) <= most);
        let Some(every) = known else {
            let flaw = Flaw::new(Code::OutOfRange, "every", "`every` must be at least 2 and at most the number of frames");
            let allowed =
                if most < 2 { "no `every`, since the shot has one frame".to_owned() } else { format!("a whole number, 2 to {most}") };
            let help = "leave `every` out to expose each frame";
            return Err(vec![flaw.found(every.to_string(), allowed).help(help)]);
        };
        Ok(Pass { every, ..self })
    }

    /// One frame in how many is exposed; 1 for each.
    #[must_use]
    pub(crate) fn every(&self) -> u32 {
        self.every
    }

    /// The same exposing one frame several times, where that is given, of a shot with these frames, where they are known.
    ///
    /// # Errors
    /// A moving pass, a frame that is not photographed, `every` beside it, or a shutter that does not close between exposures.
    pub(crate) fn with_wedge(self, wedge: Option<Wedge>, frames: Option<FrameSpan>) -> Result<Pass, Vec<Flaw>> {
        let Some(wedge) = wedge else { return Ok(self) };
        let flaw = |title: &str| Flaw::new(Code::OutOfRange, "wedge", title);
        let mut flaws = Vec::new();
        if let Some(span) = frames.filter(|span| !span.contains(wedge.frame())) {
            let allowed = format!("a photographed frame, {} to {}", span.first(), span.last());
            flaws.push(flaw("the frame of the wedge is not photographed").found(wedge.frame().to_string(), allowed));
        }
        if self.exposure == Exposure::Moving {
            let moving = flaw("a wedge exposes a frame without moving").found("exposure = \"moving\"".to_owned(), "exposure = \"held\"");
            flaws.push(moving.help("set `exposure = \"held\"`, or leave `wedge` out"));
        }
        if self.every > 1 {
            let both = flaw("a pass exposes either one frame in several or one frame several times");
            flaws.push(both.found(format!("every = {} and a wedge", self.every), "one of them").help("leave `every` out"));
        }
        if wedge.stops().len() > 1 && !(self.shutter.fraction() < 1.0) {
            let open = flaw("the shutter does not close between the exposures of the wedge");
            flaws.push(open.found("shutter = 360".to_owned(), "less than 360 deg").help("use a shutter of less than 360 deg"));
        }
        if flaws.is_empty() { Ok(Pass { wedge: Some(wedge), interval: Interval::Shortest, ..self }) } else { Err(flaws) }
    }

    /// The frame that it exposes several times, where it does.
    #[must_use]
    pub(crate) fn wedge(&self) -> Option<&Wedge> {
        self.wedge.as_ref()
    }

    /// The frames that it exposes of a shot with these, which have that of its wedge.
    #[must_use]
    pub(crate) fn exposed(&self, frames: FrameSpan) -> ExposedFrames {
        self.wedge.as_ref().map_or(ExposedFrames::new(frames, self.every), |wedge| ExposedFrames::one(wedge.frame(), frames))
    }

    /// The same with its moves from rest to rest split against swing.
    ///
    /// # Errors
    /// A group that swings in more modes than moves are split for.
    pub(crate) fn with_shaping(self, stage: &Stage, shaping: Shaping) -> Result<Pass, Vec<Flaw>> {
        let most = bounds::MOST_SHAPED_MODES;
        let many = stage.bodies().iter().find(|body| shaping != Shaping::None && body.swing().is_some_and(|s| s.modes.len() > most));
        if let Some(body) = many {
            let found = format!("{} further modes of `{}`", body.swing().map_or(0, |s| s.modes.len()), stage.group_name(body.group()));
            let flaw = Flaw::new(Code::TooMany, "shaping", "a group swings in too many modes for its moves to be split");
            return Err(vec![flaw.found(found, format!("at most {most}")).help("keep the modes that swing most in the stage file")]);
        }
        Ok(Pass { shaping, ..self })
    }

    /// How its moves from rest to rest are split against swing.
    #[must_use]
    pub(crate) fn shaping(&self) -> Shaping {
        self.shaping
    }

    /// How long each frame takes.
    #[must_use]
    pub(crate) fn interval(&self) -> Interval {
        self.interval
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

    /// The same with what people do for it.
    #[must_use]
    pub(crate) fn with_sheet(self, sheet: Sheet) -> Pass {
        Pass { sheet, ..self }
    }

    /// What people do for it.
    #[must_use]
    pub(crate) fn sheet(&self) -> &Sheet {
        &self.sheet
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

    /// Seconds of rest at the end of the move to start.
    #[must_use]
    pub(crate) fn rest_at_start(&self) -> f64 {
        if self.exposure == Exposure::Moving { self.settle } else { 0.0 }
    }

    /// The same pass with another time to settle: how a change is tried. The time is in its bounds.
    #[must_use]
    pub(crate) fn settling(&self, settle: f64) -> Pass {
        Pass { settle, ..self.clone() }
    }

    /// The same pass standing on each of its frames.
    #[must_use]
    pub(crate) fn standing(&self) -> Pass {
        Pass { exposure: Exposure::Held, interval: Interval::Frame, wedge: None, ..self.clone() }
    }

    /// The same pass at another pace: how a change is tried.
    #[must_use]
    pub(crate) fn at_pace(&self, pace: Pace) -> Pass {
        Pass { pace, ..self.clone() }
    }
}
