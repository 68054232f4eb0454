//! Every body and limb at one instant: where it is, and how far two honest computations of that may differ.
//!
//! What: the place from the channels' values; the room from moving each of its channels by as much as it may honestly be off
//! ([`Oracle::room`]), the shifts added up by size. Invariant: no honest place is outside the room, to the first order of such small shifts.

use super::figure::{Place, Point, less};
use super::oracle::{Oracle, State};
use super::parts::part;
use crate::shot::Pass;
use crate::stage::{Body, ChannelId, Place as Part, Stage};

/// Shifts are followed to the first order: what is left out, and the rounding of lengths of the stage's size.
pub(super) const BEYOND_FIRST_ORDER: f64 = 1.05;

/// Roundings of a chain of 64 joints, as a share of the greatest coordinate, since turns mix them: some thousand of 2^-53.
pub(super) const ROUNDING: f64 = 1e-12;

/// A body at an instant.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Posed {
    pub(super) place: Place,
    /// For each of its channels that may be off, the place with that channel moved by as much.
    pub(super) moved: Vec<Place>,
    /// False where an aim could not be found again, or a mechanism is at a dead centre.
    pub(super) known: bool,
    /// The greatest coordinate that it was computed from, mm: a part is small as its parent sees it and may be far from the origin.
    size: f64,
}

impl Posed {
    /// The body of a figure in a pass, or as it was choreographed; with its shifts where `with_shifts`.
    pub(super) fn of(oracle: &Oracle<'_>, stage: &Stage, pass: Option<&Pass>, body: &Body, state: &State, with_shifts: bool) -> Posed {
        let (place, moved, known) = shifted((oracle, stage, pass), body, state, with_shifts, &|value| part(body, Part::Body, value));
        Posed { place, moved, known, size: greatest(place.at) }
    }

    /// A part of a figure as it was choreographed: a limb as its parent sees it where `on_parent`.
    pub(super) fn of_part(oracle: &Oracle<'_>, stage: &Stage, (body, which): (&Body, Part), state: &State, on_parent: bool) -> Posed {
        let parent = |which: Part| Some(Part::of(body.limbs().get(which.limb()?)?.parent()));
        let carriers: Vec<Part> = core::iter::successors(parent(which), |which| parent(*which)).collect();
        let place = |value: &dyn Fn(ChannelId) -> f64| {
            let here = part(body, which, value);
            let below: Vec<Place> = carriers.iter().map(|carrier| part(body, *carrier, value)).collect();
            let size = below.iter().map(|carrier| greatest(carrier.at)).fold(greatest(here.at), f64::max);
            (below.first().filter(|_| on_parent).map_or(here, |parent| here.seen_from(parent)), size)
        };
        let ((place, size), moved, known) = shifted((oracle, stage, None), body, state, true, &place);
        Posed { place, moved: moved.into_iter().map(|(place, _)| place).collect(), known, size }
    }

    /// How far its position may be off, mm, each way.
    pub(super) fn position_room(&self) -> Point {
        let mut room = [ROUNDING * (self.size + 1.0); 3];
        for moved in &self.moved {
            for (r, by) in room.iter_mut().zip(less(moved.at, self.place.at)) {
                *r += BEYOND_FIRST_ORDER * by.abs();
            }
        }
        room
    }

    /// How far the parts of its quaternion may be off.
    pub(super) fn turn_room(&self) -> [f64; 4] {
        let mut room = [ROUNDING; 4];
        for moved in &self.moved {
            for ((r, a), b) in room.iter_mut().zip(moved.turn).zip(self.place.turn) {
                *r += BEYOND_FIRST_ORDER * (a - b).abs();
            }
        }
        room
    }

    /// How far something computed from the place may be off: the sum of its shifts, part by part, where the place is moved.
    pub(super) fn shifts<const N: usize>(&self, of: &dyn Fn(&Place) -> Option<[f64; N]>) -> Option<[f64; N]> {
        let here = of(&self.place)?;
        let mut room = [0.0; N];
        for moved in &self.moved {
            let there = of(moved)?;
            for ((r, a), b) in room.iter_mut().zip(there).zip(here) {
                *r += BEYOND_FIRST_ORDER * (a - b).abs();
            }
        }
        Some(room)
    }
}

fn greatest(at: Point) -> f64 {
    at.iter().fold(0.0, |m, x| m.max(x.abs()))
}

/// How a camera is focused, mm from the film plane, and how far that may be off; `None` where no channel says it.
pub(super) fn focus(oracle: &Oracle<'_>, stage: &Stage, pass: Option<&Pass>, camera: &Body, state: &State) -> (Option<f64>, f64) {
    let Some(channel) = camera.focus() else { return (None, 0.0) };
    if pass.is_some_and(|p| oracle.stands(p, channel)) || !oracle.is_driven(channel) {
        return (Some(stage.channel_rest(channel)), 0.0);
    }
    let room = oracle.rooms(&[channel], state).iter().map(|(_, room)| *room).fold(0.0, f64::max);
    (Some(state.channel(channel)), room)
}

/// Something computed from the value of every channel.
pub(super) type FromValues<'f, T> = dyn Fn(&dyn Fn(ChannelId) -> f64) -> T + 'f;

/// Something of a figure computed from the values of its channels; the same with each channel that may be off moved by as much; and whether that can be said.
pub(super) fn shifted<T>(
    (oracle, stage, pass): (&Oracle<'_>, &Stage, Option<&Pass>),
    body: &Body,
    state: &State,
    with_shifts: bool,
    of: &FromValues<'_, T>,
) -> (T, Vec<T>, bool) {
    let stands = |c: ChannelId| pass.is_some_and(|p| oracle.stands(p, c));
    let value = |c: ChannelId| if stands(c) { stage.channel_rest(c) } else { state.channel(c) };
    let live: Vec<ChannelId> = body.every_channel().iter().copied().filter(|c| !stands(*c) && oracle.may_be_off(*c)).collect();
    let rooms = if with_shifts { oracle.rooms(&live, state) } else { Vec::new() };
    // At a dead centre a channel may be off by anything.
    let known = live.iter().all(|c| oracle.is_channel_known(*c)) && rooms.iter().all(|(_, room)| room.is_finite());
    let moved = rooms.iter().map(|(m, by)| of(&|c| value(c) + if c == *m { *by } else { 0.0 })).collect();
    (of(&value), moved, known)
}

/// A quaternion and its negative are one turn: the one of `q` that goes on from `before`, or that is nearer to what was found where that is not certain.
pub(super) fn oriented(q: [f64; 4], before: Option<[f64; 4]>, found: [f64; 4]) -> [f64; 4] {
    let along = |a: [f64; 4]| -> f64 { a.iter().zip(q).map(|(a, b)| a * b).sum() };
    let by = before.map(along).filter(|d| d.abs() > 1e-6).unwrap_or_else(|| along(found));
    if by < 0.0 { q.map(|x| -x) } else { q }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quaternion_goes_on_from_the_one_before_it() {
        let q = [0.6, 0.8, 0.0, 0.0];
        assert_eq!(oriented(q, None, [-0.6, -0.8, 0.0, 0.0]), [-0.6, -0.8, -0.0, -0.0]);
        assert_eq!(oriented(q, Some([0.5, 0.8, 0.1, 0.0]), [-0.6, -0.8, 0.0, 0.0]), q);
        // Half a turn on from the one before, either will do.
        assert_eq!(oriented(q, Some([0.8, -0.6, 0.0, 0.0]), q), q);
    }
}
