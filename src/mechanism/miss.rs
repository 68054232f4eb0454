//! How near to its target two turning channels can bring a camera's line of sight within their ranges: the least miss.
//!
//! What: the direction to the target, seen from the camera, has a component z along the axis, which is minus the cosine of the miss and
//! smooth in the two angles. It is made least over the box of the two ranges. A grid over the box, edges and corners included, gives starts. From
//! each of its lowest places Newton's method goes down in the channels that no end of their range stops, with exact first and second
//! derivatives over jets; each step is shortened until z falls. Source: Newton's method with an active set, any textbook of optimisation.
//! Invariant: the returned angles are in range, and no place of the grid is nearer to the target. Limits: of two minima closer together than 20 deg,
//! two places of the grid, the lower may be missed; that takes a target so near that the camera's own offsets matter.

use super::space::Vector;
use crate::number::whole::count;
use crate::number::{Jet, elementary};

/// Places of the grid along a range; 10 deg apart on a whole turn.
const PLACES: usize = 37;
/// Lowest places of the grid from which Newton's method starts.
const MOST_STARTS: usize = 16;
/// Newton's steps from one start; a dozen do.
const MOST_STEPS: usize = 60;
/// Longest step, deg.
const LONGEST_STEP: f64 = 20.0;
/// Slope of z for a radian, as a share of the sine of the miss, above which an end of a range stops a channel; below it is rounding.
const STOPPED: f64 = 1e-7;

/// Where the line of sight is nearest to its target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LeastMiss {
    /// The two channels' angles, deg.
    pub(super) angles: [f64; 2],
    /// True where an end of a range keeps a channel from coming nearer.
    pub(super) is_stopped: bool,
}

/// z at a place with its slopes and its slopes' slopes, by degrees.
struct Place {
    at: [f64; 2],
    z: f64,
    slope: [f64; 2],
    bend: [f64; 2],
    twist: f64,
}

/// The place in `ranges` (deg) where the target is nearest to the line of sight; `seen` gives it as seen from the camera for the angles of the two
/// channels. `None` where it has no direction.
pub(super) fn least_miss(seen: &impl Fn([Jet; 2]) -> Vector<Jet>, ranges: [[f64; 2]; 2]) -> Option<LeastMiss> {
    let z = |angles: [Jet; 2]| {
        let to = seen(angles);
        let z = to.z / to.length();
        z.is_finite().then_some(z)
    };
    let ranges = ranges.map(one_turn);
    let mut lowest: Option<Place> = None;
    for start in starts(&|at: [f64; 2]| z(at.map(Jet::constant)).map(|z| z.p), ranges)? {
        let end = descend(&z, start, ranges)?;
        if lowest.as_ref().is_none_or(|best| end.z < best.z) {
            lowest = Some(end);
        }
    }
    let best = lowest?;
    let sine = (1.0 - best.z * best.z).max(0.0).sqrt();
    let is_stopped = [0, 1].into_iter().any(|i| best.is_stopped(i, ranges, STOPPED * elementary::radians(sine)));
    Some(LeastMiss { angles: best.at, is_stopped })
}

/// The range, or one turn in its middle: more is the same again.
fn one_turn([least, most]: [f64; 2]) -> [f64; 2] {
    let middle = 0.5 * (least + most);
    if most - least <= 360.0 { [least, most] } else { [middle - 180.0, middle + 180.0] }
}

/// Places of the grid without a lower neighbour, the lowest first.
fn starts(z: &impl Fn([f64; 2]) -> Option<f64>, ranges: [[f64; 2]; 2]) -> Option<Vec<[f64; 2]>> {
    let [first, second] = ranges.map(places);
    let mut heights = Vec::with_capacity(first.len() * second.len());
    for a in &first {
        for b in &second {
            heights.push(z([*a, *b])?);
        }
    }
    let height = |i: Option<usize>, k: Option<usize>| heights.get(i? * second.len() + k.filter(|k| *k < second.len())?).copied();
    let mut found: Vec<(f64, [f64; 2])> = Vec::new();
    for (i, a) in first.iter().enumerate() {
        for (k, b) in second.iter().enumerate() {
            let here = height(Some(i), Some(k))?;
            let around = |i: usize| [i.checked_sub(1), Some(i), i.checked_add(1)];
            let is_low = around(i).into_iter().all(|i| around(k).into_iter().all(|k| height(i, k).is_none_or(|there| here <= there)));
            if is_low {
                found.push((here, [*a, *b]));
            }
        }
    }
    found.sort_by(|(one, _), (other, _)| one.total_cmp(other));
    Some(found.into_iter().take(MOST_STARTS).map(|(_, at)| at).collect())
}

/// Places along a range, both ends included.
fn places([least, most]: [f64; 2]) -> Vec<f64> {
    let parts = count(PLACES - 1);
    (0..PLACES).map(|i| if i + 1 == PLACES { most } else { least + (most - least) * count(i) / parts }).collect()
}

/// Down from a start to where z is least nearby.
fn descend(z: &impl Fn([Jet; 2]) -> Option<Jet>, start: [f64; 2], ranges: [[f64; 2]; 2]) -> Option<Place> {
    let mut here = Place::at(z, start)?;
    for _ in 0..MOST_STEPS {
        let free = [0, 1].map(|i| !here.is_stopped(i, ranges, 0.0));
        let mut lower = None;
        for step in [here.newton(free), here.steepest(free)].into_iter().flatten() {
            let mut part = 1.0;
            for _ in 0..40 {
                let there = Place::at(z, here.moved(step, part, ranges))?;
                if there.is_below(&here, free) {
                    lower = Some(there);
                    break;
                }
                part *= 0.5;
            }
            if lower.is_some() {
                break;
            }
        }
        match lower {
            Some(there) => here = there,
            None => break,
        }
    }
    Some(here)
}

impl Place {
    fn at(z: &impl Fn([Jet; 2]) -> Option<Jet>, at: [f64; 2]) -> Option<Place> {
        let [a, b] = at;
        let first = z([Jet::time(a), Jet::constant(b)])?;
        let second = z([Jet::constant(a), Jet::time(b)])?;
        // Both at once: the second derivative along the diagonal is the sum of all four.
        let both = z([Jet::time(a), Jet::time(b)])?;
        let twist = 0.5 * (both.a - first.a - second.a);
        Some(Place { at, z: first.p, slope: [first.v, second.v], bend: [first.a, second.a], twist })
    }

    /// True where channel `i` stands at an end of its range and its slope is down beyond, by more than `least`.
    fn is_stopped(&self, i: usize, ranges: [[f64; 2]; 2], least: f64) -> bool {
        let (Some(at), Some(slope), Some([low, high])) = (self.at.get(i), self.slope.get(i), ranges.get(i)) else { return false };
        (at <= low && least < *slope) || (high <= at && *slope < -least)
    }

    /// Newton's step in the free channels; `None` where z does not bend upwards there.
    fn newton(&self, free: [bool; 2]) -> Option<[f64; 2]> {
        let ([s, t], [a, b], c) = (self.slope, self.bend, self.twist);
        let whole = a * b - c * c;
        let step = match free {
            [true, true] if a > 0.0 && whole > 0.0 => [(c * t - b * s) / whole, (c * s - a * t) / whole],
            [true, false] if a > 0.0 => [-s / a, 0.0],
            [false, true] if b > 0.0 => [0.0, -t / b],
            _ => return None,
        };
        let size = step[0].abs().max(step[1].abs());
        let part = (LONGEST_STEP / size).min(1.0);
        size.is_finite().then_some(step.map(|x| x * part))
    }

    /// The longest step straight down in the free channels.
    fn steepest(&self, free: [bool; 2]) -> Option<[f64; 2]> {
        let [s, t] = self.slope;
        let down = [if free[0] { -s } else { 0.0 }, if free[1] { -t } else { 0.0 }];
        let size = down[0].abs().max(down[1].abs());
        (0.0 < size).then_some(down.map(|x| x * LONGEST_STEP / size))
    }

    fn moved(&self, [a, b]: [f64; 2], part: f64, [first, second]: [[f64; 2]; 2]) -> [f64; 2] {
        let [x, y] = self.at;
        [(x + a * part).max(first[0]).min(first[1]), (y + b * part).max(second[0]).min(second[1])]
    }

    /// Lower, or as low to rounding with less slope in the free channels.
    fn is_below(&self, other: &Place, free: [bool; 2]) -> bool {
        let steep = |place: &Place| {
            let [s, t] = place.slope;
            (if free[0] { s.abs() } else { 0.0 }).max(if free[1] { t.abs() } else { 0.0 })
        };
        self.z < other.z || (self.z <= other.z + 1e-15 && steep(self) < 0.5 * steep(other))
    }
}
