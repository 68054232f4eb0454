//! All roots of a polynomial of degree four or less between 0 and 1, none missed.
//!
//! What: the polynomial is written in the Bernstein basis; the number of sign changes of its coefficients is never less than the number of
//! roots (Descartes' rule in Bernstein form: G. Farin, Curves and Surfaces for CAGD, variation diminishing; from memory).
//! No change: no root, proven. One change: exactly one, found by bracketed Newton. More: the interval is halved
//! (de Casteljau) and both halves asked again. No closed-form quartics or cubics: their intermediate cancellations lose roots.
//! Limits: coefficients below 2^-48 of their sum are noise of the arithmetic that made them and count as zero; what a root hidden
//! there could change in the integrated polynomial is below 2^-48 of its size.

/// Halvings after which two roots are taken for one: their distance is below 2^-30 of a piece, and since the polynomial is
/// the derivative of what is being maximised, the value there differs by less than 2^-60 of its curvature.
const DEEPEST: u32 = 30;

/// Relative size below which a coefficient is rounding noise.
const NOISE: f64 = 1.0 / 281_474_976_710_656.0;

/// A polynomial of degree four in Bernstein form on 0..=1.
#[derive(Debug, Clone, Copy)]
pub struct Bernstein {
    b: [f64; 5],
    noise: f64,
}

impl Bernstein {
    /// From power coefficients `a0 + a1 u + ... + a4 u^4`.
    #[must_use]
    pub fn from_power(a: [f64; 5]) -> Self {
        let [a0, a1, a2, a3, a4] = a;
        Bernstein {
            b: [a0, a0 + 0.25 * a1, a0 + 0.5 * a1 + a2 / 6.0, a0 + 0.75 * a1 + 0.5 * a2 + 0.25 * a3, a0 + a1 + a2 + a3 + a4],
            noise: NOISE * (a0.abs() + a1.abs() + a2.abs() + a3.abs() + a4.abs()),
        }
    }

    /// An interval that certainly holds every value on 0..=1: the hull of the coefficients.
    #[must_use]
    pub fn hull(&self) -> (f64, f64) {
        let [b0, rest @ ..] = self.b;
        rest.iter().fold((b0, b0), |(lo, hi), b| (lo.min(*b), hi.max(*b)))
    }

    /// Sign changes of the coefficients, and the last coefficient that is not noise.
    fn changes(&self) -> (u32, f64) {
        let mut last = 0.0_f64;
        let mut n = 0;
        for b in self.b {
            if b.abs() <= self.noise {
                continue;
            }
            if last != 0.0 && (last > 0.0) != (b > 0.0) {
                n += 1;
            }
            last = b;
        }
        (n, last)
    }

    fn halves(&self) -> (Bernstein, Bernstein) {
        let [a, b, c, d, e] = self.b;
        let (ab, bc, cd, de) = (0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + d), 0.5 * (d + e));
        let (abc, bcd, cde) = (0.5 * (ab + bc), 0.5 * (bc + cd), 0.5 * (cd + de));
        let (abcd, bcde) = (0.5 * (abc + bcd), 0.5 * (bcd + cde));
        let m = 0.5 * (abcd + bcde);
        (Bernstein { b: [a, ab, abc, abcd, m], noise: self.noise }, Bernstein { b: [m, bcde, cde, de, e], noise: self.noise })
    }

    fn first(&self) -> f64 {
        let [a, ..] = self.b;
        a
    }
}

/// Calls `found` with every u strictly inside 0..1 where the polynomial `a0 + ... + a4 u^4` changes sign, in rising order (and with
/// places where it may touch zero, which is harmless where extremes are sought).
pub fn roots(a: [f64; 5], found: &mut impl FnMut(f64)) {
    isolate(&a, Bernstein::from_power(a), 0.0, 1.0, 0, found);
}

fn isolate(a: &[f64; 5], b: Bernstein, lo: f64, hi: f64, depth: u32, found: &mut impl FnMut(f64)) {
    match b.changes() {
        (0, _) => {}
        (1, last) => found(bracketed(a, lo, hi, last > 0.0)),
        _ if depth >= DEEPEST => found(0.5 * (lo + hi)),
        _ => {
            let mid = 0.5 * (lo + hi);
            let (left, right) = b.halves();
            isolate(a, left, lo, mid, depth + 1, found);
            // A root on the cut itself is an end of both halves, and inside neither.
            if right.first().abs() <= b.noise {
                found(mid);
            }
            isolate(a, right, mid, hi, depth + 1, found);
        }
    }
}

/// The one root between `lo` and `hi`: Newton's steps, with bisection wherever a step would leave the bracket or stop halving it.
fn bracketed(a: &[f64; 5], lo: f64, hi: f64, rising: bool) -> f64 {
    let [a0, a1, a2, a3, a4] = *a;
    let f = |u: f64| a0 + u * (a1 + u * (a2 + u * (a3 + u * a4)));
    let df = |u: f64| a1 + u * (2.0 * a2 + u * (3.0 * a3 + u * (4.0 * a4)));
    let (mut below, mut above) = (lo, hi);
    let mut u = 0.5 * (lo + hi);
    for _ in 0..64 {
        let y = f(u);
        if y == 0.0 {
            return u;
        }
        if (y > 0.0) == rising {
            above = u;
        } else {
            below = u;
        }
        let step = u - y / df(u);
        let next = if below < step && step < above { step } else { 0.5 * (below + above) };
        // Half an ulp of a unit interval is 2^-54; an extreme is flat, so 2^-44 in place is 2^-88 of its curvature in value.
        if (next - u).abs() <= 5.7e-14 {
            return next;
        }
        u = next;
    }
    u
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn all(a: [f64; 5]) -> Vec<f64> {
        let mut v = Vec::new();
        roots(a, &mut |u| v.push(u));
        v
    }

    fn product(r: &[f64]) -> [f64; 5] {
        let mut p = [1.0, 0.0, 0.0, 0.0, 0.0];
        for (n, x) in r.iter().enumerate() {
            let mut q = [0.0; 5];
            for i in 0..=n {
                q[i] -= x * p[i];
                q[i + 1] += p[i];
            }
            p = q;
        }
        p
    }

    #[test]
    fn four_roots_inside_are_four() {
        let got = all(product(&[0.1, 0.35, 0.5, 0.9]));
        assert_eq!(got.len(), 4, "{got:?}");
        for (g, w) in got.iter().zip([0.1, 0.35, 0.5, 0.9]) {
            assert!((g - w).abs() < 1e-12);
        }
    }

    #[test]
    fn trap_a_double_root_does_not_loop_or_vanish_with_its_neighbour() {
        let got = all(product(&[0.3, 0.3, 0.7]));
        assert!(got.iter().any(|u| (u - 0.7).abs() < 1e-12), "{got:?}");
    }

    #[test]
    fn flat_ends_are_not_roots() {
        // 30 u^2 (1 - u)^2, the velocity of the resting quintic: double zeros at both ends, none between.
        assert!(all([0.0, 0.0, 30.0, -60.0, 30.0]).is_empty());
    }

    #[test]
    fn a_root_between_zero_ends_is_found_whatever_their_rounding() {
        // Acceleration of a quintic that starts and ends without it: zeros at both ends, one between.
        for noise in [0.0, 1e-17, -1e-17] {
            let got = all([noise, 60.0, -180.0, 120.0 - noise * 3.0, 0.0]);
            assert_eq!(got.len(), 1, "{got:?}");
            assert!((got[0] - 0.5).abs() < 1e-12);
        }
    }

    #[test]
    fn a_power_of_two_changes_no_root() {
        let a = product(&[0.2, 0.6, 0.8]);
        assert_eq!(all(a), all(a.map(|c| c * 1_099_511_627_776.0)));
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 2000, ..ProptestConfig::default() })]
        #[test]
        fn no_sign_change_between_samples_is_missed(a in prop::array::uniform5(-10.0..10.0_f64)) {
            let found = all(a);
            let f = |u: f64| a[0] + u * (a[1] + u * (a[2] + u * (a[3] + u * a[4])));
            for i in 0..400 {
                let (x, y) = (f64::from(i) / 400.0, f64::from(i + 1) / 400.0);
                if f(x) * f(y) < 0.0 {
                    prop_assert!(found.iter().any(|u| x <= *u && *u <= y), "{x} {found:?}");
                }
            }
        }
    }
}
