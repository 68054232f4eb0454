//! Film time as choreography time, for one group: all retimes that concern it, one after the other.
//!
//! Invariant: the first retime is the one nearest to film. Knots and straight parts depend on the retimes alone. Where all parts that hold have slope 1, choreography time
//! is t + offset; a film frame whose choreography time is exactly that of a key is found as that key's frame, bit for bit, if it is a whole frame.

use std::sync::Arc;

use super::time_map::{Part, TimeMap};
use crate::motion::quintic::Quintic;
use crate::motion::signal::Stretch;
use crate::number::Jet;

/// Every retime of a group.
#[derive(Debug)]
pub(crate) struct Retiming {
    maps: Vec<Arc<TimeMap>>,
    /// Film times at which a formula changes, rising.
    edges: Vec<f64>,
}

/// Parts, one of each map, that hold at an instant.
struct Parts<'a>(Vec<&'a Part>);

impl Retiming {
    /// The composition of these maps, the first nearest to film; `None` where there is none.
    pub(super) fn of(maps: Vec<Arc<TimeMap>>) -> Option<Retiming> {
        if maps.is_empty() {
            return None;
        }
        let mut made = Retiming { maps: Vec::new(), edges: Vec::new() };
        for map in maps {
            let found = map.edges().filter_map(|e| made.film(e));
            let mut edges: Vec<f64> = found.chain(made.edges.iter().copied()).collect();
            edges.sort_by(f64::total_cmp);
            edges.dedup();
            made.edges = edges;
            made.maps.push(map);
        }
        Some(made)
    }

    /// Choreography time with its derivatives by film time at `t`, and the choreography time that names the branch of `branch`.
    #[must_use]
    pub(crate) fn time(&self, t: f64, branch: f64) -> (Jet, f64) {
        self.maps.iter().fold((Jet::time(t), branch), |(jet, branch), map| match map.part(branch) {
            Some(part) => (part.through(jet), part.at(branch)),
            None => (jet, branch),
        })
    }

    /// Choreography time at film time `t`.
    #[must_use]
    pub(crate) fn choreography(&self, t: f64) -> f64 {
        self.time(t, t).0.p
    }

    /// True where every frame of the choreography is on film once: nothing holds.
    #[must_use]
    pub(crate) fn is_one_to_one(&self) -> bool {
        self.maps.iter().all(|map| map.is_one_to_one())
    }

    /// The film time at which a choreography time is reached; `None` where it never is, or only on a hold.
    #[must_use]
    pub(crate) fn film(&self, choreography: f64) -> Option<f64> {
        let mut parts = Vec::with_capacity(self.maps.len());
        let mut time = choreography;
        for map in self.maps.iter().rev() {
            let part = map.reaching(time)?;
            time = part.inverse(time);
            parts.push(part);
        }
        parts.reverse();
        Some(Parts(parts).snapped(time, choreography))
    }

    /// The same, and the nearest there is where it is never reached: for showing where a key went.
    #[must_use]
    pub(crate) fn film_or_edge(&self, choreography: f64) -> f64 {
        let held = || self.edges.iter().copied().find(|e| choreography <= self.choreography(*e)).or(self.edges.last().copied());
        self.film(choreography).or_else(held).unwrap_or(choreography)
    }

    /// Edges between `from` and `to`, and two to either side.
    pub(super) fn edges_around(&self, from: f64, to: f64) -> impl Iterator<Item = f64> {
        let first = self.edges.partition_point(|e| *e <= from).saturating_sub(2);
        let end = self.edges.partition_point(|e| *e < to) + 2;
        self.edges.iter().take(end).skip(first).copied()
    }

    /// The offset where choreography time is t + offset from `from` to `to`; no more than one offset where several retimes add theirs.
    pub(super) fn offset(&self, from: f64, to: f64) -> Option<f64> {
        let first = self.edges.partition_point(|e| *e <= from);
        if self.edges.get(first).is_some_and(|e| *e < to) {
            return None;
        }
        let parts = self.parts(from);
        let mut offset = 0.0;
        for part in &parts.0 {
            offset += part.shift()?;
        }
        // Sums of two offsets may round otherwise than one after the other.
        (self.choreography(from) == from + offset && self.choreography(to) == to + offset).then_some(offset)
    }

    /// The polynomial that a layer's stretch is in film time at `branch`, with its ends there, where time runs straight; `from` and `to` bound what is asked for.
    pub(super) fn straight(
        &self,
        stretch: &dyn Fn(f64) -> Option<Stretch>,
        branch: f64,
        [from, to]: [f64; 2],
    ) -> Option<(f64, f64, Quintic)> {
        let parts = self.parts(branch);
        if !parts.0.iter().all(|p| p.is_straight()) {
            return None;
        }
        let within = parts.at(branch);
        let Stretch { from: first, to: last, polynomial } = stretch(within)?;
        let (origin, length, quintic) = polynomial?;
        if parts.0.iter().any(|p| p.is_hold()) {
            return Some((from, to, Quintic::hold(quintic.at((within - origin) / length))));
        }
        if origin == first && last.is_finite() {
            return Some((parts.film(first), parts.film(last), quintic));
        }
        // A hold or a line without end: as much of it as is asked for.
        let [a, b] = [from, to].map(|t| (parts.at(t) - origin) / length);
        let part = if quintic.is_hold() { quintic } else { quintic.stretch(a, b - a) };
        Some((from, to, part))
    }

    /// Steps of one evaluation.
    pub(super) fn cost(&self) -> usize {
        self.maps.len()
    }

    fn parts(&self, branch: f64) -> Parts<'_> {
        let mut time = branch;
        let mut parts = Vec::with_capacity(self.maps.len());
        for map in &self.maps {
            if let Some(part) = map.part(time) {
                parts.push(part);
                time = part.at(time);
            }
        }
        Parts(parts)
    }
}

impl Parts<'_> {
    fn at(&self, t: f64) -> f64 {
        self.0.iter().fold(t, |t, part| part.at(t))
    }

    /// The film time of a choreography time by these parts' formulas.
    fn film(&self, choreography: f64) -> f64 {
        self.snapped(self.0.iter().rev().fold(choreography, |time, part| part.inverse(time)), choreography)
    }

    /// The film time `found` for a choreography time: the whole frame beside it where that has it exactly.
    fn snapped(&self, found: f64, choreography: f64) -> f64 {
        let frame = found.round();
        if (found - frame).abs() < NEAR && self.at(frame) == choreography { frame } else { found }
    }
}

/// What a quantity does by film time that does `found` by choreography time, where choreography time does `at` by film time.
pub(super) fn retimed(at: Jet, found: Jet) -> Jet {
    match (at.v, at.a, at.j) {
        (1.0, 0.0, 0.0) => found,
        (0.0, 0.0, 0.0) => Jet::constant(found.p),
        _ => at.through(found.p, found.v, found.a, found.j),
    }
}

/// How near to a whole frame an inverse is that may be meant to be one, frames: far more than its rounding.
const NEAR: f64 = 1e-6;

/// Where a choreography frame is on film, or nearest to it.
pub(crate) fn on_film(time: Option<&Retiming>) -> impl Fn(f64) -> f64 {
    move |choreography| time.map_or(choreography, |time| time.film_or_edge(choreography))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::shot::Key;
    use crate::shot::retime::{Course, Retime};

    fn retiming(tables: &[&[(f64, f64)]]) -> Retiming {
        let map = |keys: &&[(f64, f64)]| {
            let keys = keys.iter().map(|(f, v)| Key::new(*f, *v)).collect();
            TimeMap::of(&Retime::new(None, Course::Keyed(keys, None)).unwrap()).map(Arc::new)
        };
        Retiming::of(tables.iter().filter_map(map).collect()).unwrap()
    }

    #[test]
    fn the_first_is_nearest_to_film() {
        // On film everything is half as fast; the choreography then holds at 20 for 10 of its own frames.
        let both = retiming(&[&[(0.0, 0.0), (100.0, 50.0)], &[(0.0, 0.0), (20.0, 20.0), (30.0, 20.0), (60.0, 50.0)]]);
        assert_eq!(both.choreography(10.0), 5.0);
        assert_eq!(both.choreography(50.0), 20.0);
        assert_eq!(both.choreography(100.0), 40.0);
        assert_eq!(both.edges, [32.0, 48.0, 52.0, 68.0]);
        assert_eq!(both.film(40.0), Some(100.0));
    }

    #[test]
    fn a_hold_is_not_one_to_one() {
        assert!(retiming(&[&[(0.0, 0.0), (100.0, 50.0)], &[(0.0, 3.0), (9.0, 12.0)]]).is_one_to_one());
        assert!(!retiming(&[&[(0.0, 0.0), (100.0, 50.0)], &[(0.0, 0.0), (20.0, 20.0), (30.0, 20.0), (60.0, 50.0)]]).is_one_to_one());
    }

    #[test]
    fn offsets_add_and_a_span_across_an_edge_has_none() {
        let two = retiming(&[&[(0.0, 3.0), (9.0, 12.0)], &[(0.0, -5.0), (9.0, 4.0), (20.0, 4.0)]]);
        assert_eq!(two.offset(-50.0, 1.0), Some(-2.0));
        assert_eq!(two.offset(-50.0, 5.0), None);
    }

    /// The chain rule against dual numbers of a published crate: a sine seen through a corner that is seen through a corner.
    #[test]
    fn the_chain_rule_is_that_of_dual_numbers() {
        use num_dual::{Dual3_64, DualNum};
        // A corner from slope `a` to slope `b` around (f, w) with 4 frames to either side.
        let corner = |t: Dual3_64, (f, w, a, b): (f64, f64, f64, f64)| {
            let x = (t - (f - 4.0)) / 8.0;
            let step = x.powi(4) * (x * x - x * 3.0 + 2.5);
            (x * a + step * (b - a)) * 8.0 + (w - 4.0 * a)
        };
        let tables: [&[(f64, f64)]; 2] = [&[(0.0, 0.0), (20.0, 30.0), (40.0, 34.0)], &[(0.0, 0.0), (30.0, 10.0), (60.0, 80.0)]];
        let both = retiming(&tables);
        for i in 0..50_i32 {
            // Both corners hold here: the first from 16 to 24, the second from 26 to 34 of what it gives.
            let t = 18.0 + 0.1 * f64::from(i);
            let dual = Dual3_64::from(t).derivative();
            let inner = corner(dual, (20.0, 30.0, 1.5, 0.2));
            let want = (corner(inner, (30.0, 10.0, 1.0 / 3.0, 70.0 / 30.0)) * 0.3).sin();
            let (at, _) = both.time(t, t);
            let found = retimed(at, (Jet::time(at.p) * 0.3).sin());
            for (found, want) in [(found.p, want.re), (found.v, want.v1), (found.a, want.v2), (found.j, want.v3)] {
                assert!((found - want).abs() <= 1e-12 * (1.0 + want.abs()), "{t}: {found} {want}");
            }
        }
    }

    #[test]
    fn derivatives_are_those_of_the_composition() {
        let both = retiming(&[&[(0.0, 0.0), (20.0, 30.0), (40.0, 34.0)], &[(0.0, 0.0), (28.0, 10.0), (60.0, 80.0)]]);
        for i in 0..400_i32 {
            let t = 0.1 * f64::from(i) + 0.013;
            let j = both.time(t, t).0;
            let e = 1e-4;
            let [before, after] = [t - e, t + e].map(|x| both.time(x, t).0);
            for (found, want) in
                [(j.v, (after.p - before.p) / (2.0 * e)), (j.a, (after.v - before.v) / (2.0 * e)), (j.j, (after.a - before.a) / (2.0 * e))]
            {
                assert!((found - want).abs() < 1e-6 * (1.0 + want.abs()), "{t}: {found} {want}");
            }
        }
    }
}
