//! The shot: one choreographed move and the passes that photograph it.
//!
//! Invariant: a [`Shot`] is whole and belongs to the stage it was checked against: channels exist, keys stand in rising order of frame, numbers lie
//! in their bounds, pass names differ, copies run in no circle.

pub(crate) mod aim;
mod circles;
mod copy;
pub(crate) mod focus;
mod handed;
mod haze;
pub(crate) mod layer;
pub(crate) mod light;
pub(crate) mod pass;
pub(crate) mod recording;
pub(crate) mod retime;
pub(crate) mod routine;
mod sheet;
pub(crate) mod target;
mod wedge;

use std::sync::Arc;

use crate::bounds::{self, Code, Flaw};
use crate::motion::signal::Signal;
use crate::number::whole;
use crate::stage::{ChannelId, GroupId, Mark, Stage, check_display_name};
use crate::time::{FrameRate, FrameSpan, Timecode};

pub(crate) use aim::{Aim, AimSpec};
pub(crate) use copy::Copy;
pub(crate) use focus::{Focus, FocusSpec};
pub(crate) use haze::{Haze, Veiled};
pub use layer::Shape;
pub(crate) use layer::{Cycle, Drift, Key, Place, Track};
pub use pass::{Exposure, Pass};
pub(crate) use pass::{Interval, Shaping};
pub(crate) use recording::Recording;
pub(crate) use retime::Retime;
pub(crate) use sheet::Sheet;
pub(crate) use target::Target;
pub(crate) use wedge::Wedge;

/// What a shot is made from.
#[derive(Debug, Clone)]
pub(crate) struct ShotSpec {
    /// Display name.
    pub name: String,
    /// Frames a second at projection.
    pub frame_rate: FrameRate,
    /// First and last photographed frame.
    pub frames: FrameSpan,
    /// Timecode of the first frame.
    pub timecode_start: Timecode,
    /// Keyed tracks.
    pub tracks: Vec<Track>,
    /// Beats that repeat.
    pub cycles: Vec<Cycle>,
    /// Slow wandering.
    pub drifts: Vec<Drift>,
    /// Programs handed on.
    pub copies: Vec<Copy>,
    /// Passes, at least one.
    pub passes: Vec<Pass>,
}

/// A checked shot. See the module's text for what it promises.
#[derive(Debug, Clone)]
pub struct Shot {
    mark: Mark,
    spec: ShotSpec,
    aims: Vec<Aim>,
    focuses: Vec<Focus>,
    lighting: light::Lighting,
    recordings: Vec<Recording>,
    cycle_start: Option<f64>,
    retimes: Vec<Retime>,
    haze: Option<Haze>,
    own_signals: Vec<(ChannelId, Arc<dyn Signal>)>,
}

impl Shot {
    /// Checks what concerns the shot as a whole; its parts are checked by their own constructors.
    ///
    /// # Errors
    /// Every flaw: a name with hidden characters, no pass or too many, two of one name, copies in a circle or onto themselves.
    pub(crate) fn new(stage: &Stage, spec: ShotSpec) -> Result<Shot, Vec<Flaw>> {
        let mut flaws: Vec<Flaw> = check_display_name("name", &spec.name).err().into_iter().collect();
        if spec.passes.is_empty() || spec.passes.len() > bounds::MOST_PASSES {
            let (code, title, help) = if spec.passes.is_empty() {
                let help = "add a [[pass]] with `name`, `exposure`, `seconds_per_frame` and `shutter`";
                (Code::MissingKey, "the shot has no pass", help)
            } else {
                (Code::TooMany, "the shot has too many passes", Code::TooMany.cure())
            };
            flaws.push(
                Flaw::new(code, "pass", title)
                    .found(format!("{} passes", spec.passes.len()), format!("1 to {} passes", bounds::MOST_PASSES))
                    .help(help),
            );
        }
        for (i, pass) in spec.passes.iter().enumerate() {
            if spec.passes.iter().take(i).any(|p| p.name() == pass.name()) {
                flaws.push(
                    Flaw::new(Code::DuplicateName, "pass", format!("two passes are called `{}`", pass.name()))
                        .at_index(i)
                        .help("give each pass its own name"),
                );
            }
        }
        flaws.extend(foreign(stage, &spec));
        if flaws.is_empty() {
            flaws.extend(circles::flaws(stage, &spec.copies));
        }
        if flaws.is_empty() {
            Ok(Shot {
                mark: stage.mark(),
                spec,
                aims: Vec::new(),
                focuses: Vec::new(),
                lighting: light::Lighting::default(),
                recordings: Vec::new(),
                cycle_start: None,
                retimes: Vec::new(),
                haze: None,
                own_signals: Vec::new(),
            })
        } else {
            Err(flaws)
        }
    }

    /// The same shot with aims.
    ///
    /// # Errors
    /// A channel that two aims, or an aim and a layer, would drive; each flaw has the aim's place in the list as its index.
    pub(crate) fn with_aims(mut self, stage: &Stage, aims: Vec<Aim>) -> Result<Shot, Vec<Flaw>> {
        let mut flaws = Vec::new();
        for (i, aim) in aims.iter().enumerate() {
            for channel in aim.channels() {
                if self.is_layered(channel, aim.camera()) || aims.iter().take(i).any(|a| a.channels().contains(&channel)) {
                    let title = format!("`{}` is driven by an aim and by something else", stage.channel_name(channel));
                    flaws.push(
                        Flaw::new(Code::DrivenTwice, "channels", title)
                            .at_index(i)
                            .help("remove its tracks, cycles and drifts, copies onto the camera, and any other aim"),
                    );
                }
            }
        }
        self.aims = aims;
        if flaws.is_empty() { Ok(self) } else { Err(flaws) }
    }

    /// True for a channel of a group that layers drive, or may through a copy.
    fn is_layered(&self, channel: ChannelId, group: GroupId) -> bool {
        self.tracks().iter().any(|t| t.channel() == channel)
            || self.cycles().iter().any(|c| c.channel() == channel)
            || self.drifts().iter().any(|d| d.channel() == channel)
            || self.recordings.iter().any(|r| r.channel() == channel)
            || self.copies().iter().any(|c| c.to() == group)
    }

    /// The same shot with focuses, after its aims.
    ///
    /// # Errors
    /// A channel that two focuses, or a focus and something else, would drive; each flaw has the focus's place in the list as its index.
    pub(crate) fn with_focuses(mut self, stage: &Stage, focuses: Vec<Focus>) -> Result<Shot, Vec<Flaw>> {
        let mut flaws = Vec::new();
        for (i, focus) in focuses.iter().enumerate() {
            let channel = focus.channel();
            let moved = |other: &Focus| other.pulls().iter().any(|p| p.target.moved_by(stage).contains(&channel));
            let twice = focuses.iter().take(i).any(|f| f.channel() == channel) || self.aims.iter().any(|a| a.channels().contains(&channel));
            if twice || self.is_layered(channel, focus.camera()) || focuses.iter().any(moved) {
                let title = format!("`{}` is driven by a focus and by something else", stage.channel_name(channel));
                let flaw = Flaw::new(Code::DrivenTwice, "channel", title).at_index(i);
                flaws.push(flaw.help("remove its tracks, cycles and drifts, copies onto the camera, and any other focus or aim"));
            }
        }
        self.focuses = focuses;
        if flaws.is_empty() { Ok(self) } else { Err(flaws) }
    }

    /// The same shot with recordings; they add to the other layers of their channels. Aims come after them.
    ///
    /// # Errors
    /// A channel of another stage.
    pub(crate) fn with_recordings(mut self, recordings: Vec<Recording>) -> Result<Shot, Vec<Flaw>> {
        if recordings.iter().any(|r| r.channel().mark() != self.mark) {
            let flaw = Flaw::new(Code::OtherStage, "channel", "the channel belongs to another stage");
            return Err(vec![flaw.help("take it from the shot's stage")]);
        }
        self.recordings = recordings;
        Ok(self)
    }

    /// The same shot, its cycles and drifts counting from this choreography frame.
    ///
    /// # Errors
    /// A number out of the range of frame times.
    pub(crate) fn with_cycle_start(mut self, frame: f64) -> Result<Shot, Flaw> {
        self.cycle_start = Some(bounds::FRAME.check("cycle_start", frame)?);
        Ok(self)
    }

    /// The same shot with retimes, the first nearest to film.
    ///
    /// # Errors
    /// More on one group than are allowed, or groups of another stage; each flaw has the retime's place in the list as its index.
    pub(crate) fn with_retimes(mut self, stage: &Stage, retimes: Vec<Retime>) -> Result<Shot, Vec<Flaw>> {
        let foreign = |r: &Retime| r.groups().is_some_and(|all| all.iter().any(|g| g.mark() != self.mark));
        if retimes.iter().any(foreign) {
            return Err(vec![Flaw::new(Code::OtherStage, "retime", "the retime names groups of another stage")]);
        }
        // Retimes of each group, and their keys.
        let mut of: Vec<(usize, usize)> = vec![(0, 0); stage.groups().len()];
        for (i, retime) in retimes.iter().enumerate() {
            let keys = match retime.course() {
                retime::Course::Later(_) => 1,
                retime::Course::Keyed(keys, _) => keys.len(),
            };
            let concerned = stage.group_ids().filter(|g| retime.concerns(*g));
            concerned.for_each(|g| of.get_mut(g.index()).into_iter().for_each(|(n, sum)| (*n, *sum) = (*n + 1, sum.saturating_add(keys))));
            let most = of.iter().map(|(n, _)| *n).max().unwrap_or(0);
            let steps = of.iter().fold(0_usize, |all, (n, keys)| all.saturating_add(n.saturating_mul(*keys)));
            let too_many = |title: &str, found: String, most: usize, help: &str| {
                Flaw::new(Code::TooMany, "retime", title).at_index(i).found(found, format!("at most {most}")).help(help)
            };
            if most > bounds::MOST_RETIMES {
                let found = format!("{most} retimes of one group");
                return Err(vec![too_many(
                    "a group has too many retimes",
                    found,
                    bounds::MOST_RETIMES,
                    "join them into one with more keys",
                )]);
            }
            if steps > bounds::MOST_RETIMED {
                let found = format!("{steps} keys x retimes of a group, over all groups");
                return Err(vec![too_many(
                    "the retimes have too many keys together",
                    found,
                    bounds::MOST_RETIMED,
                    "use fewer keys or fewer retimes",
                )]);
            }
        }
        self.retimes = retimes;
        Ok(self)
    }

    /// The same shot through haze of the same stage, or through none.
    #[must_use]
    pub(crate) fn with_haze(mut self, haze: Option<Haze>) -> Shot {
        self.haze = haze;
        self
    }

    /// The haze that it is photographed through.
    #[must_use]
    pub(crate) fn haze(&self) -> Option<&Haze> {
        self.haze.as_ref()
    }

    /// Retimes in the order of the file: the first is nearest to film.
    #[must_use]
    pub(crate) fn retimes(&self) -> &[Retime] {
        &self.retimes
    }

    /// The same shot with other passes: how advice is tried.
    ///
    /// # Errors
    /// As [`Shot::new`].
    pub(crate) fn with_passes(&self, stage: &Stage, passes: Vec<Pass>) -> Result<Shot, Vec<Flaw>> {
        let shot = Shot::new(stage, ShotSpec { passes, ..self.spec.clone() })?;
        Ok(Shot { spec: shot.spec, ..self.clone() })
    }

    /// The same choreography over these frames, for one pass alone: cycles and drifts count from where they counted. Limits: the timecode of its first frame is that of
    /// the first frame of the whole.
    ///
    /// # Errors
    /// As [`Shot::new`].
    pub(crate) fn of_frames(&self, stage: &Stage, frames: FrameSpan, pass: Pass) -> Result<Shot, Vec<Flaw>> {
        let shot = Shot::new(stage, ShotSpec { frames, passes: vec![pass], ..self.spec.clone() })?;
        Ok(Shot { spec: shot.spec, cycle_start: Some(self.cycle_start()), ..self.clone() })
    }

    /// Identifies the stage that it was checked against.
    #[must_use]
    pub(crate) fn mark(&self) -> Mark {
        self.mark
    }

    /// The same shot with a signal of the caller's own on a channel: it adds to the channel's other layers, and copies hand it on.
    ///
    /// # Errors
    /// A channel of another stage, or one that an aim drives.
    pub(crate) fn with_signal(mut self, channel: ChannelId, signal: Arc<dyn Signal>) -> Result<Shot, Flaw> {
        if channel.mark() != self.mark {
            return Err(
                Flaw::new(Code::OtherStage, "channel", "the channel belongs to another stage").help("take it from the shot's stage")
            );
        }
        if self.aims.iter().any(|a| a.channels().contains(&channel)) {
            return Err(Flaw::new(Code::DrivenTwice, "channel", "the channel is aimed").help("aim, or drive it by a signal, not both"));
        }
        if self.focuses.iter().any(|f| f.channel() == channel) {
            return Err(
                Flaw::new(Code::DrivenTwice, "channel", "the channel follows focus").help("focus, or drive it by a signal, not both")
            );
        }
        self.own_signals.push((channel, signal));
        Ok(self)
    }

    /// Signals of the caller's own, with their channels.
    #[must_use]
    pub(crate) fn own_signals(&self) -> &[(ChannelId, Arc<dyn Signal>)] {
        &self.own_signals
    }

    /// Aims.
    #[must_use]
    pub(crate) fn aims(&self) -> &[Aim] {
        &self.aims
    }

    /// The same shot with its lights.
    ///
    /// # Errors
    /// A pass whose light does not exist; each flaw has the pass's place in the list as its index.
    pub(crate) fn with_lighting(mut self, lighting: light::Lighting) -> Result<Shot, Vec<Flaw>> {
        let mut flaws = Vec::new();
        for (i, pass) in self.passes().iter().enumerate() {
            let several = lighting.lights.len() > 1;
            if lighting.of(pass.light()).is_some() || (pass.light().is_none() && !several) {
                continue;
            }
            let known: Vec<&str> = lighting.lights.iter().map(|l| l.name.as_str()).collect();
            let title = format!("the light of pass `{}` is unknown", pass.name());
            let found = pass.light().map_or("no `light`".to_owned(), |name| format!("`{name}`"));
            let allowed = if known.is_empty() { "a light under [light.NAME]".to_owned() } else { format!("one of {}", known.join(", ")) };
            flaws.push(Flaw::new(Code::UnknownLight, "pass", title).at_index(i).found(found, allowed));
        }
        self.lighting = lighting;
        if flaws.is_empty() { Ok(self) } else { Err(flaws) }
    }

    /// Lights and depth of field.
    #[must_use]
    pub(crate) fn lighting(&self) -> &light::Lighting {
        &self.lighting
    }

    /// Focuses.
    #[must_use]
    pub(crate) fn focuses(&self) -> &[Focus] {
        &self.focuses
    }

    /// The choreography frame from which cycles and drifts count: the one written, or the first photographed frame.
    #[must_use]
    pub(crate) fn cycle_start(&self) -> f64 {
        self.cycle_start.unwrap_or_else(|| whole::real(self.spec.frames.first()))
    }

    /// The choreography frame from which cycles and drifts count, where it is written.
    #[must_use]
    pub(crate) fn written_cycle_start(&self) -> Option<f64> {
        self.cycle_start
    }

    /// Display name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.spec.name
    }

    /// Frames a second at projection.
    #[must_use]
    pub fn frame_rate(&self) -> FrameRate {
        self.spec.frame_rate
    }

    /// First and last photographed frame.
    #[must_use]
    pub fn frames(&self) -> FrameSpan {
        self.spec.frames
    }

    /// Timecode of the first frame.
    #[must_use]
    pub fn timecode_start(&self) -> Timecode {
        self.spec.timecode_start
    }

    /// Recordings.
    #[must_use]
    pub(crate) fn recordings(&self) -> &[Recording] {
        &self.recordings
    }

    /// Keyed tracks.
    #[must_use]
    pub(crate) fn tracks(&self) -> &[Track] {
        &self.spec.tracks
    }

    /// Beats that repeat.
    #[must_use]
    pub(crate) fn cycles(&self) -> &[Cycle] {
        &self.spec.cycles
    }

    /// Slow wandering.
    #[must_use]
    pub(crate) fn drifts(&self) -> &[Drift] {
        &self.spec.drifts
    }

    /// Programs handed on.
    #[must_use]
    pub(crate) fn copies(&self) -> &[Copy] {
        &self.spec.copies
    }

    /// Passes, at least one.
    #[must_use]
    pub fn passes(&self) -> &[Pass] {
        &self.spec.passes
    }

    /// The same shot with another delay of one copy: how advice is tried.
    ///
    /// # Errors
    /// A delay out of range.
    pub(crate) fn with_copy_delay(&self, index: usize, delay: f64) -> Result<Shot, Flaw> {
        let delay = bounds::DELAY.check("delay", delay)?;
        let mut shot = self.clone();
        if let Some(slot) = shot.spec.copies.get_mut(index) {
            *slot = slot.delayed(delay);
        }
        Ok(shot)
    }

    /// The same shot with one track replaced: how advice is tried.
    #[must_use]
    pub(crate) fn with_track(&self, index: usize, track: Track) -> Shot {
        let mut shot = self.clone();
        if let Some(slot) = shot.spec.tracks.get_mut(index) {
            *slot = track;
        }
        shot
    }
}

/// Layers, copies and passes that were made for another stage.
fn foreign(stage: &Stage, spec: &ShotSpec) -> Vec<Flaw> {
    let mark = stage.mark();
    let layers = spec.tracks.iter().map(|t| t.channel()).chain(spec.cycles.iter().map(|c| c.channel()));
    let channels = layers.chain(spec.drifts.iter().map(|d| d.channel())).map(ChannelId::mark);
    let groups = spec.copies.iter().flat_map(|c| [c.from(), c.to()]).chain(spec.passes.iter().flat_map(|p| p.park().iter().copied()));
    let strangers = channels.chain(groups.map(GroupId::mark)).filter(|m| *m != mark).count();
    let flaw = || {
        Flaw::new(Code::OtherStage, "stage", "the shot names channels or groups of another stage")
            .found(format!("{strangers} of another stage"), "channels and groups taken from this stage")
    };
    (strangers > 0).then(flaw).into_iter().collect()
}
