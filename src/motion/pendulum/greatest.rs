//! How far something swings over a stretch of time, at most: found by halving, with a bound on what lies between two instants.
//!
//! What: between instants `d` apart a path leaves the straight line between its places by at most d^2/8 times its greatest second derivative, and on the straight line nothing
//! is further out than at the ends. Where that bound cannot beat what is known by more than 1e-5 of it, nothing is looked for. No sampling decides.

use super::size;

/// A path in two directions over a stretch that begins at 0.
pub(crate) trait Swinging {
    /// Where it is at `t`.
    fn at(&self, t: f64) -> [f64; 2];
    /// No place between these instants is further from the middle.
    fn most(&self, from: f64, to: f64) -> f64;
    /// No second derivative between these instants is greater.
    fn curvature(&self, from: f64, to: f64) -> f64;
}

/// The greatest swing so far, mm, and when.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Greatest {
    /// How far.
    pub(crate) value: f64,
    /// When, s.
    pub(crate) at: f64,
}

/// Share by which a swing may be greater than the one found.
const CLOSE: f64 = 1e-5;

/// Halvings of one search at most: 2^-40 of a stretch.
const DEEPEST: u32 = 40;

/// Places that one search looks at; beyond them the bound counts as found.
const MOST_LOOKS: u64 = 1 << 20;

impl Greatest {
    /// Takes in what swings between two instants of a stretch that begins at `begin`; says how many places were looked at.
    pub(crate) fn take_in(&mut self, path: &(impl Swinging + ?Sized), begin: f64, from: f64, to: f64) -> u64 {
        if path.most(from, to) <= self.value * (1.0 + CLOSE) {
            return 1;
        }
        let mut looked = 2;
        let ends = [from, to].map(|t| size(path.at(t)));
        let [first, last] = ends;
        self.see(first, begin + from);
        self.see(last, begin + to);
        let mut open = vec![(from, first, to, last, 0)];
        while let Some((a, at_a, b, at_b, depth)) = open.pop() {
            let bound = at_a.max(at_b) + 0.125 * (b - a) * (b - a) * path.curvature(a, b);
            // What is no number is nothing that halving could tell.
            if !(bound > self.value * (1.0 + CLOSE)) || depth >= DEEPEST {
                continue;
            }
            if looked >= MOST_LOOKS {
                self.see(bound, begin + 0.5 * (a + b));
                continue;
            }
            let middle = 0.5 * (a + b);
            let at_middle = size(path.at(middle));
            looked += 1;
            self.see(at_middle, begin + middle);
            open.push((middle, at_middle, b, at_b, depth + 1));
            open.push((a, at_a, middle, at_middle, depth + 1));
        }
        looked
    }

    fn see(&mut self, value: f64, at: f64) {
        if value > self.value {
            *self = Greatest { value, at };
        }
    }
}
