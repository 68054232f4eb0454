//! Cubic splines, C2: natural through keys, and periodic over a beat.
//!
//! Source of the equations: any numerical analysis textbook, e.g. R. L. Burden, J. D. Faires, Numerical Analysis, 3.5 (from memory); the moments
//! M (second derivatives at the keys) solve a diagonally dominant tridiagonal system, stable without pivoting.

use super::keyed::{KeyedCurve, Outside};
use crate::motion::quintic::{Node, Quintic};
use crate::motion::signal::SignalError;
use crate::shot::Key;

/// The natural cubic spline through `keys`: second derivative 0 at both ends, straight on outside.
///
/// # Errors
/// Numbers that overflow.
pub(crate) fn through(keys: &[Key]) -> Result<KeyedCurve, SignalError> {
    let frames: Vec<f64> = keys.iter().map(|k| k.frame).collect();
    let values: Vec<f64> = keys.iter().map(|k| k.value).collect();
    let moments = natural_moments(&frames, &values);
    let pieces: Vec<Quintic> = spans(&frames, &values, &moments).map(|s| s.cubic()).collect();
    let mut nodes: Vec<(f64, Node)> = keys.iter().map(|k| (k.frame, Node::rest(k.value))).collect();
    if let (Some(first), Some(piece), Some(second), Some(node)) = (keys.first(), pieces.first(), keys.get(1), nodes.first_mut()) {
        node.1.v = piece.jet(0.0, second.frame - first.frame).v;
    }
    if let (Some(piece), [.., before, last], Some(node)) = (pieces.last(), keys, nodes.last_mut()) {
        node.1.v = piece.jet(1.0, last.frame - before.frame).v;
    }
    KeyedCurve::of_pieces(&nodes, pieces, Outside::Straight)
}

/// One span between neighbouring points with the second derivatives at its ends.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    pub(super) h: f64,
    p0: f64,
    p1: f64,
    m0: f64,
    m1: f64,
}

impl Span {
    /// The cubic over the span, in local time.
    pub(super) fn cubic(&self) -> Quintic {
        let Span { h, p0, p1, m0, m1 } = *self;
        let h2 = h * h;
        Quintic([p0, (p1 - p0) - h2 * (2.0 * m0 + m1) / 6.0, 0.5 * h2 * m0, h2 * (m1 - m0) / 6.0, 0.0, 0.0])
    }
}

pub(super) fn spans<'a>(x: &'a [f64], y: &'a [f64], m: &'a [f64]) -> impl Iterator<Item = Span> + 'a {
    let xs = x.iter().zip(x.iter().skip(1));
    let ys = y.iter().zip(y.iter().skip(1));
    let ms = m.iter().zip(m.iter().skip(1));
    xs.zip(ys.zip(ms)).map(|((x0, x1), ((p0, p1), (m0, m1)))| Span { h: x1 - x0, p0: *p0, p1: *p1, m0: *m0, m1: *m1 })
}

fn chords(x: &[f64], y: &[f64]) -> Vec<(f64, f64)> {
    let xs = x.iter().zip(x.iter().skip(1));
    let ys = y.iter().zip(y.iter().skip(1));
    xs.zip(ys).map(|((x0, x1), (y0, y1))| (x1 - x0, (y1 - y0) / (x1 - x0))).collect()
}

/// Second derivatives at the points, 0 at both ends.
fn natural_moments(x: &[f64], y: &[f64]) -> Vec<f64> {
    let d = chords(x, y);
    let rows: Vec<[f64; 4]> =
        d.iter().zip(d.iter().skip(1)).map(|((h0, s0), (h1, s1))| [*h0, 2.0 * (h0 + h1), *h1, 6.0 * (s1 - s0)]).collect();
    let mut m = Vec::with_capacity(x.len());
    m.push(0.0);
    m.extend(tridiagonal(&rows));
    while m.len() < x.len() {
        m.push(0.0);
    }
    m
}

/// Second derivatives at the points of a periodic spline; the last point is the first one again, a period later.
pub(super) fn periodic_moments(x: &[f64], y: &[f64]) -> Vec<f64> {
    let d = chords(x, y);
    let n = d.len();
    // Row i ties M(i-1), M(i), M(i+1), indices round the circle.
    let rows: Vec<[f64; 4]> = (0..n)
        .filter_map(|i| {
            let (h0, s0) = d.get((i + n - 1) % n)?;
            let (h1, s1) = d.get(i)?;
            Some([*h0, 2.0 * (h0 + h1), *h1, 6.0 * (s1 - s0)])
        })
        .collect();
    let mut m = match rows.as_slice() {
        [] | [_] => vec![0.0; n],
        // Two points: both neighbours of one are the other.
        [[a, b, c, r], [d, e, f, s]] => {
            let (p, q) = (a + c, d + f);
            let det = b * e - p * q;
            vec![(r * e - p * s) / det, (b * s - q * r) / det]
        }
        _ => cyclic(&rows),
    };
    if let Some(first) = m.first().copied() {
        m.push(first);
    }
    m
}

/// Solves a tridiagonal system of rows [below, diagonal, above, right side] (Thomas algorithm).
fn tridiagonal(rows: &[[f64; 4]]) -> Vec<f64> {
    let mut up = Vec::with_capacity(rows.len());
    let (mut above_before, mut value_before) = (0.0, 0.0);
    for (i, [below, diagonal, above, right]) in rows.iter().enumerate() {
        let below = if i == 0 { 0.0 } else { *below };
        let pivot = diagonal - below * above_before;
        above_before = above / pivot;
        value_before = (right - below * value_before) / pivot;
        up.push((above_before, value_before));
    }
    let mut next = 0.0;
    let last = rows.len();
    let mut x: Vec<f64> = up
        .iter()
        .enumerate()
        .rev()
        .map(|(i, (above, value))| {
            next = if i + 1 == last { *value } else { value - above * next };
            next
        })
        .collect();
    x.reverse();
    x
}

/// The same with corners that close the circle (Sherman-Morrison formula).
fn cyclic(rows: &[[f64; 4]]) -> Vec<f64> {
    let (Some([alpha, b0, _, _]), Some([_, _, beta, _])) = (rows.first().copied(), rows.last().copied()) else {
        return Vec::new();
    };
    let gamma = -b0;
    let n = rows.len();
    let changed = |right: &dyn Fn(usize, f64) -> f64| -> Vec<f64> {
        let inner: Vec<[f64; 4]> = rows
            .iter()
            .enumerate()
            .map(|(i, [below, diagonal, above, r])| {
                let mut d = *diagonal;
                if i == 0 {
                    d -= gamma;
                }
                if i + 1 == n {
                    d -= alpha * beta / gamma;
                }
                [*below, d, *above, right(i, *r)]
            })
            .collect();
        tridiagonal(&inner)
    };
    let y = changed(&|_, r| r);
    let z = changed(&|i, _| {
        if i == 0 {
            gamma
        } else if i + 1 == n {
            beta
        } else {
            0.0
        }
    });
    let ends = |v: &[f64]| match (v.first(), v.last()) {
        (Some(a), Some(b)) => a + alpha * b / gamma,
        _ => 0.0,
    };
    let factor = ends(&y) / (1.0 + ends(&z));
    y.iter().zip(&z).map(|(y, z)| y - factor * z).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn two_keys_are_a_straight_line() {
        let k = through(&[Key::new(0.0, 1.0), Key::new(4.0, 3.0)]).unwrap();
        assert_eq!(k.jet(2.0, 2.0).p, 2.0);
        assert_eq!(k.jet(6.0, 6.0).p, 4.0);
        assert_eq!(k.jet(-2.0, -2.0).p, 0.0);
    }

    #[test]
    fn a_periodic_spline_closes_with_equal_slopes_and_moments() {
        let x = [0.0, 0.35, 0.6, 1.0];
        let y = [-18.0, 42.0, 10.0, -18.0];
        let m = periodic_moments(&x, &y);
        let s: Vec<Span> = spans(&x, &y, &m).collect();
        let (first, last) = (s[0].cubic().jet(0.0, s[0].h), s[2].cubic().jet(1.0, s[2].h));
        assert!((first.v - last.v).abs() < 1e-11 * first.v.abs().max(1.0));
        assert!((first.a - last.a).abs() < 1e-10 * first.a.abs().max(1.0));
        for w in s.windows(2) {
            let (a, b) = (w[0].cubic().jet(1.0, w[0].h), w[1].cubic().jet(0.0, w[1].h));
            assert!((a.v - b.v).abs() < 1e-11 * a.v.abs().max(1.0));
            assert!((a.a - b.a).abs() < 1e-10 * a.a.abs().max(1.0));
        }
    }
}
