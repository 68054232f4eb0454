//! One axis about which markers turn together: the least sum of squared distances between where they were recorded and where the hinge puts them.
//!
//! What: marker k is at c + R(n, t) q_k in every row, one angle t for each row. The parameters of the axis and of the markers are found by damped Gauss-Newton steps (K. Levenberg, Quarterly of Applied
//! Mathematics 2 (1944) 164; D. W. Marquardt, SIAM Journal 11 (1963) 431) in which the angles, best in closed form for given parameters, are eliminated. With one marker that is a circle in space, by its
//! orthogonal distances: the maximum of likelihood for noise that is alike in all directions. Invariant: the start is only a start; the axis is that of the least squares.
//! Where the motion is seen from a body ([`Seen`]), the body's noise shifts and turns all markers of a row together: those motions are eliminated too, as large as the body's markers let them be
//! (generalised least squares). Limits: noise of equal size in all markers and directions, without memory from row to row.

use nalgebra::{DMatrix, DVector, Matrix2, Matrix3, Vector3};

use crate::number::elementary::atan2;
use crate::number::whole;

/// Steps that a fit may take.
const MOST_STEPS: usize = 30;

/// Damping with which a step is given up.
const MOST_DAMPING: f64 = 1e6;

/// Share of the squares below which a step is the last.
const ENOUGH: f64 = 1e-12;

pub(crate) type Point = Vector3<f64>;

/// From where markers are seen: what noise of the body does to all of them.
#[derive(Debug, Clone)]
pub(crate) struct Seen {
    dimensions: usize,
    /// Mean of the body's markers.
    centre: Point,
    /// True where the body's turn was removed too.
    turns: bool,
    /// How well shifts and turns of the body are known: squares of what they move its markers by.
    known: DMatrix<f64>,
}

impl Seen {
    /// From a body whose markers are at `body`; none: as recorded.
    pub(crate) fn from(body: &[Point], dimensions: usize) -> Seen {
        let centre = body.iter().sum::<Point>() / whole::count(body.len().max(1));
        let mut seen = Seen { dimensions, centre, turns: body.len() > 1, known: DMatrix::zeros(0, 0) };
        if !body.is_empty() {
            let motions: Vec<Vec<Point>> = body.iter().map(|p| seen.shifts(*p)).collect();
            let count = motions.first().map_or(0, Vec::len);
            let square = |i: usize, j: usize| motions.iter().filter_map(|m| Some(m.get(i)?.dot(m.get(j)?))).sum();
            seen.known = DMatrix::from_fn(count, count, square);
        }
        seen
    }

    /// What small shifts and turns of the body move a point by.
    fn motions(&self, p: Point) -> Vec<Point> {
        if self.known.is_empty() { Vec::new() } else { self.shifts(p) }
    }

    fn shifts(&self, p: Point) -> Vec<Point> {
        let axes = [Point::x(), Point::y(), Point::z()];
        let from = p - self.centre;
        let shifts = axes.into_iter().take(self.dimensions);
        let about = axes.into_iter().skip(if self.dimensions == 2 { 2 } else { 0 }).filter(|_| self.turns);
        shifts.chain(about.map(|axis| axis.cross(&from))).collect()
    }
}

/// Where markers turn.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct HingeFit {
    /// A point of the axis.
    pub(crate) centre: Point,
    /// Two directions across the axis, then the axis, right-handed.
    frame: Matrix3<f64>,
    /// Each marker in these directions from the centre, at the angle 0.
    pub(crate) seats: Vec<Point>,
    /// Standard error of the axis in its worse direction, rad; infinite where the markers leave it open.
    pub(crate) axis_error: f64,
}

impl HingeFit {
    /// The circle of one marker. `points`: row by row. `None` where they have none, as on a line.
    pub(crate) fn of_one(points: &[Point], seen: &Seen) -> Option<HingeFit> {
        let n = whole::count(points.len());
        let middle = points.iter().sum::<Point>() / n;
        let spread: Matrix3<f64> = points.iter().map(|p| (p - middle) * (p - middle).transpose()).sum();
        let across = if seen.dimensions == 2 {
            Matrix3::identity()
        } else {
            // Singular values stand in falling order: the least is that of the normal.
            let u = spread.svd(true, false).u?;
            let (first, normal) = (u.column(0).into_owned(), u.column(2).into_owned());
            Matrix3::from_columns(&[first, normal.cross(&first), normal])
        };
        // A circle by the squares of its equation (I. Kasa, IEEE Transactions on Instrumentation and Measurement 25 (1976) 8): biased, but near.
        let (mut squares, mut sums) = (Matrix2::zeros(), nalgebra::Vector2::zeros());
        let flat: Vec<Point> = points.iter().map(|p| across.transpose() * (p - middle)).collect();
        let mean = flat.iter().map(|p| p.x * p.x + p.y * p.y).sum::<f64>() / n;
        for p in &flat {
            let xy = p.xy();
            squares += xy * xy.transpose();
            sums += 0.5 * (xy.norm_squared() - mean) * xy;
        }
        let centre = squares.try_inverse()? * sums;
        let radius = (mean + centre.norm_squared()).sqrt();
        let centre = middle + across * Vector3::new(centre.x, centre.y, 0.0);
        let start = HingeFit { centre, frame: across, seats: vec![Vector3::new(radius, 0.0, 0.0)], axis_error: f64::INFINITY };
        start.improved(&[points.to_vec()], seen)
    }

    /// One axis of several markers, from that of one of them. `rows`: for each marker its points row by row, the same rows for all.
    pub(crate) fn of_all(&self, lead: &[Point], rows: &[Vec<Point>], seen: &Seen) -> Option<HingeFit> {
        let angles: Vec<(f64, f64)> = lead.iter().map(|p| self.angle(&[*p])).collect();
        let mut start = HingeFit { seats: Vec::new(), axis_error: f64::INFINITY, ..self.clone() };
        rows.iter().for_each(|points| start.seat(points, &angles));
        start.improved(rows, seen)
    }

    /// One more marker, at its mean place on the limb for these angles.
    pub(crate) fn seat(&mut self, points: &[Point], angles: &[(f64, f64)]) {
        let back = points.iter().zip(angles).map(|(p, (c, s))| {
            let y = self.frame.transpose() * (p - self.centre);
            Vector3::new(c * y.x + s * y.y, c * y.y - s * y.x, y.z)
        });
        let seat = back.sum::<Point>() / whole::count(points.len().max(1));
        self.seats.push(seat);
    }

    /// Direction of the axis.
    pub(crate) fn axis(&self) -> Point {
        self.frame.column(2).into_owned()
    }

    /// Distance of a marker from the axis.
    pub(crate) fn radius(&self, marker: usize) -> f64 {
        self.seats.get(marker).map_or(f64::NAN, |q| q.xy().norm())
    }

    /// Angle of a row of the markers as its cosine and sine: the best for all of them.
    pub(crate) fn angle(&self, row: &[Point]) -> (f64, f64) {
        let (mut along, mut across) = (0.0, 0.0);
        for (p, q) in row.iter().zip(&self.seats) {
            let y = self.frame.transpose() * (p - self.centre);
            along += q.x * y.x + q.y * y.y;
            across += q.x * y.y - q.y * y.x;
        }
        let length = (along * along + across * across).sqrt();
        if length > 0.0 { (along / length, across / length) } else { (1.0, 0.0) }
    }

    /// The same angle, rad.
    pub(crate) fn turned(&self, row: &[Point]) -> f64 {
        let (cos, sin) = self.angle(row);
        atan2(sin, cos)
    }

    /// What a marker is off in a row at this angle.
    pub(crate) fn off(&self, marker: usize, point: Point, (cos, sin): (f64, f64)) -> Point {
        point - self.centre - self.arm(marker, cos, sin)
    }

    /// From the centre to a marker.
    fn arm(&self, marker: usize, cos: f64, sin: f64) -> Point {
        let q = self.seats.get(marker).copied().unwrap_or_default();
        self.frame * Vector3::new(cos * q.x - sin * q.y, sin * q.x + cos * q.y, q.z)
    }

    fn improved(mut self, rows: &[Vec<Point>], seen: &Seen) -> Option<HingeFit> {
        // The first marker fixes the angle 0: it lies along the first direction.
        let first = self.seats.first()?.xy();
        let length = first.norm();
        if !(length > 0.0 && length.is_finite()) {
            return None;
        }
        let (c, s) = (first.x / length, first.y / length);
        self.seats.iter_mut().for_each(|q| *q = Vector3::new(c * q.x + s * q.y, c * q.y - s * q.x, q.z));
        let columns = Columns::of(self.seats.len(), seen.dimensions);
        let mut now = self.normal(rows, &columns, seen)?;
        let mut damping = 1e-3;
        let mut is_better = true;
        for _ in 0..MOST_STEPS {
            if !is_better {
                break;
            }
            is_better = false;
            while damping < MOST_DAMPING {
                let damped = &now.matrix + DMatrix::from_diagonal(&(now.matrix.diagonal() * damping));
                let step = damped.cholesky().map(|c| c.solve(&now.slope));
                // What the step can gain at most, but for bends.
                if step.as_ref().is_some_and(|step| !(step.dot(&now.slope) > ENOUGH * now.squares)) {
                    break;
                }
                let moved = step.map(|step| self.moved(&step, &columns));
                let next = moved.and_then(|moved| Some((moved.normal(rows, &columns, seen)?, moved)));
                match next {
                    Some((next, moved)) if next.squares <= now.squares => {
                        is_better = now.squares - next.squares > ENOUGH * next.squares;
                        (self, now) = (moved, next);
                        damping = (damping * 0.1).max(1e-12);
                        break;
                    }
                    _ => damping *= 10.0,
                }
            }
        }
        self.with_error(rows, now, seen.dimensions)
    }

    /// Squares and slopes of the parameters; the angles, and what the body's noise does, eliminated.
    fn normal(&self, rows: &[Vec<Point>], columns: &Columns, seen: &Seen) -> Option<Normal> {
        let n = columns.count;
        let (mut matrix, mut slope, mut squares) = (DMatrix::zeros(n, n), DVector::zeros(n), 0.0);
        let [u, v, axis] = [0, 1, 2].map(|i| self.frame.column(i).into_owned());
        let body = seen.known.nrows();
        for row in by_row(rows) {
            let (cos, sin) = self.angle(&row);
            // The angle comes last.
            let mut of_row = DMatrix::zeros(body + 1, body + 1);
            of_row.view_mut((0, 0), (body, body)).copy_from(&seen.known);
            let (mut with_row, mut off_row) = (DMatrix::zeros(n, body + 1), DVector::zeros(body + 1));
            for (k, p) in row.iter().enumerate() {
                let off = self.off(k, *p, (cos, sin));
                let arm = self.arm(k, cos, sin);
                let parts = [u.cross(&arm), v.cross(&arm), u, v, cos * u + sin * v, cos * v - sin * u, axis];
                let mut free = seen.motions(*p);
                free.push(axis.cross(&arm));
                let used = columns.of_marker(k);
                for (i, a) in used.iter().zip(&parts).filter_map(|(i, a)| Some(((*i)?, a))) {
                    for (j, b) in used.iter().zip(&parts).filter_map(|(j, b)| Some(((*j)?, b))) {
                        *matrix.get_mut((i, j))? += a.dot(b);
                    }
                    for (j, b) in free.iter().enumerate() {
                        *with_row.get_mut((i, j))? += a.dot(b);
                    }
                    *slope.get_mut(i)? += a.dot(&off);
                }
                for (i, a) in free.iter().enumerate() {
                    for (j, b) in free.iter().enumerate() {
                        *of_row.get_mut((i, j))? += a.dot(b);
                    }
                    *off_row.get_mut(i)? += a.dot(&off);
                }
                squares += off.norm_squared();
            }
            let solver = of_row.cholesky()?;
            let taken = solver.solve(&off_row);
            squares -= taken.dot(&off_row);
            slope.gemv(-1.0, &with_row, &taken, 1.0);
            matrix.gemm(-1.0, &with_row, &solver.solve(&with_row.transpose()), 1.0);
        }
        Some(Normal { matrix, slope, squares })
    }

    /// After a step of the parameters.
    fn moved(&self, step: &DVector<f64>, columns: &Columns) -> HingeFit {
        let at = |column: Option<usize>| column.and_then(|i| step.get(i)).copied().unwrap_or(0.0);
        let [u, v, axis] = [0, 1, 2].map(|i| self.frame.column(i).into_owned());
        let [tilt_u, tilt_v, shift_u, shift_v, ..] = columns.of_marker(0).map(at);
        // A small turn about u and v.
        let axis = (axis + tilt_v * u - tilt_u * v).normalize();
        let across = (u - u.dot(&axis) * axis).normalize();
        let seats = self.seats.iter().enumerate().map(|(k, q)| {
            let [.., along, aside, up] = columns.of_marker(k).map(at);
            q + Vector3::new(along, aside, up)
        });
        HingeFit {
            centre: self.centre + shift_u * u + shift_v * v,
            seats: seats.collect(),
            frame: Matrix3::from_columns(&[across, axis.cross(&across), axis]),
            axis_error: f64::INFINITY,
        }
    }

    fn with_error(mut self, rows: &[Vec<Point>], now: Normal, dimensions: usize) -> Option<HingeFit> {
        let count = rows.first()?.len();
        let numbers = dimensions * rows.len() * count;
        let free = whole::count(numbers.saturating_sub(now.slope.len() + count));
        if dimensions == 2 {
            self.axis_error = 0.0;
        } else if free > 0.0
            && let Some(inverse) = now.matrix.cholesky().map(|c| c.inverse())
        {
            let tilts = inverse.fixed_view::<2, 2>(0, 0).into_owned();
            self.axis_error = (tilts.symmetric_eigenvalues().max() * now.squares / free).sqrt();
        }
        self.centre.iter().chain(self.frame.iter()).all(|x| x.is_finite()).then_some(self)
    }
}

/// The least squares at some parameters.
struct Normal {
    matrix: DMatrix<f64>,
    slope: DVector<f64>,
    squares: f64,
}

/// The markers of each row.
fn by_row(rows: &[Vec<Point>]) -> impl Iterator<Item = Vec<Point>> + '_ {
    (0..rows.first().map_or(0, Vec::len)).map(|i| rows.iter().filter_map(|points| points.get(i).copied()).collect())
}

/// Which column of the normal equations each parameter has.
struct Columns {
    in_space: bool,
    count: usize,
}

impl Columns {
    fn of(markers: usize, dimensions: usize) -> Columns {
        let in_space = dimensions > 2;
        Columns { in_space, count: if in_space { 3 * markers + 3 } else { 2 * markers + 1 } }
    }

    /// Two tilts of the axis, two shifts, then along, aside and up of the marker; what the first marker or the plane leaves out is `None`.
    fn of_marker(&self, marker: usize) -> [Option<usize>; 7] {
        let shared = if self.in_space { [Some(0), Some(1), Some(2), Some(3)] } else { [None, None, Some(0), Some(1)] };
        let [a, b, c, d] = shared;
        let own = match (self.in_space, marker) {
            (true, 0) => [Some(4), None, Some(5)],
            (true, k) => [Some(3 * k + 3), Some(3 * k + 4), Some(3 * k + 5)],
            (false, 0) => [Some(2), None, None],
            (false, k) => [Some(2 * k + 1), Some(2 * k + 2), None],
        };
        let [e, f, g] = own;
        [a, b, c, d, e, f, g]
    }
}
