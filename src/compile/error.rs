//! Why a shot has no curves: one error for each cause, with the axes it concerns and where the cause is written.

use super::Counts;
use super::fit::FitError;
use crate::bounds::{Code, Flaw};
use crate::mechanism::OutOfReach;
use crate::shot::{Place, Shot};
use crate::signal::{CannotFit, Layers, NoPlace, SignalError, SourceKind, Sources};
use crate::stage::{AxisId, ChannelId, Driver, GroupId, Stage};

/// Why a shot could not be compiled.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(crate) enum CompileError {
    /// The shot was checked against another stage.
    #[error("the shot belongs to another stage")]
    OtherStage,
    /// More axes x frames x passes than are computed without being asked for.
    #[error("the shot has {counts}; at most {most} are computed")]
    TooLarge {
        /// Its size.
        counts: Counts,
        /// What is allowed.
        most: u64,
    },
    /// More exposures of held passes than are kept in memory without being asked for.
    #[error("{frames} frames x {held} held passes; at most {most} are computed")]
    TooManyStations {
        /// Frames.
        frames: u64,
        /// Held passes.
        held: u64,
        /// What is allowed.
        most: u64,
    },
    /// More pairs to keep apart, in all passes together, than are computed without being asked for.
    #[error("{pairs} pairs of envelopes and obstacles x {passes} passes; at most {most} are computed")]
    TooManyPairs {
        /// Pairs.
        pairs: u64,
        /// Passes.
        passes: u64,
        /// What is allowed.
        most: u64,
    },
    /// A layer cannot be formed.
    #[error("channel `{channel}`: {error}")]
    Layer {
        /// Full name of the channel.
        channel: String,
        /// Where it is written.
        place: Option<Place>,
        /// What went wrong.
        error: SignalError,
    },
    /// A hanging figure whose pendulum has no length somewhere.
    #[error("the pendulum of `{group}` has a length of {length:.3} mm at frame {frame:.2}")]
    NoLength {
        /// Its group.
        group: String,
        /// The channel that changes its length.
        channel: String,
        /// The shortest length, mm.
        length: f64,
        /// Where.
        frame: f64,
        /// The key before it.
        place: Option<Place>,
    },
    /// Axes have no curve, all for one cause.
    #[error("{who}: {error}")]
    Axes {
        /// The axis, or the mechanism or aim with its axes, in words.
        who: String,
        /// Full names of the axes.
        axes: Vec<String>,
        /// Where to look: the key before the instant, or the table of the aim.
        place: Option<Place>,
        /// What went wrong.
        error: FitError,
        /// An axis that it follows and that is outside its travel there: the cause.
        blame: Option<Blame>,
    },
}

/// An axis that leaves its travel, and that another follows which has no place somewhere.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("`{axis}`, which it follows, reaches {position:.3} {unit} at frame {at:.2}, outside its travel of {lower} to {upper} {unit}")]
pub(crate) struct Blame {
    /// Its full name.
    pub(super) axis: String,
    /// Where it is farthest outside.
    pub(super) position: f64,
    /// The frame of that.
    pub(super) at: f64,
    /// `mm` or `deg`.
    pub(super) unit: &'static str,
    /// Lower end of its travel.
    pub(super) lower: f64,
    /// Upper end.
    pub(super) upper: f64,
    /// The key before.
    pub(super) place: Option<Place>,
}

impl CompileError {
    /// The error of a layer of `channel`.
    pub(super) fn layer(stage: &Stage, shot: &Shot, channel: ChannelId, error: SignalError) -> CompileError {
        let place = key_before(&Sources::of(stage, shot), shot, &[channel], f64::INFINITY);
        CompileError::Layer { channel: stage.channel_name(channel).to_owned(), place, error }
    }

    /// The error of a pendulum that is too short, with its shortest length and the frame of that.
    pub(super) fn no_length(
        (stage, shot, layers): (&Stage, &Shot, &Layers),
        group: GroupId,
        channel: ChannelId,
        (length, frame): (f64, f64),
    ) -> CompileError {
        let at = layers.time_of_channel(stage, channel).map_or(frame, |time| time.choreography(frame));
        let place = key_before(&Sources::of(stage, shot), shot, &[channel], at);
        let (group, channel) = (stage.group_name(group).to_owned(), stage.channel_name(channel).to_owned());
        CompileError::NoLength { group, channel, length, frame, place }
    }

    /// The error of one axis.
    pub(super) fn axis(stage: &Stage, shot: &Shot, layers: &Layers, axis: AxisId, error: FitError) -> CompileError {
        let sources = layers.sources(stage, shot);
        let time = layers.time_of_channels(stage, &stage.channels_of(axis));
        // Keys stand in choreography time; an error about no instant has none.
        let at = time.filter(|_| error.at().is_finite()).map_or(error.at(), |time| time.choreography(error.at()));
        let name = stage.axis_name(axis).to_owned();
        let aim = shot.aims().iter().find(|a| a.which(stage, axis).is_some());
        if let Some(focus) = shot.focuses().iter().find(|f| f.moves(stage, axis)) {
            let at = if error.at().is_finite() {
                layers.time_of(focus.camera()).map_or(error.at(), |time| time.choreography(error.at()))
            } else {
                f64::NAN
            };
            let who = format!("the focus of `{}`", stage.group_name(focus.camera()));
            let place = if at.is_finite() { focus.place_at(at) } else { focus.place() };
            return CompileError::Axes { who, axes: vec![name], place: Some(place), error, blame: None };
        }
        let (who, place) = match (stage.driver(axis), aim) {
            (_, Some(aim)) => (format!("the aim of `{}`", stage.group_name(aim.camera())), Some(aim.place())),
            (Driver::Machine(machine, _), None) => {
                let channels: Vec<&str> = machine.channels().iter().map(|c| stage.channel_name(*c)).collect();
                let kind = machine.mechanism().kind();
                let names = machine.mechanism().channels();
                let to_blame = out_of_range(&error)
                    .and_then(|quantity| machine.channels().get(names.iter().position(|channel| channel.name == quantity)?));
                let place = to_blame
                    .and_then(|c| key_before(sources, shot, &[*c], at))
                    .or_else(|| key_before(sources, shot, machine.channels(), at));
                (format!("the {kind} that `{}` {}", channels.join("`, `"), if channels.len() == 1 { "drives" } else { "drive" }), place)
            }
            (Driver::Own(channel), None) => (format!("axis `{name}`"), key_before(sources, shot, &[channel], at)),
        };
        CompileError::Axes { who, axes: vec![name], place, error, blame: None }
    }

    /// Where to look, if it is written anywhere.
    #[must_use]
    pub(crate) fn place(&self) -> Option<Place> {
        match self {
            CompileError::OtherStage
            | CompileError::TooLarge { .. }
            | CompileError::TooManyStations { .. }
            | CompileError::TooManyPairs { .. } => None,
            CompileError::Layer { place, .. } | CompileError::NoLength { place, .. } => place.filter(|p| p.line > 0),
            CompileError::Axes { place, blame, .. } => {
                blame.as_ref().and_then(|blame| blame.place).filter(|p| p.line > 0).or(place.filter(|p| p.line > 0))
            }
        }
    }

    /// The same as a flaw: a code, what was found, what to do.
    #[must_use]
    pub(crate) fn flaw(&self) -> Flaw {
        match self {
            CompileError::OtherStage => Flaw::new(Code::OtherStage, "", self.to_string()).help("load the shot together with its stage"),
            CompileError::TooLarge { counts, most } => Flaw::new(Code::BudgetExceeded, "frames", "the shot is too large")
                .found(counts.to_string(), format!("at most {most} counts"))
                .help("check `frames`, split the shot, or add --large if this size is intended"),
            CompileError::TooManyStations { frames, held, most } => {
                Flaw::new(Code::BudgetExceeded, "frames", "the shot has too many held exposures")
                    .found(format!("{frames} frames x {held} held passes"), format!("at most {most}"))
                    .help("check `frames`, split the shot, or add --large if this size is intended")
            }
            CompileError::TooManyPairs { pairs, passes, most } => {
                Flaw::new(Code::BudgetExceeded, "envelope", "the stage has too many pairs to keep apart")
                    .found(format!("{pairs} pairs of envelopes and obstacles x {passes} passes"), format!("at most {most}"))
                    .help("give fewer groups an envelope, remove obstacles or passes, or add --large if this is intended")
            }
            CompileError::Layer { channel, error, .. } => {
                let (code, help) = match error {
                    SignalError::Curve(_) => (Code::NoCurve, "move keys apart, or make their values smaller"),
                    SignalError::Recording(error) => of_recording(error),
                    SignalError::TooManyLayers { .. } | SignalError::TooManyLayersTogether { .. } => {
                        (Code::TooManyPieces, "use fewer copies of copies")
                    }
                    SignalError::TooManyKnots { .. } => {
                        (Code::TooManyPieces, "give cycles and drifts longer periods, or photograph fewer frames")
                    }
                };
                let title = match error {
                    SignalError::Recording(CannotFit::TooCostly { .. }) => format!("channel `{channel}` would take too much work"),
                    _ => format!("channel `{channel}` has no curve"),
                };
                Flaw::new(code, "", title).found(error.to_string(), "").help(help)
            }
            CompileError::NoLength { group, channel, length, frame, .. } => {
                Flaw::new(Code::NoLength, "", format!("the pendulum of `{group}` has no length"))
                    .found(format!("{length:.3} mm at frame {frame:.2}"), "more than 0 mm at every frame")
                    .help(format!("change the keys of `{channel}`, or `length` and `length_per_unit` of the swing"))
            }
            CompileError::Axes { who, axes, error, blame, .. } => {
                let (code, help) = match error {
                    FitError::OutOfReach { error: NoPlace::Aim(_), .. } => {
                        (Code::CannotAim, "move the target or the camera, or widen the travel of the aimed axes")
                    }
                    FitError::OutOfReach { error: NoPlace::Focus(_), .. } => {
                        (Code::CannotFocus, "move the target or the camera, or pull focus to something else")
                    }
                    FitError::OutOfReach { error: NoPlace::LayerChange { .. }, .. } => {
                        (Code::RopeLayer, "keep the move within one layer of rope, or use a drum that holds the rope in one")
                    }
                    FitError::OutOfReach { .. } => (Code::OutOfReach, "change the keys around this frame, or the mechanism's dimensions"),
                    FitError::TooCostly { at, .. } if !(at.abs() < COARSE_TIME) => (
                        Code::BudgetExceeded,
                        "number the frames from near 1: so far from frame 0 the rounding of time alone can cost this; or use larger steps; or add --large if this is intended",
                    ),
                    FitError::TooCostly { .. } => (
                        Code::BudgetExceeded,
                        "check the units of the values around this frame; use fewer layers, longer periods or fewer frames; or add --large if this is intended",
                    ),
                    FitError::Signal(SignalError::TooManyLayers { .. } | SignalError::TooManyLayersTogether { .. }) => {
                        (Code::TooManyPieces, "use fewer copies of copies")
                    }
                    FitError::Signal(SignalError::Recording(error)) => of_recording(error),
                    FitError::Signal(SignalError::TooManyKnots { .. }) => {
                        (Code::TooManyPieces, "give cycles and drifts longer periods, or photograph fewer frames")
                    }
                    FitError::Jump { .. } => (Code::Jump, "join the signal's pieces so that position and velocity are continuous"),
                    FitError::NotFinite { .. } | FitError::Curve(_) | FitError::Signal(SignalError::Curve(_)) => {
                        (Code::NoCurve, "move keys apart, or make their values smaller")
                    }
                };
                let found = if axes.len() > 1 { format!("{error}; axes {}", axes.join(", ")) } else { error.to_string() };
                let title = match error {
                    FitError::TooCostly { .. } => format!("{who} would take too much work"),
                    _ => format!("{who} has no curve"),
                };
                match blame {
                    Some(blame) => {
                        let help = format!("bring `{}` back into its travel first, and look at the rest again then", blame.axis);
                        Flaw::new(code, "", title).found(format!("{found}; {blame}"), "").help(help)
                    }
                    None => Flaw::new(code, "", title).found(found, "").help(help),
                }
            }
        }
    }
}

/// Code and help of a recording that is not followed.
fn of_recording(error: &CannotFit) -> (Code, &'static str) {
    match error {
        CannotFit::TooCostly { .. } => (
            Code::BudgetExceeded,
            "write a larger `within`: below the noise of the samples nearly each of them needs a knot of its own; or use fewer samples; or add --large if this is intended",
        ),
        CannotFit::Malformed | CannotFit::TooClose => (Code::NoCurve, "write a larger `within`"),
    }
}

/// Frame from which the rounding of time, 2^-32 frame and more, is chased by a fit to fine steps.
const COARSE_TIME: f64 = 1_048_576.0;

/// One error for each cause: axes of one mechanism or aim that fail alike become one.
pub(super) fn folded(errors: Vec<CompileError>) -> Vec<CompileError> {
    let mut kept: Vec<CompileError> = Vec::new();
    for error in errors {
        let CompileError::Axes { who, axes, error: why, .. } = &error else {
            if !kept.contains(&error) {
                kept.push(error);
            }
            continue;
        };
        let same = kept.iter_mut().find_map(|k| match k {
            CompileError::Axes { who: w, axes, error: e, .. } if w == who && e.same_cause(why) => Some(axes),
            _ => None,
        });
        match same {
            Some(known) => known.extend(axes.iter().cloned()),
            None => kept.push(error),
        }
    }
    kept
}

/// The quantity of a mechanism that is beyond its range.
fn out_of_range(error: &FitError) -> Option<&'static str> {
    match error {
        FitError::OutOfReach { error: NoPlace::OutOfReach(OutOfReach::Range { quantity, .. }), .. } => Some(quantity),
        _ => None,
    }
}

/// The place of the last key at or before frame `at` among the tracks and cycles that drive the channels; failing that, of their first key.
pub(super) fn key_before(sources: &Sources, shot: &Shot, channels: &[ChannelId], at: f64) -> Option<Place> {
    let sources = channels.iter().filter_map(|c| sources.on(*c).ok()).flatten();
    let mut best: Option<(f64, Place)> = None;
    let mut first = None;
    for source in sources {
        let keys = match source.kind {
            SourceKind::Track => shot.tracks().get(source.index).map(|t| t.keys()),
            SourceKind::Recording => shot.recordings().get(source.index).map(|r| r.samples()),
            SourceKind::Cycle => shot.cycles().get(source.index).map(|c| c.keys()),
            SourceKind::Drift | SourceKind::Own => None,
        };
        for key in keys.into_iter().flatten() {
            first = first.or(Some(key.place));
            let frame = key.frame + source.delay;
            if matches!(source.kind, SourceKind::Track | SourceKind::Recording) && frame <= at && best.is_none_or(|(b, _)| b < frame) {
                best = Some((frame, key.place));
            }
        }
    }
    best.map(|(_, place)| place).or(first)
}
