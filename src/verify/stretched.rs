//! Wires of a scene: cylinders one unit long that are moved, turned and stretched, against where the ends are.
//!
//! What: the two ends that such a cylinder has, in either order. Invariant: what is compared is where it stands, whatever way led there; across it is neither wider nor turned about itself. Units: mm.

use super::figure::{Place, Point, length, less};
use super::oracle::{Oracle, State};
use super::parts::Figure;
use super::posed::{BEYOND_FIRST_ORDER, ROUNDING, shifted};
use crate::stage::{ChannelId, Stage};

/// A wire at an instant.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Wire {
    pub(super) group: String,
    pub(super) ends: [Point; 2],
    /// How far they may be off; `None` where that cannot be said.
    pub(super) room: Option<f64>,
}

/// Every wire of a stage as it was choreographed.
pub(super) fn wires(oracle: &Oracle<'_>, stage: &Stage, state: &State) -> Vec<Wire> {
    let mut all = Vec::new();
    for body in stage.bodies() {
        if body.wires().next().is_none() {
            continue;
        }
        let ends = |value: &dyn Fn(ChannelId) -> f64| {
            let figure = Figure::of(body, value);
            body.wires().map(|(l, _)| l.ends.map(|hold| figure.out(&hold))).collect::<Vec<_>>()
        };
        let (here, moved, known) = shifted((oracle, stage, None), body, state, true, &ends);
        for (i, ends) in here.into_iter().enumerate() {
            let off = |end: usize| -> f64 {
                let at = |list: &[Point; 2]| list.get(end).copied().unwrap_or([f64::NAN; 3]);
                let shifts: f64 = moved.iter().filter_map(|m| m.get(i)).map(|m| length(less(at(m), at(&ends)))).sum();
                BEYOND_FIRST_ORDER * shifts + ROUNDING * (1.0 + length(at(&ends)))
            };
            let room = known.then(|| off(0).max(off(1)));
            all.push(Wire { group: stage.group_name(body.group()).to_owned(), ends, room });
        }
    }
    all
}

impl Wire {
    /// What does not hold of a cylinder along Y at this place, turned and stretched so, in lengths of `divisor` mm, with so many digits.
    pub(super) fn wrong(&self, at: Point, [x, y, z, w]: [f64; 4], stretch: Point, divisor: f64, digits: f64) -> Option<String> {
        let room = self.room?;
        if stretch[0] != 1.0 || stretch[2] != 1.0 || y != 0.0 || !((x * x + z * z + w * w - 1.0).abs() <= 4.0 * digits) {
            return Some(format!("found a wire turned {:?} and stretched {stretch:?}", [x, y, z, w]));
        }
        let place = Place { turn: [w, x, y, z], at };
        let found = [at, place.out([0.0, stretch[1], 0.0])];
        let [a, b] = self.ends.map(|e| e.map(|x| x / divisor));
        let most = room / divisor + 4.0 * digits * (length(a) + length(b));
        let off = |p: Point, q: Point| length(less(found[0], p)).max(length(less(found[1], q)));
        let nearest = off(a, b).min(off(b, a));
        (!(nearest <= most)).then(|| format!("found a wire {found:.6?} m, expected {:.6?} m", [a, b]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half a turn about X takes Y down: from 3 m height to 1 m.
    #[test]
    fn a_wire_by_hand() {
        let wire = Wire { group: String::new(), ends: [[500.0, 1000.0, 0.0], [500.0, 3000.0, 0.0]], room: Some(0.0) };
        let wrong = |at: f64, turn: [f64; 4], long: f64| wire.wrong([0.5, at, 0.0], turn, [1.0, long, 1.0], 1000.0, 1e-6);
        assert_eq!((wrong(3.0, [1.0, 0.0, 0.0, 0.0], 2.0), wrong(1.0, [0.0, 0.0, 0.0, 1.0], 2.0)), (None, None));
        assert!(wrong(3.0, [0.0, 0.0, 0.0, 1.0], 2.0).is_some() && wrong(1.0, [0.0, 0.0, 0.0, 1.0], 2.001).is_some());
        assert!(wrong(1.0, [0.0, 0.6, 0.0, 0.8], 2.0).is_some());
    }
}
