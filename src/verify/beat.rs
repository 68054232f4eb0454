//! A beat that repeats, by its definition: periodic cubic spline of the phase, times an amount.
//!
//! The phase is the integral of the rate over the period. It is integrated by Gauss's rule of three points on every interval between keys of the rate, which is
//! exact for the quintics it consists of (degree 5: M. Abramowitz, I. Stegun, 25.4.30, from memory).

use super::shapes::{monotone, pairs};
use super::spline::{Piecewise, periodic_cubic};
use crate::shot::Cycle;

/// A cycle ready to be asked.
#[derive(Debug)]
pub(super) struct Beat {
    start: f64,
    period: f64,
    phase: f64,
    first_beat: f64,
    spline: Option<Piecewise>,
    only: f64,
    amount: Vec<(f64, f64)>,
    rate: Vec<(f64, f64)>,
    /// Integral of the rate from its first key up to each key.
    sums: Vec<f64>,
}

impl Beat {
    /// The cycle of a shot whose cycles count from frame `start`; `None` where its equations have no finite solution.
    pub(super) fn new(cycle: &Cycle, start: f64) -> Option<Beat> {
        let (mut beats, mut values): (Vec<f64>, Vec<f64>) = pairs(cycle.keys()).into_iter().unzip();
        let (first, only) = (*beats.first()?, *values.first()?);
        let spline = if beats.len() > 1 {
            beats.push(first + 1.0);
            values.push(only);
            Some(periodic_cubic(&beats, &values)?)
        } else {
            None
        };
        let rate = pairs(cycle.rate());
        let mut sums = vec![0.0];
        let mut sum = 0.0;
        for (a, b) in rate.iter().zip(rate.iter().skip(1)) {
            sum += integral(&rate, a.0, b.0);
            sums.push(sum);
        }
        Some(Beat {
            start,
            period: cycle.period(),
            phase: cycle.phase(),
            first_beat: first,
            spline,
            only,
            amount: pairs(cycle.amount()),
            rate,
            sums,
        })
    }

    /// Value at `t`.
    pub(super) fn at(&self, t: f64) -> f64 {
        let phase = self.phase + (self.run(t) - self.run(self.start)) / self.period;
        let within = phase - self.first_beat;
        let value = self.spline.as_ref().map_or(self.only, |s| s.at(self.first_beat + within - within.floor()));
        if self.amount.is_empty() { value } else { value * monotone(&self.amount, t) }
    }

    /// Largest value it can be near.
    pub(super) fn size(&self) -> f64 {
        let most = |keys: &[(f64, f64)]| keys.iter().fold(0.0_f64, |m, k| m.max(k.1.abs()));
        let values = self
            .spline
            .as_ref()
            .map_or(self.only.abs(), |s| (0..64_u8).map(|i| s.at(self.first_beat + f64::from(i) / 64.0).abs()).fold(0.0, f64::max));
        if self.amount.is_empty() { values } else { values * most(&self.amount) }
    }

    /// How much it may move for each unit by which a sum of its phase is wrong, as a share of the sums: see [`super::oracle::Oracle::floor`].
    pub(super) fn timing(&self, t: f64, from: f64) -> f64 {
        let most = self.amount.iter().fold(if self.amount.is_empty() { 1.0 } else { 0.0_f64 }, |m, k| m.max(k.1.abs()));
        let per_turn = self.spline.as_ref().map_or(0.0, Piecewise::steepest) * most;
        let keys = self.rate.iter().fold(0.0_f64, |m, k| m.max(k.0.abs()));
        let summed = self.run(t).abs() + self.run(self.start).abs() + keys + from.max(t.abs());
        // The integral adds up one product for every key of the rate.
        per_turn * summed / self.period * (4.0 + self.rate.len() as f64)
    }

    /// Integral of the rate from its first key to `t`.
    fn run(&self, t: f64) -> f64 {
        let (Some(first), Some(last)) = (self.rate.first(), self.rate.last()) else { return t };
        if t <= first.0 {
            return (t - first.0) * first.1;
        }
        let all = self.sums.last().copied().unwrap_or(0.0);
        if t >= last.0 {
            return all + (t - last.0) * last.1;
        }
        let i = self.rate.partition_point(|k| k.0 <= t).saturating_sub(1);
        match (self.rate.get(i), self.sums.get(i)) {
            (Some(key), Some(sum)) => sum + integral(&self.rate, key.0, t),
            _ => f64::NAN,
        }
    }
}

/// Integral of the monotone curve over a stretch between two neighbouring keys.
fn integral(rate: &[(f64, f64)], from: f64, to: f64) -> f64 {
    let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
    let off = half * (3.0_f64 / 5.0).sqrt();
    let at = |t: f64| monotone(rate, t);
    half * (5.0 * at(middle - off) + 8.0 * at(middle) + 5.0 * at(middle + off)) / 9.0
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::shot::Key;
    use crate::stage::ChannelId;

    fn keys(k: &[(f64, f64)]) -> Vec<Key> {
        k.iter().map(|(f, v)| Key::new(*f, *v)).collect()
    }

    /// The rate rises from 1 to 1.6 over 199 frames: by symmetry 1.3 on the mean; then 1.6.
    #[test]
    fn the_phase_is_the_integral_of_the_rate() {
        let c =
            Cycle::new(ChannelId::of_no_stage(), 30.0, 0.25, keys(&[(0.0, 1.0), (0.5, 2.0)]), vec![], keys(&[(1.0, 1.0), (200.0, 1.6)]))
                .unwrap();
        let b = Beat::new(&c, 1.0).unwrap();
        assert!((b.run(200.0) - 199.0 * 1.3).abs() < 1e-10);
        assert!((b.run(230.0) - (199.0 * 1.3 + 48.0)).abs() < 1e-10);
        assert!((b.run(-9.0) + 10.0).abs() < 1e-12);
    }

    #[test]
    fn a_beat_of_one_key_is_its_amount() {
        let c = Cycle::new(ChannelId::of_no_stage(), 30.0, 0.25, keys(&[(0.5, 2.0)]), keys(&[(0.0, 0.0), (10.0, 3.0)]), vec![]).unwrap();
        let b = Beat::new(&c, 1.0).unwrap();
        assert_eq!((b.at(-1.0), b.at(5.0), b.at(99.0)), (0.0, 3.0, 6.0));
    }
}
