//! The outline of a capsule as it is drawn small and compared with others, and the box round it.
//!
//! Invariant: a polygon within the true outline, off by a four-hundredth of the picture's width at most ([`SAG`]). Limits: those of [`super::silhouette`]; that a part of it is cut is not said.

use super::convex::hull;
use super::lens::{Lens, Pixel};
use super::silhouette::{points_round, silhouette};
use super::space::Vector;

/// Parts of the picture's width that a rough outline may be off.
pub(crate) const SAG: f64 = 400.0;

/// The rough outline on the plate of a capsule with its ends and radius in the camera's own axes, mm; empty where nothing of it is seen.
#[must_use]
pub(crate) fn rough_outline(lens: &Lens, ends: [Vector; 2], radius: f64) -> Vec<Pixel> {
    let points = points_round(lens, ends, radius, f64::from(lens.pixels()[0]) / SAG);
    hull(&silhouette(lens, ends, radius, points).spots.iter().map(|s| s.plate).collect::<Vec<_>>())
}

/// A box along the picture's edges: left, right, top, bottom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Extent(pub(crate) [f64; 4]);

impl Extent {
    /// Round all these points; turned inside out where there are none, so that it meets nothing.
    #[must_use]
    pub(crate) fn of(points: &[Pixel]) -> Extent {
        let none = [f64::INFINITY, f64::NEG_INFINITY, f64::INFINITY, f64::NEG_INFINITY];
        Extent(points.iter().fold(none, |[l, r, t, b], p| [l.min(p.right), r.max(p.right), t.min(p.down), b.max(p.down)]))
    }

    /// Round both.
    #[must_use]
    pub(crate) fn joined(self, Extent([m, s, u, c]): Extent) -> Extent {
        let Extent([l, r, t, b]) = self;
        Extent([l.min(m), r.max(s), t.min(u), b.max(c)])
    }

    /// True where the two have a point in common.
    #[must_use]
    pub(crate) fn meets(self, Extent([m, s, u, c]): Extent) -> bool {
        let Extent([l, r, t, b]) = self;
        l <= s && m <= r && t <= c && u <= b
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boxes_meet_at_a_side_and_nothing_meets_none() {
        let of = |x: f64| Extent::of(&[Pixel { right: x, down: 0.0 }, Pixel { right: x + 2.0, down: 1.0 }]);
        assert!(of(0.0).meets(of(2.0)) && !of(0.0).meets(of(2.1)));
        assert_eq!(of(0.0).joined(of(3.0)), Extent([0.0, 5.0, 0.0, 1.0]));
        assert!(!Extent::of(&[]).meets(of(0.0)));
    }
}
