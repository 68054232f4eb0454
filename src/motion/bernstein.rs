//! All roots of a polynomial between 0 and 1, none missed, whatever its degree.
//!
//! What: the polynomial is written in the Bernstein basis; the number of sign changes of its coefficients is never less than the number of
//! roots (Descartes' rule in Bernstein form: G. Farin, Curves and Surfaces for CAGD, variation diminishing; from memory).
//! No change: no root, proven. One change: exactly one, found by bracketed Newton. More: the interval is halved
//! (de Casteljau) and both halves asked again. No closed-form quartics or cubics: their intermediate cancellations lose roots.
//! Degree: one less than the number `N` of coefficients; degrees up to 12 are used.
//! Limits: coefficients below 2^-48 of their sum are noise of the arithmetic that made them and count as zero; what a root hidden
//! there could change in the integrated polynomial is below 2^-48 of its size. Where coefficients are themselves sums that cancel, the caller gives the
//! size of their terms ([`roots_of_terms`]).

/// Halvings after which two roots are taken for one: their distance is below 2^-30 of a piece, and since the polynomial is
/// the derivative of what is being maximised, the value there differs by less than 2^-60 of its curvature.
const DEEPEST: u32 = 30;

/// Relative size below which a coefficient is rounding noise.
const NOISE: f64 = 1.0 / 281_474_976_710_656.0;

/// A polynomial in Bernstein form on 0..=1, of degree `N - 1`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bernstein<const N: usize> {
    b: [f64; N],
    noise: f64,
}

/// Row i, column k: C(i, k) / C(N - 1, k), the share of the power coefficient k in the Bernstein coefficient i.
#[allow(clippy::indexing_slicing, reason = "indices below N, in a constant")]
const fn shares<const N: usize>() -> [[f64; N]; N] {
    let mut rows = [[0.0; N]; N];
    let mut i = 0;
    while i < N {
        let (mut k, mut share) = (0, 1.0);
        while k <= i {
            rows[i][k] = share;
            // C(i, k+1) / C(n, k+1) = C(i, k) / C(n, k) x (i - k) / (n - k).
            if k < i {
                share = share * ((i - k) as f64) / ((N - 1 - k) as f64);
            }
            k += 1;
        }
        i += 1;
    }
    rows
}

impl<const N: usize> Bernstein<N> {
    const SHARES: [[f64; N]; N] = shares::<N>();

    /// From power coefficients `a0 + a1 u + a2 u^2 + ...`.
    #[must_use]
    pub(crate) fn from_power(a: [f64; N]) -> Self {
        Bernstein::of_terms(a, a.iter().map(|a| a.abs()).sum())
    }

    /// The same where the coefficients are sums of terms whose sizes add up to `size`.
    #[allow(clippy::indexing_slicing, reason = "indices below N")]
    fn of_terms(a: [f64; N], size: f64) -> Self {
        // Shares beyond the diagonal are zero.
        let b = core::array::from_fn(|i| Self::SHARES[i].iter().zip(a).take(i + 1).fold(0.0, |sum, (share, a)| sum + share * a));
        Bernstein { b, noise: NOISE * size }
    }

    /// An interval that certainly holds every value on 0..=1: the hull of the coefficients.
    #[must_use]
    pub(crate) fn hull(&self) -> (f64, f64) {
        self.b.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), b| (lo.min(*b), hi.max(*b)))
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

    /// Both halves of 0..=1, each on 0..=1 of its own (de Casteljau).
    #[allow(clippy::indexing_slicing, reason = "indices below N")]
    fn halves(&self) -> (Self, Self) {
        let (mut left, mut right) = (self.b, self.b);
        for (level, corner) in left.iter_mut().enumerate() {
            *corner = right[0];
            for i in 0..N - 1 - level {
                right[i] = 0.5 * (right[i] + right[i + 1]);
            }
        }
        (Bernstein { b: left, noise: self.noise }, Bernstein { b: right, noise: self.noise })
    }

    fn first(&self) -> f64 {
        self.b.first().copied().unwrap_or(0.0)
    }
}

/// Calls `found` with every u strictly inside 0..1 where the polynomial `a0 + a1 u + a2 u^2 + ...` changes sign, in rising order (and with
/// places where it may touch zero, which is harmless where extremes are sought).
pub(crate) fn roots<const N: usize>(a: [f64; N], found: &mut impl FnMut(f64)) {
    isolate(&a, Bernstein::from_power(a), 0.0, 1.0, 0, found);
}

/// The same where the coefficients are sums of terms whose sizes add up to `size`: what is below 2^-48 of that is rounding.
pub(crate) fn roots_of_terms<const N: usize>(a: [f64; N], size: f64, found: &mut impl FnMut(f64)) {
    isolate(&a, Bernstein::of_terms(a, size), 0.0, 1.0, 0, found);
}

fn isolate<const N: usize>(a: &[f64; N], b: Bernstein<N>, lo: f64, hi: f64, depth: u32, found: &mut impl FnMut(f64)) {
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
fn bracketed<const N: usize>(a: &[f64; N], lo: f64, hi: f64, rising: bool) -> f64 {
    // Value and slope together (Horner).
    let f = |u: f64| a.iter().rev().fold((0.0, 0.0), |(y, slope), a| (a + u * y, y + u * slope));
    let (mut below, mut above) = (lo, hi);
    let mut u = 0.5 * (lo + hi);
    for _ in 0..64 {
        let (y, slope) = f(u);
        if y == 0.0 {
            return u;
        }
        if (y > 0.0) == rising {
            above = u;
        } else {
            below = u;
        }
        let step = u - y / slope;
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

    fn all<const N: usize>(a: [f64; N]) -> Vec<f64> {
        let mut v = Vec::new();
        roots(a, &mut |u| v.push(u));
        v
    }

    fn product<const N: usize>(r: &[f64]) -> [f64; N] {
        let mut p = [0.0; N];
        p[0] = 1.0;
        for (n, x) in r.iter().enumerate() {
            let mut q = [0.0; N];
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
        let got = all::<5>(product(&[0.1, 0.35, 0.5, 0.9]));
        assert_eq!(got.len(), 4, "{got:?}");
        for (g, w) in got.iter().zip([0.1, 0.35, 0.5, 0.9]) {
            assert!((g - w).abs() < 1e-12);
        }
    }

    #[test]
    fn trap_a_double_root_does_not_loop_or_vanish_with_its_neighbour() {
        let got = all::<5>(product(&[0.3, 0.3, 0.7]));
        assert!(got.iter().any(|u| (u - 0.7).abs() < 1e-12), "{got:?}");
    }

    #[test]
    fn the_roots_of_a_sextic_are_all_found() {
        let wanted = [0.05, 0.2, 0.21, 0.5, 0.77, 0.999];
        let got = all::<7>(product(&wanted));
        assert_eq!(got.len(), 6, "{got:?}");
        // Rounding of the coefficients moves a root by 2^-52 of their size over the slope there, which is 1e-4 at the pair.
        assert!(got.iter().zip(wanted).all(|(g, w)| (g - w).abs() < 1e-9), "{got:?}");
    }

    #[test]
    fn bernstein_coefficients_are_the_textbook_ones() {
        // u^2 of degree 4: i (i - 1) / 12; and of degree 6: i (i - 1) / 30.
        let quartic = Bernstein::from_power([0.0, 0.0, 1.0, 0.0, 0.0]).b;
        assert!(quartic.iter().zip([0.0, 0.0, 2.0, 6.0, 12.0]).all(|(b, w)| (b - w / 12.0).abs() < 1e-16), "{quartic:?}");
        let sextic = Bernstein::from_power([0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0]).b;
        assert!(sextic.iter().zip([0.0, 0.0, 2.0, 6.0, 12.0, 20.0, 30.0]).all(|(b, w)| (b - w / 30.0).abs() < 1e-15), "{sextic:?}");
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
        let a: [f64; 5] = product(&[0.2, 0.6, 0.8]);
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
