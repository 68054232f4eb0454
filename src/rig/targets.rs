//! Where to measure an axis.
//!
//! What: targets spread evenly over the travel less a margin at either end, each approached from both sides. A small shift, different at each inner target, keeps errors that repeat with the
//! output revolution from hiding between even distances; positions are rounded to a decimal that can be typed.
//! Source: ISO 230-2 as remembered, not read: at least 5 targets per metre and 5 in all up to 2 m, each 5 times from either side; above 2 m every 250 mm once from either side; turning axes 3, 5
//! or 8 targets up to 90, 180 or 360 deg. DIFFERENCE: never fewer than 5 targets here, and the shift comes from the golden ratio instead of chance.
//! Invariant: strictly rising, each on another step, inside the travel by at least the margin less rounding.

use crate::number::whole;
use crate::stage::{Axis, Unit};

/// Share of the travel that stays free at either end.
const MARGIN: f64 = 0.05;

/// Most targets of a sheet: more are no morning's work.
const MOST: usize = 60;

/// Fewest targets.
const FEWEST: usize = 5;

/// Fractional part of the golden ratio: multiples of it fill an interval evenly.
const GOLDEN: f64 = 0.618_033_988_749_894_9;

/// A position to measure at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Target {
    /// Unit: unit.
    pub(crate) position: f64,
    /// Steps from home.
    pub(crate) steps: i64,
}

/// Where and how often.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Targets {
    /// In rising order.
    pub(crate) targets: Vec<Target>,
    /// Free at either end of the travel. Unit: unit.
    pub(crate) margin: f64,
    /// Approaches of each target from either side.
    pub(crate) approaches: usize,
    /// How many the rule wants, where that is more than a sheet has.
    pub(crate) wanted: Option<usize>,
}

impl Targets {
    /// The targets of an axis; `None` where backlash leaves no room to come from both sides, or the travel has fewer than three steps for them.
    #[must_use]
    pub(crate) fn of(axis: &Axis) -> Option<Targets> {
        let travel = axis.travel();
        let length = travel.upper - travel.lower;
        let margin = (MARGIN * length).max(2.0 * axis.backlash().unwrap_or(0.0));
        if !(margin <= length / 4.0) {
            return None;
        }
        let span = length - 2.0 * margin;
        let (wanted, approaches) = match axis.unit() {
            Unit::Millimetre if length <= 2000.0 => ((span / 200.0).ceil(), 5),
            Unit::Millimetre => ((span / 250.0).ceil() + 1.0, 1),
            Unit::Degree if length <= 180.0 => (5.0, 5),
            Unit::Degree => ((8.0 * span / 360.0).ceil().max(8.0), 5),
        };
        let wanted = whole::nearest(wanted).and_then(|n| usize::try_from(n).ok()).unwrap_or(usize::MAX).max(FEWEST);
        let count = wanted.min(MOST);
        let spacing = span / whole::count(count - 1);
        let shift = axis.drive().travel_per_rev().min(spacing / 2.0);
        let decimals = (0..=9_usize).find(|d| tenth_to_the(*d) <= spacing / 50.0).unwrap_or(9);
        let mut targets: Vec<Target> = Vec::new();
        for i in 0..count {
            let share = (whole::count(i) * GOLDEN).fract() - 0.5;
            let shift = if i == 0 || i + 1 == count { 0.0 } else { share * shift };
            let position = rounded(travel.lower + margin + whole::count(i) * spacing + shift, decimals);
            let steps = axis.count(position)?;
            if targets.iter().all(|t| t.steps != steps) && travel.lower <= position && position <= travel.upper {
                targets.push(Target { position, steps });
            }
        }
        (targets.len() >= 3).then_some(Targets { targets, margin, approaches, wanted: (wanted > MOST).then_some(wanted) })
    }
}

fn tenth_to_the(n: usize) -> f64 {
    (0..n).fold(1.0, |x, _| x / 10.0)
}

/// The nearest number of so many decimals.
fn rounded(x: f64, decimals: usize) -> f64 {
    // Adding 0 takes the sign off a negative zero.
    format!("{x:.decimals$}").parse().unwrap_or(x) + 0.0
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::stage::AxisSpec;

    fn axis(unit: Unit, travel: [f64; 2], change: impl FnOnce(&mut AxisSpec)) -> Axis {
        let mut spec = AxisSpec::new("track", unit, travel, [1.0, 1.0, 1.0]);
        spec.home = travel[0];
        spec.drive.microsteps = 16;
        change(&mut spec);
        Axis::new(spec).unwrap()
    }

    #[test]
    fn the_rule_gives_as_many_as_it_says() {
        for (unit, travel, count, approaches) in [
            (Unit::Millimetre, [0.0, 400.0], 5, 5),
            (Unit::Millimetre, [300.0, 1500.0], 6, 5),
            (Unit::Millimetre, [0.0, 2000.0], 9, 5),
            (Unit::Millimetre, [0.0, 6500.0], 25, 1),
            (Unit::Degree, [-45.0, 45.0], 5, 5),
            (Unit::Degree, [-90.0, 90.0], 5, 5),
            (Unit::Degree, [-170.0, 170.0], 8, 5),
            (Unit::Degree, [0.0, 1e6], 60, 5),
        ] {
            let targets = Targets::of(&axis(unit, travel, |s| s.drive.travel_per_rev = 60.0)).unwrap();
            assert_eq!((targets.targets.len(), targets.approaches), (count, approaches), "{travel:?}");
        }
    }

    #[test]
    fn targets_rise_and_keep_the_margin() {
        for (length, turn) in [(400.0, 60.0), (6500.0, 5.0), (0.5, 360.0), (90.0, 360.0), (1e8, 1e9), (1e-3, 1e-6)] {
            let t = Targets::of(&axis(Unit::Millimetre, [-length, 0.0], |s| s.drive.travel_per_rev = turn));
            let Some(t) = t else { continue };
            assert!(t.targets.is_sorted_by(|a, b| a.position < b.position), "{t:?}");
            let spacing = length / whole::count(t.targets.len());
            assert!(t.targets.iter().all(|x| x.position > -length + t.margin - spacing / 40.0 && x.position < -t.margin + spacing / 40.0));
        }
    }

    /// Even distances of a whole number of turns would show every target at the same place of the turn.
    #[test]
    fn targets_are_at_different_places_of_the_turn() {
        let t = Targets::of(&axis(Unit::Millimetre, [0.0, 1000.0], |s| s.drive.travel_per_rev = 5.0)).unwrap();
        let places: Vec<f64> = t.targets.iter().map(|x| (x.position / 5.0).fract()).collect();
        let (least, most) = places.iter().fold((1.0_f64, 0.0_f64), |(l, m), p| (l.min(*p), m.max(*p)));
        assert!(most - least > 0.3, "{places:?}");
    }

    #[test]
    fn no_room_for_both_sides_is_no_target() {
        assert!(Targets::of(&axis(Unit::Millimetre, [0.0, 100.0], |s| s.backlash = Some(12.5))).is_some());
        assert!(Targets::of(&axis(Unit::Millimetre, [0.0, 100.0], |s| s.backlash = Some(12.6))).is_none());
        // Two steps in all.
        assert!(Targets::of(&axis(Unit::Millimetre, [0.0, 0.1], |s| s.drive.travel_per_rev = 400.0)).is_none());
    }
}
