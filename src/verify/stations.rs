//! A held pass: where every axis is between two stations, at any second.
//!
//! What: as soon as the shutter closes all axes leave for their next station and arrive together, each by its own shortest law run slower; then they stand. Times
//! are those of the slowest axis, from stations worked out anew; where the pass's own table of moves has a time that agrees, it is used, for it has more digits.
//! Units: unit, s since the end of the move to start.

use super::columns::Against;
use super::edge::About;
use super::exposed;
use super::law::{Bounds, Law};
use super::openings::Openings;
use super::oracle::{State, steps_per_unit};
use super::split::{self, Split};
use super::table::{Table, millionths, whole as whole_number};
use crate::number::whole;
use crate::shot::Pass;
use crate::stage::{Axis, Swing};

/// Half a millionth: the rounding of six decimals.
const HALF_DECIMAL: f64 = 0.5e-6;

/// The stations of a pass, of which those around one move are known.
pub(super) struct Stations<'a> {
    what: Against<'a>,
    pass: &'a Pass,
    /// The table of moves, read as far as it was asked for.
    times: Option<Table>,
    /// Where each frame takes only as long as it needs.
    openings: Option<Openings>,
    step: Option<Step>,
    found: Vec<About>,
}

/// All axes on one move. Index -1 is the standing before the first.
pub(super) struct Step {
    index: i64,
    /// How long it takes.
    pub(super) seconds: About,
    /// Where it starts, and the law to where it ends; by axis.
    pub(super) axes: Vec<(About, Law)>,
}

impl<'a> Stations<'a> {
    /// Of a pass; with its table of moves, where that is there.
    pub(super) fn new(what: Against<'a>, pass: &'a Pass, times: Option<Table>, openings: Option<Openings>) -> Stations<'a> {
        Stations { what, pass, times, openings, step: None, found: Vec::new() }
    }

    /// The openings, where each frame takes only as long as it needs.
    pub(super) fn openings(&self) -> Option<&Openings> {
        self.openings.as_ref()
    }

    /// Moves of the pass: it stands at the first frame, then at every Nth.
    pub(super) fn moves(&self) -> i64 {
        (exposed::last(self.what.shot, self.pass) - self.first()) / self.step()
    }

    /// The frame of the first station.
    pub(super) fn first(&self) -> i64 {
        exposed::first(self.what.shot, self.pass)
    }

    /// Frames from one station to the next.
    pub(super) fn step(&self) -> i64 {
        i64::from(self.pass.every())
    }

    /// The move that has begun last, and how long ago; -1 before the first.
    fn begun(&self, t: f64) -> (i64, f64) {
        let most = self.moves();
        if let Some(openings) = &self.openings {
            let (closed, since) = openings.closed(t);
            return (i64::try_from(closed).unwrap_or(i64::MAX).saturating_sub(1).min(most), since);
        }
        let pace = self.pass.pace().get();
        let closes = 0.5 + 0.5 * self.pass.shutter().degrees() / 360.0;
        let index = whole::floor(t / pace - closes).unwrap_or(-1).clamp(-1, most);
        (index, t - (whole::real(index) + closes) * pace)
    }

    /// Where every axis is, in stage order.
    pub(super) fn at(&mut self, t: f64) -> &[About] {
        let (index, since) = self.begun(t);
        let step = match self.step.take() {
            Some(step) if step.index == index => step,
            _ => {
                let step = self.step_of(index);
                let stated = self.stated(index);
                let agrees = |s: &f64| (s - step.seconds.value).abs() <= step.seconds.room + 2.0 * HALF_DECIMAL;
                match stated.filter(agrees) {
                    Some(value) => Step { seconds: About { value, room: HALF_DECIMAL }, ..step },
                    None => step,
                }
            }
        };
        self.found.clear();
        self.found.extend(step.axes.iter().map(|(from, law)| step.place(*from, law, since)));
        self.step = Some(step);
        &self.found
    }

    /// The time that the table of moves has for a move; moves are asked for in order.
    fn stated(&mut self, index: i64) -> Option<f64> {
        let frame = self.first() + index * self.step();
        let table = self.times.as_mut().filter(|_| index >= 0)?;
        loop {
            let line = table.line().ok().flatten()?;
            let mut cells = line.split(',');
            // The header has no number.
            let from = cells.next().and_then(whole_number).unwrap_or(i64::MIN);
            if from == frame {
                return cells.nth(1).and_then(millionths).map(|n| n as f64 / 1e6);
            }
            if from > frame {
                return None;
            }
        }
    }

    /// The move from station `index`, counted from 0, to the next.
    pub(super) fn step_of(&self, index: i64) -> Step {
        let first = self.first();
        let station = |n: i64| self.what.oracle.state((first + n.clamp(0, self.moves()) * self.step()) as f64);
        let (from, to) = (station(index), station(if index < 0 { 0 } else { index + 1 }));
        let mut axes = Vec::new();
        let (mut least, mut most) = (0.0_f64, 0.0_f64);
        let length = |swing: &Swing, state: &State| split::length(swing, |c| self.what.oracle.value(self.pass, state, c));
        for (id, axis) in self.what.stage.each_axis() {
            if self.pass.parks(self.what.stage, id) {
                axes.push((About { value: axis.home(), room: 0.0 }, Bounds::of(axis).shortest(0.0)));
                continue;
            }
            let room = self.what.oracle.floor(id, &from).max(self.what.oracle.floor(id, &to)) / steps_per_unit(axis);
            let (a, b) = (from.axis(id), to.axis(id));
            let swing = split::swing(self.what.stage, self.pass, id);
            let split = swing.and_then(|swing| split::split(swing, 0.5 * (length(swing, &from) + length(swing, &to))));
            let (low, law, high) = around(axis, b - a, 2.0 * room, &split);
            (least, most) = (least.max(low), most.max(high));
            axes.push((About { value: a, room }, law));
        }
        Step { index, seconds: About { value: 0.5 * (least + most), room: 0.5 * (most - least) }, axes }
    }
}

/// The shortest move, with the seconds of one that is shorter and one that is longer by `room`.
fn around(axis: &Axis, distance: f64, room: f64, split: &Split) -> (f64, Law, f64) {
    let (bounds, far) = (Bounds::of(axis), distance.abs());
    let law = bounds.shortest(distance).split(split);
    if room * steps_per_unit(axis) < 1e-3 {
        return (law.seconds(), law.clone(), law.seconds());
    }
    let of = |far: f64| bounds.shortest(far).split(split).seconds();
    (of((far - room).max(0.0)), law, of(far + room))
}

impl Step {
    fn place(&self, from: About, law: &Law, since: f64) -> About {
        let arrived = About { value: from.value + law.distance(), room: from.room };
        let seconds = self.seconds.value;
        // What does not move lasts no time.
        if !(seconds > 0.0) || law.distance() == 0.0 {
            return arrived;
        }
        let m = law.lasting(seconds).at(since.max(0.0));
        // Another distance is another law as well: no more off than as much again.
        About { value: from.value + m.position, room: 2.0 * from.room + m.velocity.abs() * 2.0 * self.seconds.room }
    }
}
