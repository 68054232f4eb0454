//! Pairs that could meet, the size of their scene, and what is known of a pair over a stretch of time.
//!
//! Invariant: a bound is never above the true gap: 2^-40 of the greatest coordinate is taken off it for rounding.

use super::bounding::{Bounding, Boxes};
use super::distance::{self, Distance};
use super::enclosure::{Enclosure, End};
use super::gap::{Against, Nearest};
use super::search::Cell;
use crate::mechanism::Vector;
use crate::number::elementary::two_to_the;
use crate::stage::{Body, Capsule, KeepOut, Solid, Stage};

/// The scene's size and the rounding allowed for, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scene {
    /// How far below the true gap a reported one may be.
    pub(super) tolerance: f64,
    /// Taken off every bound.
    pub(super) rounding: f64,
}

/// The scene's size: the diagonal of the box around the envelopes of all bodies at nine moments from start to end of the move.
pub(super) fn scene(enclosure: &Enclosure<'_>) -> Scene {
    let (from, to) = enclosure.span();
    let mut corners: Option<(Vector, Vector)> = None;
    for i in 0..=8_i32 {
        let t = from + (to - from) * f64::from(i) / 8.0;
        for body in enclosure.stage().bodies() {
            for (ends, c) in enclosure.placed(body, t, t).into_iter().flatten().zip(body.solids()) {
                for e in ends.map(|e| e.at) {
                    let r = Vector::new(c.radius, c.radius, c.radius);
                    let (lo, hi) = (e - r, e + r);
                    corners = Some(corners.map_or((lo, hi), |(l, h)| (with(l, lo, f64::min), with(h, hi, f64::max))));
                }
            }
        }
    }
    let (lo, hi) = corners.unwrap_or((Vector::new(0.0, 0.0, 0.0), Vector::new(0.0, 0.0, 0.0)));
    let farthest = [lo.x, lo.y, lo.z, hi.x, hi.y, hi.z].into_iter().fold(0.0, |m: f64, x| m.max(x.abs()));
    let rounding = two_to_the(-40) * farthest;
    Scene { tolerance: (1e-6 * (hi - lo).length()).max(8.0 * rounding), rounding }
}

fn with(a: Vector, b: Vector, f: fn(f64, f64) -> f64) -> Vector {
    Vector::new(f(a.x, b.x), f(a.y, b.y), f(a.z, b.z))
}

/// What a margin is compared with: the required clearance, or the size of the body where none is required.
pub(super) fn scale(required: f64, body: &Body) -> f64 {
    if required > 0.0 {
        return required;
    }
    let at_rest = |s: &Solid| {
        // Of what is fixed to two places only the thickness is its own.
        let [a, b] = s.ends;
        let length = if a.place == b.place { (b.at - a.at).length() } else { 0.0 };
        length + 2.0 * s.radius
    };
    body.solids().iter().map(at_rest).fold(0.0, f64::max)
}

/// One thing a body is measured against.
#[derive(Clone, Copy)]
pub(super) enum Other<'a> {
    Body(usize, &'a Body),
    /// Other parts of the same figure.
    Own(&'a Body),
    Obstacle(usize, &'a Capsule),
    Box(usize, &'a KeepOut),
}

impl Other<'_> {
    /// The index of the other body, where it is one: of parts of the same figure there is no other.
    pub(super) fn index(&self) -> Option<usize> {
        if let Other::Body(i, _) = self { Some(*i) } else { None }
    }

    /// The boxes of what stands still; none of a body.
    pub(super) fn standing(&self) -> Boxes {
        match self {
            Other::Body(..) | Other::Own(..) => Boxes::default(),
            Other::Obstacle(_, c) => core::iter::once(Bounding::capsule(&[End::still(c.from), End::still(c.to)], c.radius)).collect(),
            Other::Box(_, o) => core::iter::once(Bounding::new(o.least, o.greatest)).collect(),
        }
    }

    /// Capsules, or one for a box.
    fn size(&self) -> u64 {
        match self {
            Other::Body(_, b) => size(b),
            Other::Own(b) => u64::try_from(b.own_pairs().len()).unwrap_or(u64::MAX) / BOXES,
            _ => 1,
        }
    }

    pub(super) fn against(&self) -> Against {
        match self {
            Other::Body(_, b) => Against::Group(b.group()),
            Other::Own(..) => Against::Own,
            Other::Obstacle(i, _) => Against::Obstacle(*i),
            Other::Box(i, _) => Against::KeepOut(*i),
        }
    }

    /// The distance to keep from it: parts of one figure only must not meet.
    pub(super) fn required(&self, clearance: f64) -> f64 {
        if self.is_own() { 0.0 } else { clearance }
    }

    /// True for other parts of the same figure.
    pub(super) fn is_own(&self) -> bool {
        matches!(self, Other::Own(..))
    }
}

/// Boxes compared at the cost of one comparison of capsules.
pub(super) const BOXES: u64 = 8;

/// A body by its index, and one thing it is measured against.
pub(super) type Couple<'a> = (usize, &'a Body, Other<'a>);

/// Every pair of bodies with envelopes, and every such body with everything that stands.
pub(super) fn couples(stage: &Stage) -> Vec<Couple<'_>> {
    let around = stage.surroundings();
    let bodies = || stage.bodies().iter().enumerate().filter(|(_, b)| !b.solids().is_empty());
    let mut all = Vec::new();
    for (i, body) in bodies() {
        if !body.own_pairs().is_empty() {
            all.push((i, body, Other::Own(body)));
        }
        all.extend(bodies().filter(|(j, _)| *j > i).map(|(j, other)| (i, body, Other::Body(j, other))));
        all.extend(around.obstacles.iter().enumerate().map(|(k, o)| (i, body, Other::Obstacle(k, &o.shape))));
        all.extend(around.keep_out.iter().enumerate().map(|(k, o)| (i, body, Other::Box(k, o))));
    }
    all
}

/// A body in a cell: the ends of its capsules, and the boxes around them.
#[derive(Debug)]
pub(super) struct Placed {
    ends: Vec<[End; 2]>,
    /// Of the capsules.
    pub(super) boxes: Boxes,
}

/// A body in a stretch of time; `None` where it is not known.
pub(super) fn placed(enclosure: &Enclosure<'_>, body: &Body, from: f64, to: f64) -> Option<Placed> {
    let ends = enclosure.placed(body, from, to)?;
    let boxes = ends.iter().zip(body.solids()).map(|(ends, c)| Bounding::capsule(ends, c.radius)).collect();
    Some(Placed { ends, boxes })
}

fn size(body: &Body) -> u64 {
    u64::try_from(body.solids().len()).unwrap_or(u64::MAX)
}

/// What it costs to place a body, in measurements of two capsules.
pub(super) fn placing(body: &Body) -> u64 {
    PLACING + 2 * size(body) + LIMB * u64::try_from(body.limbs().len()).unwrap_or(u64::MAX)
}

/// What a chain of joints costs beside two capsules measured: some ten joints over ranges.
const PLACING: u64 = 20;

/// What one joint more costs.
const LIMB: u64 = 2;

/// What a look at a pair costs about.
pub(super) fn looking((_, body, other): &Couple<'_>) -> u64 {
    let theirs = match other {
        Other::Body(_, o) => placing(o),
        _ => 0,
    };
    placing(body) + theirs + size(body) + other.size()
}

/// What is known of a pair in a stretch of time.
pub(super) fn look(enclosure: &Enclosure<'_>, body: &Body, other: &Other<'_>, scene: Scene, from: f64, to: f64) -> Cell {
    let mine = placed(enclosure, body, from, to);
    let theirs = match other {
        Other::Body(_, o) => placed(enclosure, o, from, to),
        _ => None,
    };
    let (found, _) = measured(body, mine.as_ref(), other, &other.standing(), theirs.as_ref());
    cell(from, to, found, scene)
}

pub(super) fn cell(from: f64, to: f64, (lower, middle): (f64, f64), scene: Scene) -> Cell {
    let lower = lower - scene.rounding;
    Cell { from, to, lower: if lower.is_nan() { f64::NEG_INFINITY } else { lower }, middle }
}

/// What no gap in the cell is below, and the gap in its middle; and how many capsules were compared, boxes counted as their share of that. Capsules whose boxes are farther apart than
/// both known so far are not measured: what they do changes neither.
pub(super) fn measured(
    body: &Body,
    mine: Option<&Placed>,
    other: &Other<'_>,
    standing: &Boxes,
    theirs: Option<&Placed>,
) -> ((f64, f64), u64) {
    const UNKNOWN: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);
    let Some(mine) = mine else { return (UNKNOWN, 1) };
    if other.is_own() {
        return apart(body, mine);
    }
    let boxes = match (other, theirs) {
        (Other::Body(..), None) => return (UNKNOWN, 1),
        (Other::Body(..), Some(theirs)) => &theirs.boxes,
        _ => standing,
    };
    let Some(all) = boxes.all else { return ((f64::INFINITY, f64::INFINITY), 1) };
    let mut worst = (f64::INFINITY, f64::INFINITY);
    let (mut compared, mut gaps) = (1, 0);
    // The nearest box first: it says what is too far among the others.
    let mut order: Vec<(f64, usize)> = mine.boxes.each.iter().map(|b| b.gap(&all)).zip(0..).collect();
    if order.len() > FEW {
        order.sort_by(|a, b| a.0.total_cmp(&b.0));
    }
    for (far, i) in order {
        gaps += 1;
        if is_far(far, worst) {
            continue;
        }
        let (Some(a), Some(around), Some(c)) = (mine.ends.get(i), mine.boxes.each.get(i), body.solids().get(i)) else { continue };
        let mut take = |(lower, middle): (f64, f64), radii: f64| {
            // No distance is below zero.
            worst = (worst.0.min(lower.max(0.0) - radii), worst.1.min(middle - radii));
            worst
        };
        match (other, theirs) {
            (Other::Body(_, o), Some(theirs)) => {
                let mut known = take(UNMEASURED, 0.0);
                for (first, each, bunch) in boxes.bunched() {
                    gaps += u64::from(bunch.is_some());
                    if bunch.is_some_and(|bunch| is_far(around.gap(bunch), known)) {
                        continue;
                    }
                    for (j, other) in (first..).zip(each) {
                        gaps += 1;
                        let (Some(b), Some(d)) = (theirs.ends.get(j), o.solids().get(j)) else { continue };
                        if !is_far(around.gap(other), known) {
                            compared += 1;
                            known = take(two_segments(a, b), c.radius + d.radius);
                        }
                    }
                }
            }
            (Other::Obstacle(_, d), _) => {
                compared += 1;
                take(two_segments(a, &[End::still(d.from), End::still(d.to)]), c.radius + d.radius);
            }
            (Other::Box(_, o), _) => {
                compared += 1;
                take(segment_and_box(a, o), c.radius);
            }
            (Other::Body(..) | Other::Own(..), _) => {}
        }
    }
    (worst, compared + gaps / BOXES)
}

/// True where what is so far away changes neither what no gap is below nor the gap in the middle. Boxes that touch say nothing: what they hold may overlap by any depth.
fn is_far(far: f64, (lower, middle): (f64, f64)) -> bool {
    far > 0.0 && far >= lower && far >= middle
}

/// The same for the parts of one figure, of which only matters whether they meet: where their boxes are apart, these say enough, and the middle is not looked at.
fn apart(body: &Body, mine: &Placed) -> ((f64, f64), u64) {
    let (mut worst, mut boxes, mut compared) = (UNMEASURED, 0, 1);
    for (i, j) in body.own_pairs() {
        let around = |k: usize| mine.boxes.each.get(k);
        let (Some(a), Some(b)) = (around(*i), around(*j)) else { continue };
        boxes += 1;
        let far = a.gap(b);
        if far > 0.0 {
            worst.0 = worst.0.min(far);
            continue;
        }
        let of = |k: usize| Some((mine.ends.get(k)?, body.solids().get(k)?.radius));
        let (Some((a, r)), Some((b, s))) = (of(*i), of(*j)) else { continue };
        compared += 1;
        let (lower, middle) = two_segments(a, b);
        worst = (worst.0.min(lower.max(0.0) - r - s), worst.1.min(middle - r - s));
    }
    (worst, compared + boxes / BOXES)
}

/// Pairs whose nearest parts are named: those furthest below their required clearance.
const NAMED: usize = 32;

/// Pairs of parts up to which the nearest are looked for.
const MOST_PARTS: usize = 100_000;

/// Names the nearest parts of the pairs that come too near with `spare` mm taken off, the worst of them, where `knows` the instant; pairs in the order of `found`.
pub(super) fn name_parts(
    enclosure: &Enclosure<'_>,
    couples: &[Couple<'_>],
    found: &mut [Nearest],
    spare: f64,
    knows: impl Fn(f64) -> bool,
) {
    let is_near = |n: &Nearest| !Nearest { gap: n.gap - spare, ..*n }.is_kept() && knows(n.at);
    let mut named: Vec<(&Couple<'_>, &mut Nearest)> = couples.iter().zip(found).filter(|(_, n)| is_near(n)).collect();
    named.sort_by(|(_, a), (_, b)| (a.gap - a.required).total_cmp(&(b.gap - b.required)));
    for (couple, nearest) in named.into_iter().take(NAMED) {
        if comparisons(couple) <= MOST_PARTS {
            nearest.parts = parts(enclosure, couple, nearest.at);
        }
    }
}

/// How many parts are compared to find the nearest of a pair.
fn comparisons((_, body, other): &Couple<'_>) -> usize {
    match other {
        Other::Body(_, o) => body.solids().len().saturating_mul(o.solids().len()),
        Other::Own(..) => body.own_pairs().len(),
        Other::Obstacle(..) | Other::Box(..) => body.solids().len(),
    }
}

/// The parts of a pair that are nearest at an instant, by the numbers of their solids; none of what has no parts.
fn parts(enclosure: &Enclosure<'_>, (_, body, other): &Couple<'_>, at: f64) -> [Option<usize>; 2] {
    let ends = |body: &Body| placed(enclosure, body, at, at).map(|p| p.ends).unwrap_or_default();
    let mine = ends(body);
    let radius = |body: &Body, i: usize| body.solids().get(i).map_or(0.0, |s| s.radius);
    let mut best = (f64::INFINITY, [None; 2]);
    let mut take = |distance: f64, parts: [Option<usize>; 2]| {
        if distance < best.0 {
            best = (distance, parts);
        }
    };
    match other {
        Other::Body(_, o) => {
            let theirs = ends(o);
            for (i, a) in mine.iter().enumerate() {
                for (j, b) in theirs.iter().enumerate() {
                    take(two_segments(a, b).1 - radius(body, i) - radius(o, j), [Some(i), Some(j)]);
                }
            }
        }
        Other::Own(..) => {
            for (i, j) in body.own_pairs() {
                let (Some(a), Some(b)) = (mine.get(*i), mine.get(*j)) else { continue };
                take(two_segments(a, b).1 - radius(body, *i) - radius(body, *j), [Some(*i), Some(*j)]);
            }
        }
        Other::Obstacle(_, o) => {
            let still = [o.from, o.to].map(End::still);
            for (i, a) in mine.iter().enumerate() {
                take(two_segments(a, &still).1 - radius(body, i), [Some(i), None]);
            }
        }
        Other::Box(_, o) => {
            for (i, a) in mine.iter().enumerate() {
                take(segment_and_box(a, o).1 - radius(body, i), [Some(i), None]);
            }
        }
    }
    best.1
}

/// What is said before anything is measured.
const UNMEASURED: (f64, f64) = (f64::INFINITY, f64::INFINITY);

/// Capsules of a body up to which sorting them costs more than it saves.
const FEW: usize = 8;

fn two_segments(a: &[End; 2], b: &[End; 2]) -> (f64, f64) {
    let Distance { distance, direction } = distance::segments(a.map(|e| e.at), b.map(|e| e.at));
    let farthest = |ends: &[End; 2]| ends.iter().map(|e| e.all).fold(0.0, f64::max);
    let first = distance - farthest(a) - farthest(b);
    let Some(n) = direction else { return (first, distance) };
    // Along one direction two segments are as near as the nearest of their ends.
    let mut second = f64::INFINITY;
    for a in a {
        for b in b {
            second = second.min(along(n, a, b.at, b.slope) - b.rest);
        }
    }
    (first.max(second), distance)
}

fn segment_and_box(a: &[End; 2], o: &KeepOut) -> (f64, f64) {
    let Distance { distance, direction } = distance::from_box(a.map(|e| e.at), o.least, o.greatest);
    let first = distance - a.iter().map(|e| e.all).fold(0.0, f64::max);
    let Some(n) = direction else { return (first, distance) };
    let corner = |n: f64, lo: f64, hi: f64| if n > 0.0 { hi } else { lo };
    let far = Vector::new(corner(n.x, o.least.x, o.greatest.x), corner(n.y, o.least.y, o.greatest.y), corner(n.z, o.least.z, o.greatest.z));
    let second = a.iter().map(|a| along(n, a, far, Vector::new(0.0, 0.0, 0.0))).fold(f64::INFINITY, f64::min);
    (first.max(second), distance)
}

/// The least that `a` can be ahead of a point `b` moving by `slope`, along `n`.
fn along(n: Vector, a: &End, b: Vector, slope: Vector) -> f64 {
    n.dot(a.at - b) - n.dot(a.slope - slope).abs() - a.rest
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Boxes 0 mm apart may hold capsules that overlap by more than those measured so far; boxes that are apart hold none.
    #[test]
    fn boxes_that_touch_are_never_far() {
        for known in [(f64::INFINITY, f64::INFINITY), (3.0, 4.0), (0.0, 0.0), (-5.0, -4.0)] {
            assert!(!is_far(0.0, known), "{known:?}");
        }
        assert!(is_far(1e-9, (-5.0, -4.0)));
        assert!(is_far(4.0, (3.0, 4.0)) && !is_far(3.9, (3.0, 4.0)));
    }
}
