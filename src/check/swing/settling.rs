//! How long a held pass must rest before each exposure until its hanging figures stay within their limit of swing.
//!
//! What: computed forwards over the frames of the pass as it is planned: each move finds the swing that is left from all moves before it. Of each frame the rest counts from the end of its move. Shown too for
//! periods 10 % off, either way, and for half the damping, since both are guesses until they are measured.
//! Invariant: the pass stays as it is: where a frame rests less than this, the next one begins with more swing. Limits: see `motion::pendulum::settling`.

use super::found::SwingReport;
use super::{Run, support};
use crate::bounds::Effort;
use crate::check::notes::{Note, NoteKind};
use crate::motion::pendulum::State;
use crate::motion::pendulum::settling::{Decaying, HOUR, settled};
use crate::program::hanging::hung::{Oscillator, Unknown};
use crate::program::hanging::support::Support;
use crate::program::{Program, Stations};
use crate::stage::GroupId;
use crate::time::Seconds;

/// What a figure, or one of its further modes, needs; seconds, infinite where an hour is not enough.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Settling {
    /// Its group.
    pub group: GroupId,
    /// Which of its further modes; `None` for the pendulum.
    pub mode: Option<usize>,
    /// Of each exposed frame, in order.
    pub frames: Vec<f64>,
    /// The longest of them, and its frame.
    pub longest: (f64, i64),
    /// The longest with a period 10 % longer, 10 % shorter, and with half the damping.
    pub guessed: [f64; 3],
}

/// What every figure with a limit needs in a held pass, or why that is not known; nothing of a moving one.
pub(in crate::check) fn needs(program: &Program) -> (Vec<Settling>, Vec<(GroupId, Unknown)>) {
    let Some(stations) = program.stations() else { return (Vec::new(), Vec::new()) };
    let arrivals = arrivals(program, stations);
    let (mut all, mut unknown) = (Vec::new(), Vec::new());
    for body in program.compiled().stage().bodies() {
        let Some((swing, limit)) = body.swing().and_then(|s| Some((s, s.limit?))) else { continue };
        let Some(support) = support(program, body, swing, Effort::Swings) else {
            unknown.push((body.group(), Unknown::Budget));
            continue;
        };
        for (i, own) in Oscillator::all_of(swing).enumerate() {
            let of = |oscillator| needed((program, &arrivals), &support, oscillator, limit);
            // A period has the square root of the length.
            let others =
                [Oscillator { scale: 1.21, ..own }, Oscillator { scale: 0.81, ..own }, Oscillator { damping: 0.5 * own.damping, ..own }];
            let (frames, [longer, shorter, less]) = match (of(own), others.map(of)) {
                (Ok(frames), [Ok(longer), Ok(shorter), Ok(less)]) => (frames, [longer, shorter, less]),
                (own, others) => {
                    let why = core::iter::once(own).chain(others).find_map(Result::err);
                    unknown.extend(why.map(|why| (body.group(), why)));
                    break;
                }
            };
            let most = |frames: &[f64]| frames.iter().copied().fold(0.0, f64::max);
            let longest = most(&frames);
            let exposed = program.clock().exposed();
            let at = frames.iter().position(|s| *s == longest).and_then(|i| exposed.frame(i)).unwrap_or(exposed.first());
            all.push(Settling {
                group: body.group(),
                mode: i.checked_sub(1),
                longest: (longest, at),
                guessed: [&longer, &shorter, &less].map(|frames| most(frames)),
                frames,
            });
        }
    }
    (all, unknown)
}

/// Figures of which it is not known how long they need, as notes; a figure whose swing is not known has a note of that.
pub(in crate::check) fn notes(program: &Program, unknown: &[(GroupId, Unknown)], swings: &[SwingReport]) -> Vec<Note> {
    let is_known = |group: GroupId| swings.iter().filter(|s| s.group == group).all(|s| s.found.is_ok());
    let kind = |group, why| NoteKind::SettlingUnknown { pass: program.pass().name().to_owned(), group, why };
    let unknown = unknown.iter().filter(|(group, _)| is_known(*group));
    unknown.map(|(group, why)| Note { axis: None, frame: None, value: None, kind: kind(*group, *why) }).collect()
}

/// How long each frame of a held pass rests before its shutter opens, s, in order; nothing of a moving one.
pub(crate) fn rests(program: &Program) -> Vec<f64> {
    let Some(stations) = program.stations() else { return Vec::new() };
    let clock = program.clock();
    arrivals(program, stations).iter().enumerate().map(|(i, arrival)| (clock.begin() + clock.opens(i)).0 - arrival).collect()
}

/// When each frame comes to rest, s of the program.
fn arrivals(program: &Program, stations: &Stations) -> Vec<f64> {
    let (clock, way) = (program.clock(), program.way());
    let first = (way.to_approach() + way.to_start()).0;
    let others = stations.moves().iter().enumerate().map(|(i, m)| clock.begin().0 + clock.closes(i).0 + m.seconds.0);
    core::iter::once(first).chain(others).collect()
}

/// What each frame needs, or why that is not known.
fn needed((program, arrivals): (&Program, &[f64]), support: &Support<'_>, oscillator: Oscillator, limit: f64) -> Result<Vec<f64>, Unknown> {
    let clock = program.clock();
    let exposure = (clock.closes(0) - clock.opens(0)).0;
    let mut frames = vec![0.0; arrivals.len()];
    let mut rest = |state: &State, start: f64, _end: f64, length: f64| {
        // The frame whose shutter opens next. What stands when the others arrive goes on standing until it has closed.
        let i = clock.closed(Seconds(start * (1.0 + NEAR)));
        let (Some(slot), Some(arrival)) = (frames.get_mut(i), arrivals.get(i)) else { return };
        if !(start <= arrival * (1.0 + NEAR)) {
            return;
        }
        let after = settled(&Decaying { state, length, damping: oscillator.damping, limit }, exposure, 0.0, HOUR);
        *slot = after.map_or(f64::INFINITY, |s| start + s - arrival).max(0.0);
    };
    Run::over(program, support, oscillator, Effort::Swings, &mut rest)?;
    Ok(frames)
}

/// Share by which sums of seconds that mean the same instant may differ.
const NEAR: f64 = 1e-12;
