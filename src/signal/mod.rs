//! Signals: what a channel does, as a function of frame time that returns a value with its first three derivatives.
//!
//! Invariant: a signal is finite wherever it is asked, twice continuously differentiable except at knots it declares as breaks, and
//! between two neighbouring knots it is one smooth formula: its branch. Asking takes the branch (by any time inside it) and the
//! time, so that the two sides of a knot are never confused by rounding.

pub mod aimed;
pub mod axis;
pub mod blended;
pub mod cycle;
pub mod drift;
pub mod keyed;
pub mod knots;
pub mod minimum_jerk;
pub mod monotone;
pub mod natural_cubic;
pub mod sources;

use std::sync::Arc;

use crate::motion::curve::CurveError;
use crate::number::Jet;
use crate::shot::{Key, Shape, Shot, Track};
use crate::stage::{ChannelId, Stage};

pub use axis::{AxisSignal, NoPlace};
pub use keyed::{KeyedCurve, Outside};
pub use knots::Knot;
pub use sources::{Source, SourceKind};

/// Why a signal cannot be formed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SignalError {
    /// Keys so close or values so large that the curve's numbers overflow.
    #[error("the curve through the keys cannot be computed: {0}")]
    Curve(#[from] CurveError),
    /// More layers on one channel than can be meant.
    #[error("more than {most} layers drive one channel, through copies of copies; fewer copies are needed")]
    TooManyLayers {
        /// Most layers allowed.
        most: usize,
    },
    /// A cycle with more beats than can be meant.
    #[error("a cycle has more than {most} pieces over the shot; a longer period or fewer frames are needed")]
    TooManyBeats {
        /// Most pieces allowed.
        most: usize,
    },
}

/// One layer on its own clock.
#[derive(Debug)]
#[allow(clippy::large_enum_variant, reason = "a layer lives once, behind an Arc")]
pub enum Layer {
    /// Keys joined by polynomials.
    Keyed(KeyedCurve),
    /// Keys joined by a shape with blended corners.
    Blended(blended::Blended),
    /// A beat.
    Cycle(cycle::Beat),
    /// Wandering.
    Drift(drift::Wander),
}

/// A layer as one channel has it: later and scaled.
#[derive(Debug, Clone)]
pub struct Term {
    layer: Arc<Layer>,
    delay: f64,
    scale: f64,
}

/// What a channel does: the sum of its layers, or its rest.
#[derive(Debug, Clone)]
pub struct Signal {
    rest: f64,
    terms: Vec<Term>,
}

impl Layer {
    /// The layer of a track.
    ///
    /// # Errors
    /// Numbers that overflow.
    pub fn of_track(track: &Track) -> Result<Layer, SignalError> {
        Ok(match track.shape() {
            Shape::MinimumJerk => Layer::Keyed(minimum_jerk::through(track.keys())?),
            Shape::Monotone => Layer::Keyed(monotone::through(track.keys())?),
            Shape::NaturalCubic => Layer::Keyed(natural_cubic::through(track.keys())?),
            Shape::PoseToPose => Layer::Keyed(pose_to_pose(track.keys())?),
            Shape::Linear | Shape::Cosine | Shape::CatmullRom => {
                Layer::Blended(blended::Blended::new(track.keys(), track.shape(), track.blend()))
            }
        })
    }

    fn jet(&self, t: f64, branch: f64) -> Jet {
        match self {
            Layer::Keyed(k) => k.jet(t, branch),
            Layer::Blended(b) => b.jet(t, branch),
            Layer::Cycle(c) => c.jet(t, branch),
            Layer::Drift(d) => d.jet(t),
        }
    }

    /// All its knots between `from` and `to`, and a few to either side, where there are any; each the same whatever the span.
    fn knots(&self, from: f64, to: f64, out: &mut Vec<Knot>) -> Result<(), SignalError> {
        match self {
            Layer::Keyed(k) => k.knots(out),
            Layer::Blended(b) => b.knots(out),
            Layer::Cycle(c) => return c.knots(from, to, out),
            Layer::Drift(d) => d.knots(from, to, out),
        }
        Ok(())
    }
}

/// Rest-to-rest quintics between neighbouring keys.
fn pose_to_pose(keys: &[Key]) -> Result<KeyedCurve, SignalError> {
    let nodes: Vec<_> = keys.iter().map(|k| (k.frame, crate::motion::quintic::Node::rest(k.value))).collect();
    KeyedCurve::through_nodes(&nodes, Outside::Hold)
}

/// Every layer of a shot, formed once and shared by the channels that have it.
#[derive(Debug)]
pub struct Layers {
    tracks: Vec<Arc<Layer>>,
    cycles: Vec<Arc<Layer>>,
    drifts: Vec<Arc<Layer>>,
}

impl Layers {
    /// Forms the layers of `shot`.
    ///
    /// # Errors
    /// Numbers that overflow, with the channel they belong to.
    pub fn of(shot: &Shot) -> Result<Layers, (ChannelId, SignalError)> {
        let start = shot.cycle_start();
        let mut layers = Layers { tracks: Vec::new(), cycles: Vec::new(), drifts: Vec::new() };
        for track in shot.tracks() {
            layers.tracks.push(Arc::new(Layer::of_track(track).map_err(|e| (track.channel(), e))?));
        }
        for cycle in shot.cycles() {
            let beat = cycle::Beat::new(cycle, start).map_err(|e| (cycle.channel(), e))?;
            layers.cycles.push(Arc::new(Layer::Cycle(beat)));
        }
        for drift in shot.drifts() {
            layers.drifts.push(Arc::new(Layer::Drift(drift::Wander::new(drift, start))));
        }
        Ok(layers)
    }

    /// The signal of one channel.
    ///
    /// # Errors
    /// More layers than can be meant.
    pub fn signal(&self, stage: &Stage, shot: &Shot, channel: ChannelId) -> Result<Signal, SignalError> {
        let mut terms = Vec::new();
        for source in sources::of(stage, shot, channel)? {
            let layer = match source.kind {
                SourceKind::Track => self.tracks.get(source.index),
                SourceKind::Cycle => self.cycles.get(source.index),
                SourceKind::Drift => self.drifts.get(source.index),
            };
            if let Some(layer) = layer {
                terms.push(Term { layer: Arc::clone(layer), delay: source.delay, scale: source.scale });
            }
        }
        Ok(Signal { rest: stage.channel_rest(channel), terms })
    }
}

impl Signal {
    /// Value and derivatives at frame time `t`, by the formula that holds at `branch`. Units: the channel's unit, per frame^k.
    #[must_use]
    pub fn jet(&self, t: f64, branch: f64) -> Jet {
        let mut terms = self.terms.iter();
        let Some(first) = terms.next() else { return Jet::constant(self.rest) };
        terms.fold(first.jet(t, branch), |sum, term| sum + term.jet(t, branch))
    }

    /// Knots around a span: see [`AxisSignal::knots_around`].
    ///
    /// # Errors
    /// More beats than can be meant.
    pub fn knots_around(&self, from: f64, to: f64) -> Result<Vec<Knot>, SignalError> {
        knots::around(core::slice::from_ref(self), Vec::new(), from, to)
    }

    fn add_knots(&self, from: f64, to: f64, all: &mut Vec<Knot>) -> Result<(), SignalError> {
        for term in &self.terms {
            let start = all.len();
            term.layer.knots(from - term.delay, to - term.delay, all)?;
            for knot in all.iter_mut().skip(start) {
                knot.at += term.delay;
            }
        }
        Ok(())
    }

    /// True where nothing drives the channel.
    #[must_use]
    pub fn is_rest(&self) -> bool {
        self.terms.is_empty()
    }

    /// The one keyed curve the signal is, with its delay and scale, where it is nothing else.
    #[must_use]
    pub fn as_keyed(&self) -> Option<(&KeyedCurve, f64, f64)> {
        match self.terms.as_slice() {
            [Term { layer, delay, scale }] => match layer.as_ref() {
                Layer::Keyed(k) => Some((k, *delay, *scale)),
                _ => None,
            },
            _ => None,
        }
    }

    /// Where it stands when nothing drives it.
    #[must_use]
    pub fn rest(&self) -> f64 {
        self.rest
    }
}

impl Term {
    fn jet(&self, t: f64, branch: f64) -> Jet {
        let jet = self.layer.jet(t - self.delay, branch - self.delay);
        if self.scale == 1.0 { jet } else { jet * self.scale }
    }
}
