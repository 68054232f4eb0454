//! The focus distance that keeps targets sharp, as a signal.
//!
//! What: the depth of each target's origin in front of the entrance pupil, over jets, with the film plane's distance added; between two targets 1 / value is mixed with
//! u^3 (10 - 15 u + 6 u^2), u from 0 to 1 between their frames at the choreography time of the camera's group. Channels that an aim turns are those of the aim.
//! Invariant: derivatives are exact; no frame depends on another. What is asked for at any moment lies beyond the focal length, or there is no value.

use super::aimed::Aimed;
use super::channel::ChannelSignal;
use super::knots;
use super::layers::Layers;
use super::retiming::{Retiming, retimed};
use crate::mechanism::Vector;
use crate::mechanism::aim::AimTrouble;
use crate::motion::signal::{Knot, SignalError};
use crate::number::Jet;
use crate::shot::{Focus, Shot, Target};
use crate::stage::{Body, Stage};
use std::sync::Arc;

/// What a focus looks at.
#[derive(Debug, Clone)]
pub(crate) struct Focused<'a> {
    focus: &'a Focus,
    camera: Mover<'a>,
    /// Each target once.
    targets: Vec<(Target, String, Option<Mover<'a>>)>,
    /// For each pull its target's number.
    numbers: Vec<usize>,
    /// Choreography time of the camera's group.
    time: Option<Arc<Retiming>>,
}

/// Why a target cannot be in focus.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(crate) enum FocusTrouble {
    /// It is not beyond the focal length.
    #[error(
        "`{target}` is {found:.3} mm from the film plane along the optical axis; only more than the focal length of {least} mm can be in focus"
    )]
    TooNear {
        /// The target.
        target: String,
        /// Its distance, mm.
        found: f64,
        /// The focal length, mm.
        least: f64,
    },
    /// The camera, or a camera that carries a target, cannot be aimed.
    #[error(transparent)]
    Aim(#[from] AimTrouble),
}

/// A body with what moves it.
#[derive(Debug, Clone)]
struct Mover<'a> {
    body: &'a Body,
    aims: Vec<Aimed<'a>>,
    /// By the number of the body's channel.
    channels: Vec<Driven>,
}

#[derive(Debug, Clone)]
enum Driven {
    Layered(ChannelSignal),
    /// An angle of one of the aims.
    Turned(usize, usize),
}

impl<'a> Mover<'a> {
    fn new(stage: &'a Stage, shot: &'a Shot, layers: &Layers, body: &'a Body) -> Result<Mover<'a>, SignalError> {
        let mut mover = Mover { body, aims: Vec::new(), channels: Vec::new() };
        let mut known: Vec<usize> = Vec::new();
        for channel in body.every_channel() {
            let aim = shot.aims().iter().enumerate().find_map(|(i, a)| Some((i, a, a.channels().iter().position(|c| c == channel)?)));
            let driven = match aim {
                None => Driven::Layered(layers.signal(stage, shot, *channel)?),
                Some((i, aim, which)) => {
                    let place = match known.iter().position(|k| *k == i) {
                        Some(place) => place,
                        None => {
                            mover.aims.push(Aimed::new(stage, shot, layers, aim)?);
                            known.push(i);
                            known.len() - 1
                        }
                    };
                    Driven::Turned(place, which)
                }
            };
            mover.channels.push(driven);
        }
        Ok(mover)
    }

    /// Values of the body's channels.
    fn values(&self, t: f64, branch: f64) -> Result<Vec<Jet>, AimTrouble> {
        let angles: Vec<[Jet; 2]> = self.aims.iter().map(|aim| aim.angles(t, branch)).collect::<Result<_, _>>()?;
        let value = |driven: &Driven| match driven {
            Driven::Layered(signal) => signal.jet(t, branch),
            Driven::Turned(aim, which) => angles.get(*aim).and_then(|a| a.get(*which)).copied().unwrap_or(Jet::constant(f64::NAN)),
        };
        Ok(self.channels.iter().map(value).collect())
    }

    fn is_like(&self, other: &Mover<'_>) -> bool {
        let same = |(a, b): (&Driven, &Driven)| match (a, b) {
            (Driven::Layered(a), Driven::Layered(b)) => a.is_like(b),
            (Driven::Turned(a, i), Driven::Turned(b, j)) => a == b && i == j,
            _ => false,
        };
        let aims = self.aims.len() == other.aims.len() && self.aims.iter().zip(&other.aims).all(|(a, b)| a.is_like(b));
        aims && self.channels.len() == other.channels.len() && self.channels.iter().zip(&other.channels).all(same)
    }

    fn layered(&self) -> impl Iterator<Item = &ChannelSignal> {
        self.channels.iter().filter_map(|c| match c {
            Driven::Layered(signal) => Some(signal),
            Driven::Turned(..) => None,
        })
    }

    fn cost(&self) -> usize {
        self.layered().map(ChannelSignal::cost).sum::<usize>()
            + self.aims.iter().map(Aimed::cost).sum::<usize>()
            + self.body.joints_to(None) / 2
    }
}

impl<'a> Focused<'a> {
    /// The focus with the signals of every channel it hangs on.
    ///
    /// # Errors
    /// Layers that cannot be formed.
    pub(crate) fn new(stage: &'a Stage, shot: &'a Shot, layers: &Layers, focus: &'a Focus) -> Result<Focused<'a>, SignalError> {
        let nothing = || SignalError::Curve(crate::motion::curve::CurveError::Empty);
        let camera = Mover::new(stage, shot, layers, stage.body_of(focus.camera()).ok_or_else(nothing)?)?;
        let mut targets: Vec<(Target, String, Option<Mover<'a>>)> = Vec::new();
        let mut numbers = Vec::new();
        for pull in focus.pulls() {
            let number = match targets.iter().position(|(known, ..)| *known == pull.target) {
                Some(number) => number,
                None => {
                    let body = pull.target.at.map(|group| stage.body_of(group).ok_or_else(nothing)).transpose()?;
                    let mover = body.map(|body| Mover::new(stage, shot, layers, body)).transpose()?;
                    targets.push((pull.target, pull.target.name(stage), mover));
                    targets.len() - 1
                }
            };
            numbers.push(number);
        }
        Ok(Focused { focus, camera, targets, numbers, time: layers.time_of(focus.camera()) })
    }

    /// True where both follow alike and everything they hang on is the very same.
    #[must_use]
    pub(super) fn is_like(&self, other: &Focused<'_>) -> bool {
        let time = self.time.as_ref().map(Arc::as_ptr) == other.time.as_ref().map(Arc::as_ptr);
        let (mine, theirs): (Vec<_>, Vec<_>) = (self.movers().collect(), other.movers().collect());
        time && self.focus.is_like(other.focus) && mine.len() == theirs.len() && mine.iter().zip(theirs).all(|(a, b)| a.is_like(b))
    }

    /// The channel's value at `t`, by the formulas that hold at `branch`.
    ///
    /// # Errors
    /// A target that cannot be in focus.
    pub(crate) fn value(&self, t: f64, branch: f64) -> Result<Jet, FocusTrouble> {
        let (at, within) = self.time.as_ref().map_or((Jet::time(t), branch), |time| time.time(t, branch));
        let pulls = self.focus.pulls();
        let next = pulls.partition_point(|p| p.frame <= within);
        let camera = self.camera.values(t, branch)?;
        let of = |pull: usize| self.numbers.get(pull).copied();
        let (before, after) = (next.checked_sub(1).and_then(of), of(next));
        let distance = |target: usize| self.distance(target, &camera, t, branch);
        match (before, after) {
            (Some(a), Some(b)) if a != b => {
                let (from, to) = (pulls.get(next - 1).map_or(f64::NAN, |p| p.frame), pulls.get(next).map_or(f64::NAN, |p| p.frame));
                let u = (Jet::time(at.p) - from) / (to - from);
                let weight = retimed(at, u * u * u * (10.0 - u * (15.0 - u * 6.0)));
                let (near, far) = (distance(a)?.recip(), distance(b)?.recip());
                Ok((near + weight * (far - near)).recip())
            }
            (Some(only), _) | (None, Some(only)) => distance(only),
            (None, None) => Ok(Jet::constant(f64::NAN)),
        }
    }

    /// A target's distance from the film plane along the optical axis.
    fn distance(&self, target: usize, camera: &[Jet], t: f64, branch: f64) -> Result<Jet, FocusTrouble> {
        let nothing = Jet::constant(f64::NAN);
        let Some((what, name, mover)) = self.targets.get(target) else { return Ok(nothing) };
        let origin = match mover {
            None => Vector::constant(Vector::from(what.from)),
            Some(mover) => {
                let values = mover.values(t, branch)?;
                let none = Vector::constant(Vector::new(0.0, 0.0, 0.0));
                mover.body.out_of(what.limb, &|i| values.get(i).copied().unwrap_or(nothing), none)
            }
        };
        let pose = self.camera.body.chain().pose(|i| camera.get(i).copied().unwrap_or(nothing));
        let seen = pose.turn.inward(origin - pose.position);
        let value = Jet::constant(self.focus.film_plane()) - seen.z;
        let least = self.focus.focal_length();
        if !(value.p > least) {
            return Err(FocusTrouble::TooNear { target: name.clone(), found: value.p, least });
        }
        Ok(value)
    }

    /// What one evaluation costs, in layers.
    pub(super) fn cost(&self) -> usize {
        // Two targets at a time, the dearest.
        let dearest = self.targets.iter().filter_map(|(.., mover)| mover.as_ref().map(Mover::cost)).max().unwrap_or(0);
        self.camera.cost() + 2 * dearest + 2
    }

    /// What a span costs however many of its places are asked: see [`super::AxisSignal::span_cost`].
    pub(super) fn span_cost(&self, from: f64, to: f64) -> usize {
        let of = |mover: &Mover<'_>| {
            let layers = mover.layered().fold(0_usize, |sum, s| s.span_cost(from, to).saturating_add(sum));
            mover.aims.iter().fold(layers, |sum, a| a.span_cost(from, to).saturating_add(sum))
        };
        self.movers().fold(0, |sum, mover| of(mover).saturating_add(sum))
    }

    /// Knots of everything it hangs on, around a span: see [`super::AxisSignal::knots_around`].
    ///
    /// # Errors
    /// More beats than can be meant.
    pub(super) fn knots_around(&self, from: f64, to: f64) -> Result<Vec<Knot>, SignalError> {
        let mut all = Vec::new();
        for mover in self.movers() {
            for signal in mover.layered() {
                signal.add_knots(from, to, &mut all)?;
            }
            for aim in &mover.aims {
                all.extend(aim.knots_around(from, to)?);
            }
        }
        let plain = |at| Knot { at, key: false, is_break: false };
        let frames = self.focus.pulls().iter().map(|p| p.frame);
        match &self.time {
            None => all.extend(frames.map(plain)),
            Some(time) => {
                all.extend(frames.filter_map(|frame| time.film(frame)).map(plain));
                all.extend(time.edges_around(from, to).map(plain));
            }
        }
        Ok(knots::around(all, from, to))
    }

    fn movers(&self) -> impl Iterator<Item = &Mover<'a>> {
        core::iter::once(&self.camera).chain(self.targets.iter().filter_map(|(.., mover)| mover.as_ref()))
    }

    /// What its camera is focused on at a value that is not beyond the focal length; `None` for any other.
    pub(super) fn too_near(&self, value: f64) -> Option<FocusTrouble> {
        let least = self.focus.focal_length();
        let target = || self.targets.iter().map(|(_, name, _)| name.as_str()).collect::<Vec<_>>().join("`, `");
        (!(value > least)).then(|| FocusTrouble::TooNear { target: target(), found: value, least })
    }
}
