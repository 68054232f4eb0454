//! A quintic piece as a weighted sum of what its two ends are: the rows of the fit, and the measure of jerk.
//!
//! Coordinates of a piece: position, velocity x h, acceleration x h^2 at its start, then at its end; h is its length. Local time u runs from 0 to 1.
//! Source: elementary algebra, six conditions for six coefficients as in [`Quintic::between`](crate::motion::Quintic::between); checked against it in the tests.

/// Weights of the six coordinates on the position at local time `u`; `u` beyond 1 goes on along the same polynomial.
pub(super) fn row(u: f64) -> [f64; 6] {
    let u2 = u * u;
    let u3 = u2 * u;
    let p1 = u3 * (10.0 + u * (-15.0 + u * 6.0));
    [
        1.0 - p1,
        u * (1.0 + u2 * (-6.0 + u * (8.0 - u * 3.0))),
        u2 * (0.5 + u * (-1.5 + u * (1.5 - u * 0.5))),
        p1,
        u3 * (-4.0 + u * (7.0 - u * 3.0)),
        u3 * (0.5 + u * (-1.0 + u * 0.5)),
    ]
}

/// Coefficients of the piece over local time.
pub(super) fn coefficients(x: [f64; 6]) -> [f64; 6] {
    let [p0, v0, a0, p1, v1, a1] = x;
    let d = p1 - p0;
    [
        p0,
        v0,
        0.5 * a0,
        10.0 * d - 6.0 * v0 - 4.0 * v1 - 1.5 * a0 + 0.5 * a1,
        -15.0 * d + 8.0 * v0 + 7.0 * v1 + 1.5 * a0 - a1,
        6.0 * d - 3.0 * v0 - 3.0 * v1 - 0.5 * a0 + 0.5 * a1,
    ]
}

/// Value of a polynomial of degree five.
pub(super) fn horner(c: &[f64; 6], u: f64) -> f64 {
    let [c0, c1, c2, c3, c4, c5] = *c;
    c0 + u * (c1 + u * (c2 + u * (c3 + u * (c4 + u * c5))))
}

/// Third derivative 6 c3 + 24 c4 u + 60 c5 u^2, its square integrated from 0 to 1.
const ON: [[f64; 3]; 3] = [[36.0, 72.0, 120.0], [72.0, 192.0, 360.0], [120.0, 360.0, 720.0]];
/// From the six coordinates to c3, c4, c5.
const FROM: [[f64; 6]; 3] = [[-10.0, -6.0, -1.5, 10.0, -4.0, 0.5], [15.0, 8.0, 1.5, -15.0, 7.0, -1.0], [-6.0, -3.0, -0.5, 6.0, -3.0, 0.5]];

/// The symmetric matrix G with x'Gx = the integral over the piece of (d^3 position / du^3)^2. Jerk squared over frame time is h^-5 times that.
pub(super) fn jerk_gram() -> [[f64; 6]; 6] {
    let mut gram = [[0.0; 6]; 6];
    for (on, left) in ON.iter().zip(&FROM) {
        for (weight, right) in on.iter().zip(&FROM) {
            for (row, l) in gram.iter_mut().zip(left) {
                for (cell, r) in row.iter_mut().zip(right) {
                    *cell += weight * l * r;
                }
            }
        }
    }
    gram
}

/// G times x, by way of the coefficients.
pub(super) fn jerk_pull(x: [f64; 6]) -> [f64; 6] {
    let [_, _, _, c3, c4, c5] = coefficients(x);
    let mut pull = [0.0; 6];
    for (on, left) in ON.iter().zip(&FROM) {
        let [a, b, c] = on;
        let along = a * c3 + b * c4 + c * c5;
        for (pull, l) in pull.iter_mut().zip(left) {
            *pull += along * l;
        }
    }
    pull
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motion::quintic::{Node, Quintic};

    #[test]
    fn rows_coefficients_and_jerk_are_those_of_the_quintic_between_two_ends() {
        let h = 3.0;
        let (from, to) = (Node { p: 2.0, v: -0.5, a: 0.25 }, Node { p: 5.0, v: 1.5, a: -0.75 });
        let q = Quintic::between(from, to, h);
        let x = [from.p, from.v * h, from.a * h * h, to.p, to.v * h, to.a * h * h];
        let c = coefficients(x);
        for i in 0..=20 {
            let u = f64::from(i) / 10.0;
            let by_row: f64 = row(u).iter().zip(&x).map(|(b, x)| b * x).sum();
            assert!((by_row - q.at(u)).abs() < 1e-11 && (horner(&c, u) - q.at(u)).abs() < 1e-12, "{u}");
        }
        let gram = jerk_gram();
        let by_gram: f64 = gram.iter().zip(&x).flat_map(|(row, l)| row.iter().zip(&x).map(move |(g, r)| g * l * r)).sum();
        // Midpoint rule with 20,000 steps: the square is a polynomial of degree four.
        let n = 20_000;
        let by_sum: f64 = (0..n)
            .map(|i| {
                let j = q.jet((f64::from(i) + 0.5) / f64::from(n), 1.0).j;
                j * j / f64::from(n)
            })
            .sum();
        assert!((by_gram / by_sum - 1.0).abs() < 1e-7, "{by_gram} {by_sum}");
    }
}
