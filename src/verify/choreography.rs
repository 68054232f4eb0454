//! The choreography time of a group at a film frame, by the definition of a retime.
//!
//! What: straight from key to key and on outside them; within `ease` frames of an inner key the speed goes from that before the key to that after it by
//! 10 x^3 - 15 x^4 + 6 x^5, and time is its integral, by Gauss's rule of three points, which is exact to the fifth power (M. Abramowitz, I. Stegun, 25.4.30, from memory).
//! Invariant: shares nothing with the compiler. Tables apply in the order of the file, the first to the film frame itself.

use crate::shot::Shot;
use crate::shot::retime::Course;
use crate::stage::GroupId;

/// All retimes of one group.
#[derive(Debug)]
pub(super) struct Choreography {
    tables: Vec<Table>,
}

#[derive(Debug)]
enum Table {
    Later(f64),
    Keyed { keys: Vec<(f64, f64)>, ease: Option<f64> },
}

impl Choreography {
    /// Of a group of the shot.
    pub(super) fn of(shot: &Shot, group: GroupId) -> Choreography {
        let table = |course: &Course| match course {
            Course::Later(delay) => Table::Later(*delay),
            Course::Keyed(keys, ease) => Table::Keyed { keys: keys.iter().map(|k| (k.frame, k.value)).collect(), ease: *ease },
        };
        Choreography { tables: shot.retimes().iter().filter(|r| r.concerns(group)).map(|r| table(r.course())).collect() }
    }

    /// The choreography frame at film frame `t`.
    pub(super) fn at(&self, t: f64) -> f64 {
        self.tables.iter().fold(t, |t, table| table.at(t))
    }

    /// The size of the sums that lead to it, in choreography frames: what rounding is a share of.
    pub(super) fn size(&self, t: f64) -> f64 {
        self.tables.iter().fold((t, t.abs()), |(t, size), table| (table.at(t), table.size(t, size))).1
    }

    /// True where all of it is some frames later, and nothing else.
    pub(super) fn is_only_later(&self) -> bool {
        self.tables.iter().all(|t| matches!(t, Table::Later(_)))
    }
}

impl Table {
    fn at(&self, t: f64) -> f64 {
        let (keys, ease) = match self {
            Table::Later(delay) => return t - delay,
            Table::Keyed { keys, ease } => (keys, *ease),
        };
        let mut time = straight(keys, t);
        for window in keys.windows(3) {
            let [a, b, c] = window else { continue };
            let half = ease.unwrap_or_else(|| 4.0_f64.min(0.5 * (b.0 - a.0)).min(0.5 * (c.0 - b.0)));
            if (t - b.0).abs() < half {
                let change = slope(*b, *c) - slope(*a, *b);
                // What the rounded corner has more than the sharp one, which turns at its key.
                time += change * (2.0 * half * eased((t - b.0 + half) / (2.0 * half)) - (t - b.0).max(0.0));
            }
        }
        time
    }

    fn size(&self, t: f64, before: f64) -> f64 {
        match self {
            Table::Later(delay) => before + delay.abs(),
            Table::Keyed { keys, .. } => {
                let steepest = keys.windows(2).map(|w| if let [a, b] = w { slope(*a, *b) } else { 0.0 }).fold(0.0, f64::max);
                let far = keys.iter().fold(t.abs(), |m, k| m.max(k.0.abs()));
                let given = keys.iter().fold(0.0_f64, |m, k| m.max(k.1.abs()));
                4.0 * (steepest * (far + before) + given)
            }
        }
    }
}

fn slope(a: (f64, f64), b: (f64, f64)) -> f64 {
    (b.1 - a.1) / (b.0 - a.0)
}

fn straight(keys: &[(f64, f64)], t: f64) -> f64 {
    let next = keys.partition_point(|k| k.0 <= t).clamp(1, keys.len().max(2) - 1);
    match (keys.get(next - 1), keys.get(next)) {
        (Some(a), Some(b)) => a.1 + slope(*a, *b) * (t - a.0),
        _ => f64::NAN,
    }
}

/// Integral of 10 x^3 - 15 x^4 + 6 x^5 from 0 to `x`.
fn eased(x: f64) -> f64 {
    let speed = |x: f64| x * x * x * (10.0 - 15.0 * x + 6.0 * x * x);
    let off = (3.0_f64 / 5.0).sqrt();
    0.5 * x * (5.0 * speed(0.5 * x * (1.0 - off)) + 8.0 * speed(0.5 * x) + 5.0 * speed(0.5 * x * (1.0 + off))) / 9.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: a hold from 100 to 112, eased over 4 frames: halfway down the corner the integral is 5/64 of its width of 8.
    #[test]
    fn a_hold_by_hand() {
        let keys = vec![(1.0, 1.0), (100.0, 100.0), (112.0, 100.0), (348.0, 336.0)];
        let table = Table::Keyed { keys, ease: None };
        for (t, want) in
            [(-5.0, -5.0), (96.0, 96.0), (100.0, 100.0 - 0.625), (104.0, 100.0), (108.0, 100.0), (116.0, 104.0), (400.0, 388.0)]
        {
            assert!((table.at(t) - want).abs() < 1e-12, "{t} {}", table.at(t));
        }
        assert!((Table::Later(12.0).at(30.0) - 18.0).abs() < 1e-12);
    }
}
