//! Peaks of pieces by dense sampling and refinement, sharing nothing with the peaks of the crate.

use movewright::motion::curve::Piece;

/// Peaks by dense sampling and refinement. Per frame^k.
pub struct Dense {
    pub least: f64,
    pub most: f64,
    pub rates: [f64; 3],
}

pub fn horner(c: &[f64], u: f64) -> f64 {
    c.iter().rev().fold(0.0, |s, c| s * u + c)
}

pub fn derived(c: &[f64], h: f64) -> Vec<f64> {
    c.iter().enumerate().skip(1).map(|(k, c)| k as f64 * c / h).collect()
}

/// 1/2 - 1/2 cos(pi k / 16).
pub fn places() -> &'static [f64; 17] {
    static PLACES: std::sync::OnceLock<[f64; 17]> = std::sync::OnceLock::new();
    PLACES.get_or_init(|| std::array::from_fn(|k| 0.5 - 0.5 * (std::f64::consts::PI * k as f64 / 16.0).cos()))
}

/// The greatest value of a polynomial on 0..1, if it is above `known`.
pub fn greatest(c: &[f64], sign: f64, known: f64) -> f64 {
    let places = places();
    let at: [f64; 17] = std::array::from_fn(|k| sign * horner(c, places[k]));
    let (low, high) = at.iter().fold((at[0], at[0]), |(a, b), x| (a.min(*x), b.max(*x)));
    // A peak between the places lies above them by less than 0.14 of the spread, see the head.
    if high + 0.15 * (high - low) <= known {
        return known;
    }
    let mut best = known.max(high);
    for k in 0..17 {
        let (l, r) = (k.max(1) - 1, (k + 1).min(16));
        if at[k] < at[l] || at[k] < at[r] {
            continue;
        }
        let (mut a, mut b) = (places[l], places[r]);
        for _ in 0..36 {
            let (x, y) = (a + (b - a) / 3.0, b - (b - a) / 3.0);
            if sign * horner(c, x) < sign * horner(c, y) { a = x } else { b = y }
        }
        best = best.max(sign * horner(c, 0.5 * (a + b)));
    }
    best
}

impl Dense {
    pub fn of<'a>(pieces: impl Iterator<Item = Piece<'a>>) -> Dense {
        let mut d = Dense { least: f64::INFINITY, most: f64::NEG_INFINITY, rates: [0.0; 3] };
        for p in pieces {
            let h = p.end - p.start;
            d.most = greatest(&p.quintic.0, 1.0, d.most);
            d.least = -greatest(&p.quintic.0, -1.0, -d.least);
            let mut c = p.quintic.0.to_vec();
            for rate in &mut d.rates {
                c = derived(&c, h);
                *rate = greatest(&c, 1.0, greatest(&c, -1.0, *rate));
            }
        }
        d
    }
}
