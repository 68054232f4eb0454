//! A shot put together layer by layer: channels, groups and passes by name, each looked up at once.

use core::ops::RangeInclusive;
use std::sync::Arc;

use super::Error;
use super::error::Kind;
use crate::motion::signal::Signal;
use crate::shot::retime::{Course, Retime};
use crate::shot::{Copy, Cycle, Drift, Exposure, Key, Pass, Shape, Shot, ShotSpec, Track};
use crate::stage::{ChannelId, GroupId, Stage};
use crate::time::{FrameRate, FrameSpan, Timecode};

/// What a shot is made from; [`ShotBuilder::build`] checks what concerns it as a whole.
#[derive(Debug)]
pub struct ShotBuilder<'s> {
    stage: &'s Stage,
    name: String,
    frames: FrameSpan,
    frame_rate: FrameRate,
    timecode: Option<String>,
    cycle_start: Option<f64>,
    retimes: Vec<Retime>,
    tracks: Vec<Track>,
    cycles: Vec<Cycle>,
    drifts: Vec<Drift>,
    copies: Vec<Copy>,
    passes: Vec<Pass>,
    own: Vec<(ChannelId, Arc<dyn Signal>)>,
}

impl Shot {
    /// A shot of this display name for `stage`: frames (first and last photographed) at a rate such as `24` or `30000/1001`.
    ///
    /// # Errors
    /// No span of frames, no frame rate.
    pub fn builder<'s>(stage: &'s Stage, name: &str, frames: RangeInclusive<i64>, frame_rate: &str) -> Result<ShotBuilder<'s>, Error> {
        Ok(ShotBuilder {
            stage,
            name: name.to_owned(),
            frames: FrameSpan::new(*frames.start(), *frames.end())?,
            frame_rate: FrameRate::parse(frame_rate)?,
            timecode: None,
            cycle_start: None,
            retimes: Vec::new(),
            tracks: Vec::new(),
            cycles: Vec::new(),
            drifts: Vec::new(),
            copies: Vec::new(),
            passes: Vec::new(),
            own: Vec::new(),
        })
    }
}

impl<'s> ShotBuilder<'s> {
    /// Timecode of the first frame. Default 00:00:00:00.
    #[must_use]
    pub fn timecode_start(mut self, label: &str) -> Self {
        self.timecode = Some(label.to_owned());
        self
    }

    /// The frame from which cycles and drifts count. Default: the first.
    #[must_use]
    pub fn cycle_start(mut self, frame: f64) -> Self {
        self.cycle_start = Some(frame);
        self
    }

    /// Keys on a channel; choose their shape next.
    ///
    /// # Errors
    /// No such channel.
    pub fn track(&mut self, channel: &str) -> Result<TrackBuilder<'_, 's>, Error> {
        let channel = self.channel(channel)?;
        Ok(TrackBuilder { shot: self, channel })
    }

    /// A beat on a channel; see [`CycleBuilder`].
    ///
    /// # Errors
    /// No such channel.
    pub fn cycle(&mut self, channel: &str, period: f64) -> Result<CycleBuilder<'_, 's>, Error> {
        let channel = self.channel(channel)?;
        Ok(CycleBuilder { shot: self, channel, period, phase: 0.0, amount: Vec::new(), rate: Vec::new() })
    }

    /// Slow wandering on a channel: never further than `amplitude` (unit) from 0; `period` in frames is its typical length.
    ///
    /// # Errors
    /// No such channel; numbers out of range.
    pub fn drift(&mut self, channel: &str, seed: i64, amplitude: f64, period: f64) -> Result<&mut Self, Error> {
        let channel = self.channel(channel)?;
        self.drifts.push(Drift::new(channel, seed, amplitude, period)?);
        Ok(self)
    }

    /// A signal of your own on a channel; it adds to the channel's other layers.
    ///
    /// # Errors
    /// No such channel.
    pub fn signal(&mut self, channel: &str, signal: impl Signal + 'static) -> Result<&mut Self, Error> {
        let channel = self.channel(channel)?;
        self.own.push((channel, Arc::new(signal)));
        Ok(self)
    }

    /// One group's programme handed on to another, `delay` frames later.
    ///
    /// # Errors
    /// No such group; numbers out of range.
    pub fn copy(&mut self, from: &str, to: &str, delay: f64) -> Result<&mut Self, Error> {
        let (from, to) = (self.group(from)?, self.group(to)?);
        self.copies.push(Copy::new(from, to, delay, Vec::new())?);
        Ok(self)
    }

    /// The choreography of these groups, of every group where none is named, some frames later.
    ///
    /// # Errors
    /// No such group; a number out of range.
    pub fn later(&mut self, groups: &[&str], delay: f64) -> Result<&mut Self, Error> {
        self.retimed(groups, Course::Later(delay))
    }

    /// When the choreography of these groups, of every group where none is named, is on film: pairs of film frame and choreography frame, the second never falling. Inner
    /// corners are rounded over `ease` frames on each side, or over 4 where there is room. Of several retimes the first is nearest to film.
    ///
    /// # Errors
    /// No such group; every flaw of the keys, and an ease that does not fit.
    pub fn retime<F: Into<f64>>(
        &mut self,
        groups: &[&str],
        pairs: impl IntoIterator<Item = (F, f64)>,
        ease: Option<f64>,
    ) -> Result<&mut Self, Error> {
        self.retimed(groups, Course::Keyed(keys(pairs), ease))
    }

    fn retimed(&mut self, groups: &[&str], course: Course) -> Result<&mut Self, Error> {
        let of: Vec<GroupId> = groups.iter().map(|name| self.group(name)).collect::<Result<_, _>>()?;
        self.retimes.push(Retime::new((!of.is_empty()).then_some(of), course)?);
        Ok(self)
    }

    /// A pass; see [`PassBuilder`].
    pub fn pass(&mut self, name: &str) -> PassBuilder<'_, 's> {
        PassBuilder { shot: self, name: name.to_owned(), shutter: 180.0, park: Vec::new() }
    }

    /// The shot.
    ///
    /// # Errors
    /// Every flaw: no pass, two of one name, copies in a circle, a timecode that is none.
    pub fn build(self) -> Result<Shot, Error> {
        let timecode_start = match &self.timecode {
            Some(label) => Timecode::parse(label, self.frame_rate)?,
            None => Timecode::from_count(0, self.frame_rate),
        };
        let spec = ShotSpec {
            name: self.name,
            frame_rate: self.frame_rate,
            frames: self.frames,
            timecode_start,
            tracks: self.tracks,
            cycles: self.cycles,
            drifts: self.drifts,
            copies: self.copies,
            passes: self.passes,
        };
        let mut shot = Shot::new(self.stage, spec)?;
        if let Some(frame) = self.cycle_start {
            shot = shot.with_cycle_start(frame)?;
        }
        shot = shot.with_retimes(self.stage, self.retimes)?;
        for (channel, signal) in self.own {
            shot = shot.with_signal(channel, signal)?;
        }
        Ok(shot)
    }

    fn channel(&self, name: &str) -> Result<ChannelId, Error> {
        self.stage.channel(name).ok_or_else(|| Kind::Unknown { what: "channel", name: name.to_owned() }.into())
    }

    fn group(&self, name: &str) -> Result<GroupId, Error> {
        self.stage.group_of_name(name).ok_or_else(|| Kind::Unknown { what: "group", name: name.to_owned() }.into())
    }
}

fn keys<F: Into<f64>>(pairs: impl IntoIterator<Item = (F, f64)>) -> Vec<Key> {
    pairs.into_iter().map(|(frame, value)| Key::new(frame.into(), value)).collect()
}

/// Keys of one channel, waiting for their shape. Frames may be whole numbers (`i32`) or `f64`; values in the channel's unit.
#[derive(Debug)]
pub struct TrackBuilder<'b, 's> {
    shot: &'b mut ShotBuilder<'s>,
    channel: ChannelId,
}

impl TrackBuilder<'_, '_> {
    /// Quintic spline, C4, at rest at both ends.
    ///
    /// # Errors
    /// Every flaw of the keys.
    pub fn minimum_jerk<F: Into<f64>>(self, pairs: impl IntoIterator<Item = (F, f64)>) -> Result<(), Error> {
        self.shaped(Shape::MinimumJerk, None, pairs)
    }

    /// Quintic between neighbours that never leaves the range of its two keys.
    ///
    /// # Errors
    /// Every flaw of the keys.
    pub fn monotone<F: Into<f64>>(self, pairs: impl IntoIterator<Item = (F, f64)>) -> Result<(), Error> {
        self.shaped(Shape::Monotone, None, pairs)
    }

    /// Natural cubic spline: moving at the cut.
    ///
    /// # Errors
    /// Every flaw of the keys.
    pub fn natural_cubic<F: Into<f64>>(self, pairs: impl IntoIterator<Item = (F, f64)>) -> Result<(), Error> {
        self.shaped(Shape::NaturalCubic, None, pairs)
    }

    /// Any shape; `blend` (frames to either side of a key) for shapes with corners.
    ///
    /// # Errors
    /// Every flaw of the keys, and a blend that does not fit.
    pub fn shaped<F: Into<f64>>(self, shape: Shape, blend: Option<f64>, pairs: impl IntoIterator<Item = (F, f64)>) -> Result<(), Error> {
        self.shot.tracks.push(Track::new(self.channel, shape, blend, keys(pairs))?);
        Ok(())
    }
}

/// A beat of one channel: `amount` and `rate` first, then [`CycleBuilder::keys`].
#[derive(Debug)]
pub struct CycleBuilder<'b, 's> {
    shot: &'b mut ShotBuilder<'s>,
    channel: ChannelId,
    period: f64,
    phase: f64,
    amount: Vec<Key>,
    rate: Vec<Key>,
}

impl CycleBuilder<'_, '_> {
    /// Beats at the start. Default 0.
    #[must_use]
    pub fn phase(mut self, beats: f64) -> Self {
        self.phase = beats;
        self
    }

    /// A factor on the beat at frames. Default 1 throughout.
    #[must_use]
    pub fn amount<F: Into<f64>>(mut self, pairs: impl IntoIterator<Item = (F, f64)>) -> Self {
        self.amount = keys(pairs);
        self
    }

    /// How fast it beats at frames. Default 1 throughout.
    #[must_use]
    pub fn rate<F: Into<f64>>(mut self, pairs: impl IntoIterator<Item = (F, f64)>) -> Self {
        self.rate = keys(pairs);
        self
    }

    /// The beat: pairs of beat (0 to 1) and value.
    ///
    /// # Errors
    /// Every flaw.
    pub fn keys(self, pairs: impl IntoIterator<Item = (f64, f64)>) -> Result<(), Error> {
        let cycle = Cycle::new(self.channel, self.period, self.phase, keys(pairs), self.amount, self.rate)?;
        self.shot.cycles.push(cycle);
        Ok(())
    }
}

/// A pass: shutter and parked groups first, then how it is exposed.
#[derive(Debug)]
pub struct PassBuilder<'b, 's> {
    shot: &'b mut ShotBuilder<'s>,
    name: String,
    shutter: f64,
    park: Vec<GroupId>,
}

impl PassBuilder<'_, '_> {
    /// Shutter angle, degrees; more than 0, at most 360. Default 180.
    #[must_use]
    pub fn shutter(mut self, degrees: f64) -> Self {
        self.shutter = degrees;
        self
    }

    /// A group that stays at home.
    ///
    /// # Errors
    /// No such group.
    pub fn park(mut self, group: &str) -> Result<Self, Error> {
        let group = self.shot.group(group)?;
        self.park.push(group);
        Ok(self)
    }

    /// Axes run through the exposures. Pace in seconds per frame.
    ///
    /// # Errors
    /// Every flaw.
    pub fn moving(self, seconds_per_frame: f64) -> Result<(), Error> {
        self.exposed(Exposure::Moving, seconds_per_frame, 0.0)
    }

    /// Axes stop, settle for `settle` seconds, are exposed and go on.
    ///
    /// # Errors
    /// Every flaw.
    pub fn held(self, seconds_per_frame: f64, settle: f64) -> Result<(), Error> {
        self.exposed(Exposure::Held, seconds_per_frame, settle)
    }

    fn exposed(self, exposure: Exposure, seconds_per_frame: f64, settle: f64) -> Result<(), Error> {
        let pass = Pass::new(self.shot.stage, &self.name, exposure, seconds_per_frame, self.shutter, settle, self.park)?;
        self.shot.passes.push(pass);
        Ok(())
    }
}
