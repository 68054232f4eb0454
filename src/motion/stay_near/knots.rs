//! Which samples become knots: few, and none too many.
//!
//! What: from the first sample on, each piece takes seven tenths of the way over which a curve over the knots chosen so far can stay near all samples. Then every inner knot is asked for again: where a curve without it stays
//! near too, it goes. Invariant: without any one inner knot no curve of such pieces, whatever it does elsewhere, stays near every sample. It is enough to show that for the samples between some
//! knots to either side; and as fewer knots allow fewer curves, what was shown once stays true.
//! Limit: asked over at most [`MOST_TO_EITHER_SIDE`] knots to either side; where that leaves it open, the knot stays.

#![allow(clippy::indexing_slicing, reason = "knots are indices of samples, sides are cut to the list's ends")]

use super::samples::Samples;
use super::window::{Aim, Given, Outcome, State, Window};
use super::work::Work;

/// Knots to either side over which a knot is asked for.
const MOST_TO_EITHER_SIDE: usize = 24;
/// Knots before the last that may still move while the next one is looked for.
const FREE_BEHIND: usize = 2;

/// How much of the way to the farthest sample a piece takes, in tenths; the next one is tried where rounding ends the way. A knot at the very end of what is possible leaves the pieces after it no freedom: over 100
/// curves seven tenths gave the fewest knots that no curve failed with.
const TENTHS: [usize; 4] = [7, 6, 5, 4];

/// The chosen knots and a curve over them that stays near every sample.
#[derive(Debug)]
pub(super) struct Chosen {
    /// Samples that are knots; first and last among them.
    pub(super) knots: Vec<usize>,
    /// What the curve does there.
    pub(super) states: Vec<State>,
}

/// Chooses knots. `rest`: the curve starts and stops; otherwise it goes straight on outside. `None` where rounding gets in the way, or the work is used up.
pub(super) fn choose(samples: Samples<'_>, rest: bool, work: &Work) -> Option<Chosen> {
    let mut chosen = TENTHS.iter().find_map(|tenths| reach_out((samples, work), rest, *tenths)).unwrap_or_else(|| every_sample(samples));
    let mut j = 1;
    while j + 1 < chosen.knots.len() {
        if work.is_used_up() {
            return None;
        }
        if !taken_out((samples, work), &mut chosen, j, rest)? {
            j += 1;
        }
    }
    Some(chosen)
}

/// Every sample a knot, and a curve that rests at each: it stays near all of them.
fn every_sample(samples: Samples<'_>) -> Chosen {
    let n = samples.len();
    Chosen { knots: (0..n).collect(), states: (0..n).map(|i| [samples.value(i), 0.0, 0.0]).collect() }
}

/// Knots from the first sample to the last, each a good part of what is possible behind the one before.
fn reach_out((samples, work): (Samples<'_>, &Work), rest: bool, tenths: usize) -> Option<Chosen> {
    let n = samples.len();
    let mut chosen = Chosen { knots: vec![0], states: vec![[0.0; 3]] };
    let mut length = samples.frame(7.min(n - 1)) - samples.frame(0);
    // Where a knot turned out to leave nothing to go on from, it is put nearer.
    let mut nearer = n;
    loop {
        let last = *chosen.knots.last()?;
        let from = chosen.knots.len().saturating_sub(1 + FREE_BEHIND);
        let step = Step { samples, work, part: &chosen.knots[from..], fixed: (from > 0).then(|| chosen.states[from]), rest, tenths };
        match step.take(length, nearer) {
            Taken::End => return finish((samples, work), chosen, from, rest),
            Taken::Knot(next, states) => {
                length = samples.frame(next) - samples.frame(last);
                chosen.states.truncate(from);
                chosen.states.extend(states);
                chosen.knots.push(next);
                chosen.states.push([0.0; 3]);
                nearer = n;
            }
            Taken::Nothing => {
                let far = chosen.knots.pop()?;
                chosen.states.pop();
                let last = *chosen.knots.last()?;
                if far <= last + 1 {
                    return None;
                }
                nearer = last + (far - last) / 2;
                length = samples.frame(far) - samples.frame(last);
            }
        }
    }
}

/// The search for one more knot.
struct Step<'a> {
    samples: Samples<'a>,
    work: &'a Work,
    part: &'a [usize],
    /// What the curve does at the first knot of the part; `None` at the start of all.
    fixed: Option<State>,
    rest: bool,
    /// Tenths of the way to the farthest sample at which the knot is put.
    tenths: usize,
}

enum Taken {
    /// The last sample can be reached.
    End,
    /// The next knot, and the states at the knots before it.
    Knot(usize, Vec<State>),
    /// No knot follows.
    Nothing,
}

impl Step<'_> {
    fn window(&self, beyond: f64) -> Option<Window<'_>> {
        Window::new((self.samples, self.work), self.part, Some(beyond), Aim::LeastJerk, |i| match (i, self.fixed) {
            (0, None) => Given::End(self.rest),
            (0, Some(state)) => Given::State(state),
            _ => Given::Free,
        })
    }

    fn take(&self, length: f64, nearer: usize) -> Taken {
        let last = self.part.last().copied().unwrap_or(0);
        match self.farthest(length) {
            Some(reached) if reached == self.samples.len() && nearer >= reached => Taken::End,
            Some(reached) if reached > last + 1 => {
                let next = (last + ((reached - 1 - last) * self.tenths / 10).max(1)).min(nearer);
                // What is kept comes from the easiest curve up to the new knot, not from one that was stretched to the utmost.
                let Some(mut window) = self.window(self.samples.frame(next)) else { return Taken::Nothing };
                match window.near_up_to(next + 1) {
                    Outcome::Near => Taken::Knot(next, (0..self.part.len()).map(|i| window.state(i)).collect()),
                    _ => Taken::Nothing,
                }
            }
            _ => Taken::Nothing,
        }
    }

    /// How many samples from the start of all a curve can stay near.
    fn farthest(&self, mut length: f64) -> Option<usize> {
        let last = self.part.last().copied()?;
        let start = self.samples.frame(last);
        if last + 1 < self.samples.len() {
            length = length.max(self.samples.frame(last + 1) - start);
        }
        loop {
            let mut window = self.window(start + length)?;
            let reached = window.reach(self.samples.len())?;
            if window.stretch() <= 1.9 || reached == self.samples.len() {
                return Some(reached);
            }
            length *= 2.5;
        }
    }
}

/// The way to the last sample, where the curve ends as it must; with one more knot where it needs it.
fn finish((samples, work): (Samples<'_>, &Work), mut chosen: Chosen, from: usize, rest: bool) -> Option<Chosen> {
    let end = samples.len() - 1;
    let last = *chosen.knots.last()?;
    let mut more = None;
    loop {
        let mut part = chosen.knots[from..].to_vec();
        part.extend(more);
        part.push(end);
        let fixed = chosen.states[from];
        let given = |i: usize| match i {
            0 if from == 0 => Given::End(rest),
            0 => Given::State(fixed),
            _ if i + 1 == part.len() => Given::End(rest),
            _ => Given::Free,
        };
        let mut window = Window::new((samples, work), &part, None, Aim::LeastJerk, given)?;
        if window.stay_near_all() == Outcome::Near {
            chosen.states.truncate(from);
            chosen.states.extend((0..part.len()).map(|i| window.state(i)));
            chosen.knots.truncate(from);
            chosen.knots.extend(&part);
            return Some(chosen);
        }
        let before = more.unwrap_or(last);
        if before + 1 >= end {
            return None;
        }
        more = Some(before + (end - before).div_ceil(2).max(1).min(end - 1 - before));
    }
}

/// Takes knot `j` out where a curve without it stays near every sample; true where it did.
fn taken_out((samples, work): (Samples<'_>, &Work), chosen: &mut Chosen, j: usize, rest: bool) -> Option<bool> {
    let last = chosen.knots.len() - 1;
    let mut side = 2;
    loop {
        let (from, to) = (j.saturating_sub(side), (j + side).min(last));
        let part: Vec<usize> = (from..=to).filter(|i| *i != j).map(|i| chosen.knots[i]).collect();
        let whole = from == 0 && to == last;
        let end = part.len() - 1;
        let ends = |i: usize| (i == 0 && from == 0) || (i == end && to == last);
        let free = |i| if ends(i) { Given::End(rest) } else { Given::Free };
        // What rounding leaves open over a few knots it leaves open over more.
        if Window::new((samples, work), &part, None, Aim::LeastSquares, free)?.stay_near_all() != Outcome::Near {
            return Some(false);
        }
        let (a, b) = (chosen.states[from], chosen.states[to]);
        let mut joined = Window::new((samples, work), &part, None, Aim::LeastJerk, |i| match i {
            _ if ends(i) => Given::End(rest),
            0 => Given::State(a),
            _ if i == end => Given::State(b),
            _ => Given::Free,
        })?;
        if joined.stay_near_all() == Outcome::Near {
            put(chosen, &joined, j, from, to);
            return Some(true);
        }
        if whole || side >= MOST_TO_EITHER_SIDE {
            return Some(false);
        }
        side = (2 * side).min(MOST_TO_EITHER_SIDE);
    }
}

/// Knot `j` goes, and the states from `from` to `to` become those of the window.
fn put(chosen: &mut Chosen, window: &Window<'_>, j: usize, from: usize, to: usize) {
    chosen.knots.remove(j);
    chosen.states.remove(j);
    for (i, state) in chosen.states[from..to].iter_mut().enumerate() {
        *state = window.state(i);
    }
}
