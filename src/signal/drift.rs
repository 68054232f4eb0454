//! Slow wandering: a sum of sines from a seed, the same on every machine.
//!
//! What: [`SINES`] sines of equal share, their frequencies spread between half and one and a half of 1/period, their phases free, all drawn from
//! the seed by [`Generator`]. So it never leaves +-amplitude, has no jump anywhere, and does not repeat within a shot.
//! The draw, for each sine in turn: frequency, then phase. This text fixes it; changing it would change shots already photographed.

use crate::bounds::MOST_KNOTS;
use crate::motion::signal::{Knot, Signal, SignalError};
use crate::number::elementary::{self, TURN};
use crate::number::{Generator, Jet};
use crate::shot::Drift;

/// Number of sines.
pub(crate) const SINES: u32 = 5;

/// A drift on the shot's clock.
#[derive(Debug)]
pub(crate) struct Wander {
    origin: f64,
    period: f64,
    share: f64,
    sines: Vec<(f64, f64)>,
}

impl Wander {
    /// The drift, its clock starting at frame `origin`.
    #[must_use]
    pub(crate) fn new(drift: &Drift, origin: f64) -> Self {
        let mut draw = Generator::new(drift.seed());
        let sines = (0..SINES)
            .map(|_| {
                let cycles_per_frame = draw.between(0.5, 1.5) / drift.period();
                (cycles_per_frame, draw.unit())
            })
            .collect();
        Wander { origin, period: drift.period(), share: drift.amplitude() / f64::from(SINES), sines }
    }

    /// Value and derivatives at `t`.
    #[must_use]
    pub(crate) fn jet(&self, t: f64) -> Jet {
        self.sines.iter().fold(Jet::default(), |sum, (rate, phase)| {
            // Whole turns are taken off before the sine: its argument stays small, and so exact, however long the shot.
            let turns = rate * (t - self.origin) + phase;
            let (s, c) = elementary::sin_and_cos((turns - turns.floor()) * TURN);
            // The angle goes on evenly: of the chain rule only the powers of its speed are left.
            let v = rate * TURN;
            sum + Jet { p: s, v: c * v, a: -s * v * v, j: -c * v * v * v } * self.share
        })
    }

    /// A grid four to the period, where fitting starts: the lines between `from` and `to`, and a few to either side.
    pub(crate) fn knots(&self, from: f64, to: f64, out: &mut Vec<Knot>) {
        let step = 0.25 * self.period;
        let line = |t: f64| ((t - self.origin) / step).floor();
        let (mut i, last) = (line(from) - BESIDE, line(to) + 1.0 + BESIDE);
        while i <= last && out.len() <= MOST_KNOTS {
            out.push(Knot { at: self.origin + i * step, key: false, is_break: false });
            i += 1.0;
        }
    }
}

/// Lines of the grid given to either side of a span.
const BESIDE: f64 = 2.0;

impl Signal for Wander {
    fn jet(&self, t: f64, _branch: f64) -> Jet {
        Wander::jet(self, t)
    }

    fn knots(&self, from: f64, to: f64, out: &mut Vec<Knot>) -> Result<(), SignalError> {
        Wander::knots(self, from, to, out);
        Ok(())
    }

    fn grid(&self) -> Option<f64> {
        Some(0.25 * self.period)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::stage::ChannelId;

    #[test]
    fn it_stays_within_its_amplitude_and_its_derivatives_are_its_own() {
        let d = Drift::new(ChannelId::of_no_stage(), 11, 8.0, 48.0).unwrap();
        let w = Wander::new(&d, 1.0);
        let mut far: f64 = 0.0;
        for i in 0..20_000 {
            let t = f64::from(i) * 0.1;
            far = far.max(w.jet(t).p.abs());
        }
        assert!(far <= 8.0 && far > 2.0, "{far}");
        let (j, e) = (w.jet(100.0), 1e-4);
        let slope = (w.jet(100.0 + e).p - w.jet(100.0 - e).p) / (2.0 * e);
        assert!((j.v - slope).abs() < 1e-7);
    }

    #[test]
    fn the_wandering_of_a_seed_never_changes() {
        let d = Drift::new(ChannelId::of_no_stage(), 11, 8.0, 48.0).unwrap();
        let w = Wander::new(&d, 1.0);
        let bits: Vec<u64> = [1.0, 17.25, 300.0].iter().map(|t| w.jet(*t).p.to_bits()).collect();
        assert_eq!(bits, PINNED, "a shot already photographed would no longer register");
    }

    const PINNED: [u64; 3] = [13_830_200_408_850_977_822, 13_833_043_449_260_887_433, 4_596_626_853_867_515_096];
}
