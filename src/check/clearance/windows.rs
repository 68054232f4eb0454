//! The first look at a course: stretch by stretch, some hundred stretches at a time, and of each pair only those that the search could still need are kept.
//!
//! What: a stretch whose bound is no less than what is enough, or no more than the tolerance below a gap that was seen, ends the search when it comes up; of these the one with the
//! least bound stands for all. Both only fall as more is seen, so what is left out early would be left out at the end.
//! Invariant: the search finds what it would find among all stretches. Memory: a window of poses, and the stretches in which a pair is near.

use rayon::prelude::*;

use super::enclosure::Enclosure;
use super::pair::{Couple, Ends, Scene, cell, measured};
use super::search::Cell;

/// Stretches looked at together: their poses are shared by all pairs.
const WINDOW: usize = 256;

/// Where the search of every pair begins.
pub(super) struct Open {
    /// For each pair the stretches to search.
    pub(super) cells: Vec<Vec<Cell>>,
    /// The least gap seen in the middle of any stretch.
    pub(super) nearest: f64,
}

/// Looks at every stretch of the course once. `enough` is the gap that ends a search, by the nearest one seen.
pub(super) fn open(enclosure: &Enclosure<'_>, couples: &[Couple<'_>], scene: Scene, tolerance: f64, enough: &impl Fn(f64) -> f64) -> Open {
    let bodies = enclosure.stage().bodies();
    let mut kept: Vec<Kept> = couples.iter().map(|_| Kept::default()).collect();
    let mut nearest = f64::INFINITY;
    let mut rest = enclosure.stretches();
    loop {
        let spans: Vec<(f64, f64)> = rest.by_ref().take(WINDOW).collect();
        if spans.is_empty() {
            break;
        }
        let ends: Vec<Vec<Ends>> =
            spans.par_iter().map(|(a, b)| bodies.iter().map(|body| enclosure.placed(body, *a, *b)).collect()).collect();
        let window = Window { spans, ends };
        let seen: Vec<Vec<Cell>> = couples.par_iter().map(|couple| window.of(couple, scene)).collect();
        nearest = seen.iter().flatten().map(|c| c.middle).fold(nearest, f64::min);
        let enough = enough(nearest);
        for (kept, seen) in kept.iter_mut().zip(seen) {
            kept.take(seen, tolerance, enough);
        }
    }
    let enough = enough(nearest);
    Open { cells: kept.into_iter().map(|k| k.cells(tolerance, enough)).collect(), nearest }
}

struct Window {
    spans: Vec<(f64, f64)>,
    /// By stretch and body.
    ends: Vec<Vec<Ends>>,
}

impl Window {
    /// What is known of a pair in every stretch.
    fn of(&self, (index, body, other): &Couple<'_>, scene: Scene) -> Vec<Cell> {
        let known = |((a, b), ends): (&(f64, f64), &Vec<Ends>)| {
            let of = |i: usize| ends.get(i).and_then(Option::as_deref);
            cell(*a, *b, measured(body, of(*index), other, other.index().and_then(of)), scene)
        };
        self.spans.iter().zip(&self.ends).map(known).collect()
    }
}

/// The stretches of one pair that count so far.
#[derive(Default)]
struct Kept {
    cells: Vec<Cell>,
    /// Of those left out the one that would be searched first.
    left_out: Option<Cell>,
    /// That with the least gap in its middle, the earliest of equals: the search begins with what was seen in it.
    seen: Option<Cell>,
}

impl Kept {
    fn take(&mut self, seen: Vec<Cell>, tolerance: f64, enough: f64) {
        for cell in seen {
            if self.seen.is_none_or(|s| cell.middle < s.middle) {
                self.seen = Some(cell);
            }
            self.cells.push(cell);
        }
        self.thin(tolerance, enough);
    }

    fn thin(&mut self, tolerance: f64, enough: f64) {
        let ends = enough.min(self.seen.map_or(f64::INFINITY, |s| s.middle - tolerance));
        let left_out = &mut self.left_out;
        self.cells.retain(|cell| {
            let counts = !(cell.lower >= ends);
            // The order of cells is that of a search: the greatest comes up first.
            if !counts && left_out.is_none_or(|l| *cell > l) {
                *left_out = Some(*cell);
            }
            counts
        });
    }

    fn cells(mut self, tolerance: f64, enough: f64) -> Vec<Cell> {
        self.thin(tolerance, enough);
        let seen = self.seen.filter(|s| !self.cells.contains(s) && self.left_out != Some(*s));
        self.cells.extend(self.left_out);
        // It is never searched before the one left out, whose bound is no greater.
        self.cells.extend(seen);
        self.cells
    }
}

#[cfg(test)]
mod tests {
    use super::super::search::least;
    use super::*;

    /// A gap of 20 that dips to 3 at 41.7, by the stretch: what is left out early changes nothing of what is found, and few stretches are kept.
    #[test]
    fn the_search_finds_among_the_kept_what_it_finds_among_all() {
        let gap = |t: f64| 20.0 - 17.0 / (1.0 + (t - 41.7) * (t - 41.7));
        let look = |from: f64, to: f64| {
            let middle = gap(0.5 * (from + to));
            Cell { from, to, lower: middle - 17.0 * 0.65 * 0.5 * (to - from), middle }
        };
        let all: Vec<Cell> = (0..4000_i32).map(|i| look(f64::from(i) * 0.25, f64::from(i + 1) * 0.25)).collect();
        for enough in [f64::INFINITY, 10.0, 1.0] {
            let mut kept = Kept::default();
            for window in all.chunks(WINDOW) {
                kept.take(window.to_vec(), 1e-6, enough);
            }
            let few = kept.cells(1e-6, enough);
            assert!(few.len() < 40, "{} kept", few.len());
            assert_eq!(least(few, 1e-6, enough, &look), least(all.clone(), 1e-6, enough, &look));
        }
    }
}
