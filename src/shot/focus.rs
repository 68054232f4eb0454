//! Focus: a distance channel that follows targets and pulls from one to the next.
//!
//! What: the value is the depth of the target's origin from the entrance pupil along the optical axis, plus the distance from the pupil back to the film plane. Between two
//! different targets 1 / value is mixed with u^3 (10 - 15 u + 6 u^2); before the first and after the last that target is followed.
//! Invariant: the camera has a lens with its film plane; the channel is in mm, moves neither the camera nor a target, and is an axis of its own or the only channel of a
//! mechanism; frames rise.

use super::layer::{Key, Place, check_keys};
use super::target::Target;
use crate::bounds::{self, Code, Flaw};
use crate::stage::{AxisId, ChannelId, GroupId, Stage, Unit};

/// What a focus is made from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FocusSpec {
    /// The camera's group.
    pub camera: GroupId,
    /// The distance channel.
    pub channel: ChannelId,
    /// Frames and targets, in rising order.
    pub pulls: Vec<Pull>,
    /// Where it was written.
    pub place: Place,
}

/// A target from a frame on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pull {
    /// Choreography frame of the camera's group.
    pub frame: f64,
    /// What is in focus there.
    pub target: Target,
    /// Where it was written.
    pub place: Place,
}

/// A checked focus.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Focus {
    spec: FocusSpec,
    film_plane: f64,
    focal_length: f64,
}

impl Focus {
    /// Checks a focus against the stage.
    ///
    /// # Errors
    /// Every flaw: a camera without a lens or film plane, a channel that is no distance or moves what it is measured between, targets without a place, frames out of order.
    pub(crate) fn new(stage: &Stage, spec: FocusSpec) -> Result<Focus, Vec<Flaw>> {
        let mut flaws = Vec::new();
        let keys: Vec<Key> = spec.pulls.iter().map(|p| Key { frame: p.frame, value: 0.0, place: p.place }).collect();
        flaws.extend(check_keys("pulls", &keys, bounds::POSITION));
        if keys.len() > bounds::MOST_PULLS {
            let flaw = Flaw::new(Code::TooMany, "pulls", "a focus has too many pulls");
            flaws.push(flaw.found(format!("{} pulls", keys.len()), format!("at most {}", bounds::MOST_PULLS)));
        }
        flaws.extend(spec.pulls.iter().enumerate().filter_map(|(i, p)| p.target.flaw(stage, "pulls").map(|f| f.at_index(i))));
        let name = stage.channel_name(spec.channel);
        let unsuitable = |title: String, found: &str| Flaw::new(Code::UnsuitableFocusChannel, "channel", title).found(found, FITS);
        if stage.channel_unit(spec.channel) != Unit::Millimetre.symbol() {
            flaws.push(unsuitable(format!("`{name}` is no distance"), "a channel in deg"));
        }
        if stage.axes_of(spec.channel).iter().any(|axis| stage.channels_of(*axis).len() != 1) {
            flaws.push(unsuitable(format!("`{name}` shares its mechanism with other channels"), "a channel of a mechanism of several"));
        }
        let camera = stage.body_of(spec.camera).and_then(|b| Some((b, b.lens()?)));
        let moves = camera.is_some_and(|(b, _)| b.every_channel().contains(&spec.channel))
            || spec.pulls.iter().any(|p| p.target.moved_by(stage).contains(&spec.channel));
        if moves {
            flaws.push(unsuitable(format!("`{name}` moves the camera or a target"), "a channel of a joint"));
        }
        let film_plane = camera.and_then(|(_, lens)| lens.optics().film_plane);
        match (camera, film_plane) {
            (Some((_, lens)), Some(film_plane)) if flaws.is_empty() => {
                let focal_length = lens.focal_length();
                return Ok(Focus { spec, film_plane, focal_length });
            }
            (None, _) => {
                let flaw = Flaw::new(Code::MissingLens, "camera", "the camera has no lens on the stage");
                flaws.push(flaw.help("give its group joints and a [group.lens]"));
            }
            (Some(_), None) => {
                let flaw = Flaw::new(Code::MissingFilmPlane, "camera", "the film plane of the camera is unknown");
                flaws.push(flaw.found("a lens without `film_plane`", "`film_plane` in the camera's [group.lens], mm"));
            }
            (Some(_), Some(_)) => {}
        }
        Err(flaws)
    }

    /// Where it was written.
    #[must_use]
    pub(crate) fn place(&self) -> Place {
        self.spec.place
    }

    /// True where both do the same, wherever they were written.
    #[must_use]
    pub(crate) fn is_like(&self, other: &Focus) -> bool {
        let place = Place::default();
        let bare = |focus: &Focus| {
            let pulls: Vec<Pull> = focus.spec.pulls.iter().map(|p| Pull { place, ..*p }).collect();
            Focus { spec: FocusSpec { pulls, place, ..focus.spec.clone() }, ..*focus }
        };
        bare(self) == bare(other)
    }

    /// Where the pull at or before a choreography frame was written.
    #[must_use]
    pub(crate) fn place_at(&self, frame: f64) -> Place {
        self.spec.pulls.iter().rev().find(|p| p.frame <= frame).or(self.spec.pulls.first()).map_or(self.spec.place, |p| p.place)
    }

    /// The camera's group.
    #[must_use]
    pub(crate) fn camera(&self) -> GroupId {
        self.spec.camera
    }

    /// The channel it drives.
    #[must_use]
    pub(crate) fn channel(&self) -> ChannelId {
        self.spec.channel
    }

    /// True for the axis that it moves.
    #[must_use]
    pub(crate) fn moves(&self, stage: &Stage, axis: AxisId) -> bool {
        stage.axes_of(self.spec.channel).contains(&axis)
    }

    /// The groups it depends on: the camera's and the targets'.
    pub(crate) fn groups(&self) -> Vec<GroupId> {
        core::iter::once(self.spec.camera).chain(self.spec.pulls.iter().filter_map(|p| p.target.at)).collect()
    }

    /// Frames and targets, in rising order; at least one.
    #[must_use]
    pub(crate) fn pulls(&self) -> &[Pull] {
        &self.spec.pulls
    }

    /// From the entrance pupil back to the film plane, mm.
    #[must_use]
    pub(crate) fn film_plane(&self) -> f64 {
        self.film_plane
    }

    /// Focal length of the lens, mm: nothing nearer than that is ever in focus.
    #[must_use]
    pub(crate) fn focal_length(&self) -> f64 {
        self.focal_length
    }
}

/// What a channel of a focus must be.
const FITS: &str = "a channel in mm that moves neither camera nor target: an axis of its own, or the only channel of a mechanism";
