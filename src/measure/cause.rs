//! What most likely went wrong with one axis in one take, where its deviations say so plainly.
//!
//! What: five patterns are tried, each with the spread that it leaves unexplained: the same deviation throughout (steps lost at once, or a wrong reference); the
//! positions of some frames earlier or later (frame shift); one deviation for either direction of travel (backlash); levels that jump by full steps at some frames,
//! the first of them at no deviation (steps lost there); a line (slip). A pattern is plain where what it leaves is at most a quarter of what it explains. Of the plain
//! ones that which leaves least is named, and with it those that leave at most one step more: rounding is no evidence for either.
//! Jumps at the turns of the axis speak for backlash: where there are two or more and no others, no steps are lost. One where it sets out, against its direction, may be
//! either.
//! Common practice, no source; a hint where to look, never a verdict.
//! Units: steps, in the direction of positive travel. Invariant: memory does not grow with frames.

/// Jumps that are kept; a take with more is no plain case of lost steps.
const MOST_JUMPS: usize = 4;

/// What is left unexplained, as a share of what is explained, at most.
const PLAIN: f64 = 0.25;

/// Fewest frames for a line: below, anything looks like one.
const FEWEST_FOR_A_LINE: f64 = 8.0;

/// Most frames that a take is looked for earlier or later.
const MOST_SHIFTED: usize = 4;

/// Patterns that leave this many steps more than the best explain as well as it does: positions are rounded to steps.
const ALIKE: f64 = 1.0;

/// A likely cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cause {
    /// Which.
    pub kind: CauseKind,
    /// How much, steps: the offset, the first jump, the difference between directions, the whole slip, the largest deviation that a frame shift makes.
    pub steps: f64,
    /// By how many frames the take is late; negative where it is early, 0 for other causes.
    pub late: i64,
    /// Frame at which it was first seen.
    pub frame: i64,
    /// How many jumps, for lost steps; 1 otherwise.
    pub times: usize,
}

/// Kind of a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum CauseKind {
    /// The same deviation throughout.
    Offset,
    /// The positions of some frames before or after.
    FrameShift,
    /// Levels that jump by full steps.
    LostSteps,
    /// One level for either direction of travel.
    Backlash,
    /// A slow ramp.
    Slip,
}

impl CauseKind {
    /// Its name in files.
    #[must_use]
    pub(super) fn name(self) -> &'static str {
        match self {
            CauseKind::Offset => "offset",
            CauseKind::FrameShift => "frame_shift",
            CauseKind::LostSteps => "lost_steps",
            CauseKind::Backlash => "backlash",
            CauseKind::Slip => "slip",
        }
    }
}

/// Deviations near one value.
#[derive(Debug, Clone, Copy)]
struct Level {
    from: i64,
    n: f64,
    mean: f64,
    low: f64,
    high: f64,
}

impl Level {
    fn starting(frame: i64, x: f64) -> Level {
        Level { from: frame, n: 1.0, mean: x, low: x, high: x }
    }

    fn add(&mut self, x: f64) {
        self.n += 1.0;
        self.mean += (x - self.mean) / self.n;
        self.low = self.low.min(x);
        self.high = self.high.max(x);
    }

    fn range(&self) -> f64 {
        self.high - self.low
    }
}

/// What is remembered of one axis in one take.
#[derive(Debug, Clone)]
pub(super) struct Trace {
    full_step: f64,
    all: Option<Level>,
    closed: [Option<Level>; MOST_JUMPS],
    jumps: usize,
    now: Option<Level>,
    last: f64,
    up: Option<Level>,
    down: Option<Level>,
    last_direction: f64,
    turns: u64,
    /// Jumps at the frames at which the axis turns or sets out.
    jumps_at_turns: usize,
    /// Direction in which the axis set out, where the first jump is there.
    set_out: Option<f64>,
    shifts: Shifts,
    /// Mean frame, and co-moments of frame and deviation about their means.
    line: Line,
}

#[derive(Debug, Clone, Copy, Default)]
struct Line {
    mean_x: f64,
    mean_y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
    last_x: f64,
}

impl Trace {
    /// A trace of an axis with this many steps in a full step.
    pub(super) fn new(microsteps: u32) -> Trace {
        Trace {
            full_step: f64::from(microsteps),
            all: None,
            closed: [None; MOST_JUMPS],
            jumps: 0,
            now: None,
            last: 0.0,
            up: None,
            down: None,
            last_direction: 0.0,
            turns: 0,
            jumps_at_turns: 0,
            set_out: None,
            shifts: Shifts::default(),
            line: Line::default(),
        }
    }

    /// Takes in the deviation at a frame from the pass's position `target`; `direction` is the sign of the last motion of the pass before it, 0 where it has
    /// not moved.
    pub(super) fn add(&mut self, frame: i64, target: f64, x: f64, direction: f64) {
        self.shifts.add(Seen { frame, target, logged: target + x });
        let Some(all) = &mut self.all else {
            self.all = Some(Level::starting(frame, x));
            self.now = self.all;
            self.line = Line { mean_y: x, ..Line::default() };
            self.last = x;
            self.side(frame, x, direction);
            return;
        };
        all.add(x);
        let (n, place) = (all.n, (frame - all.from) as f64);
        self.line.add(n, place, x);
        if (x - self.last).abs() >= 0.5 * self.full_step {
            if let Some(slot) = self.closed.get_mut(self.jumps) {
                *slot = self.now;
            }
            if self.jumps == 0 && self.last_direction == 0.0 && direction != 0.0 {
                self.set_out = Some(direction);
            }
            self.jumps += 1;
            self.jumps_at_turns += usize::from(direction != self.last_direction);
            self.now = Some(Level::starting(frame, x));
        } else if let Some(now) = &mut self.now {
            now.add(x);
        }
        self.last = x;
        self.side(frame, x, direction);
    }

    fn side(&mut self, frame: i64, x: f64, direction: f64) {
        if direction == 0.0 {
            return;
        }
        if self.last_direction * direction < 0.0 {
            self.turns += 1;
        }
        self.last_direction = direction;
        let side = if direction > 0.0 { &mut self.up } else { &mut self.down };
        match side {
            Some(level) => level.add(x),
            None => *side = Some(Level::starting(frame, x)),
        }
    }

    /// The likely cause, where one is plain; more than one where they explain alike.
    pub(super) fn causes(&self) -> Vec<Cause> {
        let Some(all) = self.all.filter(|a| a.n >= 2.0 && (a.low != 0.0 || a.high != 0.0)) else { return Vec::new() };
        let plain: Vec<(Cause, f64)> = [self.offset(&all), self.shifted(&all), self.backlash(), self.lag(), self.lost(), self.slip(&all)]
            .into_iter()
            .flatten()
            .collect();
        let least = plain.iter().map(|(_, left)| *left).fold(f64::INFINITY, f64::min);
        plain.into_iter().filter(|(_, left)| *left <= least + ALIKE).map(|(cause, _)| cause).collect()
    }

    /// The same deviation throughout, and the range that it leaves.
    fn offset(&self, all: &Level) -> Option<(Cause, f64)> {
        let left = all.range();
        (left <= PLAIN * all.mean.abs()).then_some((Cause::new(CauseKind::Offset, all.mean, all.from), left))
    }

    fn shifted(&self, all: &Level) -> Option<(Cause, f64)> {
        let largest = if all.high > -all.low { all.high } else { all.low };
        let (late, left) = self.shifts.best()?;
        let cause = Cause { late, ..Cause::new(CauseKind::FrameShift, largest, all.from) };
        (left <= PLAIN * largest.abs()).then_some((cause, left))
    }

    fn backlash(&self) -> Option<(Cause, f64)> {
        let (up, down) = self.up.zip(self.down)?;
        let between = up.mean - down.mean;
        let left = up.range().max(down.range());
        let plain = self.turns > 0 && up.n >= 2.0 && down.n >= 2.0 && between != 0.0 && left <= PLAIN * between.abs();
        plain.then_some((Cause::new(CauseKind::Backlash, between, up.from.max(down.from)), left))
    }

    /// Backlash of an axis that never turns: from where it sets out it lags by all of it.
    fn lag(&self) -> Option<(Cause, f64)> {
        let direction = self.set_out.filter(|_| self.jumps == 1 && self.turns == 0)?;
        let ([Some(before), ..], Some(after)) = (self.closed, self.now) else { return None };
        let between = (after.mean - before.mean) * direction;
        let left = before.range().max(after.range());
        let plain = between < 0.0 && before.mean.abs().max(left) <= PLAIN * between.abs();
        plain.then_some((Cause::new(CauseKind::Backlash, between, after.from), left))
    }

    fn lost(&self) -> Option<(Cause, f64)> {
        let only_at_turns = self.jumps > 1 && self.jumps == self.jumps_at_turns;
        if self.jumps == 0 || self.jumps > MOST_JUMPS || only_at_turns {
            return None;
        }
        let levels: Vec<Level> = self.closed.iter().copied().take(self.jumps).chain([self.now]).flatten().collect();
        // What is off from the first frame on was not lost on the way, and what comes back was not lost.
        let is_off = |l: Option<&Level>| l.is_some_and(|l| l.mean.abs() > PLAIN * self.full_step);
        if is_off(levels.first()) || !is_off(levels.last()) {
            return None;
        }
        let left = levels.iter().map(Level::range).fold(0.0, f64::max);
        let mut first = None;
        for (a, b) in levels.iter().zip(levels.iter().skip(1)) {
            let jump = b.mean - a.mean;
            let full_steps = (jump / self.full_step).round_ties_even();
            let plain =
                full_steps != 0.0 && (jump - full_steps * self.full_step).abs() <= PLAIN * self.full_step && left <= PLAIN * jump.abs();
            if !plain {
                return None;
            }
            first = first.or(Some(Cause { times: self.jumps, ..Cause::new(CauseKind::LostSteps, jump, b.from) }));
        }
        first.map(|cause| (cause, left))
    }

    fn slip(&self, all: &Level) -> Option<(Cause, f64)> {
        let l = &self.line;
        if all.n < FEWEST_FOR_A_LINE || !(l.xx > 0.0) {
            return None;
        }
        let slope = l.xy / l.xx;
        let whole = slope * l.last_x;
        // Root mean square of what the line leaves; twice that on either side stands for the range of it.
        let left = 4.0 * ((l.yy - slope * l.xy).max(0.0) / all.n).sqrt();
        (left <= PLAIN * 2.0 * whole.abs() && whole.abs() >= 2.0).then_some((Cause::new(CauseKind::Slip, whole, all.from), left))
    }
}

impl Cause {
    fn new(kind: CauseKind, steps: f64, frame: i64) -> Cause {
        Cause { kind, steps, late: 0, frame, times: 1 }
    }
}

/// A frame of pass and take. Positions in steps.
#[derive(Debug, Clone, Copy)]
struct Seen {
    frame: i64,
    target: f64,
    logged: f64,
}

/// How far the take is from the pass some frames earlier or later.
#[derive(Debug, Clone, Copy, Default)]
struct Shifts {
    /// The last frames, the latest first.
    before: [Option<Seen>; MOST_SHIFTED],
    /// By number of frames less one: take late, take early.
    late: [Shift; MOST_SHIFTED],
    early: [Shift; MOST_SHIFTED],
}

#[derive(Debug, Clone, Copy, Default)]
struct Shift {
    frames: f64,
    largest: f64,
}

impl Shift {
    fn add(&mut self, off: f64) {
        self.frames += 1.0;
        self.largest = self.largest.max(off.abs());
    }
}

impl Shifts {
    fn add(&mut self, now: Seen) {
        for seen in self.before.iter().flatten() {
            let apart = usize::try_from(now.frame - seen.frame).ok().and_then(|n| n.checked_sub(1));
            if let Some((late, early)) = apart.and_then(|i| self.late.get_mut(i).zip(self.early.get_mut(i))) {
                late.add(now.logged - seen.target);
                early.add(seen.logged - now.target);
            }
        }
        self.before.rotate_right(1);
        if let Some(latest) = self.before.first_mut() {
            *latest = Some(now);
        }
    }

    /// The shift that leaves the least deviation: frames by which the take is late (negative: early), and the largest deviation left.
    fn best(&self) -> Option<(i64, f64)> {
        let counted = |shifts: &[Shift; MOST_SHIFTED], sign: i64| shifts.map(|s| (s, sign));
        let (late, early) = (counted(&self.late, 1), counted(&self.early, -1));
        let all = late.into_iter().zip(1_i64..).chain(early.into_iter().zip(1_i64..));
        let known = all.filter(|((s, _), _)| s.frames >= FEWEST_FOR_A_LINE).map(|((s, sign), n)| (sign * n, s.largest));
        known.reduce(|a, b| if b.1 < a.1 || (b.1 == a.1 && b.0.abs() < a.0.abs()) { b } else { a })
    }
}

impl Line {
    /// Co-moments about running means (B. Welford, Technometrics 4(3) 1962, from memory), `n` with this point.
    fn add(&mut self, n: f64, x: f64, y: f64) {
        let (dx, dy) = (x - self.mean_x, y - self.mean_y);
        self.mean_x += dx / n;
        self.mean_y += dy / n;
        self.xx += dx * (x - self.mean_x);
        self.xy += dx * (y - self.mean_y);
        self.yy += dy * (y - self.mean_y);
        self.last_x = x;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The causes over frames 1 to 100 of a pass at `target`, in a take that is off by `deviation`.
    fn causes(microsteps: u32, target: impl Fn(i64) -> f64, deviation: impl Fn(i64) -> f64) -> Vec<(CauseKind, f64, i64)> {
        let mut t = Trace::new(microsteps);
        let mut direction = 0.0;
        for frame in 1..=100 {
            let moved = target(frame) - target(frame - 1);
            if frame > 1 && moved != 0.0 {
                direction = moved.signum();
            }
            t.add(frame, target(frame), deviation(frame), direction);
        }
        t.causes().iter().map(|c| (c.kind, c.steps, c.frame)).collect()
    }

    fn steady(frame: i64) -> f64 {
        37.0 * frame as f64 + (frame as f64 / 3.0).floor()
    }

    /// Up for twenty frames, down for twenty.
    fn to_and_fro(frame: i64) -> f64 {
        let since = (frame + 20).rem_euclid(40);
        31.0 * (if since < 20 { since } else { 40 - since }) as f64
    }

    fn direction(frame: i64) -> f64 {
        if to_and_fro(frame) > to_and_fro(frame - 1) { 1.0 } else { -1.0 }
    }

    /// Eased from rest to rest over the take, 20,000 steps; u^3 (10 - 15 u + 6 u^2).
    fn eased(frame: i64) -> f64 {
        let u = ((frame - 1) as f64 / 99.0).clamp(0.0, 1.0);
        (20_000.0 * u * u * u * (10.0 - 15.0 * u + 6.0 * u * u)).round_ties_even()
    }

    #[test]
    fn planted_causes_are_named_with_size_and_frame() {
        assert_eq!(causes(10, eased, |_| -40.0), [(CauseKind::Offset, -40.0, 1)]);
        assert_eq!(causes(10, steady, |f| if f < 57 { 0.0 } else { -20.0 }), [(CauseKind::LostSteps, -20.0, 57)]);
        let found = causes(10, to_and_fro, |f| 2.0 * direction(f));
        assert_eq!(found.iter().map(|c| (c.0, c.1)).collect::<Vec<_>>(), [(CauseKind::Backlash, 4.0)]);
        let found = causes(10, steady, |f| (f as f64 * 0.11).floor());
        assert!(matches!(found[..], [(CauseKind::Slip, steps, 1)] if (steps - 10.89).abs() < 0.5), "{found:?}");
    }

    /// A log that runs one frame late, or three early, over a move that looks like a ramp, a jump, or both.
    #[test]
    fn trap_a_shifted_log_is_neither_slip_nor_lost_steps() {
        let ramp = |f: i64| (0.06 * (f * f) as f64).round_ties_even();
        let stops = |f: i64| 20.0 * (f.clamp(50, 80) - 50) as f64;
        let swings = |f: i64| eased(3 * f) - eased(2 * f);
        let moves: [&dyn Fn(i64) -> f64; 4] = [&eased, &swings, &ramp, &stops];
        for (i, target) in moves.into_iter().enumerate() {
            for late in [-3, -1, 1, 2] {
                let found = causes(10, target, |f| target(f - late) - target(f));
                assert_eq!(found.iter().map(|c| c.0).collect::<Vec<_>>(), [CauseKind::FrameShift], "move {i}, {late} late");
            }
        }
        // Where both explain every frame, both are listed: at one speed up and down, late is as backlash; setting out for good, late is as a lag or lost at once.
        let kinds: Vec<CauseKind> = causes(10, to_and_fro, |f| to_and_fro(f - 1) - to_and_fro(f)).iter().map(|c| c.0).collect();
        assert_eq!(kinds, [CauseKind::FrameShift, CauseKind::Backlash]);
        let starts = |f: i64| 20.0 * (f.max(50) - 50) as f64;
        let kinds: Vec<CauseKind> = causes(10, starts, |f| starts(f - 1) - starts(f)).iter().map(|c| c.0).collect();
        assert_eq!(kinds, [CauseKind::FrameShift, CauseKind::Backlash, CauseKind::LostSteps]);
        let mut t = Trace::new(10);
        (1..=100).for_each(|f| t.add(f, eased(f), eased(f - 2) - eased(f), 1.0));
        assert_eq!(t.causes().first().map(|c| c.late), Some(2));
    }

    /// Eight steps to either side: with 16 or 8 microsteps the jumps at the turns are full steps.
    #[test]
    fn trap_backlash_of_full_steps_is_no_lost_step() {
        let once = |f: i64| if f <= 50 { 40.0 * f as f64 } else { 4000.0 - 40.0 * f as f64 };
        let turned = |f: i64| if f <= 50 { 8.0 } else { -8.0 };
        for microsteps in [4, 8, 16] {
            for (found, sides) in [(causes(microsteps, to_and_fro, |f| 8.0 * direction(f)), 16.0), (causes(microsteps, once, turned), 16.0)]
            {
                assert!(matches!(found[..], [(CauseKind::Backlash, steps, _)] if steps == sides), "{microsteps}: {found:?}");
            }
            // Backlash taken up before the first frame: no deviation one way, all of it the other.
            let found = causes(microsteps, to_and_fro, |f| 8.0 * direction(f) - 8.0);
            assert!(matches!(found[..], [(CauseKind::Backlash, ..)]), "{microsteps}: {found:?}");
        }
        // One turn, and exactly one full step from there on: either may be, and both are listed.
        let kinds: Vec<CauseKind> = causes(16, once, |f| if f <= 50 { 0.0 } else { -16.0 }).iter().map(|c| c.0).collect();
        assert_eq!(kinds, [CauseKind::Backlash, CauseKind::LostSteps]);
    }

    /// From frame 50 on up or down, and a full step off from there on: behind, it may be either; ahead, no backlash does that.
    #[test]
    fn a_jump_where_an_axis_sets_out_may_be_backlash_if_it_lags() {
        for way in [1.0, -1.0] {
            let starts = |f: i64| way * 40.0 * (f.max(50) - 50) as f64;
            let behind = causes(8, starts, |f| if f <= 50 { 0.0 } else { -8.0 * way });
            assert_eq!(behind, [(CauseKind::Backlash, -8.0, 51), (CauseKind::LostSteps, -8.0 * way, 51)]);
            let ahead = causes(8, starts, |f| if f <= 50 { 0.0 } else { 8.0 * way });
            assert_eq!(ahead, [(CauseKind::LostSteps, 8.0 * way, 51)]);
            let later = causes(8, starts, |f| if f <= 52 { 0.0 } else { -8.0 * way });
            assert_eq!(later, [(CauseKind::LostSteps, -8.0 * way, 53)]);
        }
    }

    #[test]
    fn what_is_not_plain_gets_no_name() {
        let none: [(CauseKind, f64, i64); 0] = [];
        assert_eq!(causes(10, steady, |_| 0.0), none);
        assert_eq!(causes(10, steady, |f| f64::from(u8::from(f % 2 == 0))), none);
        assert_eq!(causes(10, steady, |f| if f < 57 { 0.0 } else { -13.0 }), none, "no multiple of a full step");
        assert_eq!(causes(10, steady, |f| if (f / 7) % 2 == 0 { 0.0 } else { 20.0 }), none, "comes back again and again");
    }

    #[test]
    fn one_frame_tells_nothing() {
        let mut t = Trace::new(1);
        t.add(1, 100.0, 5.0, 1.0);
        assert_eq!(t.causes(), []);
    }
}
