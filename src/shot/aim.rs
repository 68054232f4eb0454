//! Aim: a point that two turning channels of a camera keep in the middle of the picture.
//!
//! Invariant: the camera has a lens; each of the two channels turns exactly one joint of its chain and is an axis of its own; nothing else drives them; the target
//! does not hang on them. Only a target on a body is smoothed, or looked at without some of its channels.

use super::layer::{Key, Place};
use crate::bounds::{self, Code, Flaw};
use crate::mechanism::Aim as Solver;
use crate::stage::{AxisId, Body, ChannelId, GroupId, Stage};

/// Where the target is, from the body it belongs to or from the stage's origin. Unit: mm.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Offset {
    /// A fixed place.
    Fixed([f64; 3]),
    /// Keys of x, y and z: each a monotone curve.
    Keyed([Vec<Key>; 3]),
}

/// What an aim is made from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct AimSpec {
    /// The camera's group.
    pub camera: GroupId,
    /// The two channels.
    pub channels: [ChannelId; 2],
    /// Group whose body or limb carries the target; `None`: a point of the stage.
    pub at: Option<GroupId>,
    /// The limb that carries it, by its number; `None`: the body.
    pub limb: Option<usize>,
    /// For a target on the stage, the point from which the offset counts.
    pub from: [f64; 3],
    /// Where on it.
    pub offset: Offset,
    /// Frames over which the target's motion is smoothed; `None`: not at all.
    pub smooth: Option<f64>,
    /// Channels of the target's group that count as at home.
    pub without: Vec<ChannelId>,
    /// Where it was written.
    pub place: Place,
}

/// A checked aim.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Aim {
    spec: AimSpec,
    solver: Solver,
}

impl Aim {
    /// Checks an aim against the stage.
    ///
    /// # Errors
    /// Every flaw: a camera or target without a body, channels that do not turn the camera, keys out of order.
    pub(crate) fn new(stage: &Stage, spec: AimSpec) -> Result<Aim, Vec<Flaw>> {
        let mut flaws = Vec::new();
        if let Offset::Keyed(keys) = &spec.offset {
            for list in keys {
                flaws.extend(super::layer::check_keys("offset_keys", list, bounds::POSITION));
            }
        }
        if let Offset::Fixed(at) = spec.offset {
            for (i, x) in at.into_iter().enumerate() {
                flaws.extend(bounds::POSITION.check("offset", x).err().map(|f| f.at_index(i)));
            }
        }
        flaws.extend(spec.smooth.and_then(|frames| bounds::SMOOTH.check("smooth", frames).err()));
        for (key, given) in [("smooth", spec.smooth.is_some()), ("without", !spec.without.is_empty())] {
            if given && spec.at.is_none() {
                let flaw = Flaw::new(Code::KeyDoesNotApply, key, format!("a fixed point of the stage has no motion for `{key}`"));
                flaws.push(flaw.found(format!("`{key}` without `at`"), format!("`{key}` beside `at` only")));
            }
        }
        if let Some(group) = spec.at
            && stage.body_of(group).is_none()
        {
            let flaw = Flaw::new(Code::MissingBody, "at", "the target has no place on the stage");
            flaws.push(flaw.help("give its group joints, or aim at a point of the stage"));
        }
        let Some(camera) = stage.body_of(spec.camera).filter(|b| b.lens().is_some()) else {
            let flaw = Flaw::new(Code::MissingLens, "camera", "the camera has no lens on the stage");
            flaws.push(flaw.help("give its group joints and a [group.lens]"));
            return Err(flaws);
        };
        let places: Vec<Option<usize>> = spec.channels.iter().map(|c| camera.channels().iter().position(|own| own == c)).collect();
        let ranges: Vec<[f64; 2]> =
            spec.channels.iter().filter_map(|c| stage.own_axis(*c)).map(|a| stage.axis(a).travel()).map(|t| [t.lower, t.upper]).collect();
        for c in &spec.channels {
            if stage.own_axis(*c).is_none() {
                let title = format!("`{}` is no axis of its own", stage.channel_name(*c));
                flaws.push(Flaw::new(Code::UnsuitableAimChannel, "channels", title).help("aim with channels that turn an axis directly"));
            }
            if spec.at.and_then(|g| stage.body_of(g)).is_some_and(|b| carries(b, spec.limb).contains(c)) {
                let title = format!("the target moves with `{}`", stage.channel_name(*c));
                flaws.push(Flaw::new(Code::TargetMovesWithCamera, "at", title).help("aim at something the camera does not carry"));
            }
        }
        match (places.as_slice(), ranges.as_slice()) {
            ([Some(a), Some(b)], [r, s]) => match Solver::new(camera.chain(), [*a, *b], [*r, *s]) {
                Ok(solver) if flaws.is_empty() => Ok(Aim { spec, solver }),
                Ok(_) => Err(flaws),
                Err(more) => {
                    flaws.extend(more.into_iter().map(|f| Flaw { field: "channels".to_owned(), index: None, ..f }));
                    Err(flaws)
                }
            },
            _ => {
                let flaw = Flaw::new(Code::UnsuitableAimChannel, "channels", "the channels do not turn the camera");
                flaws.push(flaw.help("name two channels of turning joints of the camera's own chain"));
                Err(flaws)
            }
        }
    }

    /// Where it was written.
    #[must_use]
    pub(crate) fn place(&self) -> Place {
        self.spec.place
    }

    /// The camera's group.
    #[must_use]
    pub(crate) fn camera(&self) -> GroupId {
        self.spec.camera
    }

    /// The groups it depends on: the camera's, and the target's where the target is on a body.
    pub(crate) fn groups(&self) -> Vec<GroupId> {
        core::iter::once(self.spec.camera).chain(self.spec.at).collect()
    }

    /// The two channels it drives.
    #[must_use]
    pub(crate) fn channels(&self) -> [ChannelId; 2] {
        self.spec.channels
    }

    /// True where both do the same, wherever they were written.
    #[must_use]
    pub(crate) fn is_like(&self, other: &Aim) -> bool {
        AimSpec { place: other.spec.place, ..self.spec.clone() } == other.spec
    }

    /// Which of its two angles is this axis; `None` for an axis that it does not turn.
    #[must_use]
    pub(crate) fn which(&self, stage: &Stage, axis: AxisId) -> Option<usize> {
        self.spec.channels.iter().position(|c| stage.own_axis(*c) == Some(axis))
    }

    /// Group whose body carries the target.
    #[must_use]
    pub(crate) fn at(&self) -> Option<GroupId> {
        self.spec.at
    }

    /// The limb that carries it, by its number.
    #[must_use]
    pub(crate) fn limb(&self) -> Option<usize> {
        self.spec.limb
    }

    /// For a target on the stage, the point from which the offset counts.
    #[must_use]
    pub(crate) fn from(&self) -> [f64; 3] {
        self.spec.from
    }

    /// Where on it.
    #[must_use]
    pub(crate) fn offset(&self) -> &Offset {
        &self.spec.offset
    }

    /// Frames over which the target's motion is smoothed.
    #[must_use]
    pub(crate) fn smooth(&self) -> Option<f64> {
        self.spec.smooth
    }

    /// Channels of the target that count as at home.
    #[must_use]
    pub(crate) fn without(&self) -> &[ChannelId] {
        &self.spec.without
    }

    /// What finds the angles.
    #[must_use]
    pub(crate) fn solver(&self) -> &Solver {
        &self.solver
    }
}

/// The channels that move a limb or a body.
fn carries(body: &Body, limb: Option<usize>) -> Vec<ChannelId> {
    body.channels_to(limb).into_iter().filter_map(|i| body.every_channel().get(i).copied()).collect()
}
