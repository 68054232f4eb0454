//! The two angles that keep a point in the middle of the picture, as signals.
//!
//! Invariant: solved anew at every instant from the rest positions of the two axes, so that no frame depends on another and every order of asking gives
//! the same bits. Derivatives are exact by implicit differentiation over jets.
//! The camera's own channels are never shifted. The offset is read at the choreography time of the camera's group. A smoothed target is the weighted sum of where it is
//! at 17 choreography times of its own group, each a jet: shifts of k/16 of the width, weights (9 - |k|)/81, k from -8 to 8, as a triangle of that width.

use core::cell::Cell;
use core::sync::atomic::{AtomicUsize, Ordering};
use std::sync::Arc;

use super::channel::ChannelSignal;
use super::keyed::KeyedCurve;
use super::layers::Layers;
use super::retiming::{Retiming, retimed};
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
    /// Frames by which the target's time is shifted, with the weight of each.
    shifts: Vec<(f64, f64)>,
    /// Choreography time of the camera's group.
    time: Option<Arc<Retiming>>,
    offset: [Part; 3],
    guess: [f64; 2],
    /// Joints of the camera that channels other than the two move, at least one.
    others: usize,
    /// How often the last search looked at the target.
    looks: Arc<AtomicUsize>,
}

/// What the search of two angles costs, in layers: measured on the demo's camera.
const SEARCH: usize = 60;

/// What one look at the target costs, in layers: a search that finds its way at once takes a dozen, one that tries a grid of starts some hundred.
const LOOK: usize = 4;

/// Joints on the way to the target that cost as much as one layer: measured on a smoothed aim at a limb.
const JOINTS: usize = 2;

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
                let still = |c: &ChannelId| aim.without().contains(c).then(|| ChannelSignal::at_rest(stage.channel_rest(*c)));
                let own = |c: &ChannelId| still(c).map_or_else(|| layers.signal(stage, shot, *c), Ok);
                let signal = |(i, c): (usize, &ChannelId)| way.contains(&i).then(|| own(c)).transpose();
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
        let (shifts, time) = (shifts(aim.smooth()), layers.time_of(aim.camera()));
        let is_other = |i: &usize| camera.channels().get(*i).is_some_and(|c| !aim.channels().contains(c));
        let others = camera.chain().channels().filter(is_other).count().max(1);
        let looks = Arc::default();
        Ok(Aimed { aim, camera: camera.chain(), camera_channels: signals(camera)?, target, shifts, time, offset, guess, others, looks })
    }

    /// True where both aim alike and everything they hang on is the very same.
    #[must_use]
    pub(super) fn is_like(&self, other: &Aimed<'_>) -> bool {
        let like = |(a, b): (Option<&ChannelSignal>, Option<&ChannelSignal>)| match (a, b) {
            (Some(a), Some(b)) => a.is_like(b),
            (a, b) => a.is_none() && b.is_none(),
        };
        let time = self.time.as_ref().map(Arc::as_ptr) == other.time.as_ref().map(Arc::as_ptr);
        let (mine, theirs) = (self.signals(), other.signals());
        time && self.aim.is_like(other.aim) && mine.len() == theirs.len() && mine.into_iter().zip(theirs).all(like)
    }

    /// Of the camera's channels, then of the target's.
    fn signals(&self) -> Vec<Option<&ChannelSignal>> {
        let target = self.target.iter().flat_map(|t| t.signals.iter().map(Option::as_ref));
        self.camera_channels.iter().map(Some).chain(target).collect()
    }

    /// The two angles at `t`, by the formulas that hold at `branch`.
    ///
    /// # Errors
    /// A target that cannot be aimed at.
    pub(crate) fn angles(&self, t: f64, branch: f64) -> Result<[Jet; 2], AimTrouble> {
        let camera: Vec<Jet> = self.camera_channels.iter().map(|s| s.jet(t, branch)).collect();
        let [x, y, z] = &self.offset;
        let (at, within) = self.time.as_ref().map_or((Jet::time(t), branch), |time| time.time(t, branch));
        let part = |p: &Part| match p {
            Part::Fixed(x) => Jet::constant(*x),
            Part::Keyed(curve) => retimed(at, curve.jet(at.p, within)),
        };
        let offset = Vector { x: part(x), y: part(y), z: part(z) };
        let target = match &self.target {
            Some(Target { body, limb, signals }) => {
                // The time of each channel once, however many shifts there are.
                let timed: Vec<_> = signals.iter().map(|s| s.as_ref().map(|s| (s, s.time(t, branch)))).collect();
                let nothing = Jet::constant(f64::NAN);
                let mut values: Vec<Jet> = Vec::with_capacity(timed.len());
                let mut out = |shift: f64| {
                    // Each channel once, however many joints it moves.
                    values.clear();
                    values.extend(timed.iter().map(|s| s.map_or(nothing, |(s, time)| s.shifted(time, shift))));
                    body.out_of(*limb, &|i| values.get(i).copied().unwrap_or(nothing), offset)
                };
                match self.shifts.as_slice() {
                    [(shift, _)] => out(*shift),
                    all => {
                        let nowhere = Vector::constant(Vector::new(0.0, 0.0, 0.0));
                        all.iter().fold(nowhere, |sum, (shift, weight)| sum + out(*shift).times(*weight))
                    }
                }
            }
            None => offset + Vector::constant(Vector::from(self.aim.from())),
        };
        let asked = Cell::new(0_usize);
        let value = |i: usize| {
            asked.set(asked.get() + 1);
            camera.get(i).copied().unwrap_or(Jet::constant(f64::NAN))
        };
        let found = self.aim.solver().solve(self.camera, value, target, self.guess);
        self.looks.store(asked.get() / self.others, Ordering::Relaxed);
        found
    }

    /// What one evaluation costs, in layers: every channel, and a search of the angles.
    pub(super) fn cost(&self) -> usize {
        let camera = self.camera_channels.iter().map(ChannelSignal::cost).sum::<usize>();
        let target = self.target.as_ref().map_or(0, |t| {
            let layers: usize = t.signals.iter().flatten().map(ChannelSignal::cost).sum();
            layers + t.body.joints_to(t.limb) / JOINTS
        });
        let search = SEARCH.max(LOOK * self.looks.load(Ordering::Relaxed));
        search + camera + target + (self.shifts.len() - 1) * target
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
        for signal in &self.camera_channels {
            signal.add_knots(from, to, &mut keys)?;
        }
        for signal in self.target.iter().flat_map(|t| t.signals.iter().flatten()) {
            for (shift, _) in &self.shifts {
                signal.add_shifted_knots(from, to, *shift, &mut keys)?;
            }
        }
        let mut offset = Vec::new();
        for part in &self.offset {
            if let Part::Keyed(curve) = part {
                curve.knots(&mut offset);
            }
        }
        match &self.time {
            None => keys.append(&mut offset),
            Some(time) => {
                keys.extend(offset.into_iter().filter_map(|knot| Some(Knot { at: time.film(knot.at)?, ..knot })));
                keys.extend(time.edges_around(from, to).map(|at| Knot { at, key: false, is_break: false }));
            }
        }
        Ok(knots::around(keys, from, to))
    }
}

/// Shifts of the target's time in frames, and their weights.
fn shifts(smooth: Option<f64>) -> Vec<(f64, f64)> {
    let Some(width) = smooth else { return vec![(0.0, 1.0)] };
    (-8..=8_i32).map(|k| (f64::from(k) * width / 16.0, f64::from(9 - k.abs()) / 81.0)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A triangle: the weights add up to one, and its mean is the instant itself.
    #[test]
    fn smoothing_weighs_a_triangle_of_the_width_asked_for() {
        let all = shifts(Some(24.0));
        let sum: f64 = all.iter().map(|(_, w)| w).sum();
        let mean: f64 = all.iter().map(|(s, w)| s * w).sum();
        assert!((sum - 1.0).abs() < 1e-15 && mean.abs() < 1e-15, "{sum} {mean}");
        assert_eq!((all.first(), all.last()), (Some(&(-12.0, 1.0 / 81.0)), Some(&(12.0, 1.0 / 81.0))));
    }
}
