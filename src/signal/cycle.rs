//! A beat that repeats: a periodic cubic spline over the beat, times an amount, its phase the exact integral of its rate.
//!
//! Invariant: the phase never runs backwards (rates are at least 0). At the frame from which the shot's cycles count the phase is the one asked for.
//! Knots stand where the phase passes a key of the beat: there jerk steps, since a cubic spline is C2.

use super::keyed::KeyedCurve;
use super::monotone;
use super::natural_cubic::{periodic_moments, spans};
use crate::bounds::MOST_KNOTS;
use crate::motion::quintic::Quintic;
use crate::motion::signal::{Knot, Signal, SignalError, Stretch};
use crate::number::{Jet, whole};
use crate::shot::{Cycle, Key};

/// A cycle on the shot's clock.
#[derive(Debug)]
pub(crate) struct Beat {
    /// Beat of every key and, last, the first key's a beat later.
    beats: Vec<f64>,
    cubics: Vec<Quintic>,
    amount: Option<KeyedCurve>,
    clock: Clock,
}

/// Phase in beats over frame time.
#[derive(Debug)]
struct Clock {
    origin: f64,
    phase: f64,
    period: f64,
    rate: Option<Rate>,
}

/// The rate and its integral from the first knot.
#[derive(Debug)]
struct Rate {
    curve: KeyedCurve,
    /// Knot, integral up to it, and the piece that begins there (rate over local time).
    pieces: Vec<(f64, f64, Quintic, f64)>,
    first: (f64, f64),
    last: (f64, f64, f64),
    at_origin: f64,
}

impl Beat {
    /// The cycle, its phase given at frame `origin`.
    ///
    /// # Errors
    /// Numbers that overflow.
    pub(crate) fn new(cycle: &Cycle, origin: f64) -> Result<Beat, SignalError> {
        let mut beats: Vec<f64> = cycle.keys().iter().map(|k| k.frame).collect();
        let mut values: Vec<f64> = cycle.keys().iter().map(|k| k.value).collect();
        if let (Some(b), Some(v)) = (beats.first().copied(), values.first().copied()) {
            beats.push(b + 1.0);
            values.push(v);
        }
        let moments = periodic_moments(&beats, &values);
        let cubics = spans(&beats, &values, &moments).map(|s| s.cubic()).collect();
        let amount = if cycle.amount().is_empty() { None } else { Some(monotone::through(cycle.amount())?) };
        let rate = if cycle.rate().is_empty() { None } else { Some(Rate::new(cycle.rate(), origin)?) };
        let clock = Clock { origin, phase: cycle.phase(), period: cycle.period(), rate };
        Ok(Beat { beats, cubics, amount, clock })
    }

    /// Value and derivatives at `t` by the formula that holds at `branch`.
    #[must_use]
    pub(crate) fn jet(&self, t: f64, branch: f64) -> Jet {
        let there = self.clock.phase(branch, branch).p;
        let Some((beat, start, end, Quintic([c0, c1, c2, c3, ..]))) = self.segment(there) else { return Jet::default() };
        let u = (self.clock.phase(t, branch) - beat - start) / (end - start);
        let value = ((u * *c3 + *c2) * u + *c1) * u + *c0;
        match &self.amount {
            Some(amount) => amount.jet(t, branch) * value,
            None => value,
        }
    }

    /// The stretch of one formula around `branch`. Where amount and rate stand still it is a cubic.
    #[must_use]
    pub(crate) fn stretch(&self, branch: f64) -> Stretch {
        let whole = |curve: &KeyedCurve| {
            let Stretch { from, to, .. } = curve.stretch(branch);
            (from, to)
        };
        let both = [self.amount.as_ref(), self.clock.rate.as_ref().map(|r| &r.curve)].into_iter().flatten();
        let (from, to) = both.map(whole).fold((f64::NEG_INFINITY, f64::INFINITY), |(a, b), (c, d)| (a.max(c), b.min(d)));
        let asked = Stretch { from, to, polynomial: None };
        let amount = self.amount.as_ref().map_or(Some(1.0), |a| a.held_at(branch));
        let rate = self.clock.rate.as_ref().map_or(Some(1.0), |r| r.curve.held_at(branch));
        let (Some(amount), Some(rate)) = (amount, rate) else { return asked };
        let there = self.clock.phase(branch, branch).p;
        let Some((beat, start, end, cubic)) = self.segment(there) else { return asked };
        if rate == 0.0 {
            let held = Quintic::hold(amount * cubic.at((there - beat - start) / (end - start)));
            return Stretch { from, to, polynomial: Some((branch, 1.0, held)) };
        }
        let frames = self.clock.period / rate;
        let when = |key: f64| branch + (beat + key - there) * frames;
        let (origin, length) = (when(start), (end - start) * frames);
        Stretch { from: from.max(origin), to: to.min(origin + length), polynomial: Some((origin, length, cubic.scaled(amount))) }
    }

    /// The beat in which a phase lies, the keys that it lies between, and the cubic between them.
    fn segment(&self, phase: f64) -> Option<(f64, f64, f64, &Quintic)> {
        let first = self.beats.first().copied().unwrap_or(0.0);
        let beat = (phase - first).floor();
        let within = phase - beat;
        let segment = self.beats.partition_point(|b| *b <= within).saturating_sub(1).min(self.cubics.len().saturating_sub(1));
        Some((beat, *self.beats.get(segment)?, *self.beats.get(segment + 1)?, self.cubics.get(segment)?))
    }

    /// Knots: keys of amount and rate, and every instant between `from` and `to`, and for two beats to either side, at which the phase passes a key of the beat.
    ///
    /// # Errors
    /// More of them than can be meant.
    pub(crate) fn knots(&self, from: f64, to: f64, out: &mut Vec<Knot>) -> Result<(), SignalError> {
        if let Some(amount) = &self.amount {
            amount.knots(out);
        }
        if let Some(rate) = &self.clock.rate {
            rate.curve.knots(out);
        }
        let too_many = SignalError::TooManyKnots { most: MOST_KNOTS };
        let (low, high) = (self.clock.phase(from, from).p, self.clock.phase(to, to).p);
        if !((high - low) * whole::count(self.cubics.len()) < whole::count(MOST_KNOTS)) {
            return Err(too_many);
        }
        let mut beat = low.floor() - 3.0;
        while beat <= high + 2.0 {
            for key in self.beats.iter().take(self.cubics.len()) {
                if let Some(at) = self.clock.when(beat + key) {
                    out.push(Knot { at, key: false, is_break: false });
                }
            }
            beat += 1.0;
        }
        Ok(())
    }
}

impl Clock {
    /// Phase in beats at `t`, by the rate that holds at `branch`.
    fn phase(&self, t: f64, branch: f64) -> Jet {
        match &self.rate {
            None => Jet { p: self.phase + (t - self.origin) / self.period, v: 1.0 / self.period, a: 0.0, j: 0.0 },
            Some(rate) => {
                let r = rate.curve.jet(t, branch);
                let run = rate.integral(t, branch) - rate.at_origin;
                Jet { p: self.phase + run / self.period, v: r.p / self.period, a: r.v / self.period, j: r.a / self.period }
            }
        }
    }

    /// The instant at which the phase is `target`; none where the beat stands still before it comes there. It depends on the target alone.
    fn when(&self, target: f64) -> Option<f64> {
        let Some(rate) = &self.rate else { return Some(self.origin + (target - self.phase) * self.period) };
        let (mut below, mut above) = match rate.around((target - self.phase) * self.period + rate.at_origin) {
            Around::Line { at, integral, rate: slope } => {
                let run = (target - self.phase) * self.period + rate.at_origin - integral;
                return (slope > 0.0).then(|| at + run / slope);
            }
            Around::Keys(a, b) => (a, b),
        };
        let mut t = 0.5 * (below + above);
        for _ in 0..200 {
            let phase = self.phase(t, t);
            let miss = phase.p - target;
            if miss == 0.0 {
                return Some(t);
            }
            if miss > 0.0 {
                above = t;
            } else {
                below = t;
            }
            let step = t - miss / phase.v;
            let next = if below < step && step < above { step } else { 0.5 * (below + above) };
            // A few ulps of the frame time: nearer knots are one instant anyway.
            if (next - t).abs() <= 1e-15 * (1.0 + t.abs()) {
                return Some(next);
            }
            t = next;
        }
        Some(t)
    }
}

/// Where an integral of the rate is reached.
enum Around {
    /// Between these two keys.
    Keys(f64, f64),
    /// On the straight line through the first or last key.
    Line {
        /// Frame of the key.
        at: f64,
        /// Integral up to it.
        integral: f64,
        /// Rate from there on.
        rate: f64,
    },
}

impl Rate {
    fn new(keys: &[Key], origin: f64) -> Result<Rate, SignalError> {
        let curve = monotone::through(keys)?;
        let mut pieces = Vec::new();
        let mut sum = 0.0;
        let end = |k: Option<&Key>| k.map_or((0.0, 1.0), |k| (k.frame, k.value));
        for (a, b) in keys.iter().zip(keys.iter().skip(1)) {
            let h = b.frame - a.frame;
            let mid = 0.5 * (a.frame + b.frame);
            // The piece as the curve has it, by its jets at both ends.
            let q = Quintic::between(curve.jet(a.frame, mid).into(), curve.jet(b.frame, mid).into(), h);
            pieces.push((a.frame, sum, q, h));
            sum += h * area(&q, 1.0);
        }
        let (last_frame, last_rate) = end(keys.last());
        let mut rate = Rate { curve, pieces, first: end(keys.first()), last: (last_frame, last_rate, sum), at_origin: 0.0 };
        rate.at_origin = rate.integral(origin, origin);
        Ok(rate)
    }

    /// The keys between which the integral from the first key comes to `run`.
    fn around(&self, run: f64) -> Around {
        let (last, rate, sum) = self.last;
        if run < 0.0 {
            return Around::Line { at: self.first.0, integral: 0.0, rate: self.first.1 };
        }
        let i = self.pieces.partition_point(|(_, before, ..)| *before <= run).checked_sub(1);
        match i.and_then(|i| self.pieces.get(i)) {
            Some((start, _, _, h)) if run < sum => Around::Keys(*start, start + h),
            _ => Around::Line { at: last, integral: sum, rate },
        }
    }

    /// Integral of the rate from its first key to `t`, by the piece that holds at `branch`.
    fn integral(&self, t: f64, branch: f64) -> f64 {
        let (last, rate, sum) = self.last;
        if branch >= last {
            return sum + (t - last) * rate;
        }
        if branch < self.first.0 {
            return (t - self.first.0) * self.first.1;
        }
        let i = self.pieces.partition_point(|(start, ..)| *start <= branch).saturating_sub(1);
        match self.pieces.get(i) {
            Some((start, before, q, h)) => before + h * area(q, (t - start) / h),
            None => sum + (t - last) * rate,
        }
    }
}

/// Integral of a piece over local time from 0 to `u`.
fn area(q: &Quintic, u: f64) -> f64 {
    let [c0, c1, c2, c3, c4, c5] = q.0;
    u * (c0 + u * (c1 / 2.0 + u * (c2 / 3.0 + u * (c3 / 4.0 + u * (c4 / 5.0 + u * c5 / 6.0)))))
}

impl Signal for Beat {
    fn jet(&self, t: f64, branch: f64) -> Jet {
        Beat::jet(self, t, branch)
    }

    fn knots(&self, from: f64, to: f64, out: &mut Vec<Knot>) -> Result<(), SignalError> {
        Beat::knots(self, from, to, out)
    }

    fn stretch(&self, branch: f64) -> Option<Stretch> {
        Some(Beat::stretch(self, branch))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::stage::ChannelId;

    fn keys(k: &[(f64, f64)]) -> Vec<Key> {
        k.iter().map(|(f, v)| Key::new(*f, *v)).collect()
    }

    fn wing(rate: &[(f64, f64)]) -> Beat {
        let c = Cycle::new(
            ChannelId::of_no_stage(),
            30.0,
            0.25,
            keys(&[(0.0, -18.0), (0.35, 42.0), (0.6, 10.0)]),
            keys(&[(1.0, 0.0), (40.0, 1.0)]),
            keys(rate),
        );
        Beat::new(&c.unwrap(), 1.0).unwrap()
    }

    #[test]
    fn the_phase_at_the_first_frame_is_the_one_asked_for_and_runs_at_its_rate() {
        let b = wing(&[]);
        assert_eq!(b.clock.phase(1.0, 1.0).p, 0.25);
        assert_eq!(b.clock.phase(31.0, 31.0).p, 1.25);
        let b = wing(&[(1.0, 1.0), (200.0, 1.6)]);
        assert_eq!(b.clock.phase(1.0, 1.0).p, 0.25);
        // Mean rate over the rise is 1.3 by symmetry of the resting quintic; then 1.6 throughout.
        let p = b.clock.phase(200.0, 200.0).p;
        assert!((p - (0.25 + 199.0 * 1.3 / 30.0)).abs() < 1e-12, "{p}");
        let q = b.clock.phase(230.0, 230.0).p;
        assert!((q - (p + 1.6)).abs() < 1e-12);
    }

    #[test]
    fn values_at_beat_keys_are_the_keys_and_derivatives_are_their_own() {
        let b = wing(&[(1.0, 1.0), (200.0, 1.6)]);
        let mut knots = Vec::new();
        b.knots(50.0, 190.0, &mut knots).unwrap();
        // Where the amount is 0 every key of the beat is 0.
        let passed: Vec<f64> = knots.iter().filter(|k| !k.key && k.at > 40.0).map(|k| k.at).collect();
        assert!(passed.len() > 12);
        for t in passed {
            let v = b.jet(t, t + 1e-6).p;
            assert!([-18.0, 42.0, 10.0].iter().any(|k| (v - k).abs() < 1e-9), "{t} {v}");
            // Either side of a knot agrees to second order.
            let (l, r) = (b.jet(t, t - 1e-3), b.jet(t, t + 1e-3));
            assert!((l.v - r.v).abs() < 1e-9 && (l.a - r.a).abs() < 1e-9);
        }
        // The instant of a key does not depend on the span, and two beats to either side of it are given.
        let mut others = Vec::new();
        b.knots(80.25, 80.5, &mut others).unwrap();
        assert!(others.len() > 12 && others.iter().filter(|k| k.at > 0.0 && k.at < 190.0).all(|k| knots.contains(k)));
        let beats = |from: f64, to: f64| others.iter().filter(|k| !k.key && from < k.at && k.at < to).count();
        assert!(beats(-20.0, 80.25) >= 6 && beats(80.5, 190.0) >= 6, "{others:?}");
        let (j, e) = (b.jet(77.3, 77.3), 1e-4);
        let slope = (b.jet(77.3 + e, 77.3).p - b.jet(77.3 - e, 77.3).p) / (2.0 * e);
        assert!((j.v - slope).abs() < 1e-6, "{} {slope}", j.v);
    }
}
