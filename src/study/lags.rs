//! Pairs of drives that are one with a lag: two motors could then be one with a linkage, or one routine with a delay.
//!
//! What: the correlation of two drives over pairs of complete rows, at every shift up to half a beat either way; a lag is reported from 0.9 on. Limits: the leading drives of a motion that repeats.

use super::drives::Drives;
use super::period::Clock;
use crate::number::whole;

/// Correlation from which two drives do the same.
const ALIKE: f64 = 0.9;

/// Products that are computed; beyond that fewer shifts are tried.
const MOST_WORK: usize = 100_000_000;

/// One drive follows another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lag {
    /// Index of the drive that leads.
    pub(crate) leads: usize,
    /// Index of the drive that follows.
    pub(crate) follows: usize,
    /// By how much, s; not negative.
    pub(crate) seconds: f64,
    /// Their correlation then; negative where one mirrors the other.
    pub(crate) correlation: f64,
}

/// The lags among the first `drives`, over half a beat.
pub(crate) fn of(drives: &Drives, clock: &Clock, leading: usize, period: f64) -> Vec<Lag> {
    let leading = leading.min(drives.count());
    let half = whole::floor(0.5 * period / clock.step).and_then(|n| usize::try_from(n).ok()).unwrap_or(0);
    let pairs = leading * leading.saturating_sub(1);
    let work = clock.slots.len().saturating_mul(pairs).saturating_mul(half);
    let every = work.div_ceil(MOST_WORK).max(1);
    let mut lags = Vec::new();
    for first in 0..leading {
        for second in first + 1..leading {
            let ways = [(first, second), (second, first)];
            let tried = ways.into_iter().flat_map(|way| (0..=half).step_by(every).map(move |shift| (way, shift)));
            let found = tried.filter_map(|((leads, follows), shift)| {
                let correlation = correlation(drives, clock, leads, follows, shift)?;
                Some(Lag { leads, follows, seconds: whole::count(shift) * clock.step, correlation })
            });
            let best = found.reduce(|a, b| if b.correlation.abs() > a.correlation.abs() { b } else { a });
            lags.extend(best.filter(|lag| lag.correlation.abs() >= ALIKE));
        }
    }
    lags
}

fn correlation(drives: &Drives, clock: &Clock, leads: usize, follows: usize, shift: usize) -> Option<f64> {
    let (mut both, mut one, mut other) = (0.0, 0.0, 0.0);
    for (a, b) in clock.slots.iter().zip(clock.slots.iter().skip(shift)) {
        if let (Some(a), Some(b)) = (a, b) {
            let (x, y) = (drives.at(*a, leads), drives.at(*b, follows));
            (both, one, other) = (both + x * y, one + x * x, other + y * y);
        }
    }
    let size = (one * other).sqrt();
    (size > 0.0).then(|| both / size)
}
