//! The sum of many layers: those that are polynomials are added once for each stretch between knots, not once for each place asked.
//!
//! What: frame time is cut into blocks. In a block every layer is a row of stretches, each of one formula. Over the instants at which any of them changes lies a binary tree; a stretch is
//! added to the few nodes that it covers as a whole, and every node hands its sum on to its halves. What is left in a leaf is the sum of all polynomials between two
//! neighbouring changes. Layers that are no polynomials there are asked at each place. So n layers of k stretches cost n k log(n k), and a place no more than the layers that are no polynomials.
//! Invariant: a polynomial is only ever cut to a part of its own stretch, so rounding does not grow. Blocks lie on a grid of their own: whatever span is asked for, an
//! instant is computed alike.
//! Limits: a stretch shorter than 1e-7 frames is passed over; knots so near each other are one knot anyway.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::term::Term;
use crate::motion::quintic::Quintic;
use crate::motion::signal::Stretch;
use crate::number::{Jet, whole};

/// Layers of a channel from which on they are summed in blocks.
pub(super) const MANY: usize = 8;

/// Leaves kept in all blocks together, some ten megabytes: the axes of a mechanism ask for the same channels one after the other.
const KEPT: usize = 100_000;

/// From the end of a stretch to an instant in the next, frames.
const BEYOND: f64 = 1e-7;

/// Frames of the shortest and the longest block.
const SHORTEST: f64 = 16.0;
const LONGEST: f64 = 4096.0;

/// Frames that stand for all where the cost of a place is counted, beside frame 0.
const LOOKED_AT: [f64; 13] = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0, 512.0, 1024.0, 2048.0, 4096.0];

/// Many layers.
#[derive(Debug)]
pub(super) struct Sum {
    length: f64,
    layers: usize,
    /// What the layers that are no polynomial cost, the most at any of the frames looked at.
    asked: usize,
    blocks: Mutex<BTreeMap<i64, Arc<Block>>>,
}

/// A stretch of a layer in frame time, later and scaled as the layer is.
#[derive(Debug, Clone, Copy)]
struct Part {
    from: f64,
    to: f64,
    what: What,
}

#[derive(Debug, Clone, Copy)]
enum What {
    /// The polynomial over local time (t - origin) / length.
    Polynomial { origin: f64, length: f64, quintic: Quintic },
    /// The layer of this index is asked.
    Asked(usize),
}

/// The sums in a block.
#[derive(Debug)]
struct Block {
    /// Where leaves begin and end.
    changes: Vec<f64>,
    leaves: Vec<Leaf>,
}

#[derive(Debug)]
struct Leaf {
    sum: Quintic,
    /// Shared by neighbours that ask the same layers: thousands of drifts are asked everywhere.
    asked: Arc<Vec<usize>>,
}

impl Sum {
    /// The sum of these layers, where they are many.
    pub(super) fn of(terms: &[Term]) -> Option<Sum> {
        if terms.len() <= MANY {
            return None;
        }
        let at_zero: Vec<Part> = terms.iter().enumerate().map(|(i, term)| part(i, term, 0.0)).collect();
        let stretches_per_frame: f64 = at_zero.iter().map(|p| 1.0 / (p.to - p.from)).filter(|d| d.is_finite()).sum();
        // About four stretches of every layer.
        let wanted = 4.0 * whole::count(terms.len()) / stretches_per_frame;
        let mut length = SHORTEST;
        while length < wanted && length < LONGEST {
            length *= 2.0;
        }
        // Amounts and rates often change only after some frames: until then a cycle is a polynomial.
        let is_asked = |p: &Part| matches!(p.what, What::Asked(_));
        let at = |t: f64| terms.iter().enumerate().filter(|(i, term)| is_asked(&part(*i, term, t))).map(|(_, term)| term.cost()).sum();
        let zero = at_zero.iter().zip(terms).filter(|(p, _)| is_asked(p)).map(|(_, term)| term.cost()).sum();
        let asked = LOOKED_AT.iter().map(|t| at(*t)).fold(zero, usize::max);
        Some(Sum { length, layers: terms.len(), asked, blocks: Mutex::default() })
    }

    /// Layers that one evaluation asks, about.
    pub(super) fn cost(&self) -> usize {
        4 + self.asked
    }

    /// What the blocks of a span cost, as so many layers: each layer has about four stretches in a block, which are sorted and added on the way down the tree.
    pub(super) fn span_cost(&self, from: f64, to: f64) -> usize {
        let blocks =
            whole::ceiling((to - from) / self.length).and_then(|n| usize::try_from(n).ok()).map_or(usize::MAX, |n| n.saturating_add(1));
        self.layers.saturating_mul(16).saturating_mul(blocks)
    }

    /// Value and derivatives at `t`, by the formulas that hold at `branch`.
    pub(super) fn jet(&self, terms: &[Term], t: f64, branch: f64) -> Jet {
        let plain = || terms.iter().fold(Jet::default(), |sum, term| sum + term.jet(t, branch));
        let Some(index) = whole::floor(branch / self.length) else { return plain() };
        let block = self.block(terms, index);
        let Some((from, to, leaf)) = block.leaf(branch) else { return plain() };
        let h = to - from;
        leaf.asked.iter().filter_map(|i| terms.get(*i)).fold(leaf.sum.jet((t - from) / h, h), |sum, term| sum + term.jet(t, branch))
    }

    fn block(&self, terms: &[Term], index: i64) -> Arc<Block> {
        let mut blocks = self.blocks.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(block) = blocks.get(&index) {
            return Arc::clone(block);
        }
        let from = whole::real(index) * self.length;
        let block = Arc::new(Block::of(terms, from, from + self.length));
        // Fitting goes forward: the earliest is needed least.
        while blocks.values().map(|b| b.leaves.len()).sum::<usize>() > KEPT {
            blocks.pop_first();
        }
        blocks.insert(index, Arc::clone(&block));
        block
    }
}

/// The stretch of a layer that holds at `branch`.
fn part(index: usize, term: &Term, branch: f64) -> Part {
    let always = Part { from: f64::NEG_INFINITY, to: f64::INFINITY, what: What::Asked(index) };
    let Some(Stretch { from, to, polynomial }) = term.stretch(branch) else { return always };
    if !(from <= branch && branch <= to && from < to) {
        return always;
    }
    let what = match polynomial {
        Some((origin, length, quintic)) => What::Polynomial { origin, length, quintic },
        None => What::Asked(index),
    };
    Part { from, to, what }
}

impl Block {
    fn of(terms: &[Term], from: f64, to: f64) -> Block {
        let mut parts = Vec::new();
        for (i, term) in terms.iter().enumerate() {
            let first = part(i, term, from);
            parts.push(first);
            let (mut reached, mut step) = (first.to, BEYOND);
            while reached < to {
                // Each begins where the one before it ends, whatever rounding says of that instant.
                let part = Part { from: reached, ..part(i, term, reached + step) };
                if !(reached < part.to) {
                    step *= 2.0;
                    continue;
                }
                parts.push(part);
                (reached, step) = (part.to, BEYOND);
            }
        }
        // The first and last leaf reach as far beyond the block as nothing changes, so that none is a sliver of what it is.
        let (first, last) = (from - (to - from), to + (to - from));
        let first = parts.iter().map(|p| p.from).filter(|t| *t <= from).fold(first, f64::max);
        let last = parts.iter().map(|p| p.to).filter(|t| *t >= to).fold(last, f64::min);
        let inner = parts.iter().flat_map(|p| [p.from, p.to]).filter(|t| first < *t && *t < last);
        let mut changes: Vec<f64> = inner.chain([first, last]).collect();
        changes.sort_by(f64::total_cmp);
        changes.dedup();
        let mut leaves = Vec::with_capacity(changes.len());
        let all: Vec<&Part> = parts.iter().collect();
        sums(&changes, &all, Leaf { sum: Quintic::hold(0.0), asked: Arc::default() }, &mut leaves);
        Block { changes, leaves }
    }

    /// The leaf that holds at `branch`, and where it begins and ends.
    fn leaf(&self, branch: f64) -> Option<(f64, f64, &Leaf)> {
        let i = self.changes.partition_point(|t| *t <= branch).checked_sub(1)?.min(self.leaves.len().checked_sub(1)?);
        Some((*self.changes.get(i)?, *self.changes.get(i + 1)?, self.leaves.get(i)?))
    }
}

/// Adds the leaves between these changes to `leaves`; `above` is the sum over all of them of what covers them as a whole.
fn sums(changes: &[f64], parts: &[&Part], above: Leaf, leaves: &mut Vec<Leaf>) {
    let [from, .., to] = changes else { return };
    let Leaf { sum: Quintic(mut sum), asked } = above;
    let (mut rest, mut more) = (Vec::new(), Vec::new());
    for part in parts {
        if part.to <= *from || *to <= part.from {
            continue;
        }
        if !(part.from <= *from && *to <= part.to) {
            rest.push(*part);
            continue;
        }
        match part.what {
            What::Asked(i) => more.push(i),
            What::Polynomial { origin, length, quintic } => {
                let Quintic(here) = quintic.stretch((from - origin) / length, (to - from) / length);
                sum.iter_mut().zip(here).for_each(|(s, c)| *s += c);
            }
        }
    }
    let asked = if more.is_empty() { asked } else { Arc::new([asked.as_slice(), &more].concat()) };
    let n = changes.len() - 1;
    if n <= 1 {
        leaves.push(Leaf { sum: Quintic(sum), asked });
        return;
    }
    let middle = n / 2;
    let Some(at) = changes.get(middle) else { return };
    let share = (at - from) / (to - from);
    let halves = [(changes.get(..=middle), 0.0, share), (changes.get(middle..), share, 1.0 - share)];
    for (changes, begins, width) in halves {
        let half = Leaf { sum: Quintic(sum).stretch(begins, width), asked: Arc::clone(&asked) };
        sums(changes.unwrap_or_default(), &rest, half, leaves);
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::motion::signal::{Knot, Signal, SignalError};
    use crate::number::Generator;
    use crate::shot::{Cycle, Drift, Key};
    use crate::signal::{cycle::Beat, drift::Wander, minimum_jerk};
    use crate::stage::ChannelId;
    use core::sync::atomic::{AtomicUsize, Ordering};

    fn keys(list: &[(f64, f64)]) -> Vec<Key> {
        list.iter().map(|(f, v)| Key::new(*f, *v)).collect()
    }

    fn beat(period: f64, amount: &[(f64, f64)], rate: &[(f64, f64)]) -> Arc<dyn Signal> {
        let of = Cycle::new(ChannelId::of_no_stage(), period, 0.3, keys(&[(0.0, -3.0), (0.4, 5.0), (0.7, 1.0)]), keys(amount), keys(rate));
        Arc::new(Beat::new(&of.unwrap(), 1.0).unwrap())
    }

    /// Cycles with and without ramps, a drift and tracks, later and scaled.
    fn terms() -> Vec<Term> {
        let mut g = Generator::new(5);
        let mut layers: Vec<Arc<dyn Signal>> = Vec::new();
        for i in 0..12_i32 {
            let (amount, rate) =
                ([(20.0, 0.0), (50.0, 1.0), (90.0, 1.0), (120.0, 0.4)], [(30.0, 1.0), (60.0, 1.4), (100.0, 0.0), (140.0, 1.0)]);
            let amount: &[_] = if i % 3 == 0 { &amount } else { &[] };
            let rate: &[_] = if i % 4 == 0 { &rate } else { &[] };
            layers.push(beat(7.0 + 13.0 * g.unit(), amount, rate));
        }
        layers.push(Arc::new(Wander::new(&Drift::new(ChannelId::of_no_stage(), 3, 4.0, 31.0).unwrap(), 1.0)));
        let track = keys(&[(10.0, 0.0), (33.3, 20.0), (33.4, 20.0), (90.0, -40.0)]);
        layers.push(Arc::new(minimum_jerk::through(&track).unwrap()));
        let term =
            |(i, layer): (usize, Arc<dyn Signal>)| Term { layer, delay: 3.7 * whole::count(i), scale: if i % 2 == 0 { 1.0 } else { -0.6 } };
        layers.into_iter().enumerate().map(term).collect()
    }

    /// With amount 0 up to frame 20 no layer is asked at frame 0, and each one where the amounts change.
    #[test]
    fn what_a_place_costs_counts_amounts_that_change_later() {
        let terms = |amount: &[(f64, f64)]| -> Vec<Term> {
            (0..20).map(|i| Term { layer: beat(7.0 + f64::from(i), amount, &[]), delay: 0.0, scale: 1.0 }).collect()
        };
        let cost = |amount: &[(f64, f64)]| Sum::of(&terms(amount)).unwrap().cost();
        assert_eq!([cost(&[]), cost(&[(20.0, 0.0), (50.0, 1.0)])], [4, 24]);
        let wander = || Arc::new(Wander::new(&Drift::new(ChannelId::of_no_stage(), 3, 4.0, 31.0).unwrap(), 1.0));
        let drifts: Vec<Term> = (0..20).map(|_| Term { layer: wander(), delay: 0.0, scale: 1.0 }).collect();
        assert_eq!(Sum::of(&drifts).unwrap().cost(), 64);
    }

    #[test]
    fn it_is_the_sum_of_the_layers_with_their_derivatives() {
        let terms = terms();
        let sum = Sum::of(&terms).unwrap();
        for i in 0..4000_i32 {
            let t = -40.0 + 0.0701 * f64::from(i);
            let plain = terms.iter().fold(Jet::default(), |s, term| s + term.jet(t, t));
            let found = sum.jet(&terms, t, t);
            for (a, b, size) in
                [(plain.p, found.p, 100.0), (plain.v, found.v, 100.0), (plain.a, found.a, 100.0), (plain.j, found.j, 1000.0)]
            {
                assert!((a - b).abs() <= 1e-11 * size, "{t}: {plain:?} {found:?}");
            }
        }
    }

    /// In whatever order and span it is asked, an instant has the same bits.
    #[test]
    fn an_instant_does_not_depend_on_what_was_asked_before() {
        let terms = terms();
        let (forward, backward) = (Sum::of(&terms).unwrap(), Sum::of(&terms).unwrap());
        let at = |i: i32| 0.37 * f64::from(i);
        let first: Vec<Jet> = (0..600).map(|i| forward.jet(&terms, at(i), at(i))).collect();
        let second: Vec<Jet> = (0..600).rev().map(|i| backward.jet(&terms, at(i), at(i))).collect();
        assert!(first.iter().eq(second.iter().rev()));
    }

    /// A cubic on every stretch of ten frames that counts how often it is asked.
    #[derive(Debug)]
    struct Counted(Arc<AtomicUsize>);

    impl Signal for Counted {
        fn jet(&self, t: f64, _: f64) -> Jet {
            self.0.fetch_add(1, Ordering::Relaxed);
            Jet::time(t)
        }
        fn knots(&self, _: f64, _: f64, _: &mut Vec<Knot>) -> Result<(), SignalError> {
            Ok(())
        }
        fn stretch(&self, branch: f64) -> Option<Stretch> {
            self.0.fetch_add(1, Ordering::Relaxed);
            let from = (branch / 10.0).floor() * 10.0;
            Some(Stretch { from, to: from + 10.0, polynomial: Some((from, 10.0, Quintic([from, 10.0, 0.0, 0.0, 0.0, 0.0]))) })
        }
    }

    /// What is asked of the layers grows with their number and stretches, not with number x places.
    #[test]
    fn twice_the_layers_ask_twice_as_much_at_twice_the_places() {
        let asked = |n: usize| {
            let count = Arc::new(AtomicUsize::new(0));
            let term = |i: usize| Term {
                layer: Arc::new(Counted(Arc::clone(&count))),
                delay: 10.0 * whole::count(i) / whole::count(n),
                scale: 1.0,
            };
            let terms: Vec<Term> = (0..n).map(term).collect();
            let sum = Sum::of(&terms).unwrap();
            for i in 0..10 * n {
                let t = 1000.0 * whole::count(i) / whole::count(10 * n);
                let found = sum.jet(&terms, t, t).p;
                let want: f64 = terms.iter().map(|term| t - term.delay).sum();
                assert!((found - want).abs() < 1e-9 * whole::count(n), "{found} {want}");
            }
            count.load(Ordering::Relaxed)
        };
        let (few, many) = (asked(50), asked(400));
        assert!(many <= 9 * few && few < 50 * 200, "{few} {many}");
    }
}
