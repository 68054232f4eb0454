//! The first look at a course: stretch by stretch, up to some hundred stretches at a time, and of each pair only those that the search could still need are kept.
//!
//! What: a stretch whose bound is no less than what is enough, or no more than the tolerance below a gap that was seen, ends the search when it comes up; of these the one with the
//! least bound stands for all. Both only fall as more is seen, so what is left out early would be left out at the end. Two bodies whose boxes are that far apart over a whole window
//! are measured in it once at most.
//! Invariant: the search finds what it would find among all stretches. Memory: a window of poses, and the stretches in which a pair is near.
//! Limits: where the budget is used up, the rest of the course is one stretch of which nothing is known: the gap is then reported as not proven.

use rayon::prelude::*;

use super::allotment::Allotment;
use super::bounding::{Bounding, Boxes};
use super::enclosure::Enclosure;
use super::pair::{BOXES, Couple, Placed, Scene, cell, measured, placed, placing};
use super::search::Cell;

/// Stretches looked at together: their poses are shared by all pairs. The first window is one stretch: what is near in it says what is far in the others.
const WINDOW: usize = 256;

/// Pairs up to which it costs little to compare their boxes in every stretch.
const FEW: usize = 256;

/// Where the search of every pair begins.
pub(super) struct Open {
    /// For each pair the stretches to search.
    pub(super) cells: Vec<Vec<Cell>>,
    /// The least gap seen in the middle of any stretch.
    pub(super) nearest: f64,
}

/// Looks at every stretch of the course once. `enough` is the gap that ends a search, by the nearest one seen.
pub(super) fn open(
    enclosure: &Enclosure<'_>,
    couples: &[Couple<'_>],
    scene: Scene,
    tolerance: f64,
    enough: &impl Fn(f64) -> f64,
    allotment: &mut Allotment<'_>,
) -> Open {
    let bodies = enclosure.stage().bodies();
    let each: u64 = bodies.iter().map(placing).sum();
    let mut kept: Vec<Kept> = couples.iter().map(|_| Kept::default()).collect();
    let mut nearest = f64::INFINITY;
    let mut rest = enclosure.stretches();
    let mut size = 1;
    loop {
        let spans: Vec<(f64, f64)> = rest.by_ref().take(size).collect();
        let Some((from, _)) = spans.first().copied() else { break };
        if allotment.is_used_up() {
            let (_, to) = enclosure.span();
            let unknown = Cell { from, to, lower: f64::NEG_INFINITY, middle: f64::INFINITY };
            kept.iter_mut().for_each(|k| k.cells.push(unknown));
            break;
        }
        let by_stretch: Vec<Vec<Option<Placed>>> =
            spans.par_iter().map(|(a, b)| bodies.iter().map(|body| placed(enclosure, body, *a, *b)).collect()).collect();
        let window = Window::new(spans, by_stretch);
        let limit = enough(nearest);
        let seen: Vec<Seen> = couples.par_iter().map(|couple| window.of(couple, scene, end(couple, limit), couples.len() <= FEW)).collect();
        // What parts of one figure do says nothing of others.
        let others = seen.iter().zip(couples).filter(|(_, (_, _, other))| !other.is_own());
        nearest = others.flat_map(|(s, _)| &s.cells).map(|c| c.middle).fold(nearest, f64::min);
        let measurements: u64 = seen.iter().map(|s| s.spent).sum();
        let stretches = u64::try_from(window.spans.len()).unwrap_or(u64::MAX);
        let spent = measurements + each * stretches;
        allotment.spent(spent);
        // Many pairs have small windows, so that one of them does not cost many times what is left.
        size = usize::try_from(allotment.share(2) / (spent / stretches).max(1)).unwrap_or(usize::MAX).clamp(1, WINDOW);
        let limit = enough(nearest);
        for ((kept, seen), couple) in kept.iter_mut().zip(seen).zip(couples) {
            kept.take(seen.cells, tolerance, end(couple, limit));
        }
    }
    let enough = enough(nearest);
    let cells = kept.into_iter().zip(couples).map(|(k, couple)| k.cells(tolerance, end(couple, enough))).collect();
    Open { cells, nearest }
}

/// The gap that ends a search of a pair, where `enough` ends that of others: parts of one figure only must not meet.
pub(super) fn end((_, _, other): &Couple<'_>, enough: f64) -> f64 {
    if other.is_own() { 0.0 } else { enough }
}

struct Window {
    spans: Vec<(f64, f64)>,
    /// By stretch and body.
    placed: Vec<Vec<Option<Placed>>>,
    /// By body, over all stretches; none where it has nothing to hold, or is somewhere not bounded.
    around: Vec<Option<Bounding>>,
}

/// What a pair does in a window, and what it cost to see.
struct Seen {
    cells: Vec<Cell>,
    spent: u64,
}

impl Window {
    fn new(spans: Vec<(f64, f64)>, placed: Vec<Vec<Option<Placed>>>) -> Window {
        let bodies = placed.first().map_or(0, Vec::len);
        let around = (0..bodies).map(|i| {
            let boxes: Option<Vec<Bounding>> =
                placed.iter().map(|all| all.get(i).and_then(Option::as_ref).and_then(|p| p.boxes.all)).collect();
            boxes.and_then(|boxes| boxes.into_iter().reduce(Bounding::joined))
        });
        let around = around.collect();
        Window { spans, placed, around }
    }

    /// What is known of a pair in every stretch; one cell, or three among `few` pairs, where it is far apart throughout.
    fn of(&self, couple: &Couple<'_>, scene: Scene, enough: f64, few: bool) -> Seen {
        let (index, body, other) = couple;
        let around = |i: usize| self.around.get(i).copied().flatten();
        let theirs = other.index().map_or(other.standing().all, around);
        if let (Some(mine), Some(theirs)) = (around(*index), theirs) {
            let gap = mine.gap(&theirs) - scene.rounding;
            if gap >= enough {
                return if few { self.nearest(couple, scene, gap) } else { self.far(gap) };
            }
        }
        let standing: Boxes = other.standing();
        let (mut spent, mut boxes) = (0, 0);
        let known = |((a, b), placed): (&(f64, f64), &Vec<Option<Placed>>)| {
            let of = |i: usize| placed.get(i).and_then(Option::as_ref);
            let (mine, theirs) = (of(*index), other.index().and_then(of));
            boxes += 1;
            // Boxes that are far enough apart in this stretch say all that the search needs.
            let around = |p: Option<&Placed>| p.and_then(|p| p.boxes.all);
            let far = around(mine).zip(around(theirs).or(standing.all)).map(|(a, b)| a.gap(&b));
            if let Some(gap) = far.filter(|gap| gap - scene.rounding >= enough) {
                return cell(*a, *b, (gap, f64::INFINITY), scene);
            }
            let (found, n) = measured(body, mine, other, &standing, theirs);
            spent += n;
            cell(*a, *b, found, scene)
        };
        let cells = self.spans.iter().zip(&self.placed).map(known).collect();
        Seen { cells, spent: spent + boxes / BOXES }
    }

    /// Of a pair far apart throughout: its boxes over the whole window are no nearer.
    fn far(&self, lower: f64) -> Seen {
        let (Some((from, _)), Some((_, to))) = (self.spans.first(), self.spans.last()) else { return Seen { cells: vec![], spent: 1 } };
        Seen { cells: vec![Cell { from: *from, to: *to, lower, middle: f64::INFINITY }], spent: 1 }
    }

    /// The same where pairs are few: the stretch in which the boxes are nearest is measured, so that a bound comes with the time that it is about.
    fn nearest(&self, (index, body, other): &Couple<'_>, scene: Scene, lower: f64) -> Seen {
        let standing = other.standing();
        let gap = |placed: &Vec<Option<Placed>>| {
            let around = |i: usize| placed.get(i).and_then(Option::as_ref).and_then(|p| p.boxes.all);
            let theirs = other.index().map_or(standing.all, around)?;
            Some(around(*index)?.gap(&theirs) - scene.rounding)
        };
        let gaps = self.placed.iter().map(|placed| gap(placed).unwrap_or(lower));
        let Some((n, least)) = gaps.enumerate().min_by(|a, b| a.1.total_cmp(&b.1)) else { return self.far(lower) };
        let (Some((a, b)), Some(placed)) = (self.spans.get(n), self.placed.get(n)) else { return self.far(lower) };
        let of = |i: usize| placed.get(i).and_then(Option::as_ref);
        let (found, compared) = measured(body, of(*index), other, &standing, other.index().and_then(of));
        let Seen { cells, spent } = self.far(least);
        let rest = cells.into_iter().flat_map(|c| [Cell { to: *a, ..c }, Cell { from: *b, ..c }]).filter(|c| c.from < c.to);
        let cells = core::iter::once(cell(*a, *b, found, scene)).chain(rest).collect();
        let boxes = u64::try_from(self.spans.len()).unwrap_or(u64::MAX) / BOXES;
        Seen { cells, spent: spent + compared + boxes }
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
        // What is kept of a pair that is always far apart is nothing.
        if self.cells.is_empty() {
            self.cells = Vec::new();
        }
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
            let (a, b) = (least(few, 1e-6, enough, u64::MAX, &look), least(all.clone(), 1e-6, enough, u64::MAX, &look));
            assert_eq!(a, b);
        }
    }
}
