//! A function of frame time that returns a value with its first three derivatives: what a layer of a channel is.
//!
//! Invariant: finite wherever it is asked, twice continuously differentiable except at knots it declares as breaks, and between two neighbouring knots one
//! smooth formula: its branch. Asking takes the branch (by any time inside it) and the time, so that the two sides of a knot are never confused by
//! rounding. This is an open trait: a signal of your own is fitted, checked and written like those of a shot file.

use core::fmt::Debug;

use super::curve::{Curve, CurveError};
use super::quintic::Quintic;
use super::stay_near::CannotFit;
use crate::number::Jet;

/// Why a signal cannot be formed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SignalError {
    /// Keys so close or values so large that the curve's numbers overflow.
    #[error("the curve through the keys cannot be computed: {0}")]
    Curve(#[from] CurveError),
    /// A recording that cannot be followed so closely.
    #[error(transparent)]
    Recording(#[from] CannotFit),
    /// More layers on one channel than can be meant.
    #[error("more than {most} layers drive one channel, through copies of copies; fewer copies are needed")]
    TooManyLayers {
        /// Most layers allowed.
        most: usize,
    },
    /// More layers on all channels together than can be meant.
    #[error(
        "more than {most} layers drive all channels together, each counted on every channel that copies hand it to; fewer copies are needed"
    )]
    TooManyLayersTogether {
        /// Most layers allowed.
        most: usize,
    },
    /// Cycles and drifts with more knots than can be meant.
    #[error("its cycles and drifts have more than {most} knots over the shot; longer periods or fewer frames are needed")]
    TooManyKnots {
        /// Most knots allowed.
        most: usize,
    },
}

/// Where a signal's formula changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knot {
    /// Frame time.
    pub at: f64,
    /// True where a key stands, whose value must come back bit for bit.
    pub key: bool,
    /// True where acceleration may step: nothing may be fitted across, and the step is a finding.
    pub is_break: bool,
}

/// A stretch of frame time over which a signal is one formula.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Where it begins; minus infinity where nothing is before it.
    pub from: f64,
    /// Where it ends; infinity where nothing is after it.
    pub to: f64,
    /// Where the formula is a polynomial of degree five or less: it over local time (t - origin) / length, with origin and length.
    pub polynomial: Option<(f64, f64, Quintic)>,
}

/// A function of frame time. See the module's text for what it promises.
///
/// ```
/// use movewright::signal::{Jet, Knot, Signal, SignalError};
///
/// /// A steady climb, mm per frame.
/// #[derive(Debug)]
/// struct Climb(f64);
///
/// impl Signal for Climb {
///     fn jet(&self, t: f64, _branch: f64) -> Jet {
///         Jet::time(t) * self.0
///     }
///     fn knots(&self, _from: f64, _to: f64, _out: &mut Vec<Knot>) -> Result<(), SignalError> {
///         Ok(()) // one formula for ever
///     }
/// }
/// assert_eq!(Climb(2.0).jet(3.0, 3.0).v, 2.0);
/// ```
pub trait Signal: Debug + Send + Sync {
    /// Value and derivatives at frame time `t`, by the formula that holds at `branch`. Units: the channel's unit, per frame^k.
    fn jet(&self, t: f64, branch: f64) -> Jet;

    /// Adds all knots between `from` and `to`, and a few to either side where there are any, in rising order; each the same whatever the span.
    ///
    /// # Errors
    /// More knots than can be meant.
    fn knots(&self, from: f64, to: f64, out: &mut Vec<Knot>) -> Result<(), SignalError>;

    /// The signal from `from` to `to` as a curve, later by `delay` frames and multiplied by `scale`, where it is polynomials of degree five and less: they
    /// are then taken over exactly instead of fitted. `None` otherwise.
    fn taken_over(&self, _from: f64, _to: f64, _delay: f64, _scale: f64) -> Option<Result<Curve, SignalError>> {
        None
    }

    /// The stretch of one formula around `branch`, where that is known: many layers on one channel then cost less. A stretch may be shorter than the formula holds.
    fn stretch(&self, _branch: f64) -> Option<Stretch> {
        None
    }

    /// The distance of knots, frames, where they are a grid on which fitting starts and no formula changes at them: of many such layers on one channel the finest grid
    /// is enough.
    fn grid(&self) -> Option<f64> {
        None
    }
}
