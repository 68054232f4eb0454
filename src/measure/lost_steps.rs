//! Which axis lost steps between two runs of a pass, from marks that were tracked in their pictures.
//!
//! What: a step that an axis lost shifts every mark on what it moves by known pixels, from the frame in which it was lost to the last. Each mark's place in the second run less that in the first
//! is explained by few such losses, an axis and a frame each: the one that leaves least is added, all are fitted again by least squares, until one more explains nothing.
//! Criterion: with n shifts to the right or down, v = what is left / n + [`EXACT`] and k parameters (two for each loss: its frame and its steps), a further loss must lower n ln v + k ln n (the Bayesian
//! information criterion; Schwarz, Annals of Statistics 6(2) 1978, from memory) by 2 ln(100 x axes): of a hundred runs without a loss fewer than one gets one.
//! It must also explain a twentieth, root mean square, of what the first one does: less than that is what straight lines leave of a large shift.
//! An axis that explains a loss as well, to a likelihood ratio of 100, cannot be distinguished from it with these marks.
//! Units: steps in the direction of positive travel, second run less first; pixels. Limits: losses that grow slowly are steps at several frames here; what moves the whole picture, such as a camera that was
//! knocked or film that weaves, is explained by camera axes or not at all.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};

use crate::number::elementary::{exp, ln};
use crate::stage::AxisId;

/// Variance of what is tracked to a hundredth of a pixel in both runs, pixels squared: 2 x 0.01^2 / 12.
const EXACT: f64 = 1e-4 / 6.0;

/// One run in this many without a loss may get one; an axis that is this many times less likely is distinguished.
const RARE: f64 = 100.0;

/// Most losses that are looked for.
const MOST_LOSSES: usize = 12;

/// What a further loss explains of the first one at least, mean square.
const LEAST_SHARE: f64 = 0.05 * 0.05;

/// A mark in a frame.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Shift {
    /// Frame.
    pub(crate) frame: i64,
    /// Name of the mark.
    pub(crate) mark: String,
    /// Its place in the second run less that in the first, pixels to the right and down.
    pub(crate) px: [f64; 2],
    /// What one step of an axis, by its number, shifts it, pixels to the right and down.
    pub(crate) per_step: Vec<(usize, [f64; 2])>,
}

impl Shift {
    /// A mark in a frame from its places in both runs, and what one step of each axis shifts it.
    pub(crate) fn of(
        (frame, mark): (i64, &str),
        was: [f64; 2],
        is: [f64; 2],
        per_step: impl IntoIterator<Item = (AxisId, [f64; 2])>,
    ) -> Shift {
        let per_step = per_step.into_iter().map(|(axis, by)| (axis.index(), by)).collect();
        Shift { frame, mark: mark.to_owned(), px: [is[0] - was[0], is[1] - was[1]], per_step }
    }
}

/// Steps that an axis lost.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Loss {
    /// Number of the axis.
    pub(crate) axis: usize,
    /// First frame that they are missing in.
    pub(crate) frame: i64,
    /// How many.
    pub(crate) steps: f64,
    /// Standard error of that.
    pub(crate) standard_error: f64,
    /// Worst shift of a mark that they make, pixels.
    pub(crate) px: f64,
    /// Axes that explain it as well: number, first frame, steps.
    pub(crate) alike: Vec<(usize, i64, f64)>,
}

/// What a run shows.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Losses {
    /// Losses, the one that explains most first.
    pub(crate) losses: Vec<Loss>,
    /// Root mean square of the shifts to the right and down, pixels.
    pub(crate) shift_px: f64,
    /// The same of what no loss explains.
    pub(crate) unexplained_px: f64,
    /// By frame: marks, root mean square of the shifts, and of what no loss explains.
    pub(crate) frames: BTreeMap<i64, (usize, f64, f64)>,
    /// By mark: root mean square of what no loss explains, and the frame in which it is most.
    pub(crate) marks: BTreeMap<String, (f64, i64)>,
    /// By axis that any mark shows: the least loss before the first frame that would be found, steps.
    pub(crate) least: BTreeMap<usize, f64>,
}

/// Explains shifts by losses of steps.
#[must_use]
pub(crate) fn losses(shifts: &[Shift]) -> Losses {
    let seen = Seen::new(shifts);
    let n = 2.0 * shifts.len() as f64;
    let planned: Vec<[f64; 2]> = shifts.iter().map(|s| s.px).collect();
    let variance = |left: f64| left / n.max(1.0) + EXACT;
    let score = |left: f64, losses: usize| n * ln(variance(left)) + 2.0 * losses as f64 * ln(n.max(1.0));
    let rare = 2.0 * ln(RARE * seen.axes.len().max(1) as f64);
    let mut found: Vec<(usize, usize)> = Vec::new();
    let mut fit = Fitted { steps: Vec::new(), left: planned.clone() };
    let mut most = 0.0;
    while found.len() < MOST_LOSSES {
        let Some(best) = seen.best(&fit.left, &seen.axes) else { break };
        let mut more = found.clone();
        more.push((best.axis, best.from));
        let Some(next) = seen.fit(&planned, &more) else { break };
        // Losses that were found before may begin elsewhere beside this one.
        let (more, next) = seen.settled(&planned, more, next);
        let (before, after) = (squares(&fit.left), squares(&next.left));
        if !(score(after, more.len()) + rare < score(before, found.len()) && before - after >= LEAST_SHARE * most) {
            break;
        }
        most = f64::max(most, before - after);
        (found, fit) = (more, next);
    }
    let left = squares(&fit.left);
    let losses = found.iter().enumerate().zip(&fit.steps).map(|((i, (axis, from)), steps)| {
        let others: Vec<(usize, usize)> = found.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, loss)| *loss).collect();
        let without = seen.fit(&planned, &others).map_or_else(|| planned.clone(), |f| f.left);
        let whole = squares(&without);
        let own = seen.best(&without, &[*axis]).map_or(0.0, |b| b.gain);
        let alike = |other: &usize| {
            let best = seen.best(&without, &[*other]).filter(|_| other != axis)?;
            let ratio = n * ln(variance(whole - best.gain) / variance(whole - own));
            (ratio < 2.0 * ln(RARE)).then(|| (*other, seen.frame(best.from), best.steps))
        };
        Loss {
            axis: *axis,
            frame: seen.frame(*from),
            steps: *steps,
            standard_error: (variance(left) / seen.weight(*axis, *from)).sqrt(),
            px: seen.worst(*axis, *from) * steps.abs(),
            alike: seen.axes.iter().filter_map(alike).collect(),
        }
    });
    // What a loss must explain so that it is found, where it is the only one.
    let threshold = n * (exp((2.0 * ln(n.max(1.0)) + rare) / n.max(1.0)) - 1.0);
    let least = seen.axes.iter().map(|axis| (*axis, (variance(left) * threshold / seen.weight(*axis, 0)).sqrt())).collect();
    let losses = losses.collect();
    Losses {
        losses,
        shift_px: root_mean_square(squares(&planned), n),
        unexplained_px: root_mean_square(left, n),
        frames: by_frame(shifts, &fit.left),
        marks: by_mark(shifts, &fit.left),
        least,
    }
}

fn squares(all: &[[f64; 2]]) -> f64 {
    all.iter().map(|[x, y]| x * x + y * y).sum()
}

fn root_mean_square(squares: f64, n: f64) -> f64 {
    (squares / n.max(1.0)).sqrt()
}

fn by_frame(shifts: &[Shift], left: &[[f64; 2]]) -> BTreeMap<i64, (usize, f64, f64)> {
    let mut all: BTreeMap<i64, (usize, f64, f64)> = BTreeMap::new();
    for (shift, left) in shifts.iter().zip(left) {
        let (marks, whole, rest) = all.entry(shift.frame).or_default();
        *marks += 1;
        *whole += squares(&[shift.px]);
        *rest += squares(&[*left]);
    }
    for (marks, whole, rest) in all.values_mut() {
        let n = 2.0 * *marks as f64;
        (*whole, *rest) = (root_mean_square(*whole, n), root_mean_square(*rest, n));
    }
    all
}

fn by_mark(shifts: &[Shift], left: &[[f64; 2]]) -> BTreeMap<String, (f64, i64)> {
    // Sum, number, most and when.
    let mut all: BTreeMap<&str, (f64, f64, f64, i64)> = BTreeMap::new();
    for (shift, left) in shifts.iter().zip(left) {
        let square = squares(&[*left]);
        let of = all.entry(&shift.mark).or_insert((0.0, 0.0, -1.0, shift.frame));
        *of = if square > of.2 { (of.0 + square, of.1 + 2.0, square, shift.frame) } else { (of.0 + square, of.1 + 2.0, of.2, of.3) };
    }
    all.into_iter().map(|(mark, (sum, n, _, frame))| (mark.to_owned(), (root_mean_square(sum, n), frame))).collect()
}

/// The best loss of an axis.
struct Best {
    axis: usize,
    from: usize,
    gain: f64,
    steps: f64,
}

/// Losses fitted together.
struct Fitted {
    steps: Vec<f64>,
    left: Vec<[f64; 2]>,
}

/// What is seen of each axis, frame by frame.
struct Seen {
    /// Frames, rising, and for each shift the number of its frame.
    frames: Vec<i64>,
    frame_of: Vec<usize>,
    /// Axes that move a mark, rising.
    axes: Vec<usize>,
    /// For each of them the shifts it moves, and by how much for one step.
    moved: BTreeMap<usize, Vec<(usize, [f64; 2])>>,
}

impl Seen {
    fn new(shifts: &[Shift]) -> Seen {
        let mut frames: Vec<i64> = shifts.iter().map(|s| s.frame).collect();
        frames.sort_unstable();
        frames.dedup();
        let frame_of = shifts.iter().map(|s| frames.partition_point(|f| *f < s.frame)).collect();
        let mut moved: BTreeMap<usize, Vec<(usize, [f64; 2])>> = BTreeMap::new();
        for (i, shift) in shifts.iter().enumerate() {
            for (axis, by) in shift.per_step.iter().filter(|(_, by)| squares(&[*by]) > 0.0) {
                moved.entry(*axis).or_default().push((i, *by));
            }
        }
        Seen { frames, frame_of, axes: moved.keys().copied().collect(), moved }
    }

    fn frame(&self, number: usize) -> i64 {
        self.frames.get(number).copied().unwrap_or_default()
    }

    /// What an axis does to the marks from a frame on.
    fn from(&self, axis: usize, from: usize) -> impl Iterator<Item = (usize, [f64; 2])> + '_ {
        let all = self.moved.get(&axis).map_or(&[][..], |all| &all[..]);
        all.iter().copied().filter(move |(i, _)| self.frame_of.get(*i).is_some_and(|f| from <= *f))
    }

    fn weight(&self, axis: usize, from: usize) -> f64 {
        self.from(axis, from).map(|(_, by)| squares(&[by])).sum()
    }

    fn worst(&self, axis: usize, from: usize) -> f64 {
        self.from(axis, from).map(|(_, by)| squares(&[by])).fold(0.0, f64::max).sqrt()
    }

    /// The loss of one of these axes that explains most of what is left.
    fn best(&self, left: &[[f64; 2]], axes: &[usize]) -> Option<Best> {
        let mut best: Option<Best> = None;
        for axis in axes {
            // Of each frame, then of it and all after it.
            let mut sums = vec![(0.0, 0.0); self.frames.len()];
            for (i, by) in self.moved.get(axis)? {
                let (Some(left), Some(sum)) = (left.get(*i), self.frame_of.get(*i).and_then(|f| sums.get_mut(*f))) else { continue };
                sum.0 += by[0] * left[0] + by[1] * left[1];
                sum.1 += squares(&[*by]);
            }
            let (mut along, mut weight) = (0.0, 0.0);
            for (from, (a, w)) in sums.iter().enumerate().rev() {
                (along, weight) = (along + a, weight + w);
                // A frame without a mark of this axis is no place where a loss is seen to begin.
                let gain = if *w > 0.0 { along * along / weight } else { 0.0 };
                if gain > 0.0 && best.as_ref().is_none_or(|b| b.gain < gain) {
                    best = Some(Best { axis: *axis, from, gain, steps: along / weight });
                }
            }
        }
        best
    }

    /// Losses fitted together by least squares; `None` where two of them are one.
    fn fit(&self, planned: &[[f64; 2]], losses: &[(usize, usize)]) -> Option<Fitted> {
        let columns: Vec<BTreeMap<usize, [f64; 2]>> = losses.iter().map(|(axis, from)| self.from(*axis, *from).collect()).collect();
        let dot = |a: [f64; 2], b: [f64; 2]| a[0] * b[0] + a[1] * b[1];
        let k = losses.len();
        let entry = |i: usize, j: usize| -> f64 {
            let (Some(a), Some(b)) = (columns.get(i), columns.get(j)) else { return 0.0 };
            a.iter().filter_map(|(at, by)| Some(dot(*by, *b.get(at)?))).sum()
        };
        let right =
            |i: usize| -> f64 { columns.get(i).map_or(0.0, |a| a.iter().filter_map(|(at, by)| Some(dot(*by, *planned.get(*at)?))).sum()) };
        let matrix = DMatrix::from_fn(k, k, entry);
        // Lengths do not count, directions do: two losses that are nearly one have no solution of their own.
        let lengths: Vec<f64> = matrix.diagonal().iter().map(|d| d.sqrt()).collect();
        let length = |i: usize| lengths.get(i).copied().unwrap_or(1.0);
        let scaled = DMatrix::from_fn(k, k, |i, j| entry(i, j) / (length(i) * length(j)) + if i == j { RIDGE } else { 0.0 });
        let target = DVector::from_fn(k, |i, _| right(i) / length(i));
        let solved = scaled.cholesky()?.solve(&target);
        let steps: Vec<f64> = solved.iter().zip(&lengths).map(|(s, l)| s / l).collect();
        if !steps.iter().all(|s| s.is_finite()) {
            return None;
        }
        let mut left = planned.to_vec();
        for (column, steps) in columns.iter().zip(&steps) {
            for (i, by) in column {
                if let Some(left) = left.get_mut(*i) {
                    *left = [left[0] - by[0] * steps, left[1] - by[1] * steps];
                }
            }
        }
        Some(Fitted { steps, left })
    }

    /// The same losses, each begun where it leaves least beside the others.
    fn settled(&self, planned: &[[f64; 2]], mut losses: Vec<(usize, usize)>, mut fit: Fitted) -> (Vec<(usize, usize)>, Fitted) {
        for i in 0..losses.len() {
            let Some((axis, was)) = losses.get(i).copied() else { continue };
            let others: Vec<(usize, usize)> = losses.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, loss)| *loss).collect();
            let Some(without) = self.fit(planned, &others) else { continue };
            let Some(best) = self.best(&without.left, &[axis]).filter(|b| b.from != was) else { continue };
            let mut moved = losses.clone();
            if let Some(slot) = moved.get_mut(i) {
                *slot = (axis, best.from);
            }
            if let Some(better) = self.fit(planned, &moved).filter(|f| squares(&f.left) < squares(&fit.left)) {
                (losses, fit) = (moved, better);
            }
        }
        (losses, fit)
    }
}

/// Share of a column's length that is added so that two that are one do not divide by zero.
const RIDGE: f64 = 1e-12;

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "tests")]
mod tests {
    use super::*;
    use crate::number::Generator;

    const FRAMES: i64 = 60;

    /// Sum of twelve uniform numbers less six: spread 1.
    fn normal(g: &mut Generator) -> f64 {
        (0..12).map(|_| g.unit()).sum::<f64>() - 6.0
    }

    /// Six marks, each moved by three axes of its own two figures and by three of the camera, as the seed decides; axis 5 moves nothing.
    fn sights(seed: u64) -> Vec<Shift> {
        let mut g = Generator::new(seed);
        let mut by = |axis: usize| (axis, [g.unit() * 0.2 - 0.1, g.unit() * 0.2 - 0.1]);
        let marks: Vec<_> =
            (0..6).map(|m| (format!("heron_{}#{m}", m % 2), [6, 7, 8, 3 * (m % 2), 3 * (m % 2) + 1].map(&mut by).to_vec())).collect();
        let frame = |frame: i64| {
            // What a step is worth changes while the figures fly.
            let near = 1.0 + frame as f64 / 100.0;
            marks.iter().map(move |(mark, per_step)| Shift {
                frame,
                mark: mark.clone(),
                px: [0.0; 2],
                per_step: per_step.iter().map(|(axis, [x, y])| (*axis, [x * near, y * near])).collect(),
            })
        };
        (1..=FRAMES).flat_map(frame).collect()
    }

    fn planted(mut shifts: Vec<Shift>, losses: &[(usize, i64, f64)], noise: f64, seed: u64) -> Vec<Shift> {
        let mut g = Generator::new(seed ^ 0x5EED);
        for shift in &mut shifts {
            for (axis, by) in &shift.per_step {
                let steps: f64 = losses.iter().filter(|(a, from, _)| a == axis && *from <= shift.frame).map(|l| l.2).sum();
                shift.px = [shift.px[0] + by[0] * steps, shift.px[1] + by[1] * steps];
            }
            shift.px = shift.px.map(|x| x + noise * normal(&mut g));
        }
        shifts
    }

    #[test]
    fn planted_losses_are_named_with_their_frames() {
        for seed in 0..100 {
            let shifts = planted(sights(seed), &[(3, 20, -48.0), (0, 41, 30.0)], 0.1, seed);
            let found = losses(&shifts);
            let mut named: Vec<(usize, i64)> = found.losses.iter().map(|l| (l.axis, l.frame)).collect();
            named.sort_unstable();
            assert_eq!(named, [(0, 41), (3, 20)], "{seed}");
            for loss in &found.losses {
                let steps = if loss.axis == 3 { -48.0 } else { 30.0 };
                assert!((loss.steps - steps).abs() <= 5.0 * loss.standard_error, "{seed}: {loss:?}");
            }
            assert!((found.unexplained_px - 0.1).abs() < 0.02, "{seed}: {}", found.unexplained_px);
        }
    }

    #[test]
    fn noise_alone_is_no_loss() {
        let wrong = (0..300).filter(|seed| !losses(&planted(sights(*seed), &[], 0.2, *seed)).losses.is_empty()).count();
        assert!(wrong < 3, "{wrong} of 300");
    }

    #[test]
    fn the_least_loss_that_is_promised_is_the_limit() {
        let found = |times: f64| {
            let of = |seed: &u64| {
                let least = losses(&planted(sights(*seed), &[], 0.1, *seed)).least[&4];
                losses(&planted(sights(*seed), &[(4, 1, times * least)], 0.1, *seed)).losses.iter().any(|l| l.axis == 4)
            };
            (0..100).filter(of).count()
        };
        assert!(found(1.6) >= 97, "{}", found(1.6));
        assert!(found(0.5) <= 3, "{}", found(0.5));
    }

    #[test]
    fn axes_that_move_marks_alike_are_both_named() {
        let mut shifts = sights(1);
        for shift in &mut shifts {
            let twin = shift.per_step.iter().find(|(axis, _)| *axis == 3).map(|(_, [x, y])| (9, [-2.0 * x, -2.0 * y]));
            shift.per_step.extend(twin);
        }
        let found = losses(&planted(shifts, &[(3, 10, 40.0)], 0.05, 3));
        let [loss] = &found.losses[..] else { panic!("{found:?}") };
        let mut both = vec![(loss.axis, loss.steps)];
        both.extend(loss.alike.iter().map(|(axis, _, steps)| (*axis, *steps)));
        both.sort_by_key(|(axis, _)| *axis);
        assert!(both.len() == 2 && both[0].0 == 3 && both[1].0 == 9, "{both:?}");
        assert!((both[0].1 - 40.0).abs() < 1.0 && (both[1].1 + 20.0).abs() < 0.5, "{both:?}");
    }

    #[test]
    fn what_no_mark_shows_is_not_judged_and_a_wrong_track_is_no_loss() {
        let mut shifts = planted(sights(5), &[], 0.05, 5);
        assert!(!losses(&shifts).least.contains_key(&5) && losses(&[]).losses.is_empty());
        // A tracker that slipped to another feather in one frame.
        let slipped = shifts.iter_mut().find(|s| s.frame == 30).unwrap();
        slipped.px = [25.0, -4.0];
        let mark = slipped.mark.clone();
        let found = losses(&shifts);
        assert!(found.losses.is_empty(), "{:?}", found.losses);
        assert!(found.marks[&mark].1 == 30 && found.marks.values().filter(|m| m.0 > 0.5).count() == 1, "{:?}", found.marks);
    }
}
