//! Convex shapes in the picture.
//!
//! The hull is the monotone chain of A. M. Andrew, Information Processing Letters 9(5), 1979; whether two convex shapes meet is asked of the lines
//! that could part them, the sides of either (separating axes, any textbook of computational geometry). Limits: rounding may keep or drop a corner
//! that lies on a side to the last bits; the outline stays the same to those bits.

use super::lens::Pixel;
use crate::number::elementary::two_to_the;

/// The corners of the convex hull of some points, in order round it, each once; points on its sides are no corners.
#[must_use]
pub(crate) fn hull(points: &[Pixel]) -> Vec<Pixel> {
    let corners = round(points);
    // From one corner to the next that only rounding parts from it there is no direction: beside them a corner may stay that is none.
    let mut parted = corners.clone();
    parted.dedup_by(|b, a| is_same(*a, *b));
    if let [first, .., last] = parted.as_slice()
        && is_same(*first, *last)
    {
        parted.pop();
    }
    if parted.len() == corners.len() { corners } else { round(&parted) }
}

/// True of points that are one but for rounding.
fn is_same(a: Pixel, b: Pixel) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() <= two_to_the(-40) * a.abs().max(b.abs());
    near(a.right, b.right) && near(a.down, b.down)
}

fn round(points: &[Pixel]) -> Vec<Pixel> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.right.total_cmp(&b.right).then(a.down.total_cmp(&b.down)));
    sorted.dedup_by(|a, b| a.right == b.right && a.down == b.down);
    if sorted.len() < 3 {
        return sorted;
    }
    let mut round = half(sorted.iter().copied());
    let back = half(sorted.iter().rev().copied());
    // Each half ends where the other begins.
    round.pop();
    round.extend(back);
    round.pop();
    round
}

/// One side of the hull of points in sorted order, both ends included.
fn half(sorted: impl Iterator<Item = Pixel>) -> Vec<Pixel> {
    let mut side: Vec<Pixel> = Vec::new();
    for next in sorted {
        while let [.., a, b] = side.as_slice() {
            if turn(*a, *b, next) > 0.0 {
                break;
            }
            side.pop();
        }
        side.push(next);
    }
    side
}

/// Twice the area of the triangle; over zero where the way from `a` over `b` to `c` turns from right to down.
#[must_use]
pub(crate) fn turn(a: Pixel, b: Pixel, c: Pixel) -> f64 {
    (b.right - a.right) * (c.down - a.down) - (b.down - a.down) * (c.right - a.right)
}

/// True where two convex shapes of at least three corners each, in the order of [`hull`], have a point in common.
#[must_use]
pub(crate) fn meet(a: &[Pixel], b: &[Pixel]) -> bool {
    a.len() > 2 && b.len() > 2 && !parts(a, b) && !parts(b, a)
}

/// True where a side of `a` has all of `b` beyond it.
fn parts(a: &[Pixel], b: &[Pixel]) -> bool {
    let ends = a.iter().skip(1).chain(a.first());
    a.iter().zip(ends).any(|(from, to)| b.iter().all(|c| turn(*from, *to, *c) < 0.0))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn at(right: f64, down: f64) -> Pixel {
        Pixel { right, down }
    }

    #[test]
    fn the_hull_of_a_square_with_points_on_and_in_it() {
        let points = [at(1.0, 1.0), at(0.0, 2.0), at(2.0, 0.0), at(1.0, 0.0), at(0.0, 0.0), at(2.0, 2.0), at(0.0, 0.0)];
        assert_eq!(hull(&points), [at(0.0, 0.0), at(2.0, 0.0), at(2.0, 2.0), at(0.0, 2.0)]);
        assert_eq!(hull(&[at(3.0, 1.0), at(3.0, 1.0)]), [at(3.0, 1.0)]);
        assert_eq!(hull(&[at(3.0, 3.0), at(1.0, 1.0), at(2.0, 2.0)]), [at(1.0, 1.0), at(3.0, 3.0)]);
    }

    /// A capsule that is cut close to the lens: two points that only rounding parts kept each other as corners, 80,000 pixels inside. Found by `sound_mutants`.
    #[test]
    fn points_that_only_rounding_parts_are_no_corners_inside() {
        let far = [
            (1_280_021.376_170_016, 398_496.458_703_628_6),
            (6_495_070.009_912_066, 1_915_949.231_492_920_3),
            (15_507_126.650_465_28, 4_604_217.984_348_363),
            (43_079_112.862_964_49, 12_876_709.275_477_469),
            (32_632_027.280_885_71, 9_820_977.464_563_053),
            (15_507_126.671_234_796, 4_604_217.991_150_495),
            (15_507_126.671_234_792, 4_604_217.991_150_494),
            (11_522_378.174_759_42, 3_491_835.780_552_266_6),
        ];
        let corners = hull(&far.map(|(right, down)| at(right, down)));
        assert!(corners.iter().all(|c| c.right != 15_507_126.671_234_792 && c.right != 15_507_126.671_234_796), "{corners:?}");
        assert_eq!(corners.len(), 6);
    }

    proptest! {
        /// Whole coordinates, so that every product is exact: each point is on the inner side of each side of the hull.
        #[test]
        fn no_point_is_outside_its_hull(points in prop::collection::vec((-50..50_i32, -50..50_i32), 1..40)) {
            let points: Vec<Pixel> = points.into_iter().map(|(x, y)| at(f64::from(x), f64::from(y))).collect();
            let corners = hull(&points);
            for (a, b) in corners.iter().zip(corners.iter().skip(1).chain(corners.first())) {
                prop_assert!(points.iter().all(|p| turn(*a, *b, *p) >= 0.0));
            }
            prop_assert!(corners.iter().all(|c| points.contains(c)));
        }
    }

    #[test]
    fn shapes_meet_at_a_point_and_not_a_hair_beside_it() {
        let square = |x: f64| hull(&[at(x, 0.0), at(x + 2.0, 0.0), at(x, 2.0), at(x + 2.0, 2.0)]);
        assert!(meet(&square(0.0), &square(2.0)) && !meet(&square(0.0), &square(2.0 + 1e-9)));
        // Their boxes meet and they do not: below a side that slants.
        let corner = hull(&[at(0.0, 0.0), at(10.0, 0.0), at(0.0, 10.0)]);
        assert!(!meet(&corner, &square(6.0).iter().map(|p| at(p.right, p.down + 6.0)).collect::<Vec<_>>()));
        assert!(meet(&corner, &square(4.0).iter().map(|p| at(p.right, p.down + 4.0)).collect::<Vec<_>>()));
    }
}
