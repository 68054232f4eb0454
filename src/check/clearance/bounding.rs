//! Boxes around bodies: what is too far away to count is left out after one comparison, not measured capsule by capsule.
//!
//! Invariant: a box holds its capsules throughout the stretch of time they were placed for, so two boxes are never farther apart than what they hold. What
//! cannot be bounded has a box without end.

use super::enclosure::End;
use crate::mechanism::Vector;

/// A box along the axes of the stage, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bounding {
    least: Vector,
    greatest: Vector,
}

impl Bounding {
    /// The box without end.
    const EVERYWHERE: Bounding = Bounding {
        least: Vector { x: f64::NEG_INFINITY, y: f64::NEG_INFINITY, z: f64::NEG_INFINITY },
        greatest: Vector { x: f64::INFINITY, y: f64::INFINITY, z: f64::INFINITY },
    };

    /// The box with these corners.
    pub(super) fn new(least: Vector, greatest: Vector) -> Bounding {
        Bounding { least, greatest }
    }

    /// Around a capsule whose ends are in a cell.
    pub(super) fn capsule(ends: &[End; 2], radius: f64) -> Bounding {
        let [a, b] = ends.map(|end| {
            let r = end.all + radius;
            let by = Vector::new(r, r, r);
            let all = Bounding { least: end.at - by, greatest: end.at + by };
            if all.is_finite() { all } else { Bounding::EVERYWHERE }
        });
        a.joined(b)
    }

    fn is_finite(&self) -> bool {
        let Bounding { least: l, greatest: g } = self;
        [l.x, l.y, l.z, g.x, g.y, g.z].iter().all(|x| x.is_finite())
    }

    /// The box around both.
    pub(super) fn joined(self, other: Bounding) -> Bounding {
        let with = |a: Vector, b: Vector, f: fn(f64, f64) -> f64| Vector::new(f(a.x, b.x), f(a.y, b.y), f(a.z, b.z));
        Bounding { least: with(self.least, other.least, f64::min), greatest: with(self.greatest, other.greatest, f64::max) }
    }

    /// Distance from another box; 0 where they touch or meet.
    pub(super) fn gap(&self, other: &Bounding) -> f64 {
        let along = |l: f64, g: f64, ol: f64, og: f64| (ol - g).max(l - og).max(0.0);
        let (a, b) = (self, other);
        let x = along(a.least.x, a.greatest.x, b.least.x, b.greatest.x);
        let y = along(a.least.y, a.greatest.y, b.least.y, b.greatest.y);
        let z = along(a.least.z, a.greatest.z, b.least.z, b.greatest.z);
        (x * x + y * y + z * z).sqrt()
    }
}

/// Neighbours in the list that share one box more: what is far from that is far from each.
const BUNCH: usize = 16;

/// The boxes of several things, one around each bunch of neighbours, and one around them all.
#[derive(Debug, Clone, Default)]
pub(super) struct Boxes {
    /// Of each.
    pub(super) each: Vec<Bounding>,
    /// Of each bunch; none where one bunch holds all.
    bunches: Vec<Bounding>,
    /// Of all; none where there is nothing.
    pub(super) all: Option<Bounding>,
}

impl Boxes {
    /// Every bunch: the number of its first, its boxes, and the one around them where there are several.
    pub(super) fn bunched(&self) -> impl Iterator<Item = (usize, &[Bounding], Option<&Bounding>)> {
        self.each.chunks(BUNCH).enumerate().map(|(k, each)| (k * BUNCH, each, self.bunches.get(k)))
    }
}

impl FromIterator<Bounding> for Boxes {
    fn from_iter<I: IntoIterator<Item = Bounding>>(boxes: I) -> Boxes {
        let each: Vec<Bounding> = boxes.into_iter().collect();
        let around = |each: &[Bounding]| each.iter().copied().reduce(Bounding::joined);
        let bunches = if each.len() > BUNCH { each.chunks(BUNCH).filter_map(around).collect() } else { Vec::new() };
        let all = around(&each);
        Boxes { each, bunches, all }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ball(x: f64, y: f64, radius: f64) -> Bounding {
        Bounding::capsule(&[End::still(Vector::new(x, y, 0.0)); 2], radius)
    }

    #[test]
    fn boxes_are_no_farther_apart_than_what_they_hold() {
        assert_eq!(ball(0.0, 0.0, 1.0).gap(&ball(5.0, 0.0, 1.0)), 3.0);
        // Side by side in two directions: 3 and 4 make 5.
        assert_eq!(ball(0.0, 0.0, 1.0).gap(&ball(5.0, 6.0, 1.0)), 5.0);
        assert_eq!(ball(0.0, 0.0, 2.0).gap(&ball(3.0, 0.0, 2.0)), 0.0);
        let both: Boxes = [ball(0.0, 0.0, 1.0), ball(9.0, 0.0, 1.0)].into_iter().collect();
        assert_eq!(both.all.map(|all| all.gap(&ball(0.0, 5.0, 1.0))), Some(3.0));
    }

    #[test]
    fn what_is_not_bounded_is_next_to_everything() {
        let lost = [End { all: f64::INFINITY, ..End::still(Vector::new(0.0, 0.0, 0.0)) }, End::still(Vector::new(f64::NAN, 0.0, 0.0))];
        for end in lost {
            assert_eq!(Bounding::capsule(&[end; 2], 1.0).gap(&ball(1e6, 0.0, 1.0)), 0.0);
        }
    }
}
