//! The length of one beat: the shift at which the motion is most like itself.
//!
//! What: autocorrelation of the leading drives over pairs of complete rows, one minus half the mean square of the difference over the variance; gaps are left out of the pairs, not filled. Of the peaks
//! behind the first fall below a half, the first that reaches nine tenths of the highest, which must be 0.5 or more; a parabola through three points finds it between rows.
//! Limits: shifts up to half of the recording; rows on an even clock, of which some may be missing.

use super::drives::Drives;
use crate::number::whole;

/// Share of a step by which a row may be off the even clock.
const OFF: f64 = 0.2;

/// Slots of the clock that are compared at every shift; a longer recording is compared at every second slot, third, and so on first.
const MOST_SLOTS: usize = 6000;

/// Most slots of the clock for each row: beyond that the rows have no even clock.
const MOST_MISSING: usize = 20;

/// An even clock, and the row at each of its ticks.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Clock {
    /// Seconds from tick to tick.
    pub(crate) step: f64,
    /// Row of each tick, among the complete ones.
    pub(crate) slots: Vec<Option<usize>>,
}

impl Clock {
    /// The even clock of these times; `None` where they have none.
    pub(crate) fn of(times: &[f64]) -> Option<Clock> {
        let mut steps: Vec<f64> = times.iter().zip(times.iter().skip(1)).map(|(a, b)| b - a).collect();
        steps.sort_by(f64::total_cmp);
        let usual = *steps.get(steps.len() / 2)?;
        let (first, last) = (times.first()?, times.last()?);
        let ticks: f64 = times.iter().zip(times.iter().skip(1)).map(|(a, b)| ((b - a) / usual).round()).sum();
        let step = (last - first) / ticks;
        if !(step > 0.0 && ticks <= whole::count(times.len().saturating_mul(MOST_MISSING))) {
            return None;
        }
        let mut slots = vec![None; usize::try_from(whole::nearest(ticks)?).ok()? + 1];
        for (row, time) in times.iter().enumerate() {
            let tick = (time - first) / step;
            if !((tick - tick.round()).abs() <= OFF) {
                return None;
            }
            *slots.get_mut(usize::try_from(whole::nearest(tick)?).ok()?)? = Some(row);
        }
        Some(Clock { step, slots })
    }
}

/// Length of one beat of the leading drives, s.
pub(crate) fn of(drives: &Drives, clock: &Clock, leading: usize) -> Option<f64> {
    let coarse = clock.slots.len().div_ceil(MOST_SLOTS).max(1);
    let likeness = Likeness { drives, clock, leading: leading.min(drives.count()), variance: 0.0 }.with_variance();
    if !(likeness.variance > 0.0) {
        return None;
    }
    let shifts = clock.slots.len() / 2;
    let at: Vec<(usize, f64)> = (0..=shifts).step_by(coarse).filter_map(|shift| Some((shift, likeness.at(shift, coarse)?))).collect();
    let fallen = at.iter().position(|(_, r)| *r < 0.5)?;
    let behind = at.get(fallen..)?;
    let peaks = || {
        behind.windows(3).filter_map(|w| match w {
            [(_, a), (shift, b), (_, c)] if a < b && b >= c => Some((*shift, *b)),
            _ => None,
        })
    };
    let highest = peaks().map(|(_, r)| r).fold(0.0, f64::max);
    if !(highest >= 0.5) {
        return None;
    }
    let (near, _) = peaks().find(|(_, r)| *r >= 0.9 * highest)?;
    // With every slot, around the place found.
    let around = near.saturating_sub(coarse).max(1)..=(near + coarse).min(shifts);
    let best = around.filter_map(|shift| Some((shift, likeness.at(shift, 1)?))).reduce(|a, b| if b.1 > a.1 { b } else { a })?;
    let beside = |shift: usize| likeness.at(shift, 1);
    let off = match (beside(best.0.checked_sub(1)?), beside(best.0 + 1)) {
        (Some(a), Some(c)) => {
            let bend = a - 2.0 * best.1 + c;
            if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
        }
        _ => 0.0,
    };
    Some((whole::count(best.0) + off) * clock.step)
}

struct Likeness<'a> {
    drives: &'a Drives,
    clock: &'a Clock,
    leading: usize,
    variance: f64,
}

impl Likeness<'_> {
    fn with_variance(mut self) -> Self {
        self.variance = (0..self.leading).map(|d| self.drives.rms(d)).map(|rms| rms * rms).sum();
        self
    }

    /// Autocorrelation at a shift, over every `every`-th slot; `None` over too few pairs.
    fn at(&self, shift: usize, every: usize) -> Option<f64> {
        let slots = &self.clock.slots;
        let (mut sum, mut pairs) = (0.0, 0_usize);
        for (a, b) in slots.iter().zip(slots.iter().skip(shift)).step_by(every) {
            if let (Some(a), Some(b)) = (a, b) {
                pairs += 1;
                for drive in 0..self.leading {
                    let d = self.drives.at(*a, drive) - self.drives.at(*b, drive);
                    sum += d * d;
                }
            }
        }
        // An eighth of the slots: a quarter of those that overlap at the largest shift.
        let enough = pairs.saturating_mul(8).saturating_mul(every) >= slots.len();
        enough.then(|| 1.0 - sum / whole::count(pairs) / (2.0 * self.variance))
    }
}
