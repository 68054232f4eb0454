//! Whether passes register, proven on integers: where each axis stands at shutter open, middle and close of every exposure.
//!
//! What: for every pair of passes and every axis live in both, the counts at those three instants are equal. Passes with different shutter angles, or one held
//! and one moving, expose different spans: then the middle registers and the blur differs, which is told. The direction from which an axis comes into an
//! exposure matters too, since it decides on which side the play of its gears lies; exposures into which two passes come from different sides are
//! named by axis and frame.
//! Invariant: counts are rounded from the curve at each instant, never summed; reversals come from roots. Parked axes are left out of a pair and listed.

use rayon::prelude::*;

use crate::compile::{AxisMove, Compiled, frame_time};
use crate::program::reversals::reversals;
use crate::program::{Direction, Program};
use crate::shot::{Exposure, Pass, Shot};
use crate::stage::{Axis, AxisId};
use crate::time::FrameTime;

/// An instant of an exposure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Instant {
    /// The shutter opens.
    Open,
    /// The middle.
    Middle,
    /// The shutter closes.
    Close,
}

impl Instant {
    /// `open`, `middle` or `close`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Instant::Open => "open",
            Instant::Middle => "middle",
            Instant::Close => "close",
        }
    }
}

/// An axis that does not stand on the same step in two passes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Miss {
    /// The axis.
    pub axis: AxisId,
    /// First frame at which it misses.
    pub frame: i64,
    /// Instant of that exposure.
    pub instant: Instant,
    /// Count in the first pass; `None` where its curve does not reach.
    pub first: Option<i64>,
    /// Count in the second pass.
    pub second: Option<i64>,
    /// Frames at which it misses.
    pub frames: usize,
}

/// An axis that comes into exposures from different sides in two passes, though its counts agree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Approach {
    /// The axis.
    pub axis: AxisId,
    /// First such frame.
    pub frame: i64,
    /// Such frames.
    pub frames: usize,
    /// Backlash of the axis in units, where known: what the picture may differ by.
    pub backlash: Option<f64>,
}

/// Two passes compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// Index of the first pass.
    pub first: usize,
    /// Index of the second pass.
    pub second: usize,
    /// Axes live in both.
    pub live: usize,
    /// Axes parked in either, left out.
    pub parked: Vec<AxisId>,
    /// True where open and close were held against each other too; false where blur differs and only the middle was.
    pub same_blur: bool,
    /// Axes that do not register.
    pub misses: Vec<Miss>,
    /// Exposures approached from different sides.
    pub approaches: Vec<Approach>,
}

/// The registration of all passes of a shot.
#[derive(Debug, Clone, PartialEq)]
pub struct Registration {
    /// Every pair of passes.
    pub pairs: Vec<Pair>,
}

impl Registration {
    /// True where every pair registers.
    #[must_use]
    pub fn registers(&self) -> bool {
        self.pairs.iter().all(|p| p.misses.is_empty())
    }
}

/// What one axis does at the exposures of one pass.
struct Stands {
    counts: Vec<[Option<i64>; 3]>,
    from: Vec<Option<Direction>>,
}

/// Compares every pair of passes of one stage; the programs may come from shots compiled apart.
#[must_use]
pub fn register(programs: &[&Program]) -> Registration {
    let Some(first) = programs.first() else { return Registration { pairs: Vec::new() } };
    let (stage, shot) = (first.compiled().stage(), first.compiled().shot());
    let all: Vec<(usize, &Program)> = programs.iter().copied().enumerate().collect();
    let couples: Vec<_> = all.iter().flat_map(|a| all.iter().filter(|b| a.0 < b.0).map(|b| (*a, *b))).collect();
    // One pass has nothing to be compared with.
    if couples.is_empty() {
        return Registration { pairs: Vec::new() };
    }
    let axes: Vec<(AxisId, &Axis)> = stage.each_axis().collect();
    let found: Vec<Vec<(Option<Miss>, Option<Approach>)>> = axes
        .par_iter()
        .map(|(id, axis)| {
            let stands: Vec<Option<Stands>> = programs.iter().map(|p| (!p.parks(*id)).then(|| stands(p, *id, axis))).collect();
            couples
                .iter()
                .map(|((a, p), (b, q))| match (stands.get(*a), stands.get(*b)) {
                    (Some(Some(x)), Some(Some(y))) => {
                        (miss(shot, *id, x, y, same_blur(p.pass(), q.pass())), approach(shot, *id, axis, x, y))
                    }
                    _ => (None, None),
                })
                .collect()
        })
        .collect();
    let pairs = couples
        .iter()
        .enumerate()
        .map(|(k, ((a, p), (b, q)))| {
            let parked: Vec<AxisId> = stage.axis_ids().filter(|id| p.parks(*id) || q.parks(*id)).collect();
            let of_pair = || found.iter().filter_map(move |f| f.get(k));
            Pair {
                first: *a,
                second: *b,
                live: stage.axes().len() - parked.len(),
                parked,
                same_blur: same_blur(p.pass(), q.pass()),
                misses: of_pair().filter_map(|f| f.0).collect(),
                approaches: of_pair().filter_map(|f| f.1).collect(),
            }
        })
        .collect();
    Registration { pairs }
}

/// Frame times at which a pass exposes, from the middle of the frame: open, middle and close, or the middle alone where it is held.
#[must_use]
pub fn instants(pass: &Pass) -> Vec<f64> {
    match pass.exposure() {
        Exposure::Held => vec![0.0],
        Exposure::Moving => {
            let half = pass.shutter().fraction() / 2.0;
            vec![-half, 0.0, half]
        }
    }
}

/// The count of an axis `offset` frames from the middle of `frame`.
pub(super) fn count(compiled: &Compiled, axis: AxisId, frame: i64, offset: f64) -> Option<i64> {
    compiled.stage().axis(axis).count(compiled.motion(axis).at(FrameTime(frame_time(frame) + offset))?)
}

/// True where two passes expose the same span of frame time.
fn same_blur(p: &Pass, q: &Pass) -> bool {
    p.exposure() == q.exposure() && (p.exposure() == Exposure::Held || p.shutter() == q.shutter())
}

/// Counts of an axis at every exposure of a pass, and the sides it comes from: into the first by its approach.
fn stands(program: &Program, id: AxisId, axis: &Axis) -> Stands {
    let (compiled, pass) = (program.compiled(), program.pass());
    let (shot, m): (&Shot, &AxisMove) = (compiled.shot(), compiled.motion(id));
    let start = program.way().approaches()[id].and_then(|a| a.direction);
    let count = |t: f64| m.curve().at(t).and_then(|p| axis.count(p));
    let turns: Vec<f64> = if pass.exposure() == Exposure::Moving { reversals(m).into_iter().map(|t| t.0).collect() } else { Vec::new() };
    let mut turns = turns.into_iter().peekable();
    let mut stands = Stands { counts: Vec::new(), from: Vec::new() };
    let mut direction = start;
    let mut last = if pass.exposure() == Exposure::Moving { count(m.curve().start()) } else { None };
    let mut go_to = |t: f64, direction: &mut Option<Direction>| {
        let now = count(t);
        if let (Some(a), Some(b)) = (last, now) {
            // Counts of a reversed axis run the other way; both passes alike, so a difference is a difference.
            *direction = match a.cmp(&b) {
                core::cmp::Ordering::Less => Some(towards(axis, Direction::Up)),
                core::cmp::Ordering::Greater => Some(towards(axis, Direction::Down)),
                core::cmp::Ordering::Equal => *direction,
            };
        }
        last = now;
        now
    };
    for frame in shot.frames().frames() {
        let (open, close) = match pass.exposure() {
            Exposure::Moving => pass.shutter().window(frame),
            Exposure::Held => (frame_time(frame), frame_time(frame)),
        };
        while let Some(t) = turns.next_if(|t| *t < open) {
            go_to(t, &mut direction);
        }
        let opening = go_to(open, &mut direction);
        stands.from.push(direction);
        stands.counts.push([opening, count(frame_time(frame)), count(close)]);
    }
    stands
}

fn towards(axis: &Axis, counts: Direction) -> Direction {
    match (axis.drive().is_reversed(), counts) {
        (false, d) => d,
        (true, Direction::Up) => Direction::Down,
        (true, Direction::Down) => Direction::Up,
    }
}

fn miss(shot: &Shot, axis: AxisId, x: &Stands, y: &Stands, blur: bool) -> Option<Miss> {
    let mut found: Option<Miss> = None;
    for (frame, (a, b)) in shot.frames().frames().zip(x.counts.iter().zip(&y.counts)) {
        let instants = [Instant::Open, Instant::Middle, Instant::Close];
        let wrong = instants
            .into_iter()
            .zip(a.iter().zip(b))
            .find(|(instant, (a, b))| (blur || *instant == Instant::Middle) && (a != b || a.is_none()));
        if let Some((instant, (a, b))) = wrong {
            match &mut found {
                Some(m) => m.frames += 1,
                None => found = Some(Miss { axis, frame, instant, first: *a, second: *b, frames: 1 }),
            }
        }
    }
    found
}

fn approach(shot: &Shot, id: AxisId, axis: &Axis, x: &Stands, y: &Stands) -> Option<Approach> {
    let mut differing = shot
        .frames()
        .frames()
        .zip(x.from.iter().zip(&y.from))
        .filter(|(_, (a, b))| a.is_some() && b.is_some() && a != b)
        .map(|(frame, _)| frame);
    let frame = differing.next()?;
    Some(Approach { axis: id, frame, frames: 1 + differing.count(), backlash: axis.backlash() })
}
