//! Hinges: markers that turn about one axis of the body, found and brought together.
//!
//! What: a marker that moves on a circle starts a limb; those that move and keep their distances to it and to each other join, and one axis is fitted to all ([`HingeFit`]). A marker that this fit puts where it
//! was not is left out and tried again without the limb. Kept: on the circle, no marker moves more than the noise of the recording (the criterion of the drives, [`Noise`]) or than [`SLACK`] of the largest
//! radius, and never more than [`MOST_SLACK`]; the sweep is at least [`LEAST_SWEEP`]; the standard error of the axis is at most [`MOST_ERROR`]. Markers that keep their distances and move on circles, but
//! about no common axis, also not without the [`MOST_LOST`] that fit least, are carried along without turning: no hinge.
//! Limits: axes that stand still against the body; [`MOST_FITTED`] markers of a limb and [`MOST_ROWS`] rows enter the fit, evenly picked.

use super::hinge_fit::{HingeFit, Point, Seen};
use super::noise::Noise;
use crate::number::elementary::{degrees, radians};
use crate::number::whole;

/// Share of the largest radius that a limb may be off where that is more than the noise (common practice, no source).
const SLACK: f64 = 0.01;

/// Share of the largest radius that a limb may be off at all.
const MOST_SLACK: f64 = 0.05;

/// Least sweep of a hinge, deg: below, a circle and a line differ by less than a thirtieth of the radius.
pub(crate) const LEAST_SWEEP: f64 = 30.0;

/// Largest standard error of an axis, deg.
const MOST_ERROR: f64 = 2.0;

/// Markers of a limb that enter the fit.
const MOST_FITTED: usize = 12;

/// Markers that a limb may lose before it counts as none.
const MOST_LOST: usize = 6;

/// Rows that enter the fit.
const MOST_ROWS: usize = 2000;

/// Markers that turn together.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Hinge {
    /// Indices of the markers, each with its distance from the axis, mm.
    pub(crate) markers: Vec<(usize, f64)>,
    /// The point of the axis that is nearest to the markers' mean, mm.
    pub(crate) pivot: [f64; 3],
    /// Direction of the axis, its largest component positive.
    pub(crate) turn: [f64; 3],
    /// Least and greatest turn from the first complete row, deg.
    pub(crate) range: [f64; 2],
    /// Root of the mean square of a marker's distance from where the hinge puts it, mm.
    pub(crate) rms: f64,
    /// Largest such distance, mm.
    pub(crate) worst: f64,
    /// Standard error of the axis, deg; in the plane 0.
    pub(crate) axis_error: f64,
}

impl Hinge {
    /// From one end to the other, deg.
    pub(crate) fn sweep(&self) -> f64 {
        let [low, high] = self.range;
        high - low
    }
}

/// The hinges of complete rows of so many markers, those of the body left out.
pub(crate) fn of(moving: &[f64], dimensions: usize, markers: usize, body: &[usize], noise: Option<&Noise>) -> Vec<Hinge> {
    let points: Vec<Vec<Point>> = (0..markers).map(|m| track(moving, dimensions, markers, m)).collect();
    let of_body: Vec<Point> = body.iter().filter_map(|m| points.get(*m).map(|track| mean(track))).collect();
    let tracks = Tracks { points, seen: Seen::from(&of_body, dimensions), noise };
    let mut left: Vec<usize> = (0..markers).filter(|m| !body.contains(m)).collect();
    left.sort_by(|a, b| tracks.motion(*b).total_cmp(&tracks.motion(*a)));
    let mut leads: Vec<(usize, HingeFit)> = left.iter().filter_map(|m| Some((*m, tracks.circle(*m)?))).collect();
    leads.sort_by(|a, b| a.1.axis_error.total_cmp(&b.1.axis_error));
    let mut hinges = Vec::new();
    for (lead, circle) in leads {
        if !left.contains(&lead) {
            continue;
        }
        let mut limb = tracks.limb(lead, &circle, &left);
        let together = limb.clone();
        let found = loop {
            match tracks.hinge(lead, &circle, &limb) {
                Ok(hinge) => break Some(hinge),
                Err(Some(misfit)) if limb.len() > 2 && together.len() - limb.len() < MOST_LOST => limb.retain(|m| *m != misfit),
                Err(_) => break None,
            }
        };
        // Without a common axis none of these starts another limb.
        let gone = if found.is_some() { limb } else { together };
        left.retain(|m| !gone.contains(m));
        hinges.extend(found);
    }
    hinges.sort_by_key(|hinge| hinge.markers.iter().map(|(m, _)| *m).min());
    hinges
}

fn track(moving: &[f64], dimensions: usize, markers: usize, marker: usize) -> Vec<Point> {
    let of = |row: &[f64]| {
        let at = |i: usize| if i < dimensions { row.get(marker * dimensions + i).copied().unwrap_or(0.0) } else { 0.0 };
        Point::new(at(0), at(1), at(2))
    };
    moving.chunks((dimensions * markers).max(1)).map(of).collect()
}

fn mean(points: &[Point]) -> Point {
    points.iter().sum::<Point>() / whole::count(points.len().max(1))
}

/// Every marker's way.
struct Tracks<'a> {
    points: Vec<Vec<Point>>,
    seen: Seen,
    noise: Option<&'a Noise>,
}

impl Tracks<'_> {
    fn of(&self, marker: usize) -> &[Point] {
        self.points.get(marker).map_or(&[], Vec::as_slice)
    }

    /// The rows that enter a fit.
    fn picked(&self, marker: usize) -> Vec<Point> {
        let all = self.of(marker);
        all.iter().copied().step_by(all.len().div_ceil(MOST_ROWS).max(1)).collect()
    }

    /// Mean square of a marker about its mean.
    fn motion(&self, marker: usize) -> f64 {
        let all = self.of(marker);
        let mean = mean(all);
        all.iter().map(|p| (p - mean).norm_squared()).sum::<f64>() / whole::count(all.len().max(1))
    }

    /// True where series, the parts of one quantity, do not move more than noise, or than is allowed for this radius.
    fn is_still(&self, parts: &[Vec<f64>], radius: f64) -> bool {
        let n = whole::count(parts.first().map_or(1, Vec::len).max(1));
        let square = parts.iter().flatten().map(|x| x * x).sum::<f64>() / n;
        let is_noise = |noise: &Noise| !noise.is_exceeded(parts, square);
        square <= (SLACK * radius) * (SLACK * radius)
            || (square <= (MOST_SLACK * radius) * (MOST_SLACK * radius) && self.noise.is_some_and(is_noise))
    }

    /// True where a marker is not still: one beside the axis that stands on the body would tilt the axis towards itself.
    fn moves(&self, marker: usize, radius: f64) -> bool {
        let all = self.of(marker);
        let mean = mean(all);
        let part = |i: usize| all.iter().map(|p| p.get(i).zip(mean.get(i)).map_or(0.0, |(x, m)| x - m)).collect();
        !self.is_still(&[part(0), part(1), part(2)], radius)
    }

    /// The circle of a marker that moves on one.
    fn circle(&self, marker: usize) -> Option<HingeFit> {
        let fit = HingeFit::of_one(&self.picked(marker), &self.seen)?;
        let [low, high] = self.range(&fit, &[marker]);
        let parts = self.off(&fit, &[marker], 0, &self.angles(&fit, &[marker]));
        (high - low >= LEAST_SWEEP && self.is_still(&parts, fit.radius(0))).then_some(fit)
    }

    /// The lead and every marker that keeps its distances to all before it.
    fn limb(&self, lead: usize, circle: &HingeFit, left: &[usize]) -> Vec<usize> {
        let mut limb = vec![lead];
        for marker in left {
            let keeps = |other: &usize| {
                let distances: Vec<f64> = self.of(*marker).iter().zip(self.of(*other)).map(|(a, b)| (a - b).norm()).collect();
                let mean = distances.iter().sum::<f64>() / whole::count(distances.len().max(1));
                self.is_still(&[distances.iter().map(|d| d - mean).collect()], circle.radius(0))
            };
            if *marker != lead && self.moves(*marker, circle.radius(0)) && limb.iter().all(keeps) {
                limb.push(*marker);
            }
        }
        limb
    }

    /// The hinge of a limb, or the marker that fits it least; the lead stays.
    fn hinge(&self, lead: usize, circle: &HingeFit, limb: &[usize]) -> Result<Hinge, Option<usize>> {
        let fitted: Vec<Vec<Point>> = limb.iter().take(MOST_FITTED).map(|m| self.picked(*m)).collect();
        let fit = if limb.len() == 1 { Some(circle.clone()) } else { circle.of_all(&self.picked(lead), &fitted, &self.seen) };
        let Some(mut fit) = fit else { return Err(limb.last().copied().filter(|m| *m != lead)) };
        let largest = (0..fit.seats.len()).map(|k| fit.radius(k)).fold(0.0, f64::max);
        // What did not enter the fit has its mean place on the limb.
        let angles = self.angles(&fit, limb);
        for marker in limb.iter().skip(fit.seats.len()) {
            fit.seat(self.of(*marker), &angles);
        }
        let off: Vec<Vec<Vec<f64>>> = (0..limb.len()).map(|k| self.off(&fit, limb, k, &angles)).collect();
        let square = |parts: &Vec<Vec<f64>>| parts.iter().flatten().map(|x| x * x).sum::<f64>();
        let moving = limb.iter().zip(&off).skip(1).filter(|(_, parts)| !self.is_still(parts, largest));
        if let Some((misfit, _)) = moving.reduce(|a, b| if square(b.1) > square(a.1) { b } else { a }) {
            return Err(Some(*misfit));
        }
        let [low, high] = self.range(&fit, limb);
        let is_hinge = off.first().is_some_and(|parts| self.is_still(parts, largest))
            && high - low >= LEAST_SWEEP
            && fit.axis_error <= radians(MOST_ERROR);
        if !is_hinge {
            return Err(limb.last().copied().filter(|m| *m != lead));
        }
        Ok(self.described(&fit, limb, &off, [low, high]))
    }

    fn described(&self, fit: &HingeFit, limb: &[usize], off: &[Vec<Vec<f64>>], [low, high]: [f64; 2]) -> Hinge {
        let rows = self.of(0).len();
        let far = |row: usize, parts: &Vec<Vec<f64>>| parts.iter().filter_map(|p| p.get(row)).map(|x| x * x).sum::<f64>();
        let squares: Vec<f64> = off.iter().flat_map(|parts| (0..rows).map(move |row| far(row, parts))).collect();
        let all: Vec<Point> = limb.iter().flat_map(|m| self.of(*m)).copied().collect();
        let axis = fit.axis();
        let pivot = fit.centre + axis * axis.dot(&(mean(&all) - fit.centre));
        let largest = axis.iter().copied().fold(0.0, |m: f64, x| if x.abs() > m.abs() { x } else { m });
        let (turn, range) = if largest < 0.0 { (-axis, [-high, -low]) } else { (axis, [low, high]) };
        Hinge {
            markers: limb.iter().enumerate().map(|(k, m)| (*m, fit.radius(k))).collect(),
            pivot: [pivot.x, pivot.y, pivot.z],
            turn: [turn.x, turn.y, turn.z],
            range,
            rms: (squares.iter().sum::<f64>() / whole::count(squares.len().max(1))).sqrt(),
            worst: squares.iter().copied().fold(0.0, f64::max).sqrt(),
            axis_error: degrees(fit.axis_error),
        }
    }

    fn row(&self, markers: &[usize], row: usize) -> Vec<Point> {
        markers.iter().filter_map(|m| self.of(*m).get(row).copied()).collect()
    }

    /// Cosine and sine of the angle in every row.
    fn angles(&self, fit: &HingeFit, limb: &[usize]) -> Vec<(f64, f64)> {
        (0..self.of(0).len()).map(|row| fit.angle(&self.row(limb, row))).collect()
    }

    /// Least and greatest turn from the first row, deg; from row to row the shorter way.
    fn range(&self, fit: &HingeFit, limb: &[usize]) -> [f64; 2] {
        let turn = core::f64::consts::TAU;
        let mut last = None;
        let (mut now, mut low, mut high) = (0.0_f64, 0.0_f64, 0.0_f64);
        for row in 0..self.of(0).len() {
            let at = fit.turned(&self.row(limb, row));
            let step = last.map_or(0.0, |last: f64| at - last);
            now += step - turn * (step / turn).round();
            (low, high, last) = (low.min(now), high.max(now), Some(at));
        }
        [degrees(low), degrees(high)]
    }

    /// What the marker of this place in the limb is off, coordinate by coordinate.
    fn off(&self, fit: &HingeFit, limb: &[usize], place: usize, angles: &[(f64, f64)]) -> Vec<Vec<f64>> {
        let mut parts = vec![Vec::new(); 3];
        for (point, angle) in limb.get(place).map_or(&[][..], |m| self.of(*m)).iter().zip(angles) {
            let off = fit.off(place, *point, *angle);
            parts.iter_mut().zip(off.iter()).for_each(|(part, x)| part.push(*x));
        }
        parts
    }
}
