//! The two angles that keep a point in the middle of the picture, as signals.
//!
//! Invariant: solved anew at every instant from the rest positions of the two axes, so that no frame depends on another and every order of asking gives
//! the same bits. Derivatives are exact by implicit differentiation over jets.

use super::channel::ChannelSignal;
use super::keyed::KeyedCurve;
use super::layers::Layers;
use super::{knots, monotone};
use crate::mechanism::aim::AimTrouble;
use crate::mechanism::{Chain, Vector};
use crate::motion::signal::{Knot, SignalError};
use crate::number::Jet;
use crate::shot::{Aim, Shot, aim::Offset};
use crate::stage::{Body, ChannelId, Stage};

/// Everything an aim looks at.
#[derive(Debug, Clone)]
pub(crate) struct Aimed<'a> {
    aim: &'a Aim,
    camera: &'a Chain,
    camera_channels: Vec<ChannelSignal>,
    target: Option<Target<'a>>,
    offset: [Part; 3],
    guess: [f64; 2],
}

/// What the search of two angles costs, in layers: measured on the demo's camera.
const SEARCH: usize = 60;

/// The body or limb that carries the target.
#[derive(Debug, Clone)]
struct Target<'a> {
    body: &'a Body,
    limb: Option<usize>,
    /// By the number of the body's channel; none of those that do not move it.
    signals: Vec<Option<ChannelSignal>>,
}

/// One coordinate of the offset.
#[derive(Debug, Clone)]
enum Part {
    Fixed(f64),
    Keyed(KeyedCurve),
}

impl<'a> Aimed<'a> {
    /// The aim with the signals of every channel it hangs on.
    ///
    /// # Errors
    /// Layers that cannot be formed.
    pub(crate) fn new(stage: &'a Stage, shot: &'a Shot, layers: &Layers, aim: &'a Aim) -> Result<Aimed<'a>, SignalError> {
        let signals = |body: &Body| -> Result<Vec<ChannelSignal>, SignalError> {
            body.channels().iter().map(|c| layers.signal(stage, shot, *c)).collect()
        };
        let nothing = || SignalError::Curve(crate::motion::curve::CurveError::Empty);
        let camera = stage.body_of(aim.camera()).ok_or_else(nothing)?;
        let target = match aim.at().and_then(|g| stage.body_of(g)) {
            Some(body) => {
                let way = body.channels_to(aim.limb());
                let signal = |(i, c): (usize, &ChannelId)| way.contains(&i).then(|| layers.signal(stage, shot, *c)).transpose();
                let signals = body.every_channel().iter().enumerate().map(signal).collect::<Result<_, _>>()?;
                Some(Target { body, limb: aim.limb(), signals })
            }
            None => None,
        };
        let offset = match aim.offset() {
            Offset::Fixed([x, y, z]) => [Part::Fixed(*x), Part::Fixed(*y), Part::Fixed(*z)],
            Offset::Keyed([x, y, z]) => {
                [Part::Keyed(monotone::through(x)?), Part::Keyed(monotone::through(y)?), Part::Keyed(monotone::through(z)?)]
            }
        };
        let guess = aim.channels().map(|c| stage.channel_rest(c));
        Ok(Aimed { aim, camera: camera.chain(), camera_channels: signals(camera)?, target, offset, guess })
    }

    /// The two angles at `t`, by the formulas that hold at `branch`.
    ///
    /// # Errors
    /// A target that cannot be aimed at.
    pub(crate) fn angles(&self, t: f64, branch: f64) -> Result<[Jet; 2], AimTrouble> {
        let of = |signals: &[ChannelSignal], i: usize| signals.get(i).map_or(Jet::constant(f64::NAN), |s| s.jet(t, branch));
        let [x, y, z] = &self.offset;
        let part = |p: &Part| match p {
            Part::Fixed(x) => Jet::constant(*x),
            Part::Keyed(curve) => curve.jet(t, branch),
        };
        let offset = Vector { x: part(x), y: part(y), z: part(z) };
        let target = match &self.target {
            Some(Target { body, limb, signals }) => {
                // Each channel once, however many limbs it turns.
                let nothing = Jet::constant(f64::NAN);
                let values: Vec<Jet> = signals.iter().map(|s| s.as_ref().map_or(nothing, |s| s.jet(t, branch))).collect();
                body.pose_of(*limb, &|i| values.get(i).copied().unwrap_or(nothing)).out(offset)
            }
            None => offset + Vector::constant(Vector::from(self.aim.from())),
        };
        self.aim.solver().solve(self.camera, |i| of(&self.camera_channels, i), target, self.guess)
    }

    /// What one evaluation costs, in layers: every channel, and a search of the angles.
    pub(super) fn cost(&self) -> usize {
        let target = self.target.iter().flat_map(|t| t.signals.iter().flatten());
        SEARCH + self.camera_channels.iter().chain(target).map(ChannelSignal::cost).sum::<usize>()
    }

    /// What a span costs however many of its places are asked: see [`super::AxisSignal::span_cost`].
    pub(super) fn span_cost(&self, from: f64, to: f64) -> usize {
        let target = self.target.iter().flat_map(|t| t.signals.iter().flatten());
        self.camera_channels.iter().chain(target).fold(0, |sum, s| s.span_cost(from, to).saturating_add(sum))
    }

    /// Knots of everything it hangs on, around a span: see [`super::AxisSignal::knots_around`].
    ///
    /// # Errors
    /// More beats than can be meant.
    pub(crate) fn knots_around(&self, from: f64, to: f64) -> Result<Vec<Knot>, SignalError> {
        let mut keys = Vec::new();
        let target = self.target.iter().flat_map(|t| t.signals.iter().flatten());
        for signal in self.camera_channels.iter().chain(target) {
            signal.add_knots(from, to, &mut keys)?;
        }
        for part in &self.offset {
            if let Part::Keyed(curve) = part {
                curve.knots(&mut keys);
            }
        }
        Ok(knots::around(keys, from, to))
    }
}
