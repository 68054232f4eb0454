//! The least value of a quantity over a span of time, proven: branch and bound (any textbook of global optimisation).
//!
//! The caller gives, for any cell of time, a number that nothing in the cell is below and the value in its middle. Cells are
//! halved, the one with the lowest bound first, until no bound is more than a tolerance below the least value seen. Invariant:
//! `lower` is never above the true least value. Limits: the work is bounded; where it runs out `lower` is still a bound, only a
//! wide one, and `tight` says so.

use core::cmp::Ordering;
use std::collections::BinaryHeap;

/// Cells halved before the search gives up. A smooth quantity takes some hundred; one whose bound is only of first order about
/// the square root of one over the relative tolerance, some thousand.
const MOST_CELLS: u64 = 1 << 15;

/// Halvings that a cell of which nothing is known counts as: a mechanism has then looked for its place in vain, which takes as long as some dozen that it finds.
const LOST: u64 = 64;

/// A stretch of time with what is known of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::check) struct Cell {
    /// Start, frame time.
    pub(in crate::check) from: f64,
    /// End, frame time.
    pub(in crate::check) to: f64,
    /// Nothing in the cell is below this; minus infinity where nothing is known.
    pub(in crate::check) lower: f64,
    /// The value in the middle; infinite where there is none.
    pub(in crate::check) middle: f64,
}

/// The least value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::check) struct Least {
    /// Nothing in the span is below this.
    pub(in crate::check) lower: f64,
    /// The least value seen.
    pub(in crate::check) upper: f64,
    /// Frame time of `upper`; of the cell that is not bounded where the search gave up.
    pub(in crate::check) at: f64,
    /// True where `lower` is within the tolerance of `upper`.
    pub(in crate::check) tight: bool,
    /// Cells that were halved, those of which nothing was known many times.
    pub(in crate::check) halved: u64,
}

impl Eq for Cell {}

impl PartialOrd for Cell {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Cell {
    /// The lowest bound is the greatest, of equals the earliest.
    fn cmp(&self, other: &Self) -> Ordering {
        other.lower.total_cmp(&self.lower).then(other.from.total_cmp(&self.from))
    }
}

/// The least value over the cells given, which cover the span. `look` bounds any part of them. The search is content, though not
/// tight, once nothing is below `enough`; it gives up after `most` halvings.
pub(in crate::check) fn least(
    cells: impl IntoIterator<Item = Cell>,
    tolerance: f64,
    enough: f64,
    most: u64,
    look: &impl Fn(f64, f64) -> Cell,
) -> Least {
    let mut open: BinaryHeap<Cell> = BinaryHeap::new();
    let mut best = Least { lower: f64::INFINITY, upper: f64::INFINITY, at: f64::NAN, tight: true, halved: 0 };
    let see = |best: &mut Least, cell: &Cell| {
        let at = 0.5 * (cell.from + cell.to);
        if cell.middle < best.upper || (cell.middle == best.upper && at < best.at) {
            (best.upper, best.at) = (cell.middle, at);
        }
    };
    for cell in cells {
        see(&mut best, &cell);
        open.push(cell);
    }
    // Cells that cannot be halved any further: their bound stays.
    let mut stuck: Option<Cell> = None;
    while let Some(cell) = open.pop() {
        best.lower = cell.lower.min(best.upper);
        if best.at.is_nan() {
            best.at = 0.5 * (cell.from + cell.to);
        }
        if cell.lower >= best.upper - tolerance {
            break;
        }
        if cell.lower >= enough {
            best.tight = false;
            break;
        }
        let middle = 0.5 * (cell.from + cell.to);
        // 2^-40 of a frame is far below the time any motor step takes; frames are below 2^27, so such cells still have distinct ends.
        let ends = !(cell.to - cell.from > 9.1e-13 * (1.0 + middle.abs()));
        if ends || best.halved >= most.min(MOST_CELLS) {
            stuck = Some(cell);
            break;
        }
        for (from, to) in [(cell.from, middle), (middle, cell.to)] {
            let mut half = look(from, to);
            if half.lower == f64::NEG_INFINITY {
                best.halved += LOST;
            }
            // What held for the whole holds for its halves.
            half.lower = half.lower.max(cell.lower);
            see(&mut best, &half);
            open.push(half);
        }
        best.halved += 1;
    }
    if let Some(cell) = stuck {
        best.tight = false;
        best.at = 0.5 * (cell.from + cell.to);
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    fn search(f: impl Fn(f64) -> f64, slope: f64, from: f64, to: f64, tolerance: f64) -> Least {
        let look = |from: f64, to: f64| {
            let middle = f(0.5 * (from + to));
            Cell { from, to, lower: middle - slope * 0.5 * (to - from), middle }
        };
        least([look(from, to)], tolerance, f64::INFINITY, u64::MAX, &look)
    }

    #[test]
    fn a_narrow_dip_between_whole_times_is_found() {
        let f = |t: f64| 1.0 - 0.5 / (1.0 + 1e6 * (t - 37.313) * (t - 37.313));
        // Slope of 0.5 / (1 + k x^2): at most 0.5 * 0.65 * sqrt(k).
        let found = search(f, 325.0, 36.0, 39.0, 1e-6);
        assert!(found.tight && found.lower <= 0.5 && 0.5 - found.lower <= 1e-6, "{found:?}");
        assert!((found.at - 37.313).abs() < 1e-5);
    }

    #[test]
    fn ends_count() {
        let found = search(|t| t, 1.0, 3.0, 9.0, 1e-9);
        assert!(found.lower <= 3.0 && 3.0 - found.lower <= 1e-9, "{found:?}");
    }

    #[test]
    fn what_is_enough_ends_the_search_and_is_said() {
        let look = |from: f64, to: f64| Cell { from, to, lower: 5.0 - 0.5 * (to - from), middle: 5.0 };
        let found = least([look(0.0, 8.0)], 1e-9, 3.0, u64::MAX, &look);
        assert!(!found.tight && (3.0..5.0).contains(&found.lower), "{found:?}");
    }

    #[test]
    fn a_share_that_is_used_up_leaves_a_bound() {
        let look = |from: f64, to: f64| Cell { from, to, lower: 5.0 - (to - from), middle: 5.0 };
        let found = least([look(0.0, 4.0)], 1e-9, f64::INFINITY, 7, &look);
        assert!(!found.tight && found.halved == 7 && found.lower < 5.0, "{found:?}");
    }

    #[test]
    fn work_without_end_is_given_up_and_said() {
        let found = search(|_| 1.0, 1e9, 0.0, 1.0, 1e-9);
        assert!(!found.tight && found.lower < 0.9, "{found:?}");
        let look = |from, to| Cell { from, to, lower: f64::NEG_INFINITY, middle: f64::INFINITY };
        let none = least([look(0.0, 1.0)], 1e-9, f64::INFINITY, u64::MAX, &look);
        assert!(!none.tight && none.lower == f64::NEG_INFINITY, "{none:?}");
    }
}
