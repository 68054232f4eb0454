//! The rigid motion of a body, removed: where every marker is as seen from the body.
//!
//! What: for each row the rotation and translation that bring the body's markers onto their reference, least squares over all of them, by the singular value decomposition of their covariance,
//! with the case in which that would mirror them (K. S. Arun, T. S. Huang, S. D. Blostein, Least-Squares Fitting of Two 3-D Point Sets, IEEE PAMI 9 (1987) 698; S. Umeyama, IEEE PAMI 13 (1991) 376).
//! In two dimensions the same in closed form. The reference is the body in the first complete row, then three times the mean of the body so aligned.
//! Limits: one marker removes translation only; two in three dimensions, or markers nearly on a line, leave a turn unknown and are refused.

use nalgebra::{Matrix3, Vector3};

use super::markers::Markers;
use crate::bounds::{Code, Flaw, counted};
use crate::number::whole;

/// Times that the reference is improved.
const ROUNDS: usize = 3;

/// Least width of a body as a share of its length: below it the turn about the length is noise (common practice, no source).
const NARROWEST: f64 = 0.05;

type Point = Vector3<f64>;

/// The coordinates of `rows`, one row after the other, without the rigid motion of the markers `body`; unchanged where it is empty.
///
/// # Errors
/// A body whose turn is not known, or that has all markers.
pub(crate) fn without(markers: &Markers, rows: &[usize], body: &[usize]) -> Result<Vec<f64>, Flaw> {
    let dimensions = markers.dimensions();
    let mut all: Vec<Vec<Point>> = rows.iter().map(|row| points(markers.row(*row), dimensions)).collect();
    if body.is_empty() {
        return Ok(flat(&all, dimensions));
    }
    if body.len() == markers.names().len() {
        let flaw = Flaw::new(Code::TooFewMarkers, "--body", "every marker is in --body");
        return Err(flaw.found(counted(body.len(), "marker"), "at least one marker outside").help("leave out the markers of the limbs"));
    }
    if dimensions == 3 && body.len() == 2 {
        let flaw = Flaw::new(Code::TooFewMarkers, "--body", "two markers do not fix a body in space");
        return Err(flaw
            .found("2 markers", "1 marker (translation only), or 3 or more")
            .help("name a third marker that does not move against the other two"));
    }
    let of_body = |row: &[Point]| -> Vec<Point> { body.iter().filter_map(|i| row.get(*i).copied()).collect() };
    let mut reference = all.first().map(|row| of_body(row)).unwrap_or_default();
    if body.len() > 1 && !(width(&reference) >= NARROWEST) {
        let flaw = Flaw::new(Code::TooFewMarkers, "--body", "the markers of --body lie on a line");
        let found = format!("{:.3} of its length wide", width(&reference));
        return Err(flaw.found(found, format!("a width of at least {NARROWEST} of the length")).help("name markers that span a triangle"));
    }
    for round in 0..=ROUNDS {
        let seen: Vec<Placing> = all.iter().map(|row| Placing::onto(&reference, &of_body(row), dimensions)).collect();
        for (row, placing) in all.iter_mut().zip(&seen) {
            row.iter_mut().for_each(|p| *p = placing.placed(*p));
        }
        if round < ROUNDS {
            let n = whole::count(all.len());
            reference = (0..body.len()).map(|i| all.iter().filter_map(|row| row.get(*body.get(i)?)).sum::<Point>() / n).collect();
        }
    }
    Ok(flat(&all, dimensions))
}

fn points(row: &[f64], dimensions: usize) -> Vec<Point> {
    let of =
        |c: &[f64]| Vector3::new(c.first().copied().unwrap_or(0.0), c.get(1).copied().unwrap_or(0.0), c.get(2).copied().unwrap_or(0.0));
    row.chunks(dimensions.max(1)).map(of).collect()
}

fn flat(rows: &[Vec<Point>], dimensions: usize) -> Vec<f64> {
    rows.iter().flatten().flat_map(|p| [p.x, p.y, p.z].into_iter().take(dimensions)).collect()
}

fn middle(points: &[Point]) -> Point {
    points.iter().sum::<Point>() / whole::count(points.len().max(1))
}

/// Second extent of a cloud of points over its first; 1 where two points are asked in the plane.
fn width(points: &[Point]) -> f64 {
    if points.len() == 2 {
        return if points.first() == points.get(1) { 0.0 } else { 1.0 };
    }
    let centre = middle(points);
    let spread: Matrix3<f64> = points.iter().map(|p| (p - centre) * (p - centre).transpose()).sum();
    let s = spread.svd(false, false).singular_values;
    // Squares of the extents.
    if s.x > 0.0 { (s.y / s.x).sqrt() } else { 0.0 }
}

/// A rotation about `from`, then to `to`.
struct Placing {
    turn: Matrix3<f64>,
    from: Point,
    to: Point,
}

impl Placing {
    /// What brings `points` onto `reference`, with the least sum of squares.
    fn onto(reference: &[Point], points: &[Point], dimensions: usize) -> Placing {
        let (from, to) = (middle(points), middle(reference));
        let pairs = points.iter().zip(reference);
        let covariance: Matrix3<f64> = pairs.map(|(p, r)| (p - from) * (r - to).transpose()).sum();
        let turn = if points.len() < 2 {
            Matrix3::identity()
        } else if dimensions == 2 {
            in_the_plane(&covariance)
        } else {
            in_space(covariance)
        };
        Placing { turn, from, to }
    }

    fn placed(&self, p: Point) -> Point {
        self.turn * (p - self.from) + self.to
    }
}

fn in_the_plane(h: &Matrix3<f64>) -> Matrix3<f64> {
    let (cos, sin) = (h.m11 + h.m22, h.m12 - h.m21);
    let length = (cos * cos + sin * sin).sqrt();
    if !(length > 0.0) {
        return Matrix3::identity();
    }
    let (c, s) = (cos / length, sin / length);
    Matrix3::new(c, -s, 0.0, s, c, 0.0, 0.0, 0.0, 1.0)
}

fn in_space(covariance: Matrix3<f64>) -> Matrix3<f64> {
    let svd = covariance.svd(true, true);
    let (Some(u), Some(v_t)) = (svd.u, svd.v_t) else { return Matrix3::identity() };
    // Singular values stand in falling order: the last column carries the sign.
    let sign = if u.determinant() * v_t.determinant() < 0.0 { -1.0 } else { 1.0 };
    v_t.transpose() * Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, sign)) * u.transpose()
}
