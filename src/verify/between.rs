//! Positions of all axes at any instant of the photographed span, from instants a sixteenth of a frame apart.
//!
//! What: the polynomial through six neighbouring instants (Lagrange; any numerical analysis textbook). In the middle of every space it is compared with the position
//! worked out there: four times the difference is room that a position in that space is given. Where an axis would need more than an eighth of a step, it is worked out directly.
//! Invariant: where rows are no closer than the instants, every row is worked out directly.

use std::rc::Rc;

use super::columns::Against;
use super::oracle::{State, steps_per_unit};

/// Spaces of a frame.
const SPACES: f64 = 16.0;

/// Room that a position is given, in differences seen in the middle of its space.
const TIMES: f64 = 4.0;

/// Steps from which on an axis is worked out directly.
const DIRECT: f64 = 0.125;

/// The instants around the one asked for last.
pub(super) struct Between<'a> {
    what: Against<'a>,
    /// False where every instant is worked out directly.
    close: bool,
    space: Option<Space>,
    /// Positions and rooms of the instant asked for last, units.
    found: Vec<(f64, f64)>,
}

struct Space {
    index: f64,
    states: Vec<Rc<State>>,
    rooms: Vec<f64>,
    /// True where an axis has to be worked out directly.
    rough: bool,
}

impl<'a> Between<'a> {
    /// For instants that are `apart` frames apart.
    pub(super) fn new(what: Against<'a>, apart: f64) -> Between<'a> {
        Between { what, close: apart * SPACES < 0.5, space: None, found: Vec::new() }
    }

    /// Positions at frame time `x`, with the room that each is given, in units.
    pub(super) fn at(&mut self, x: f64) -> &[(f64, f64)] {
        let (from, to) = self.what.shot.frames().photographed();
        if !self.close {
            let state = self.what.oracle.state(x);
            self.found.clear();
            self.found.extend(state.axes().iter().map(|p| (*p, 0.0)));
            return &self.found;
        }
        let last = (to - from) * SPACES - 1.0;
        let index = ((x - from) * SPACES).floor().clamp(0.0, last);
        let space = match self.space.take() {
            Some(space) if space.index == index => space,
            _ => self.space_of(from, index, last),
        };
        self.found.clear();
        let first = first_of(index, last);
        let weights = weights((x - from) * SPACES - first);
        let direct = space.rough.then(|| self.what.oracle.state(x));
        for (i, room) in space.rooms.iter().enumerate() {
            let exact = direct.as_ref().filter(|_| room.is_nan()).and_then(|s| s.axes().get(i));
            self.found.push(exact.map_or_else(|| (through(&space.states, i, &weights), *room), |p| (*p, 0.0)));
        }
        self.space = Some(space);
        &self.found
    }

    fn space_of(&self, from: f64, index: f64, last: f64) -> Space {
        let first = first_of(index, last);
        let at = |k: f64| self.what.oracle.state(from + k / SPACES);
        let states: Vec<Rc<State>> = (0..6_u8).map(|k| at(first + f64::from(k))).collect();
        let axes = self.what.stage.axes();
        let mut rooms = vec![0.0_f64; axes.len()];
        // What bends between two neighbouring instants shows in the spaces beside it, too.
        for middle in [index - 0.5, index + 0.5, index + 1.5].into_iter().filter(|m| 0.0 < *m && *m < last + 1.0) {
            let (state, weights) = (at(middle), weights(middle - first));
            for (i, (room, p)) in rooms.iter_mut().zip(state.axes()).enumerate() {
                *room = room.max(TIMES * (through(&states, i, &weights) - p).abs());
            }
        }
        let mut rough = false;
        for (room, axis) in rooms.iter_mut().zip(axes) {
            if *room * steps_per_unit(axis) > DIRECT {
                (*room, rough) = (f64::NAN, true);
            }
        }
        Space { index, states, rooms, rough }
    }
}

/// The first of the six instants around a space.
fn first_of(index: f64, last: f64) -> f64 {
    (index - 2.0).min(last - 4.0).max(0.0)
}

/// Weights of six instants 0 to 5 at `s`.
fn weights(s: f64) -> [f64; 6] {
    core::array::from_fn(|j| (0..6).filter(|k| *k != j).map(|k| (s - k as f64) / (j as f64 - k as f64)).product())
}

fn through(states: &[Rc<State>], axis: usize, weights: &[f64; 6]) -> f64 {
    states.iter().zip(weights).map(|(s, w)| s.axes().get(axis).copied().unwrap_or(f64::NAN) * w).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_give_back_powers_up_to_the_fifth() {
        for n in 0..=5_i32 {
            let power = |x: f64| (0..n).map(|_| x).product::<f64>();
            for s in [0.0, 0.3, 2.5, 4.9] {
                let sum: f64 = weights(s).iter().enumerate().map(|(k, w)| w * power(k as f64)).sum();
                assert!((sum - power(s)).abs() < 1e-9, "{n} {s}");
            }
        }
    }
}
