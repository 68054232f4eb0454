//! Whether passes register, proven on integers: where each axis stands at shutter open, middle and close of every exposure.
//!
//! What: for every pair of passes and every axis live in both, the counts at those three instants are equal. Passes with different shutter angles, or one held
//! and one moving, expose different spans: then the middle registers and the blur differs, which is reported. The direction from which an axis comes into an
//! exposure matters too, since it decides on which side the play of its gears lies; exposures into which two passes come from different sides are
//! named by axis and frame.
//! Memory: one exposure of each kind of pass, whatever the number of frames. Invariant: counts are rounded from the curve at each instant, never summed; reversals come from roots. Parked axes are left out of a pair and listed.

use core::iter::Peekable;
use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use crate::compile::{AxisMove, Compiled, frame_time};
use crate::motion::curve::{Curve, Walk};
use crate::program::reversals::reversals;
use crate::program::{Direction, Program};
use crate::shot::{Exposure, Pass, Shot};
use crate::stage::{Axis, AxisId};
use crate::time::{ExposedFrames, FrameTime};

/// An instant of an exposure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Instant {
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
    pub(crate) fn name(self) -> &'static str {
        match self {
            Instant::Open => "open",
            Instant::Middle => "middle",
            Instant::Close => "close",
        }
    }
}

/// An axis that does not stand on the same step in two passes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Miss {
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
pub(crate) struct Approach {
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
pub(crate) struct Pair {
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
pub(crate) struct Registration {
    /// Every pair of passes.
    pub pairs: Vec<Pair>,
}

#[cfg(test)]
impl Registration {
    /// True where every pair registers.
    pub(crate) fn registers(&self) -> bool {
        self.pairs.iter().all(|p| p.misses.is_empty())
    }
}

/// Compares every pair of passes of one stage; the programs may come from shots compiled apart.
#[must_use]
pub(crate) fn register(programs: &[&Program]) -> Registration {
    let Some(first) = programs.first() else { return Registration { pairs: Vec::new() } };
    let (stage, shot) = (first.compiled().stage(), first.compiled().shot());
    let all: Vec<(usize, &Program)> = programs.iter().copied().enumerate().collect();
    let couples: Vec<_> = all.iter().flat_map(|a| all.iter().filter(|b| a.0 < b.0).map(|b| (*a, *b))).collect();
    // One pass has nothing to be compared with.
    if couples.is_empty() {
        return Registration { pairs: Vec::new() };
    }
    let axes: Vec<(AxisId, &Axis)> = stage.each_axis().collect();
    let found: Vec<Compared> = axes.par_iter().map(|(id, axis)| Compared::of(programs, shot, *id, axis)).collect();
    let pairs = couples
        .iter()
        .map(|((a, p), (b, q))| {
            let parked: Vec<AxisId> = stage.axis_ids().filter(|id| p.parks(*id) || q.parks(*id)).collect();
            let of_pair = || found.iter().filter_map(|f| f.pair(*a, *b));
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
pub(crate) fn instants(pass: &Pass) -> Vec<f64> {
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

/// One axis in all passes, compared frame by frame. Passes in which it does the same, for they expose the same instants of one curve, are one kind.
struct Compared {
    /// By pass; `None` where it is parked.
    kinds: Vec<Option<usize>>,
    /// By two kinds, the first not after the second.
    found: BTreeMap<(usize, usize), (Option<Miss>, Option<Approach>)>,
}

/// What makes passes one kind: the curve, moving or held, the open part of a frame, the side of the first approach, one frame in how many, the frame that is exposed alone.
type Kind = (*const AxisMove, bool, u64, Option<Direction>, u32, Option<i64>);

impl Compared {
    fn of(programs: &[&Program], shot: &Shot, id: AxisId, axis: &Axis) -> Compared {
        let mut known: Vec<(Kind, Watch<'_>)> = Vec::new();
        let mut kinds = Vec::with_capacity(programs.len());
        let mut several = BTreeSet::new();
        for program in programs {
            if program.parks(id) {
                kinds.push(None);
                continue;
            }
            let (m, pass) = (program.compiled().motion(id), program.pass());
            let start = program.way().approaches()[id].and_then(|a| a.direction);
            let (held, alone) = (pass.exposure() == Exposure::Held, pass.wedge().map(crate::shot::Wedge::frame));
            let kind = (core::ptr::from_ref(m), held, pass.shutter().fraction().to_bits(), start, pass.every(), alone);
            let which = known.iter().position(|(k, _)| *k == kind);
            several.extend(which);
            kinds.push(Some(which.unwrap_or(known.len())));
            if which.is_none() {
                known.push((kind, Watch::new((m, pass.exposed(shot.frames())), pass, start, axis)));
            }
        }
        let mut found = BTreeMap::new();
        if alike_throughout(&known, axis) {
            return Compared { kinds, found };
        }
        let blur: Vec<(bool, u64)> = known.iter().map(|((_, held, open, ..), _)| (*held, if *held { 0 } else { *open })).collect();
        let mut now = Vec::with_capacity(known.len());
        for frame in shot.frames().frames() {
            now.clear();
            now.extend(known.iter_mut().map(|(_, watch)| watch.exposed.contains(frame).then(|| watch.at(frame))));
            for (i, (x, blur_x)) in now.iter().zip(&blur).enumerate() {
                for (k, (y, blur_y)) in now.iter().zip(&blur).enumerate().skip(i) {
                    // Only what both passes expose is compared.
                    let (Some(x), Some(y)) = (x, y) else { continue };
                    if i == k && !several.contains(&i) {
                        continue;
                    }
                    let wrong = wrong(x, y, blur_x == blur_y);
                    let sides = matches!((x.from, y.from), (Some(a), Some(b)) if a != b);
                    if wrong.is_none() && !sides {
                        continue;
                    }
                    let (miss, approach) = found.entry((i, k)).or_insert((None, None));
                    if let Some((instant, first, second)) = wrong {
                        miss.get_or_insert(Miss { axis: id, frame, instant, first, second, frames: 0 }).frames += 1;
                    }
                    if sides {
                        approach.get_or_insert(Approach { axis: id, frame, frames: 0, backlash: axis.backlash() }).frames += 1;
                    }
                }
            }
        }
        Compared { kinds, found }
    }

    /// What was found between two passes, as the first of them sees it.
    fn pair(&self, a: usize, b: usize) -> Option<(Option<Miss>, Option<Approach>)> {
        let kind = |pass: usize| self.kinds.get(pass).copied().flatten();
        let (i, k) = (kind(a)?, kind(b)?);
        if i <= k {
            return self.found.get(&(i, k)).copied();
        }
        let turned = |m: Miss| Miss { first: m.second, second: m.first, ..m };
        self.found.get(&(k, i)).map(|(miss, approach)| (miss.map(turned), *approach))
    }
}

/// True where the axis stands on one count from start to end in every kind of pass, and comes there from one side.
fn alike_throughout(known: &[(Kind, Watch<'_>)], axis: &Axis) -> bool {
    let stands = |watch: &Watch<'_>| Some((axis.count(watch.curve().still()?)?, watch.direction));
    let mut all = known.iter().map(|(_, watch)| stands(watch));
    let Some(first) = all.next() else { return true };
    first.is_some() && all.all(|other| other == first)
}

/// Where two passes differ in an exposure: the first instant, and both counts.
fn wrong(x: &Stand, y: &Stand, blur: bool) -> Option<(Instant, Option<i64>, Option<i64>)> {
    let instants = [Instant::Open, Instant::Middle, Instant::Close];
    let both = instants.into_iter().zip(x.counts.into_iter().zip(y.counts));
    let mut wrong = both.filter(|(instant, (a, b))| (blur || *instant == Instant::Middle) && (a != b || a.is_none()));
    wrong.next().map(|(instant, (a, b))| (instant, a, b))
}

/// What an axis does in one exposure: its counts at open, middle and close, and the side it comes from.
#[derive(Debug, Clone, Copy)]
struct Stand {
    counts: [Option<i64>; 3],
    from: Option<Direction>,
}

/// An axis on its way through a pass, exposure by exposure. The side it comes from is at first that of its approach.
struct Watch<'a> {
    /// Turns and openings, in order of time; middles and closings, the same.
    walks: [Walk<'a>; 2],
    axis: &'a Axis,
    pass: &'a Pass,
    exposed: ExposedFrames,
    turns: Peekable<std::vec::IntoIter<FrameTime>>,
    direction: Option<Direction>,
    last: Option<i64>,
}

impl<'a> Watch<'a> {
    fn new((m, exposed): (&'a AxisMove, ExposedFrames), pass: &'a Pass, start: Option<Direction>, axis: &'a Axis) -> Watch<'a> {
        let moving = pass.exposure() == Exposure::Moving;
        let turns = if moving { reversals(m) } else { Vec::new() };
        let walks = [0, 1].map(|_| Walk::new(m.curve()));
        let mut watch = Watch { walks, axis, pass, exposed, turns: turns.into_iter().peekable(), direction: start, last: None };
        watch.last = moving.then(|| watch.count(0, m.curve().start())).flatten();
        watch
    }

    fn curve(&self) -> &'a Curve {
        self.walks[0].curve()
    }

    /// The count at an instant, by one of the walks, which must not go back.
    fn count(&mut self, walk: usize, t: f64) -> Option<i64> {
        let at = self.walks.get_mut(walk)?.at(t)?;
        self.axis.count(at)
    }

    fn go_to(&mut self, t: f64) -> Option<i64> {
        let now = self.count(0, t);
        if let (Some(a), Some(b)) = (self.last, now) {
            // Counts of a reversed axis run the other way; both passes alike, so a difference is a difference.
            self.direction = match a.cmp(&b) {
                core::cmp::Ordering::Less => Some(towards(self.axis, Direction::Up)),
                core::cmp::Ordering::Greater => Some(towards(self.axis, Direction::Down)),
                core::cmp::Ordering::Equal => self.direction,
            };
        }
        self.last = now;
        now
    }

    fn at(&mut self, frame: i64) -> Stand {
        let middle = frame_time(frame);
        let (open, close) = match self.pass.exposure() {
            Exposure::Moving => self.pass.shutter().window(frame),
            Exposure::Held => (middle, middle),
        };
        while let Some(FrameTime(t)) = self.turns.next_if(|t| t.0 < open) {
            self.go_to(t);
        }
        let opening = self.go_to(open);
        Stand { counts: [opening, self.count(1, middle), self.count(1, close)], from: self.direction }
    }
}

fn towards(axis: &Axis, counts: Direction) -> Direction {
    match (axis.drive().is_reversed(), counts) {
        (false, d) => d,
        (true, Direction::Up) => Direction::Down,
        (true, Direction::Down) => Direction::Up,
    }
}
