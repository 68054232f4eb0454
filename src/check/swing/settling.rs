//! How long a held pass must rest before each exposure until its hanging figures stay within their limit of swing.
//!
//! What: computed forwards over the frames of the pass as it is planned: each move finds the swing that is left from all moves before it. Of each frame the rest counts from the end of its move. Shown too for
//! periods 10 % off, either way, and for half the damping, since both are guesses until they are measured.
//! Invariant: the pass stays as it is: where a frame rests less than this, the next one begins with more swing. Limits: see `motion::pendulum::settling`.

use super::support::Support;
use super::{Oscillator, Run, length};
use crate::bounds::Effort;
use crate::motion::pendulum::State;
use crate::motion::pendulum::settling::settled;
use crate::number::whole;
use crate::program::Program;
use crate::stage::{Body, GroupId, Swing};

/// What a figure, or one of its further modes, needs; seconds, infinite where an hour is not enough.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Settling {
    /// Its group.
    pub group: GroupId,
    /// Which of its further modes; `None` for the pendulum.
    pub mode: Option<usize>,
    /// Of each frame, in order.
    pub frames: Vec<f64>,
    /// The longest of them, and its frame.
    pub longest: (f64, i64),
    /// The longest with a period 10 % longer, 10 % shorter, and with half the damping.
    pub guessed: [f64; 3],
}

/// Seconds of an hour: who waits longer has another problem.
const HOUR: f64 = 3600.0;

/// What every figure with a limit needs in a held pass; nothing of a moving one, nor where the budget of work is used up.
pub(in crate::check) fn needs(program: &Program) -> Vec<Settling> {
    let Some(stations) = program.stations() else { return Vec::new() };
    let rests = Rests::of(program, stations.moves().iter().map(|m| m.seconds.0));
    let mut all = Vec::new();
    for body in program.compiled().stage().bodies() {
        let Some((swing, limit)) = body.swing().and_then(|s| Some((s, s.limit?))) else { continue };
        let pendulum = Oscillator { length: None, scale: 1.0, damping: swing.damping };
        let modes = swing.modes.iter().map(|[period, damping]| Oscillator { length: Some(length(*period)), scale: 1.0, damping: *damping });
        for (i, own) in core::iter::once(pendulum).chain(modes).enumerate() {
            let of = |oscillator| rests.needed(program, (body, swing), oscillator, limit);
            // A period has the square root of the length.
            let others =
                [Oscillator { scale: 1.21, ..own }, Oscillator { scale: 0.81, ..own }, Oscillator { damping: 0.5 * own.damping, ..own }];
            let (Some(frames), [Some(longer), Some(shorter), Some(less)]) = (of(own), others.map(of)) else { continue };
            let most = |frames: &[f64]| frames.iter().copied().fold(0.0, f64::max);
            let longest = most(&frames);
            let at = frames.iter().position(|s| *s == longest).and_then(|i| i64::try_from(i).ok()).unwrap_or(0);
            all.push(Settling {
                group: body.group(),
                mode: i.checked_sub(1),
                longest: (longest, program.clock().photographed().0 + at),
                guessed: [&longer, &shorter, &less].map(|frames| most(frames)),
                frames,
            });
        }
    }
    all
}

/// When each frame comes to rest and when its shutter opens, s of the program.
struct Rests {
    arrivals: Vec<f64>,
    /// Of the first frame, and seconds from one to the next.
    first_opening: f64,
    pace: f64,
}

impl Rests {
    fn of(program: &Program, moves: impl Iterator<Item = f64>) -> Rests {
        let (clock, way) = (program.clock(), program.way());
        let closes = |i: usize| clock.begin().0 + (whole::count(i) + 0.5 + 0.5 * clock.open()) * clock.pace().get();
        let first = (way.to_approach() + way.to_start()).0;
        let arrivals = core::iter::once(first).chain(moves.enumerate().map(|(i, seconds)| closes(i) + seconds)).collect();
        Rests { arrivals, first_opening: clock.first_opening().0, pace: clock.pace().get() }
    }

    /// What each frame needs; `None` where the budget of work is used up or the swing is not known.
    fn needed(&self, program: &Program, (body, swing): (&Body, &Swing), oscillator: Oscillator, limit: f64) -> Option<Vec<f64>> {
        let support = Support::new(program, body, swing);
        let mut frames = vec![0.0; self.arrivals.len()];
        let mut rest = |state: &State, start: f64, end: f64, length: f64| {
            // The frame whose shutter opens next; it must do so before the stretch ends.
            let next = ((start - self.first_opening) / self.pace - 1e-9).ceil().max(0.0);
            let opens = self.first_opening + next * self.pace;
            let i = whole::nearest(next).and_then(|n| usize::try_from(n).ok());
            let (Some(i), true) = (i, opens < end) else { return };
            let (Some(slot), Some(arrival)) = (frames.get_mut(i), self.arrivals.get(i)) else { return };
            let after = settled(state, length, oscillator.damping, limit, HOUR).map_or(f64::INFINITY, |s| start + s - arrival);
            *slot = after.max(0.0);
        };
        Run::over(program, &support, oscillator, Effort::Swings, &mut rest).ok()?;
        Some(frames)
    }
}
