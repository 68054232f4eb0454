//! Every second of a program as pieces of one axis: move to start, run-up, exposures or stations and the moves between them, run-down, return home.
//!
//! Invariant: pieces follow each other without a gap from 0 s to the end of the return home; a parked axis is one hold. A move between exposures that is too long is cut
//! where the next one begins: `check` says so elsewhere.

use super::line::{Line, Timed};
use super::way::Leg;
use super::{Program, Stations};
use crate::stage::AxisId;
use crate::time::FrameTime;

impl Program {
    /// An axis's motion over the program and the return home.
    #[must_use]
    pub(crate) fn timeline(&self, axis: AxisId) -> Vec<Timed> {
        let home = self.compiled().stage().axis(axis).home();
        let mut line = Line::default();
        let over = self.duration().0;
        if self.parks(axis) {
            line.hold(over, home);
            return line.pieces;
        }
        let (begin, end) = (self.clock().begin().0, self.end().0);
        line.curve(0.0, self.way().curves(Leg::MoveToStart)[axis].as_ref(), home);
        line.hold(begin, line.last().unwrap_or(home));
        match self.stations() {
            None => {
                for piece in self.compiled().motion(axis).curve().pieces() {
                    line.push(self.clock().seconds_at(FrameTime(piece.end)).0, *piece.quintic);
                }
            }
            Some(stations) => self.held(&mut line, axis, stations),
        }
        line.hold(end, line.last().unwrap_or(home));
        line.curve(end, self.way().curves(Leg::ReturnHome)[axis].as_ref(), home);
        line.hold(over, line.last().unwrap_or(home));
        line.pieces
    }

    fn held(&self, line: &mut Line, axis: AxisId, stations: &Stations) {
        let clock = self.clock();
        let home = self.compiled().stage().axis(axis).home();
        let starts = |i: usize| clock.begin().0 + clock.closes(i).0;
        for (i, m) in stations.moves().iter().enumerate() {
            line.hold(starts(i), line.last().unwrap_or(home));
            let until = starts(i + 1);
            let Some(made) = stations.curve(self.compiled(), self.pass(), m, axis) else { continue };
            for piece in made.pieces() {
                let (from, to) = (starts(i) + piece.start, starts(i) + piece.end);
                if to <= until {
                    line.push(to, *piece.quintic);
                } else if from < until {
                    line.push(until, piece.quintic.part(0.0, (until - from) / (to - from)));
                }
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::program::tests::one_axis;
    use crate::shot::Shape;
    use crate::time::Seconds;

    #[test]
    fn it_is_where_the_program_is_at_every_second() {
        let compiled = one_axis(&[(1.0, 30.0), (30.0, 90.0), (60.0, 10.0)], Shape::MinimumJerk, 1.0, -50.0);
        let id = compiled.stage().axis_ids().next().unwrap();
        for program in Program::all(&compiled).unwrap() {
            let line = program.timeline(id);
            assert!(line.windows(2).all(|p| matches!(p, [a, b] if a.end == b.start)));
            assert_eq!((line.first().unwrap().start, line.last().unwrap().end), (0.0, program.duration().0));
            for i in 0..5000_u32 {
                let t = program.end().0 * f64::from(i) / 5000.0;
                let piece = line.iter().find(|p| t < p.end).unwrap();
                let h = piece.end - piece.start;
                let jet = piece.quintic.jet((t - piece.start) / h, h);
                let motion = program.motion(id, Seconds(t)).unwrap();
                assert!((jet.p - motion.position).abs() < 1e-8 && (jet.v - motion.velocity).abs() < 1e-8, "{t}");
                assert!((jet.a - motion.acceleration).abs() < 1e-6, "{t} {jet:?} {motion:?}");
            }
            let back = line.last().unwrap();
            assert!((back.quintic.at(1.0) - compiled.stage().axis(id).home()).abs() < 1e-9);
        }
    }
}
