//! One oscillator on its way: a pendulum, or a further measured mode, carried from stretch to stretch.
//!
//! What: in closed form where slides alone move the hanging point sideways and the length is constant, elsewhere by steps of half a radian at most, each as fine as what drives it asks for
//! (see `motion::pendulum`). Invariant: work is counted by whoever watches; what cannot be followed ends with the reason. Units: mm, s.

use super::support::{Stretch, Support};
use crate::bounds::SWING_LENGTH;
use crate::mechanism::OutOfReach;
use crate::motion::pendulum::collocation::{Driven, POINTS, Stepped, is_resolved, step};
use crate::motion::pendulum::free::Free;
use crate::motion::pendulum::greatest::Swinging;
use crate::motion::pendulum::{GRAVITY, State, length};
use crate::number::elementary::two_to_the;
use crate::stage::Swing;

/// A pendulum or a further mode.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Oscillator {
    /// Constant length, mm; `None` for the length of the pendulum.
    pub(crate) length: Option<f64>,
    /// Factor on either length: a period that is off has its square.
    pub(crate) scale: f64,
    /// Share of critical.
    pub(crate) damping: f64,
}

impl Oscillator {
    /// The pendulum, then every further mode.
    pub(crate) fn all_of(swing: &Swing) -> impl Iterator<Item = Oscillator> {
        let pendulum = Oscillator { length: None, scale: 1.0, damping: swing.damping };
        let modes = swing.modes.iter().map(|[period, damping]| Oscillator { length: Some(length(*period)), scale: 1.0, damping: *damping });
        core::iter::once(pendulum).chain(modes)
    }

    /// The length over a stretch, where it is constant.
    pub(crate) fn length_over(&self, stretch: &Stretch<'_>) -> Option<f64> {
        self.length.or(stretch.constant_length()).map(|l| self.scale * l)
    }

    /// True for a length that a pendulum may have; that of a mode comes from its period, which has bounds of its own.
    fn is_long_enough(&self, length: f64) -> bool {
        self.length.is_some() || length >= self.scale * SWING_LENGTH.least
    }
}

/// Why a swing is not known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Unknown {
    /// The budget of work is used up.
    Budget,
    /// The pendulum is shorter than any may be at this second.
    NoLength(f64),
    /// A mechanism cannot take the place of this second.
    OutOfReach(f64),
}

/// Who counts the work, and sees how it swings.
pub(crate) trait Watcher {
    /// Counts work.
    ///
    /// # Errors
    /// The budget is used up.
    fn spend(&mut self, work: u64) -> Result<(), Unknown>;

    /// A path from `begin` on, for `lasts` seconds.
    ///
    /// # Errors
    /// The budget is used up.
    fn look(&mut self, path: &dyn Swinging, begin: f64, lasts: f64) -> Result<(), Unknown>;

    /// A stretch over which everything that moves the figure stands: the state at its beginning, when it begins and ends, the length where it is known.
    fn stands(&mut self, state: &State, begin: f64, end: f64, length: f64);
}

/// An oscillator and how it swings now.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Hung {
    pub(crate) oscillator: Oscillator,
    pub(crate) state: State,
    /// What looking at what drives it once costs.
    cost: u64,
}

/// Radians of a step at most.
const STEP: f64 = 0.5;

/// Halvings of a step at most.
const DEEPEST: i32 = 24;

/// Work of one look at joints or mechanisms, beside that of one at polynomials.
const JETS: u64 = 16;

/// Work of a look at a mechanism that changes a length alone.
const LENGTH: u64 = 4;

/// Work of a step, beside its looks.
const STEPPED: u64 = 8;

impl Hung {
    /// At rest.
    #[must_use]
    pub(crate) fn at_rest(oscillator: Oscillator, support: &Support<'_>) -> Hung {
        Hung { oscillator, state: State::default(), cost: if support.is_plain() { 1 } else { JETS } }
    }

    /// Carries it over everything up to `until`.
    ///
    /// # Errors
    /// What cannot be followed, or is not paid for.
    pub(crate) fn carry(&mut self, support: &Support<'_>, until: f64, watcher: &mut dyn Watcher) -> Result<(), Unknown> {
        let mut failed = None;
        support.stretches(until, &mut |stretch| {
            failed = self.over(stretch, watcher).err();
            failed.is_none()
        });
        failed.map_or(Ok(()), Err)
    }

    fn over(&mut self, stretch: &Stretch<'_>, watcher: &mut dyn Watcher) -> Result<(), Unknown> {
        let lasts = stretch.end - stretch.start;
        watcher.spend(8 + LENGTH * stretch.looks)?;
        let length = self.oscillator.length_over(stretch);
        if let (true, Some(length)) = (stretch.stands(), length) {
            watcher.stands(&self.state, stretch.start, stretch.end, length);
        }
        if self.state == State::default() && stretch.stands() {
            return Ok(());
        }
        if let (Some(length), Some(acceleration)) = (length, stretch.acceleration()) {
            if !self.oscillator.is_long_enough(length) {
                return Err(Unknown::NoLength(stretch.start));
            }
            if (GRAVITY / length).sqrt() * lasts > STEP {
                let free = Free::new(&self.state, length, self.oscillator.damping, lasts, acceleration);
                watcher.look(&free, stretch.start, lasts)?;
                self.state = free.state(lasts);
                return Ok(());
            }
        }
        self.steps(stretch, watcher)
    }

    /// Integrates over a stretch.
    fn steps(&mut self, stretch: &Stretch<'_>, watcher: &mut dyn Watcher) -> Result<(), Unknown> {
        let lasts = stretch.end - stretch.start;
        let (oscillator, cost) = (self.oscillator, self.cost);
        let driven = |t: f64, watcher: &mut dyn Watcher| -> Result<Driven, Unknown> {
            watcher.spend(cost)?;
            let at = stretch.start + t;
            let mut driven = stretch.at((t / lasts).min(1.0)).map_err(|_: OutOfReach| Unknown::OutOfReach(at))?;
            if let Some(length) = oscillator.length {
                driven.length = [length, 0.0, 0.0];
            }
            driven.length = driven.length.map(|l| oscillator.scale * l);
            let [length, ..] = driven.length;
            if oscillator.is_long_enough(length) { Ok(driven) } else { Err(Unknown::NoLength(at)) }
        };
        let mut t = 0.0;
        let mut first = driven(0.0, watcher)?;
        let mut halved = 0;
        while t < lasts {
            let most = STEP / (GRAVITY / first.length[0]).sqrt() * two_to_the(-halved);
            let left = lasts - t;
            let parts = (left / most).ceil().max(1.0);
            let (h, is_last) = if parts > 1.0 { (left / parts, false) } else { (left, true) };
            let mut points = [Driven::default(); 4];
            for (point, share) in points.iter_mut().zip(POINTS) {
                *point = driven(t + share * h, watcher)?;
            }
            let last = driven(if is_last { lasts } else { t + h }, watcher)?;
            if halved < DEEPEST && !is_resolved(&points, &last) {
                halved += 1;
                continue;
            }
            watcher.spend(STEPPED)?;
            let next = step(&self.state, oscillator.damping, h, &points).ok_or(Unknown::NoLength(stretch.start + t))?;
            let path = Stepped::new((&self.state, &first), (&next, &last), oscillator.damping, h);
            watcher.look(&path, stretch.start + t, h)?;
            if !next.angle.iter().chain(&next.rate).all(|x| x.is_finite()) {
                return Err(Unknown::NoLength(stretch.start + t));
            }
            (self.state, first) = (next, last);
            halved = (halved - 1).max(0);
            if is_last {
                break;
            }
            t += h;
        }
        Ok(())
    }
}
