//! Slow wandering, from its description: five sines of equal share, frequency and phase drawn from the seed in turn.
//!
//! Source of the generator: SplitMix64, G. Steele, D. Lea, C. Flood, OOPSLA 2014 (constants from memory). Frequencies lie between half and one and
//! a half of 1/period, phases between 0 and 1 turn; the clock starts at the frame from which the shot counts them.

use super::sine::sine;
use crate::shot::Drift;

/// A drift ready to be asked: turns a frame and turns at the start, for each sine.
#[derive(Debug)]
pub(super) struct Wander {
    start: f64,
    amplitude: f64,
    sines: [(f64, f64); 5],
}

impl Wander {
    /// The drift of a shot whose drifts count from frame `start`.
    pub(super) fn new(drift: &Drift, start: f64) -> Wander {
        let mut state = drift.seed();
        let mut sines = [(0.0, 0.0); 5];
        for s in &mut sines {
            let frequency = (0.5 + unit(&mut state)) / drift.period();
            *s = (frequency, unit(&mut state));
        }
        Wander { start, amplitude: drift.amplitude(), sines }
    }

    /// Value at `t`.
    pub(super) fn at(&self, t: f64) -> f64 {
        let sum: f64 = self.sines.iter().map(|(frequency, phase)| sine(frequency * (t - self.start) + phase)).sum();
        self.amplitude * sum / 5.0
    }

    /// How much it may move where its time is wrong by a share of 1: see [`super::oracle::Oracle::floor`].
    pub(super) fn timing(&self, t: f64, from: f64) -> f64 {
        let turns: f64 = self.sines.iter().map(|(frequency, _)| frequency).sum::<f64>() * (from.max(t.abs()) + self.start.abs());
        self.amplitude.abs() / 5.0 * core::f64::consts::TAU * (turns + 5.0)
    }

    /// Furthest from 0.
    pub(super) fn size(&self) -> f64 {
        self.amplitude.abs()
    }
}

/// The next number of the stream, from 0 to below 1, of 53 bits.
fn unit(state: &mut u64) -> f64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^= z >> 31;
    (z >> 11) as f64 / 9_007_199_254_740_992.0
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::stage::ChannelId;

    #[test]
    fn it_stays_within_its_amplitude_and_moves() {
        let w = Wander::new(&Drift::new(ChannelId::of_no_stage(), 11, 8.0, 48.0).unwrap(), 1.0);
        let far = (0..5000_u16).map(|i| w.at(f64::from(i)).abs()).fold(0.0, f64::max);
        assert!(2.0 < far && far <= 8.0, "{far}");
    }
}
